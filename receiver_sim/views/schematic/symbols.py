"""The strokes of the symbols the drawing library lacks, or has in another size: made of its segments.

IEEE Std 315-1975 (ANSI Y32.2), from memory: tubes with envelope, heater or filament, cathode, grids as broken
lines, plate; windings as rows of half-circles, iron as two lines beside them.
"""

from __future__ import annotations

import itertools
from typing import Any

import schemdraw.elements as elm
from schemdraw.segments import Segment, SegmentArc, SegmentCircle, SegmentPoly

from receiver_sim.views.schematic.layout import Placed
from receiver_sim.views.schematic.parts import TAP, WIPER
from receiver_sim.views.schematic.shapes import secondary_tops, transformer_height, winding_spans

UNIT = 0.5
"""Units of the drawing library in one step of the grid."""

Point = tuple[float, float]


class Strokes(elm.Element):  # type: ignore[no-untyped-call]
    """An element made of segments that are where they are, in units of the drawing: nothing is turned."""

    def __init__(self, segments: list[Any], **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.segments.extend(segments)
        self.params["theta"] = 0
        self.params["at"] = (0.0, 0.0)


def _line(*points: Point, **style: Any) -> Segment:
    return Segment([(x * UNIT, y * UNIT) for x, y in points], **style)


def _circle(x: float, y: float, r: float, **style: Any) -> SegmentCircle:
    return SegmentCircle((x * UNIT, y * UNIT), r * UNIT, **style)


def _bumps(x: float, top: float, low: float, side: int, count: int) -> list[Any]:
    """Return half-circles down a winding from `top` to `low`, to the left (-1) or the right (+1)."""
    high = (top - low) / count
    out = []
    for k in range(count):
        middle = top - (k + 0.5) * high
        a, b = (90, 270) if side < 0 else (270, 90)
        out.append(
            SegmentArc((x * UNIT, middle * UNIT), width=high * UNIT, height=high * UNIT, theta1=a, theta2=b)
        )
    return out


def tube(one: Placed) -> list[Any]:
    """Return a tube: envelope, heater or filament, cathode, as many grids as it has, plate."""
    x, y, also = one.x, one.y, one.part.also
    grids = {"triode": 1, "tetrode": 2, "pentode": 3}[also["kind"]]
    out: list[Any] = [_circle(x, y, 2.0)]
    out += [_line((x - 0.8, y + 1.5), (x + 0.8, y + 1.5)), _line((x, y + 1.5), (x, y + 3))]
    levels = {1: (-0.2,), 2: (-0.4, 0.5), 3: (-0.5, 0.2, 0.9)}[grids]
    for level in levels:
        out += [_line((x + dx, y + level), (x + dx + 0.36, y + level)) for dx in (-0.9, -0.18, 0.54)]
    pins = {pin.name for pin in one.part.pins}
    out.append(_line((x - 1.1, y + levels[0]), (x - 1.45, y + levels[0]), (x - 1.45, y - 1), (x - 3, y - 1)))
    if grids > 1 and "screen" in pins:
        out.append(_line((x + 1.1, y + levels[1]), (x + 1.35, y + levels[1]), (x + 1.35, y), (x + 3, y)))
    if "suppressor" in pins:
        out.append(
            _line((x + 1.1, y + levels[2]), (x + 1.35, y + levels[2]), (x + 1.35, y + 1), (x + 3, y + 1))
        )
    elif also.get("inside"):
        # tied inside the envelope, past the left ends of the other grids
        out.append(_line((x - 1.1, y + levels[2]), (x - 1.75, y + levels[2]), (x - 1.75, y - 0.75)))
        out.append(_line((x - 1.75, y - 1.25), (x - 1.5, y - 1.6), (x - 1, y - 1.6)))
        out.append(SegmentArc(((x - 1.75) * UNIT, (y - 1.0) * UNIT), width=0.5 * UNIT, height=0.5 * UNIT,
                              theta1=90, theta2=270))  # fmt: skip
    if also.get("direct"):
        out.append(_line((x - 1, y - 3), (x - 1, y - 1.9), (x, y - 0.9), (x + 1, y - 1.7)))
    else:
        out.append(_line((x - 1, y - 3), (x - 1, y - 1.1), (x + 0.9, y - 1.1), (x + 0.9, y - 1.3)))
        out.append(_line((x - 0.3, y - 1.75), (x + 0.1, y - 1.35), (x + 0.5, y - 1.75)))
    return out


def coil(one: Placed) -> list[Any]:
    """Return a plug-in coil: tank, link and tickler side by side, shield and can in broken lines."""
    x, y, out = one.x, one.y, list[Any]()
    for i, (dx, ys) in enumerate(winding_spans(one.part)):
        side = -1 if i == 0 and any(s < 0 for s, _ in winding_spans(one.part)) else 1
        if i:
            side = 1 if dx < 0 else -1
        for top, low in itertools.pairwise(ys):
            out += _bumps(x + dx, y + top, y + low, side, top - low)
        out += [_line((x + dx, y + tap), (x + dx + 1, y + tap)) for tap in ys[1:-1]]
    if "shield" in one.part.also:
        out.append(_line((x - 1, y - 3.4), (x - 1, y - 8.6), ls="--"))
        out += [
            _line((x - 1 - w, y - 8.6 - d), (x - 1 + w, y - 8.6 - d))
            for w, d in ((0.4, 0), (0.25, 0.2), (0.1, 0.4))
        ]
    if "can" in one.part.also:
        out.append(_can(*one.box))
    return out


def _can(left: float, low: float, right: float, high: float) -> SegmentPoly:
    corners = [
        (left - 0.3, low - 0.5),
        (right + 0.3, low - 0.5),
        (right + 0.3, high + 0.5),
        (left - 0.3, high + 0.5),
    ]
    return SegmentPoly([(a * UNIT, b * UNIT) for a, b in corners], ls="--")


def transformer(one: Placed) -> list[Any]:
    """Return an iron-cored transformer."""
    x, y, height = one.x, one.y, transformer_height(one.part)
    out = _bumps(x, y, y - height, 1, height)
    out += [_line((x + c, y), (x + c, y - height)) for c in (1.35, 1.65)]
    for top in secondary_tops(one.part):
        out += _bumps(x + 3, y + top, y + top - 4, -1, 4)
    return out


def winding(one: Placed) -> list[Any]:
    """Return a winding of a mains transformer, with its centre tap if it has one."""
    (x, y), (_, low) = one.pins["a"], one.pins["b"]
    low, y = min(low, y), max(low, y)
    if TAP in one.pins:
        out = [*_bumps(x, y, low, -1, 8), _line((x, y - 4), (x + 1, y - 4))]
    else:
        out = [
            _line((x, y), (x, y - 0.5)),
            _line((x, low + 0.5), (x, low)),
            *_bumps(x, y - 0.5, low + 0.5, -1, 3),
        ]
    return [*out, *(_line((x - c, y - 0.3), (x - c, low + 0.3)) for c in (0.9, 1.15))]


def double_diode(one: Placed) -> list[Any]:
    """Return a rectifier tube with two plates and one cathode."""
    x, y = one.x, one.y
    out: list[Any] = [_circle(x + 3, y - 1, 1.8)]
    out += [_line((x, level), (x + 2.5, level)) for level in (y, y - 2)]
    out += [_line((x + 2.5, level - 0.6), (x + 2.5, level + 0.6)) for level in (y, y - 2)]
    out.append(_line((x + 3.3, y - 0.1), (x + 3.5, y - 0.1), (x + 3.5, y - 1.9), (x + 3.3, y - 1.9)))
    out += [
        _line((x + 3.5, y - 1), (x + 6, y - 1)),
        _line((x + 4.2, y - 0.7), (x + 3.8, y - 0.3), (x + 4.2, y + 0.1)),
    ]
    return out


def headset(one: Placed) -> list[Any]:
    """Return a pair of headphones with their two leads."""
    x, y = one.x, one.y
    out: list[Any] = [_line((x, y), (x + 1.2, y)), _line((x, y - 2), (x + 1.2, y - 2))]
    out.append(_line((x + 1.2, y), (x + 1.6, y - 0.3)))
    out.append(_line((x + 1.2, y - 2), (x + 1.6, y - 1.7)))
    for middle in (0.1, -2.1):
        out.append(SegmentPoly([(a * UNIT, b * UNIT) for a, b in (
            (x + 1.6, y + middle + 0.6), (x + 2.2, y + middle + 0.6), (x + 2.2, y + middle - 0.6),
            (x + 1.6, y + middle - 0.6))]))  # fmt: skip
    out.append(SegmentArc(((x + 2.2) * UNIT, (y - 1) * UNIT), width=3.4 * UNIT, height=2.9 * UNIT, theta1=270,
                          theta2=90))  # fmt: skip
    return out


def aerial(one: Placed) -> list[Any]:
    """Return an aerial on its mast, or a counterpoise as a broken line with its lead."""
    x, y = one.x, one.y
    if one.part.symbol == "counterpoise":
        return [_line((x, y), (x, y + 1.2)), _line((x - 1, y + 1.2), (x + 1, y + 1.2), ls="--")]
    return [
        _line((x, y), (x, y + 3)),
        _line((x, y + 1.6), (x - 1, y + 3)),
        _line((x, y + 1.6), (x + 1, y + 3)),
    ]


def heater(one: Placed) -> list[Any]:
    """Return a heater between its two pins."""
    (x, y) = one.pins["a"]
    return [_line((x, y), (x, y - 1.2), (x + 0.8, y - 2), (x, y - 2.8), (x, y - 4))]


def bulb(one: Placed) -> list[Any]:
    """Return a gas tube or a rectifier tube between its two pins: envelope, plate, cathode."""
    (ax, ay), (bx, by) = one.pins["a"], one.pins["b"]
    cx, cy = (ax + bx) / 2, (ay + by) / 2
    ux, uy = (bx - ax) / 4.0, (by - ay) / 4.0
    out: list[Any] = [_circle(cx, cy, 1.1)]

    def at(along: float, across: float) -> Point:
        return cx + along * ux - across * uy, cy + along * uy + across * ux

    gas = one.part.symbol == "gas tube"
    # of a gas regulator the deck's first node is its cathode, ground
    plate, cathode = (0.5, -0.5) if gas else (-0.5, 0.5)
    for where in (plate,):
        out.append(_line(at(where, -0.6), at(where, 0.6)))
    out.append(_line((ax, ay), at(-0.5, 0)))
    out.append(_line((bx, by), at(0.5, 0)))
    if gas:
        px, py = at(cathode * 0.75, 0)
        out.append(_circle(px, py, 0.16))
        dx, dy = at(-0.25, 0.55)
        out.append(_circle(dx, dy, 0.08, fill=True))
    else:
        out.append(_line(at(cathode, -0.6), at(cathode, 0.6), at(cathode + 0.18, 0.6)))
    return out


def pot(one: Placed) -> list[Any]:
    """Return the wiper of a pot: an arrow to the middle of its track."""
    x, y = one.pins[WIPER]
    inward = 1.4 if x < one.x else -1.4
    return [Segment([(x * UNIT, y * UNIT), ((x + inward) * UNIT, y * UNIT)], arrow="->")]


OWN = {
    "tube": tube, "coil": coil, "iron transformer": transformer, "winding": winding, "headset": headset,
    "aerial": aerial, "counterpoise": aerial, "heater": heater, "gas tube": bulb, "tube diode": bulb,
    "double diode": double_diode,
}  # fmt: skip
"""Symbols of our own, by name."""


def library(one: Placed) -> list[Any]:
    """Return a part of two ends as the drawing library has it, between its pins."""
    ends = [(x * UNIT, y * UNIT) for x, y in (one.pins[p.name] for p in one.part.pins if p.name != WIPER)]
    if one.part.symbol == "battery" and len(ends) == 3:  # tapped in its middle
        top, tap, foot = ends
        middle = (top[0], tap[1])
        cell: Any = elm.Battery  # the library does not type it
        halves = [cell().endpoints(plus, minus) for plus, minus in ((top, middle), (middle, foot))]
        return [*halves, elm.Line().endpoints(middle, tap)]
    kind = {
        "resistor": elm.ResistorIEEE, "pot": elm.ResistorIEEE, "capacitor": elm.Capacitor,
        "electrolytic": elm.Capacitor2, "variable capacitor": elm.CapacitorVar, "diode": elm.Diode,
        "zener": elm.Zener, "battery": elm.Battery, "source": elm.SourceV, "inductor": elm.Inductor2,
        "rf choke": elm.Inductor2, "iron choke": elm.Inductor2,
    }.get(one.part.symbol, elm.ResistorIEC)  # fmt: skip
    more: dict[str, Any] = {}
    if one.part.symbol == "electrolytic":
        more["polar"] = True
    if one.part.symbol == "iron choke":
        more["core"] = 2
    if one.part.symbol == "source":  # the library's has its plus at the end, its battery at the beginning
        ends.reverse()
    return [kind(**more).endpoints(*ends)]
