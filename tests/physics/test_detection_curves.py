"""What is read off the curves of a detector, on curves in closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest

from receiver_sim.physics.detection_curves import beat_frequency, overload, speech_rotation

ROTATION = np.array([0.30, 0.34, 0.37, 0.39, 0.40])
AUDIO = np.array([1.0, 1.5, 2.2, 3.1, 4.5])


def test_below_onset_speech_is_where_the_width_falls_to_what_is_wanted() -> None:
    """Even in ratios of width: 8 kHz at 0.37 and 4 kHz at 0.39 put 5 kHz at ln(8/5)/ln 2 between."""
    reach = np.array([16e3, 12e3, 8e3, 4e3, 2e3])
    found = speech_rotation(ROTATION, AUDIO, reach, wanted_hz=5e3, below_onset=True)
    assert found == pytest.approx(0.37 + 0.02 * math.log(8.0 / 5.0) / math.log(2.0))
    wide = speech_rotation(ROTATION, AUDIO, reach, wanted_hz=1e3, below_onset=True)
    assert wide == 0.40
    # too sharp throughout: the widest there is
    assert speech_rotation(ROTATION, AUDIO, reach, wanted_hz=20e3, below_onset=True) == 0.30
    turned = reach[[1, 0, 2, 3, 4]]
    assert speech_rotation(ROTATION, AUDIO, turned, wanted_hz=20e3, below_onset=True) == 0.34


def test_elsewhere_speech_is_at_the_loudest_that_is_wide_enough() -> None:
    reach = np.array([3e3, 6e3, 7e3, 6e3, 2e3])
    audio = np.array([9.0, 2.0, 1.0, 3.0, 8.0])
    assert speech_rotation(ROTATION, audio, reach, wanted_hz=5e3, below_onset=False) == 0.39
    # what is just as wide as wanted is wide enough
    assert speech_rotation(ROTATION, audio, reach, wanted_hz=3e3, below_onset=False) == 0.30


def test_overload_is_where_the_slope_falls_through_a_half() -> None:
    """Audio A/(1 + A/A0): its slope in logarithms is 1/(1 + A/A0), a half at A = A0 (closed form); that of a
    chord is the slope at its geometric middle, to the square of a step of 12 %.
    """
    carrier = np.geomspace(0.01, 10.0, 61)
    assert overload(carrier, carrier / (1.0 + carrier / 0.7)) == pytest.approx(0.7, rel=2e-3)
    assert overload(carrier, carrier**0.51) is None
    assert overload(carrier, carrier**0.49) is None  # overloaded from the first on: not seen where


def test_a_beat_counts_whole_turns_of_either_sense() -> None:
    """3.6 turns of a pulled beat in 20 ms: three whole ones, over their own time."""
    time = np.linspace(0.0, 0.02, 4001)
    for sense in (1.0, -1.0):
        phase = 0.4 + sense * 2.0 * np.pi * (180.0 * time + 0.03 * np.sin(2.0 * np.pi * 180.0 * time))
        assert beat_frequency(time, phase) == pytest.approx(180.0, rel=1e-3)
    assert beat_frequency(time, 2.0 * np.pi * 49.0 * time) == 0.0
    assert beat_frequency(time + 5.0, 2.0 * np.pi * 51.0 * time) == pytest.approx(51.0, rel=1e-3)
