"""Branches of the verdicts that results seldom take: no approach, no amplitudes, loads that are open, hum by
each way of heating, filters by section. Results made by hand; cures are common practice, no source.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from receiver_sim.builds import shipped_build
from receiver_sim.judge import verdicts
from receiver_sim.results.audio import AudioResponse, Hum, Loudness, OutputHum, OutputResponse
from receiver_sim.results.bands import BandReport, Grade, Verdict
from receiver_sim.results.base import Status
from receiver_sim.results.bias import MainsPoint, OperatingPoint, RatingLine
from receiver_sim.results.envelope import (
    AmplitudeMap,
    BandOscillation,
    EnvelopeModes,
    Jump,
    OnsetKind,
    Oscillation,
    Stability,
    Steadiness,
)
from receiver_sim.results.hum import HumPaths
from receiver_sim.results.onset import ControlSetting, GainAgainstScreen, Onset
from receiver_sim.schema import Build, changed_build
from receiver_sim.schema.verdicts import Verdicts
from tests.helpers.filling import filled

LIMITS = Verdicts()


def onset(rotation: float = 0.5, volts: float | None = 30.0, **given: Any) -> Onset:
    plain = {"band": "40 m", "status": Status.OSCILLATES, "onset": ControlSetting(rotation, volts),
             "approach_deg": 9.0, "warnings": ()}  # fmt: skip
    return filled(Onset, **{**plain, **given})


def report(*onsets: Onset, band: str = "40 m") -> BandReport:
    return filled(BandReport, band=band, onsets=onsets, against_screen=filled(GainAgainstScreen, unit="V"))


def judged(*onsets: Onset, limits: Verdicts = LIMITS) -> dict[str, Verdict]:
    return {v.rule: v for v in verdicts.judge_bands([report(*onsets)], limits)}


def test_a_good_band_has_a_verdict_by_each_rule_with_its_worst_figure() -> None:
    """Greatest rotation and screen voltage against the greatest allowed, least approach against the least."""
    found = judged(
        onset(0.40, 21.0, approach_deg=7.0),
        onset(0.45, 24.0, approach_deg=6.0),
        onset(0.5, 27.0, approach_deg=8.0),
    )
    assert {rule: (v.grade, v.value, v.limit, v.unit, v.text) for rule, v in found.items()} == {
        "onset": (Grade.GOOD, pytest.approx(45.0), None, "%", "oscillation starts at 45 % of the control"),
        "onset_rotation": (Grade.GOOD, pytest.approx(50.0), pytest.approx(85.0), "%",
                           "onset lies in the useful part of the control"),
        "onset_screen": (Grade.GOOD, 27.0, 60.0, "V",
                         "the screen voltage at onset is that of a working detector"),
        "approach_min": (Grade.GOOD, 6.0, 4.0, "deg",
                         "the knob has enough travel between loop gain 0.9 and 1"),
        "dial_spread_max": (Grade.GOOD, pytest.approx(10.0), pytest.approx(25.0), "%",
                            "onset moves little over the dial"),
    }  # fmt: skip


def test_a_band_may_miss_at_both_ends() -> None:
    """The spread is that of the whole dial; neither end makes up for the other."""
    found = judged(onset(0.1, 8.0), onset(0.5, 30.0), onset(0.9, 70.0))
    assert {rule for rule, v in found.items() if v.grade is Grade.DOUBTFUL} == {
        "onset_rotation_min", "onset_rotation_max", "onset_screen_min", "onset_screen_max", "dial_spread_max",
    }  # fmt: skip
    assert (found["onset_rotation_min"].limit, found["onset_rotation_max"].limit) == (
        pytest.approx(15.0), pytest.approx(85.0),
    )  # fmt: skip
    assert (found["onset_screen_min"].limit, found["onset_screen_max"].limit) == (12.0, 60.0)
    assert found["dial_spread_max"].value == pytest.approx(80.0)
    assert not {"onset_rotation", "onset_screen"} & set(found)


def test_a_control_that_never_leaves_nine_tenths_has_no_approach() -> None:
    found = judged(*(onset(approach_deg=None) for _ in range(3)))["approach_min"]
    assert (found.grade, found.value, found.limit, found.unit) == (Grade.DOUBTFUL, None, 4.0, "deg")
    assert found.text == "the loop gain is above 0.9 over the whole control: no approach to judge"
    # one place that has one is judged
    assert judged(onset(approach_deg=None), onset(approach_deg=5.0))["approach_min"].value == 5.0


def test_limits_are_those_of_the_build() -> None:
    wide = Verdicts(onset_rotation_min="5 %", dial_spread_max="50 %", approach_min="2 deg")  # type: ignore[arg-type]
    low = (onset(0.1, approach_deg=3.0), onset(0.4))
    assert {v.grade for v in judged(*low, limits=wide).values()} == {Grade.GOOD}
    assert {rule for rule, v in judged(*low).items() if v.grade is not Grade.GOOD} == {
        "onset_rotation_min", "dial_spread_max", "approach_min",
    }  # fmt: skip


def test_silence_that_follows_is_said_with_each_kind_of_it() -> None:
    """No onset: no regeneration; no way below it: every carrier whistles. Of several places the gain that
    came nearest to one counts, or that went farthest above it.
    """
    never = [onset(status=Status.DOES_NOT, onset=None, gain_highest=g, dial_hz=7e6) for g in (0.4, 0.7, None)]
    (found,) = verdicts.judge_bands([report(*never)], LIMITS)
    assert (found.subject, found.value) == ("40 m", 0.7)
    assert found.text.endswith(
        "Without an onset there is no regeneration: little gain, no selectivity beyond the bare coil's, no "
        "beat note with Morse"
    )
    always = [onset(status=Status.NOT_IN_RANGE, onset=None, gain_lowest=g) for g in (1.4, None, 1.2)]
    (found,) = verdicts.judge_bands([report(*always)], LIMITS)
    assert found.value == 1.4
    assert found.text.endswith("It cannot be brought below onset: every carrier whistles, and speech is lost")


def test_places_of_one_kind_are_named_together() -> None:
    places = [onset(status=Status.FAILED, onset=None, dial_hz=hz, warnings=(text,)) for hz, text in
              ((7.0e6, "no solution"), (7.1234e6, "out of time"))]  # fmt: skip
    (found,) = verdicts.judge_bands([report(onset(), *places)], LIMITS)
    assert found.subject == "40 m at 7 and 7.123 MHz"
    assert found.text == "the simulation failed: no solution; out of time"
    assert (found.value, found.limit, found.unit) == (None, None, "")


# ---------------------------------------------------------------------------- how it comes in


def oscillation(kind: OnsetKind, jump: Jump | None, **given: Any) -> Verdict:
    found = filled(Oscillation, band="40 m", kind=kind, jump=jump, **given)
    (verdict,) = verdicts.judge_oscillation(
        [filled(BandOscillation, oscillation=found, stability=())], LIMITS, feedback="tickler's coupling"
    )
    return verdict


def test_an_onset_without_a_jump_has_no_backlash() -> None:
    found = oscillation(OnsetKind.SOFT, None)
    assert (found.subject, found.rule, found.grade, found.value) == ("40 m", "backlash_max", Grade.GOOD, 0.0)
    assert found.text == "oscillation slides in and out at the same setting"


def test_a_small_jump_is_within_a_hairs_breadth_and_a_large_one_is_not() -> None:
    small = oscillation(OnsetKind.HARD, filled(Jump, backlash_deg=1.0))
    assert small.text == "oscillation jumps, but lets go within a hair's breadth of the knob"
    large = oscillation(OnsetKind.HARD, filled(Jump, backlash_deg=5.0), amplitudes=None)
    assert large.text == (
        "oscillation jumps in and continues below its onset, where weak signals are heard best: a larger "
        "grid leak, less tickler's coupling, or a stiffer supply of the screen softens it"
    )
    plate = filled(AmplitudeMap, screen_v=None, unit="V")
    fed = oscillation(OnsetKind.HARD, filled(Jump, backlash_deg=5.0), amplitudes=plate)
    assert fed.text.endswith("coupling, or a stiffer feed of the plate softens it")


def modes(rotation: float, growing: int, rate: float) -> EnvelopeModes:
    return filled(
        EnvelopeModes, setting=ControlSetting(rotation, 20.0), growing=growing, rate=np.array([rate, -9.0]),
        frequency_hz=np.array([1700.0, 0.0]), carried_by=(("audio plate",), ("other",)),
    )  # fmt: skip


def test_howl_whose_ends_were_not_found_is_told_by_the_settings_looked_at() -> None:
    points = (modes(0.42, 2, 31.0), modes(0.51, 1, 87.0), modes(0.7, 0, -5.0))
    howl, boats = Steadiness.HOWL, Steadiness.MOTORBOATING
    for kind, ends, due in ((howl, (None, None), " from 42 to 51 %"), (howl, (0.4, None), " from 42 to 51 %"),
                            (howl, (0.4, 0.6), " from 40 to 60 %"),
                            (boats, (0.4, 0.6), ", oscillating or not, from 40 to 60 %")):  # fmt: skip
        steady = filled(Stability, band="40 m", kind=kind, points=points,
                        begins_rotation=ends[0], ends_rotation=ends[1])  # fmt: skip
        still = filled(Oscillation, band="40 m", kind=None)
        (found,) = verdicts.judge_oscillation(
            [filled(BandOscillation, oscillation=still, stability=(steady, filled(Stability)))], LIMITS
        )
        assert (found.rule, found.grade, found.value, found.limit, found.unit) == (
            "holds_still", Grade.BAD, 87.0, 0.0, "1/s",
        )  # fmt: skip
        assert found.text == (
            f"{kind.value}{due} of the control, carried by audio plate: `receiver-sim onset` tries remedies"
        )
    calm = filled(Stability, band="40 m", points=(modes(0.7, 0, -5.0),), stray_margin_farad=None)
    (found,) = verdicts.judge_oscillation(
        [filled(BandOscillation, oscillation=still, stability=(calm,))], LIMITS
    )
    assert (found.grade, found.text) == (Grade.GOOD, "the oscillation holds still at every setting looked at")


# ---------------------------------------------------------------------------- ratings and supply


def test_of_each_rating_the_worst_setting_counts_wherever_it_stands() -> None:
    """Three settings; plate and screen have their worst at different ones."""
    watts = {0.0: (1.0, 0.7), 0.5: (2.6, 0.5), 1.0: (2.0, 0.6)}
    points = [
        filled(OperatingPoint, setting=ControlSetting(at, 20.0), ratings=(
            RatingLine("V1", "plate dissipation", plate, 2.5, "W"),
            RatingLine("V1", "screen dissipation", screen, 0.7, "W"),
            RatingLine("V2", "plate dissipation", 0.5 * plate, 2.5, "W")))
        for at, (plate, screen) in watts.items()
    ]  # fmt: skip
    found = verdicts.judge_bias(points)
    assert [(v.subject, v.grade, v.value) for v in found] == [
        ("V1", Grade.BAD, 2.6), ("V1", Grade.GOOD, 0.7), ("V2", Grade.GOOD, 1.3),
    ]  # fmt: skip
    assert found[0].text == "plate dissipation above the rating with the control at 50 %"
    assert found[1].text == "screen dissipation within the rating"


def mains(share: float, screen: float | None, at: float | None, holds: bool | None = None) -> MainsPoint:
    place = None if at is None else ControlSetting(0.5, None, at, "F", "throttle")
    return filled(
        MainsPoint, mains=share, screen_v=screen, onset=place, holds=holds, regulator_a=8e-3 * share,
        value=None if screen is not None else 80e-12, reason=f"out at {share}",
    )  # fmt: skip


def drift(*points: MainsPoint, **given: Any) -> list[Verdict]:
    return verdicts.judge_regulator(SimpleNamespace(points=points), onset(**given), LIMITS)  # type: ignore[arg-type]


def test_without_an_approach_the_drift_has_no_scale() -> None:
    three = [mains(share, 22.0, None) for share in (0.9, 1.0, 1.1)]
    assert drift(*three, approach_v=None, at_nine_tenths=None) == []
    bare = [mains(share, None, None) for share in (0.9, 1.0, 1.1)]
    at = ControlSetting(0.5, None, 75e-12, "F", "throttle")
    place = ControlSetting(0.5, None, 80e-12, "F", "throttle")
    assert drift(*bare, onset=place, approach_v=None, at_nine_tenths=at) == []
    # a set that has no onset at one of the mains is judged by the others
    some = [mains(0.9, None, None), mains(1.0, None, 80e-12), mains(1.1, None, 84e-12)]
    (found,) = drift(*some, onset=place, approach_v=None, at_nine_tenths=at)
    assert found.value == pytest.approx(0.8)
    (found,) = drift(some[1], some[0], onset=place, approach_v=None, at_nine_tenths=at)
    assert found.value == 0.0


def test_the_first_mains_at_which_a_regulator_fails_is_named() -> None:
    points = [mains(0.9, 22.0, None, False), mains(1.0, 22.0, None, True), mains(1.1, 22.0, None, False)]
    holds, moved = drift(*points, approach_v=4.0)
    assert (holds.value, holds.limit, holds.unit) == (pytest.approx(7.2e-3), None, "A")
    assert holds.text == "at 90 % of the mains: out at 0.9"
    assert (moved.value, moved.limit, moved.unit) == (0.0, 1.0, "1")
    assert moved.text == "a change of the supply by a tenth does not upset the setting"
    well = [mains(share, 22.0, None, True) for share in (0.9, 1.0, 1.1)]
    assert drift(*well, approach_v=4.0)[0].text == "regulates at 90, 100 and 110 % of the mains"


# ---------------------------------------------------------------------------- what is heard

OPEN = {"name": "spare", "at": "plate", "capacitor": "0.5 uF", "resistance": "2 kohm", "drain": "1 Mohm",
        "capacitor_rating": "400 V", "state": "open"}  # fmt: skip


@pytest.fixture
def two(demo: Build) -> Build:
    """The demo's phones loaded, and before them a jack in which nobody listens."""
    loaded = {**OPEN, "name": "phones", "state": "loaded"}
    return changed_build(demo, {"phones": [OPEN, loaded]})


def test_nobody_listens_at_an_open_jack(two: Build) -> None:
    outputs = (
        filled(OutputResponse, output="spare", low_hz=900.0, high_hz=900.0),
        filled(OutputResponse, output="phones", low_hz=100.0, high_hz=5000.0),
    )
    found = verdicts.judge_audio(filled(AudioResponse, outputs=outputs), two, LIMITS)
    assert [(v.subject, v.rule) for v in found] == [("phones", "audio_band")]
    heard = [filled(OutputHum, output=n, at_build_v=v) for n, v in (("spare", 1.0), ("phones", 1e-9))]
    hum = filled(Hum, mains_hz=50.0, outputs=tuple(heard))
    paths = filled(
        HumPaths, frequency_hz=np.array([50.0]), parts={"ripple": np.array([[1.0 + 0j], [1e-9 + 0j]])}
    )
    for given in (None, paths):
        (one,) = verdicts.judge_hum(hum, two, LIMITS, paths=given)
        assert (one.subject, one.grade, one.text) == (
            "phones", Grade.GOOD, "hum stays near the threshold of hearing",
        )  # fmt: skip
        assert (one.rule, one.limit) == ("hum_power_max", pytest.approx(1e-10))


def test_without_paths_hum_is_sent_to_where_they_are_found(demo: Build) -> None:
    hum = filled(Hum, mains_hz=50.0, outputs=(filled(OutputHum, output="phones", at_build_v=1.0),))
    (found,) = verdicts.judge_hum(hum, demo, LIMITS)
    assert found.text == "audible hum, `receiver-sim hum` shows by which path"


def test_a_path_that_works_against_the_rest_is_not_more_than_all(demo: Build) -> None:
    """3 mV against 2 mV leave 1 mV: three times what is heard, said as all of it; of 1 mV and 3 mV in phase
    the larger brings three quarters.
    """
    hum = filled(Hum, outputs=(filled(OutputHum, output="phones"),))
    for other, said in ((-2e-3, "100 %"), (1e-3, "75 %")):
        parts = {"ripple by the screen": np.array([[3e-3 + 0j]]), "field into it": np.array([[other + 0j]])}
        paths = filled(HumPaths, frequency_hz=np.array([50.0]), parts=parts)
        (found,) = verdicts.judge_hum(hum, demo, LIMITS, paths=paths)
        assert found.text.startswith(f"audible hum, {said} of what is heard by 'ripple by the screen': ")


def test_silence_has_no_shares(demo: Build) -> None:
    paths = filled(HumPaths, frequency_hz=np.array([50.0]), parts={"ripple": np.array([[0j]])})
    hum = filled(Hum, outputs=(filled(OutputHum, output="phones"),))
    (found,) = verdicts.judge_hum(hum, demo, LIMITS, paths=paths)
    assert (found.grade, found.value) == (Grade.GOOD, 0.0)


@pytest.mark.parametrize(
    ("changes", "cure"),
    [
        ({"heater.supply": "dc"}, "smooth the d.c. of the heaters better"),
        ({"heater.wiring": "one_side"},
         "a hum pot across the heaters balances it out, or heat with smooth d.c."),
        ({"heater.wiring": "centre_tap"},
         "a hum pot across the heaters balances it out, or heat with smooth d.c."),
        ({}, "the hum pot is at its null; keep heater leads off the grid, or heat with smooth d.c."),
    ],
)  # fmt: skip
def test_hum_of_the_heaters_is_fought_with_what_the_set_lacks(
    demo: Build, changes: dict[str, Any], cure: str
) -> None:
    still = filled(OutputHum, at_build_v=1e-3, best_v=1e-3, best_position=0.5)
    assert verdicts._against_hum("heater to cathode, audio", still, changed_build(demo, changes)) == cure


# ---------------------------------------------------------------------------- safety


def test_a_charge_that_stays_is_said_with_its_cure(demo: Build) -> None:
    bare = changed_build(demo, {"supply.bleeder": None})
    found = next(v for v in verdicts.judge_safety(bare) if v.rule == "bleeder")
    assert (found.value, found.limit, found.unit) == (None, None, "")
    assert found.text == ("no bleeder: the supply's capacitors stay charged after switching off; fit one")


def test_a_rectifier_is_at_its_peak_while_the_tubes_are_cold() -> None:
    """1.1 times 340 V, not the 250 V of a loaded supply; nor is a cold supply taken for less than that."""
    phone = SimpleNamespace(at="plate", drain=None, state="open", capacitor_rating=360.0, name="jack")
    for volts, peak, due in ((250.0, 340.0, 374.0), (350.0, 340.0, 385.0)):
        supply = SimpleNamespace(kind="rectifier", volts=volts, peak_volts=peak, bleeder=82e3, capacitor=None)
        found = verdicts.judge_safety(SimpleNamespace(supply=supply, phones=(phone,)))  # type: ignore[arg-type]
        assert [(v.rule, v.grade, v.value, v.limit, v.unit) for v in found] == [
            ("plate_potential", Grade.BAD, pytest.approx(due), 0.0, "V"),
            ("capacitor_rating", Grade.BAD, pytest.approx(due), 360.0, "V"),
        ]  # fmt: skip
        assert found[0].text == (
            "plate potential on the open lead: fit a drain resistor behind the capacitor"
        )
        assert found[1].text == (
            "the blocking capacitor is rated below the supply: if it fails, the lead is at plate voltage"
        )
    # behind a transformer there is no plate potential on the lead
    phone.at = "secondary"
    assert verdicts.judge_safety(SimpleNamespace(supply=supply, phones=(phone,))) == []  # type: ignore[arg-type]


def test_each_section_of_a_filter_is_judged_by_its_own_rating() -> None:
    """1.1 times 340 V is 374 V: 370 V is too little, 380 V enough; one that states nothing is not judged."""
    build = changed_build(
        shipped_build("mains_set"),
        {
            "supply.filter[0].rating": "370 V",
            "supply.filter[1].rating": None,
            "supply.filter[2].rating": "380 V",
        },
    )
    settled: Any = SimpleNamespace(supply=SimpleNamespace(volts=250.0, peak_volts=340.0))
    found = verdicts.judge_filter(build, settled)
    assert [(v.subject, v.rule, v.grade, v.value, v.limit, v.unit) for v in found] == [
        ("filter capacitor 1", "rating", Grade.BAD, pytest.approx(374.0), pytest.approx(370.0), "V"),
        ("filter capacitor 3", "rating", Grade.GOOD, pytest.approx(374.0), pytest.approx(380.0), "V"),
    ]  # fmt: skip
    assert [v.text for v in found] == [
        f"volts with the tubes cold and the mains 10 % high {word} the rating" for word in ("above", "within")
    ]
    assert verdicts.judge_filter(shipped_build("demo"), settled) == []


# ---------------------------------------------------------------------------- whole sentences


QUIET = (
    "see coupling capacitors, bias and by-passes of the audio stage, the match of the phones and the "
    "coupling of the aerial"
)


@pytest.mark.parametrize(
    ("level", "text"),
    [
        (20.0, "a station of 112 uV, 30 % modulated is well above the threshold of hearing"),
        (10.0, "a station of 112 uV, 30 % modulated is well above the threshold of hearing"),
        (
            9.9,
            "faint: a station of 112 uV, 30 % modulated is only just above the threshold of hearing; "
            + QUIET,
        ),
        (
            0.0,
            "faint: a station of 112 uV, 30 % modulated is only just above the threshold of hearing; "
            + QUIET,
        ),
        (-0.1, "nothing is heard of a station of 112 uV, 30 % modulated: " + QUIET),
        (None, "nothing is heard of a station of 112 uV, 30 % modulated: " + QUIET),
    ],
)
def test_what_is_said_of_a_weak_station(level: float | None, text: str) -> None:
    """Ten decibels themselves are enough, and the threshold itself is heard."""
    heard = filled(Loudness, carrier_v=112e-6, level_db=level, threshold_db=0.0, volume_up=False)
    (found,) = verdicts.judge_loudness([heard], LIMITS)
    assert (found.rule, found.text) == ("loudness_min", text)


def test_what_is_said_of_a_blocking_capacitor_of_unknown_rating(demo: Build) -> None:
    phone = {key: value for key, value in OPEN.items() if key != "capacitor_rating"}
    (found,) = verdicts.judge_safety(changed_build(demo, {"phones": [phone]}))
    assert found.text == (
        "the build does not say what volts its blocking capacitor stands (key 'capacitor_rating'): it needs "
        "209 V or more, and if it fails, the lead is at plate voltage"
    )
    # what it just stands is enough
    for rating, good in (("209.1 V", True), ("208.9 V", False)):
        build = changed_build(demo, {"phones": [{**phone, "capacitor_rating": rating}]})
        assert (verdicts.judge_safety(build) == []) is good


@pytest.mark.parametrize("share", [0.999, 1.0, 1.001])
def test_a_limit_itself_is_kept(share: float) -> None:
    """At the very figure of each threshold a band is good; a thousandth beyond it is not."""
    two = {
        "onset_screen": [onset(0.5, 12.0 * (2.0 - share)), onset(0.5, 60.0 * share)],
        "approach_min": [onset(approach_deg=4.0 * (2.0 - share))],
        "dial_spread_max": [onset(0.25), onset(0.25 + 0.25 * share)],
    }
    for rule, onsets in two.items():
        found = judged(*onsets)
        names = {name for name in found if name.startswith(rule)}
        assert {found[name].grade for name in names} == {Grade.GOOD if share <= 1.0 else Grade.DOUBTFUL}, rule
