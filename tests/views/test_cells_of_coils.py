"""Every figure of the tables of `coils`, `tap` and `wind`: value, unit, column (`tests/helpers/cells.py`)."""

from __future__ import annotations

import dataclasses
import math

import pytest

from receiver_sim.results import coils, rf_stage
from receiver_sim.results.base import Status
from receiver_sim.views import aerial_tables, coil_tables, design_tables, rf_tables
from tests.helpers import reading
from tests.helpers.cells import Column, facts, figure, free, hold, hold_facts, note_with, the, words
from tests.helpers.filling import Source, filled


@pytest.fixture
def report() -> coils.CoilsReport:
    """Two bands, their names the same in every part."""
    source = Source()
    names = ("40 m", "20 m")
    given = {
        "coils": tuple(filled(coils.CoilSheet, source, band=name) for name in names),
        "ranges": tuple(_range(source, name) for name in names),
        "sweeps": tuple(filled(coils.DialSweep, source, band=name) for name in names),
        "aerial": tuple(filled(coils.AerialEffect, source, band=name) for name in names),
        "breakthrough": tuple(filled(coils.Breakthrough, source, band=name) for name in names),
        "coverage": filled(coils.Coverage, source, unmeasured=()),
    }
    return filled(coils.CoilsReport, source, **given)


def _range(source: Source, name: str) -> coils.CoilRange:
    """A band between two marks of a dial of three, the slopes at them -30 and -20 kHz a degree."""
    marks = tuple(
        coils.DialMark(place, 6e6 + 1e6 * (1.0 - place), slope)
        for place, slope in ((0.0, -30e3), (0.5, -20e3), (1.0, -12e3))
    )
    return filled(
        coils.CoilRange, source, band=name, marks=marks, band_low=0.4, band_high=0.1, travel_deg=180.0
    )


def test_windings_for_the_bench(report: coils.CoilsReport) -> None:
    """Guards against the wire's diameter showing the pitch: four lengths in millimetres, one in metres."""
    source = Source()
    link = filled(coils.WindingPart, source, part="link")
    main = filled(coils.WindingPart, source, part="coil")
    sheet = filled(coils.CoilSheet, source, parts=(main, link), band="40 m")
    place = f"{sheet.link_place}, {1e3 * (sheet.link_gap_m or 0.0):.1f} mm"
    columns: list[Column] = [
        ("band", lambda p: "40 m" if p is main else ""),
        ("winding", words("part")),
        ("former mm", figure("former_m", "m")),
        ("turns", figure("turns", "1")),
        ("wire mm", figure("wire_m", "m")),
        ("pitch mm", figure("pitch_m", "m")),
        ("length mm", figure("length_m", "m")),
        ("wire m", figure("wire_length_m", "m")),
        ("tap at turn", free),
        ("place", lambda p: place if p is link else ""),
    ]
    found = the(coil_tables.winding_table([sheet]), "Windings")
    hold(found, [main, link], columns)
    reading.check(found.rows[0][8], "tap at turn", sheet.tap_turns or 0.0, "1", digits=3)
    assert found.rows[1][8] == ""


_OF_ALL_COILS: list[Column] = [
    ("band", lambda p: p[0].band),
    ("L uH", (lambda p: p[0].inductance_henry, "H")),
    ("coil Q", (lambda p: p[1].coil_q, "1")),
    ("loaded Q", (lambda p: p[1].loaded_q, "1")),
    ("Rp kohm", (lambda p: p[1].rp_ohm, "ohm")),
    ("sqrt(L/C) ohm", (lambda p: p[1].reactance_ohm, "ohm")),
    ("own C pF", (lambda p: p[0].self_farad, "F")),
]


def test_what_tapped_coils_amount_to(report: coils.CoilsReport) -> None:
    tapped = [dataclasses.replace(coil, tickler_henry=None) for coil in report.coils]
    pairs = list(zip(tapped, report.ranges, strict=True))
    columns = [
        *_OF_ALL_COILS,
        ("tap turns %", (lambda p: p[0].tap_share, "1")),
        ("tap volts %", (lambda p: p[0].tap_ratio, "1")),
        ("coup- ling", (lambda p: p[0].coupling, "1")),
        ("link uH", (lambda p: p[0].link_henry, "H")),
        ("link k", (lambda p: p[0].link_coupling, "1")),
        ("link C pF", (lambda p: p[0].link_farad, "F")),
    ]
    hold(the(coil_tables.figures_table(tapped, report.ranges), "Electrical values"), pairs, columns)


def test_what_coils_with_a_tickler_amount_to(report: coils.CoilsReport) -> None:
    """Its inductance, its coupling, and the mutual inductance as a share of the coil's own inductance."""
    fed = [dataclasses.replace(coil, link_henry=None) for coil in report.coils]
    pairs = list(zip(fed, report.ranges, strict=True))
    columns = [
        *_OF_ALL_COILS,
        ("tickler uH", (lambda p: p[0].tickler_henry, "H")),
        ("tickler k", (lambda p: p[0].tickler_coupling, "1")),
        ("M/L %", (lambda p: p[0].tickler_mutual_henry / p[0].inductance_henry, "1")),
    ]
    hold(the(coil_tables.figures_table(fed, report.ranges), "Electrical values"), pairs, columns)


def test_range_and_dial(report: coils.CoilsReport) -> None:
    """Degrees are rotation times the dial's travel: 0.4 and 0.1 of 180; the slope between the marks is
    linear.

    At 0.4 it is -30 + 0.8 x 10 = -22 kHz a degree, at 0.1 -30 + 0.2 x 10 = -28, printed without their sign.
    """
    columns: list[Column] = [
        ("band", words("band")),
        ("reaches MHz", figure("low_hz", "Hz")),
        ("to MHz", figure("high_hz", "Hz")),
        ("band MHz", figure("from_hz", "Hz")),
        ("to MHz", figure("to_hz", "Hz")),
        ("dial", words("dial")),
        ("main at %", figure("main_rotation", "1")),
        ("band at deg", (lambda _r: 72.0, "deg")),
        ("to deg", (lambda _r: 18.0, "deg")),
        ("kHz/deg low end", (lambda _r: 22e3, "Hz/deg")),
        ("kHz/deg high end", (lambda _r: 28e3, "Hz/deg")),
    ]
    page = coil_tables.coils_sheet(report)
    hold(the(page, "Range and dial"), report.ranges, columns)
    scale = the(page, "Dial scale")
    assert scale.headings == ("band", "0", "180")  # every other mark: plates out, plates in
    for row in scale.rows:
        for cell, frequency in zip(row[1:], (7e6, 6e6), strict=True):
            reading.check(cell, "MHz", frequency, "Hz", digits=3)
    assert "MHz against degrees" in note_with(page, "MHz against degrees")


def test_coverage_gaps_and_overlaps(report: coils.CoilsReport) -> None:
    page = coil_tables.coils_sheet(report)
    cover = report.coverage
    columns: list[Column] = [
        ("service", words("service")),
        ("band", words("name")),
        ("MHz", figure("low_hz", "Hz")),
        ("to MHz", figure("high_hz", "Hz")),
        ("coils", lambda s: ", ".join(s.coils)),
        ("not reached, MHz", free),
    ]
    found = the(page, "Coverage.*")
    hold(found, cover.services, columns)
    for cell, service in zip(found.column("not reached, MHz"), cover.services, strict=True):
        ends = [float(w) * 1e6 for part in cell.split(", ") for w in part.split(" to ")]
        assert ends == pytest.approx([f for m in service.missing for f in (m.low_hz, m.high_hz)], rel=1e-3)
    for text, spans in (("Gaps between", cover.gaps), ("Overlaps", cover.overlaps)):
        note = note_with(page, text)
        for span in spans:
            assert f"{span.low_hz / 1e6:.3f} to {span.high_hz / 1e6:.3f}" in note


def test_a_coil_whose_range_failed_keeps_its_rows(report: coils.CoilsReport) -> None:
    """Guards against 'Gaps: none' while a coil is missing, and against its rows falling out of the tables."""
    cover = dataclasses.replace(report.coverage, gaps=(), overlaps=(), unmeasured=("20 m",))
    page = coil_tables.coils_sheet(dataclasses.replace(report, ranges=report.ranges[:1], coverage=cover))
    figures = the(page, "Electrical values")
    assert [row[0] for row in figures.rows] == ["40 m", "20 m"]
    reading.check(figures.rows[1][1], "L uH", report.coils[1].inductance_henry, "H", digits=3)
    assert set(figures.rows[1][2:6]) == {"-"}
    ranges = the(page, "Range and dial")
    assert [row[0] for row in ranges.rows] == ["40 m", "20 m"] and set(ranges.rows[1][1:]) == {"-"}
    gaps = note_with(page, "Gaps between")
    assert gaps == "Gaps between coils (without 20 m, whose range was not found): not known."
    assert "not known" in note_with(page, "Overlaps")
    # no range at all: what follows from the windings alone is still there
    none = dataclasses.replace(report, ranges=(), coverage=cover)
    rows = the(coil_tables.coils_sheet(none), "Electrical values").rows
    assert [row[0] for row in rows] == ["40 m", "20 m"]


def test_over_the_dial(report: coils.CoilsReport) -> None:
    points = [point for sweep in report.sweeps for point in sweep.points]
    columns: list[Column] = [
        ("band", free),
        ("dial MHz", figure("dial_hz", "Hz")),
        ("onset at %", figure("onset.rotation", "1")),
        ("T", figure("gain", "1")),
        ("g_k uS", figure("transconductance_siemens", "S")),
        ("Z ohm", figure("transfer_ohm", "ohm")),
        ("coil Q", figure("coil_q", "1")),
        ("loaded Q", figure("loaded_q", "1")),
        ("Rp kohm", figure("rp_ohm", "ohm")),
        ("loss % coil", figure("coil_loss", "1")),
        ("tube input", (lambda p: 100.0 * p.input_loss, "1")),
        ("aerial, rest", (lambda p: 100.0 * (p.other_loss + p.leak_loss), "1")),
    ]
    page = coil_tables.sweep_table(report.sweeps)
    hold(the(page, "Over the dial"), points, columns)
    rotation = reading.figures(note_with(page, "T: loop gain"))[0]
    assert rotation == (pytest.approx(report.sweeps[0].rotation, abs=6e-3), "1")


def test_aerial_in_each_state(report: coils.CoilsReport) -> None:
    rows = [(effect, state) for effect in report.aerial for state in effect.states]
    columns: list[Column] = [
        ("band", free),
        ("dial MHz", free),
        ("R ohm", free),
        ("X ohm", free),
        ("aerial", lambda r: r[1].state),
        ("C pF", (lambda r: r[1].capacitance_farad, "F")),
        ("shift Hz", (lambda r: r[1].shift_hz, "Hz")),
        ("Q", (lambda r: r[1].q, "1")),
        ("onset at %", (lambda r: r[1].onset.rotation, "1")),
    ]
    found = the(aerial_tables.aerial_table(report.aerial), "Aerial")
    hold(found, rows, columns)
    for row, effect in zip(found.rows[::2], report.aerial, strict=True):
        figures = ((effect.dial_hz, "Hz"), (effect.resistance_ohm, "ohm"), (effect.reactance_ohm, "ohm"))
        for cell, heading, (value, base) in zip(row[1:4], found.headings[1:4], figures, strict=True):
            reading.check(cell, heading, value, base, digits=3)


def test_radiated_while_oscillating(report: coils.CoilsReport) -> None:
    columns: list[Column] = [
        ("band", words("band")),
        ("tank V peak", figure("radiation.tank_v", "V")),
        ("aerial mA rms", figure("radiation.aerial_a", "A")),
        ("height m", figure("radiation.height_m", "m")),
        ("R rad. ohm", figure("radiation.radiation_ohm", "ohm")),
        ("radiated uW", figure("radiation.power_w", "W")),
        ("uV/m at 100 m", figure("radiation.field_v_per_m", "V/m")),
    ]
    found = the(aerial_tables.radiation_table(report.aerial), "Radiated.*")
    assert found.headings[-1] == "uV/m at 100 m"
    # the distance is no unit of the column
    heads = (*found.headings[:-1], "uV/m")
    columns[-1] = ("uV/m", columns[-1][1])
    hold(reading.Table(found.section, heads, found.rows), report.aerial, columns)


def _over_the_dial(end: rf_stage.FrontEnd) -> str:
    low, high = 100.0 * end.along_rotation.min(), 100.0 * end.along_rotation.max()
    return f"{low:.0f} to {high:.0f}"


def test_rf_stage_beside_the_same_set_without_it(report: coils.CoilsReport) -> None:
    """Two rows a band, as built and without; the note names the place where the aerial takes most."""
    source = Source()
    effect = filled(rf_stage.RfStageEffect, source, band="40 m")
    page = rf_tables.rf_stage_table((effect,))
    ends = (effect.present, effect.without)
    columns: list[Column] = [
        ("band", lambda end: "40 m" if end is effect.present else ""),
        ("r.f. stage", lambda end: "as built" if end is effect.present else "none"),
        ("onset knob %", figure("onset.rotation", "1")),
        ("over the dial %", _over_the_dial),
        ("tank Q", figure("q", "1")),
        ("aerial to tank V/V", figure("aerial_gain", "1")),
        ("radiated", figure("power_w", "W")),
        ("weakest signal", figure("weakest_v", "V")),
    ]  # fmt: skip
    hold(the(page, "R.f. stage.*"), ends, columns)
    worst = int(effect.without.along_rotation.argmax())
    note = note_with(page, "dB less")
    wanted = [
        (effect.radiation_db, "dB"), (effect.along_hz[worst], "Hz"),
        (effect.without.along_rotation[worst], "1"), (effect.present.along_rotation[worst], "1"),
    ]  # fmt: skip
    reading.in_order(reading.figures(note), wanted, rel=0.02)


def test_breakthrough_of_a_station(report: coils.CoilsReport) -> None:
    columns: list[Column] = [
        ("band", words("band")),
        ("station kHz", figure("station_hz", "Hz")),
        ("e.m.f. V", figure("emf_v", "V")),
        ("grid mV, no shield", figure("station_v", "V")),
        ("grid mV, shield", figure("station_shielded_v", "V")),
        ("shield gains dB", free),
        ("shield", words("shield")),
        ("tuned signal V per V", figure("wanted", "1")),
        ("as strong as tuned uV", figure("equal_v", "V")),
    ]
    found = the(aerial_tables.breakthrough_table(report.breakthrough), "Breakthrough.*")
    hold(found, report.breakthrough, columns)
    for cell, one in zip(found.column("shield gains dB"), report.breakthrough, strict=True):
        assert one.station_shielded_v is not None
        # 20 log10 of off over on, to a tenth of a decibel
        assert float(cell) == pytest.approx(
            20 * math.log10(one.station_v / one.station_shielded_v), abs=0.051
        )


def test_tap() -> None:
    source = Source()
    found = [
        filled(coils.TapFind, source, status=Status.OSCILLATES, band=name, target=0.45)
        for name in ("40 m", "20 m")
    ]
    columns: list[Column] = [
        ("band", words("band")),
        ("dial MHz", figure("dial_hz", "Hz")),
        ("now turn", figure("present.turns", "1")),
        ("now onset %", figure("present.onset.rotation", "1")),
        ("exact turn", figure("exact.turns", "1")),
        ("onset %", figure("exact.onset.rotation", "1")),
        ("to 1/4 turn", figure("step.turns", "1")),
        ("onset %", figure("step.onset.rotation", "1")),
        ("1/2 less onset %", figure("less.onset.rotation", "1")),
        ("1/2 more onset %", figure("more.onset.rotation", "1")),
        ("tap % turns", figure("exact.share", "1")),
    ]
    hold(the(design_tables.tap_sheet("set", found), "Tap for onset at 45 %"), found, columns)


def test_what_would_help() -> None:
    """Each change with its own loop gain, tap and onset; a band that has its tap gets no such table."""
    source = Source()
    lost = filled(coils.TapFind, source, status=Status.DOES_NOT, band="20 m", target=0.45)
    kept = dataclasses.replace(lost, band="40 m", status=Status.OSCILLATES, advice=())
    short = dataclasses.replace(lost.advice[1], place=None)
    lost = dataclasses.replace(lost, advice=(lost.advice[0], short))
    page = design_tables.tap_sheet("set", [kept, lost])
    columns: list[Column] = [
        ("change", words("change")),
        ("T at best tap", figure("gain", "1")),
        ("then tap at", lambda a: "-" if a.place is None else f"{a.place.turns:.3f}"),
        ("onset at %", lambda a: "-" if a.place is None else f"{100 * a.place.onset.rotation:.1f}"),
    ]
    hold(the(page, "What would help on 20 m, tried"), list(lost.advice), columns)
    assert f"(loop gain {lost.best_gain:.2f})" in note_with(page, "20 m: no tap")
    assert not [s for s in page.sections if "What would help on 40 m" in s.heading]


def test_a_designed_coil() -> None:
    design = filled(coils.WindingDesign)
    part = design.part
    assert None not in (part.former_m, part.wire_m, part.wire_length_m, part.pitch_m, part.length_m)
    assert design.series_farad is not None and design.band_low is not None and design.band_high is not None
    wanted: dict[str, list[tuple[float, str]] | str] = {
        "former": [(part.former_m, "m")],  # type: ignore[list-item]
        "turns": f"{part.turns:.2f}",
        "wire, bare": [(part.wire_m, "m")],  # type: ignore[list-item]
        "pitch": [(part.pitch_m, "m")],  # type: ignore[list-item]
        "length of winding": [(part.length_m, "m")],  # type: ignore[list-item]
        "cathode tap": f"turn {design.tap_turns:.2f} from the grounded end",
        "aerial link": f"about {design.link_turns:.1f} turns below it (common practice)",
        "inductance": [(design.inductance_henry, "H"), (design.wanted_henry, "H")],
        "self-capacitance": [(design.self_farad, "F")],
        "coupling of sections": f"{design.coupling:.3f}",
        "Q of the coil alone": f"{design.q:.0f}, former: {design.former}",
        "Rp, coil alone": [(design.rp_ohm, "ohm")],
        "reactance": [(design.reactance_ohm, "ohm")],
        "series padder": [(design.series_farad, "F")],
        "parallel padder": [(design.parallel_farad, "F")],
        "range": [(design.low_hz, "Hz"), (design.high_hz, "Hz")],
        "band on the dial": [(design.band_low, "1"), (design.band_high, "1")],
        "allowed for the tube": [(design.input_farad, "F")],
    }
    page = design_tables.design_sheet(design)
    seen = facts(the(page, "What to wind"))
    hold_facts(seen, wanted, rel=0.03)  # type: ignore[arg-type]
    assert f" {part.wire_length_m:.2f} m of it" in seen["wire, bare"]
    title = [(design.from_hz, "Hz"), (design.to_hz, "Hz")]
    reading.in_order(reading.figures(page.title), title, rel=5e-4)
