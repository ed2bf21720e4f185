"""Toroidal coils: the maker's A_L, and the inductance of a core of rectangular section."""

import numpy as np

from receiver_sim.physics.checks import OutsideFormula, Real, require_positive
from receiver_sim.physics.constants import MU_0


def toroid_inductance(turns: Real, *, al: Real) -> Real:
    """Return N^2 A_L, H, with `al` in H per turn squared.

    Makers print nH/turn^2, or uH per 100 turns (1 of it is 0.1 nH/turn^2). IEC 60401-3 sense of A_L (from
    memory, high). Good for a full single layer; turns bunched together give more. Floats or arrays.
    ValueError unless both are above zero.
    """
    require_positive(turns=turns, al=al)
    return turns**2 * al


def toroid_turns(inductance: Real, *, al: Real) -> Real:
    """Return the turns, not rounded, for an inductance (H): sqrt(L/A_L). A turn is one pass through the hole.

    Floats or arrays. ValueError unless both are above zero.
    """
    require_positive(inductance=inductance, al=al)
    return np.sqrt(inductance / al)


def rectangular_core_al(
    inner_diameter: Real, *, outer_diameter: Real, height: Real, permeability: Real
) -> Real:
    """Return A_L = mu0 mu h ln(D/d)/(2 pi), H per turn squared, of a ring core of rectangular section.

    Exact for a full winding and uniform permeability (textbook); makers' values carry some 5 to 20 %
    tolerance. Lengths in m. Floats or arrays. ValueError for values not above zero or outer <= inner.
    """
    require_positive(inner_diameter=inner_diameter, height=height, permeability=permeability)
    if np.any(np.asarray(outer_diameter) <= np.asarray(inner_diameter)):
        raise OutsideFormula(f"outer_diameter {outer_diameter} must be above inner_diameter {inner_diameter}")
    return MU_0 * permeability * height * np.log(outer_diameter / inner_diameter) / (2 * np.pi)
