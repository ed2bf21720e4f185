"""What a schematic shows: the parts of a circuit, each with its pins on nets.

Parts and tubes are drawn; strays, the insides of models and the sources of the bench are not. Elements that
are one thing to a constructor (the two halves of a pot, the windings of a coil) become one part. Where an
element that isn't drawn joins two nets (a meter at rest, the resistance of a winding), the nets are one.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.element import GROUND, Element, Nature
from receiver_sim.circuit.limits import CONTACT_OHM, SOCKET_OHM
from receiver_sim.circuit.roles import Place
from receiver_sim.schema.card import TubeCard
from receiver_sim.views.schematic.values import value_of

WIPER, TAP = "wiper", "tap"
"""Terminals of symbols, by what a drawing calls them; no names of the circuit."""

_LEAST_FARAD = 1e-16
"""A capacitor below this stands for none."""


@dataclass(frozen=True)
class Pin:
    """A terminal of a part: its name, the net it is on, and its number at the socket if it has one."""

    name: str
    net: str
    number: str = ""


@dataclass(frozen=True)
class Part:
    """One thing of the drawing.

    id: its leading element, or a name of its own for what is no element (aerial, heater). symbol: what it is
    drawn as. lines: what stands beside it, besides its designation. windings: number of pins of each winding.
    """

    id: str
    symbol: str
    pins: tuple[Pin, ...]
    block: str
    word: str
    key: str | None = None
    lines: tuple[str, ...] = ()
    elements: tuple[str, ...] = ()
    letter: str = ""
    ref: str = ""
    windings: tuple[int, ...] = ()
    also: Mapping[str, str] = field(default_factory=dict)

    def net(self, pin: str) -> str:
        """Return the net a pin is on. Raises KeyError."""
        return next(one.net for one in self.pins if one.name == pin)


class Nets:
    """Nodes that are one net: a union of sets; ground and the nodes of a place keep their names."""

    def __init__(self, kept: Iterable[str] = ()) -> None:
        self._parent: dict[str, str] = {}
        self._kept = {GROUND, *kept}

    def of(self, node: str) -> str:
        """Return the name of the net of a node."""
        while self._parent.get(node, node) != node:
            node = self._parent[node]
        return node

    def join(self, one: str, other: str) -> None:
        """Make two nets one; ground keeps its name, else the first keeps its."""
        a, b = self.of(one), self.of(other)
        if a == b:
            return
        if b == GROUND or (b in self._kept and a not in self._kept):
            a, b = b, a
        self._parent[b] = a


def _two(element: Element) -> tuple[str, str]:
    return element.nodes[0], element.nodes[1]


def _joins(element: Element) -> bool:
    """Return whether an element that isn't drawn is a plain connection: a meter, a source at rest, a link."""
    nature = element.about.nature
    if element.kind == "v":
        return nature is Nature.BENCH or (nature is Nature.MODEL and not element.value)
    return (
        nature in (Nature.PART, Nature.MODEL)
        and element.kind == "r"
        and (element.value or 0.0) <= CONTACT_OHM
        and (element.about.tolerance != "pot")
    )


def _absent(element: Element) -> bool:
    """Return whether a part is there in name only: a capacitor of nothing, a resistor of a link."""
    if element.kind == "c":
        return (element.value or 0.0) < _LEAST_FARAD
    return element.kind == "r" and element.about.tolerance != "pot" and (element.value or 0.0) <= CONTACT_OHM


# --------------------------------------------------------------------------- grouping


def _pots(elements: list[Element]) -> Iterable[Part]:
    """Yield a pot for each pair of resistors that are the two parts of one track."""
    left = [e for e in elements if e.kind == "r" and e.about.tolerance == "pot"]
    while left:
        one = left.pop(0)
        other = next(
            (e for e in left if e.about.key == one.about.key and set(e.nodes) & set(one.nodes)), None
        )
        if other is None:
            yield _single(one)
            continue
        left.remove(other)
        if {one.value, other.value} & {SOCKET_OHM}:
            continue
        (wiper,) = (
            set(one.nodes) & set(other.nodes) if set(one.nodes) != set(other.nodes) else (one.nodes[1],)
        )
        ends = [next(n for n in e.nodes if n != wiper) for e in (one, other)]
        track = (one.value or 0.0) + (other.value or 0.0)
        yield Part(
            id=one.name,
            symbol="pot",
            pins=(Pin("top", ends[0]), Pin(WIPER, wiper), Pin("bottom", ends[1])),
            block=one.about.block,
            word=one.about.word,
            key=one.about.key,
            lines=(value_of(track, "ohm"),),
            elements=(one.name, other.name),
            letter="R",
        )


def _chain(coils: list[Element]) -> list[list[Element]]:
    """Return coils in rows of those in series: each begins on the node where the one before ends."""
    rows: list[list[Element]] = []
    left = list(coils)
    while left:
        row = [left.pop(0)]
        while True:
            after = next((e for e in left if e.nodes[0] == row[-1].nodes[1] and e.nodes[0] != GROUND), None)
            if after is None:
                break
            left.remove(after)
            row.append(after)
        rows.append(row)
    return rows


def _coupled(circuit: Circuit, coils: list[Element]) -> Iterable[list[Element]]:
    """Yield groups of coils that are coupled with each other."""
    names = {e.name for e in coils}
    links = [e.links for e in circuit.elements if e.kind == "k" and set(e.links) <= names]
    left = [e.name for e in coils]
    while left:
        group = {left[0]}
        while more := {n for pair in links if group & set(pair) for n in pair} - group:
            group |= more
        yield [e for e in coils if e.name in group]
        left = [n for n in left if n not in group]


def _coil_lines(rows: list[list[Element]], circuit: Circuit) -> tuple[str, ...]:
    """Return the inductance of each row: of coils in series with their coupling."""
    out = []
    for row in rows:
        total = sum(e.value or 0.0 for e in row)
        for k in circuit.elements:
            pair = [e for e in row if e.name in k.links]
            if k.kind == "k" and len(pair) == 2:
                total += 2.0 * (k.value or 0.0) * ((pair[0].value or 0.0) * (pair[1].value or 0.0)) ** 0.5
        out.append(value_of(total, "H"))
    return tuple(out)


def _coils(circuit: Circuit, elements: list[Element]) -> Iterable[Part]:
    """Yield each coil, choke or transformer: coupled windings are one part."""
    coils = [e for e in elements if e.kind == "l" and not (e.about.key or "").startswith("phones")]
    ideal = [e for e in elements if e.kind == "e" and len(e.nodes) == 4]
    used: set[str] = set()
    for e in ideal:
        primary = next((one for one in coils if set(one.nodes) == set(e.nodes[2:])), None)
        if primary is None or primary.name in used:
            continue
        same = [one for one in coils if one.about.word == primary.about.word]
        row = _chain(same)[0]
        used |= {one.name for one in same}
        seconds = [x for x in ideal if set(x.nodes[2:]) == set(primary.nodes)]
        used |= {x.name for x in seconds}
        ratios = tuple(_turns_ratio(x.value or 1.0) for x in seconds)
        pins = [Pin("w0.0", row[0].nodes[0]), Pin("w0.1", row[-1].nodes[1])]
        for i, x in enumerate(seconds, 1):
            pins += [Pin(f"w{i}.0", x.nodes[0]), Pin(f"w{i}.1", x.nodes[1])]
        yield Part(
            id=primary.name,
            symbol="iron transformer",
            pins=tuple(pins),
            block=primary.about.block,
            word=primary.about.word,
            key="audio.output" if primary.about.block == "output" else primary.about.key,
            lines=(value_of(primary.value or 0.0, "H"),),
            elements=tuple(one.name for one in (*same, *seconds)),
            letter="T",
            windings=(2,) * (1 + len(seconds)),
            also={f"w{i}": text for i, text in enumerate(ratios, 1)},
        )
    for group in _coupled(circuit, [e for e in coils if e.name not in used]):
        rows = _chain(group)
        iron = group[0].about.tolerance == "iron-cored choke"
        if len(group) == 1:
            choke = group[0].about.tolerance == "choke"
            yield _single(group[0], symbol="iron choke" if iron else "rf choke" if choke else "inductor")
            continue
        rows.sort(key=lambda row: -len(row))
        pins = []
        for i, row in enumerate(rows):
            nodes = [row[0].nodes[0], *(e.nodes[1] for e in row)]
            pins += [Pin(f"w{i}.{j}", node) for j, node in enumerate(nodes)]
        yield Part(
            id=group[0].name,
            symbol="iron transformer" if iron else "coil",
            pins=tuple(pins),
            block=group[0].about.block,
            word=rows[0][0].about.word if iron else "plug-in coil",
            key=group[0].about.key,
            lines=_coil_lines(rows, circuit)[:1],
            elements=tuple(e.name for e in group),
            letter="T" if iron else "L",
            windings=tuple(len(row) + 1 for row in rows),
            also={f"w{i}": f"{'secondary' if iron else row[0].about.word} {text}" for i, (row, text) in
                  enumerate(zip(rows, _coil_lines(rows, circuit), strict=True)) if i},
        )  # fmt: skip


def _turns_ratio(secondary: float) -> str:
    """Return the turns of primary to secondary as print has them: '4.5:1' steps down, '1:3' up.

    secondary: its turns over those of the primary.
    """
    return f"1:{secondary:.3g}" if secondary >= 1.0 else f"{1.0 / secondary:.3g}:1"


_UNIT = {"r": "ohm", "c": "F", "l": "H", "v": "V"}
_LETTER = {"r": "R", "c": "C", "l": "L", "d": "CR", "v": "PS", "b": "V", "i": "G", "e": "G"}


def _single(element: Element, *, symbol: str | None = None, letter: str = "") -> Part:
    """Return the part that one element of two terminals is."""
    about = element.about
    kind = symbol or {
        "r": "resistor", "c": "capacitor", "l": "inductor", "d": "diode", "v": "source", "b": "tube diode",
    }.get(element.kind, "box")  # fmt: skip
    if element.kind == "c" and about.tolerance == "electrolytic":
        kind = "electrolytic"
    if element.kind == "c" and about.tolerance == "variable capacitor":
        kind = "variable capacitor"
    one, other = _two(element)
    if kind == "electrolytic" and one == GROUND:
        one, other = other, one
    unit = _UNIT.get(element.kind)
    lines = () if unit is None or element.value is None else (value_of(element.value, unit),)
    return Part(
        id=element.name,
        symbol=kind,
        pins=(Pin("a", one), Pin("b", other)),
        block=about.block,
        word=about.word,
        key=about.key,
        lines=lines,
        elements=(element.name,),
        letter=letter or _LETTER.get(element.kind, "A"),
    )


def _phones(elements: list[Element], circuit: Circuit) -> Iterable[Part]:
    """Yield a headset for each load: all that stands for its impedance is one part."""
    inside: dict[str, list[Element]] = {}
    for e in elements:
        if re.fullmatch(r"phones\[\d+\]", e.about.key or "") and e.kind in "rl":
            inside.setdefault(e.about.key or "", []).append(e)
    for key, group in inside.items():
        first = next((e for e in group if e.kind == "r"), group[0])
        across = (e.nodes[1] for e in circuit.elements if e.name == first.name.replace("rphone", "cacross"))
        far = next(across, GROUND)
        yield Part(
            id=first.name,
            symbol="headset",
            pins=(Pin("a", first.nodes[0]), Pin("b", far)),
            block=first.about.block,
            word=first.about.word,
            key=key,
            lines=(),
            elements=tuple(e.name for e in group),
            letter="HT",
        )


# --------------------------------------------------------------------------- tubes

_ELECTRODES = {"plate": "p", "screen": "g2", "grid": "g1", "cathode": "k", "suppressor": "g3"}


def _number(card: TubeCard, electrode: str) -> str:
    """Return the number of an electrode's pin at the socket, 'cap' for a top cap, '' where it has none."""
    found = [
        pin for pin, what in card.pins.items()
        if electrode in re.split(r"[ +]+", what) and "second" not in what
    ]  # fmt: skip
    if not found and electrode == "k" and card.heater.direct:
        found = [pin for pin, what in card.pins.items() if re.match(r"filament(-| \+|$)", what)]
    return found[0] if found else ""


def heater_pins(card: TubeCard) -> tuple[str, ...]:
    """Return the numbers of the ends of a tube's heater or filament at the socket, a negative end last."""
    found = [
        (pin, "-" in what) for pin, what in card.pins.items()
        if re.match(r"(heater|filament)", what) and not re.search(r"middle|centre", what)
    ]  # fmt: skip
    # of two pins at the negative end the lower number comes last: the one that the cathode is drawn with
    negative = [pin for pin, minus in found[::-1] if minus]
    return (*(pin for pin, minus in found if not minus), *negative)


def _tubes(circuit: Circuit, elements: list[Element], cards: Mapping[str, TubeCard]) -> Iterable[Part]:
    """Yield the tube in each socket, with the numbers of its pins."""
    for socket in circuit.sockets.values():
        element = next((e for e in elements if e.name == socket.tube), None)
        if element is None:
            continue
        card = cards[socket.name]
        nodes = dict(socket.pins)
        pins = [Pin(name, nodes[name], _number(card, _ELECTRODES.get(name, ""))) for name in nodes]
        third = _number(card, "g3")
        tied = third in ("", _number(card, "k"))
        if card.kind == "pentode" and "cathode" in nodes and not tied and "filament" not in card.pins[third]:
            pins.append(Pin("suppressor", socket.wired.get("suppressor", nodes["cathode"]), third))
        if "screen" not in nodes and card.kind != "triode":
            pins.append(Pin("screen", nodes["plate"], _number(card, "g2")))
        yield Part(
            id=element.name,
            symbol="tube",
            pins=tuple(pins),
            block=element.about.block,
            word=socket.name,
            key=element.about.key,
            lines=(card.type, socket.name),
            elements=(element.name,),
            letter="V",
            also={
                "kind": card.kind,
                "direct": "yes" if card.heater.direct else "",
                "inside": "yes" if card.kind == "pentode" and tied else "",
                "heater": ",".join(heater_pins(card)),
                "volts": value_of(card.heater.volts, "V"),
                "shell": _number(card, "shell"),
                "socket": socket.name,
            },
        )


# --------------------------------------------------------------------------- everything


def parts_of(
    circuit: Circuit, cards: Mapping[str, TubeCard], further: Iterable[Part] = ()
) -> tuple[Part, ...]:
    """Return all parts of a circuit, on its nets; cards: of the tubes by the names of their sockets.

    further: parts that are no elements of it, on its nodes.
    """
    drawn = [e for e in circuit.elements if e.about.nature is Nature.PART and e.kind not in "kf"]
    drawn = [e for e in drawn if not _absent(e)]
    phones = list(_phones(drawn, circuit))
    made = [*further, *_tubes(circuit, drawn, cards), *_pots(drawn), *_coils(circuit, drawn), *phones]
    used = {name for part in made for name in part.elements}
    used |= {e.name for e in drawn if e.kind == "r" and e.about.tolerance == "pot"}
    made += [_single(e) for e in drawn if e.name not in used and len(e.nodes) >= 2]
    nets = _nets(circuit, made)
    return tuple(
        replace(part, pins=tuple(replace(pin, net=nets.of(pin.net)) for pin in part.pins)) for part in made
    )


def _nets(circuit: Circuit, parts: Iterable[Part]) -> Nets:
    """Return the nets of a circuit as a constructor has them."""
    supply = circuit.find_node(Place.SUPPLY)
    nets = Nets(() if supply is None else (supply,))
    shown = {name for part in parts for name in part.elements}
    for e in circuit.elements:
        if e.name not in shown and len(e.nodes) >= 2 and _joins(e):
            nets.join(*_two(e))
    touched = [{pin.net for pin in part.pins} for part in parts]
    series = [
        e for e in circuit.elements
        if e.name not in shown and e.kind in "rl" and e.about.nature is Nature.MODEL and len(e.nodes) == 2
    ]  # fmt: skip
    # where one part alone ends and a model's series resistance leads on, both its sides are one net
    series.sort(key=lambda e: abs(e.value or 0.0))
    while True:
        count: dict[str, int] = {}
        for nodes in touched:
            for net in {nets.of(node) for node in nodes}:
                count[net] = count.get(net, 0) + 1
        lonely = {net for net, n in count.items() if n == 1 and net != GROUND}
        found = next(
            (e for e in series if (lonely & {nets.of(n) for n in e.nodes}) and nets.of(e.nodes[0]) !=
             nets.of(e.nodes[1])), None,
        )  # fmt: skip
        if found is None:
            return nets
        nets.join(*_two(found))
