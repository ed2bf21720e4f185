"""Cells of what `faults` and `calibrate` print, and of the sheet's scale, drift and sockets: by hand."""

from __future__ import annotations

import pytest

from receiver_sim.results import cautions
from receiver_sim.results.bench_sheet import DialScale, SocketNote, WarmUpDrift
from receiver_sim.results.calibration import Calibration, OnsetBefore, Pulled, ReadingBefore
from receiver_sim.results.coils import DialMark
from receiver_sim.results.faults import FaultReport, Hazard, NextReading, ReadingAgainst, Suspect
from receiver_sim.schema.tolerances import tolerances
from receiver_sim.views import bench_sheet, calibration_tables, fault_tables
from receiver_sim.views.sheet import Grid, Note, Section


def grid(section: Section) -> Grid:
    (found,) = (part for part in section.parts if isinstance(part, Grid))
    return found


def headings(section: Section) -> list[str]:
    return [" ".join(column.heading.split()) for column in grid(section).columns]


def notes(section: Section) -> list[str]:
    return [part.text for part in section.parts if isinstance(part, Note)]


REPORT = FaultReport(
    title="a set", healthy=False, healthy_probability=0.031,
    hazards=(
        Hazard("C9 (filter): short", "the rectifier burns", 0.062),
        Hazard("C8 (blocking): leaky", "the lead is hot", 0.011),
        Hazard("R3 (bleeder): open", "it stays charged", 0.008, tested=False),
    ),
    suspects=(
        Suspect(("C7 (coupling capacitor): leaky", "R5 (stopper): open"), "470 kohm", 0.712, 1.23),
        Suspect(("R2 (plate load): high",), "twice its value", 0.184, 2.61),
    ),
    next_reading=NextReading(
        "V2 grid", "10 Mohm", {"C7 (coupling capacitor): leaky": 3.456, "sound set": 0.012}, "Switch off."
    ),
    readings=(
        ReadingAgainst("V2 plate (20 kohm/V, 250 V)", "V", 147.2, 162.9, 148.1),
        ReadingAgainst("onset on 40 m", "of the knob", 0.412, 0.384, None),
        ReadingAgainst("onset on 20 m", "of the knob", None, 0.437, 0.551),
    ),
    tried=105, not_shown=(), cautions=cautions.ALL,
)  # fmt: skip


def test_cells_of_suspects_and_of_what_to_measure_next() -> None:
    section = fault_tables.suspects(REPORT)
    assert headings(section) == ["", "suspect", "as", "%", "off by sigma"]
    assert grid(section).rows == (
        ("1", "C7 (coupling capacitor): leaky; R5 (stopper): open", "470 kohm", "71.2", "1.2"),
        ("2", "R2 (plate load): high", "twice its value", "18.4", "2.6"),
    )
    assert notes(section)[0].startswith("105 single faults tried")
    further = fault_tables.next_reading(REPORT)
    assert headings(further) == ["if it is", "V"]
    assert grid(further).rows == (("C7 (coupling capacitor): leaky", "3.46"), ("sound set", "0.01"))
    assert notes(further) == ["V2 grid, 10 Mohm meter. Switch off."]


def test_cells_of_readings_beside_a_fault() -> None:
    section = fault_tables.readings(REPORT)
    assert headings(section) == ["reading", "yours", "should be", "with the first suspect", "unit"]
    assert grid(section).rows == (
        ("V2 plate (20 kohm/V, 250 V)", "147.20", "162.90", "148.10", "V"),
        ("onset on 40 m", "41.20", "38.40", "none", "% of knob"),
        ("onset on 20 m", "none", "43.70", "55.10", "% of knob"),
    )


def test_what_hurts_is_called_danger_from_one_in_twenty_and_only_if_a_reading_shows_it() -> None:
    warned = fault_tables.faults_sheet(REPORT).cautions
    assert warned[:2] == (
        "DANGER, C9 (filter): short is not ruled out: the rectifier burns.",
        "CAUTION, C8 (blocking): leaky is not ruled out: the lead is hot.",
    )
    assert not any("R3" in text for text in warned)
    assert notes(fault_tables.hazards(REPORT)) == [
        "C9 (filter): short (6.2 %): the rectifier burns.",
        "C8 (blocking): leaky (1.1 %): the lead is hot.",
        "R3 (bleeder): open, which no reading here tests: it stays charged.",
    ]


CALIBRATION = Calibration(
    title="a set",
    pulled=(
        Pulled("audio.coupling", "C7 coupling capacitor", "capacitor", "1", 15e-9, 13.2e-9, -0.12, 0.1, 0.02),
        Pulled("detector.grid_capacitor", "C3 grid capacitor", "small capacitor", "1", 130e-12, 136.5e-12,
               0.05, 0.08, 0.05),
        Pulled("", "contact potential", "contact", "V", None, None, -0.043, 0.08, 0.07),
        Pulled("", "what print leaves open", "print", "sigma", None, None, 0.61, 1.0, 0.95),
    ),
    readings=(ReadingBefore("V1 screen", 19.3, 18.72, 19.21),),
    onsets=(OnsetBefore("40 m", 0.384, 0.041, 0.397, 0.012, 0.401), OnsetBefore("20 m", 0.437, 0.052, None,
                                                                               None, None)),
    tap_before=None, tap_after=None, hum_before_v=None, hum_after_v=None, hum_pot_before=None,
    hum_pot_after=None, misfit=1.27, notes=(), cautions=cautions.ALL,
)  # fmt: skip


def test_cells_of_a_calibration_with_parts_of_each_unit() -> None:
    onsets = calibration_tables.onsets(CALIBRATION)
    assert headings(onsets) == [
        "band", "onset before % of knob", "one deviation", "after % of knob", "one deviation",
        "read % of knob",
    ]  # fmt: skip
    assert grid(onsets).rows == (
        ("40 m", "38.4", "4.1", "39.7", "1.2", "40.1"),
        ("20 m", "43.7", "5.2", "-", "-", "-"),
    )
    pulled = calibration_tables.pulled(CALIBRATION)
    assert headings(pulled) == ["what", "stated", "found", "moved", "deviation before", "after"]
    assert grid(pulled).rows == (
        ("C7 coupling capacitor", "15.00 nF", "13.20 nF", "-12.0 %", "10.0 %", "2.0 %"),
        ("C3 grid capacitor", "130.0 pF", "136.5 pF", "5.0 %", "8.0 %", "5.0 %"),
        ("contact potential", "-", "-", "-0.043 V", "0.080 V", "0.070 V"),
        ("what print leaves open", "-", "-", "0.61 sigma", "1.00 sigma", "0.95 sigma"),
    )
    readings = calibration_tables.readings(CALIBRATION)
    assert headings(readings) == ["reading", "yours V", "before V", "after V"]
    assert grid(readings).rows == (("V1 screen", "19.30", "18.72", "19.21"),)
    assert notes(readings) == ["What remains: 1.27 deviations of a reading, r.m.s."]


def test_a_written_build_says_to_which_side_a_part_lies() -> None:
    assert [calibration_tables.moved_text(one) for one in CALIBRATION.pulled] == [
        "-12.0 %", "+5.0 %", "-0.043 V", "+0.61 deviations",
    ]  # fmt: skip


UNIT_OF = {
    "resistor": "ohm", "pot": "ohm", "capacitor": "F", "small capacitor": "F", "electrolytic": "F",
    "choke": "H", "iron-cored choke": "H", "coil": "H", "zener": "V", "gas tube": "V", "battery": "V",
    "bench supply": "V", "winding": "ohm",
}  # fmt: skip
"""What the trade measures each in."""


@pytest.mark.parametrize("kind", sorted(UNIT_OF))
def test_a_value_is_shown_in_the_unit_of_its_kind(kind: str) -> None:
    assert kind in tolerances()
    one = Pulled("key", "part", kind, "1", 1.234, 1.3, 0.05, 0.1, 0.05)
    assert calibration_tables.value_text(one, 1.234) == f"1.234 {UNIT_OF[kind]}"


def test_cells_of_scale_and_drift() -> None:
    marks = (DialMark(0.0, 7.612e6, -1.0), DialMark(0.25, 7.403e6, -1.0), DialMark(1.0, 6.957e6, -1.0))
    section = bench_sheet.dial_table((DialScale("40 m", "main", 180.0, marks),))
    assert headings(section)[:3] == ["band", "deg", "kHz"]
    assert [row[:3] for row in grid(section).rows] == [
        ("40 m", "0", "7612"), ("", "45", "7403"), ("", "180", "6957"),
    ]  # fmt: skip
    drift = bench_sheet.drift_table((WarmUpDrift("40 m", 7.1e6, -31.4e3, -9.23e3, -1.46e3, 10.0),))
    assert headings(drift) == ["band", "MHz", "tube kHz", "coil and capacitor kHz"]
    assert grid(drift).rows == (("40 m", "7.100", "-31.4", "-1.5 to -9.2"),)
    assert "for a rise of 10 K" in notes(drift)[0]


@pytest.mark.parametrize(("flag", "sure"), [("seen", True), ("memory-high", False), ("memory-medium", False)])
def test_pins_from_memory_are_to_be_checked(flag: str, sure: bool) -> None:
    note = SocketNote("V1", "6SJ7", "octal", "from the key clockwise", flag)
    (said,) = notes(bench_sheet.wiring_table((note,), ()))
    assert ("as a published sheet has them" in said) is sure
    assert (f"from memory ({flag}): check with a sheet" in said) is not sure
