"""The onset of a set that resembles another, whose loop gain along the control is known.

The same loop gain is reached by both at shares of the control's travel that follow each other almost
linearly: a set's share against that of the build as stated is what is searched along, and interpolated in.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Generator, Sequence
from dataclasses import dataclass, field

from receiver_sim.errors import NoAnswer
from receiver_sim.measure.loop_gain import Probe, Sample
from receiver_sim.physics.monotone_cubic import MonotoneCubic
from receiver_sim.physics.tank import resonant_capacitance
from receiver_sim.results.base import Status

NEAR = 0.9
"""Loop gain from which the approach to onset counts."""

_CLOSE = 3e-3
"""|T - 1| at which the search in a set stops where the approach is not wanted: the step that is left is
taken along the line through the last two."""

_BESIDE = 0.008
"""The same where the approach is measured, too: the line through both leaves some 1e-4 of the travel between
them."""

_LONGEST = 0.5
LEAST_FARAD = 1e-14
_MOST = 7
_SLOPES = (0.4, 2.5)
"""A set whose share runs otherwise against that of the build as stated does not resemble it."""

_APART = 0.01
"""Shares that lie closer say nothing of that slope where one was measured before the dial was trimmed."""

_BELOW_TOP = 0.85
"""Share at which a loop gain is held against that at the upper stop."""

PLACES = (
    -0.5,
    -0.35,
    -0.25,
    -0.18,
    -0.12,
    -0.08,
    -0.05,
    -0.025,
    0.0,
    0.025,
    0.05,
    0.08,
    0.12,
    0.18,
    0.25,
    0.35,
    0.45,
    0.6,
)
"""Shares of the travel beside the onset of the build as stated at which its loop gain is measured."""


def gains_of(samples: Sequence[Sample]) -> tuple[tuple[float, float, float], ...]:
    """Return (share, loop gain, what the control sets) of the stretch about the onset on which the gain
    rises; none if it is short.

    samples: by rising share.
    """
    above = next((i for i, s in enumerate(samples) if s.gain >= 1.0), None)
    if above is None:
        return ()
    first = last = above
    while first > 0 and samples[first - 1].gain < samples[first].gain:
        first -= 1
    while last + 1 < len(samples) and samples[last + 1].gain > samples[last].gain:
        last += 1
    rising = samples[first : last + 1]
    return (
        tuple((s.wiper, s.gain, s.figure) for s in rising)
        if len(rising) > 3 and rising[0].gain < NEAR
        else ()
    )


class _Curve:
    """A `MonotoneCubic` for one value at a time, of which a set asks some sixty; beyond its points it runs
    straight on.
    """

    def __init__(self, x: Sequence[float], y: Sequence[float]) -> None:
        self._x, self._y = tuple(x), tuple(y)
        self._slopes = [float(s) for s in MonotoneCubic(x, y).slope(x)]

    def __call__(self, x: float) -> float:
        """Return y at x."""
        end = 0 if x < self._x[0] else -1 if x > self._x[-1] else None
        if end is not None:
            return self._y[end] + (x - self._x[end]) * self._slopes[end]
        i = min(max(bisect_right(self._x, x) - 1, 0), len(self._x) - 2)
        h, rise = self._x[i + 1] - self._x[i], self._y[i + 1] - self._y[i]
        t = (x - self._x[i]) / h
        first, last = self._slopes[i] * h, self._slopes[i + 1] * h
        bend = first + last - 2.0 * rise
        return self._y[i] + t * (first + t * (rise - first - bend + t * bend))


class Alike:
    """The share of the control's travel at which the build as stated has a loop gain.

    figure: what its control sets at a share of its travel (V or F).
    """

    def __init__(self, gains: Sequence[tuple[float, float, float]]) -> None:
        shares, values, figures = zip(*gains, strict=True)
        self.figure = _Curve(shares, figures)
        self._share = _Curve(values, shares)

    def __call__(self, gain: float, of: float) -> float:
        """Return that share, of a set whose loop gain is `of` times that of the build."""
        return self._share(gain / of)


@dataclass
class Looked:
    """A band of a set: where it is tuned, what was measured of it.

    first: measured before the dial was trimmed, good for a guess and for what the control sets; samples:
    after that. slope: what was found of the set's share against that of the build as stated.
    """

    probe: Probe
    inductance: float
    samples: list[Sample] = field(default_factory=list)
    first: Sample | None = None
    slope: float = 1.0

    def trim(self, first: Sample) -> None:
        """Note the tuning (F) that brings zero phase to the dial's frequency, from where it was found."""
        probe = self.probe
        dial, tuning = probe.dial_hz, probe.tuning
        assert tuning is not None
        total = float(resonant_capacitance(self.inductance, frequency=dial))
        probe.tuning = max(tuning + total * ((first.frequency / dial) ** 2 - 1.0), LEAST_FARAD)
        probe.frequency = dial
        self.first = first


def first_guess(looked: Looked, alike: Alike) -> float | None:
    """Return the share at which a band should begin to oscillate, from its first sample; None without one."""
    first = looked.first
    return None if first is None or first.gain <= 0.0 else alike(1.0, first.gain)


def steps(
    looked: Looked, alike: Alike, *, slope: float, approach: bool
) -> Generator[float, Sample, Status | None]:
    """Yield shares at which a trimmed band is to be measured, be sent the samples; return what was found: an
    onset, none, or none on the control. None where the set does not resemble the build as stated.

    slope: of the set's share against that of the build at the same loop gain; one where not known.
    """
    first, onset = looked.first, first_guess(looked, alike)
    if first is None or onset is None:
        return None
    of, at = first.gain, first.wiper
    near = alike(NEAR, of)
    beside = _BESIDE if approach else _CLOSE
    places = [(at, at)]
    while len(looked.samples) < _MOST - 1:
        here, at = places[-1]
        guess = at + min(max(slope * (onset - here), -_LONGEST), _LONGEST)
        if not 0.0 < guess < 1.0:
            if any(s.wiper == 1.0 for s in looked.samples):
                return None
            beyond = yield from _beyond(guess)
            if not isinstance(beyond, Sample):
                return beyond
            sample, guess = beyond, 1.0
        else:
            sample = yield guess
        looked.samples.append(sample)
        places.append((alike(sample.gain, of), guess))
        slope = looked.slope = _slope(places, slope)
        if not slope:
            return None
        if abs(sample.gain - 1.0) < beside:
            break
    else:
        return None
    here, at = places[-1]
    low = at + slope * (near - here)
    if approach and low > 0.0:
        looked.samples.append((yield low))
    return Status.OSCILLATES


def _beyond(guess: float) -> Generator[float, Sample, Sample | Status | None]:
    """Look at the end of the control beyond which an onset should lie: return the sample at the upper stop if
    it is on the control after all, that there is none, or None where that is not certain.

    A loop gain that still rises towards the upper stop has its maximum there.
    """
    if guess <= 0.0:
        bottom = yield 0.0
        return Status.NOT_IN_RANGE if bottom.gain >= 1.0 else None
    top = yield 1.0
    if top.gain >= 1.0:
        return top
    below = yield _BELOW_TOP
    return Status.DOES_NOT if below.gain < top.gain else None


def _slope(places: Sequence[tuple[float, float]], known: float = 1.0) -> float:
    """Return the slope of the last two places: `known` if they lie too close, 0 if it can't be followed."""
    (a, x), (b, y) = places[-2:]
    if abs(b - a) < (_APART if len(places) == 2 else 1e-6):
        return known
    slope = (y - x) / (b - a)
    return slope if _SLOPES[0] < slope < _SLOPES[1] else 0.0


def crossing(looked: Looked, alike: Alike, gain: float) -> float:
    """Return the share of the control's travel at which the band has a loop gain."""
    first = looked.first
    assert first is not None
    of = first.gain
    goal = alike(gain, of)
    places = [(alike(s.gain, of), s.wiper) for s in looked.samples]
    near = sorted(places, key=lambda p: abs(p[0] - goal))[:3]
    if len(near) == 1:
        here, at = near[0]
        return at + looked.slope * (goal - here)
    return through(near, goal)


def figures_at(looked: Looked, alike: Alike, share: float) -> tuple[float, float]:
    """Return what the control sets and the frequency (Hz) of zero phase at a share of its travel.

    What it sets is a part of what that of the build as stated sets there, which hardly changes along it.
    """
    near = sorted(looked.samples, key=lambda s: abs(s.wiper - share))[:3]
    part = through([(s.wiper, s.figure / alike.figure(s.wiper)) for s in near], share)
    return part * alike.figure(share), through([(s.wiper, s.frequency) for s in near], share)


def through(points: Sequence[tuple[float, float]], x: float) -> float:
    """Return Lagrange's polynomial through some points, at x."""
    total = 0.0
    for i, (xi, yi) in enumerate(points):
        weight = 1.0
        for j, (xj, _) in enumerate(points):
            if j != i:
                if xi == xj:
                    raise NoAnswer("two settings of the control give the same loop gain")
                weight *= (x - xj) / (xi - xj)
        total += weight * yi
    return total
