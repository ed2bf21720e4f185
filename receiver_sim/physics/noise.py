"""Noise of receiving tubes, as equivalent resistances at the grid."""

from __future__ import annotations

import math

from receiver_sim.physics.checks import require_not_negative, require_positive

BOLTZMANN = 1.380649e-23
"""J/K, exact in the SI."""

ROOM_K = 300.15
"""Temperature that ngspice takes for resistors when nothing else is said (27 C)."""


def triode_noise_resistance(gm: float) -> float:
    """Return the equivalent noise resistance (ohm) of a triode: 2.5/gm.

    gm in S. Thompson, North and Harris, 'Fluctuations in space-charge-limited currents', RCA Review 1940-41
    (memory-high). Flicker noise below some kilohertz is not in it.
    """
    require_positive(gm=gm)
    return 2.5 / gm


def pentode_noise_resistance(gm: float, *, plate_current: float, screen_current: float) -> float:
    """Return that of a pentode: Ib/(Ib + Ic2) (2.5/gm + 20 Ic2/gm^2), with the partition noise of the screen.

    gm in S, currents in A. Source as for the triode (memory-high).
    """
    require_positive(gm=gm, plate_current=plate_current)
    require_not_negative(screen_current=screen_current)
    share = plate_current / (plate_current + screen_current)
    return share * (2.5 / gm + 20.0 * screen_current / gm**2)


def thermal_density(resistance: float, *, temperature: float = ROOM_K) -> float:
    """Return the noise density (V/sqrt(Hz)) of a resistance (ohm): sqrt(4 k T R) (Nyquist 1928)."""
    require_positive(resistance=resistance, temperature=temperature)
    return math.sqrt(4.0 * BOLTZMANN * temperature * resistance)
