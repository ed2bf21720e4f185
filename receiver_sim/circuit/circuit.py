"""The circuit of a receiver: elements in order, what they call by name, and what its blocks declare of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

from receiver_sim.circuit.control import Control
from receiver_sim.circuit.element import GROUND, Element, Law, Model
from receiver_sim.circuit.roles import Place, Role

Volts = Mapping[str, float]
"""Volts of nodes and amperes of branches (`name#branch`), as an operating point gives them."""


@dataclass(frozen=True)
class Meter:
    """How the current into a pin is read: the element that carries it; sense: +1 from its first node to
    its second.
    """

    element: str
    sense: float = 1.0


@dataclass(frozen=True)
class Socket:
    """A tube's socket.

    name: as the constructor says; tube: the element that calls the law; pins: their nodes by name (plate,
    screen, grid, cathode); control_node: whose volts drive the space current; probe: the source in series
    with it. meters: of the currents into pins; heater: elements that couple the heater in, by 'grid',
    'cathode' and 'leakage'; parts: elements around it by what they are to the tube; wired: nodes of
    'suppressor' and 'shell', which the law does not see (absent: to the cathode, to ground).
    """

    name: str
    tube: str
    pins: Mapping[str, str]
    control_node: str
    probe: str
    meters: Mapping[str, Meter] = field(default_factory=dict)
    heater: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    parts: Mapping[str, str] = field(default_factory=dict)
    wired: Mapping[str, str] = field(default_factory=dict)


def socket_of(name: str, said: Mapping[str, Any], *, meters: Mapping[str, str] | None = None) -> Socket:
    """Return the socket that a description declares; meters: further elements that carry a pin's current."""
    declared = {
        pin: (*str(one).split(), "+")[:2] for pin, one in {**said.get("meters", {}), **(meters or {})}.items()
    }
    return Socket(
        name=name,
        tube=str(said["tube"]),
        pins={str(pin): str(node) for pin, node in said["pins"].items()},
        control_node=str(said["control node"]),
        probe=str(said["probe"]),
        meters={
            pin: Meter(element, -1.0 if sense == "-" else 1.0) for pin, (element, sense) in declared.items()
        },
        heater={where: tuple(names) for where, names in said.get("heater", {}).items()},
        parts=dict(said.get("parts", {})),
        wired={pin: str(node) for pin, node in said.get("wired", {}).items()},
    )


@dataclass(frozen=True)
class Block:
    """One stage as it was filled: its elements, and what it declares of them.

    outputs: nodes whose volts are those across each of the phones or loads, by index. dial: the values of
    the elements that follow the dial, for a frequency (Hz).
    """

    name: str
    elements: tuple[Element, ...]
    part_of: str = "receiver"
    laws: tuple[Law, ...] = ()
    models: tuple[Model, ...] = ()
    start: Volts = field(default_factory=dict)
    places: Mapping[Place, str] = field(default_factory=dict)
    roles: Mapping[Role, str] = field(default_factory=dict)
    sockets: Mapping[str, Socket] = field(default_factory=dict)
    meter: Mapping[str, str] = field(default_factory=dict)
    outputs: Mapping[int, str] = field(default_factory=dict)
    control: Control | None = None
    dial: Callable[[float], dict[str, float]] | None = None


_NO_DC = frozenset("ci")
"""Kinds that carry no direct current: capacitors, and current sources at rest."""


class NoSuchPart(KeyError):  # noqa: N818 - said of a circuit, not of a program
    """A circuit has no part or place of a role, or no element of a name."""

    def __str__(self) -> str:
        return str(self.args[0])


@dataclass(frozen=True)
class Circuit:
    """A circuit. Nothing changes one: every method that would gives another."""

    title: str
    elements: tuple[Element, ...]
    options: str = ""
    laws: tuple[Law, ...] = ()
    models: tuple[Model, ...] = ()
    start: Volts = field(default_factory=dict)
    initial: Volts = field(default_factory=dict)
    blocks: tuple[Block, ...] = ()

    # ------------------------------------------------------------------ elements

    @cached_property
    def _by_name(self) -> dict[str, Element]:
        return {element.name: element for element in self.elements}

    def __getitem__(self, name: str) -> Element:
        try:
            return self._by_name[name]
        except KeyError:
            raise NoSuchPart(f"the circuit has no element {name}") from None

    def __contains__(self, name: str) -> bool:
        return name in self._by_name

    @cached_property
    def nodes(self) -> dict[str, tuple[Element, ...]]:
        """Every node with the elements on it."""
        out: dict[str, list[Element]] = {}
        for element in self.elements:
            for node in dict.fromkeys(element.nodes):
                out.setdefault(node, []).append(element)
        return {node: tuple(on) for node, on in out.items()}

    @cached_property
    def law_of(self) -> dict[str, Law]:
        """The laws by name."""
        return {law.name: law for law in self.laws}

    # ------------------------------------------------------------------ changes

    def replace(self, values: Mapping[str, float]) -> Circuit:
        """Return the circuit with other values (ohm, farad, henry, d.c. volts). Raises NoSuchPart."""
        for name in values:
            self[name]
        return replace(
            self,
            elements=tuple(
                e._replace(value=float(values[e.name])) if e.name in values else e for e in self.elements
            ),
        )

    def driven(self, volts: Mapping[str, float]) -> Circuit:
        """Return the circuit with other a.c. magnitudes of sources. Raises NoSuchPart."""
        for name in volts:
            self[name]
        return replace(
            self,
            elements=tuple(
                e._replace(tail=f"ac {volts[e.name]:.12g}") if e.name in volts else e for e in self.elements
            ),
        )

    def begun_with(self, volts: Mapping[str, float]) -> Circuit:
        """Return the circuit whose search for an operating point begins with these volts of its nodes.

        Without them Newton's method strays in the long chain of sources of a tube's law; with wide tolerances
        it may end at volts so high that the laws no longer follow them.
        """
        known = {node: volts[node] for node in self.nodes if node in volts and node != GROUND}
        return replace(self, start={**self.start, **known})

    def without(self, names: Iterable[str]) -> Circuit:
        """Return the circuit without some elements, and without couplings of a coil that is gone."""
        gone = set(names)
        kept = [e for e in self.elements if e.name not in gone and not gone.intersection(e.links)]
        return replace(self, elements=tuple(kept))

    def plus(self, *elements: Element) -> Circuit:
        """Return the circuit with further elements. Raises ValueError for a name that is taken."""
        taken = [e.name for e in elements if e.name in self]
        if taken:
            raise ValueError(f"the circuit already has an element {', '.join(taken)}")
        return replace(self, elements=(*self.elements, *elements))

    def without_part(self, part_of: str) -> Circuit:
        """Return the circuit without the blocks that belong to a part of the receiver."""
        gone = [block for block in self.blocks if block.part_of == part_of]
        names = {element.name for block in gone for element in block.elements}
        kept = tuple(block for block in self.blocks if block.part_of != part_of)
        return replace(self.without(names), blocks=kept)

    # ------------------------------------------------------------------ what the blocks declare

    @cached_property
    def _places(self) -> dict[Place, str]:
        out: dict[Place, str] = {}
        for block in self.blocks:
            for place, node in block.places.items():
                out.setdefault(place, node)
        return out

    @cached_property
    def _roles(self) -> dict[Role, str]:
        out: dict[Role, str] = {}
        for block in self.blocks:
            for role, name in block.roles.items():
                if name in self:
                    out.setdefault(role, name)
        return out

    def node(self, place: Place) -> str:
        """Return the node of a role. Raises NoSuchPart where there is none."""
        try:
            return self._places[place]
        except KeyError:
            raise NoSuchPart(f"the circuit has no {place.value}") from None

    def find_node(self, place: Place) -> str | None:
        """Return the node of a role, None where there is none."""
        return self._places.get(place)

    def part(self, role: Role) -> str:
        """Return the name of the element of a role. Raises NoSuchPart where there is none."""
        try:
            return self._roles[role]
        except KeyError:
            raise NoSuchPart(f"the circuit has no {role.value}") from None

    def find(self, role: Role) -> str | None:
        """Return the name of the element of a role, None where there is none."""
        return self._roles.get(role)

    @cached_property
    def sockets(self) -> dict[str, Socket]:
        """The sockets by name, in the order of the signal."""
        return {
            name: replace(
                socket,
                pins={pin: node for pin, node in socket.pins.items() if node in self.nodes or node == GROUND},
                meters={pin: m for pin, m in socket.meters.items() if m.element in self},
                heater={
                    where: tuple(n for n in names if n in self) for where, names in socket.heater.items()
                },
                parts={what: n for what, n in socket.parts.items() if n in self},
            )
            for block in self.blocks
            for name, socket in block.sockets.items()
        }

    @cached_property
    def meter(self) -> dict[str, str]:
        """Nodes a meter is put on, as far as the circuit has them, and what the constructor calls them."""
        found = {node: words for block in self.blocks for node, words in block.meter.items()}
        return {node: words for node, words in found.items() if node in self.nodes}

    @cached_property
    def outputs(self) -> tuple[str, ...]:
        """Nodes whose volts are those across the phones or loads, in the order of the build."""
        found = {index: node for block in self.blocks for index, node in block.outputs.items()}
        return tuple(found[index] for index in sorted(found))

    @cached_property
    def control(self) -> Control:
        """The regeneration control. Raises NoSuchPart where there is none."""
        for block in self.blocks:
            if block.control is not None:
                return block.control
        raise NoSuchPart("the circuit has no regeneration control")

    def branch(self, which: Role | str) -> str:
        """Return the vector of the current through a source or coil. Raises NoSuchPart."""
        name = self.part(which) if isinstance(which, Role) else self[which].name
        return f"{name}#branch"

    def dialled(self, dial_hz: float) -> dict[str, float]:
        """Return the values of all elements that follow the dial, by name, for a frequency (Hz)."""
        out: dict[str, float] = {}
        for block in self.blocks:
            if block.dial is not None:
                out |= block.dial(dial_hz)
        return out

    # ------------------------------------------------------------------ reading volts

    def current(self, name: str, volts: Volts) -> float:
        """Return the amperes through an element from its first node to its second, at an operating point.

        Of a resistor by Ohm's law, of a coil or source by its branch. Raises ValueError for another kind.
        """
        element = self[name]
        if element.kind in "lv":
            return volts[self.branch(name)]
        if element.kind == "r" and element.value:
            ends = [0.0 if node == "0" else volts[node] for node in element.nodes]
            return (ends[0] - ends[1]) / element.value
        raise ValueError(f"the current through {name} can't be read")

    def into(self, socket: Socket, pin: str, volts: Volts) -> float:
        """Return the d.c. (A) into a pin of a socket at an operating point.

        What its meter says, if the block declares one; else, by Kirchhoff's law, what all else on its node
        brings.
        Raises NoSuchPart for a pin there is not, ValueError where a current can't be read.
        """
        if pin in socket.meters:
            meter = socket.meters[pin]
            return meter.sense * self.current(meter.element, volts)
        if pin not in socket.pins:
            raise NoSuchPart(f"the {socket.name} has no {pin}")
        node = socket.pins[pin]
        return sum(
            (1.0 if one.nodes[1] == node else -1.0) * self.current(one.name, volts)
            for one in self.nodes[node]
            if one.name != socket.tube and one.kind not in _NO_DC
        )


def joined(title: str, blocks: Sequence[Block], *, options: str) -> Circuit:
    """Return the circuit of some blocks, in their order. Raises ValueError for two elements of one name."""
    elements = tuple(element for block in blocks for element in block.elements)
    if len({element.name for element in elements}) != len(elements):
        names = [element.name for element in elements]
        raise ValueError(f"two elements of one name: {sorted({n for n in names if names.count(n) > 1})}")
    return Circuit(
        title=title,
        elements=elements,
        options=options,
        laws=tuple(law for block in blocks for law in block.laws),
        models=tuple(model for block in blocks for model in block.models),
        start={node: volts for block in blocks for node, volts in block.start.items()},
        blocks=tuple(blocks),
    )
