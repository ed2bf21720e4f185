"""Every rule of the verdicts in both directions, on results of ngspice, with thresholds set in the build.

The figure that a rule judges is worked out here from the results; a threshold just on either side of it (a
part in a thousand) must turn the grade. The guide's table is held against the model of the thresholds.
"""

import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from receiver_sim import api, guide
from receiver_sim.circuit.blocks.phones import load_impedance
from receiver_sim.engine import Bench
from receiver_sim.failing_stages import Stages
from receiver_sim.judge import verdicts
from receiver_sim.oscillating import comes_in
from receiver_sim.receiver import Receiver
from receiver_sim.results.bands import Grade, Verdict
from receiver_sim.results.base import Status
from receiver_sim.results.check import CheckReport
from receiver_sim.schema import Build, changed_build
from receiver_sim.schema.verdicts import Verdicts

SUBJECT = "160 m"


@pytest.fixture(scope="module")
def report(bench: Bench, demo: Build) -> CheckReport:
    return api.check(demo, bench=bench)


def judged(build: Build, report: CheckReport) -> tuple[Verdict, ...]:
    """Judge the demo's results by the thresholds of another build, as `api.check` does."""
    limits = build.verdicts
    assert report.audio is not None and report.hum is not None and report.regulator is not None
    return (
        *verdicts.judge_bands(report.bands, limits),
        *verdicts.judge_oscillation(report.oscillation, limits),
        *verdicts.judge_bias(report.operating_points),
        *verdicts.judge_regulator(report.regulator, report.bands[0].middle, limits),
        *verdicts.judge_audio(report.audio, build, limits),
        *verdicts.judge_hum(report.hum, build, limits, paths=report.hum_paths),
    )


def rotations(report: CheckReport) -> list[float]:
    return [o.onset.rotation for o in report.bands[0].onsets if o.onset is not None]


def screens(report: CheckReport) -> list[float]:
    return [o.onset.screen_v for o in report.bands[0].onsets if o.onset is not None]


def drift(report: CheckReport) -> float:
    """Largest change of the screen volts for 90 or 110 % mains, over the volts of the approach."""
    assert report.regulator is not None and report.bands[0].middle.approach_v is not None
    low, nominal, high = (p.screen_v for p in report.regulator.points)
    return max(abs(nominal - low), abs(high - nominal)) / report.bands[0].middle.approach_v


def hum_power(report: CheckReport) -> float:
    """P = V^2 R/(R^2 + X^2) in the demo's headset, 2.2 kohm and 1.7 H, line by line: textbook."""
    assert report.hum_paths is not None
    volts = abs(sum(part[0] for part in report.hum_paths.parts.values()))
    reactance = 2 * math.pi * report.hum_paths.frequency_hz * 1.7
    return float((volts**2 * 2200.0 / (2200.0**2 + reactance**2)).sum())


# threshold, figure it is compared with, its unit in the build, scale from SI to that unit, subject
RULES = [
    ("onset_rotation_min", lambda r: min(rotations(r)), "%", 100.0, SUBJECT),
    ("onset_rotation_max", lambda r: max(rotations(r)), "%", 100.0, SUBJECT),
    ("onset_screen_min", lambda r: min(screens(r)), "V", 1.0, SUBJECT),
    ("onset_screen_max", lambda r: max(screens(r)), "V", 1.0, SUBJECT),
    ("dial_spread_max", lambda r: max(rotations(r)) - min(rotations(r)), "%", 100.0, SUBJECT),
    ("approach_min", lambda r: min(o.approach_deg for o in r.bands[0].onsets), "deg", 1.0, SUBJECT),
    ("mains_drift_max", drift, "", 1.0, "regulator"),
    ("hum_power_max", hum_power, "pW", 1e12, "magnetic headset"),
    ("audio_low_max", lambda r: r.audio.outputs[0].low_hz, "Hz", 1.0, "magnetic headset"),
    ("audio_high_min", lambda r: r.audio.outputs[0].high_hz, "Hz", 1.0, "magnetic headset"),
]
GOOD_NAME = {
    "onset_rotation_min": "onset_rotation",
    "onset_rotation_max": "onset_rotation",
    "onset_screen_min": "onset_screen",
    "onset_screen_max": "onset_screen",
    "audio_low_max": "audio_band",
    "audio_high_min": "audio_band",
}


@pytest.mark.parametrize(("key", "figure", "unit", "scale", "subject"), RULES, ids=[r[0] for r in RULES])
def test_a_threshold_in_the_build_turns_its_verdict(
    report: CheckReport,
    demo: Build,
    key: str,
    figure: object,
    unit: str,
    scale: float,
    subject: str,
) -> None:
    value = figure(report)  # type: ignore[operator]
    # its neighbours opened wide, so that only this rule can speak
    wide = {
        "onset_rotation_min": "1 %",
        "onset_rotation_max": "99 %",
        "onset_screen_min": "1 mV",
        "onset_screen_max": "500 V",
        "audio_low_max": "100 kHz",
        "audio_high_min": "1 Hz",
    }
    for share, is_good in ((0.999, key.endswith("_min")), (1.001, key.endswith("_max"))):
        limit = f"{value * share * scale:.9g} {unit}".strip()
        build = changed_build(
            demo, {**{f"verdicts.{k}": v for k, v in wide.items()}, f"verdicts.{key}": limit}
        )
        own = [v for v in judged(build, report) if v.subject == subject]
        failing = [v for v in own if v.rule == key and v.grade is not Grade.GOOD]
        if is_good:
            assert failing == []
            assert Grade.GOOD in [v.grade for v in own if v.rule == GOOD_NAME.get(key, key)]
        else:
            (verdict,) = failing
            assert verdict.grade is Grade.DOUBTFUL
            assert verdict.value is not None and verdict.limit is not None
            in_unit = 100.0 if verdict.unit == "%" else 1.0
            # both are the same arithmetic on the same results
            assert verdict.value == pytest.approx(value * in_unit, rel=1e-9)
            assert verdict.limit == pytest.approx(value * share * in_unit, rel=1e-8)


def test_both_faults_of_one_output_or_band_are_told(report: CheckReport, demo: Build) -> None:
    """Guards against the second fault hiding behind the first."""
    tight = {
        "verdicts.audio_low_max": "1 Hz",
        "verdicts.audio_high_min": "1 MHz",
        "verdicts.onset_rotation_min": "90 %",
        "verdicts.onset_rotation_max": "91 %",
    }
    failed = {
        (v.subject, v.rule) for v in judged(changed_build(demo, tight), report) if v.grade is Grade.DOUBTFUL
    }
    assert {("magnetic headset", "audio_low_max"), ("magnetic headset", "audio_high_min")} <= failed
    # a narrow range cannot be missed at both ends by one setting, but by the ends of a dial
    ends = rotations(report)
    middle = 50.0 * (max(ends) + min(ends))
    narrow = {
        "verdicts.onset_rotation_min": f"{middle:.6g} %",
        "verdicts.onset_rotation_max": f"{middle + 0.01:.6g} %",
    }
    found = [v.rule for v in judged(changed_build(demo, narrow), report) if v.subject == SUBJECT]
    assert "onset_rotation_min" in found and "onset_rotation_max" in found and "onset_rotation" not in found


def only_band(bench: Bench, build: Build) -> list[Verdict]:
    return verdicts.judge_bands(api.loop(build, bands=[SUBJECT], bench=bench), build.verdicts)


def test_onset_found_is_good(report: CheckReport, demo: Build) -> None:
    found = [v for v in judged(demo, report) if v.rule == "onset"]
    assert [(v.subject, v.grade) for v in found] == [(b.name, Grade.GOOD) for b in demo.bands]


def test_no_oscillation_is_bad_and_says_what_to_raise(bench: Bench, demo: Build) -> None:
    # a tap of a thousandth cannot feed back enough: T = g_k n (1-n) Rp falls by 25
    build = changed_build(demo, {"bands[0].coil.tap": "0.1 %"})
    (verdict,) = only_band(bench, build)
    assert (verdict.subject, verdict.rule, verdict.grade) == (SUBJECT, "onset", Grade.BAD)
    assert verdict.value is not None and verdict.limit == 1.0 and 0.0 < verdict.value < 1.0
    assert verdict.text.startswith("does not oscillate at any setting: raise the tap")


def test_a_dead_coil_is_said_once_with_what_follows(bench: Bench, demo: Build) -> None:
    """Guards against three equal lines, one a dial setting. 10 Mohm above the control leave the screen a
    hundredth of its volts, and a cold tube feeds nothing back.
    """
    build = changed_build(demo, {"regeneration.top": "10 Mohm", "bands[0].coil.tap": "0.1 %"})
    (verdict,) = only_band(bench, build)
    assert (verdict.subject, verdict.grade) == (SUBJECT, Grade.BAD)
    assert verdict.value == pytest.approx(0.0, abs=0.05)
    assert verdict.text == (
        "does not oscillate at any setting: almost no feedback; check the voltages of the tube, and that the "
        "tap is high enough. Without an onset there is no regeneration: little gain, no selectivity beyond "
        "the bare coil's, no beat note with Morse"
    )


def test_a_part_of_the_dial_without_onset_is_named(report: CheckReport, demo: Build) -> None:
    band = report.bands[0]
    silent = replace(band.onsets[2], status=Status.DOES_NOT, onset=None, gain_highest=0.7)
    found = verdicts.judge_bands([replace(band, onsets=(*band.onsets[:2], silent))], demo.verdicts)
    assert [(v.subject, v.grade, v.value) for v in found] == [("160 m at 2 MHz", Grade.BAD, 0.7)]


def test_oscillation_at_the_lower_stop_is_bad_and_says_what_to_lower(bench: Bench, demo: Build) -> None:
    build = changed_build(demo, {"bands[0].coil.tap": "30 %", "regeneration.bottom": "30 kohm"})
    (verdict,) = only_band(bench, build)
    assert (verdict.subject, verdict.rule, verdict.grade) == (SUBJECT, "onset", Grade.BAD)
    assert verdict.value is not None and verdict.limit == 1.0 and verdict.value > 1.0
    assert verdict.text.startswith("oscillates already at the lowest setting: lower the tap")


def test_a_failed_simulation_is_bad_and_repeats_the_reason(demo: Build) -> None:
    with Bench(workers=1, time_limit_s=1e-6) as hasty:
        (verdict,) = only_band(hasty, demo)
    assert (verdict.subject, verdict.rule, verdict.grade) == (SUBJECT, "onset", Grade.BAD)
    assert verdict.text.startswith("the simulation failed: ")
    assert "longer than the limit" in verdict.text or "stopped" in verdict.text


def test_no_approach_to_judge_is_doubtful(report: CheckReport, demo: Build) -> None:
    """A loop gain above 0.9 already at the lower stop leaves nothing to measure the touch of the knob by."""
    band = report.bands[0]
    steep = replace(band, onsets=tuple(replace(o, approach_deg=None, approach_v=None) for o in band.onsets))
    (verdict,) = [v for v in verdicts.judge_bands([steep], demo.verdicts) if v.rule == "approach_min"]
    assert verdict.grade is Grade.DOUBTFUL and verdict.value is None


def test_backlash_turns_its_verdict_at_the_threshold(bench: Bench, demo: Build) -> None:
    """A weak bias makes the onset hard (a leak of 200 kohm, as in the tests of the envelope view)."""
    hard = changed_build(demo, {"detector.grid_leak": "200 kohm"})
    (report,) = api.loop(hard, bands=[SUBJECT], bench=bench)
    found = comes_in(Receiver(hard, bench).at(hard.bands[0], search=report.middle), Stages())
    assert found.oscillation.jump is not None
    turn = found.oscillation.jump.backlash_deg
    grades = []
    for share in (0.999, 1.001):
        limits = changed_build(hard, {"verdicts.backlash_max": f"{turn * share:.9g} deg"}).verdicts
        (verdict,) = [v for v in verdicts.judge_oscillation([found], limits) if v.rule == "backlash_max"]
        assert verdict.value == turn and verdict.unit == "deg" and verdict.subject == SUBJECT
        grades.append((verdict.grade, "jumps in" in verdict.text))
    assert grades == [(Grade.BAD, True), (Grade.GOOD, False)]


def test_a_soft_onset_that_holds_still_is_good(report: CheckReport, demo: Build) -> None:
    own = [v for v in judged(demo, report) if v.rule in ("backlash_max", "holds_still")]
    assert len(own) == 2 * len(demo.bands)
    assert {v.grade for v in own} == {Grade.GOOD}


def test_what_does_not_hold_still_is_bad_and_named(bench: Bench, demo: Build) -> None:
    """A grid leak and capacitor a hundred times too slow and much tap: it squeggs (test_stability)."""
    changes = {
        "detector.grid_leak": "10 Mohm", "detector.grid_capacitor": "1 nF", "bands[1].coil.tap": "7 %"
    }  # fmt: skip
    build = changed_build(demo, changes)
    (report,) = api.loop(build, bands=["80 m"], bench=bench)
    found = comes_in(Receiver(build, bench).at(build.bands[1], search=report.middle), Stages())
    (verdict,) = [v for v in verdicts.judge_oscillation([found], build.verdicts) if v.rule == "holds_still"]
    assert verdict.grade is Grade.BAD and verdict.value is not None and verdict.value > 0.0
    assert re.match(r"squegging from \d+ to \d+ % of the control, carried by tank: ", verdict.text)


def test_ratings(bench: Bench, report: CheckReport, demo: Build) -> None:
    """6C5: 300 V on the plate (its card); 420 V of supply must pass that, the demo's 190 V cannot."""
    good = [v for v in judged(demo, report) if v.rule == "rating"]
    assert good and {v.grade for v in good} == {Grade.GOOD}
    build = changed_build(demo, {"supply.volts": "420 V"})
    bad = [v for v in api.supply(build, bench=bench).verdicts if v.rule == "rating" and v.grade is Grade.BAD]
    volts = next(v for v in bad if v.subject == "audio 6C5" and "plate volts" in v.text)
    assert volts.limit == 300.0
    assert volts.value is not None and 300.0 < volts.value < 420.0


def test_regulator_holds(bench: Bench, report: CheckReport, demo: Build) -> None:
    (good,) = [v for v in judged(demo, report) if v.rule == "regulator_holds"]
    assert good.grade is Grade.GOOD
    # (190 - 108) V through 27 kohm is 3 mA, less than the tube's least 5 mA, and the control takes some of it
    build = changed_build(demo, {"regulator.dropper": "27 kohm"})
    (bad,) = [v for v in api.supply(build, bench=bench).verdicts if v.rule == "regulator_holds"]
    assert bad.grade is Grade.BAD
    assert bad.text.startswith("at 90 % of the mains: ")


def test_a_supply_without_bleeder_is_bad(demo: Build) -> None:
    assert verdicts.judge_safety(demo) == []
    (bad,) = verdicts.judge_safety(changed_build(demo, {"supply.bleeder": None}))
    assert (bad.rule, bad.grade) == ("bleeder", Grade.BAD)


def table_rows() -> list[list[str]]:
    section = guide.page("verdicts")
    rows = [line.strip("|").split("|") for line in section.splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in row] for row in rows if not set(row[0]) <= set("- :")][0:]


def test_a_filter_capacitor_below_the_cold_volts_is_said_by_check(bench: Bench) -> None:
    """Guards against `check` being silent where `supply` calls it bad. 1.1 times its peak."""
    given = api.shipped_build("mains_set")
    settled = api.settle(given, bench)
    highest = 1.1 * settled.supply.peak_volts
    part = given.supply.filter[0]
    for rating, grade in ((0.99 * highest, Grade.BAD), (1.01 * highest, Grade.GOOD)):
        parts = (part.model_copy(update={"rating": rating}), *given.supply.filter[1:])
        rated = given.model_copy(update={"supply": given.supply.model_copy(update={"filter": parts})})
        found = verdicts.judge_filter(rated, settled)[0]
        assert (found.subject, found.grade, found.limit) == ("filter capacitor 1", grade, rating)
    assert verdicts.judge_filter(settled, settled) == []


def test_an_open_socket_is_not_called_dull(bench: Bench, demo: Build, report: CheckReport) -> None:
    assert report.audio is not None
    phones = tuple(phone.model_copy(update={"state": "open"}) for phone in demo.phones)
    unplugged = demo.model_copy(update={"phones": phones})
    assert verdicts.judge_audio(report.audio, unplugged, demo.verdicts) == []


def test_without_a_regulator_none_is_praised(bench: Bench) -> None:
    bare = changed_build(api.shipped_build("demo"), {"regulator": None})
    drift = [v for v in api.supply(bare, bench=bench).verdicts if v.rule == "mains_drift_max"]
    assert [v.subject for v in drift] == ["supply"]
    assert "regulate it better" not in drift[0].text


def hum_advice(bench: Bench, build: Build) -> str:
    """Return the sentence on hum of a build's first phones, as `check` prints it."""
    study = api.hum_in_depth(build, bench=bench)
    assert study.hum is not None
    return verdicts.judge_hum(study.hum, build, build.verdicts, paths=study.paths)[0].text


STRICT = {"verdicts.hum_power_max": "1 fW"}
"""So that any hum is too much and the advice is given."""


def test_advice_on_hum_follows_the_largest_path(bench: Bench, demo: Build) -> None:
    """Guards against the hum pot being named where it can do nothing: ripple, d.c. heaters, a pot at null."""
    heaters = changed_build(demo, STRICT)
    assert re.search(
        r"by 'heater to grid, detector': the hum pot at 40 % leaves 0\.\d+ mV", hum_advice(bench, heaters)
    )
    rippling = hum_advice(bench, changed_build(heaters, {"supply.ripple": "20 V"}))
    assert "'ripple by the detector's plate': filter the supply further" in rippling
    assert "hum pot" not in rippling
    d_c = {"heater.supply": "dc", "heater.ripple": "2 V", "supply.ripple": "1 uV"}
    on_dc = hum_advice(bench, changed_build(heaters, d_c))
    assert "smooth the d.c. of the heaters better" in on_dc and "hum pot" not in on_dc
    at_null = hum_advice(
        bench, changed_build(heaters, {"heater.hum_pot_position": "40 %", "supply.ripple": "1 uV"})
    )
    assert "the hum pot is at its null; keep heater leads off the grid" in at_null
    tapped = hum_advice(bench, changed_build(heaters, {"heater.wiring": "one_side"}))
    assert "a hum pot across the heaters balances it out" in tapped


def test_hum_watts_of_the_paths_add_to_the_whole(bench: Bench) -> None:
    """The lines' power from their summed phasors; magnetic pick-up of the shipped mains set is in it."""
    build = api.settle(api.shipped_build("mains_set"), bench)
    study = api.hum_in_depth(api.shipped_build("mains_set"), bench=bench)
    assert study.paths is not None
    for index, phone in enumerate(build.phones):
        if phone.state == "open":
            continue
        watts = verdicts.hum_watts(study.paths, build, index)
        total = np.abs(sum(part[index] for part in study.paths.parts.values())) ** 2
        loads = [complex(load_impedance(build, index, float(f))) for f in study.paths.frequency_hz]
        by_line = [v2 * (1.0 / z).real for v2, z in zip(total, loads, strict=True)]
        assert sum(watts.values()) == pytest.approx(sum(by_line), rel=1e-9)
        assert any(name.startswith("field into") and power != 0.0 for name, power in watts.items())


def test_readme_documents_every_threshold_with_its_default() -> None:
    documented = {row[1].strip("`"): row[2] for row in table_rows() if re.fullmatch(r"`[a-z_]+`", row[1])}
    assert documented == {name: field.default for name, field in Verdicts.model_fields.items()}
    assert all(len(row) == 5 and row[4] for row in table_rows())


def test_readme_documents_every_rule() -> None:
    """The rules named in the source against the first two columns of the table."""
    source = Path(verdicts.__file__).read_text(encoding="utf-8")
    rules = set(
        re.findall(
            r"\b(?:onset|audio|dial|approach|backlash|holds|mains|hum|regulator)(?:_[a-z]+)*\b", source
        )
    )
    named = {name for name in rules if f'"{name}"' in source}
    written = {rule for row in table_rows() for rule in re.findall(r"`([a-z_]+)`", row[0] + row[1])}
    # two words of a build stand there too: a subject and a way of wiring
    assert {*named, "rating", "bleeder"} - {"regulator", "hum_pot"} <= written
