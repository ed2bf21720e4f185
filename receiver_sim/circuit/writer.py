"""Writes a circuit as the text that goes through the engine's door."""

from __future__ import annotations

from collections.abc import Mapping

from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.element import Element, Model
from receiver_sim.engine import Deck

_BEFORE_VALUE = frozenset("vi")


def deck(circuit: Circuit) -> Deck:
    """Return the deck of a circuit; its title is the circuit's."""
    return Deck(title=circuit.title, text=text(circuit))


def text(circuit: Circuit) -> str:
    """Return the text of a circuit: options, the laws that are called, elements, models, starting volts."""
    called = {element.tail for element in circuit.elements if element.kind == "x"}
    lines = [f".options {circuit.options}"] if circuit.options else []
    lines += [law.text for law in circuit.laws if law.name in called]
    for element in circuit.elements:
        lines += [f"* {note}" for note in element.note.splitlines()]
        lines.append(line(element))
    lines += [_model(model) for model in circuit.models]
    lines += _volts(".nodeset", circuit.start)
    lines += _volts(".ic", circuit.initial)
    return "\n".join(lines)


def line(element: Element) -> str:
    """Return the line of one element."""
    words = [element.name[0].upper() + element.name[1:], *element.nodes, *element.links]
    if element.value is not None:
        if element.kind in _BEFORE_VALUE:
            words.append("dc")
        words.append(format(element.value, ".12g"))
    if element.tail:
        words.append(element.tail)
    return " ".join(words)


def _model(model: Model) -> str:
    inside = " ".join(f"{name}={value:.12g}" for name, value in model.parameters.items())
    return f".model {model.name} {model.kind}({inside})"


def _volts(word: str, volts: Mapping[str, float]) -> list[str]:
    known = [f"v({node})={value:.12g}" for node, value in volts.items()]
    return [f"{word} {' '.join(known[i : i + 8])}" for i in range(0, len(known), 8)]
