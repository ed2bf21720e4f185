"""The pins of a tube's socket as they are numbered, and the node of the circuit each is on."""

from __future__ import annotations

from dataclasses import dataclass

from receiver_sim.circuit.blocks.heater import feed_of, heater_ends
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.element import GROUND
from receiver_sim.circuit.registry import Cards
from receiver_sim.schema import Build
from receiver_sim.schema.audio_stages import HeaterFeed

_KEYS = {"r.f.": "rf", "detector": "detector", "audio": "audio", "first audio": "first"}
"""Names of heaters in a build by the names of sockets in a circuit."""


@dataclass(frozen=True)
class NumberedPin:
    """One pin. number: '1' ... '9', 'cap'; words: what is on it; node: of the circuit, None for a pin that
    the circuit does not hold (the other half of a tube, a heater's middle); also: what it goes to besides,
    that is no part of the circuit (a cell for its filament)."""

    socket: str
    tube: str
    number: str
    words: str
    node: str | None
    also: tuple[str, ...] = ()


_WORDS = {
    "p": "plate",
    "g1": "grid",
    "g2": "screen",
    "g3": "suppressor",
    "k": "cathode",
    "k+g3": "cathode and suppressor",
    "k+heater": "cathode and heater",
    "g3+shield": "suppressor and shield",
}


def heater_nodes(build: Build, socket: str) -> tuple[str, ...]:
    """Return the nodes of both ends of the heater in a socket of the circuit."""
    return tuple(heater_ends(build, _KEYS[socket]).values())


def heater_feed(build: Build, socket: str) -> HeaterFeed | None:
    """Return how the heater in a socket of the circuit is fed, None for straight from the line."""
    return feed_of(build, _KEYS[socket])


def numbered_pins(circuit: Circuit, build: Build, cards: Cards) -> tuple[NumberedPin, ...]:
    """Return every pin of every socket of a circuit, in the order of the sockets and their numbers.

    A suppressor with a pin of its own is wired to the cathode, shell and shield to ground (common practice)
    where the socket does not say otherwise.
    """
    out = []
    for name, socket in circuit.sockets.items():
        card = cards.of(name)
        ends = list(heater_ends(build, _KEYS[name]).values())
        unmarked = ["filament+", "filament-"]
        for number, what in sorted(card.pins.items(), key=lambda one: (len(one[0]), one[0])):
            node: str | None
            also: tuple[str, ...] = ()
            if what.endswith("second") or "middle" in what or "centre tap" in what or "heater tap" in what:
                node = None
            elif what == "heater":
                node = ends.pop(0) if ends else None
            elif what.startswith("filament"):
                end = unmarked.pop(0) if what == "filament" and unmarked else what
                node, also = _filament(build, _KEYS[name], end, socket.pins["cathode"])
            elif what in ("shell", "shield"):
                node = socket.wired.get("shell", GROUND)
            elif what.startswith("g3") and "suppressor" in socket.wired:
                node = socket.wired["suppressor"]
            else:
                node = socket.pins.get(_electrode(what))
            if what == "diode":
                node = GROUND
            out.append(NumberedPin(name, card.type, number, _WORDS.get(what, what), node, also))
    return tuple(out)


def _filament(build: Build, key: str, what: str, cathode: str) -> tuple[str | None, tuple[str, ...]]:
    """Return the node of one end of a filament and what else it goes to. The end that is the cathode stands
    where the set has its cathode, the other on the heater line or a cell.
    """
    feed = feed_of(build, key)
    by = "" if feed is None or feed.chokes is None else ", through an r.f. choke"
    own = feed is not None and feed.source == "cell"
    source = "cell of its own" if own else "heater supply"
    if "-" in what:
        return cathode, (f"{source}, -{by}",) if own or by else ()
    if own or by:
        return None, (f"{source}, +{by}",)
    return heater_ends(build, key)["heater_a"], ()


def _electrode(what: str) -> str:
    """Return the electrode of a socket that a pin of a card is."""
    if what.startswith(("k", "g3")):
        return "cathode"
    return {"p": "plate", "g1": "grid", "g2": "screen"}.get(what, what)


__all__ = ["NumberedPin", "heater_feed", "heater_nodes", "numbered_pins"]
