"""Hum as the ear takes it, and howl as it is named: closed forms on results made up for the purpose."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from receiver_sim.judge.verdicts import hum_watts, judge_oscillation
from receiver_sim.physics.hearing import sound_level_db
from receiver_sim.results.bands import Grade
from receiver_sim.results.envelope import BandOscillation, EnvelopeModes, OnsetKind, Oscillation, Stability
from receiver_sim.results.hum import HumPaths
from receiver_sim.results.onset import ControlSetting
from receiver_sim.schema import Build
from receiver_sim.studies.hum_paths import heard, tones
from tests.helpers.filling import filled

LINES = np.array([50.0, 100.0, 1000.0])
THRESHOLDS = (44.0, 26.5, 2.4)
"""dB SPL at those lines: ISO 226:2003 as printed (seen)."""


def watts(volts: float, hertz: float) -> float:
    """V^2 R/(R^2 + X^2) in the demo's headset, 2.2 kohm and 1.7 H: textbook."""
    return volts**2 * 2200.0 / (2200.0**2 + (2.0 * math.pi * hertz * 1.7) ** 2)


def test_lines_of_hum_as_levels_and_all_of_them_together(demo: Build) -> None:
    """100 dB SPL for 1 mW in that headset; powers, each counted from its own threshold, add."""
    total = np.zeros(20, dtype=complex)
    total[0], total[1], total[19] = 3e-3j, -0.7e-3, 0.2e-3
    found = {tone.frequency_hz: tone for tone in tones(demo, 0, total)}
    above = []
    for hertz, volts, threshold in zip(LINES, (3e-3, 0.7e-3, 0.2e-3), THRESHOLDS, strict=True):
        level = 100.0 + 10.0 * math.log10(watts(volts, float(hertz)) / 1e-3)
        assert found[hertz].volts_v == pytest.approx(volts)
        assert found[hertz].level_db == pytest.approx(level, abs=1e-9)
        assert found[hertz].threshold_db == pytest.approx(threshold, abs=1e-9)
        above.append(level - threshold)
    assert set(found) == set(LINES)
    together = 10.0 * math.log10(sum(10.0 ** (one / 10.0) for one in above))
    assert heard(list(found.values())) == pytest.approx(together, abs=1e-9)
    assert heard([]) is None


def test_sensitivity_counts_for_a_milliwatt() -> None:
    """IEC 60268-7 states headphones in dB SPL for 1 mW; ten times the power is 10 dB more."""
    assert sound_level_db(1e-3, sensitivity_db=98.0) == pytest.approx(98.0)
    assert sound_level_db(1e-5, sensitivity_db=98.0) == pytest.approx(78.0)


def test_what_is_heard_of_each_path_counts_by_its_threshold(demo: Build) -> None:
    """Two paths in opposite phase at one line; by ear a line counts by its power over the threshold's."""
    parts = {"one": np.array([[5e-3, 1e-3, 0.3e-3]]), "other": np.array([[-2e-3, 2e-3j, 0.1e-3]])}
    paths = filled(HumPaths, frequency_hz=LINES, parts=parts)
    total = parts["one"] + parts["other"]
    plain, by_ear = hum_watts(paths, demo, 0), hum_watts(paths, demo, 0, by_ear=True)
    for name, part in parts.items():
        shares = [(p * np.conj(t)).real for p, t in zip(part[0], total[0], strict=True)]
        each = [share * watts(1.0, float(f)) for share, f in zip(shares, LINES, strict=True)]
        assert plain[name] == pytest.approx(sum(each))
        weighed = [w / 10.0 ** (t / 10.0) for w, t in zip(each, THRESHOLDS, strict=True)]
        assert by_ear[name] == pytest.approx(sum(weighed))


def test_the_fastest_howl_is_the_one_named(demo: Build) -> None:
    """Three settings, two of them growing: the rate and the part are those of the faster."""

    def at(rotation: float, growing: int, rate: float, part: str) -> EnvelopeModes:
        return filled(
            EnvelopeModes, setting=ControlSetting(rotation, 20.0), growing=growing,
            rate=np.array([rate, -9.0]), frequency_hz=np.array([1700.0, 0.0]),
            carried_by=((part,), ("other",)),
        )  # fmt: skip

    points = (at(0.4, 2, 31.0, "slow part"), at(0.5, 2, 870.0, "fast part"), at(0.6, 0, -5.0, "still"))
    steady = replace(filled(Stability), points=points, begins_rotation=0.387, ends_rotation=0.531)
    band = filled(
        BandOscillation, oscillation=filled(Oscillation, kind=OnsetKind.SOFT, jump=None), stability=(steady,)
    )
    (verdict,) = [v for v in judge_oscillation([band], demo.verdicts) if v.rule == "holds_still"]
    assert (verdict.grade, verdict.value, verdict.unit) == (Grade.BAD, 870.0, "1/s")
    # the limits are those found by halving, not the settings looked at
    assert "from 39 to 53 % of the control, carried by fast part: " in verdict.text
