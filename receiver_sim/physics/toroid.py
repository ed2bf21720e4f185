"""Toroidal coils by the maker's A_L."""

from receiver_sim.physics.checks import Real, require_positive


def toroid_inductance(turns: Real, *, al: Real) -> Real:
    """Return N^2 A_L, H, with `al` in H per turn squared.

    Makers print nH/turn^2, or uH per 100 turns (1 of it is 0.1 nH/turn^2). IEC 60401-3 sense of A_L (from
    memory, high). Good for a full single layer; turns bunched together give more. Floats or arrays.
    ValueError unless both are above zero.
    """
    require_positive(turns=turns, al=al)
    return turns**2 * al
