"""Reads the connections of a schematic back from its SVG, by geometry alone.

Wires are the straight strokes of the width of a wire; two of them join where an end of one meets an end of
the other, or where a dot lies on both. Strokes that merely cross do not join. Pins and signs are where the
file says they are.
"""

from __future__ import annotations

import re
from xml.etree import ElementTree as ET

from receiver_sim.views.schematic.render import WIRE

XY = tuple[float, float]
_NEAR = 0.6
"""Points closer than this (pt) are one: a step of the grid is 18 pt, coordinates are printed to 0.1."""


def _at(text: str) -> XY:
    x, y = text.split(",")
    return float(x), float(y)


def _close(a: XY, b: XY) -> bool:
    return abs(a[0] - b[0]) < _NEAR and abs(a[1] - b[1]) < _NEAR


def _on(point: XY, wire: tuple[XY, XY]) -> bool:
    (x, y), ((ax, ay), (bx, by)) = point, wire
    return (
        min(ax, bx) - _NEAR < x < max(ax, bx) + _NEAR and min(ay, by) - _NEAR < y < max(ay, by) + _NEAR
    )  # fmt: skip


class _Sets:
    def __init__(self) -> None:
        self._parent: dict[object, object] = {}

    def of(self, key: object) -> object:
        while self._parent.get(key, key) != key:
            key = self._parent[key]
        return key

    def join(self, a: object, b: object) -> None:
        self._parent[self.of(a)] = self.of(b)


class Read:
    """What an SVG shows: wires, dots, pins by part, signs."""

    def __init__(self, svg: bytes) -> None:
        root = ET.fromstring(svg)
        self.wires: list[tuple[XY, XY]] = []
        self.dots: list[XY] = []
        self.pins: dict[tuple[str, str], XY] = {}
        self.signs: list[tuple[str, XY]] = []
        for one in root.iter():
            tag = one.tag.rpartition("}")[2]
            style = one.get("style", "")
            if tag == "path" and f"stroke-width:{WIRE};" in style:
                points = [_at(p) for p in re.findall(r"-?[\d.]+,-?[\d.]+", one.get("d", ""))]
                # the library breaks a straight line at the middle
                a, b = points[0], points[-1]
                assert all(_on(p, (a, b)) for p in points), f"a wire that is not straight: {points}"
                self.wires.append((a, b))
            elif tag == "circle" and "fill:none" not in style:
                self.dots.append((float(one.get("cx", "")), float(one.get("cy", ""))))
            elif one.get("class") == "part":
                for word in one.get("data-pins", "").split():
                    name, _, at = word.rpartition(":")
                    self.pins[one.get("data-part", ""), name] = _at(at)
            elif one.get("class") == "sign":
                self.signs.append((one.get("data-net", ""), _at(one.get("data-at", ""))))

    def nets(self) -> set[frozenset[tuple[str, str]]]:
        """Return the sets of pins that are joined; ground and each tag join all that hangs on them."""
        sets = _Sets()
        self._join_wires(sets)
        self._join_pins(sets)
        for name, at in self.signs:
            for i, wire in enumerate(self.wires):
                if any(_close(at, end) for end in wire):
                    sets.join(("sign", name), ("wire", i))
        groups: dict[object, set[tuple[str, str]]] = {}
        for key in self.pins:
            groups.setdefault(sets.of(("pin", key)), set()).add(key)
        return {frozenset(group) for group in groups.values()}

    def _join_wires(self, sets: _Sets) -> None:
        for i, one in enumerate(self.wires):
            for j, other in enumerate(self.wires):
                if i == j:
                    continue
                if any(_close(p, q) for p in one for q in other):
                    sets.join(("wire", i), ("wire", j))
                for end in one:
                    if _on(end, other):
                        dotted = any(_close(end, d) for d in self.dots)
                        assert dotted or any(_close(end, p) for p in other), (
                            f"{end}: {one} on {other}, no dot"
                        )
        for dot in self.dots:
            met = [i for i, wire in enumerate(self.wires) if _on(dot, wire)]
            for i in met[1:]:
                sets.join(("wire", met[0]), ("wire", i))

    def _join_pins(self, sets: _Sets) -> None:
        for key, at in self.pins.items():
            dotted = any(_close(at, d) for d in self.dots)
            for i, wire in enumerate(self.wires):
                if any(_close(at, end) for end in wire) or (dotted and _on(at, wire)):
                    sets.join(("pin", key), ("wire", i))
            for other, there in self.pins.items():
                if _close(at, there):
                    sets.join(("pin", key), ("pin", other))
            for name, there in self.signs:
                if _close(at, there):
                    sets.join(("pin", key), ("sign", name))
