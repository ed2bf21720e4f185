"""Reference designators: which parts a circuit is built of, and what a drawing and a parts list call each.

Letters as IEEE Std 315 (clause 22) and IEEE Std 200 have them: C capacitor, E aerial,
HT phones, L coil or choke, PS supply, R resistor or potentiometer, T transformer, V electron tube, VR voltage
regulator (from memory). Numbers run in the order of the signal, aerial to phones, then regulator, supply and
heaters; a part keeps its number on every band and at every setting.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.element import Element, Nature
from receiver_sim.circuit.limits import CONTACT_OHM

_ORDER = (
    "aerial",
    "aerial feeder",
    "aerial coupling",
    "r.f. input",
    "r.f. stage",
    "r.f. plate",
    "coil link",
    "coil",
    "detector",
    "control",
    "load",
    "audio feed",
    "audio coupling",
    "audio filter",
    "volume control",
    "first audio stage",
    "audio stage",
    "output",
    "phones",
    "regulator",
    "supply",
    "rectifier",
    "heater",
)
"""Blocks in the order of the signal. One that is not listed stands with the detector."""


_COIL = re.compile(r"(bands\[\d*\]\.(?:\w+\.)*?\w*coil)\b.*")
"""A coil that is plugged in for a band, with all its windings."""


@dataclass(frozen=True)
class PartGroup:
    """One part as it is bought or wound.

    designator: as 'R1'; key: of the build; word: what the trade calls it; elements: their names in the
    circuit, in its order.
    """

    designator: str
    key: str
    word: str
    elements: tuple[str, ...]

    @property
    def letters(self) -> str:
        """Its class letters."""
        return self.designator.rstrip("0123456789")


@dataclass(frozen=True)
class _Sort:
    """Parts that are several elements, or whose name is not that of their element.

    group: what all elements of one part have in common.
    """

    fits: Callable[[Element, frozenset[str]], bool]
    group: Callable[[Element], str]
    letters: str
    word: str


def _key(element: Element) -> str:
    return element.about.key or ""


def _under(*beginnings: str, kinds: str) -> Callable[[Element, frozenset[str]], bool]:
    """Return a rule: the element's key begins so, and it is of one of these kinds."""
    return lambda e, _: _key(e).startswith(beginnings) and e.kind in kinds


def _wound(beginning: str, *, transformer: bool) -> Callable[[Element, frozenset[str]], bool]:
    """Return a rule: the element is of a choke, or of a transformer, whose key begins so."""
    return lambda e, kinds: (
        _key(e).startswith(beginning)
        and e.kind in "lkef"
        and "l" in kinds
        and bool(kinds & set("kef")) is transformer
    )


def _section(element: Element) -> str:
    """Return the section of the supply's filter that an element stands in."""
    return _key(element).partition("]")[0]


def _beginning(element: Element) -> str:
    """Return what the keys of one choke, transformer or filter section begin with."""
    key = _key(element)
    return _section(element) if key.startswith("supply.filter[") else ".".join(key.split(".")[:2])


_SORTS = (
    _Sort(
        lambda e, _: e.about.block in ("aerial", "aerial feeder") and e.about.nature is not Nature.BENCH,
        lambda _: "aerial",
        "E",
        "aerial",
    ),
    _Sort(
        lambda e, _: _COIL.match(_key(e)) is not None and e.kind in "lk",
        lambda e: re.sub(r"\[\d*\]", "", _COIL.sub(r"\1", _key(e))),
        "L",
        "plug-in coil",
    ),
    _Sort(
        lambda e, kinds: _key(e).startswith("supply.filter[") and e.kind in "rl" and "l" in kinds,
        _section,
        "L",
        "filter choke",
    ),
    _Sort(_under("supply.filter[", kinds="r"), lambda e: e.name, "R", "filter resistor"),
    _Sort(_under("supply.filter[", kinds="c"), lambda e: e.name, "C", "filter capacitor"),
    _Sort(_wound("detector.load", transformer=True), _beginning, "T", "interstage transformer"),
    _Sort(_wound("detector.load", transformer=False), _beginning, "L", "plate-load choke"),
    _Sort(_wound("audio.output", transformer=True), _beginning, "T", "output transformer"),
    _Sort(
        lambda e, _: re.fullmatch(r"phones\[\d*\]", _key(e)) is not None and e.kind in "rl",
        _key,
        "HT",
        "phones",
    ),
    _Sort(_under("supply.secondary", kinds="v"), lambda e: e.name, "T", "mains transformer"),
    _Sort(_under("detector.rf_filter", kinds="c"), lambda e: e.name, "C", "RF filter capacitor"),
    _Sort(lambda e, _: e.kind == "r" and e.about.tolerance == "pot", _key, "R", ""),
)
_LETTERS = {"x": "V", "d": "VR", "r": "R", "c": "C", "l": "L", "v": "PS", "e": "PS", "b": "R", "k": "L"}


def parts_of(circuit: Circuit) -> tuple[PartGroup, ...]:
    """Return the parts of a circuit, in the order of their blocks, aerial to phones and then what feeds them.

    A link in the place of a resistor is no part, nor is a capacitor of 0 pF.
    """
    kinds: dict[str, set[str]] = {}
    for element in circuit.elements:
        kinds.setdefault(_beginning(element), set()).add(element.kind)
    groups: dict[str, tuple[_Sort | None, list[Element]]] = {}
    for element in sorted(circuit.elements, key=_place):
        beside = frozenset(kinds[_beginning(element)])
        sort = next((one for one in _SORTS if one.fits(element, beside)), None)
        if element.about.nature is not Nature.PART and (sort is None or sort.letters != "E"):
            continue
        if _link(element, sort) or (element.kind == "c" and element.value == 0.0):
            continue
        group = element.name if sort is None else f"{sort.letters} {sort.group(element)}"
        groups.setdefault(group, (sort, []))[1].append(element)
    counts: dict[str, int] = {}
    out = []
    for sort, elements in groups.values():
        letters = _LETTERS[elements[0].kind] if sort is None else sort.letters
        counts[letters] = counts.get(letters, 0) + 1
        word = elements[0].about.word if sort is None or not sort.word else sort.word
        names = tuple(e.name for e in elements)
        out.append(PartGroup(f"{letters}{counts[letters]}", _shared_key(elements), word, names))
    return tuple(out)


def designators(circuit: Circuit) -> dict[str, str]:
    """Return the designator of every element that belongs to a part, by the element's name."""
    return {name: part.designator for part in parts_of(circuit) for name in part.elements}


def _place(element: Element) -> int:
    block = element.about.block
    return _ORDER.index(block) if block in _ORDER else _ORDER.index("detector")


def _link(element: Element, sort: _Sort | None) -> bool:
    """Return whether a resistor is a piece of wire; what is less may be one side of a track or a winding."""
    alone = sort is None or sort.word == "filter resistor"
    return alone and element.kind == "r" and (element.value or 0.0) <= CONTACT_OHM


def _shared_key(elements: list[Element]) -> str:
    """Return the key that the elements share, else the beginning they have in common."""
    keys = [key for e in elements if (key := _key(e))]
    shared = min(keys, key=len, default="")
    while shared and not all(k == shared or k.startswith((f"{shared}.", f"{shared}[")) for k in keys):
        shared = shared.rpartition(".")[0]
    return shared


__all__ = ["PartGroup", "designators", "parts_of"]
