"""What of a receiver's circuit is left at d.c. and audio frequencies; both the audio and the envelope view
begin here.

The description beside each template says what becomes of its elements (`at_audio`): r.f. inductors are
shorts, so that tank and tap are ground; what only the radio frequency sees is dropped; the capacitors to
ground behind an r.f. choke lie beside those ahead of it, as its winding is nothing to them. There they hold
the plate: a tube that bottoms at the end of a few ohms alone has steps in time that no length of step solves.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from receiver_sim.circuit.circuit import Block, Circuit, Socket
from receiver_sim.circuit.element import GROUND, AtAudio, Element


def low_frequency(circuit: Circuit, *, view: str) -> Circuit:
    """Return the circuit at d.c. and audio for the `view` of that name, which some elements are left out
    of.
    """
    kept = [
        e
        for e in circuit.elements
        if e.about.at_audio not in (AtAudio.DROP, AtAudio.SHORT) and view not in e.about.left_out
    ]
    shorts = [e for e in circuit.elements if e.about.at_audio is AtAudio.SHORT]
    new = _merged(circuit, shorts)
    names = {e.name for e in kept}
    elements = [e.on(new) for e in kept if all(link in names for link in e.links)]
    bridged = {e.nodes[1]: e.nodes[0] for e in elements if e.about.at_audio is AtAudio.BRIDGE}
    elements = [e.on(bridged) if e.kind == "c" and GROUND in e.nodes else e for e in elements]
    return replace(
        circuit,
        elements=tuple(e for e in elements if not _loop(e)),
        blocks=tuple(_renamed(block, new) for block in circuit.blocks),
    )


def _merged(circuit: Circuit, shorts: list[Element]) -> dict[str, str]:
    """Return the new names of nodes that shorts make one: ground, or one that has a role, or the first."""
    known = {node for block in circuit.blocks for node in block.places.values()}
    known |= {node for socket in circuit.sockets.values() for node in socket.pins.values()}

    def rank(node: str) -> int:
        return 0 if node == GROUND else 1 if node in known else 2

    new: dict[str, str] = {}

    def now(node: str) -> str:
        while node in new:
            node = new[node]
        return node

    for element in shorts:
        kept, gone = sorted((now(node) for node in element.nodes), key=rank)
        if kept != gone:
            new[gone] = kept
    return {node: now(node) for node in new}


def _loop(element: Element) -> bool:
    """Return whether a two-ended element has both its ends on one node: it does nothing."""
    return element.kind in "rclvi" and element.nodes[0] == element.nodes[1]


def _renamed(block: Block, new: Mapping[str, str]) -> Block:
    return replace(
        block,
        places={place: new.get(node, node) for place, node in block.places.items()},
        sockets={name: _socket(socket, new) for name, socket in block.sockets.items()},
        meter={new.get(node, node): words for node, words in block.meter.items()},
        outputs={index: new.get(node, node) for index, node in block.outputs.items()},
    )


def _socket(socket: Socket, new: Mapping[str, str]) -> Socket:
    return replace(socket, pins={pin: new.get(node, node) for pin, node in socket.pins.items()})
