"""Every figure of the tables of `check` and `loop`: its value, its unit, its column
(`tests/helpers/cells.py`).
"""

from __future__ import annotations

import re

import pytest

from receiver_sim.results import audio, bands, bias, onset
from receiver_sim.results.base import Status
from receiver_sim.views import tables
from tests.helpers import reading
from tests.helpers.cells import Column, figure, free, hold, level, note_with, the, words
from tests.helpers.filling import Source, filled

ONSET: list[Column] = [
    ("band", free),
    ("dial MHz", figure("dial_hz", "Hz")),
    ("status", words("status")),
    ("knob %", figure("onset.rotation", "1")),
    ("screen V", figure("onset.screen_v", "V")),
    ("frequency MHz", figure("oscillation_hz", "Hz")),
    ("slope per V", figure("slope_per_v", "1/V")),
    ("approach V", figure("approach_v", "V")),
    ("approach deg", figure("approach_deg", "deg")),
]


def test_onset_of_each_dial_setting() -> None:
    report = filled(bands.BandReport)
    page = tables.band_table([report])
    hold(the(page, "Onset of oscillation"), report.onsets, ONSET)
    # where it stops again: dial, knob and screen of `stops_at`
    one = report.onsets[0]
    assert one.stops_at is not None
    (note,) = [n for n in reading.notes(page) if "stops" in n and f"{one.dial_hz / 1e6:.3f} MHz" in n]
    wanted = [(one.dial_hz, "Hz"), (one.stops_at.rotation, "1"), (one.stops_at.screen_v, "V")]
    reading.in_order(reading.figures(note), wanted, rel=0.04)


def test_what_has_no_onset_shows_nothing_but_its_gains() -> None:
    source = Source()
    lacking = dict.fromkeys(
        ("onset", "oscillation_hz", "slope_per_v", "approach_v", "approach_deg", "at_nine_tenths", "stops_at")
    )
    ends = [
        filled(onset.Onset, source, status=status, band="40 m", warnings=(), **lacking)
        for status in (Status.DOES_NOT, Status.NOT_IN_RANGE)
    ]
    page = tables.band_table([filled(bands.BandReport, source, band="40 m", onsets=tuple(ends))])
    hold(the(page, "Onset of oscillation"), ends, ONSET)
    silent, always = (note_with(page, w) for w in ("does not oscillate anywhere", "oscillates already"))
    for text, gains in (
        (silent, (ends[0].gain_lowest, ends[0].gain_highest)), (always, (ends[1].gain_lowest,))
    ):  # fmt: skip
        # behind the words 'loop gain', so that no frequency is taken for one
        seen = [float(w) for w in re.findall(r"\d\.\d+", text.split("loop gain")[1])]
        assert seen == pytest.approx(gains, rel=5e-3)


def test_selectivity_is_bandwidth_in_kilohertz_by_loop_gain() -> None:
    report = filled(bands.BandReport)
    page = tables.selectivity_table([report])
    found, kept = the(page, "Selectivity"), report.selectivity
    assert kept is not None and "kHz" in " ".join(reading.notes(page))
    assert found.headings[1:3] == ("dial MHz", "T = 0")
    assert [float(h) for h in found.headings[3:]] == pytest.approx([round(t, 4) for t in kept.gain])
    (row,) = found.rows
    reading.check(row[1], "dial MHz", kept.dial_hz, "Hz", digits=3)
    for cell, value in zip(row[2:], (kept.unloaded_bandwidth_hz, *kept.bandwidth_hz), strict=True):
        reading.check(cell, "kHz", float(value), "Hz", digits=3)


def test_meter_readings_of_each_socket_and_test_point() -> None:
    point = filled(bias.OperatingPoint, label="label")
    twice = {name: 2.0 * volts for name, volts in point.volts.items()}
    other = filled(bias.OperatingPoint, label="another", tubes=(), volts=twice, regulator_a=0.0377)
    page = tables.operating_table([point, other])
    columns: list[Column] = [
        ("socket", words("socket", 14)),
        ("tube", lambda t: t.tube + "*"),
        ("plate V", figure("plate_v", "V")),
        ("screen V", figure("screen_v", "V")),
        ("grid V", figure("grid_v", "V")),
        ("cathode V", figure("cathode_v", "V")),
        ("plate mA", figure("plate_a", "A")),
        ("screen mA", figure("screen_a", "A")),
        ("grid uA", figure("grid_a", "A")),
        ("plate W", figure("plate_w", "W")),
        ("screen W", figure("screen_w", "W")),
    ]
    hold(the(page, "What a meter should read"), point.tubes, columns)
    points = the(page, "What a meter should read", 2)
    assert points.headings == ("test point", "label V", "another V")
    assert points.column("test point") == tuple(point.volts)
    for heading, one in (("label V", point), ("another V", other)):
        for cell, volts in zip(points.column(heading), one.volts.values(), strict=True):
            reading.check(cell, heading, volts, "V", digits=3)
    setting = note_with(page, "Control label")
    wanted = [(point.setting.rotation, "1"), (point.setting.screen_v, "V")]
    reading.in_order(reading.figures(setting), wanted, rel=0.05)
    currents = reading.figures(note_with(page, "Current of the regulator"))
    assert point.regulator_a is not None
    reading.in_order(currents, [(point.regulator_a, "A"), (0.0377, "A")], rel=5e-3)


def test_a_rating_is_shown_at_its_worst_setting() -> None:
    """Value, limit and share of the hottest of three settings, whichever comes first; A stays A and W stays
    W.
    """
    source = Source()

    def point(label: str, watts: float) -> bias.OperatingPoint:
        lines = (
            bias.RatingLine("audio 6C5", "plate dissipation", watts, 2.5, "W"),
            bias.RatingLine("regulator", "current", 31e-3 - watts / 1e3, 30e-3, "A"),
            bias.RatingLine("detector 6SJ7", "plate volts", 100.0 * watts, 300.0, "V"),
        )
        return filled(bias.OperatingPoint, source, label=label, ratings=lines)

    page = tables.ratings_table([point("lowest", 1.3), point("working", 2.8), point("highest", 0.4)])
    found = the(page, "Ratings")
    assert found.headings == ("part", "rating", "value", "limit", "share", "", "highest at")
    # 2.8/2.5 = 112 %; 31 - 0.4 = 30.6 mA of 30 are 102 %; 280 of 300 V are 93 %: the tightest first
    assert found.rows == (
        ("audio 6C5", "plate dissipation", "2.80 W", "2.50 W", "112 %", "X EXCEEDED", "working"),
        ("regulator", "current", "30.6 mA", "30.0 mA", "102 %", "X EXCEEDED", "highest"),
        ("detector 6SJ7", "plate volts", "280 V", "300 V", "93 %", "within", "working"),
    )


def test_audio_response() -> None:
    found = filled(audio.AudioResponse, setting=filled(onset.ControlSetting, screen_v=43.21))
    columns: list[Column] = [
        ("output", words("output", 24)),
        ("gain at 1 kHz V per V", figure("gain_1khz", "1")),
        ("dB", level("gain_1khz")),
        ("-3 dB below", figure("low_hz", "Hz")),
        ("-3 dB above", figure("high_hz", "Hz")),
        ("source at 1 kHz", figure("source_ohm", "ohm")),
        ("load at 1 kHz", figure("load_ohm", "ohm")),
    ]
    page = tables.audio_table(found)
    hold(the(page, "Audio response"), found.outputs, columns)
    setting = [(found.setting.rotation, "1"), (found.setting.screen_v, "V")]
    reading.in_order(reading.figures(reading.notes(page)[0])[:2], setting, rel=0.05)


@pytest.mark.parametrize("pot", [True, False])
def test_hum_against_the_pot(pot: bool) -> None:
    found = filled(audio.Hum, pot=pot)
    page = tables.hum_table(found)
    at_pot: list[Column] = [
        ("null at pot %", figure("best_position", "1")),
        ("there V rms", figure("best_v", "V")),
        ("dBV", level("best_v")),
    ]
    place = f"pot at {100 * found.build_position:.0f} % V rms" if pot else "together V rms"
    columns: list[Column] = [
        ("output", words("output", 24)),
        (place, figure("at_build_v", "V")),
        ("dBV", level("at_build_v")),
        *(at_pot if pot else []),
        ("ripple alone V rms", figure("ripple_v", "V")),
    ]
    hold(the(page, "Hum"), found.outputs, columns)
    setting = found.setting
    wanted = [
        (setting.rotation, "1"),
        (setting.screen_v, "V"),
        (found.mains_hz, "Hz"),
        (found.ripple_hz, "Hz"),
    ]
    reading.in_order(reading.figures(reading.notes(page)[0]), wanted, rel=0.05)


def test_regulator_over_the_mains() -> None:
    source = Source()
    points = tuple(
        filled(bias.MainsPoint, source, mains=mains, holds=mains > 0.95, onset_status=Status.OSCILLATES)
        for mains in (0.9, 1.0, 1.1)
    )
    found = filled(bias.RegulatorDrift, source, points=points)
    page = tables.regulator_table(found)
    columns: list[Column] = [
        ("supply at %", figure("mains", "1")),
        ("supply V", figure("supply_v", "V")),
        ("regulated V", figure("regulated_v", "V")),
        ("regulator mA", figure("regulator_a", "A")),
        ("knob left: screen V", figure("screen_v", "V")),
        ("onset at knob %", figure("onset.rotation", "1")),
        ("onset at screen V", figure("onset.screen_v", "V")),
        ("regulator", lambda p: "holds" if p.holds else "X DOES NOT HOLD"),
    ]
    hold(the(page, "Regulator and supply"), points, columns)
    assert found.dropper_w is not None and found.regulator_w is not None
    wanted = [
        (found.dial_hz, "Hz"), (found.rotation, "1"), (found.dropper_w, "W"), (found.regulator_w, "W")
    ]  # fmt: skip
    reading.in_order(reading.figures(note_with(page, "the dropper turns")), wanted, rel=0.02)


def test_verdicts_say_value_limit_and_unit() -> None:
    given = [
        bands.Verdict("40 m", "approach_min", bands.Grade.DOUBTFUL, 3.21, 4.0, "deg", "Touchy."),
        bands.Verdict("hum", "hum_power_max", bands.Grade.DOUBTFUL, 2.57e-10, 1e-10, "W", "Audible."),
        bands.Verdict("filter", "rating", bands.Grade.BAD, 471.0, 450.0, "V", "Too much."),
    ]
    said = {text.split(":")[0]: text for text in reading.notes(tables.verdict_table(given)) if "[" in text}
    for one in given:
        assert one.value is not None and one.limit is not None
        cells = re.fullmatch(r".*\[(\w+), ([^,]+), limit ([^,]+)\]", said[one.subject])
        assert cells is not None and cells[1] == one.rule
        reading.check(cells[2], "", one.value, one.unit, digits=3)
        reading.check(cells[3], "", one.limit, one.unit, digits=3)
