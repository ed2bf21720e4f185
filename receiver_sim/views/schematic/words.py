"""Where the words of a drawing stand: beside their part, over no line, body or other words."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from matplotlib import font_manager, ft2font

from receiver_sim.views.schematic.layout import Placed
from receiver_sim.views.schematic.wires import Wiring

Box = tuple[float, float, float, float]
"""Left, bottom, right, top, in steps of the grid."""

STEP_PT = 18.0
"""Points in one step of the grid."""
SIZE, SMALL = 11.0, 8.5
_LINE = 1.22
"""Height of a line over the size of its letters."""


@dataclass(frozen=True)
class Text:
    """Words on the sheet: their box, the lines, size in points, and what they are ('part', 'pin', 'tag',
    'volts'); of: the part they belong to.
    """

    box: Box
    lines: tuple[str, ...]
    size: float
    kind: str
    align: str = "left"
    of: str = ""


@lru_cache(maxsize=1)
def _font() -> Any:
    font = ft2font.FT2Font(font_manager.findfont("DejaVu Sans", fallback_to_default=True))
    font.set_size(100.0, 72.0)
    return font


@lru_cache(maxsize=4096)
def width_of(text: str, size: float) -> float:
    """Return the width of a line in steps of the grid, in the widest of the fonts the drawing names."""
    font = _font()
    font.set_text(text, 0.0)
    return float(font.get_width_height()[0]) / 64.0 / 100.0 * size / STEP_PT


def size_of(lines: Sequence[str], size: float) -> tuple[float, float]:
    """Return width and height of some lines in steps of the grid."""
    return max(width_of(one, size) for one in lines), len(lines) * size * _LINE / STEP_PT


def boxed(x: float, y: float, align: str, rise: str, lines: Sequence[str], size: float) -> Box:
    """Return the box of lines that stand left, right or centred at x, and up, down or in the middle at y."""
    w, h = size_of(lines, size)
    left = {"left": x, "right": x - w, "centre": x - w / 2}[align]
    low = {"up": y, "down": y - h, "mid": y - h / 2}[rise]
    return left, low, left + w, low + h


def overlap(a: Box, b: Box, room: float = 0.0) -> bool:
    """Return whether two boxes overlap, or come nearer than `room`."""
    return (
        a[0] < b[2] + room and b[0] < a[2] + room and a[1] < b[3] + room and b[1] < a[3] + room
    )  # fmt: skip


class Sheet:
    """What stands on the sheet already, in cells for a quick look."""

    def __init__(self) -> None:
        self._cells: dict[tuple[int, int], list[Box]] = {}

    def add(self, box: Box) -> None:
        """Put a box on the sheet."""
        for key in self._keys(box):
            self._cells.setdefault(key, []).append(box)

    def free(self, box: Box, room: float = 0.12) -> bool:
        """Return whether a box overlaps nothing that is there."""
        return not any(
            overlap(box, other, room) for key in self._keys(box) for other in self._cells.get(key, ())
        )

    @staticmethod
    def _keys(box: Box) -> Iterable[tuple[int, int]]:
        for x in range(int(box[0] // 4), int(box[2] // 4) + 1):
            for y in range(int(box[1] // 4), int(box[3] // 4) + 1):
                yield x, y


def thin(a: tuple[float, float], b: tuple[float, float], half: float = 0.06) -> Box:
    """Return the box of a straight line."""
    return (min(a[0], b[0]) - half, min(a[1], b[1]) - half, max(a[0], b[0]) + half, max(a[1], b[1]) + half)


def occupied(all_placed: Sequence[Placed], wiring: Wiring) -> Sheet:
    """Return a sheet with all bodies, leads, wires and signs on it."""
    sheet = Sheet()
    for one in all_placed:
        sheet.add(one.box)
        for x, y in one.pins.values():
            # the lead from the pin to the body
            left, low, right, high = one.box
            sheet.add(thin((x, y), (min(max(x, left), right), min(max(y, low), high))))
    for _, a, b in wiring.runs:
        sheet.add(thin(a, b))
    for ground in wiring.grounds:
        x, y = ground.at
        sheet.add((x - 0.6, y - 1.3, x + 0.6, y))
    return sheet


def _spots(one: Placed) -> Iterable[tuple[float, float, str, str]]:
    """Yield places for the words of a part: those of its shape, then ever further away."""
    for x, y, align, rise in one.shape.texts:
        yield one.x + x, one.y + y, align, rise
    left, low, right, high = one.box
    middle = (low + high) / 2
    for far in (0.4, 0.8, 1.2, 1.8, 2.4, 3.0, 3.6, 4.4, 5.2, 6.0):
        for shift in (0.0, 1.0, -1.0, 2.0, -2.0, 3.0, -3.0, 4.0, -4.0):
            yield right + far, middle + shift, "left", "mid"
            yield left - far, middle + shift, "right", "mid"
            yield (left + right) / 2 + shift, high + far, "centre", "up"
            yield (left + right) / 2 + shift, low - far, "centre", "down"


Spots = Iterable[tuple[float, float, str, str]]
"""Places for words: x, y, which side of x, which side of y."""


def _put(sheet: Sheet, spots: Spots, lines: tuple[str, ...], size: float, kind: str, of: str) -> Text | None:
    for x, y, align, rise in spots:
        box = boxed(x, y, align, rise, lines, size)
        if sheet.free(box):
            sheet.add(box)
            return Text(box, lines, size, kind, align, of)
    return None


def _around(x: float, y: float) -> Iterable[tuple[float, float, str, str]]:
    for far in (0.2, 0.5, 0.9, 1.4):
        yield x + far, y + 0.2, "left", "up"
        yield x - far, y + 0.2, "right", "up"
        yield x + far, y - 0.2, "left", "down"
        yield x - far, y - 0.2, "right", "down"
        for shift in (0.7, -0.7, 1.4, -1.4):
            yield x + far, y + shift, "left", "mid"
            yield x - far, y + shift, "right", "mid"


def words_for(
    all_placed: Sequence[Placed], wiring: Wiring, volts: dict[tuple[str, str], str] | None = None
) -> tuple[list[Text], Sheet]:
    """Return all words of a drawing. volts: what a meter reads at a pin of a part, by part and pin.

    Raises RuntimeError for words that find no place: a fault of the placer, never left out in silence.
    """
    sheet = occupied(all_placed, wiring)
    out: list[Text] = []

    def put(spots: Iterable[tuple[float, float, str, str]], lines: tuple[str, ...], size: float, kind: str,
            of: str) -> None:  # fmt: skip
        take(_put(sheet, spots, lines, size, kind, of), lines, of)

    def take(text: Text | None, lines: tuple[str, ...], of: str) -> None:
        if text is None:
            raise RuntimeError(f"the drawing has no room for {lines} of {of}")
        out.append(text)

    for tag in wiring.tags:
        x, y = tag.at
        dx, dy = tag.way
        align = "left" if dx > 0 else "right" if dx < 0 else "centre"
        spot = (x + 0.55 * dx, y + 0.55 * dy, align, "up" if dy > 0 else "down" if dy < 0 else "mid")
        put([spot, *_around(x, y)], (tag.text,), SIZE, "tag", tag.text)
    for one in all_placed:
        for pin in one.part.pins:
            if pin.number:
                x, y = one.pins[pin.name]
                put(_around(*_toward(one, x, y)), (pin.number,), SMALL, "pin", one.part.ref)
    for one in sorted(all_placed, key=lambda p: p.part.symbol != "tube"):
        lines = tuple(t for t in (one.part.ref, *one.part.lines) if t)
        if lines:
            put(_spots(one), lines, SIZE, "part", one.part.ref)
    for one in all_placed:
        for name, text in one.part.also.items():
            if name in ("tap", "can") or (name[0] == "w" and name[1:].isdigit()):
                put(_spots_of(one, name), (text,), SMALL, "winding", one.part.ref)
        for pin in one.part.pins:
            read = (volts or {}).get((one.part.id, pin.name))
            if read:
                take(_reading(sheet, one, pin.name, read), (read,), one.part.ref)
    return out, sheet


def _reading(sheet: Sheet, one: Placed, pin: str, read: str) -> Text | None:
    """Put a meter's reading beside its pin, or further away, where it says which pin it is of."""
    beside = _put(sheet, _around(*one.pins[pin]), (read,), SIZE, "volts", one.part.ref)
    return beside or _put(sheet, _spots(one), (f"{pin} {read}",), SIZE, "volts", one.part.ref)


def _toward(one: Placed, x: float, y: float) -> tuple[float, float]:
    """Return a point on a pin's lead, near the body."""
    left, low, right, high = one.box
    return min(max(x, left - 0.4), right + 0.4), min(max(y, low - 0.4), high + 0.4)


def _spots_of(one: Placed, name: str) -> Iterable[tuple[float, float, str, str]]:
    """Yield places for the words of a winding, a tap or a can."""
    if name == "can":
        x, y = one.box[0], one.box[3]
        yield from ((x - 0.3, y + 0.6, "left", "up"), (x - 0.3, y + 1.4, "left", "up"))
    elif name == "tap":
        pin = next((p for p in one.pins if p == "w0.1"), "w0.0")
        yield from _around(*one.pins[pin])
    else:
        ends = [xy for p, xy in one.pins.items() if p.startswith(name + ".")]
        x = ends[0][0]
        y = (ends[0][1] + ends[-1][1]) / 2
        out = one.box[2] if x > one.x else one.box[0]
        side = "left" if x > one.x else "right"
        for far in (0.3, 0.8, 1.4, 2.0):
            for shift in (0.0, 0.8, -0.8, 1.6, -1.6, 2.4, -2.4, 3.2, -3.2):
                yield out + (far if side == "left" else -far), y + shift, side, "mid"
    yield from _spots(one)
