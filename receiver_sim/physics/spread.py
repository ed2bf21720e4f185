"""How parts spread about what is printed on them: from an even draw to a relative deviation."""

from __future__ import annotations

import math
from statistics import NormalDist
from typing import Literal

from receiver_sim.physics.checks import require_fraction

Shape = Literal["even", "bell"]

WITHIN = 0.95
"""Share of parts that lie within the limits of a bell-shaped spread: nearly two deviations to either side."""

_DEVIATIONS = NormalDist().inv_cdf(0.5 + 0.5 * WITHIN)


def deviation(draw: float, *, low: float, high: float, shape: Shape) -> float:
    """Return the relative deviation of a part for an even draw (0..1, ends excluded).

    low <= 0 <= high: limits, as fractions of the value. 'even': every place within the limits is as likely,
    as of parts sorted by their maker, who keeps the good ones for the finer grade. 'bell': normal in the
    logarithm, with `WITHIN` of all parts inside; each side has its own limit. The middle of a bell is no
    deviation; of even limits it is their middle.
    """
    require_fraction(ends=True, draw=draw)
    if not -1.0 < low <= 0.0 <= high:
        raise ValueError(f"limits hold the value itself, not {low} to {high}")
    if shape == "even":
        return low + draw * (high - low)
    z = normal(draw)
    limit = math.log1p(high) if z >= 0.0 else -math.log1p(low)
    return math.expm1(z * limit / _DEVIATIONS)


def offset(draw: float, *, low: float, high: float) -> float:
    """Return the same of an absolute quantity (limits in its unit), normal, each side with its limit."""
    z = normal(draw)
    return z * (high if z >= 0.0 else -low) / _DEVIATIONS


def normal(draw: float) -> float:
    """Return the standard normal deviate of an even draw (0..1)."""
    return NormalDist().inv_cdf(min(max(draw, 1e-16), 1.0 - 1e-16))
