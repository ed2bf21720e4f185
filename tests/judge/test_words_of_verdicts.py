"""What each verdict says to do, and what is a danger: results made by hand, just on either side of a limit.

Cures are common practice, no source: more feedback brings onset lower on the knob and at less screen voltage,
larger capacitors let through lower notes.
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
    Jump,
    OnsetKind,
    Oscillation,
    Stability,
)
from receiver_sim.results.hum import HumPaths
from receiver_sim.results.onset import REVERSED, ControlSetting, GainAgainstScreen, Onset
from receiver_sim.schema import Build, changed_build
from receiver_sim.schema.verdicts import Verdicts
from tests.helpers.filling import filled

LIMITS = Verdicts()

# ---------------------------------------------------------------------------- bands


def onset(rotation: float = 0.5, volts: float | None = 30.0, turn: float | None = 9.0, **given: Any) -> Onset:
    at = ControlSetting(rotation, volts) if volts is not None else ControlSetting(
        rotation, None, 80e-12, "F", "throttle"
    )  # fmt: skip
    plain = {"band": "40 m", "status": Status.OSCILLATES, "onset": at, "approach_deg": turn, "warnings": ()}
    return filled(Onset, **{**plain, **given})


def report(*onsets: Onset, unit: str = "V") -> BandReport:
    return filled(BandReport, band="40 m", onsets=onsets, against_screen=filled(GainAgainstScreen, unit=unit))


def judged(*onsets: Onset, unit: str = "V", **more: Any) -> dict[str, Verdict]:
    return {v.rule: v for v in verdicts.judge_bands([report(*onsets, unit=unit)], LIMITS, **more)}


@pytest.mark.parametrize("which", [0, 1, 2])
@pytest.mark.parametrize(
    ("kept", "broken", "rule", "value", "cure"),
    [
        ({"rotation": 0.1515}, {"rotation": 0.1485}, "onset_rotation_min", 14.85,
         "lower stop: lower the tap or the bottom resistor of the control"),
        ({"rotation": 0.8415}, {"rotation": 0.8585}, "onset_rotation_max", 85.85,
         "upper stop: raise the tap or feed the control from more volts"),
        ({"volts": 12.12}, {"volts": 11.88}, "onset_screen_min", 11.88,
         "starved at onset: little gain; lower the tap so that onset needs a higher screen voltage"),
        ({"volts": 59.4}, {"volts": 60.6}, "onset_screen_max", 60.6,
         "needs a high screen voltage: raise the tap"),
        ({"turn": 4.04}, {"turn": 3.96}, "approach_min", 3.96, "touchy: spread it with end resistors"),
    ],
)  # fmt: skip
def test_the_worst_place_of_the_dial_turns_a_verdict_and_brings_its_cure(
    which: int, kept: dict[str, float], broken: dict[str, float], rule: str, value: float, cure: str
) -> None:
    def at(given: dict[str, float]) -> dict[str, Verdict]:
        # a spread over the dial of less than a quarter of the knob, so that this rule alone speaks
        middle = {"rotation": 0.25 if rule.endswith("rotation_min") else 0.75}
        return judged(*(onset(**{**middle, **(given if n == which else {})}) for n in range(3)))

    assert {v.grade for v in at(kept).values()} == {Grade.GOOD}
    found = at(broken)
    assert {name for name, v in found.items() if v.grade is not Grade.GOOD} == {rule}
    assert found[rule].grade is Grade.DOUBTFUL and cure in found[rule].text
    assert found[rule].value == pytest.approx(value)


@pytest.mark.parametrize(("top", "grade"), [(0.6475, Grade.GOOD), (0.6525, Grade.DOUBTFUL)])
def test_onset_may_move_a_quarter_of_the_knob_over_the_dial(top: float, grade: Grade) -> None:
    found = judged(onset(top), onset(0.45), onset(0.4))["dial_spread_max"]
    assert (found.grade, found.limit, found.unit) == (grade, pytest.approx(25.0), "%")
    assert found.value == pytest.approx(100.0 * (top - 0.4))
    cure = "must be followed over the dial: a narrower band or a looser aerial evens it"
    assert (cure in found.text) is (grade is Grade.DOUBTFUL)


def test_the_onset_that_is_told_is_that_of_the_middle() -> None:
    found = judged(onset(0.38), onset(0.43), onset(0.5))["onset"]
    assert (found.value, found.text) == (pytest.approx(43.0), "oscillation starts at 43 % of the control")


def test_a_throttle_has_its_own_cures_and_no_screen_to_judge() -> None:
    low, high = (onset(rotation, volts=None) for rotation in (0.1, 0.9))
    found = judged(low, unit="F", feedback="tickler's coupling")
    cure = "lower the tickler's coupling or fit a throttle with less minimum capacitance"
    assert cure in found["onset_rotation_min"].text
    found = judged(high, unit="F", feedback="tickler's coupling")
    cure = "raise the tickler's coupling or feed the screen with more volts"
    assert cure in found["onset_rotation_max"].text
    assert not any(rule.startswith("onset_screen") for rule in found)


def silent(status: Status, **given: Any) -> Onset:
    return onset(status=status, onset=None, approach_deg=None, **given)


def test_a_band_that_never_oscillates_wants_more_one_that_always_does_less() -> None:
    never = judged(silent(Status.DOES_NOT, gain_highest=0.6))["onset"]
    assert (never.grade, never.value, never.limit) == (Grade.BAD, 0.6, 1.0)
    assert "does not oscillate at any setting: raise the tap, the coil's Q or the reach" in never.text
    assert "or loosen the aerial" in never.text
    always = judged(silent(Status.NOT_IN_RANGE, gain_lowest=1.3))["onset"]
    assert (always.grade, always.value, always.limit) == (Grade.BAD, 1.3, 1.0)
    assert "oscillates already at the lowest setting: lower the tap or the bottom resistor" in always.text
    failed = judged(silent(Status.FAILED, warnings=("no solution", "no solution")))["onset"]
    assert (failed.grade, failed.text) == (Grade.BAD, "the simulation failed: no solution")


@pytest.mark.parametrize(
    ("unit", "cure"),
    [
        ("V", "check the voltages of the tube, and that the tap is high enough"),
        ("F", "fit a throttle with more capacitance, or raise the tap"),
    ],
)
def test_next_to_no_feedback_has_a_cure_of_its_own(unit: str, cure: str) -> None:
    """A twentieth is none to speak of; a tap that is too low leaves more."""
    for gain, none in ((0.0495, True), (0.0505, False)):
        found = judged(silent(Status.DOES_NOT, gain_highest=gain), unit=unit)["onset"]
        assert (f"almost no feedback; {cure}" in found.text) is none


def test_a_reversed_tickler_is_named_before_all_other_cures() -> None:
    found = judged(silent(Status.DOES_NOT, gain_highest=0.01, warnings=(REVERSED,)))["onset"]
    assert f"does not oscillate at any setting: {REVERSED}. " in found.text


def test_places_without_an_onset_are_named_by_their_frequency() -> None:
    never, always = silent(Status.DOES_NOT, dial_hz=7.1e6), silent(Status.NOT_IN_RANGE, dial_hz=7.35e6)
    found = verdicts.judge_bands([report(onset(), never, always)], LIMITS)
    assert [v.subject for v in found] == ["40 m at 7.1 MHz", "40 m at 7.35 MHz"]
    assert {v.grade for v in found} == {Grade.BAD}


@pytest.mark.parametrize(("name", "what"), [("demo", "tap"), ("tickler", "tickler's coupling")])
def test_more_feedback_is_had_by_what_the_set_has(name: str, what: str) -> None:
    assert verdicts.feedback_of(shipped_build(name)) == what


# ---------------------------------------------------------------------------- how it comes in


@pytest.mark.parametrize(("turn", "grade"), [(2.97, Grade.GOOD), (3.03, Grade.BAD)])
@pytest.mark.parametrize(
    ("known", "cure"),
    [
        ({"screen_v": np.array([20.0, 30.0])}, ", or a stiffer supply of the screen softens it"),
        ({"screen_v": None, "unit": "V"}, ", or a stiffer feed of the plate softens it"),
        ({"screen_v": None, "unit": "F"}, "less tap softens it"),
    ],
)
def test_backlash_of_three_degrees_is_the_most(
    turn: float, grade: Grade, known: dict[str, Any], cure: str
) -> None:
    found = filled(
        Oscillation, kind=OnsetKind.HARD, jump=filled(Jump, backlash_deg=turn),
        amplitudes=filled(AmplitudeMap, **known),
    )  # fmt: skip
    (verdict,) = verdicts.judge_oscillation(
        [filled(BandOscillation, oscillation=found, stability=())], LIMITS
    )
    assert (verdict.grade, verdict.value, verdict.limit, verdict.unit) == (grade, turn, 3.0, "deg")
    assert (verdict.text.endswith(cure) and "a larger grid leak, less tap" in verdict.text) is (
        grade is Grade.BAD
    )


def test_a_stray_that_would_make_it_howl_is_told_in_picofarads() -> None:
    steady = filled(Stability, points=(), stray_margin_farad=0.37e-12)
    found = filled(Oscillation, kind=None)
    (verdict,) = verdicts.judge_oscillation(
        [filled(BandOscillation, oscillation=found, stability=(steady,))], LIMITS
    )
    assert verdict.grade is Grade.GOOD and "; 0.37 pF from the audio plate" in verdict.text


# ---------------------------------------------------------------------------- supply


def at_mains(share: float, figure: float, **given: Any) -> MainsPoint:
    return filled(MainsPoint, mains=share, screen_v=figure, holds=None, **given)


@pytest.mark.parametrize(
    ("moved", "grade"), [(3.96, Grade.GOOD), (4.04, Grade.DOUBTFUL), (-4.04, Grade.DOUBTFUL)]
)
def test_the_supply_may_move_the_set_by_one_approach(moved: float, grade: Grade) -> None:
    points = (at_mains(0.9, 22.0), at_mains(1.0, 22.0), at_mains(1.1, 22.0 + moved))
    drift: Any = SimpleNamespace(points=points)
    (found,) = verdicts.judge_regulator(drift, onset(approach_v=4.0), LIMITS)
    assert (found.subject, found.grade, found.value) == ("supply", grade, pytest.approx(abs(moved) / 4.0))
    assert ("put a regulator ahead of the control" in found.text) is (grade is Grade.DOUBTFUL)
    held: Any = SimpleNamespace(points=[filled(MainsPoint, mains=p.mains, screen_v=p.screen_v, holds=True,
                                               regulator_a=8e-3 + p.mains) for p in points])  # fmt: skip
    holds, drifts = verdicts.judge_regulator(held, onset(approach_v=4.0), LIMITS)
    assert (holds.grade, holds.value) == (Grade.GOOD, pytest.approx(0.908))  # the least of the three
    assert drifts.subject == "regulator"
    assert ("regulate it better" in drifts.text) is (grade is Grade.DOUBTFUL)


def test_of_a_throttle_the_onset_moves_towards_the_knob() -> None:
    """The knob sets farads, which no supply moves: onset goes from 80 pF to 83 pF, of an approach of 5 pF."""

    def there(farad: float) -> ControlSetting:
        return ControlSetting(0.5, None, farad, "F", "throttle")

    points = [
        filled(MainsPoint, mains=share, screen_v=None, value=80e-12, unit="F", holds=None, onset=there(farad))
        for share, farad in ((0.9, 79e-12), (1.0, 80e-12), (1.1, 83e-12))
    ]
    found = onset(volts=None, approach_v=None, at_nine_tenths=there(75e-12))
    (verdict,) = verdicts.judge_regulator(SimpleNamespace(points=points), found, LIMITS)  # type: ignore[arg-type]
    assert verdict.value == pytest.approx(0.6) and verdict.grade is Grade.GOOD


@pytest.mark.parametrize(("watts", "grade"), [(2.475, Grade.GOOD), (2.525, Grade.BAD)])
def test_a_rating_is_kept_or_not(watts: float, grade: Grade) -> None:
    line = RatingLine("audio X", "plate dissipation", watts, 2.5, "W")
    point = filled(OperatingPoint, ratings=(line,), setting=ControlSetting(0.37, 20.0))
    (found,) = verdicts.judge_bias([point])
    assert (found.subject, found.rule, found.grade, found.value, found.limit, found.unit) == (
        "audio X", "rating", grade, watts, 2.5, "W",
    )  # fmt: skip
    said = "plate dissipation above the rating with the control at 37 %"
    assert found.text == (said if grade is Grade.BAD else "plate dissipation within the rating")


# ---------------------------------------------------------------------------- what is heard


@pytest.mark.parametrize(
    ("low", "high", "rules"),
    [
        (495.0, 2525.0, {"audio_band": Grade.GOOD}),
        (505.0, 2525.0, {"audio_low_max": Grade.DOUBTFUL}),
        (495.0, 2475.0, {"audio_high_min": Grade.DOUBTFUL}),
        (505.0, 2475.0, {"audio_low_max": Grade.DOUBTFUL, "audio_high_min": Grade.DOUBTFUL}),
        (None, None, {"audio_band": Grade.GOOD}),
    ],
)
def test_speech_needs_from_500_to_2500_hertz(
    demo: Build, low: float | None, high: float | None, rules: dict[str, Grade]
) -> None:
    """Little bass sounds thin, and larger capacitors bring it; little treble sounds dull, and smaller
    ones do.
    """
    output = filled(OutputResponse, output="phones", low_hz=low, high_hz=high)
    found = verdicts.judge_audio(filled(AudioResponse, outputs=(output,)), demo, LIMITS)
    assert {v.rule: v.grade for v in found} == rules
    words = {"audio_low_max": "thin: larger coupling and by-pass capacitors or more output inductance help",
             "audio_high_min": "dull: a smaller RF filter capacitor, a lower load or a smaller grid "
             "leak helps",
             "audio_band": "passes the speech band"}  # fmt: skip
    due = {"audio_low_max": (low, 500.0), "audio_high_min": (high, 2500.0), "audio_band": (high, 2500.0)}
    for one in found:
        assert (one.subject, one.text, one.value, one.limit, one.unit) == (
            "phones", words[one.rule], *due[one.rule], "Hz",
        )  # fmt: skip


@pytest.mark.parametrize(
    ("above", "grade", "words"),
    [(10.1, Grade.GOOD, "well above the threshold"), (9.9, Grade.DOUBTFUL, "faint: "),
     (0.1, Grade.DOUBTFUL, "faint: "), (-0.1, Grade.BAD, "nothing is heard of "),
     (None, Grade.BAD, "nothing is heard of ")],
)  # fmt: skip
def test_a_weak_station_is_to_lie_ten_decibels_over_the_threshold(
    above: float | None, grade: Grade, words: str
) -> None:
    level = None if above is None else 7.3 + above
    heard = filled(
        Loudness, output="phones", carrier_v=112e-6, level_db=level, threshold_db=7.3, volume_up=True
    )
    (found,) = verdicts.judge_loudness([heard], LIMITS)
    assert (found.subject, found.grade, found.limit, found.unit) == ("phones", grade, 10.0, "dB")
    assert found.value == (None if above is None else pytest.approx(above, abs=1e-9))
    assert (
        words in found.text and "a station of 112 uV, 30 % modulated, with the volume fully up" in found.text
    )
    without = verdicts.judge_loudness([filled(Loudness, carrier_v=112e-6, volume_up=False)], LIMITS)
    assert "volume fully up" not in without[0].text


CURES = [
    ("ripple by the screen", "a larger by-pass at the screen or another filter section"),
    ("ripple by the audio stages", "decouple the audio stage better or filter the supply further"),
    (
        "ripple by the detector's plate",
        "filter the supply further, with another section of resistor or choke",
    ),
    ("field into the output winding", "turn, move or shield that winding, away from the mains transformer"),
    ("field into the detector's load", "turn, move or shield that winding, away from the mains transformer"),
    ("heater field, detector", "heat with smooth d.c., or try another tube of the type"),
]


@pytest.mark.parametrize(("path", "cure"), CURES)
def test_hum_is_fought_where_it_comes_in(demo: Build, path: str, cure: str) -> None:
    """1 mV at 50 Hz in a headset of 2.2 kohm and 1.7 H, all of it by one path: 0.43 uW."""
    parts = {path: np.array([[1e-3 + 0j]]), "heater to grid, detector": np.array([[1e-6 + 0j]])}
    paths = filled(HumPaths, frequency_hz=np.array([50.0]), parts=parts)
    hum = filled(Hum, outputs=(filled(OutputHum, output="phones"),))
    (found,) = verdicts.judge_hum(hum, demo, LIMITS, paths=paths)
    assert found.grade is Grade.DOUBTFUL
    assert found.text.startswith(f"audible hum, 100 % of what is heard by '{path}': {cure}")


@pytest.mark.parametrize(("share", "grade"), [(0.99, Grade.GOOD), (1.01, Grade.DOUBTFUL)])
def test_a_tenth_of_a_nanowatt_of_hum_is_the_most(demo: Build, share: float, grade: Grade) -> None:
    """V^2 R/(R^2 + X^2) at the line, with or without the paths at hand."""
    watts = share * 100e-12
    volts = np.sqrt(watts * (2200.0**2 + (2.0 * np.pi * 50.0 * 1.7) ** 2) / 2200.0)
    output = filled(OutputHum, output="phones", at_build_v=float(volts))
    hum = filled(Hum, mains_hz=50.0, outputs=(output,))
    paths = filled(HumPaths, frequency_hz=np.array([50.0]), parts={"ripple": np.array([[volts + 0j]])})
    for given in (None, paths):
        (found,) = verdicts.judge_hum(hum, demo, LIMITS, paths=given)
        assert (found.grade, found.value, found.unit) == (grade, pytest.approx(watts), "W")


@pytest.mark.parametrize(
    ("over", "words"), [(1.11, "the hum pot is at its null"), (1.13, "the hum pot at 43 % leaves 0.7 mV")]
)
def test_the_hum_pot_is_turned_where_that_gains_a_decibel(demo: Build, over: float, words: str) -> None:
    """1 dB is a ratio of 1.122."""
    output = filled(OutputHum, output="phones", at_build_v=over * 0.7e-3, best_v=0.7e-3, best_position=0.43)
    assert verdicts._against_hum("heater to grid, detector", output, demo).startswith(words)


# ---------------------------------------------------------------------------- dangers

DANGEROUS = ("bleeder", "plate_potential", "capacitor_rating", "rating", "discharge", "heater_over_max")


@pytest.mark.parametrize("rule", DANGEROUS)
def test_what_may_hurt_is_said_before_all_else(rule: str) -> None:
    """A charge that stays or falls too slowly, plate potential on a lead, a rating exceeded, a heater that
    may burst.
    """

    def said(grade: Grade) -> tuple[str, ...]:
        return verdicts.dangers([Verdict("part", rule, grade, 1.0, 2.0, "V", "it is so")])

    assert said(Grade.BAD) == ("DANGER, part: it is so.",)
    assert said(Grade.DOUBTFUL) == ("CAUTION, part: it is so.",)
    assert said(Grade.GOOD) == ()


@pytest.mark.parametrize(
    "rule", ["onset", "approach_min", "hum_power_max", "heater_under_max", "audio_low_max"]
)
def test_what_is_only_poor_is_no_danger(rule: str) -> None:
    assert verdicts.dangers([Verdict("part", rule, Grade.BAD, 1.0, 2.0, "V", "it is so")]) == ()


@pytest.mark.parametrize(
    ("kind", "capacitor", "missed"),
    [("dc", None, True), ("bench", None, True), ("battery", None, False), ("battery", "8 uF", True)],
)
def test_only_what_stores_nothing_needs_no_bleeder(kind: str, capacitor: str | None, missed: bool) -> None:
    supply: Any = SimpleNamespace(kind=kind, capacitor=capacitor, bleeder=None, volts=190.0)
    found = verdicts.judge_safety(SimpleNamespace(supply=supply, phones=()))  # type: ignore[arg-type]
    assert [(v.subject, v.rule, v.grade) for v in found] == (
        [("supply", "bleeder", Grade.BAD)] if missed else []
    )
    supply.bleeder = 82e3
    assert verdicts.judge_safety(SimpleNamespace(supply=supply, phones=())) == []  # type: ignore[arg-type]


@pytest.mark.parametrize(("rating", "grade"), [("207 V", Grade.BAD), ("211 V", None)])
def test_a_blocking_capacitor_is_held_against_the_highest_mains(
    demo: Build, rating: str, grade: Grade | None
) -> None:
    """190 V and a tenth: 209 V."""
    phone = {"name": "set", "at": "plate", "capacitor": "0.5 uF", "resistance": "2 kohm", "drain": "1 Mohm"}
    found = verdicts.judge_safety(changed_build(demo, {"phones": [{**phone, "capacitor_rating": rating}]}))
    assert [(v.rule, v.grade, v.value) for v in found] == (
        [] if grade is None else [("capacitor_rating", grade, pytest.approx(209.0))]
    )
