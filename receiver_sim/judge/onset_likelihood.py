"""How likely is an onset, or none, where sets differ in their loop gain?

Parts and tubes move the logarithm of the loop gain up or down along the whole knob, nearly as one (a normal
deviate a band, the bands together by the factors they share). A place of onset then says by how much; no
onset says that it fell below one everywhere, an onset that can't be turned out that it stays above.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr

FloatArray = npt.NDArray[np.float64]

Curve = tuple[tuple[float, float], ...]
"""Rotation of the knob (0..1, rising) and loop gain there; empty: none at all."""

Curves = Mapping[str, Curve]

NONE_AT_ALL = 1e-3
"""Loop gain that stands for none."""

NEAR, LEAST_SLOPE = 0.02, 0.3
"""The slope is taken over so much of the knob to either side, and is at least so much."""


def log_gain(curve: Curve, rotation: float) -> float:
    """Return the logarithm of the loop gain at a rotation (0..1), between the points of a curve."""
    if not curve:
        return math.log(NONE_AT_ALL)
    at, gain = zip(*curve, strict=True)
    return math.log(max(float(np.interp(rotation, at, gain)), NONE_AT_ALL))


def log_reach(curve: Curve) -> float:
    """Return the logarithm of the greatest loop gain of a curve."""
    return math.log(max([NONE_AT_ALL, *(gain for _, gain in curve)]))


def slope_at(curve: Curve, rotation: float) -> float:
    """Return how the logarithm of the loop gain rises with the knob (1: an e-fold over the whole travel)."""
    low, high = max(rotation - NEAR, 0.0), min(rotation + NEAR, 1.0)
    return max((log_gain(curve, high) - log_gain(curve, low)) / (high - low), LEAST_SLOPE)


@dataclass(frozen=True)
class Needed:
    """What a reading of onset needs of the set, for a prediction.

    low, high: between which the logarithm of its gain lies off the prediction; equal for a place that was
    read. slope: at that place, which makes a density on the knob of one in the logarithm.
    """

    low: float
    high: float
    slope: float = 1.0

    @property
    def placed(self) -> bool:
        """Whether it is a place on the knob."""
        return self.low == self.high


def needed(curve: Curve, seen: float | None) -> Needed:
    """Return what a reading needs; seen: place on the knob, 0 if it can't be turned out, None without any."""
    if seen is None:
        return Needed(-math.inf, -log_reach(curve))
    if seen <= 0.0:
        return Needed(-log_gain(curve, 0.0), math.inf)
    at = -log_gain(curve, seen)
    return Needed(at, at, slope_at(curve, seen))


def log_between(
    limits: Sequence[tuple[float, float]], *, middle: FloatArray, covariance: FloatArray
) -> float:
    """Return the log probability that normal deviates lie between limits, one after the other.

    After each the others are taken as normal again, with the moments of what is left (Mendell and Elston
    1974, Biometrics 30, 41, from memory); exact for one.
    """
    middle, covariance, log = middle.copy(), covariance.copy(), 0.0
    for i, (low, high) in enumerate(limits):
        width = math.sqrt(covariance[i, i])
        a, b = (low - middle[i]) / width, (high - middle[i]) / width
        share, mean, variance = _truncated(a, b)
        log += share
        rest = slice(i + 1, None)
        pull = covariance[rest, i] / width
        middle[rest] += pull * mean
        covariance[rest, rest] -= np.outer(pull, pull) * (1.0 - variance)
    return log


def _truncated(a: float, b: float) -> tuple[float, float, float]:
    """Return the log probability of a standard normal deviate between a and b, its mean and variance there.

    One of the two is infinite, or they lie well apart.
    """
    if a == -math.inf:
        share, mean, variance = _truncated(-b, math.inf) if b != math.inf else (0.0, 0.0, 1.0)
        return share, -mean, variance
    share = float(log_ndtr(-a))
    if b != math.inf:
        raise ValueError("a limit to one side is expected")
    density = -0.5 * a * a - 0.5 * math.log(2.0 * math.pi)
    ratio = math.exp(density - share)
    return share, ratio, min(max(1.0 + a * ratio - ratio * ratio, 1e-6), 1.0)
