"""The wires: every net as straight runs on the grid, found by a search that dislikes bends and crossings.

A wire meets a wire of another net only square and in passing; where three runs of one net meet is a dot. Pins
of one net that no way joins, or that stand in different rows of the sheet, get a tag of the same name.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from receiver_sim.circuit.element import GROUND
from receiver_sim.views.schematic.layout import XY, Placed

_STEPS = ((1, 0), (-1, 0), (0, 1), (0, -1))
_BEND, _CROSS, _NEAR, _WORDS = 3.0, 6.0, 1.5, 2.0


@dataclass(frozen=True)
class Ground:
    """A ground sign under a pin or at the end of a wire; way: the direction in which it hangs."""

    at: XY
    way: XY


@dataclass(frozen=True)
class Tag:
    """A name that joins all wires that end in one of it; way: the direction in which its words run."""

    at: XY
    text: str
    way: XY


@dataclass
class Wiring:
    """runs: straight wires by net, end to end; dots: where runs join."""

    runs: list[tuple[str, XY, XY]] = field(default_factory=list)
    dots: list[tuple[str, XY]] = field(default_factory=list)
    grounds: list[Ground] = field(default_factory=list)
    tags: list[Tag] = field(default_factory=list)


class _Board:
    """Who holds which point and which step of the grid."""

    def __init__(self, all_placed: Sequence[Placed], rail: int | None = None) -> None:
        self.body: set[XY] = set()
        self.pin: dict[XY, str] = {}
        self.near: dict[XY, float] = {}
        self.steps: dict[XY, dict[XY, str]] = {}
        for one in all_placed:
            self.body |= one.blocked
            for pin in one.part.pins:
                self.pin[one.pins[pin.name]] = pin.net
            left, low, right, high = one.box
            for x in range(int(left) - 2, int(right) + 3):
                for y in range(int(low) - 1, int(high) + 2):
                    cost = _NEAR if left - 0.8 <= x <= right + 0.8 and low - 0.8 <= y <= high + 0.8 else 0.0
                    self.near[x, y] = max(self.near.get((x, y), 0.0), cost)
            side = one.shape.texts[0]
            for k in range(5):
                dx = {"left": k, "right": -k, "centre": k - 2}[side[2]]
                spot = (round(one.x + side[0] + dx), round(one.y + side[1]))
                self.near[spot] = max(self.near.get(spot, 0.0), _WORDS)
        xs = [x for x, _ in self.body]
        ys = [y for _, y in self.body] + (
            [] if rail is None else [rail]
        )  # a small set lies far below its rail
        self.span = (min(xs) - 5, max(xs) + 8, min(ys) - 5, max(ys) + 6)

    def take(self, net: str, a: XY, b: XY) -> None:
        """Let a net hold the step between two neighbours."""
        self.steps.setdefault(a, {})[b] = net
        self.steps.setdefault(b, {})[a] = net

    def nets_at(self, at: XY) -> set[str]:
        """Return the nets that have a wire through a point."""
        return set(self.steps.get(at, {}).values())

    def crossable(self, at: XY, way: XY, net: str) -> bool:
        """Return whether a net's wire may pass a point straight on: foreign wires there run square to it."""
        across = self.steps.get(at, {})
        sides = {(way[1], way[0]), (-way[1], -way[0])}
        return all(
            one == net or (to[0] - at[0], to[1] - at[1]) in sides for to, one in across.items()
        ) and (not across or len(across) == 2)  # fmt: skip

    def free(self, at: XY, net: str) -> bool:
        """Return whether a wire of a net may end or bend at a point."""
        if at in self.pin:
            return self.pin[at] == net
        return at not in self.body and self.nets_at(at) <= {net}


def _search(board: _Board, net: str, starts: Mapping[XY, Sequence[XY]], goals: set[XY]) -> list[XY] | None:
    """Return the best way from one of `starts` (with the directions to leave it in) to one of `goals`."""
    xs, ys = [x for x, _ in goals], [y for _, y in goals]
    box = (min(xs), max(xs), min(ys), max(ys))

    def left(at: XY) -> float:
        return max(box[0] - at[0], at[0] - box[1], 0) + max(box[2] - at[1], at[1] - box[3], 0)

    queue: list[tuple[float, float, XY, XY]] = []
    best: dict[tuple[XY, XY], float] = {}
    came: dict[tuple[XY, XY], tuple[XY, XY]] = {}
    for at, ways in starts.items():
        for way in ways:
            best[at, way] = 0.0
            heapq.heappush(queue, (left(at), 0.0, at, way))
    while queue:
        _, cost, at, way = heapq.heappop(queue)
        if cost > best[at, way]:
            continue
        if at in goals and cost > 0.0:
            return _back(came, (at, way))
        straight = cost == 0.0 or bool(board.nets_at(at) - {net})
        for step in (way,) if straight else _STEPS:
            if step == (-way[0], -way[1]):
                continue
            to = (at[0] + step[0], at[1] + step[1])
            price = _price(board, net, at, step, goals)
            if price is None:
                continue
            total = cost + price + (_BEND if step != way else 0.0)
            if total < best.get((to, step), 1e9):
                best[to, step] = total
                came[to, step] = (at, way)
                heapq.heappush(queue, (total + left(to), total, to, step))
    return None


def _back(came: Mapping[tuple[XY, XY], tuple[XY, XY]], state: tuple[XY, XY]) -> list[XY]:
    path = [state[0]]
    while state in came:
        state = came[state]
        path.append(state[0])
    return path[::-1]


def _price(board: _Board, net: str, at: XY, step: XY, goals: set[XY]) -> float | None:
    """Return what a step costs, None where a wire of the net may not go."""
    to = (at[0] + step[0], at[1] + step[1])
    low_x, high_x, low_y, high_y = board.span
    if not (low_x <= to[0] <= high_x and low_y <= to[1] <= high_y):
        return None
    if to in board.pin:
        if board.pin[to] != net or to not in goals:
            return None
    elif to in board.body:
        return None
    if board.steps.get(at, {}).get(to, net) != net:
        return None
    price = 1.0 + board.near.get(to, 0.0)
    if board.nets_at(to) - {net}:
        if not board.crossable(to, step, net):
            return None
        price += _CROSS
    return price


@dataclass(frozen=True)
class _End:
    at: XY
    way: XY
    row: int


def wired(all_placed: Sequence[Placed], rail: tuple[str, int] | None = None) -> Wiring:
    """Return the wires of a sheet. rail: net and level of the supply's rail over the first row."""
    board = _Board(all_placed, None if rail is None else rail[1])
    out = Wiring()
    ends: dict[str, list[_End]] = {}
    for one in all_placed:
        for pin in one.part.pins:
            way = one.shape.exits.get(pin.name, (0, 1))
            ends.setdefault(pin.net, []).append(_End(one.pins[pin.name], way, one.row))
    for end in ends.pop(GROUND, []):
        _ground(board, out, end)
    trees: list[tuple[str, list[_End]]] = []
    for net, here in ends.items():
        rows = sorted({e.row for e in here})
        for row in rows:
            trees.append((net, [e for e in here if e.row == row]))
    trees.sort(key=lambda t: (t[0] == (rail or ("",))[0], _extent(t[1])))
    trunks = [t for t in trees if rail is not None and t[0] == rail[0] and t[1][0].row == 0]
    trees = [*trunks, *(t for t in trees if t not in trunks)]
    loose: list[tuple[str, list[set[XY]]]] = []
    for net, here in trees:
        trunk = rail[1] if rail is not None and (net, here) in trunks else None
        loose.append((net, _tree(board, net, here, trunk)))
    _tags(board, out, loose, {e.at: e.way for here in ends.values() for e in here}, rail)
    _prune(board, {*board.pin, *(t.at for t in out.tags), *(g.at for g in out.grounds)})
    _runs(board, out)
    return out


def _extent(here: Sequence[_End]) -> int:
    xs = [e.at[0] for e in here]
    ys = [e.at[1] for e in here]
    return max(xs) - min(xs) + max(ys) - min(ys)


def _ground(board: _Board, out: Wiring, end: _End) -> None:
    """Hang a ground sign from a pin, straight down where that is free, else in the pin's own direction."""
    at = end.at
    way = end.way
    if way[1] > 0:
        way = (1, 0)
    if way[1] == 0:
        side = (at[0] + way[0], at[1])
        board.take(GROUND, at, side)
        board.body.add(side)
        at, way = side, (0, -1)
    out.grounds.append(Ground(at, way))
    for dx in (-1, 0, 1):
        board.body.add((at[0] + dx, at[1] - 1))
        board.near[at[0] + dx, at[1] - 2] = max(board.near.get((at[0] + dx, at[1] - 2), 0.0), 1.0)


def _tree(board: _Board, net: str, here: Sequence[_End], trunk: int | None) -> list[set[XY]]:
    """Join the pins of a net; return the groups that are joined, one if all are."""
    groups: list[tuple[set[XY], dict[XY, Sequence[XY]]]] = []
    for e in here:
        known = next((g for g in groups if e.at in g[0]), None)
        if known is None:
            groups.append(({e.at}, {e.at: (e.way, *_sides(e.way))}))
    if trunk is not None and len(here) > 1:
        _lay(board, net, groups, trunk)
    failed: set[int] = set()
    while len(groups) > 1:
        pairs = sorted(
            (_gap(a[0], b[0]), i, j) for i, a in enumerate(groups) for j, b in enumerate(groups) if i < j
        )
        for _, i, j in pairs:
            path = _search(board, net, groups[i][1], groups[j][0])
            if path is None:
                continue
            _join(board, net, path)
            points, starts = groups[i]
            points |= groups[j][0] | set(path)
            starts |= groups[j][1] | dict.fromkeys(path[1:-1], _STEPS)
            for p in (path[0], path[-1]):
                starts[p] = _STEPS
            starts = {p: w for p, w in starts.items() if not board.nets_at(p) - {net}}
            groups[i] = (
                {p for p in points if not board.nets_at(p) - {net}} | (points & set(board.pin)),
                starts,
            )
            groups.pop(j)
            break
        else:
            failed.add(len(groups))
            break
    return [g[0] for g in groups]


def _sides(way: XY) -> tuple[XY, ...]:
    return ((way[1], way[0]), (-way[1], -way[0]))


def _gap(a: Iterable[XY], b: Iterable[XY]) -> int:
    b = list(b)
    return min(abs(x - u) + abs(y - v) for x, y in a for u, v in b)


def _join(board: _Board, net: str, path: Sequence[XY]) -> None:
    for a, b in itertools.pairwise(path):
        board.take(net, a, b)


def _lay(board: _Board, net: str, groups: list[tuple[set[XY], dict[XY, Sequence[XY]]]], level: int) -> None:
    """Lay the rail of the supply at its level over all pins of its net."""
    xs = sorted(x for points, _ in groups for x, _ in points)
    rail = [(x, level) for x in range(xs[0], xs[-1] + 4)]
    _join(board, net, rail)
    groups[:] = [g for g in groups if not g[0] & set(rail)]
    groups.insert(0, (set(rail), dict.fromkeys(rail, _STEPS)))


def _tags(
    board: _Board,
    out: Wiring,
    loose: Sequence[tuple[str, list[set[XY]]]],
    ways: Mapping[XY, XY],
    rail: tuple[str, int] | None,
) -> None:
    """Give every piece of a net that is in several a tag of the net's name."""
    pieces: dict[str, list[set[XY]]] = {}
    for net, groups in loose:
        pieces.setdefault(net, []).extend(groups)
    letters = iter("ABCDEFGHJKLMNPQSTUVWXYZ")
    for net, groups in pieces.items():
        if len(groups) == 1:  # all joined, or a single pin on which nothing hangs
            continue
        text = "B+" if rail is not None and net == rail[0] else next(letters, net)
        for points in groups:
            out.tags.append(_tag(board, net, points, text, ways))


def _tag(board: _Board, net: str, points: set[XY], text: str, ways: Mapping[XY, XY]) -> Tag:
    """Return a tag at the end of a short wire from a piece of a net, where there is room."""
    for at in sorted((p for p in points if board.nets_at(p) <= {net}), key=lambda p: (-p[0], -p[1])):
        for way in (ways.get(at, (1, 0)), (1, 0), (0, 1), (-1, 0)):
            room = [(at[0] + k * way[0], at[1] + k * way[1]) for k in range(1, 4)]
            if all(p not in board.body and p not in board.pin and not board.steps.get(p) for p in room):
                board.take(net, at, room[0])
                board.body.update(room)
                return Tag(room[0], text, way)
    at = max(points)
    return Tag(at, text, (1, 0))


def _prune(board: _Board, kept: set[XY]) -> None:
    """Take away wire that ends nowhere: what is left of the rail beyond the last wire that comes to it."""
    ends = [at for at, steps in board.steps.items() if len(steps) == 1 and at not in kept]
    while ends:
        at = ends.pop()
        steps = board.steps.pop(at, {})
        for to in steps:
            board.steps[to].pop(at)
            if len(board.steps[to]) == 1 and to not in kept:
                ends.append(to)


def _runs(board: _Board, out: Wiring) -> None:
    """Gather the steps of each net into straight runs, with a dot wherever three of them meet."""
    for way in ((1, 0), (0, 1)):
        for at in sorted(board.steps):
            for to, net in board.steps[at].items():
                if (to[0] - at[0], to[1] - at[1]) != way:
                    continue
                before = (at[0] - way[0], at[1] - way[1])
                if board.steps[at].get(before) == net and not _corner(board, at, net):
                    continue
                end = to
                while True:
                    after = (end[0] + way[0], end[1] + way[1])
                    if board.steps[end].get(after) != net or _corner(board, end, net):
                        break
                    end = after
                out.runs.append((net, at, end))
    for at, steps in sorted(board.steps.items()):
        for net in set(steps.values()):
            meet = sum(1 for one in steps.values() if one == net) + (board.pin.get(at) == net)
            if meet >= 3:
                out.dots.append((net, at))


def _corner(board: _Board, at: XY, net: str) -> bool:
    """Return whether a net has a junction at a point, where a run ends."""
    return sum(1 for one in board.steps[at].values() if one == net) >= 3
