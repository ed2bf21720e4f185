"""The link at the grounded end of a coil: beside both sections, or beside the coil and a tickler."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from receiver_sim.physics.coil_q import winding_resistance
from receiver_sim.schema import Band
from receiver_sim.schema.coil_figures import LinkFigures, coil_figures

LEAST_FARAD = 1e-18
"""Stands for no capacitance at all."""


def link_resistance(band: Band, *, dial_hz: float) -> float:
    """Return the resistance (ohm) of the link's wire at a frequency (Hz)."""
    link = coil_figures(band.coil).link
    assert link is not None
    w = link.winding
    return float(
        winding_resistance(
            w.turns, radius=w.radius, pitch=w.pitch, wire_diameter=w.wire_diameter, frequency=dial_hz
        )
    )


def link_beside_tickler(band: Band, *, dial_hz: float) -> dict[str, float]:
    """Return inductance, resistance, coupling coefficients and capacitance of a link on a coil that has a
    tickler and no tap.
    """
    figures = coil_figures(band.coil)
    link, fed = figures.link, figures.tickler
    assert link is not None and fed is not None  # a check of the schema
    shared = {
        "to_tank": (link.to_upper, figures.inductance),
        "to_tickler": (link.to_tickler, fed.inductance),
    }
    return _values(link, shared, resistance=link_resistance(band, dial_hz=dial_hz))


def link_values(band: Band, *, dial_hz: float) -> dict[str, float]:
    """Return inductance, resistance, coupling coefficients and capacitance of a coil's link."""
    figures = coil_figures(band.coil)
    link, sections = figures.link, figures.sections
    assert link is not None  # a check of the schema
    shared = {"to_upper": (link.to_upper, sections.upper), "to_lower": (link.to_lower, sections.lower)}
    return _values(link, shared, resistance=link_resistance(band, dial_hz=dial_hz))


def _values(
    link: LinkFigures, shared: Mapping[str, tuple[float, float]], *, resistance: float
) -> dict[str, float]:
    """Return the values of a link; shared: its mutual inductance (H) to another winding and that one's own,
    by the name of their coupling.
    """
    couplings = {
        name: mutual / float(np.sqrt(link.inductance * own)) for name, (mutual, own) in shared.items()
    }
    capacitance = max(link.capacitance, LEAST_FARAD)
    return {
        "inductance": link.inductance,
        "resistance": resistance,
        **couplings,
        "capacitance": capacitance,
    }
