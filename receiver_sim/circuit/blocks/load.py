"""The audio load in the detector's plate lead."""

from __future__ import annotations

from collections.abc import Sequence

from receiver_sim.circuit.blocks.control import plate_feed
from receiver_sim.circuit.circuit import Block
from receiver_sim.circuit.limits import CONTACT_OHM
from receiver_sim.circuit.registry import Site, filled, form
from receiver_sim.schema.audio_stages import OutputChoke, OutputTransformer
from receiver_sim.schema.build import ChokeLoad, TransformerLoad


def core_loss(winding: ChokeLoad | TransformerLoad | OutputChoke | OutputTransformer) -> float:
    """Return the resistance (ohm) across an iron-cored winding, which a build that was read always has."""
    assert winding.core_loss is not None
    return winding.core_loss


@form("load", "resistor")
def resistor(site: Site) -> Sequence[Block]:
    """Return a plain resistor."""
    load = site.build.detector.load
    assert load.kind == "resistor"
    return [
        filled(
            "load_resistor.cir",
            {"feed": plate_feed(site.build), "resistance": max(load.resistance, CONTACT_OHM)},
        )
    ]


@form("load", "choke")
def choke(site: Site) -> Sequence[Block]:
    """Return an audio choke."""
    load = site.build.detector.load
    assert load.kind == "choke"
    values = {
        "feed": plate_feed(site.build),
        "inductance": load.inductance,
        "resistance": max(load.resistance, CONTACT_OHM),
        "capacitance": load.capacitance,
        "core_loss": core_loss(load),
        "shunt": load.shunt,
    }
    return [filled("load_choke.cir", values)]


@form("load", "transformer")
def transformer(site: Site) -> Sequence[Block]:
    """Return an interstage transformer."""
    load = site.build.detector.load
    assert load.kind == "transformer"
    values = {
        "feed": plate_feed(site.build),
        "primary_inductance": load.primary_inductance,
        "primary_resistance": max(load.primary_resistance, CONTACT_OHM),
        "capacitance": load.capacitance,
        "core_loss": core_loss(load),
        "shunt": load.shunt,
        "secondary_inductance": load.primary_inductance * load.ratio**2,
        "secondary_resistance": max(load.secondary_resistance, CONTACT_OHM),
        "coupling": load.coupling,
    }
    return [filled("load_transformer.cir", values)]


@form("load", "phones")
def phones(site: Site) -> Sequence[Block]:
    """Return the place of phones in the plate lead; the block of phones brings them."""
    return [filled("load_phones.cir", {"feed": plate_feed(site.build)})]
