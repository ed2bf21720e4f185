"""The schematic joins what the circuit joins: read back from the SVG by geometry."""

from __future__ import annotations

import re

from receiver_sim import api
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.designators import designators
from receiver_sim.circuit.element import GROUND, Nature
from receiver_sim.views.schematic.drawing import Schematic
from receiver_sim.views.schematic.parts import Part
from receiver_sim.views.schematic.render import rendered
from tests.helpers.read_schematic import Read

# What a constructor doesn't see as a part, though a deck has an element for it: meters and sources at rest in
# a lead, the resistance of a winding, of a contact or inside a capacitor. Listed by hand, from the templates.
JOINED = re.compile(
    r"vf(ctl|det|reg|aud|scr)|v[lo]pick|vprobe|v[afh]pm|v[af]kg|rrfc|rhin|rhpl|rload|rtick|rcath|rlink|rsec|rprim|rout|rsecw\d+"
    r"|rsupply|rpsec\d+|rpesr\d+|rfilt|(resr|rsec|vsec|vd)\d+\.supply|vrgnd\.supply|rwindb?\.supply"
)


class _Nets:
    """Nodes of the circuit that a constructor takes for one."""

    def __init__(self, circuit: Circuit) -> None:
        self._of = {node: node for node in circuit.nodes} | {GROUND: GROUND}
        for e in circuit.elements:
            hidden = e.about.nature is not Nature.PART and JOINED.fullmatch(e.name)
            link = e.kind == "r" and e.about.tolerance != "pot" and (e.value or 0.0) <= 0.1
            if len(e.nodes) == 2 and (hidden or link):
                one, other = self._of[e.nodes[0]], self._of[e.nodes[1]]
                self._of = {n: (other if net == one else net) for n, net in self._of.items()}

    def __call__(self, node: str) -> str:
        return self._of[node]


def nodes_of(part: Part, circuit: Circuit) -> dict[str, str]:
    """Return the circuit's node at each pin of a part, worked out from its elements alone."""
    elements = [circuit[name] for name in part.elements]
    if part.symbol == "tube":
        socket = next(s for s in circuit.sockets.values() if s.tube == part.id)
        tied = {"suppressor": socket.pins["cathode"], "screen": socket.pins["plate"]}
        return {pin.name: socket.pins.get(pin.name) or tied[pin.name] for pin in part.pins}
    if part.symbol == "pot" and elements:
        (wiper,) = set(elements[0].nodes) & set(elements[1].nodes) - (
            {GROUND} if part.id != "rhuma" else set()
        )
        ends = [next(n for n in e.nodes if n != wiper) for e in elements]
        return {"top": ends[0], "wiper": wiper, "bottom": ends[1]}
    if part.symbol == "headset":
        across = circuit[part.id.replace("rphone", "cacross")]
        return {"a": elements[0].nodes[0], "b": across.nodes[1]}
    if len(elements) == 1 and len(elements[0].nodes) == 2:
        a, b = elements[0].nodes
        return {"a": b, "b": a} if part.symbol == "electrolytic" and a == GROUND else {"a": a, "b": b}
    return {}


def test_joins_what_the_circuit_joins(picture: Schematic) -> None:
    circuit, net_of = picture.circuit, _Nets(picture.circuit)
    parts = {part.id: part for part in picture.parts}
    padded = "cpadser" in parts  # then the deck's one capacitor is several parts
    at = {
        (part.id, pin): net_of(node)
        for part in parts.values()
        for pin, node in nodes_of(part, circuit).items()
        if not (padded and part.id in ("ctune", "cspread"))
    }
    shown = Read(rendered(picture)).nets()
    groups: dict[str, set[frozenset[tuple[str, str]]]] = {}
    for group in shown:
        there = {at[pin] for pin in group if pin in at}
        assert len(there) <= 1, f"joined in the drawing, not in the circuit: {sorted(group)}"
        for net in there:
            groups.setdefault(net, set()).add(group)
    split = {net: found for net, found in groups.items() if len(found) > 1}
    assert not split, f"one net of the circuit, several in the drawing: {split}"


def test_every_part_of_the_circuit_is_drawn_once(picture: Schematic) -> None:
    expected = {
        e.name
        for e in picture.circuit.elements
        if e.about.nature is Nature.PART
        and e.about.block != "heater"  # drawn from the build, with each tube's heater
        and e.kind not in "kf"
        and not (e.kind == "c" and (e.value or 0.0) < 1e-16)
        and not (e.kind == "r" and e.about.tolerance != "pot" and (e.value or 0.0) <= 0.1)
    }
    seen = [name for part in picture.parts for name in part.elements]
    assert len(seen) == len(set(seen))
    # the source of an ideal secondary stands under its transformer; nothing else may be missing
    assert set(seen) == expected


def test_designations_are_unique_but_for_heaters(picture: Schematic) -> None:
    refs = [p.ref for p in picture.parts if p.symbol != "heater"]
    assert all(refs)
    # as the circuit's own list has them, which a parts list shows
    for part in picture.parts:
        listed = {
            designators(picture.circuit)[name] for name in part.elements if part.key != "supply.rectifier"
        }
        assert not listed or part.ref in listed or part.block in ("rectifier", "supply")
    assert len(refs) == len(set(refs))
    tubes = {p.ref for p in picture.parts if p.symbol == "tube"}
    assert {p.ref for p in picture.parts if p.symbol == "heater"} == tubes


def test_a_wire_left_out_or_added_is_noticed() -> None:
    """The reader can fail: it sees a cut wire, and a dot on a crossing."""
    drawing = api.draw(api.shipped_build("demo"))
    whole = Read(rendered(drawing))
    cut = Read(rendered(drawing))
    cut.wires = [w for w in cut.wires if w[0] != whole.wires[3][0] or w[1] != whole.wires[3][1]]
    assert cut.nets() != whole.nets()
    cross = [
        (a[0][0], b[0][1])
        for a in whole.wires for b in whole.wires
        if a[0][0] == a[1][0] and b[0][1] == b[1][1]
        and min(a[0][1], a[1][1]) < b[0][1] < max(a[0][1], a[1][1])
        and min(b[0][0], b[1][0]) < a[0][0] < max(b[0][0], b[1][0])
        and (a[0][0], b[0][1]) not in whole.dots
    ]  # fmt: skip
    assert cross, "the demo's drawing has a crossing without a dot"
    joined = Read(rendered(drawing))
    joined.dots.append(cross[0])
    assert len(joined.nets()) == len(whole.nets()) - 1
