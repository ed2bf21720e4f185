"""The search of an onset beside a known one, on loop gains in closed form: no engine is asked."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from receiver_sim.measure import set_onset
from receiver_sim.measure.loop_gain import Sample
from receiver_sim.measure.set_onset import Alike, Looked, crossing, figures_at, first_guess, gains_of, steps
from receiver_sim.physics.monotone_cubic import MonotoneCubic
from receiver_sim.results.base import Status

STATED = 0.4


def stated(share):
    """Loop gain of a three-halves law in the share, one at STATED; the control sets 60 V of it, loaded."""
    return (share / STATED) ** 0.5


def volts(share):
    return 60.0 * share / (1.0 + 0.3 * share * (1.0 - share))


def sample(share, gain):
    return Sample(share, volts(share), 7e6, gain(share))


@pytest.fixture(scope="module")
def alike():
    shares = np.linspace(0.02, 1.0, 15)
    return Alike(gains_of([sample(s, stated) for s in shares]))


def searched(alike, gain, *, approach=True):
    """Return status, what was looked at and how often; gain: of the set at a share."""
    probe = SimpleNamespace(dial_hz=7e6, tuning=100e-12, frequency=7e6)
    looked = Looked(probe, 5e-6)
    looked.trim(sample(STATED, gain))
    under_way, asked = steps(looked, alike, slope=1.0, approach=approach), 1
    share = next(under_way)
    while True:
        try:
            asked += 1
            share = under_way.send(sample(share, gain))
        except StopIteration as end:
            return end.value, looked, asked


@pytest.mark.parametrize(("of", "by"), [(1.0, 0.0), (0.8, 0.03), (1.3, -0.05), (0.9, 0.12)])
def test_onset_and_approach_against_the_closed_form(alike, of, by):
    """A set with `of` times the loop gain, `by` of the travel further up."""

    def gain(share):
        return of * stated(max(share - by, 1e-9))

    status, looked, asked = searched(alike, gain)
    assert status is Status.OSCILLATES and asked <= 5
    for wanted in (1.0, set_onset.NEAR):
        there = STATED * (wanted / of) ** 2 + by
        found = crossing(looked, alike, wanted)
        assert found == pytest.approx(there, abs=5e-4)
        # the control's own curve is that of the build as stated
        assert figures_at(looked, alike, found)[0] == pytest.approx(volts(found), rel=1e-3)


def test_a_set_without_an_onset_is_known_at_the_end_of_the_control(alike):
    """The first, one towards the stop, one at it, one below it, from which the gain still rises."""
    status, looked, asked = searched(alike, lambda share: 0.5 * stated(share))
    assert first_guess(looked, alike) > 1.0
    assert status is Status.DOES_NOT and asked <= 4
    # one whose gain falls towards the stop may have a maximum above one before it: not certain
    assert searched(alike, lambda s: 0.5 * stated(min(s, 1.7 - s)))[0] is None
    assert searched(alike, lambda s: 1.2 + 0.5 * s + 20.0 * (s >= STATED))[0] is Status.NOT_IN_RANGE


def test_the_curve_is_the_monotone_cubic_and_runs_straight_on():
    x, y = (0.0, 0.1, 0.25, 0.4, 0.8), (0.2, 0.5, 0.9, 1.0, 1.5)
    curve, known = set_onset._Curve(x, y), MonotoneCubic(x, y)
    inside = np.linspace(0.0, 0.8, 41)
    assert [curve(float(v)) for v in inside] == pytest.approx(known(inside).tolist(), abs=1e-14)
    end = float(known.slope(0.8))
    assert curve(1.0) == pytest.approx(1.5 + 0.2 * end) and curve(0.9) == pytest.approx(1.5 + 0.1 * end)


def test_only_the_stretch_that_rises_about_the_onset_counts():
    gains = [0.5, 0.4, 0.6, 0.8, 0.95, 1.1, 1.2, 1.15, 1.3]
    samples = [Sample(0.1 * i, 6.0 * i, 7e6, gain) for i, gain in enumerate(gains)]
    assert [gain for _, gain, _ in gains_of(samples)] == [0.4, 0.6, 0.8, 0.95, 1.1, 1.2]
    assert gains_of([s for s in samples if s.gain < 1.0]) == ()
