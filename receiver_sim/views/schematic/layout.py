"""Where each part stands: by the description of its form, else by the general placer."""

from __future__ import annotations

import fnmatch
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from receiver_sim.circuit.element import GROUND
from receiver_sim.views.schematic.forms import FURTHER, ROWS, Column, Spot
from receiver_sim.views.schematic.parts import Part
from receiver_sim.views.schematic.shapes import Shape, shape_of

XY = tuple[int, int]


@dataclass(frozen=True)
class Placed:
    """A part on the sheet: where its origin is, how it is turned, and the shape that follows."""

    part: Part
    x: int
    y: int
    turn: str
    row: int
    shape: Shape

    @property
    def pins(self) -> dict[str, XY]:
        """Where its pins are on the sheet."""
        return {name: (self.x + dx, self.y + dy) for name, (dx, dy) in self.shape.pins.items()}

    @property
    def blocked(self) -> set[XY]:
        """Grid points no wire may use."""
        return {(self.x + dx, self.y + dy) for dx, dy in self.shape.blocked}

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Its body: left, bottom, right, top."""
        a, b, c, d = self.shape.box
        return self.x + a, self.y + b, self.x + c, self.y + d


def placed(parts: Sequence[Part]) -> list[Placed]:
    """Return all parts on the sheet, those of no description in a row of their own."""
    left = {part.id: part for part in parts}
    present = dict(left)
    out: list[Placed] = []
    for index, row in enumerate(ROWS):
        out += _row(row, index, left, present)
    out += _further(list(left.values()), len(ROWS))
    return _turned(out)


def _row(
    columns: Iterable[Column], row: int, left: dict[str, Part], present: dict[str, Part]
) -> list[Placed]:
    x, out = 0, []
    for column in columns:
        here = []
        for spot in column.spots:
            nth = 0
            for name in [n for n in left if fnmatch.fnmatchcase(n, spot.glob)]:
                if spot.when and not _fits(left[name], spot, present):
                    continue
                here.append(_put(left.pop(name), spot, x, row, nth))
                nth += 1
        if here:
            x += column.width + column.repeat * (len(here) - 1 if column.repeat else 0)
        out += here
    return out


def _fits(part: Part, spot: Spot, present: dict[str, Part]) -> bool:
    if spot.when.startswith("without "):
        return spot.when[8:] not in present
    if spot.when.startswith("with "):
        return spot.when[5:] in present
    nets = {pin.net for pin in part.pins}
    if spot.when.startswith("meets "):
        others = [
            p for n, p in present.items() if any(fnmatch.fnmatchcase(n, g) for g in spot.when[6:].split(","))
        ]
        return any(pin.net in nets and pin.net != GROUND for other in others for pin in other.pins)
    return (GROUND in nets) == (spot.when == "grounded")


def _put(part: Part, spot: Spot, x: int, row: int, nth: int) -> Placed:
    shape = shape_of(part, spot.turn)
    if part.symbol == "double diode":
        return Placed(part, x + spot.dx, spot.y - 3, spot.turn, row, shape)
    return Placed(part, x + spot.dx + nth * spot.step[0], spot.y + nth * spot.step[1], spot.turn, row, shape)


def _further(parts: Sequence[Part], row: int) -> list[Placed]:
    """Place parts that no description speaks of, one beside the other."""
    x, out = 4, []
    for part in parts:
        turn = "v"
        shape = shape_of(part, turn)
        x -= int(shape.box[0]) - 1
        out.append(Placed(part, x, FURTHER, turn, row, shape))
        x += int(shape.box[2]) + 9
    return out


def _turned(all_placed: list[Placed]) -> list[Placed]:
    """Turn parts of two pins end for end where that shortens the way, ground always downward."""
    out = list(all_placed)
    for i, one in enumerate(out):
        pins = one.part.pins
        if len(pins) != 2 or one.turn not in ("v", "h") or one.shape.fixed:
            continue
        other = replace(one, turn=one.turn.upper(), shape=shape_of(one.part, one.turn.upper()))
        if one.turn == "v" and GROUND in (pins[0].net, pins[1].net):
            wrong = pins[0].net == GROUND
        else:
            wrong = _way(other, out, i) < _way(one, out, i)
        if wrong:
            out[i] = other
    return out


def _beside(one: Part, other: Part) -> bool:
    """Return whether a part lies in parallel with another."""
    return len(other.pins) == 2 and {p.net for p in one.pins} == {p.net for p in other.pins}


def _way(one: Placed, others: list[Placed], skip: int) -> int:
    """Return how far the pins of a part are from the nearest pins of their nets, in all."""
    total = 0
    for pin in one.part.pins:
        x, y = one.pins[pin.name]
        far = [
            abs(x - px) + abs(y - py)
            for j, other in enumerate(others)
            if j != skip and other.row == one.row and not _beside(one.part, other.part)
            for p in other.part.pins
            if p.net == pin.net
            for px, py in [other.pins[p.name]]
        ]
        total += min(far, default=0)
    return total
