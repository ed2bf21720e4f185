"""Round wire: gauge, skin depth, resistance to direct and alternating current.

SI throughout. Copper unless a resistivity is given.
"""

import numpy as np

from receiver_sim.physics.checks import OutsideFormula, Real, require_positive
from receiver_sim.physics.constants import MU_0

# Annealed copper standard, IEC 60028 (1925): 1/58 ohm mm^2/m at 20 C (memory-high).
COPPER_RESISTIVITY = 1e-6 / 58.0  # ohm m
_INCH = 0.0254


def astm_gauge_diameter(gauge: Real) -> Real:
    """Return the bare diameter, m, of an American wire gauge number (0 is 1/0, -1 is 2/0, -3 is 4/0).

    ASTM B258: No. 36 is 0.0050 in, No. 0000 is 0.4600 in, 39 equal ratios between. Defined for -3 to 56;
    ValueError outside. The printed table rounds to 0.0001 in (four figures in thin wire). Floats or arrays.
    """
    if np.any(np.asarray(gauge) < -3) or np.any(np.asarray(gauge) > 56):
        raise OutsideFormula(f"gauge must be from -3 (that is 4/0) to 56, got {gauge}")
    return 0.005 * _INCH * 92.0 ** ((36 - gauge) / 39)


def skin_depth(frequency: Real, *, resistivity: Real = COPPER_RESISTIVITY, permeability: Real = 1.0) -> Real:
    """Return the depth, m, at which current density falls to 1/e in a thick plane conductor.

    sqrt(rho/(pi f mu)), with `frequency` in Hz, `resistivity` in ohm m and the relative `permeability`
    (textbook; Johnson 1963 p. 58 prints 6.64/sqrt(f) cm for copper, seen). Floats or arrays. ValueError
    unless all arguments are above zero.
    """
    require_positive(frequency=frequency, resistivity=resistivity, permeability=permeability)
    return np.sqrt(resistivity / (np.pi * frequency * MU_0 * permeability))


def dc_resistance(length: Real, *, diameter: Real, resistivity: Real = COPPER_RESISTIVITY) -> Real:
    """Return the resistance, ohm, to direct current of a round wire: rho length/(pi d^2/4).

    SI, floats or arrays. Raises ValueError unless all arguments are above zero.
    """
    require_positive(length=length, diameter=diameter, resistivity=resistivity)
    return resistivity * length / (np.pi * diameter**2 / 4)


def kelvin_skin_ratio(diameter: Real, *, skin_depth: Real) -> Real:
    """Return the resistance of a straight isolated round wire over its direct-current resistance.

    Re{(z/2) J0(z)/J1(z)}, z = (1 - j) a/delta with radius a: the exact solution (Kelvin 1889; ber and bei
    form in Butterworth 1926). Tends to 1 + (a/delta)^4/48 for thin wire and to a/(2 delta) + 1/4 for thick.
    Lengths in m; floats or arrays. ValueError unless both are above zero.
    """
    from scipy.special import jve  # noqa: PLC0415 - it takes long to load

    require_positive(diameter=diameter, skin_depth=skin_depth)
    z = (1 - 1j) * np.asarray(diameter) / (2 * skin_depth)
    # scaled Bessel functions: the common factor exp(-|Im z|) cancels in the ratio and nothing overflows
    ratio = (z / 2 * jve(0, z) / jve(1, z)).real
    return ratio if ratio.ndim else float(ratio)


def butterworth_proximity_ratio(diameter: Real, *, skin_depth: Real) -> Real:
    """Return the eddy-current loss of a round wire in a uniform transverse field, scaled to the skin loss.

    -(x^2/2) Im{J2(z)/J0(z)}, x = a/delta, z = (1 - j) x: the exact solution (form of Butterworth 1926,
    Experimental Wireless 3, from memory, medium; re-derived). The scale is such that it shares the limit x/2
    of `kelvin_skin_ratio` for thick wire: a coil whose neighbours add (phi - 1) of the straight wire's loss
    at high frequency has the resistance Rdc (skin + (phi - 1) proximity) at any frequency. Falls as x^4/8 for
    thin wire. Floats or arrays, lengths in m; ValueError unless both are above zero.
    """
    from scipy.special import jve  # noqa: PLC0415 - it takes long to load

    require_positive(diameter=diameter, skin_depth=skin_depth)
    x = np.asarray(diameter) / (2 * skin_depth)
    z = (1 - 1j) * x
    ratio = -(x**2) / 2 * (jve(2, z) / jve(0, z)).imag
    return ratio if ratio.ndim else float(ratio)
