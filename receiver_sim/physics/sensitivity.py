"""The weakest signal that noise lets through, from the noise resistance at the grid."""

from __future__ import annotations

import math

from receiver_sim.physics.checks import require_positive
from receiver_sim.physics.noise import ROOM_K, thermal_density


def signal_above_noise(
    resistance: float, *, bandwidth: float, ratio_db: float, temperature: float = ROOM_K
) -> float:
    """Return the signal (V r.m.s.) `ratio_db` above the noise of a resistance (ohm) in a band (Hz).

    sqrt(4 k T R B) 10^(ratio/20), Nyquist 1928. The band is rectangular, the noise even over it.
    """
    require_positive(bandwidth=bandwidth)
    density = thermal_density(resistance, temperature=temperature)
    return density * math.sqrt(bandwidth) * math.pow(10.0, ratio_db / 20.0)


def resistance_of(density: float, *, temperature: float = ROOM_K) -> float:
    """Return the resistance (ohm) whose thermal noise has this density (V/sqrt(Hz)): e^2/(4 k T)."""
    require_positive(density=density, temperature=temperature)
    return (density / thermal_density(1.0, temperature=temperature)) ** 2
