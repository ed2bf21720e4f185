"""How loud a weak station is in the phones, against the threshold of hearing."""

import math
from dataclasses import replace

import pytest

from receiver_sim import api
from receiver_sim.engine import Bench
from receiver_sim.failing_stages import Stages
from receiver_sim.judge import verdicts
from receiver_sim.oscillating import ACROSS_COIL, comes_in, loudness, mode_at
from receiver_sim.receiver import Receiver
from receiver_sim.results.audio import Loudness
from receiver_sim.results.bands import Grade
from receiver_sim.schema import Build, changed_build


def heard(bench: Bench, build: Build) -> tuple[Loudness, ...]:
    tuned = Receiver(build, bench).at(build.bands[0])
    return loudness(tuned, comes_in(tuned, Stages()).oscillation)


@pytest.fixture(scope="module")
def sound(bench: Bench, demo: Build) -> Loudness:
    (one,) = heard(bench, demo)
    return one


def test_the_level_is_that_of_the_power_in_the_headset(sound: Loudness) -> None:
    """P = V^2 R/(R^2 + X^2) in 2.2 kohm and 1.7 H; 100 dB SPL for 1 mW; 6.2 dB SPL at 400 Hz (ISO
    226:2003).
    """
    reactance = 2 * math.pi * 400.0 * 1.7
    power = sound.output_v**2 * 2200.0 / (2200.0**2 + reactance**2)
    assert (sound.output, sound.carrier_v, sound.tone_hz) == ("magnetic headset", 100e-6, 400.0)
    assert sound.power_w == pytest.approx(power, rel=1e-9)
    assert sound.level_db == pytest.approx(100.0 + 10 * math.log10(power / 1e-3), abs=1e-9)
    assert sound.threshold_db == pytest.approx(6.2, abs=1e-9)


def test_detection_follows_the_square_of_a_weak_carrier(bench: Bench, demo: Build, sound: Loudness) -> None:
    """Twice the carrier is 12.04 dB more; at loop gain 0.9 100 uV is far from where that law ends."""
    (twice,) = heard(bench, changed_build(demo, {"verdicts.loudness_signal": "200 uV"}))
    assert twice.level_db is not None and sound.level_db is not None
    assert twice.level_db - sound.level_db == pytest.approx(40 * math.log10(2), abs=0.1)


def test_the_volume_control_counts_as_fully_up(bench: Bench, demo: Build, sound: Loudness) -> None:
    """Who hears nothing turns it up: its setting in the build changes nothing."""
    (low,) = heard(bench, changed_build(demo, {"audio.volume.setting": "10 %"}))
    assert low.level_db == pytest.approx(sound.level_db, abs=0.05)


def test_without_an_aerial_the_carrier_is_stated_across_the_coil(
    bench: Bench, demo: Build, sound: Loudness
) -> None:
    """The demo's aerial gives so many times its e.m.f. across the coil without regeneration (its admittance
    times Rp); by the square law the rest of a factor of three is 40 log10 dB. Its loading moves onset.
    """
    tuned = Receiver(demo, bench).at(demo.bands[0])
    mode = mode_at(tuned, comes_in(tuned, Stages()).oscillation)
    assert mode.aerial is not None
    step_up = abs(mode.aerial) * mode.rp
    assert 2.0 < step_up < ACROSS_COIL
    (bare,) = heard(bench, changed_build(demo, {"aerial": None}))
    assert bare.level_db is not None and sound.level_db is not None
    expected = 40 * math.log10(ACROSS_COIL / step_up)
    assert bare.level_db - sound.level_db == pytest.approx(expected, abs=1.0)


def test_an_open_socket_is_not_listened_to(bench: Bench, demo: Build) -> None:
    assert heard(bench, changed_build(demo, {"phones[0].state": "open"})) == ()


def test_gross_mistakes_of_the_audio_part_are_heard(bench: Bench, demo: Build) -> None:
    """Guards against 10 pF of coupling and 2.7 ohm at the cathode that passed with 'good'.

    10 pF into 470 kohm is a divider of 1/85 at 400 Hz, 38 dB down on the demo's 37 dB above the
    threshold; a little comes back, as the detector's load rises. With the second mistake nothing is left.
    """
    faint = changed_build(demo, {"audio.coupling": "10 pF"})
    mute = changed_build(faint, {"audio.cathode_resistor": "2.7 ohm"})
    for build, grade, word in ((demo, Grade.GOOD, "a station"), (faint, Grade.DOUBTFUL, "faint: a station"),
                               (mute, Grade.BAD, "nothing is heard of a station")):  # fmt: skip
        (verdict,) = verdicts.judge_loudness(heard(bench, build), build.verdicts)
        assert (verdict.subject, verdict.rule, verdict.unit) == ("magnetic headset", "loudness_min", "dB")
        assert verdict.grade is grade and verdict.limit == 10.0
        assert verdict.text.startswith(f"{word} of 100 uV, 30 % modulated, with the volume fully up")


def test_thresholds_turn_the_grade(demo: Build, sound: Loudness) -> None:
    assert sound.level_db is not None
    above = sound.level_db - sound.threshold_db
    for limit, grade in ((above * 0.999, Grade.GOOD), (above * 1.001, Grade.DOUBTFUL)):
        limits = changed_build(demo, {"verdicts.loudness_min": f"{limit:.9g} dB"}).verdicts
        (verdict,) = verdicts.judge_loudness([sound], limits)
        assert verdict.grade is grade and verdict.value == pytest.approx(above, rel=1e-12)
    for level, grade in ((6.3, Grade.DOUBTFUL), (6.1, Grade.BAD), (None, Grade.BAD)):
        (verdict,) = verdicts.judge_loudness([replace(sound, level_db=level)], demo.verdicts)
        assert verdict.grade is grade
        assert verdict.value == (None if level is None else pytest.approx(level - 6.2, abs=1e-9))


def test_check_answers_it_on_its_reference_band(bench: Bench, demo: Build, sound: Loudness) -> None:
    report = api.check(demo.model_copy(update={"bands": demo.bands[:1]}), bench=bench)
    assert report.reference_band == demo.bands[0].name
    (one,) = report.loudness
    assert one.level_db == pytest.approx(sound.level_db, abs=0.01)
    (verdict,) = [v for v in report.verdicts if v.rule == "loudness_min"]
    assert (verdict.subject, verdict.grade) == ("magnetic headset", Grade.GOOD)
