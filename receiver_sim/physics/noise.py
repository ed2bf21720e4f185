"""Noise of receiving tubes, as equivalent resistances at the grid."""

from __future__ import annotations

import math

from receiver_sim.physics.checks import require_not_negative, require_positive

BOLTZMANN = 1.380649e-23
"""J/K, exact in the SI."""

ROOM_K = 300.15
"""Temperature that ngspice takes for resistors when nothing else is said (27 C)."""

ELECTRON_CHARGE = 1.602176634e-19
"""C, exact in the SI."""


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


def cathode_noise_density(gk: float, *, temperature: float = ROOM_K) -> float:
    """Return the density (A/sqrt(Hz)) of a space-charge-limited cathode current: sqrt(4 k T 2.5 gk).

    gk: slope of the whole cathode current, S. Thompson, North and Harris (memory-high): the triode's 2.5/gm.
    """
    require_positive(gk=gk)
    return gk * thermal_density(2.5 / gk, temperature=temperature)


def partition_noise_density(plate_current: float, *, screen_current: float) -> float:
    """Return the density (A/sqrt(Hz)) of the current (A) that goes to the plate by chance, and as much less
    to the screen: sqrt(2 e Ib Ic2/(Ib + Ic2)) (North 1940, memory-high).

    With `cathode_noise_density`, shared out as the currents are, it makes the pentode's noise resistance.
    """
    require_positive(plate_current=plate_current)
    require_not_negative(screen_current=screen_current)
    both = plate_current + screen_current
    return math.sqrt(2.0 * ELECTRON_CHARGE * plate_current * screen_current / both)


def shot_density(current: float) -> float:
    """Return the density (A/sqrt(Hz)) of a current (A) of electrons that come one by one: sqrt(2 e I).

    Schottky 1918. So is the grid current of a retarding field, which no space charge smooths.
    """
    require_not_negative(current=current)
    return math.sqrt(2.0 * ELECTRON_CHARGE * current)


def conductance_noise_density(conductance: float, *, temperature: float = ROOM_K) -> float:
    """Return the density (A/sqrt(Hz)) of the thermal current of a conductance (S): sqrt(4 k T G) (Nyquist
    1928)."""
    require_positive(conductance=conductance)
    return conductance * thermal_density(1.0 / conductance, temperature=temperature)


def thermal_density(resistance: float, *, temperature: float = ROOM_K) -> float:
    """Return the noise density (V/sqrt(Hz)) of a resistance (ohm): sqrt(4 k T R) (Nyquist 1928)."""
    require_positive(resistance=resistance, temperature=temperature)
    return math.sqrt(4.0 * BOLTZMANN * temperature * resistance)
