"""What is in the plate lead of the output stage."""

from __future__ import annotations

from collections.abc import Sequence

from receiver_sim.circuit.blocks.audio import audio_of, feed_node
from receiver_sim.circuit.blocks.load import core_loss
from receiver_sim.circuit.circuit import Block, Circuit, NoSuchPart
from receiver_sim.circuit.limits import CONTACT_OHM, SHORT_HENRY
from receiver_sim.circuit.registry import Site, filled, form


def secondary_windings(circuit: Circuit) -> tuple[str, ...]:
    """Return the elements that are the windings' resistances of an output transformer's secondaries, in
    order.
    """
    return tuple(
        element.name
        for element in circuit.elements
        if element.about.block == "output"
        and (element.about.key or "").startswith("audio.output.secondaries")
        and element.kind == "r"
    )


def core_element(circuit: Circuit) -> str:
    """Return the element that is the core loss of the output winding. Raises NoSuchPart without one."""
    for element in circuit.elements:
        if element.about.key == "audio.output.core_loss":
            return element.name
    raise NoSuchPart("the circuit has no iron at its output")


@form("output", "resistor")
def resistor(site: Site) -> Sequence[Block]:
    """Return a resistor."""
    audio = audio_of(site.build)
    output = audio.output
    assert output.kind == "resistor"
    values = {"feed": feed_node(audio, "a"), "resistance": output.resistance}
    return [filled("output_resistor.cir", values)]


@form("output", "choke")
def choke(site: Site) -> Sequence[Block]:
    """Return an audio choke."""
    audio = audio_of(site.build)
    output = audio.output
    assert output.kind == "choke"
    values = {
        "feed": feed_node(audio, "a"),
        "inductance": output.inductance,
        "resistance": max(output.resistance, CONTACT_OHM),
        "capacitance": output.capacitance,
        "core_loss": core_loss(output),
    }
    return [filled("output_choke.cir", values)]


@form("output", "transformer")
def transformer(site: Site) -> Sequence[Block]:
    """Return an output transformer with its secondaries."""
    audio = audio_of(site.build)
    output = audio.output
    assert output.kind == "transformer"
    values = {
        "feed": feed_node(audio, "a"),
        "primary_resistance": max(output.primary_resistance, CONTACT_OHM),
        "leakage": max(output.leakage, SHORT_HENRY),
        "primary_inductance": output.primary_inductance,
        "primary_capacitance": output.primary_capacitance,
        "core_loss": core_loss(output),
        "secondaries": [
            {"ratio": s.ratio, "resistance": max(s.resistance, CONTACT_OHM)} for s in output.secondaries
        ],
    }
    return [filled("output_transformer.cir", values)]
