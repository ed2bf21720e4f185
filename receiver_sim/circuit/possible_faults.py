"""Every single fault that the parts of a circuit can have, as changes of element values.

`testable` gives the circuit with what faults need besides its own elements: a leak across every capacitor and
regulator, a break in every winding, a stray current into every grid, all of them at rest. A fault is then a
set of values for elements of that one circuit; only a few (a pulled tube, swapped pins, a reversed winding)
are circuits of their own.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.designators import PartGroup, parts_of
from receiver_sim.circuit.element import GROUND, Element, Nature, current_source
from receiver_sim.circuit.registry import Cards
from receiver_sim.schema import Band, Build
from receiver_sim.schema.card import TubeCard

OPEN_OHM, OPEN_FARAD, SHORT_OHM, REST_OHM = 1e9, 1e-18, 1e-3, 1e15
"""What open and shorted parts are worth; REST_OHM stands for a leak or break that is not there."""

WEAK = 0.45
"""Emission left to a weak tube, as a share of a new one's (common practice: replace below 60 %)."""

GAS_A = 2e-6
"""Grid current of a gassy tube, out of its grid (receiving tubes are rejected at 1 to 2 uA; from memory)."""

HEATER_LEAK_OHM = 3e4


@dataclass(frozen=True)
class Severity:
    """One size of a fault. values: of elements of the circuit `variant` ('' for the testable one)."""

    words: str
    values: Mapping[str, float]
    variant: str = ""


@dataclass(frozen=True)
class PossibleFault:
    """One fault of one part.

    part: its designator; word: what the trade calls it; fault: key of the table of rates; weight: how often
    it is met; sizes: in which sizes it is tried; hazard: why it can hurt, '' where it can't. plugged: whether
    it goes with the coil that is plugged in, so that other bands are sound.
    """

    part: str
    word: str
    fault: str
    weight: float
    sizes: tuple[Severity, ...]
    hazard: str = ""
    plugged: bool = False

    @property
    def name(self) -> str:
        """Part and fault in words."""
        return f"{self.part} ({self.word}): {self.fault}"


@cache
def rates() -> dict[tuple[str, str], float]:
    """Return how often each fault is met, by kind of part and fault."""
    text = Path(__file__).with_name("fault_rates.csv").read_text(encoding="utf-8")
    rows = csv.reader(line for line in text.splitlines() if line and not line.startswith("#"))
    return {(kind, fault): float(weight) for kind, fault, weight in rows}


def leak(name: str) -> str:
    """Return the element that is the leak across an element."""
    return f"rleak_{name}"


def break_in(name: str) -> str:
    """Return the element that is the break in a winding."""
    return f"rbreak_{name}"


def testable(circuit: Circuit) -> Circuit:
    """Return the circuit with a leak across every capacitor and regulator, a break in every winding, and a
    stray current into every grid, all at rest.
    """
    bought = {name for part in parts_of(circuit) for name in part.elements if part.letters != "E"}
    out: list[Element] = []
    for element in circuit.elements:
        if element.name in bought and element.kind == "l" and element.about.nature is Nature.PART:
            middle = f"xb_{element.name}"
            out.append(element._replace(nodes=(element.nodes[0], middle)))
            out.append(Element(break_in(element.name), (middle, element.nodes[1]), SHORT_OHM))
            continue
        out.append(element)
        if element.name in bought and element.kind in "cd":
            out.append(Element(leak(element.name), element.nodes, REST_OHM))
    for name, socket in circuit.sockets.items():
        out.append(current_source(_gas(name), socket.pins["grid"]))
    return replace(circuit, elements=tuple(out))


def _gas(socket: str) -> str:
    return f"igas_{re.sub(r'[^a-z0-9]', '_', socket)}"


def possible_faults(circuit: Circuit) -> tuple[PossibleFault, ...]:
    """Return every fault tried on the parts of a circuit; names of elements are those of `testable`."""
    out: list[PossibleFault] = []
    for part in parts_of(circuit):
        for kind, fault, sizes in _of(part, circuit):
            weight = rates()[kind, fault]
            plugged, hazard = part.word == "plug-in coil", _hazard(part, fault)
            out.append(PossibleFault(part.designator, part.word, fault, weight, sizes, hazard, plugged))
    return tuple(out)


_Found = Iterator[tuple[str, str, tuple[Severity, ...]]]


def _of(part: PartGroup, circuit: Circuit) -> _Found:
    members = [circuit[name] for name in part.elements]
    if part.letters == "C" and part.key != "tuning":
        yield from _capacitor(members[0], part)
    elif part.letters == "R" and len(members) == 1:
        yield from _resistor(members[0])
    elif part.letters == "R" and not part.key.startswith("heater"):
        yield from _track(members)
    elif part.letters in ("L", "T") and part.key != "supply.secondary.volts":
        yield from _winding(part, members, circuit)
    elif part.letters == "V":
        yield from _tube(members[0], circuit)
    elif part.letters == "VR":
        yield "regulator", "open", (Severity("open", {}, "unlit"),)
        yield "regulator", "short", (Severity("short", {leak(members[0].name): 1.0}),)


def _capacitor(one: Element, part: PartGroup) -> _Found:
    kind = "electrolytic" if one.about.tolerance == "electrolytic" else "capacitor"
    value = one.value or 0.0
    if kind == "electrolytic":
        yield kind, "dry", (Severity("a twentieth left", {one.name: 0.05 * value}),)
    else:
        yield kind, "open", (Severity("open", {one.name: OPEN_FARAD}),)
        yield kind, "off", (Severity("half its value", {one.name: 0.5 * value}),)
    small = value < 2e-9
    leaks = (1e5, 1e6) if small or kind == "capacitor" else (5e3, 5e4)
    said = [Severity(f"leak of {ohm / 1e3:g} kohm", {leak(one.name): ohm}) for ohm in leaks]
    yield kind, "leaky", tuple(said)
    yield kind, "short", (Severity("short", {leak(one.name): SHORT_OHM}),)


def _resistor(one: Element) -> _Found:
    value = one.value or 0.0
    yield "resistor", "open", (Severity("open", {one.name: OPEN_OHM}),)
    yield (
        "resistor",
        "high",
        tuple(Severity(f"{ratio:g} times its value", {one.name: ratio * value}) for ratio in (1.5, 2.5)),
    )
    yield "resistor", "low", (Severity("half its value", {one.name: 0.5 * value}),)
    yield "resistor", "short", (Severity("short", {one.name: SHORT_OHM}),)


def _track(halves: list[Element]) -> _Found:
    upper, lower = halves[0].name, halves[1].name
    yield "pot", "open above", (Severity("track open above the wiper", {upper: OPEN_OHM}),)
    yield "pot", "open below", (Severity("track open below the wiper", {lower: OPEN_OHM}),)
    yield "pot", "wiper off", (Severity("wiper off its track", {upper: OPEN_OHM, lower: OPEN_OHM}),)


def _winding(part: PartGroup, members: list[Element], circuit: Circuit) -> _Found:
    coils = [e for e in members if e.kind == "l"]
    if part.word == "plug-in coil":
        # the break is at the grounded end, where the plug is: of a tapped coil that leaves the cathode open
        yield "coil", "open", (Severity("open", {break_in(coils[-1].name): OPEN_OHM}),)
        tank = [e.name for e in circuit.elements if e.about.word == "losses of the coil"]
        lost = {name: 0.1 * (circuit[name].value or 0.0) for name in tank}
        yield "coil", "shorted turns", (Severity("a turn shorted: a tenth of its Q", lost),)
        if any(e.name == "llow" for e in coils):
            yield "coil", "tap at the wrong end", (Severity("counted from the hot end", {}, "tap"),)
        if any("tickler" in e.about.word for e in members):
            yield "coil", "tickler reversed", (Severity("ends swapped", {}, "tickler"),)
        return
    kind = "iron" if coils[0].about.tolerance == "iron-cored choke" else "coil"
    first = coils[0]
    yield kind, "open", (Severity("open", {break_in(first.name): OPEN_OHM}),)
    if kind == "iron":
        turned = {e.name: 0.05 * (e.value or 0.0) for e in coils}
        yield kind, "shorted turns", (Severity("a twentieth of its inductance", turned),)


def _tube(one: Element, circuit: Circuit) -> _Found:
    name = next(n for n, socket in circuit.sockets.items() if socket.tube == one.name)
    socket = circuit.sockets[name]
    yield "tube", "weak", (Severity(f"{100.0 * WEAK:.0f} % emission", {}, f"weak {name}"),)
    yield "tube", "dead", (Severity("no emission", {}, f"dead {name}"),)
    yield "tube", "gassy", (Severity(f"{GAS_A * 1e6:g} uA of grid current", {_gas(name): GAS_A}),)
    leaks = dict.fromkeys(socket.heater.get("leakage", ()), HEATER_LEAK_OHM)
    if leaks and socket.pins["cathode"] != GROUND:
        sizes = (Severity(f"{HEATER_LEAK_OHM / 1e3:g} kohm", leaks),)
        yield "tube", "heater-cathode leak", sizes
    if "screen" in socket.pins:
        swapped = (Severity("two pins swapped", {}, f"swapped {name}"),)
        yield "tube", "plate and screen swapped", swapped
    yield "tube", "grid lead off", (Severity("grid pin open", {}, f"free grid {name}"),)


def _hazard(part: PartGroup, fault: str) -> str:
    if part.key.startswith("phones[") and part.key.endswith(".capacitor") and fault in ("short", "leaky"):
        return "the headphone lead may stand at plate volts: take the phones off and do not touch the plug"
    if part.key == "supply.bleeder" and fault in ("open", "high"):
        return "the capacitors stay charged after switching off: discharge them by hand before any work"
    if part.key.startswith("phones[") and part.key.endswith(".drain") and fault == "open":
        return "the headphone lead floats up to plate volts once the plug is pulled"
    return ""


def weakened(card: TubeCard, share: float) -> TubeCard:
    """Return a tube's card with its emission, and so every current, a share of what it was."""
    assert card.fit is not None
    old = card.fit.parameters["perveance"]
    parameters = {**card.fit.parameters, "perveance": old.model_copy(update={"value": share * old.value})}
    fit = card.fit.model_copy(update={"parameters": parameters})
    return card.model_copy(update={"fit": fit})


def variant_cards(name: str, cards: Cards) -> Cards:
    """Return the cards that a variant's circuit is made with: of a weak tube, those of one."""
    kind, _, socket = name.partition(" ")
    if kind != "weak":
        return cards
    field = {"r.f.": "rf", "detector": "detector", "audio": "audio", "first audio": "first"}[socket]
    return replace(cards, **{field: weakened(cards.of(socket), WEAK)})


def variant(name: str, build: Build, cards: Cards, *, band: Band, dial_hz: float, rotation: float) -> Circuit:
    """Return a circuit that faults stand in, `testable`, by the name that a `Severity` gives; '' is the sound
    one.
    """
    where: dict[str, Any] = {"band": band, "dial_hz": dial_hz, "rotation": rotation}
    lit = name != "unlit"
    base = testable(receiver_circuit(build, variant_cards(name, cards), regulator_lit=lit, **where))
    if name in ("", "unlit") or name.startswith("weak "):
        return base
    if name == "tap":
        upper, lower = base["lup"].value or 0.0, base["llow"].value or 0.0
        return base.replace({"lup": lower, "llow": upper})
    if name == "tickler":
        # with its ends swapped it is turned round against the tank and against a link of the coil
        turned = [one for one in ("ktick", "kltick") if one in base]
        return base.replace({one: -(base[one].value or 0.0) for one in turned})
    kind = next(k for k in ("dead", "swapped", "free grid") if name.startswith(f"{k} "))
    socket = base.sockets[name.removeprefix(f"{kind} ")]
    tube = base[socket.tube]
    if kind == "dead":
        return base.without([tube.name])
    if kind == "swapped":
        return _with(base, tube._replace(nodes=(tube.nodes[1], tube.nodes[0], *tube.nodes[2:])))
    free = f"xg_{tube.name}"
    nodes = tuple(free if node == socket.pins["grid"] else node for node in tube.nodes)
    stray = Element(f"rfree_{tube.name}", (free, GROUND), OPEN_OHM)
    return _with(base, tube._replace(nodes=nodes)).plus(stray)


def _with(circuit: Circuit, element: Element) -> Circuit:
    changed = tuple(element if e.name == element.name else e for e in circuit.elements)
    return replace(circuit, elements=changed)


__all__ = ["PossibleFault", "Severity", "possible_faults", "testable", "variant", "variant_cards", "weakened"]
