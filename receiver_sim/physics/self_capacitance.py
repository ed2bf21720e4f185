"""Self-capacitance of single-layer coils: Medhurst's measured table."""

import numpy as np

from receiver_sim.physics.checks import OutsideFormula, Real, require_positive
from receiver_sim.physics.monotone_cubic import MonotoneCubic

# Medhurst, Wireless Engineer 24 (Feb/Mar 1947), H in pF per cm of diameter against length/diameter. Seen in a
# quotation; the row ".8-1" gives .46 at both ends.
_TABLE = np.array(
    [
        *[(0.10, 0.96), (0.15, 0.79), (0.20, 0.70), (0.25, 0.64), (0.30, 0.60), (0.35, 0.57), (0.40, 0.54)],
        *[(0.45, 0.52), (0.50, 0.50), (0.6, 0.48), (0.7, 0.47), (0.8, 0.46), (1.0, 0.46), (1.5, 0.47)],
        *[(2.0, 0.50), (2.5, 0.56), (3.0, 0.61), (3.5, 0.67), (4.0, 0.72), (5.0, 0.81), (7.0, 1.01)],
        *[(10.0, 1.32), (20.0, 2.36), (50.0, 5.8)],
    ]
)
TABLE_RANGE = (0.10, 50.0)
"""Length over diameter that Medhurst's table covers."""

RATIO_RANGE = (0.01, 100.0)
"""Length over diameter for which a figure is given, outside the table by Medhurst's own fit."""

_LOG_H = MonotoneCubic(*np.log(_TABLE.T))


def _fit(x: Real) -> Real:
    """Return Medhurst's fit to his table (from memory, medium): 0.1126 x + 0.08 + 0.27/sqrt(x)."""
    return 0.1126 * x + 0.08 + 0.27 / np.sqrt(x)


def medhurst_h(length_over_diameter: Real) -> Real:
    """Return Medhurst's H, pF per cm of coil diameter, for a ratio of length to diameter (0.01 to 100).

    Monotone cubic interpolation in logarithms through the table, 0.10 to 50, whose two figures are good to
    about 1 %; he states the measurements as within 5 % (from memory, medium). His fit as recalled lies up to
    8 % below this table near a ratio of 3.5; the table, which was seen, is followed. Outside it the fit goes
    on, scaled to the table's end (2 and 1 %): an extrapolation, for coils a few turns long a guess within a
    factor of two. Floats or arrays. ValueError outside 0.01 to 100.
    """
    low, high = RATIO_RANGE
    ratio = np.asarray(length_over_diameter, dtype=float)
    if not np.all((ratio >= low * (1 - 1e-12)) & (ratio <= high * (1 + 1e-12))):
        raise OutsideFormula(f"length/diameter must be from {low:g} to {high:g}, got {length_over_diameter}")
    inside = np.clip(ratio, *TABLE_RANGE)
    h = np.exp(_LOG_H(np.log(inside))) * _fit(ratio) / _fit(inside)
    return h if h.ndim else float(h)


def extrapolated(length_over_diameter: float) -> bool:
    """Return whether a coil of this shape lies outside Medhurst's table."""
    low, high = TABLE_RANGE
    return not low * (1 - 1e-12) <= length_over_diameter <= high * (1 + 1e-12)


def medhurst_capacitance(diameter: Real, *, length: Real) -> Real:
    """Return the self-capacitance, F, of a single-layer coil of `diameter` and `length` (m): H D.

    Medhurst 1947: one end earthed, short leads, air or a thin former of low permittivity, five turns or more,
    well below self-resonance. Leads and a socket come on top. Floats or arrays. ValueError for values not
    above zero or a ratio outside `RATIO_RANGE`.
    """
    require_positive(diameter=diameter, length=length)
    return medhurst_h(length / diameter) * 1e-12 * diameter * 100
