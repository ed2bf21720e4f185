"""The search of an onset beside a known one, on loop gains in closed form: no engine is asked."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from receiver_sim.errors import NoAnswer
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


def test_what_the_control_sets_in_a_set_is_a_part_of_what_it_sets_in_the_build(alike):
    """A set whose control has 0.8 to 0.9 of the volts, as the parts beside it have it, and whose frequency
    rises along it: a straight line through its samples is met by the polynomial to its rounding.
    """
    probe = SimpleNamespace(dial_hz=7e6, tuning=100e-12, frequency=7e6)
    looked = Looked(probe, 5e-6)
    part, hertz = (lambda s: 0.8 + 0.2 * s), (lambda s: 7e6 + 900.0 * s)
    places = (0.3, 0.38, 0.45)
    looked.samples = [Sample(s, part(s) * volts(s), hertz(s), stated(s)) for s in places]
    for share in (0.34, 0.4, 0.41):
        # the build's own curve is a cubic through fifteen points
        set_, frequency = figures_at(looked, alike, share)
        assert set_ == pytest.approx(part(share) * volts(share), rel=1e-3)
        assert frequency == pytest.approx(hertz(share), rel=1e-9)
    # of more than three samples those count that are near: one far off may be anything
    looked.samples.append(Sample(0.99, 0.1, 8e6, 1.6))
    assert figures_at(looked, alike, 0.4) == pytest.approx((part(0.4) * volts(0.4), hertz(0.4)), rel=1e-3)
    looked.samples = looked.samples[:1]
    assert figures_at(looked, alike, 0.4) == pytest.approx((part(0.3) * volts(0.4), hertz(0.3)), rel=1e-3)


def test_the_dial_is_trimmed_by_what_its_frequency_missed():
    """C goes as 1/f^2: found at 1 % above the dial, the tank lacks 2.01 % of its whole capacitance."""
    probe = SimpleNamespace(dial_hz=7e6, tuning=80e-12, frequency=7.07e6)
    looked = Looked(probe, 5e-6)
    first = Sample(0.4, 20.0, 7.07e6, 0.9)
    looked.trim(first)
    whole = 1.0 / ((2.0 * np.pi * 7e6) ** 2 * 5e-6)
    assert probe.tuning == pytest.approx(80e-12 + 0.0201 * whole)
    assert (probe.frequency, looked.first) == (7e6, first)
    empty = SimpleNamespace(dial_hz=7e6, tuning=1e-12, frequency=7e6)
    Looked(empty, 5e-6).trim(Sample(0.4, 20.0, 6.9e6, 0.9))
    assert empty.tuning == set_onset.LEAST_FARAD


def test_a_first_sample_without_feedback_gives_no_guess(alike):
    probe = SimpleNamespace(dial_hz=7e6, tuning=100e-12, frequency=7e6)
    looked = Looked(probe, 5e-6)
    assert first_guess(looked, alike) is None
    looked.first = Sample(0.4, 20.0, 7e6, -0.1)
    assert first_guess(looked, alike) is None
    looked.first = Sample(0.4, 20.0, 7e6, 1.0)
    # as the build itself, whose curve is a cubic through fifteen points
    assert first_guess(looked, alike) == pytest.approx(STATED, rel=1e-3)


@pytest.mark.parametrize(
    ("slope", "followed"), [(0.396, False), (0.404, True), (2.475, True), (2.525, False)]
)
def test_a_set_that_runs_otherwise_does_not_resemble_the_build(slope, followed):
    """From two fifths to two and a half of the build's share."""
    found = set_onset._slope([(0.3, 0.3), (0.4, 0.3 + 0.1 * slope)])
    assert found == pytest.approx(slope if followed else 0.0)


def test_places_too_close_say_nothing_of_the_slope():
    """Less than a hundredth of the travel of the first two, one of which was measured before the trim."""
    assert set_onset._slope([(0.3, 0.3), (0.3099, 0.312)], 0.7) == 0.7
    assert set_onset._slope([(0.3, 0.3), (0.3101, 0.3101 + 0.002)], 0.7) == pytest.approx(0.0121 / 0.0101)
    assert set_onset._slope([(0.2, 0.2), (0.3, 0.3), (0.3099, 0.31188)], 0.7) == pytest.approx(1.2)


@pytest.mark.parametrize(("top", "below", "status"), [(0.99, 0.98, Status.DOES_NOT), (0.99, 1.0, None)])
def test_at_the_upper_stop_a_gain_that_still_rises_has_no_maximum_below(top, below, status):
    search = set_onset._beyond(1.2)
    assert next(search) == 1.0
    assert search.send(Sample(1.0, 60.0, 7e6, top)) == 0.85
    with pytest.raises(StopIteration) as end:
        search.send(Sample(0.85, 50.0, 7e6, below))
    assert end.value.value is status


@pytest.mark.parametrize(("gain", "status"), [(1.01, Status.NOT_IN_RANGE), (0.99, None)])
def test_at_the_lower_stop_a_gain_above_one_lies_off_the_control(gain, status):
    search = set_onset._beyond(-0.1)
    assert next(search) == 0.0
    with pytest.raises(StopIteration) as end:
        search.send(Sample(0.0, 0.0, 7e6, gain))
    assert end.value.value is status


def test_a_polynomial_goes_through_its_points_and_two_of_one_place_are_refused():
    points = [(0.1, 2.0), (0.4, -1.0), (0.7, 5.0)]
    assert [set_onset.through(points, x) for x, _ in points] == pytest.approx([2.0, -1.0, 5.0])
    parabola = [(x, 3.0 * x**2 - x + 0.5) for x in (0.1, 0.4, 0.9)]
    assert set_onset.through(parabola, 0.6) == pytest.approx(3.0 * 0.36 - 0.6 + 0.5)
    with pytest.raises(NoAnswer, match=r"^two settings of the control give the same loop gain$"):
        set_onset.through([(0.1, 2.0), (0.1, 3.0)], 0.2)


@pytest.mark.parametrize(("lowest", "counts"), [(0.895, True), (0.905, False)])
def test_a_stretch_counts_that_begins_below_nine_tenths(lowest, counts):
    gains = [lowest, 0.94, 0.98, 1.02, 1.06]
    samples = [Sample(0.1 * i, 6.0 * i, 7e6, gain) for i, gain in enumerate(gains)]
    assert bool(gains_of(samples)) is counts
    assert gains_of(samples[2:]) == ()
