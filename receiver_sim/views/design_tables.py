"""Tables on a tap that is looked for and on a coil that is to be wound. Made from results only."""

from __future__ import annotations

from collections.abc import Sequence

from receiver_sim.results.base import Status
from receiver_sim.results.cautions import PLATE_SUPPLY, RADIATION
from receiver_sim.results.coils import (
    TapFind,
    TapPlace,
    WindingDesign,
)
from receiver_sim.views.numbers import NOTHING, engineering, fixed, percent, shorten
from receiver_sim.views.sheet import Column, Grid, Note, Section, Sheet
from receiver_sim.views.sheet import note_under as _note
from receiver_sim.views.states import in_a_word

_NAME = 14


def tap_sheet(title: str, found: Sequence[TapFind]) -> Sheet:
    """Return where to put the tap of each coil."""
    target = percent(found[0].target) if found else NOTHING
    columns = (
        Column("\nband", "left"), Column("dial\nMHz"), Column("now\nturn"), Column("now\nonset %"),
        Column("exact\nturn"), Column("\nonset %"), Column("to 1/4\nturn"), Column("\nonset %"),
        Column("1/2 less\nonset %"), Column("1/2 more\nonset %"), Column("tap\n% turns"),
    )  # fmt: skip
    rows, notes = [], []
    for one in found:
        rows.append(
            (
                shorten(one.band, _NAME),
                fixed(one.dial_hz, 3, 1e-6),
                _turns(one.present, 2),
                _onset(one.present),
                _turns(one.exact, 3),
                _onset(one.exact),
                _turns(one.step, 2),
                _onset(one.step),
                _onset(one.less),
                _onset(one.more),
                fixed(one.exact.share, 2, 100.0) if one.exact else NOTHING,
            )
        )
        if one.status is Status.DOES_NOT:
            gain = "" if one.best_gain is None else f" (loop gain {fixed(one.best_gain, 2)})"
            notes.append(
                f"{one.band}: no tap up to half the turns has its onset at {target}; nearest comes "
                f"{_at(one.best)}{gain}, "
                + (
                    f"where onset is at {_onset(one.best)} %."
                    if one.best is not None and one.best.onset
                    else "which has no onset at any setting either."
                )
            )
        elif one.status is Status.NOT_IN_RANGE:
            notes.append(f"{one.band}: even the lowest tap, {_at(one.best)}, oscillates earlier.")
    if any(one.present.turns is None for one in found):
        notes.append(
            "Coils given by their figures have no turns: their places are per cent of the turns, a quarter "
            "and a half stand for 0.25 and 0.5 per cent."
        )
    text = (
        "Onset in per cent of the control's travel, in the middle of the band. A half turn less or more "
        "counts from "
        "the quarter turn; '-' where the coil ends. 'none': does not oscillate; 'always': already at the "
        "lowest "
        "setting. Where a quarter turn is too coarse, slide the tap along the wire to the exact turn."
    )
    section = Section(
        f"Tap for onset at {target}",
        (Grid(columns, tuple(rows)), _note(text), *map(_note, notes)),
        PLATE_SUPPLY + RADIATION,
    )
    return Sheet(f"{title}: tap", (section, *advice_sections(found)))


def advice_sections(found: Sequence[TapFind]) -> list[Section]:
    """Return what was tried on each band where no tap does it, the best first; none where all was found."""
    columns = (
        Column("change", "left"), Column("T at best tap"), Column("then tap at"), Column("onset at %"),
    )  # fmt: skip
    sections = []
    for one in found:
        if not one.advice:
            continue
        rows = tuple((a.change, fixed(a.gain, 2), _turns(a.place, 3), _onset(a.place)) for a in one.advice)
        text = (
            "Each change was tried on this circuit by itself, or as the row says two together. T: loop gain "
            f"at {percent(one.target)} of the control, 1 is needed; with the "
            + ("tap that is best for the change" if one.status is Status.DOES_NOT else "lowest tap")
            + f". '{NOTHING}': it is not enough."
        )
        grid = Grid(columns, rows)
        sections.append(Section(f"What would help on {one.band}, tried", (grid, _note(text))))
    return sections


def _at(place: TapPlace | None) -> str:
    """Return a place of the tap in words."""
    if place is None:
        return NOTHING
    return (
        f"turn {fixed(place.turns, 2)}"
        if place.turns is not None
        else f"{percent(place.share, 2)} of the turns"
    )


def _turns(place: TapPlace | None, decimals: int) -> str:
    if place is None:
        return NOTHING
    return fixed(place.turns, decimals) if place.turns is not None else percent(place.share, 2)


def _onset(place: TapPlace | None) -> str:
    if place is None:
        return NOTHING
    return fixed(place.onset.rotation, 1, 100.0) if place.onset else in_a_word(place.status)


def design_sheet(design: WindingDesign) -> Sheet:
    """Return a designed coil: what to wind, what it gives, lines for a build."""
    part = design.part
    facts = [
        ("former", f"{fixed(part.former_m, 1, 1e3)} mm"),
        ("turns", fixed(part.turns, 2)),
        (
            "wire, bare",
            f"{fixed(part.wire_m, 3, 1e3)} mm, {fixed(part.wire_length_m, 2)} m of it, excluding leads",
        ),
        ("pitch", f"{fixed(part.pitch_m, 3, 1e3)} mm"),
        ("length of winding", f"{fixed(part.length_m, 1, 1e3)} mm"),
        ("cathode tap", f"turn {fixed(design.tap_turns, 2)} from the grounded end"),
        ("aerial link", f"about {fixed(design.link_turns, 1)} turns below it (common practice)"),
        (
            "inductance",
            f"{engineering(design.inductance_henry, 'H', 4)} ({engineering(design.wanted_henry, 'H', 4)} "
            f"wanted)",
        ),
        ("self-capacitance", engineering(design.self_farad, "F")),
        ("coupling of sections", fixed(design.coupling, 3)),
        ("Q of the coil alone", f"{fixed(design.q, 0)}, former: {design.former}"),
        ("Rp, coil alone", engineering(design.rp_ohm, "ohm")),
        ("reactance", engineering(design.reactance_ohm, "ohm")),
        ("series padder", engineering(design.series_farad, "F")),
        ("parallel padder", engineering(design.parallel_farad, "F") if design.parallel_farad else NOTHING),
        ("range", f"{engineering(design.low_hz, 'Hz', 4)} to {engineering(design.high_hz, 'Hz', 4)}"),
        ("band on the dial", f"{percent(design.band_low)} to {percent(design.band_high)} of the rotation"),
        ("allowed for the tube", engineering(design.input_farad, "F")),
    ]
    grid = Grid((Column("", "left"), Column("", "left")), tuple(facts))
    parts: list[Grid | Note] = [grid, *(_note(text) for text in design.warnings)]
    lines = [
        Note(line.strip(), mark=" " * (4 + len(line) - len(line.lstrip()))) for line in design.build_lines
    ]
    title = f"Coil for {engineering(design.from_hz, 'Hz', 4)} to {engineering(design.to_hz, 'Hz', 4)}"
    return Sheet(
        title,
        (
            Section("What to wind", tuple(parts), PLATE_SUPPLY),
            Section("For the build file, under 'bands:'", tuple(lines)),
        ),
    )
