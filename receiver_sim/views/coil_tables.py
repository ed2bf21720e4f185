"""Tables on coils, tuning, aerial and breakthrough. Made from results only."""

from __future__ import annotations

from collections.abc import Sequence

from receiver_sim.results import cautions
from receiver_sim.results.base import Status
from receiver_sim.results.cautions import PLATE_SUPPLY, RADIATION
from receiver_sim.results.coils import (
    AerialEffect,
    Breakthrough,
    CoilRange,
    CoilSheet,
    CoilsReport,
    Coverage,
    DialSweep,
    TapFind,
    TapPlace,
    WindingDesign,
)
from receiver_sim.views.numbers import NOTHING, decibel, engineering, fixed, percent, shorten
from receiver_sim.views.rf_tables import rf_stage_table
from receiver_sim.views.sheet import Column, Grid, Note, Section, Sheet
from receiver_sim.views.sheet import note_under as _note
from receiver_sim.views.tables import failed_sections, provenance_note

_NAME = 14
_INDENT = "   "


def coils_sheet(report: CoilsReport) -> Sheet:
    """Return everything `coils` found, for the bench first."""
    sections = [*failed_sections(report.failed), winding_table(report.coils)]
    sections += [figures_table(report.coils, report.ranges), range_table(report.ranges, report.coverage)]
    if report.ranges:
        sections += [dial_table(report.ranges), coverage_table(report.coverage)]
    if report.sweeps:
        sections.append(sweep_table(report.sweeps))
    if report.aerial:
        sections += [aerial_table(report.aerial), radiation_table(report.aerial)]
    if report.rf_stage:
        sections.append(rf_stage_table(report.rf_stage))
    if report.breakthrough:
        sections.append(breakthrough_table(report.breakthrough))
    if report.warnings:
        sections.append(Section("Notes", tuple(_note(text) for text in report.warnings)))
    sections.append(Section("", (provenance_note(report.provenance, evaluations=report.evaluations),)))
    return Sheet(f"{report.title}: coils", tuple(sections), cautions.ALL)


def winding_table(coils: Sequence[CoilSheet]) -> Section:
    """Return what to wind: a row each winding."""
    columns = (
        Column("\nband", "left"), Column("\nwinding", "left"), Column("former\nmm"), Column("\nturns"),
        Column("wire\nmm"), Column("pitch\nmm"), Column("length\nmm"), Column("wire\nm"),
        Column("tap at\nturn"),
        Column("\nplace", "left"),
    )  # fmt: skip
    rows, notes = [], []
    for coil in coils:
        if not coil.parts and coil.tap_share is not None:
            notes.append(
                f"{coil.band}: given by its figures, with the tap at {percent(coil.tap_share, 1)} of the "
                f"turns."
            )
        if coil.tickler_reversed:
            notes.append(f"{coil.band}: the tickler works against the swing; swap its two ends.")
        if coil.tickler_henry is not None and coil.tickler_place is None:
            notes.append(
                f"{coil.band}: tickler given by its figures, {engineering(coil.tickler_henry, 'H', 3)} "
                f"coupled by {fixed(coil.tickler_coupling, 3)}."
            )
        for number, part in enumerate(coil.parts):
            place = {
                "link": (coil.link_place, coil.link_gap_m),
                "tickler": (coil.tickler_place, coil.tickler_gap_m),
            }.get(part.part)
            rows.append(
                (
                    shorten(coil.band, _NAME) if number == 0 else "",
                    part.part,
                    fixed(part.former_m, 1, 1e3),
                    fixed(part.turns, 2),
                    fixed(part.wire_m, 3, 1e3),
                    fixed(part.pitch_m, 2, 1e3),
                    fixed(part.length_m, 1, 1e3),
                    fixed(part.wire_length_m, 2),
                    fixed(coil.tap_turns, 2) if number == 0 else "",
                    "" if place is None else f"{place[0]}, {fixed(place[1], 1, 1e3)} mm",
                )
            )
    grid = (Grid(columns, tuple(rows), repeat=2),) if rows else ()
    legend = (
        "Turns count from the grounded end. Wire in mm is bare, its length without leads. A pitch that "
        "is wire and "
        "covering means close-wound."
    )
    return Section("Windings", (*grid, *((_note(legend),) if rows else ()), *map(_note, notes)), PLATE_SUPPLY)


def figures_table(coils: Sequence[CoilSheet], ranges: Sequence[CoilRange]) -> Section:
    """Return what the coils amount to, Q and Rp in the middle of the band; links only where there are any."""
    linked = any(coil.link_henry is not None for coil in coils)
    fed = any(coil.tickler_henry is not None for coil in coils)
    spans = {span.band: span for span in ranges}
    columns = [
        Column("\nband", "left"), Column("L\nuH"), Column("coil\nQ"), Column("loaded\nQ"),
        Column("Rp\nkohm"), Column("sqrt(L/C)\nohm"), Column("own C\npF"), Column("tap\nturns %"),
        Column("tap\nvolts %"), Column("coup-\nling"),
    ]  # fmt: skip
    if linked:
        columns += [Column("link\nuH"), Column("link\nk"), Column("link C\npF")]
    if fed:
        columns[-3:] = [Column("tickler\nuH"), Column("tickler\nk"), Column("M/L\n%")]
    rows = []
    for coil in coils:
        span = spans.get(coil.band)
        row = [
            shorten(coil.band, 11 if linked else _NAME),
            engineering(coil.inductance_henry * 1e6, ""),
            *(
                (NOTHING,) * 4
                if span is None
                else (
                    fixed(span.coil_q, 0),
                    fixed(span.loaded_q, 0),
                    fixed(span.rp_ohm, 1, 1e-3),
                    fixed(span.reactance_ohm, 0),
                )
            ),
            fixed(coil.self_farad, 1, 1e12),
            fixed(coil.tap_share, 1, 100.0),
            fixed(coil.tap_ratio, 1, 100.0),
            fixed(coil.coupling, 2),
        ]
        if linked:
            row += [
                NOTHING if coil.link_henry is None else engineering(coil.link_henry * 1e6, ""),
                fixed(coil.link_coupling, 2),
                fixed(coil.link_farad, 2, 1e12),
            ]
        if fed and coil.tickler_henry is not None and coil.tickler_mutual_henry is not None:
            row[-3:] = [
                engineering(coil.tickler_henry * 1e6, ""),
                fixed(coil.tickler_coupling, 2),
                fixed(coil.tickler_mutual_henry / coil.inductance_henry, 1, 100.0),
            ]
        rows.append(tuple(row))
    text = (
        "Loaded Q and Rp: in the middle of the band with tube input, grid leak and aerial, tube cold. Own C: "
        "self-capacitance. Coupling: of the two sections."
    )
    if linked:
        text += " Link C: to the hot end, shield included."
    if fed:
        text = text.replace(
            " Coupling: of the two sections.",
            " Tickler k: its coupling to the whole coil; M/L: mutual inductance over the coil's, on which "
            "the loop gain depends as on a tap.",
        )
    notes = [text, *_former_notes(coils)]
    far = [coil.band for coil in coils if coil.self_extrapolated]
    if far:
        notes.append(
            f"Own C of {', '.join(far)}: extrapolated, good to a factor of two; self-capacitance was "
            "measured on coils of 0.1 to 50 diameters' length (Medhurst 1947)."
        )
    return Section("Electrical values", (Grid(tuple(columns), tuple(rows)), *map(_note, notes)))


def _former_notes(coils: Sequence[CoilSheet]) -> list[str]:
    """Return what the Q of wound coils rests on: the usual loss of a material, named or assumed."""
    notes = []
    for former, assumed in dict.fromkeys((coil.former, coil.former_assumed) for coil in coils if coil.former):
        bands = [c.band for c in coils if (c.former, c.former_assumed) == (former, assumed)]
        cure = "; the build does not say what it is made of: set 'winding.material'" if assumed else ""
        notes.append(
            f"Q of {', '.join(bands)}: with the usual loss of a former, plug and socket of {former} (figures "
            f"recalled, share of the field common practice){cure}. A meter's figure goes into 'measured: "
            "{q: ...}'."
        )
    return notes


def range_table(ranges: Sequence[CoilRange], cover: Coverage) -> Section:
    """Return the range of each coil and where its band lies on the dial, the coils without one last."""
    columns: tuple[Column, ...] = (
        Column("\nband", "left"), Column("reaches\nMHz"), Column("to\nMHz"), Column("band\nMHz"),
        Column("to\nMHz"), Column("\ndial", "left"), Column("main\nat %"), Column("band at\ndeg"),
        Column("to\ndeg"), Column("kHz/deg\nlow end"), Column("kHz/deg\nhigh end"),
    )  # fmt: skip
    rows: list[tuple[str, ...]] = []
    notes: list[str] = []
    for span in ranges:
        main_travel = span.main_rotation
        rows.append(
            (
                shorten(span.band, 11),
                fixed(span.low_hz, 3, 1e-6),
                fixed(span.high_hz, 3, 1e-6),
                fixed(span.from_hz, 3, 1e-6),
                fixed(span.to_hz, 3, 1e-6),
                span.dial,
                NOTHING if main_travel is None else percent(main_travel),
                fixed(span.band_low, 0, span.travel_deg),
                fixed(span.band_high, 0, span.travel_deg),
                fixed(_slope(span, span.band_low), 1, -1e-3),
                fixed(_slope(span, span.band_high), 1, -1e-3),
            )
        )
        if span.band_low is None or span.band_high is None:
            notes.append(f"{span.band}: the dial does not reach the whole band.")
    for name in cover.unmeasured:
        rows.append((shorten(name, 11), *(NOTHING,) * (len(columns) - 1)))
        notes.append(f"{name}: its range was not found.")
    text = (
        "Range with the main capacitor from meshed to open, a band-spread capacitor half way. Degrees "
        "and per cent "
        "count from plates out; a band-spread dial has its main capacitor set for the low end."
    )
    return Section("Range and dial", (Grid(columns, tuple(rows)), _note(text), *map(_note, notes)))


def _slope(span: CoilRange, rotation: float | None) -> float | None:
    """Return Hz per degree at a rotation, straight between the marks of the dial."""
    if rotation is None or not span.marks:
        return None
    for one, other in zip(span.marks[:-1], span.marks[1:], strict=True):
        if one.rotation <= rotation <= other.rotation:
            share = (rotation - one.rotation) / (other.rotation - one.rotation)
            return one.slope_hz_per_deg + share * (other.slope_hz_per_deg - one.slope_hz_per_deg)
    return None


def dial_table(ranges: Sequence[CoilRange]) -> Section:
    """Return the dial scale of each coil: MHz at equal steps of the dial."""
    marked = [span for span in ranges if span.marks]
    if not marked:
        return Section("Dial scale", (_note("No coil reaches its band on this dial."),))
    # every other mark keeps the table within the width of a sheet
    heads = [Column(f"{m.rotation * marked[0].travel_deg:.0f}") for m in marked[0].marks[::2]]
    rows = tuple(
        (shorten(span.band, _NAME), *(fixed(m.frequency_hz, 3, 1e-6) for m in span.marks[::2]))
        for span in marked
    )
    kind = marked[0].dial
    text = f"MHz against degrees of the {kind} capacitor, from plates out."
    return Section("Dial scale", (Grid((Column("band", "left"), *heads), rows), _note(text)))


def coverage_table(cover: Coverage) -> Section:
    """Return which service bands the coils reach, and gaps and overlaps between coils."""
    columns = (
        Column("service", "left"), Column("band", "left"), Column("MHz"), Column("to MHz"),
        Column("coils", "left"), Column("not reached, MHz", "left"),
    )  # fmt: skip
    rows, styles = [], []
    for band in cover.services:
        missing = ", ".join(
            f"{fixed(m.low_hz, 3, 1e-6)} to {fixed(m.high_hz, 3, 1e-6)}" for m in band.missing
        )
        rows.append(
            (
                band.service,
                band.name,
                fixed(band.low_hz, 3, 1e-6),
                fixed(band.high_hz, 3, 1e-6),
                ", ".join(shorten(name, _NAME) for name in band.coils) or NOTHING,
                missing or "all reached",
            )
        )
        styles.append("yellow" if missing else "")
    gap_text = "; ".join(f"{fixed(g.low_hz, 3, 1e-6)} to {fixed(g.high_hz, 3, 1e-6)} MHz" for g in cover.gaps)
    lost = " and ".join(cover.unmeasured)
    unknown = f" (without {lost}, whose range was not found)" if lost else ""
    notes = [_note(f"Gaps between coils{unknown}: {gap_text or ('not known' if lost else 'none')}.")]
    shared = "; ".join(
        f"{o.first} and {o.second} {fixed(o.low_hz, 3, 1e-6)} to {fixed(o.high_hz, 3, 1e-6)} MHz"
        for o in cover.overlaps
    )
    notes.append(_note(f"Overlaps{unknown}: {shared or ('not known' if lost else 'none')}."))
    if lost:
        notes.append(_note(f"What is 'not reached' may be reached by {lost}."))
    notes.append(
        _note("Band limits from memory of the conferences' tables; national licences differ: look yours up.")
    )
    heading = f"Coverage, bands of {cover.year}, ITU region {cover.region}"
    return Section(heading, (Grid(columns, tuple(rows), tuple(styles)), *notes))


_FACTORS = {
    False: "g_k: the tube's transconductance to the cathode. Z: volts from grid to cathode for an ampere "
    "into the cathode, n (1 - n) Rp for an ideal tap.",
    True: "g_k: the tube's transconductance to the plate. Z: volts from grid to cathode for an ampere "
    "through the tickler, (M/L) Rp for an ideal one.",
}
"""What makes the loop gain, by whether the coil has a tickler."""


def sweep_table(sweeps: Sequence[DialSweep]) -> Section:
    """Return onset and loop gain over the dial of each coil, and what makes them."""
    columns = (
        Column("\nband", "left"), Column("dial\nMHz"), Column("onset\nat %"), Column("\nT"),
        Column("g_k\nuS"), Column("Z\nohm"), Column("coil\nQ"), Column("loaded\nQ"), Column("Rp\nkohm"),
        Column("loss %\ncoil"), Column("tube\ninput"), Column("aerial,\nrest"),
    )  # fmt: skip
    rows = []
    for sweep in sweeps:
        for number, point in enumerate(sweep.points):
            rows.append(
                (
                    shorten(sweep.band, 11) if number == 0 else "",
                    fixed(point.dial_hz, 3, 1e-6),
                    fixed(point.onset.rotation, 1, 100.0) if point.onset else _short(point.status),
                    fixed(point.gain, 3),
                    fixed(point.transconductance_siemens, 0, 1e6),
                    engineering(point.transfer_ohm, ""),
                    fixed(point.coil_q, 0),
                    fixed(point.loaded_q, 0),
                    fixed(point.rp_ohm, 1, 1e-3),
                    fixed(point.coil_loss, 0, 100.0),
                    fixed(point.input_loss, 0, 100.0),
                    fixed(point.other_loss + point.leak_loss, 0, 100.0),
                )
            )
    setting = percent(sweeps[0].rotation) if sweeps else NOTHING
    # a tap ratio of nothing is a tickler's
    fed = any(point.tap_ratio == 0.0 for sweep in sweeps for point in sweep.points)
    texts = [
        f"T: loop gain with the control at {setting} on every coil; T = g_k Z. {_FACTORS[fed]}",
        "Loss: whose the tank's losses are. Tube input grows with the square of the frequency and more; "
        "where the "
        "aerial resonates it takes most and the onset moves up or is lost: a dead spot. 'none': does not "
        "oscillate; "
        "'always': oscillates already at the lowest setting.",
    ]
    return Section("Over the dial", (Grid(columns, tuple(rows), repeat=2), *map(_note, texts)), RADIATION)


def _short(status: Status) -> str:
    return {Status.DOES_NOT: "none", Status.NOT_IN_RANGE: "always", Status.FAILED: "failed"}.get(
        status, NOTHING
    )


_STATES = {"calm": "calm", "less": "less C", "more": "more C", "none": "taken off"}


def aerial_table(effects: Sequence[AerialEffect]) -> Section:
    """Return what the aerial does to resonance, Q and onset as it swings."""
    columns = (
        Column("band", "left"), Column("dial MHz"), Column("R ohm"), Column("X ohm"),
        Column("aerial", "left"),
        Column("C pF"), Column("shift Hz"), Column("Q"), Column("onset at %"),
    )  # fmt: skip
    rows = []
    for effect in effects:
        for number, state in enumerate(effect.states):
            first = (
                shorten(effect.band, _NAME),
                fixed(effect.dial_hz, 3, 1e-6),
                fixed(effect.resistance_ohm, 1),
                fixed(effect.reactance_ohm, 0),
            )
            rows.append(
                (
                    *(first if number == 0 else ("", "", "", "")),
                    _STATES.get(state.state, state.state),
                    fixed(state.capacitance_farad, 1, 1e12),
                    fixed(state.shift_hz, 0),
                    fixed(state.q, 1),
                    fixed(state.onset.rotation, 1, 100.0) if state.onset else _short(state.status),
                )
            )
    how = {
        "link": "by the link of each coil",
        "capacitor": "by a capacitor to the hot end",
        "stage": "to the grid of the r.f. stage",
    }
    text = (
        f"Coupled {how.get(effects[0].coupling, effects[0].coupling)}. Dial left alone as the aerial "
        f"swings; onset "
        "with the aerial taken off is for a dial tuned again."
    )
    return Section("Aerial", (Grid(columns, tuple(rows)), _note(text)), RADIATION)


def radiation_table(effects: Sequence[AerialEffect]) -> Section:
    """Return what the detector radiates when it oscillates, with what was assumed."""
    columns = (
        Column("band", "left"), Column("tank V peak"), Column("aerial mA rms"), Column("height m"),
        Column("R rad. ohm"), Column("radiated uW"), Column("uV/m at 100 m"),
    )  # fmt: skip
    rows = tuple(
        (
            shorten(effect.band, _NAME),
            fixed(effect.radiation.tank_v, 2),
            engineering(effect.radiation.aerial_a * 1e3, ""),
            fixed(effect.radiation.height_m, 2),
            engineering(effect.radiation.radiation_ohm, ""),
            engineering(effect.radiation.power_w * 1e6, ""),
            engineering(effect.radiation.field_v_per_m * 1e6, ""),
        )
        for effect in effects
    )
    notes = [_note("The receiver transmits. Power goes with the square of the tank's volts.")]
    if any(effect.radiation.tank_assumed for effect in effects):
        notes.append(_note("The tank's volts are an assumption: give yours with --tank-volts."))
    if any(effect.radiation.height_assumed for effect in effects):
        notes.append(_note("The aerial's effective height is an assumption: set 'aerial.effective_height'."))
    return Section("Radiated while oscillating", (Grid(columns, rows), *notes), RADIATION)


def breakthrough_table(results: Sequence[Breakthrough]) -> Section:
    """Return what a strong medium-wave station leaves between grid and cathode, and of links what a shield
    gains.
    """
    linked = any(one.station_shielded_v for one in results)
    columns = [
        Column("\nband", "left"), Column("station\nkHz"), Column("e.m.f.\nV"),
        Column("grid mV,\nno shield" if linked else "grid\nmV"),
    ]  # fmt: skip
    if linked:
        columns += [Column("grid mV,\nshield"), Column("shield\ngains dB"), Column("\nshield", "left")]
    columns += [Column("tuned signal\nV per V"), Column("as strong as\ntuned uV")]
    rows = []
    for one in results:
        shielded = one.station_shielded_v
        row = [
            shorten(one.band, _NAME),
            fixed(one.station_hz, 0, 1e-3),
            engineering(one.emf_v, ""),
            engineering(one.station_v * 1e3, ""),
        ]
        if linked:
            row += [
                NOTHING if shielded is None else engineering(shielded * 1e3, ""),
                decibel(None if not shielded else one.station_v / shielded),
                one.shield,
            ]
        rows.append((*row, engineering(one.wanted, ""), engineering(one.equal_v * 1e6, "")))
    texts = [
        "Volts rms between grid and cathode, no regeneration. Last column: e.m.f. of a signal on the dial "
        "that makes as many volts there as the station does, the set as built."
    ]
    if linked:
        texts.append(
            "Shield 'assumed': the build has none; one that leaves 5 % of the capacitance is assumed. A link "
            "with one end on the chassis gains next to nothing from a shield; a link on a feeder does."
        )
    grid = Grid(tuple(columns), tuple(rows))
    return Section("Breakthrough of a strong station", (grid, *map(_note, texts)))


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
    return fixed(place.onset.rotation, 1, 100.0) if place.onset else _short(place.status)


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
