"""Aerials: the standard dummy antenna, a wire estimated from its size, and what it radiates.

SI throughout. Ground is taken as a perfect plane; losses in real soil enter as one resistance in series.
"""

import numpy as np
from scipy.constants import c as light_speed
from scipy.constants import epsilon_0

from receiver_sim.errors import NoAnswer
from receiver_sim.physics.checks import Real, require_not_negative, require_positive


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


def vertical_wire_capacitance(length: Real, *, radius: Real, foot_height: Real = 0.0) -> Real:
    """Return the static capacitance, F, to ground of a vertical wire with its foot at `foot_height`.

    Lengths in m. Howe's average potential (Wireless World 1914; from memory, medium; re-derived): uniform
    charge on the wire and its image. With the foot at the ground it is 2 pi eps l/(ln(l/a) - 1). Low by some
    per cent against the true charge distribution. Floats or arrays. ValueError unless length > 2.72 radius >
    0, foot_height >= 0.
    """
    require_positive(length=length, radius=radius)
    require_not_negative(foot_height=foot_height)
    h = np.asarray(foot_height) / length
    image = (1 + h) * np.log(2 * (1 + h)) - (1 + 2 * h) * np.log(1 + 2 * h)
    image = image + np.where(h > 0, h * np.log(2 * np.where(h > 0, h, 1.0)), 0.0)
    return _howe(length, radius, image)


def horizontal_wire_capacitance(length: Real, *, radius: Real, height: Real) -> Real:
    """Return the static capacitance, F, to ground of a horizontal wire at `height`; lengths in m.

    Howe's average potential as `vertical_wire_capacitance`; tends to 2 pi eps l/ln(2 h/a) for a long wire.
    Floats or arrays. ValueError for lengths not above zero or a height not above the radius.
    """
    require_positive(length=length, radius=radius)
    if np.any(np.asarray(height) <= np.asarray(radius)):
        raise ValueError(f"height {height} must be above the wire's radius {radius}")
    d = 2 * height / length
    return _howe(length, radius, np.arcsinh(1 / d) - np.sqrt(1 + d**2) + d)


def _howe(length: Real, radius: Real, image: Real) -> Real:
    own = np.log(2 * length / radius) - 1
    if np.any(own - image <= 0):
        raise NoAnswer(f"the wire is too thick for its length: {radius} m radius, {length} m long")
    return 2 * np.pi * epsilon_0 * length / (own - image)


def effective_height(frequency: Real, *, height: Real, flat: Real = 0.0) -> Real:
    """Return the effective height, m, of a wire of `height` with a horizontal run `flat`.

    Lengths in m, `flat` 0 for a plain vertical. Mean current on the vertical part over the current at the
    foot, times height, for a sinusoidal current with a node at the end: [cos(b flat) - cos(b (height +
    flat))]/(b sin(b (height + flat))), b = 2 pi/wavelength (textbook). Half the height when short and plain,
    near the whole height under a long top. ValueError when the wire reaches 0.45 wavelength, where the sine
    law's foot current goes to nothing. Floats or arrays.
    """
    b, total = _electrical(frequency, height, flat)
    return (np.cos(b * flat) - np.cos(total)) / (b * np.sin(total))


def radiation_resistance(frequency: Real, *, height: Real, flat: Real = 0.0) -> Real:
    """Return the radiation resistance, ohm, at the foot: 160 pi^2 (effective height/wavelength)^2 (textbook).

    40 pi^2 (h/lambda)^2 for a short plain vertical. 0.1 % high at 0.03 wavelength, 1.4 % at 0.1, 9 % at a
    quarter wave (40 against 36.6 ohm). A low horizontal run is taken not to radiate. Arguments and errors as
    `effective_height`.
    """
    he = effective_height(frequency, height=height, flat=flat)
    return 160 * np.pi**2 * (he * frequency / light_speed) ** 2


def wire_impedance(
    frequency: Real, *, height: Real, radius: Real, flat: Real = 0.0, ground_resistance: Real = 0.0
) -> Real:
    """Return the complex impedance, ohm, between the foot of a wire aerial and ground.

    An open line of the wire's mean characteristic impedance Z0 = length/(c C), C by Howe's formulas, with
    the radiated power as attenuation (after Siegel and Labus 1932, from memory, medium): Z0 coth(R_m/Z0 + j
    b l), R_m = 40 (cos b flat - cos b l)^2 the radiation resistance at the current maximum; plus
    `ground_resistance`. Tends to the static capacitance with `radiation_resistance` when short. Reactance
    good to some 10 %; sizes in m, `frequency` in Hz. Up to 0.45 wavelength of wire: ValueError above. Floats
    or arrays.
    """
    b, total = _electrical(frequency, height, flat)
    require_positive(radius=radius)
    require_not_negative(ground_resistance=ground_resistance)
    capacitance = wire_capacitance(height, radius=radius, flat=flat)
    z0 = (height + flat) / (light_speed * capacitance)
    loss = 40 * (np.cos(b * flat) - np.cos(total)) ** 2 / z0
    return z0 / np.tanh(loss + 1j * total) + ground_resistance


def wire_capacitance(height: Real, *, radius: Real, flat: Real = 0.0) -> Real:
    """Return the static capacitance, F, of a vertical wire with an optional horizontal run at its top.

    Lengths in m. Sum of the two by Howe's formulas: high by some per cent, since the parts lift each other's
    potential. ValueError as there.
    """
    require_not_negative(flat=flat)
    vertical = vertical_wire_capacitance(height, radius=radius)
    if np.all(np.asarray(flat) == 0):
        return vertical
    return vertical + horizontal_wire_capacitance(flat, radius=radius, height=height)


def _electrical(frequency: Real, height: Real, flat: Real) -> tuple[Real, Real]:
    """Return the phase constant, rad/m, and the wire's whole electrical length, rad, checked."""
    require_positive(frequency=frequency, height=height)
    require_not_negative(flat=flat)
    b = 2 * np.pi * frequency / light_speed
    total = b * (height + flat)
    if np.any(total >= 0.9 * np.pi):
        raise NoAnswer("the wire is longer than 0.45 wavelength; this estimate is for short wires")
    return b, total


def series_equivalent(
    impedance: complex, *, frequency: float, capacitance: float
) -> tuple[float, float, float]:
    """Return (resistance, capacitance, inductance), ohm, F, H, of a series R-L-C with the impedance.

    The impedance (ohm) is that at one `frequency` (Hz). `capacitance` (F) is kept, the static one of the
    wire; the inductance takes up the rest of the reactance. ValueError for a negative resistance, or if the
    inductance would be negative.
    """
    require_positive(frequency=frequency, capacitance=capacitance)
    w = 2 * np.pi * frequency
    inductance = (impedance.imag + 1 / (w * capacitance)) / w
    if impedance.real < 0 or inductance < 0:
        raise NoAnswer(
            f"no series R-L-C with {capacitance} F has the impedance {impedance} at {frequency} Hz"
        )
    return float(impedance.real), float(capacitance), float(inductance)


def radiated_power(current: Real, *, radiation_resistance: Real) -> Real:
    """Return I^2 R, W, radiated for an r.m.s. current (A) at the aerial's foot.

    ValueError for negative values. An oscillating detector on an aerial transmits; what prints this figure
    prints the caution too.
    """
    require_not_negative(current=current, radiation_resistance=radiation_resistance)
    return current**2 * radiation_resistance


def ground_wave_field(power: Real, *, distance: Real) -> Real:
    """Return the r.m.s. field, V/m, at a distance (m) from a short vertical radiating `power` (W).

    sqrt(90 P)/d: perfect flat ground (textbook; 300 mV/m at 1 km from 1 kW, ITU-R P.368 reference, from
    memory, high); beyond a few wavelengths real ground takes its toll. Floats or arrays. ValueError for
    negative power or distance not above zero.
    """
    require_not_negative(power=power)
    require_positive(distance=distance)
    return np.sqrt(90 * power) / distance


def received_emf(field: Real, *, effective_height: Real) -> Real:
    """Return E h, V, induced in an aerial by a vertical field (V/m, same measure as the answer).

    ValueError for negative values.
    """
    require_not_negative(field=field, effective_height=effective_height)
    return field * effective_height
