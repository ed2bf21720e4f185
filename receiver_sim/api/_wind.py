"""A coil for a wish, by formula."""

from __future__ import annotations

from receiver_sim.design import winding
from receiver_sim.design.winding import Wish
from receiver_sim.results.coils import (
    WindingDesign,
)


def design_coil(wish: Wish) -> WindingDesign:
    """Return the coil for a wish, by formula. Raises ValueError where there is none."""
    return winding.design(wish)
