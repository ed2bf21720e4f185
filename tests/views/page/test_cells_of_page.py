"""Every figure of the folded tables of a page, and of what its scripts are given: value, unit, place.

Results in which no two figures are alike (`tests/helpers/filling.py`), cells read by the units they state.
"""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.api import _page
from receiver_sim.results import audio, bench_chart, bias, cautions, fault_table, hum, live, onset, page
from receiver_sim.results.bands import Grade, Verdict
from receiver_sim.results.base import FailedStage, Status
from receiver_sim.results.check import CheckReport
from receiver_sim.results.envelope import AmplitudeMap, BandOscillation, Jump, OnsetKind, Oscillation
from receiver_sim.results.onset import ControlSetting
from receiver_sim.results.spread import BandSpread
from receiver_sim.results.sure import HowSure
from receiver_sim.schema import changed_build
from receiver_sim.views.page import bench as bench_views
from receiver_sim.views.page import live as live_views
from receiver_sim.views.page import page as page_views
from receiver_sim.views.page import words
from tests.helpers import reading
from tests.helpers.filling import Source, filled

PICOFARAD = 1e-12


def checked(**given: Any) -> CheckReport:
    return filled(CheckReport, **given)


def sections(check: CheckReport, *turned: page.Turned, **more: Any) -> dict[str, dict[str, Any]]:
    report = page.PageReport("t", check, turned, (), 0.0, **more)
    return {one["title"]: one for one in words.sections(report, api.shipped_build("demo"))}


def held(table: dict[str, Any], number: int, *due: Any) -> None:
    """Hold a row: texts as they are, (value, base of its unit) for figures, None where anything may stand."""
    row = table["rows"][number]
    assert len(row) == len(table["heads"]) == len(due)
    for cell, head, one in zip(row, table["heads"], due, strict=True):
        if isinstance(one, str):
            assert cell == one, head
        elif one is not None:
            reading.check(cell.replace(" dB SPL", " dB"), "", *one, digits=2)  # its own unit, or none


def turned(source: Source, at: float | None, gone: float | None, **given: Any) -> page.Turned:
    def place(rotation: float | None) -> ControlSetting | None:
        return None if rotation is None else ControlSetting(rotation, 31.0)

    width = tuple(1.1e3 * (6.0 - n) if n < 4 else None for n in range(6))  # none where it oscillates
    kept = {"width_hz": width, "quantity": "screen voltage", "unit": "V", **given}
    return filled(page.Turned, source, onset=place(at), gone=place(gone), **kept)


def test_audio_and_hum() -> None:
    source = Source()
    heard = filled(audio.AudioResponse, source)
    paths = filled(hum.HumPaths, source)
    found = sections(checked(audio=heard, hum_paths=paths))["Audio and hum"]["tables"]
    for number, one in enumerate(heard.outputs):
        due = (one.gain_1khz, "1"), (one.low_hz, "Hz"), (one.high_hz, "Hz")
        held(found[0], number, one.output, *due)
    rows = [(o.output, t) for o in paths.outputs for t in o.tones]
    for number, (name, tone) in enumerate(rows):
        levels = (tone.level_db, "dB"), (tone.threshold_db, "dB")
        held(found[1], number, name, (tone.frequency_hz, "Hz"), *levels)


def test_what_will_be_heard() -> None:
    source = Source()
    one = filled(audio.Loudness, source)
    mute = dataclasses.replace(filled(audio.Loudness, source), level_db=None)
    (found,) = sections(checked(loudness=(one, mute)))["What will be heard"]["tables"]
    levels = (one.level_db, "dB"), (one.threshold_db, "dB")
    held(found, 0, one.output, (one.carrier_v, "V"), *levels)
    held(found, 1, mute.output, (mute.carrier_v, "V"), "-", (mute.threshold_db, "dB"))


def test_all_settings_of_a_band_whose_control_is_a_capacitor() -> None:
    one = turned(Source(), 0.431, 0.383, quantity="throttle capacitance", unit="F")
    one = dataclasses.replace(one, figure=one.figure * 30.0 * PICOFARAD)
    (_, found) = sections(checked(), one)["Each band"]["tables"]
    assert found["heads"][1] == "throttle"
    for number in range(6):
        width = one.width_hz[number]
        held(found, number, (one.rotation[number], "1"), (one.figure[number], "F"), (one.gain[number], "1"),
             "-" if width is None else (width, "Hz"), (one.up_v[number], "V"),
             (one.down_v[number], "V"))  # fmt: skip
    data = page_views.table(one)
    assert (data["sets"], data["unit"]) == ("throttle", "pF")
    assert data["figure"] == pytest.approx(one.figure / PICOFARAD, rel=1e-3)
    assert data["up"] == pytest.approx(one.up_v, rel=1e-3) and data["down"] == pytest.approx(
        one.down_v, rel=1e-3
    )
    assert data["gone"] == one.gone.rotation and data["onset"] == one.onset.rotation  # type: ignore[union-attr]


def test_backlash_is_said_where_there_is_some() -> None:
    source = Source()
    jumps, slides = turned(source, 0.431, 0.383), turned(source, 0.431, 0.431)
    kinds = [filled(Oscillation, source, band=jumps.band, kind=OnsetKind.HARD, amplitudes=None)]
    check = checked(oscillation=tuple(BandOscillation(one, (), (), None) for one in kinds))
    rows = sections(check, jumps, slides)["Each band"]["tables"][0]["rows"]
    assert rows[0][2].startswith(
        "Regeneration comes in with a jump at 43.1 % of the knob and holds on down to 38.3 %"
    )
    assert rows[1][2].startswith("Regeneration comes in at 43.1 % of the knob. At the top of the knob it")
    reading.check(rows[0][1], "dial", jumps.dial_hz, "Hz")
    top = rows[0][2].partition("it oscillates with ")[2].rstrip(".")
    reading.check(top, "", float(jumps.up_v[-1]), "V", digits=2)


def test_faults_stand_before_what_is_worth_a_look_and_good_ones_not_at_all() -> None:
    grades = (Grade.DOUBTFUL, Grade.GOOD, Grade.BAD, Grade.DOUBTFUL, Grade.BAD)
    given = tuple(Verdict(f"s{n}", "onset", g, None, None, "", f"t{n}") for n, g in enumerate(grades))
    (found,) = sections(checked(verdicts=given))["What to change"]["tables"]
    assert [row[1:] for row in found["rows"]] == [
        ("s2", "t2."), ("s4", "t4."), ("s0", "t0."), ("s3", "t3.")
    ]  # fmt: skip
    line = sections(checked(verdicts=given[1:2]))["What to change"]["line"]
    assert line == "Nothing: every rule is kept."


def test_what_could_not_be_computed_is_said_of_check_and_of_the_page_itself() -> None:
    lost = [FailedStage(name, f"reason of {name}", None) for name in ("audio", "sound")]
    says = sections(checked(failed=(lost[0],)), failed=(lost[1],))["How sure, and from what"]["says"]
    for one in lost:
        assert f"Could not be computed: {one.stage}: {one.reason}" in says


@pytest.mark.parametrize(
    ("name", "sets"),
    [("demo", "the screen voltage of the detector"), ("triode", "the plate voltage of the detector"),
     ("throttle", "a variable capacitor behind the feedback winding")],
)  # fmt: skip
def test_what_the_knob_sets(name: str, sets: str) -> None:
    assert words.what_it_is(api.shipped_build(name)).endswith(f"The knob for it sets {sets}.")


def test_volts_of_tubes_stand_behind_the_cautions() -> None:
    one = filled(bias.OperatingPoint)
    high = tuple(dataclasses.replace(t, plate_v=30.0 * t.plate_v) for t in one.tubes)
    check = checked(operating_points=(dataclasses.replace(one, tubes=high),))
    found = sections(check)["Supply and safety, readings on the bench"]
    assert found["cautions"] == cautions.PLATE_SUPPLY
    rows = [(p, t) for p in check.operating_points for t in p.tubes]
    for number, (point, tube) in enumerate(rows):
        volts = [(v, "V") for v in (tube.plate_v, tube.screen_v, tube.cathode_v)]
        held(
            found["tables"][0],
            number,
            point.label,
            (point.setting.rotation, "1"),
            tube.socket,
            tube.tube,
            *volts,
            "",
        )


def test_coils_to_wind() -> None:
    build = changed_build(api.shipped_build("demo"), {"bands[2].coil.q": 137.0})
    report = page.PageReport("t", checked(), (), (), 0.0)
    found = next(s for s in words.sections(report, build) if s["title"] == "Coils to wind")["tables"][0]
    band = build.bands[2]
    span = f"{band.from_ / 1e6:.4g} to {band.to / 1e6:.4g} MHz"
    held(found, 2, band.name, span, (band.coil.inductance, "H"), (137.0, "1"), "-", (band.coil.tap, "1"))


# ---------------------------------------------------------------------------- live


def test_fast_answers_of_a_capacitor_as_control() -> None:
    source = Source()
    throttle = {"quantity": "throttle capacitance", "unit": "F", "screen_v": None}
    curve = filled(onset.GainAgainstScreen, source, **throttle)
    assert curve.value is not None
    curve = dataclasses.replace(curve, value=curve.value * 30.0 * PICOFARAD)
    at = ControlSetting(0.413, None, 87.3e-12, "F", "throttle capacitance")
    one = live.QuickBand(filled(onset.Onset, source, status=Status.OSCILLATES, onset=at), curve)
    (found,) = live_views.quick("t", live.QuickAnswer((one,), ("DANGER, x: y.",)))["bands"]
    assert (found["onset"], found["gone"], found["dial"]) == (0.413, 0.413, one.onset.dial_hz)
    assert found["told"] == "41.3 %, 87.3 pF" and (found["sets"], found["unit"]) == ("throttle", "pF")
    for key, due in (
        ("rotation", curve.rotation),
        ("figure", curve.figure / PICOFARAD),
        ("gain", curve.gain),
    ):
        assert found[key] == pytest.approx(due, rel=1e-3), key


@pytest.mark.parametrize(
    ("places", "says"),
    [((0.41, 0.552), "On every band regeneration begins between 41 and 55 % of the knob."),
     ((0.41, None), "On 1 of 2 bands regeneration begins at 41 % of the knob."),
     ((0.41,), "On its one band regeneration begins at 41 % of the knob."),
     ((None, None), "No band has its onset of regeneration on the knob.")],
)  # fmt: skip
def test_the_sentence_on_all_bands(places: tuple[float | None, ...], says: str) -> None:
    source = Source()
    bands = []
    for place in places:
        at = None if place is None else ControlSetting(place, 31.0)
        status = Status.DOES_NOT if place is None else Status.OSCILLATES
        bands.append(live.QuickBand(filled(onset.Onset, source, status=status, onset=at, warnings=()), None))
    found = live_views.quick("t", live.QuickAnswer(tuple(bands), ("DANGER, x: y.",)))
    assert (found["says"], found["dangers"]) == (says, ["DANGER, x: y."])


def test_what_check_found_of_a_changed_set() -> None:
    """The dangers of this very set, without the standing cautions, and where onset lies in most sets."""
    source = Source()
    spread = filled(BandSpread, source)
    lone = dataclasses.replace(filled(BandSpread, source), knob_low=None)
    sure = filled(HowSure, source, bands=(spread, lone))
    check = checked(sure=sure, cautions=("DANGER, phones: hot.", "CAUTION, supply: x.", *cautions.ALL))
    found = live_views.checked(check, api.shipped_build("demo"))
    assert found["dangers"] == ["DANGER, phones: hot.", "CAUTION, supply: x."]
    assert found["ranges"] == {spread.band: (spread.knob_low, spread.knob_high)}
    assert found["verdict"].endswith(words.how_sure(page.PageReport("t", check, (), (), 0.0)))


# ---------------------------------------------------------------------------- what the scripts are given


def test_a_table_of_faults_as_its_script_takes_it() -> None:
    source = Source()
    size = filled(fault_table.ExpectedReadings, source, curves=(((0.1, 0.73), (0.9, 1.21)), None))
    table = filled(
        fault_table.FaultTable, source, causes=(fault_table.Cause("C1: leaky", "hot", -4.71, (size,)),)
    )
    data = bench_views.fault_data(table)
    assert [(p["name"], p["should"]) for p in data["points"]] == [
        (p.name, pytest.approx(p.should_v, rel=1e-5)) for p in table.points
    ]
    assert data["ranges"] == list(table.ranges_v) and data["bands"] == list(table.bands)
    (cause,) = data["causes"]
    assert (cause["name"], cause["hazard"], cause["prior"]) == ("C1: leaky", "hot", -4.71)
    (found,) = cause["sizes"]
    pairs = {
        "volts": size.volts_v, "true": size.true_v, "middles": size.middles, "covariance": size.covariance,
        "onset": size.onset, "gain": size.gain_db, "hum": size.hum_db,
    }  # fmt: skip
    for key, due in pairs.items():
        assert found[key] == pytest.approx(due, rel=1e-5), key
    assert found["curves"] == [[[0.1, 0.73], [0.9, 1.21]], None]


def test_readings_are_asked_for_behind_the_cautions() -> None:
    assert bench_views.bench_cautions(("DANGER, a: b.",)) == ("DANGER, a: b.", *cautions.PLATE_SUPPLY)
    assert bench_views.bench_cautions() == cautions.PLATE_SUPPLY


def test_what_a_part_must_stand() -> None:
    """To be bought for and met: 1.2 times and as found, watts to be bought for."""
    part = filled(bench_chart.PartNeeds, Source(), buy_v=350.0, highest_v=243.0, buy_w=0.5)
    assert page_views._stands(part) == "Must stand 350 V (it meets 243 V); needs 0.5 W."
    assert page_views._stands(dataclasses.replace(part, buy_v=None)) == "Needs 0.5 W."


def test_a_sound_keeps_its_volts_and_levels() -> None:
    """Samples of 16 bits, full scale at the peak, whose volts and sound pressure stand beside them."""
    volts = 0.37 * np.sin(0.3 * np.arange(400))
    piece = filled(page.HeardPiece, Source(), volts=volts)
    data = page_views.heard(piece)
    assert data["volt"] == pytest.approx(float(abs(volts).max()), rel=1e-5)
    for key, due in (("spl", piece.spl_of_volt_db), ("level", piece.level_db), ("from", piece.from_hz),
                     ("to", piece.to_hz), ("rate", piece.rate), ("rotation", piece.rotation)):  # fmt: skip
        assert data[key] == pytest.approx(due, abs=0.06 if key in ("spl", "level") else 1e-5 * abs(due)), key


# ---------------------------------------------------------------------------- settings of the knob


def test_strength_comes_in_where_it_jumps_and_goes_where_it_falls_back() -> None:
    """Oscillation jumps in at 0.50, to what the way back has there, and holds down to 0.40."""
    amplitude = np.array([1e-3, 1.0, 2.0, 3.0, 4.0])
    knob = np.array([0.5, 0.45, 0.4, 0.5, 0.7])
    known = filled(AmplitudeMap, amplitude_v=amplitude, rotation=knob)
    places = {name: ControlSetting(at, 31.0) for name, at in (("up", 0.5), ("down", 0.4))}
    found = filled(
        Oscillation,
        amplitudes=known,
        onset=places["up"],
        jump=filled(Jump, to_v=3.0, **places),
        kind=OnsetKind.HARD,
    )
    rotation = np.array([0.3, 0.4, 0.45, 0.499, 0.5, 0.6, 0.9])
    up, down = _page._strength(rotation, found)
    # straight between the points of the map; beyond its end the strongest there is
    assert down == pytest.approx([0.0, 2.0, 2.5, 2.99, 3.0, 3.5, 4.0])
    assert up == pytest.approx([0.0, 0.0, 0.0, 0.0, 3.0, 3.5, 4.0])
    silent = _page._strength(rotation, None)
    assert not silent[0].any() and not silent[1].any()


def test_a_dial_goes_from_below_a_carrier_to_above_it_in_the_words_of_the_piece() -> None:
    """`from_hz` and `to_hz` are the carrier's offset from the oscillation, the dial the other way round."""
    for tune in _page._tunes():
        if tune.dial is None:
            assert tune.from_hz == tune.to_hz == tune.signal.offset_hz
            continue
        times = np.array([_page.LEAD_S, _page.LEAD_S + tune.seconds])
        assert tune.signal.offset_hz - tune.dial.offset(times) == pytest.approx([tune.from_hz, tune.to_hz])
