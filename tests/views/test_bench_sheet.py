"""The sheet for the bench: its cells, its order, its page, its dial."""

from __future__ import annotations

import csv
import io
import math
import re
from itertools import pairwise
from xml.etree import ElementTree

import numpy as np
import pytest

from receiver_sim.judge.bring_up import steps
from receiver_sim.results import cautions
from receiver_sim.results.bench_chart import Beside, MeterReading, PartNeeds, PinChart, PinReadings
from receiver_sim.results.bench_sheet import (
    BenchSheet,
    DialScale,
    OnsetToCheck,
    OtherValue,
    SocketNote,
    WiringLine,
)
from receiver_sim.results.coils import DialMark
from receiver_sim.schema import load_build
from receiver_sim.views import bench_sheet, dial_scale, printed_page, printed_pdf
from receiver_sim.views.sheet import Column, Grid, Note, Section, Sheet, as_text
from tests.conftest import BUILDS
from tests.helpers.filling import filled

METERS = ("1 kohm/V", "20 kohm/V", "10 Mohm")


def chart() -> PinChart:
    def shown(*volts: float) -> tuple[MeterReading, ...]:
        return tuple(MeterReading(*one) for one in zip(METERS, volts, (250, 250, 200), strict=True))

    with_tube, out = shown(61.2, 84.7, 87.9), shown(71.3, 96.4, 98.6)
    pins = (
        PinReadings("detector", "6SJ7", "8", "plate", "plate", 88.8, with_tube, out, 133e3, 81.42, 97.61),
        PinReadings("", "", "", "plate supply", "bplus", 201.0, with_tube, (), None),
    )
    return PinChart("control fully down", 0.0, METERS, pins)


def needs(**changes: object) -> PartNeeds:
    plain: dict[str, object] = {
        "designator": "C7", "word": "coupling capacitor", "key": "audio.coupling", "value": 22e-9,
        "unit": "F", "preferred": 22e-9, "highest_v": 231.0, "volts_when": "tubes cold", "highest_a": None,
        "watts_w": None,
        "watts_when": "", "buy_v": 350.0, "buy_w": None, "ripple_a": None, "stated_v": None, "stated_w": None,
        "stated_a": None, "enough": True, "note": "",
    }  # fmt: skip
    return PartNeeds(**{**plain, **changes})


def whole() -> BenchSheet:
    build = load_build(BUILDS / "tickler.yaml")
    onsets = (OnsetToCheck("40 m", 7.1e6, "oscillates", 0.36, 97.2, 18.3),)
    marks = tuple(DialMark(r, 7.6e6 - 6e5 * r**1.3, -1.0) for r in np.linspace(0.0, 1.0, 9))
    return BenchSheet(
        title="a set", parts=(needs(),), others=(), coils=(), sockets=(),
        wiring=(WiringLine("V1", "detector", "6SJ7", "8", "plate", ("L2", "C4")),),
        steps=steps(build, (chart(),), onsets, 0.42), charts=(chart(),), onsets=onsets, hum_pot=0.42,
        scales=(DialScale("40 m", "main", 180.0, marks),), drift=(), notes=(), cautions=cautions.ALL,
    )  # fmt: skip


# ---------------------------------------------------------------------- order and safety


def test_cautions_stand_before_anything_that_asks_for_a_live_reading():
    sheet = bench_sheet.bench_sheet(whole())
    pages = (as_text(sheet), printed_page.html(sheet), printed_page.csv_text(sheet))
    for page in pages:
        first = page.index("Plate supplies kill")
        assert first < page.index("LIVE")
        assert first < page.index("Switching on for the first time")
        assert "no headphone lead may stand at" in re.sub(r"\s+", " ", page.replace("\n", " ")).lower()


@pytest.mark.parametrize("name", ["tickler", "mains_set", "demo"])
def test_nothing_live_comes_before_the_cold_checks(name):
    build = load_build(BUILDS / f"{name}.yaml")
    found = steps(build, (chart(),), (), 0.5)
    live = [step.live for step in found]
    assert live == sorted(live) and not live[0] and live[-1]
    words = [step.do for step in found]
    bleeder = next(i for i, w in enumerate(words) if "bleeder" in w)
    assert bleeder < live.index(True)
    # phones are not worn before their terminals were found at 0 V
    phones = next(i for i, w in enumerate(words) if w.startswith("No phones plugged in"))
    assert all(phones < i for i, w in enumerate(words) if w.startswith("Phones on"))


def test_first_power_expects_what_the_meter_of_ten_megohms_shows():
    step = next(one for one in whole().steps if "10 Mohm meter" in one.do)
    assert step.expect == "detector plate 98.6 V with this tube out; a little more with all out."


def test_each_step_says_what_to_expect_and_when_to_stop():
    assert all(step.do and step.expect and step.stop for step in whole().steps)


def test_a_part_that_is_too_weak_is_a_danger_ahead_of_all():
    short = needs(stated_v=160.0, enough=False)
    section = bench_sheet.parts_table((needs(designator="C1"), short))
    assert section.cautions[0] == (
        "DANGER, C7 (coupling capacitor): it meets 231 V, more than the 160 V it stands."
    )
    grid = section.parts[0]
    assert grid.styles == ("", "bold red") and grid.rows[1][-1] == "160 V: TOO LOW"


def test_what_has_no_column_stands_in_the_notes_and_among_the_dangers():
    besides = (
        Beside("screen dissipation", 0.843, 0.65, "W", "tubes warm"),
        Beside("heater to cathode", 12.6, 90.0, "V"),
        Beside("cathode current", 8.31e-3, None, "A"),
    )
    tube = needs(designator="V2", word="tube of the audio stage", note="6AU6", enough=False, besides=besides)
    section = bench_sheet.parts_table((tube,))
    assert section.cautions[0] == (
        "DANGER, V2 (tube of the audio stage): it meets 843 mW (screen dissipation), more than the 650 mW it "
        "stands."
    )
    assert section.parts[1].text == (
        "V2: 6AU6; screen dissipation 843 mW of 650 mW: TOO LOW; heater to cathode 12.6 V of 90.0 V: enough; "
        "cathode current 8.31 mA."
    )


def test_a_folded_cell_begins_beside_the_others():
    """The fault this guards: the number of a step stood beside the last line of its text."""
    lines = as_text(bench_sheet.bench_sheet(whole())).splitlines()
    first = next(line for line in lines if line.startswith(" 1  off"))
    assert "Mains plug out" in first


# ---------------------------------------------------------------------- cells


def test_cells_of_parts():
    one = needs(
        highest_a=7.61e-3, watts_w=1.36, buy_w=3.0, ripple_a=18.4e-3, stated_w=2.0, value=18e3, unit="ohm"
    )
    (row,) = bench_sheet.parts_table((one,)).parts[0].rows
    assert row == (
        "C7", "coupling capacitor", "18.0 kohm", "231", "7.61", "1.36", "350", "3.00", "18.4",
        "2.00 W: enough",
    )  # fmt: skip


def test_cells_of_a_chart():
    grid = bench_sheet.chart_table(chart()).parts[0]
    assert grid.rows[0] == (
        "detector 6SJ7", "8", "plate", "88.8", "81 to 98", "61.2 (250)", "84.7 (250)", "87.9 (200)",
        "71.3 (250)", "96.4 (250)", "98.6 (200)", "133 k", bench_sheet.BLANK,
    )  # fmt: skip
    assert grid.rows[1][3:] == (
        "201.0", "-", "61.2 (250)", "84.7 (250)", "87.9 (200)", "-", "-", "-", "> 20 M", bench_sheet.BLANK,
    )  # fmt: skip
    headings = [column.heading.replace("\n", " ").strip() for column in grid.columns]
    assert headings[3:5] == ["no meter V", "eight of ten sets, V"]
    assert headings[5:11] == [*(f"{m} V (range)" for m in METERS), *(f"tube out {m}" for m in METERS)]


def test_cells_of_onset_values_and_drift():
    sheet = whole()
    (row,) = bench_sheet.to_check(sheet.onsets, 0.42).parts[0].rows
    assert row[:5] == ("40 m", "7.100", "36.0", "97", "18.30")
    of_throttle = OnsetToCheck("40 m", 7.1e6, "oscillates", 0.36, 64.8, 52.4e-12, "throttle capacitance", "F")
    (grid,) = (p for p in bench_sheet.to_check((of_throttle,), None).parts if hasattr(p, "rows"))
    assert grid.rows[0][:5] == ("40 m", "7.100", "36.0", "65", "52.40")
    assert [c.heading for c in grid.columns][4] == "control\npF"
    other = OtherValue("R6", 1.05e5, 1e5, "ohm", 0.371, 0.365, -2.41, "detector plate")
    (row,) = bench_sheet.other_values((other,)).parts[0].rows
    assert row == ("R6", "105 kohm", "100 kohm", "37.1", "36.5", "-2.41", "detector plate")


def test_every_result_of_the_sheet_can_be_shown():
    """Figures as no set has them: nothing may fail or be left out."""
    onsets = (filled(OnsetToCheck, quantity="screen voltage", unit="V"),)
    text = as_text(bench_sheet.bench_sheet(filled(BenchSheet, onsets=onsets)))
    for heading in ("Parts", "Windings", "Wiring", "What a meter reads", "Logging scale", "Drift"):
        assert heading in text


# ---------------------------------------------------------------------- pages


def test_csv_holds_every_row_and_no_formula():
    sheet = bench_sheet.bench_sheet(whole())
    rows = list(csv.reader(io.StringIO(printed_page.csv_text(sheet))))
    assert ["V1 6SJ7", "8", "plate", "L2, C4", "[ ]"] in rows
    assert printed_page._plain("=1+1") == "'=1+1"


def test_nothing_of_a_csv_is_a_formula_and_what_is_empty_stays_empty():
    """The faults this guards: a quote in each empty cell, and a title or a note from a stranger's file that a
    spreadsheet would have run."""
    column = Column("=1+1\nV", "left")
    parts = (Grid((column, column), (("", "@SUM(1)"),)), Note("+cmd"))
    text = printed_page.csv_text(Sheet("=a title", (Section("=a heading", parts, ("@a caution",)),)))
    rows = list(csv.reader(io.StringIO(text)))
    assert rows == [
        ["'=a title"], ["CAUTION", "'@a caution"], [], ["'=a heading"], ["'=1+1 V", "'=1+1 V"],
        ["", "'@SUM(1)"], ["'+cmd"],
    ]  # fmt: skip


def test_html_shows_what_a_strangers_title_holds_as_text():
    sheet = bench_sheet.bench_sheet(whole())
    evil = type(sheet)("<script>alert(1)</script>", sheet.sections, sheet.cautions)
    page = printed_page.html(evil)
    assert "<script" not in page and "&lt;script&gt;" in page
    assert "http" not in page.replace("http://www.w3.org/2000/svg", "")  # nothing is fetched


def test_a_page_has_room_to_write_and_keeps_short_tables_whole():
    page = printed_page.html(bench_sheet.bench_sheet(whole()))
    # two pins, one band, nine marks of the dial
    assert page.count('<td class="yours">........</td>') == page.count("........") == 12
    assert '<table class="short">' in page and ".short { break-inside: avoid; }" in page


def test_pdf_is_one(tmp_path):
    sheet = bench_sheet.bench_sheet(whole())
    scale = dial_scale.scale_drawing(whole().scales, diameter_mm=120.0)
    data = printed_pdf.pdf(sheet, [("Dial", scale)])
    assert data.startswith(b"%PDF-") and data.rstrip().endswith(b"%%EOF")
    assert len(re.findall(rb"/Type /Page\b", data)) >= 3


# ---------------------------------------------------------------------- dial


def test_the_dial_scale_has_its_size_and_its_marks_where_the_frequency_is():
    scales = whole().scales
    root = ElementTree.fromstring(dial_scale.svg(scales, diameter_mm=120.0))
    # 4 mm of margin on each side, one unit of the picture a millimetre
    assert root.attrib["width"] == "128mm" and root.attrib["viewBox"] == "-64 -64 128 128"
    texts = {t.text: t.attrib for t in root.iter("{http://www.w3.org/2000/svg}text")}
    place = texts["7300"]
    angle = math.degrees(math.atan2(-float(place["y"]), float(place["x"])))
    # 7.3 MHz = 7.6 - 0.6 r^1.3: r = 0.5^(1/1.3); open at the left, 180 degrees of travel
    rotation = 0.5 ** (1.0 / 1.3)
    # a curve through nine marks; half a degree is 0.5 mm on the rim
    assert angle == pytest.approx(90.0 + 180.0 * (0.5 - rotation), abs=0.5)
    radius = math.hypot(float(place["x"]), float(place["y"]))
    assert 45.0 < radius < 60.0


def test_numbers_at_the_crowded_end_of_a_dial_stay_clear_of_each_other():
    """Measured by the outlines of a common wide face (DejaVu Sans), along the circle they stand on.

    Guards against figures over each other where a capacitor linear in capacitance crowds the low end.
    """
    from matplotlib.textpath import TextPath

    # f = 1/sqrt(C), C linear in rotation, 1.65 to 3.82 MHz: the demo's widest coil
    low, high = 1.651e6, 3.816e6
    turns = [i / 12.0 for i in range(13)]
    marks = [DialMark(t, (high**-2 + t * (low**-2 - high**-2)) ** -0.5, -1.0) for t in turns]
    scale = dial_scale.scale_drawing([DialScale("160 m", "main", 180.0, tuple(marks))], diameter_mm=120.0)
    numbers = [one for one in scale.words if re.fullmatch(r"\d{4}", one.text)]
    assert len(numbers) >= 8 and "2000" in [one.text for one in numbers]
    ends = []
    for one in numbers:
        box = TextPath((0.0, 0.0), one.text, size=one.size).get_extents()
        at = math.radians(one.turn) * math.hypot(one.x, one.y)
        ends.append((at - 0.5 * box.width, at + 0.5 * box.width))
    ends.sort()
    assert all(after[0] > before[1] + 0.3 for before, after in pairwise(ends))


def test_the_chart_names_its_tubes_as_the_wiring_list_does():
    """Regression: the chart said 'detector 6SJ7' where the wiring list beside it said 'V1 6SJ7'."""
    sockets = (SocketNote("V1", "6SJ7", "octal", "from the key", "seen", "detector"),)
    one = chart()
    text = as_text(bench_sheet.chart_table(one, sockets), 100)
    assert "V1: detector." in text and f"V1 {one.pins[0].tube}" in text
    assert " - V1 6SJ7, detector, octal: pins" in as_text(bench_sheet.wiring_table(sockets, ()), 100)
