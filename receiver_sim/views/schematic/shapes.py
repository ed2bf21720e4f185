"""The outline of each symbol on the grid: where its pins are, which points it takes, its body.

One step of the grid is half a unit of the drawing library: a resistor is two steps long with a step of lead
at either end.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from receiver_sim.views.schematic.parts import Part

Offset = tuple[int, int]


@dataclass(frozen=True)
class Shape:
    """pins: by name; blocked: points no wire may use; box: left, bottom, right, top of the body; texts:
    places for words, best first: (x, y, 'left' | 'right' | 'centre', 'up' | 'down' | 'mid'); fixed: it is not
    turned end for end; exits: the way a wire leaves a pin.
    """

    pins: dict[str, Offset]
    blocked: frozenset[Offset]
    box: tuple[float, float, float, float]
    texts: tuple[tuple[float, float, str, str], ...]
    fixed: bool = False
    exits: dict[str, Offset] = field(default_factory=dict)


LENGTH = 4


Texts = tuple[tuple[float, float, str, str], ...]


def _two(turn: str, names: tuple[str, str], half: float = 0.5, fixed: bool = False) -> Shape:
    texts: Texts
    a, b = names if turn in "vh" else names[::-1]
    if turn in "vV":
        pins = {a: (0, 0), b: (0, -LENGTH)}
        blocked = frozenset((0, -k) for k in range(LENGTH + 1))
        texts = (
            (half + 0.35, -2.0, "left", "mid"), (-half - 0.35, -2.0, "right", "mid"),
            (half + 0.35, -1.2, "left", "mid"), (-half - 0.35, -1.2, "right", "mid"),
            (half + 0.35, -2.9, "left", "mid"), (-half - 0.35, -2.9, "right", "mid"),
            (half + 0.35, -0.6, "left", "up"), (-half - 0.35, -0.6, "right", "up"),
            (half + 0.35, -3.4, "left", "down"), (-half - 0.35, -3.4, "right", "down"),
        )  # fmt: skip
        return Shape(pins, blocked, (-half, -3.1, half, -0.9), texts, fixed, {a: (0, 1), b: (0, -1)})
    pins = {a: (0, 0), b: (LENGTH, 0)}
    blocked = frozenset((k, 0) for k in range(LENGTH + 1))
    texts = (
        (2.0, half + 0.35, "centre", "up"), (2.0, -half - 0.35, "centre", "down"),
        (1.0, half + 0.35, "centre", "up"), (3.0, half + 0.35, "centre", "up"),
        (1.0, -half - 0.35, "centre", "down"), (3.0, -half - 0.35, "centre", "down"),
    )  # fmt: skip
    return Shape(pins, blocked, (0.9, -half, 3.1, half), texts, fixed, {a: (-1, 0), b: (1, 0)})


def _pot(turn: str) -> Shape:
    side = -2 if turn == "v" else 2
    pins = {"top": (0, 0), "wiper": (side, -2), "bottom": (0, -LENGTH)}
    blocked = frozenset({(0, -k) for k in range(LENGTH + 1)} | {(side // 2, -2), (side, -2)})
    away = 0.9 if turn == "v" else -0.9
    align = "left" if turn == "v" else "right"
    texts = (
        (away, -2.0, align, "mid"), (away, -1.0, align, "mid"), (away, -3.2, align, "mid"),
        (-away, -0.7, "right" if turn == "v" else "left", "up"),
        (-away, -3.4, "right" if turn == "v" else "left", "down"),
    )  # fmt: skip
    box = (min(side, -0.5) + 0.1 if side < 0 else -0.5, -3.1, 0.5 if side < 0 else side - 0.1, -0.9)
    return Shape(pins, blocked, box, texts, True,
                 {"top": (0, 1), "bottom": (0, -1), "wiper": (side // 2, 0)})  # fmt: skip


def _tube(part: Part) -> Shape:
    all_pins = {
        "plate": (0, 3),
        "grid": (-3, -1),
        "cathode": (-1, -3),
        "screen": (3, 0),
        "suppressor": (3, 1),
    }
    pins = {pin.name: all_pins.get(pin.name, (3, -1)) for pin in part.pins}
    inside = {(x, y) for x in range(-2, 3) for y in range(-2, 3)}
    texts = (
        (-2.1, 2.5, "right", "up"), (2.1, 2.5, "left", "up"), (1.2, -2.5, "left", "down"),
        (2.1, -2.3, "left", "down"), (-2.6, -2.6, "right", "down"), (2.2, 3.6, "left", "up"),
        (-2.2, 3.6, "right", "up"),
    )  # fmt: skip
    exits = {"plate": (0, 1), "grid": (-1, 0), "cathode": (0, -1), "screen": (1, 0), "suppressor": (1, 0)}
    return Shape(pins, frozenset(inside | set(pins.values())), (-2.1, -2.1, 2.1, 2.1), texts, True, exits)


COIL = 8


def winding_spans(part: Part) -> list[tuple[int, tuple[int, ...]]]:
    """Return for each winding of a coil its x and the y of its pins, from the top."""
    out = []
    for i, count in enumerate(part.windings):
        if i == 0:
            ys = (0, -COIL) if count == 2 else (0, *range(-COIL + 3, -COIL + 3 + count - 2), -COIL)
            out.append((0, ys))
        elif "tickler" in part.also.get(f"w{i}", ""):
            out.append((2, (-4, -COIL)))
        else:
            out.append((-2, (-4, -COIL)))
    return out


def _coil(part: Part) -> Shape:
    pins: dict[str, Offset] = {}
    exits: dict[str, Offset] = {}
    blocked = set()
    for i, (x, ys) in enumerate(winding_spans(part)):
        for j, y in enumerate(ys):
            inner = 0 < j < len(ys) - 1
            pins[f"w{i}.{j}"] = (x + 1, y) if inner else (x, y)
            exits[f"w{i}.{j}"] = (1, 0) if inner else (0, 1 if j == 0 else -1)
            blocked.add(pins[f"w{i}.{j}"])
        blocked |= {(x, y) for y in range(ys[-1], ys[0] + 1)}
    xs = [x for x, _ in winding_spans(part)]
    blocked |= {(x, y) for x in range(min(xs), max(xs)) for y in range(-COIL + 1, -3)}
    texts = (
        (1.0, -2.0, "left", "mid"), (-1.0, -1.6, "right", "mid"), (1.0, -1.2, "left", "mid"),
        (min(xs) - 1.0, -6.0, "right", "mid"), (max(xs) + 1.0, -6.6, "left", "mid"),
        (1.0, -8.2, "left", "down"),
    )  # fmt: skip
    return Shape(pins, frozenset(blocked), (min(xs) - 0.6, -COIL, max(xs) + 0.6, 0), texts, True, exits)


def secondary_tops(part: Part) -> list[int]:
    """Return the y of the top of each secondary of a transformer."""
    return [-6 * i for i in range(len(part.windings) - 1)]


def transformer_height(part: Part) -> int:
    """Return the length of a transformer's primary."""
    return 6 * (len(part.windings) - 1) - 2


def _transformer(part: Part) -> Shape:
    height = transformer_height(part)
    pins = {"w0.0": (0, 0), "w0.1": (0, -height)}
    exits = {"w0.0": (-1, 0), "w0.1": (-1, 0)}
    for i, top in enumerate(secondary_tops(part), 1):
        pins |= {f"w{i}.0": (3, top), f"w{i}.1": (3, top - 4)}
        exits |= {f"w{i}.0": (1, 0), f"w{i}.1": (0, -1)}
    blocked = frozenset((x, y) for x in range(4) for y in range(-height, 1))
    texts = (
        (1.5, 0.7, "centre", "up"), (1.5, -height - 0.7, "centre", "down"),
        (-0.8, -height / 2, "right", "mid"), (3.8, -height / 2, "left", "mid"),
    )  # fmt: skip
    return Shape(pins, blocked, (-0.3, -height, 3.3, 0), texts, True, exits)


def _headset() -> Shape:
    blocked = frozenset((x, y) for x in range(5) for y in (0, -1, -2))
    texts = ((2.4, -3.3, "centre", "down"), (2.4, 1.2, "centre", "up"), (4.9, -1.0, "left", "mid"))
    ways = {"a": (-1, 0), "b": (-1, 0)}
    return Shape({"a": (0, 0), "b": (0, -2)}, blocked, (0.5, -3.1, 4.7, 1.0), texts, True, ways)


def _mast() -> Shape:
    texts = ((1.6, 1.6, "left", "mid"), (-1.6, 1.6, "right", "mid"), (0.0, 3.4, "centre", "up"))
    blocked = frozenset((0, y) for y in range(4))
    return Shape({"a": (0, 0)}, blocked, (-1.1, 0.0, 1.1, 3.1), texts, True, {"a": (0, -1)})


def _tapped() -> Shape:
    pins = {"a": (0, 0), "tap": (1, -4), "b": (0, -8)}
    blocked = frozenset({(0, -k) for k in range(9)} | {(1, -4)})
    texts = ((0.8, -1.8, "left", "mid"), (-1.5, -4.0, "right", "mid"), (0.8, -6.4, "left", "mid"))
    ways = {"a": (0, 1), "b": (0, -1), "tap": (1, 0)}
    return Shape(pins, blocked, (-1.2, -8, 0.3, 0), texts, True, ways)


def _double_diode() -> Shape:
    texts = ((3.0, 2.2, "centre", "up"), (3.0, -4.2, "centre", "down"))
    inside = {(x, y) for x in range(2, 5) for y in range(-3, 2)}
    blocked = frozenset(inside | {(0, 0), (1, 0), (0, -2), (1, -2), (5, -1), (6, -1)})
    pins = {"a1": (0, 0), "a2": (0, -2), "k": (6, -1)}
    ways = {"a1": (-1, 0), "a2": (-1, 0), "k": (1, 0)}
    return Shape(pins, blocked, (1.2, -2.8, 4.8, 0.8), texts, True, ways)


_HALF = {
    "gas tube": 1.1, "tube diode": 1.1, "source": 1.1, "heater": 0.85, "winding": 0.7, "battery": 0.8,
    "variable capacitor": 0.9, "iron choke": 1.3,
}  # fmt: skip
"""Half of the width of a body of two ends, where it is not that of a resistor."""


def shape_of(part: Part, turn: str) -> Shape:
    """Return the outline of a part that way: 'v' first pin up, 'h' first pin left, capitals reversed."""
    kind = part.symbol
    of_part = {"tube": _tube, "coil": _coil, "iron transformer": _transformer}
    alone = {"headset": _headset, "aerial": _mast, "counterpoise": _mast, "double diode": _double_diode}
    if kind in of_part:
        return of_part[kind](part)
    if kind in alone:
        return alone[kind]()
    if kind == "pot":
        return _pot(turn)
    if kind in ("winding", "battery") and len(part.pins) == 3:
        return _tapped()
    fixed = kind in ("source", "battery", "heater", "winding")
    return _two(turn, (part.pins[0].name, part.pins[1].name), _HALF.get(kind, 0.55), fixed)
