"""The plug-in coil of the tank, with its losses and self-capacitance: two sections about a tap, or one with a
tickler."""

from __future__ import annotations

from collections.abc import Sequence

from receiver_sim.circuit.circuit import Block
from receiver_sim.circuit.limits import CONTACT_OHM
from receiver_sim.circuit.registry import Site, filled, form
from receiver_sim.physics.coil_q import winding_resistance
from receiver_sim.physics.tank import parallel_resistance
from receiver_sim.schema import Band
from receiver_sim.schema.coil_figures import TicklerFigures, coil_figures, coil_q


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


LEAD_OHM = 1e-3
"""Lead of a cathode to ground; small beside all else, but a node of its own that studies can look at."""


@form("coil", "tickler")
def with_tickler(site: Site) -> Sequence[Block]:
    """Return a coil without a tap and the tickler that feeds it from the plate lead."""
    figures = coil_figures(site.band.coil)
    fed = figures.tickler
    assert fed is not None
    first, second = ("plate", "tickx") if fed.reversed else ("tickx", "plate")
    values = {
        "inductance": figures.inductance,
        "tank_loss": tank_loss(site.band, dial_hz=site.dial_hz),
        "self_capacitance": figures.self_capacitance if figures.self_capacitance > 0.0 else None,
        "contact": LEAD_OHM,
        "resistance": _tickler_resistance(fed, dial_hz=site.dial_hz),
        "first": first,
        "second": second,
        "tickler": fed.inductance,
        "coupling": fed.coupling,
        "capacitance": fed.capacitance,
    }
    return [
        filled(
            "coil_tickler.cir",
            values,
            says={"band": site.band_index},
            dial=lambda dial: {"rtank": tank_loss(site.band, dial_hz=dial)},
        )
    ]


def _tickler_resistance(fed: TicklerFigures, *, dial_hz: float) -> float:
    """Return the resistance of a tickler's wire, ohm: next to nothing beside a plate resistance."""
    w = fed.winding
    if w is None:
        return CONTACT_OHM
    wire = winding_resistance(
        w.turns, radius=w.radius, pitch=w.pitch, wire_diameter=w.wire_diameter, frequency=dial_hz
    )
    return max(float(wire), CONTACT_OHM)
