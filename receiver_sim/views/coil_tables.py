"""Tables on coils and tuning, and all that `coils` prints. Made from results only."""

from __future__ import annotations

from collections.abc import Sequence

from receiver_sim.results import cautions
from receiver_sim.results.cautions import PLATE_SUPPLY, RADIATION
from receiver_sim.results.coils import (
    CoilRange,
    CoilSheet,
    CoilsReport,
    Coverage,
    DialSweep,
)
from receiver_sim.views.aerial_tables import aerial_table, breakthrough_table, radiation_table
from receiver_sim.views.numbers import NOTHING, engineering, fixed, percent, shorten
from receiver_sim.views.rf_tables import rf_stage_table
from receiver_sim.views.sheet import Column, Grid, Section, Sheet
from receiver_sim.views.sheet import note_under as _note
from receiver_sim.views.states import in_a_word
from receiver_sim.views.tables import failed_sections, provenance_note

_NAME = 14


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
    """Return the electrical values of the coils, Q and Rp in mid-band; links only if there are any."""
    linked = any(coil.link_henry is not None for coil in coils)
    fed = any(coil.tickler_henry is not None for coil in coils)
    spans = {span.band: span for span in ranges}
    columns = [
        Column("\nband", "left"), Column("L\nuH"), Column("coil\nQ"), Column("loaded\nQ"),
        Column("Rp\nkohm"), Column("sqrt(L/C)\nohm"), Column("own C\npF"), Column("tap\nturns %"),
        Column("tap\nvolts %"), Column("coup-\nling"),
    ]  # fmt: skip
    if fed:
        columns[-3:] = [Column("tickler\nuH"), Column("tickler\nk"), Column("M/L\n%")]
    if linked:
        columns += [Column("link\nuH"), Column("link\nk"), Column("link C\npF")]
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
        if fed and coil.tickler_henry is not None and coil.tickler_mutual_henry is not None:
            row[-3:] = [
                engineering(coil.tickler_henry * 1e6, ""),
                fixed(coil.tickler_coupling, 2),
                fixed(coil.tickler_mutual_henry / coil.inductance_henry, 1, 100.0),
            ]
        if linked:
            row += [
                NOTHING if coil.link_henry is None else engineering(coil.link_henry * 1e6, ""),
                fixed(coil.link_coupling, 2),
                fixed(coil.link_farad, 2, 1e12),
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
        _note("Band limits from memory of the allocation tables; national licences differ: look yours up.")
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
                    fixed(point.onset.rotation, 1, 100.0) if point.onset else in_a_word(point.status),
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
