"""Noise over time: the same wherever it is cut, the density of its taps, independent courses."""

from __future__ import annotations

import numpy as np
import pytest

from receiver_sim.physics.noise_course import PASS, STOP, course

RATE = 24_000.0


def answer(taps: np.ndarray, parts: np.ndarray) -> np.ndarray:
    """Return the density (per sqrt(Hz)) of filtered white noise of unit variance with straight lines between
    its points, at parts of the rate: sqrt(2/rate) |H| (sin x/x)^2, textbook.
    """
    spectrum = np.exp(-2j * np.pi * np.outer(parts, np.arange(taps.size))) @ taps
    return np.sqrt(2.0 / RATE) * np.abs(spectrum) * np.sinc(parts) ** 2


def test_it_is_the_same_wherever_it_is_cut() -> None:
    """Across the blocks in which it is drawn, before the beginning too, any stretch is part of any other."""
    noise = course(5, channel=1, rate=RATE)
    whole = noise.values(-5000, 9500)
    assert whole.size == 14_501 and np.std(whole) > 0.0
    for first, last in (
        (-5000, -4990),
        (-300, 300),
        (0, 0),
        (3830, 4100),
        (3841, 3841),
        (8190, 9500),
        (-4097, -4096),
    ):
        part = noise.values(first, last)
        assert part.size == last - first + 1
        # the same sums of the same numbers
        assert part == pytest.approx(whole[first + 5000 : last + 5001], rel=1e-9, abs=1e-12)


def test_between_its_points_it_is_straight() -> None:
    noise = course(5, channel=1, rate=RATE)
    points = noise.values(99, 104)
    times = np.array([100.0, 100.25, 101.5, 103.0]) / RATE
    due = [points[1], 0.75 * points[1] + 0.25 * points[2], 0.5 * (points[2] + points[3]), points[4]]
    assert noise.at(times) == pytest.approx(due, rel=1e-6)
    assert noise.at(times[2:3]) == pytest.approx(due[2:3], rel=1e-6)


def test_its_density_is_one_up_to_where_it_is_promised_and_none_beyond() -> None:
    """0.375 and 0.46 of the rate. 513 taps under a raised cosine resolve 4/513 of it; ripple is less."""
    assert (PASS, STOP) == (0.375, 0.46)
    taps = course(1, channel=0, rate=RATE).taps
    assert answer(taps, np.linspace(0.0, 0.365, 74)) == pytest.approx(np.ones(74), rel=2e-3)
    assert answer(taps, np.linspace(0.47, 0.5, 31)).max() < 2e-3
    # between them it falls as a raised cosine: a half in the middle
    assert answer(taps, np.array([0.5 * (PASS + STOP)])) == pytest.approx([0.5], rel=0.01)


def test_its_density_follows_what_is_asked_for() -> None:
    """Straight from 3 at nothing to 1 at 6 kHz, and even from there: both resolved by 47 Hz."""
    taps = course(1, channel=0, rate=RATE, frequency=(0.0, 6e3, 12e3), density=(3.0, 1.0, 1.0)).taps
    hertz = np.array([500.0, 1500.0, 3000.0, 5000.0, 7000.0, 8500.0])
    due = np.interp(hertz, [0.0, 6e3], [3.0, 1.0])
    assert answer(taps, hertz / RATE) == pytest.approx(due, rel=3e-3)


def test_seeds_and_channels_are_each_their_own() -> None:
    """Of 8000 independent points the correlation is 1/sqrt(8000), 0.011; four of that are 0.045."""
    courses = [
        course(seed, channel=channel, rate=RATE).values(0, 8000)
        for seed, channel in ((1, 0), (1, 1), (2, 0), (0, 1))
    ]
    found = np.corrcoef(courses) - np.eye(4)
    assert np.abs(found).max() < 0.045
    again = course(1, channel=1, rate=RATE).values(0, 8000)
    assert list(again) == list(courses[1])


def test_a_rate_is_above_nothing() -> None:
    with pytest.raises(ValueError, match=r"^rate must be above zero, got 0\.0$"):
        course(1, channel=0, rate=0.0)
