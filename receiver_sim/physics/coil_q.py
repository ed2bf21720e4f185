"""Quality factor of a single-layer coil: skin effect, proximity by Medhurst, former loss, combined.

SI throughout.
"""

from functools import cache
from typing import Any

import numpy as np

from receiver_sim.physics.checks import (
    OutsideFormula,
    Real,
    require_fraction,
    require_not_negative,
    require_positive,
)
from receiver_sim.physics.wire import (
    COPPER_RESISTIVITY,
    butterworth_proximity_ratio,
    dc_resistance,
    kelvin_skin_ratio,
    skin_depth,
)

# Medhurst, Wireless Engineer 24 (1947), table of phi = high-frequency resistance over that of the straight
# wire, by length/diameter of the coil (rows) and wire diameter/pitch (columns). From memory, medium: the
# original was not opened. Two cells (row 0 at 0.4, row 10 at 0.7) were recalled as 1.20 and 2.27, which
# breaks the run of row and column; 1.26 and 2.37, which do not, stand here. His measured error: some 3 %.
_COVER = np.array([0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0])
_SHAPE = np.array([0.0, 0.2, 0.4, 0.6, 0.8, 1.0, 2.0, 4.0, 6.0, 8.0, 10.0, np.inf])
MEDHURST_PHI = np.array(
    [
        [1.02, 1.07, 1.16, 1.26, 1.44, 1.74, 2.12, 2.74, 3.73, 5.31],
        [1.02, 1.08, 1.19, 1.29, 1.48, 1.77, 2.20, 2.83, 3.84, 5.45],
        [1.03, 1.08, 1.21, 1.33, 1.54, 1.83, 2.28, 2.97, 3.99, 5.65],
        [1.03, 1.10, 1.22, 1.38, 1.60, 1.89, 2.38, 3.10, 4.11, 5.80],
        [1.03, 1.10, 1.23, 1.42, 1.64, 1.92, 2.44, 3.20, 4.17, 5.80],
        [1.03, 1.10, 1.24, 1.45, 1.67, 1.94, 2.47, 3.17, 4.10, 5.55],
        [1.04, 1.13, 1.28, 1.50, 1.74, 1.98, 2.32, 2.74, 3.36, 4.10],
        [1.04, 1.15, 1.32, 1.54, 1.78, 2.01, 2.27, 2.60, 3.05, 3.54],
        [1.04, 1.16, 1.34, 1.56, 1.80, 2.03, 2.29, 2.60, 2.92, 3.31],
        [1.04, 1.165, 1.34, 1.57, 1.81, 2.08, 2.34, 2.62, 2.90, 3.20],
        [1.04, 1.17, 1.35, 1.58, 1.83, 2.10, 2.37, 2.65, 2.93, 3.23],
        [1.05, 1.19, 1.395, 1.65, 1.93, 2.22, 2.51, 2.815, 3.11, 3.41],
    ]
)


def _shape_axis(length_over_diameter: Real) -> np.ndarray:
    """Map 0..infinity onto 0..1 so that the table's last row has a finite place."""
    x = np.asarray(length_over_diameter, dtype=float)
    with np.errstate(invalid="ignore"):
        return np.where(np.isinf(x), 1.0, x / (1 + x))


@cache
def _phi() -> Any:
    """Return the table as a function of shape and cover, made when it is first asked for."""
    from scipy.interpolate import RegularGridInterpolator  # noqa: PLC0415 - it takes long to load

    return RegularGridInterpolator((_shape_axis(_SHAPE), _COVER), MEDHURST_PHI)


def medhurst_phi(length_over_diameter: Real, *, wire_over_pitch: Real) -> Real:
    """Return Medhurst's phi: high-frequency resistance of a coil over that of its wire pulled straight.

    Bilinear in `wire_over_pitch` (wire diameter over pitch, above 0 to 1) and x/(1 + x), x the ratio of coil
    length to diameter (0 to infinity). Table of 1947 (from memory, medium); coils of 30 turns or more, skin
    depth small against the wire. With few turns it is an overestimate. Below the first column, 0.1, phi - 1
    goes with the square of the cover, its limit for thin wire. Floats or arrays. ValueError outside the
    ranges.
    """
    cover = np.asarray(wire_over_pitch, dtype=float)
    ratio = np.asarray(length_over_diameter, dtype=float)
    if not np.all((cover > 0) & (cover <= 1 + 1e-9)):
        raise OutsideFormula(f"wire_over_pitch must be above 0 and at most 1, got {wire_over_pitch}")
    if not np.all(ratio >= 0):
        raise OutsideFormula(f"length_over_diameter must be zero or more, got {length_over_diameter}")
    u, c = np.broadcast_arrays(_shape_axis(ratio), np.clip(cover, 0.1, 1.0))
    phi = _phi()(np.stack([u, c], axis=-1))
    phi = 1 + (phi - 1) * np.minimum(cover / 0.1, 1.0) ** 2
    return np.asarray(phi).reshape(u.shape) if u.ndim else float(np.squeeze(phi))


def winding_resistance(
    turns: Real,
    *,
    radius: Real,
    pitch: Real,
    wire_diameter: Real,
    frequency: Real,
    resistivity: Real = COPPER_RESISTIVITY,
) -> Real:
    """Return the series resistance, ohm, of a single-layer coil at `frequency` (Hz, above zero).

    Rdc [F + (phi - 1) G]: Kelvin's skin ratio F and Butterworth's proximity ratio G of the wire, with
    Medhurst's phi for how much field the turns throw on each other. Where the skin depth is small it is
    Medhurst's phi times the straight wire (that is what phi measures), at low frequency it is Rdc. The wire
    length is turns times sqrt((2 pi r)^2 + p^2). `radius` to the wire's centre, lengths in m; floats or
    arrays.

    Radiation, former and can come on top. ValueError for values not above zero or pitch below wire.
    """
    require_positive(turns=turns, radius=radius, pitch=pitch, wire_diameter=wire_diameter)
    wire = turns * np.hypot(2 * np.pi * radius, pitch)
    direct = dc_resistance(wire, diameter=wire_diameter, resistivity=resistivity)
    depth = skin_depth(frequency, resistivity=resistivity)
    phi = medhurst_phi(turns * pitch / (2 * radius), wire_over_pitch=wire_diameter / pitch)
    skin = kelvin_skin_ratio(wire_diameter, skin_depth=depth)
    proximity = butterworth_proximity_ratio(wire_diameter, skin_depth=depth)
    return direct * (skin + (phi - 1) * proximity)


def dielectric_q(tank_capacitance: Real, *, former_capacitance: Real, loss_tangent: Real) -> Real:
    """Return the Q that a lossy former alone would leave: C/(C_former tan delta).

    `former_capacitance` (F) is the part of the tank's capacitance (F) whose field runs in the former, tube
    base or socket; its conductance 2 pi f C_former tan delta lies across the tank (textbook). Infinite where
    there is no loss. Floats or arrays. ValueError for a tank capacitance not above zero, a negative former
    capacitance or loss.
    """
    require_positive(tank_capacitance=tank_capacitance)
    require_not_negative(former_capacitance=former_capacitance, loss_tangent=loss_tangent)
    with np.errstate(divide="ignore"):
        return tank_capacitance / np.asarray(former_capacitance * loss_tangent, dtype=float)[()]


def former_capacitance(self_capacitance: Real, *, permittivity: Real, field_share: Real) -> Real:
    """Return the capacitance, F, whose field lies in a coil former's material.

    A coil's self-capacitance in air (F) with a share of its field lines' energy in a material of relative
    `permittivity`: share times permittivity times C. The share is a judgement, common practice, no source:
    about 0.1 for a thin ribbed former, up to 0.5 for a thick solid one. ValueError outside ranges. Floats or
    arrays.
    """
    require_not_negative(self_capacitance=self_capacitance)
    require_positive(permittivity=permittivity)
    require_fraction(ends=True, field_share=field_share)
    return self_capacitance * permittivity * field_share


def combined_q(*parts: Real) -> Real:
    """Return the Q of a tank with several small losses: 1/Q = sum of 1/Q_i. Infinite parts add nothing.

    Textbook; for series and shunt losses together right to 1/Q^2. ValueError for no parts or one not above
    zero.
    """
    if not parts:
        raise OutsideFormula("combined_q needs at least one Q")
    for q in parts:
        if not np.all(np.asarray(q) > 0):
            raise OutsideFormula(f"every Q must be above zero, got {q}")
    return 1 / sum(1 / np.asarray(q, dtype=float)[()] for q in parts)
