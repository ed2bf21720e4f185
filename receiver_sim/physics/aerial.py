"""Aerials: the standard dummy antenna, what an aerial radiates and what it picks up.

SI throughout. Ground is taken as a perfect plane. A wire from its size: `wire_aerial`, `wire_network`.
"""

import numpy as np

from receiver_sim.physics.checks import Real, require_not_negative, require_positive
from receiver_sim.physics.constants import LIGHT_SPEED


def dummy_antenna_impedance(frequency: Real) -> Real:
    """Return the complex impedance, ohm, of the standard dummy antenna for receivers at a frequency in Hz.

    200 pF in series with [20 uH parallel (400 ohm + 400 pF)]: IRE receiver standards (from memory, high).
    Made for 0.54 to 23 MHz. Floats or arrays. ValueError unless the frequency is above zero.
    """
    require_positive(frequency=frequency)
    s = 2j * np.pi * frequency
    branch = 400.0 + 1 / (s * 400e-12)
    coil = s * 20e-6
    return 1 / (s * 200e-12) + coil * branch / (coil + branch)


def radiated_power(current: Real, *, radiation_resistance: Real) -> Real:
    """Return I^2 R, W, radiated for an r.m.s. current (A) at the aerial's foot.

    ValueError for negative values. An oscillating detector on an aerial transmits; what prints this figure
    prints the caution too.
    """
    require_not_negative(current=current, radiation_resistance=radiation_resistance)
    return current**2 * radiation_resistance


def short_radiation_resistance(frequency: Real, *, effective_height: Real) -> Real:
    """Return 160 pi^2 (effective height/wavelength)^2, ohm: the radiation resistance of a short aerial.

    Textbook; for an effective height (m) far below the wavelength at `frequency` (Hz). Floats or arrays.
    ValueError unless both are above zero.
    """
    require_positive(frequency=frequency, effective_height=effective_height)
    return 160 * np.pi**2 * (effective_height * frequency / LIGHT_SPEED) ** 2


def ground_wave_field(current: Real, *, effective_height: Real, frequency: Real, distance: Real) -> Real:
    """Return the r.m.s. field, V/m, along the ground at a distance (m) from an aerial.

    120 pi I h/(wavelength d) for the r.m.s. current I (A) at its foot and the effective height h (m): perfect
    flat ground (textbook). Of a short vertical it is sqrt(90 P)/d, 300 mV/m at 1 km from 1 kW (ITU-R P.368
    reference, from memory, high); beyond a few wavelengths real ground takes its toll. Floats or arrays.
    ValueError for a negative current or other values not above zero.
    """
    require_not_negative(current=current)
    require_positive(effective_height=effective_height, frequency=frequency, distance=distance)
    return 120 * np.pi * current * effective_height * frequency / (LIGHT_SPEED * distance)
