"""Capacitance between link and tank, and what an earthed comb of wires between them leaves of it."""

import numpy as np
from scipy.constants import epsilon_0

from receiver_sim.physics.checks import Real, require_positive


def coaxial_capacitance(
    inner_radius: Real, *, outer_radius: Real, length: Real, permittivity: Real = 1.0
) -> Real:
    """Return 2 pi eps l/ln(b/a), F, between coaxial cylinders: an upper estimate for a link wound over a
    coil.

    `length` (m) is what the windings have in common; end fields (as if longer by some gaps) and the open
    winding (less) are left out, hence within perhaps 30 % (estimate, no source). Floats or arrays.
    ValueError unless outer > inner > 0 and the rest is above zero.
    """
    require_positive(inner_radius=inner_radius, length=length, permittivity=permittivity)
    if np.any(np.asarray(outer_radius) <= np.asarray(inner_radius)):
        raise ValueError(f"outer_radius {outer_radius} must be above inner_radius {inner_radius}")
    return 2 * np.pi * epsilon_0 * permittivity * length / np.log(outer_radius / inner_radius)


def grating_remainder(wire_radius: Real, *, spacing: Real, distance: Real, other_distance: Real) -> Real:
    """Return the share (0 to 1) of the capacitance between two surfaces that an earthed grating of wires
    leaves.

    Maxwell, Treatise, arts. 203-205 (from memory, high; re-derived): parallel wires of `wire_radius` at
    `spacing`, planes at `distance` and `other_distance` from them on either side: (b1 + b2)/(b1 + b2 + b1
    b2/alpha), alpha = -(s/2 pi) ln(2 sin(pi c/s)). Wires thin against their spacing (c < s/8), and both
    distances at least a spacing; then within some per cent. Lengths in m. ValueError outside that range of
    c; the wires' common earth lead is taken as of no impedance, which at 28 MHz wants it short.
    """
    require_positive(
        wire_radius=wire_radius, spacing=spacing, distance=distance, other_distance=other_distance
    )
    if np.any(np.asarray(wire_radius) >= np.asarray(spacing) / 8):
        raise ValueError("wire_radius must be below an eighth of spacing; Maxwell's grating of thin wires")
    alpha = -spacing / (2 * np.pi) * np.log(2 * np.sin(np.pi * wire_radius / spacing))
    apart = distance + other_distance
    return apart / (apart + distance * other_distance / alpha)
