"""Capacitance between link and tank, and what an earthed comb of wires between them leaves of it."""

import numpy as np

from receiver_sim.errors import NoAnswer
from receiver_sim.physics.checks import OutsideFormula, Real, require_positive
from receiver_sim.physics.constants import EPSILON_0


def coaxial_capacitance(
    inner_radius: Real, *, outer_radius: Real, length: Real, permittivity: Real = 1.0
) -> Real:
    """Return 2 pi eps l/ln(b/a), F, between coaxial cylinders: estimate for a link over a coil.

    `length` (m) is what the windings have in common; end fields (as if longer by some gaps) and the open
    winding (less) are left out, hence within perhaps 30 % (estimate, no source). Floats or arrays.
    ValueError unless outer > inner > 0 and the rest is above zero.
    """
    require_positive(inner_radius=inner_radius, length=length, permittivity=permittivity)
    if np.any(np.asarray(outer_radius) <= np.asarray(inner_radius)):
        raise OutsideFormula(f"outer_radius {outer_radius} must be above inner_radius {inner_radius}")
    return 2 * np.pi * EPSILON_0 * permittivity * length / np.log(outer_radius / inner_radius)


def grating_remainder(wire_radius: Real, *, spacing: Real, distance: Real, other_distance: Real) -> Real:
    """Return the share (0 to 1) of the capacitance that an earthed grating of wires leaves between planes.

    Parallel wires of `wire_radius` c at `spacing` s, planes at `distance` b1 and `other_distance` b2 on
    either side: (b1 + b2)/(b1 + b2 + b1 b2/alpha), as Maxwell has it (Treatise, arts. 203-205, from memory,
    high), with alpha = (s/2 pi) ln coth(2 pi c/s) for wires that are not thin (Vogdes and Elder 1924, from
    memory, medium; Maxwell's own -(s/2 pi) ln(2 sin(pi c/s)) is 16 % low at c = s/10). Against charges solved
    on the wires: within 1 % up to c = s/10, 6 % high at 0.15 s, for distances of a spacing or more. Lengths
    in m; floats or arrays. The wires' common earth lead is taken as of no impedance, which at 28 MHz wants it
    short.

    ValueError for values not above zero or a wire radius above 0.15 of the spacing.
    """
    require_positive(
        wire_radius=wire_radius, spacing=spacing, distance=distance, other_distance=other_distance
    )
    if np.any(np.asarray(wire_radius) > 0.15 * np.asarray(spacing)):
        raise NoAnswer("wire_radius must be at most 0.15 of spacing: the grating formula ends there")
    alpha = -spacing / (2 * np.pi) * np.log(np.tanh(2 * np.pi * wire_radius / spacing))
    apart = distance + other_distance
    return apart / (apart + distance * other_distance / alpha)
