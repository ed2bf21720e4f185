"""Strays that join stages without a part: audio plate or phones' lead to the detector's grid."""

from __future__ import annotations

from collections.abc import Sequence

from receiver_sim.circuit.blocks.phones import phone_node
from receiver_sim.circuit.circuit import Block
from receiver_sim.circuit.registry import Site, filled, form


@form("strays", "to_grid")
def to_grid(site: Site) -> Sequence[Block]:
    """Return the capacitances by which what has been amplified comes back to the grid it came from."""
    strays = site.build.detector.strays
    values = {
        "audio_plate": strays.audio_plate,
        "phone_lead": strays.phone_lead,
        "phone": phone_node(site.build, 0),
    }
    return [filled("strays_to_grid.cir", values)]
