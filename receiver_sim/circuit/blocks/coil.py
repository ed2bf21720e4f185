"""The plug-in coil of the tank: two sections with a tap between them, losses, self-capacitance."""

from __future__ import annotations

from collections.abc import Sequence

from receiver_sim.circuit.circuit import Block
from receiver_sim.circuit.registry import Site, filled, form
from receiver_sim.physics.tank import parallel_resistance
from receiver_sim.schema import Band
from receiver_sim.schema.coil_figures import coil_figures, coil_q


def tank_loss(band: Band, *, dial_hz: float) -> float:
    """Return the parallel resistance, ohm, that stands for the coil's losses at the dial frequency."""
    inductance = coil_figures(band.coil).inductance
    q = coil_q(band.coil, dial_hz)
    return float(parallel_resistance(inductance, frequency=dial_hz, q=q))


@form("coil", "tapped")
def tapped(site: Site) -> Sequence[Block]:
    """Return a coil with a tap."""
    figures = coil_figures(site.band.coil)
    sections = figures.sections
    values = {
        "upper": sections.upper,
        "lower": sections.lower,
        "coupling": min(sections.coupling, 1.0),
        "tank_loss": tank_loss(site.band, dial_hz=site.dial_hz),
        "self_capacitance": figures.self_capacitance if figures.self_capacitance > 0.0 else None,
    }
    return [
        filled(
            "coil_tapped.cir",
            values,
            says={"band": site.band_index},
            dial=lambda dial: {"rtank": tank_loss(site.band, dial_hz=dial)},
        )
    ]
