"""Preferred numbers of parts."""

from __future__ import annotations

import math

from receiver_sim.physics.checks import require_positive
from receiver_sim.physics.rectified import E24


def nearest_e24(value: float) -> float:
    """Return the value of the series E24 (IEC 60063, memory-high) that is nearest in ratio to `value`."""
    require_positive(value=value)
    decade = math.floor(math.log10(value))
    candidates = [float(f"{step:g}e{decade + d}") for d in (-1, 0, 1) for step in E24]
    return min(candidates, key=lambda c: abs(math.log(c / value)))
