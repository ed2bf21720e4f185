"""What is soldered to what: the nets of a circuit as a constructor has them, socket by socket.

Sources at rest and meters of the virtual bench, and winding resistances that belong to a part, are no wires
and no parts: their two nodes are one net.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from receiver_sim.circuit.blocks.heater import CENTRE_TAP, GROUNDED_SIDE
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.designators import PartGroup, parts_of
from receiver_sim.circuit.element import GROUND, Element, Nature
from receiver_sim.circuit.limits import CONTACT_OHM
from receiver_sim.circuit.pins import NumberedPin
from receiver_sim.circuit.roles import Role

CHASSIS = "chassis"

IN_PLATE_LEAD = "phones in the plate lead"
"""Word of the elements by which a circuit has phones in the lead of a plate."""

_IN_SERIES = (
    "winding of", "resistance of the", "lead of", "series resistance", "grounded cathode", GROUNDED_SIDE,
)  # fmt: skip
"""Words of model elements that stand in series inside a part, or in the place of a wire."""


@dataclass(frozen=True)
class WiringRow:
    """One pin or joint and what its net goes to. pin: '' for a joint that is no pin of a tube."""

    designator: str
    socket: str
    tube: str
    pin: str
    words: str
    to: tuple[str, ...]


def nets_of(circuit: Circuit) -> dict[str, str]:
    """Return the net of every node, named after one of its nodes; ground keeps its name."""
    net: dict[str, str] = {node: node for node in circuit.nodes}
    net[GROUND] = GROUND

    def root(node: str) -> str:
        while net[node] != node:
            node = net[node]
        return node

    for element in circuit.elements:
        if not _wire(element):
            continue
        a, b = root(element.nodes[0]), root(element.nodes[1])
        keep, gone = (a, b) if a == GROUND or b != GROUND else (b, a)
        net[gone] = keep
    return {node: root(node) for node in net}


def _wire(element: Element) -> bool:
    about = element.about
    if len(element.nodes) != 2:
        return False
    if element.kind == "v":
        return about.nature is Nature.BENCH or about.word.startswith(_IN_SERIES)
    if element.kind != "r":
        return False
    if about.nature is Nature.MODEL:
        return about.word.startswith(_IN_SERIES) and "aerial" not in about.word
    alone = about.nature is Nature.PART and about.tolerance != "pot"
    return alone and (element.value or 0.0) <= CONTACT_OHM


def terminals(circuit: Circuit) -> dict[str, list[str]]:
    """Return the ends of parts on each net, as a wiring list names them: 'C3', 'R3 wiper', 'L1 tank coil'."""
    nets = nets_of(circuit)
    out: dict[str, list[str]] = {}
    tapped = any(e.about.word == CENTRE_TAP for e in circuit.elements)
    for part in parts_of(circuit):
        for net, name in _ends(part, circuit, nets):
            here = out.setdefault(net, [])
            if name not in here:
                here.append(name)
        if tapped and part.elements[0] == circuit.find(Role.HEATER):
            out.setdefault(GROUND, []).append(f"{part.designator} centre tap")
    return out


def _ends(part: PartGroup, circuit: Circuit, nets: dict[str, str]) -> list[tuple[str, str]]:
    members = [circuit[name] for name in part.elements]
    if members[0].kind == "x":
        return []  # its pins stand in the list themselves
    if part.letters == "E":
        inside = set(part.elements)
        return [
            (nets[node], part.designator)
            for node in dict.fromkeys(n for e in members for n in e.nodes)
            if any(e.name not in inside and e.about.nature is not Nature.BENCH for e in circuit.nodes[node])
        ]
    if part.letters == "HT":
        return [(net, part.designator) for net in _nets_of_phones(members[0].nodes[0], circuit, nets)]
    if members[0].kind == "v" and members[0].value:
        # of a mains transformer the circuit has what comes out of its rectifier
        rectified = "rectified " if part.letters == "T" else ""
        names = (f"{part.designator} {rectified}+", f"{part.designator} {rectified}-")
        return [(nets[node], name) for node, name in zip(members[0].nodes, names, strict=True)]
    two = [e for e in members if e.kind in "rlcdve" and len(e.nodes) >= 2]
    if part.letters == "R" and len(two) == 2:
        shared = set(two[0].nodes) & set(two[1].nodes)
        wiper = next((n for n in two[0].nodes if n in shared and n != GROUND), two[0].nodes[1])
        ends = [n for e in two for n in e.nodes[:2] if n != wiper]
        return [(nets[wiper], f"{part.designator} wiper")] + [
            (nets[n], f"{part.designator} end {k}") for k, n in zip("ab", ends, strict=False)
        ]
    several = part.letters in ("L", "T") and len(two) > 1
    return [
        (nets[node], f"{part.designator} {_winding(part, e)}" if several else part.designator)
        for e in two
        for node in e.nodes[:2]
    ]


def _nets_of_phones(hot: str, circuit: Circuit, nets: dict[str, str]) -> tuple[str, ...]:
    """Return the two nets of phones whose impedance begins at a node."""
    lead = next((e for e in circuit.elements if e.kind == "e" and e.about.word == IN_PLATE_LEAD), None)
    if lead is not None and lead.nodes[0] == hot:
        # the circuit has these phones beside the lead, and their volts put into it
        return tuple(nets[node] for node in lead.nodes[2:4])
    # between the first element and ground an impedance may be a chain of them
    return nets[hot], GROUND


def _winding(part: PartGroup, element: Element) -> str:
    """Return which winding of a coil or transformer an element is."""
    key = element.about.key or ""
    if part.letters != "T":
        return element.about.word
    if "secondaries[" in key:
        return f"secondary {int(re.sub(r'[^0-9]', '', element.name) or 0) + 1}"
    return "secondary" if key.endswith(".ratio") else "primary"


def wiring_rows(circuit: Circuit, pins: tuple[NumberedPin, ...]) -> tuple[WiringRow, ...]:
    """Return the list: every pin of every socket, then joints that hang on no socket."""
    nets, ends = nets_of(circuit), terminals(circuit)
    names = {
        name: part.designator for part in parts_of(circuit) for name in part.elements if part.letters == "V"
    }
    tubes = {name: names[socket.tube] for name, socket in circuit.sockets.items()}
    on_net: dict[str, list[str]] = {}
    for pin in pins:
        if pin.node is not None:
            on_net.setdefault(nets[pin.node], []).append(f"{tubes[pin.socket]} pin {pin.number}")
    rows = []
    for pin in pins:
        own = f"{tubes[pin.socket]} pin {pin.number}"
        to: tuple[str, ...] = ("not connected",)
        if pin.node is not None:
            net = nets[pin.node]
            others = [*ends.get(net, ()), *(p for p in on_net[net] if p != own)]
            to = (CHASSIS,) if net == GROUND else tuple(others)
        if pin.also:
            to = (*(to if pin.node is not None else ()), *pin.also)
        rows.append(WiringRow(tubes[pin.socket], pin.socket, pin.tube, pin.number, pin.words, to))
    for net, joined in ends.items():
        if net != GROUND and net not in on_net and len(joined) > 1:
            words = next((w for node, w in circuit.meter.items() if nets[node] == net), "joint")
            rows.append(WiringRow("", "", "", "", words, tuple(joined)))
    chassis = tuple(ends.get(GROUND, ()))
    return (*rows, WiringRow("", "", "", "", CHASSIS, chassis))


__all__ = ["CHASSIS", "WiringRow", "nets_of", "terminals", "wiring_rows"]
