"""Which way round a symbol stands and what it is made of: strokes by their place, against IEEE Std 315.

The standard's graphic symbols from memory: the arrow and the bar of a diode, the curved plate of an
electrolytic, broken lines for grids, half-circles for windings.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import pytest
from schemdraw.segments import Segment, SegmentArc, SegmentCircle, SegmentPoly, SegmentText

from receiver_sim import api
from receiver_sim.views.schematic.layout import Placed, placed
from receiver_sim.views.schematic.parts import Part, Pin
from receiver_sim.views.schematic.shapes import shape_of
from receiver_sim.views.schematic.symbols import OWN, UNIT, library, pot
from receiver_sim.views.schematic.whole import parts_of_set

XY = tuple[float, float]
TURNS = ("v", "V", "h", "H")


def part(symbol: str, *pins: str, **given: Any) -> Part:
    nets = {name: f"net {name}" for name in pins}
    return Part("x1", symbol, tuple(Pin(n, nets[n]) for n in pins), "block", "word", **given)


def stand(one: Part, turn: str = "v", x: int = 0, y: int = 0) -> Placed:
    return Placed(one, x, y, turn, 0, shape_of(one, turn))


@dataclass
class Strokes:
    """What a symbol is made of, in steps of the grid: straight strokes, circles, arcs, polygons, letters."""

    lines: list[tuple[XY, XY]]
    dashed: list[tuple[XY, XY]]
    arrows: list[tuple[XY, XY]]
    circles: list[tuple[XY, float, bool]]
    arcs: list[tuple[XY, float]]
    polygons: list[list[XY]]
    letters: list[tuple[XY, str]]


def strokes(one: Placed) -> Strokes:
    """Return the strokes of a part, those of the drawing library put where it draws them."""
    found: list[Any] = []
    if one.part.symbol in OWN:
        found += OWN[one.part.symbol](one)
    else:
        for element in library(one):
            element._place((0, 0), 0)
            found += [segment.xform(element.transform) for segment in element.segments]
    if one.part.symbol == "pot":
        found += pot(one)
    out = Strokes([], [], [], [], [], [], [])
    for segment in found:
        _sort(segment, out)
    return out


def _steps(at: Any) -> XY:
    return float(at[0]) / UNIT, float(at[1]) / UNIT


def _sort(segment: Any, out: Strokes) -> None:
    if isinstance(segment, SegmentText):
        out.letters.append((_steps(segment.xy), segment.text))
    elif isinstance(segment, SegmentArc):
        # the middle of the arc lies half a width from its centre; all of ours are half-circles or flatter
        out.arcs.append((_steps(segment.center), segment.width / UNIT))
    elif isinstance(segment, SegmentCircle):
        out.circles.append((_steps(segment.center), segment.radius / UNIT, bool(segment.fill)))
    elif isinstance(segment, SegmentPoly):
        out.polygons.append([_steps(v) for v in segment.verts])
    elif isinstance(segment, Segment):
        into = out.arrows if segment.arrow else out.dashed if segment.ls == "--" else out.lines
        points = [_steps(p) for p in segment.path]
        into += [
            (a, b)
            for a, b in pairwise(points)
            if not any(math.isnan(v) for v in (*a, *b)) and math.dist(a, b) > 1e-9
        ]


def middle(stroke: tuple[XY, XY]) -> XY:
    (ax, ay), (bx, by) = stroke
    return (ax + bx) / 2.0, (ay + by) / 2.0


def length(stroke: tuple[XY, XY]) -> float:
    return math.dist(*stroke)


def nearer(at: XY, one: Placed, a: str, b: str) -> str:
    """Return which of two pins a place is nearer to."""
    first, second = (math.dist(at, one.pins[name]) for name in (a, b))
    assert abs(first - second) > 0.1, "in the very middle"
    return a if first < second else b


def across(one: Placed, found: Strokes) -> list[tuple[XY, XY]]:
    """Return the strokes at right angles to the way from pin to pin."""
    (ax, ay), (bx, by) = one.pins["a"], one.pins["b"]
    return [
        s
        for s in found.lines
        if abs((s[1][0] - s[0][0]) * (bx - ax) + (s[1][1] - s[0][1]) * (by - ay)) < 1e-6
    ]


# ---------------------------------------------------------------------------- which way round


@pytest.mark.parametrize("turn", ["v", "V", "h", "H"])
def test_plus_of_a_source_stands_at_its_first_pin(turn: str) -> None:
    """The first node of a source in a deck is its positive one (ngspice manual, independent sources)."""
    one = stand(part("source", "a", "b"), turn)
    found = strokes(one)
    signs = [s for s in found.lines if 0.1 < length(s) < 0.6]
    places = [middle(s) for s in signs]
    # two strokes through one point are the plus, one alone is the minus
    (plus,) = {p for n, p in enumerate(places) if any(math.dist(p, q) < 1e-6 for q in places[:n])}
    (minus,) = [p for p in places if math.dist(p, plus) > 0.1]
    assert (nearer(plus, one, "a", "b"), nearer(minus, one, "a", "b")) == ("a", "b")


@pytest.mark.parametrize("turn", TURNS)
def test_plus_and_straight_plate_of_an_electrolytic_stand_at_its_first_pin(turn: str) -> None:
    one = stand(part("electrolytic", "a", "b"), turn)
    found = strokes(one)
    ((sign, text),) = found.letters
    assert text == "+" and nearer(sign, one, "a", "b") == "a"
    (plate,) = [s for s in across(one, found) if length(s) > 0.9]
    assert nearer(middle(plate), one, "a", "b") == "a"
    ((bent, _),) = found.arcs
    assert nearer(bent, one, "a", "b") == "b"


@pytest.mark.parametrize("turn", TURNS)
@pytest.mark.parametrize("symbol", ["diode", "zener"])
def test_a_diode_points_from_its_first_pin_to_its_bar(symbol: str, turn: str) -> None:
    """The first node of a diode in a deck is its anode (ngspice manual)."""
    one = stand(part(symbol, "a", "b"), turn)
    found = strokes(one)
    (triangle,) = found.polygons
    bar = max(across(one, found), key=length)
    assert nearer(middle(bar), one, "a", "b") == "b"
    tips = [p for p in triangle if math.dist(p, middle(bar)) < 1e-6]
    assert len(tips) >= 1 and all(nearer(p, one, "a", "b") == "a" for p in triangle if p not in tips)
    bent = [s for s in found.lines if s not in across(one, found) and length(s) < 0.5]
    assert len(bent) == (2 if symbol == "zener" else 0)


def plate_of(one: Placed, found: Strokes) -> tuple[XY, XY]:
    """Return the plate of a bulb: the one long stroke across that has no bent end."""
    wide = [s for s in across(one, found) if length(s) > 0.9]
    ends = {end for s in found.lines if s not in wide for end in s}
    (plate,) = [s for s in wide if not any(math.dist(e, p) < 1e-6 for e in ends for p in s)]
    return plate


@pytest.mark.parametrize("turn", TURNS)
def test_a_gas_tube_has_its_cathode_at_its_first_pin_and_a_dot_for_its_gas(turn: str) -> None:
    one = stand(part("gas tube", "a", "b"), turn)
    found = strokes(one)
    envelope = max(found.circles, key=lambda c: c[1])
    cathode, dot = sorted((c for c in found.circles if c is not envelope), key=lambda c: -c[1])
    assert nearer(cathode[0], one, "a", "b") == "a" and not cathode[2]
    assert dot[2] and math.dist(dot[0], envelope[0]) < envelope[1]
    assert nearer(middle(plate_of(one, found)), one, "a", "b") == "b"


@pytest.mark.parametrize("turn", TURNS)
def test_a_rectifier_tube_has_its_plate_at_its_first_pin(turn: str) -> None:
    one = stand(part("tube diode", "a", "b"), turn)
    found = strokes(one)
    assert len(found.circles) == 1
    assert nearer(middle(plate_of(one, found)), one, "a", "b") == "a"


def test_regulators_are_drawn_with_their_cathode_where_their_kind_has_it() -> None:
    """A gas tube conducts from the regulated rail to its cathode on ground; a zener works backward, its bar
    on the rail.
    """
    for name, symbol in (("demo", "gas tube"), ("cabin", "zener")):
        (one,) = there(name, symbol)
        found = strokes(one)
        if symbol == "gas tube":
            place = min((c for c in found.circles if not c[2]), key=lambda c: c[1])[0]
            assert one.part.net(nearer(place, one, "a", "b")) == "0"
        else:
            bar = max(across(one, found), key=length)
            assert one.part.net(nearer(middle(bar), one, "a", "b")) == "vreg"


def there(name: str, *symbols: str) -> list[Placed]:
    """Return the parts of a shipped set with one of these symbols, placed and not wired."""
    build = api.shipped_build(name)
    _, parts = parts_of_set(build, api.cards_for(build), build.bands[0])
    return [one for one in placed(parts) if one.part.symbol in symbols]


@pytest.mark.parametrize("name", ["demo", "rf_stage"])
def test_electrolytics_and_sources_have_their_plus_away_from_ground(name: str) -> None:
    """Every electrolytic of these sets lies between a positive rail or a cathode and ground."""
    found = there(name, "electrolytic", "source")
    assert len(found) >= 3
    for one in found:
        assert one.part.net("b") == "0" != one.part.net("a"), one.part.id
        if one.part.symbol == "electrolytic":
            assert nearer(strokes(one).letters[0][0], one, "a", "b") == "a"


# ---------------------------------------------------------------------------- tubes


GRIDS = {"triode": ("grid",), "tetrode": ("grid", "screen"), "pentode": ("grid", "screen", "suppressor")}


def tube(kind: str, **also: str) -> Placed:
    return stand(part("tube", "plate", "cathode", *GRIDS[kind], also={"kind": kind, **also}))


def broken(found: Strokes) -> list[float]:
    """Return the heights of the grids: rows of three short level strokes and a lead, from the cathode up."""
    level = [s for s in found.lines if abs(s[0][1] - s[1][1]) < 1e-9 and length(s) < 0.5]
    heights = [round(s[0][1], 6) for s in level]
    return sorted({h for h in heights if heights.count(h) >= 3})


def joined(found: Strokes, pin: XY) -> list[XY]:
    """Return every end that hangs together with a pin."""
    seen = [(float(pin[0]), float(pin[1]))]
    for place in seen:
        for a, b in found.lines:
            for one, other in ((a, b), (b, a)):
                if math.dist(one, place) < 1e-6 and all(math.dist(other, s) > 1e-6 for s in seen):
                    seen.append(other)
    assert len(seen) > 1, f"nothing is drawn to the pin at {pin}"
    return seen


@pytest.mark.parametrize("kind", list(GRIDS))
def test_a_tube_has_its_grids_in_order_between_cathode_and_plate(kind: str) -> None:
    """Control grid next to the cathode, screen, suppressor next to the plate, each with its own lead."""
    one = tube(kind)
    found = strokes(one)
    heights = broken(found)
    assert len(heights) == len(GRIDS[kind])
    for name, height in zip(GRIDS[kind], heights, strict=True):
        ends = [y for _, y in joined(found, one.pins[name]) if abs(y - one.pins[name][1]) > 1e-6]
        assert height in [pytest.approx(y) for y in ends], name
    plate = max(y for x, y in joined(found, one.pins["plate"]) if y < one.pins["plate"][1])
    cathode = max(y for _, y in joined(found, one.pins["cathode"]))
    assert cathode < heights[0] and heights[-1] < plate
    ((at, radius, _),) = found.circles
    assert at == (0.0, 0.0) and all(abs(h) < radius for h in (cathode, plate))


def test_a_suppressor_tied_inside_is_drawn_to_the_cathode_within_the_envelope() -> None:
    """Its lead comes down at the left and ends on the cathode's, hopping over that of the control grid."""
    pins = ("plate", "cathode", "grid", "screen")
    found = strokes(stand(part("tube", *pins, also={"kind": "pentode", "inside": "yes"})))
    upper = broken(found)[2]
    (hop,) = found.arcs
    down = joined(found, (-1.1, upper))
    assert any(math.dist(end, (hop[0][0], hop[0][1] + hop[1] / 2.0)) < 1e-6 for end in down)
    below = joined(found, (hop[0][0], hop[0][1] - hop[1] / 2.0))
    # it ends on the upright lead of the cathode, at x = -1 between its pin and its top
    assert any(abs(x + 1.0) < 1e-6 and -3.0 < y < -1.1 for x, y in below)
    # the lead of the control grid runs through the hop
    grid = joined(found, (-3.0, -1.0))
    assert min(x for x, _ in grid) < hop[0][0] < max(x for x, _ in grid)
    assert strokes(stand(part("tube", *pins, also={"kind": "pentode"}))).arcs == []


@pytest.mark.parametrize("direct", ["yes", ""])
def test_a_filament_is_its_own_cathode(direct: str) -> None:
    """Of a directly heated tube a bent wire from the pin; else a cathode with a heater's hairpin below it."""
    one = tube("triode", direct=direct)
    found = strokes(one)
    ends = joined(found, one.pins["cathode"])
    level = {(a, b) for a in ends for b in ends if a < b and a[1] == b[1]}
    assert bool(level) == (not direct)  # the cathode's own flat top
    slanted = [s for s in found.lines if s[0][0] != s[1][0] and s[0][1] != s[1][1]]
    apart = [s for s in slanted if s[0] not in ends and s[1] not in ends]
    assert (len(slanted), len(apart)) == ((2, 0) if direct else (2, 2))


@pytest.mark.parametrize("kind", list(GRIDS))
def test_every_pin_of_a_tube_is_drawn_to(kind: str) -> None:
    one = stand(replace(tube(kind).part), x=7, y=-5)
    found = strokes(one)
    for name, pin in one.pins.items():
        assert joined(found, pin), name


# ---------------------------------------------------------------------------- coils, transformers


def test_a_coil_has_a_half_circle_a_step_and_a_lead_at_its_tap() -> None:
    pins = ("w0.0", "w0.1", "w0.2", "w1.0", "w1.1")
    one = stand(part("coil", *pins, windings=(3, 2), also={"w1": "link 2 t"}))
    found = strokes(one)
    own = [a for a, _ in found.arcs if a[0] == one.pins["w0.0"][0]]
    link = [a for a, _ in found.arcs if a[0] == one.pins["w1.0"][0]]
    assert (len(own), len(link)) == (8, 4)  # 8 and 4 steps long
    (lead,) = found.lines
    assert one.pins["w0.1"] in lead and lead[0][1] == lead[1][1]
    assert found.dashed == []


@pytest.mark.parametrize(("words", "side"), [("link 2 t", -1), ("tickler 1 t", 1)])
def test_link_and_tickler_stand_on_either_side_of_the_tank(words: str, side: int) -> None:
    one = stand(part("coil", "w0.0", "w0.1", "w1.0", "w1.1", windings=(2, 2), also={"w1": words}))
    assert math.copysign(1, one.pins["w1.0"][0] - one.pins["w0.0"][0]) == side


def test_a_shield_between_link_and_tank_is_a_broken_line_to_ground() -> None:
    pins = ("w0.0", "w0.1", "w1.0", "w1.1")
    one = stand(part("coil", *pins, windings=(2, 2), also={"w1": "link 2 t", "shield": "w1"}))
    found = strokes(one)
    (screen,) = found.dashed
    assert one.pins["w1.0"][0] < screen[0][0] == screen[1][0] < one.pins["w0.0"][0]
    low = min(y for _, y in screen)
    bars = sorted((s for s in found.lines if s[0][1] == s[1][1]), key=lambda s: -s[0][1])
    # three bars at its foot, each shorter than the one above
    assert [length(b) for b in bars] == sorted((length(b) for b in bars), reverse=True) and len(bars) == 3
    assert bars[0][0][1] == pytest.approx(low)


def test_a_can_stands_about_the_whole_coil() -> None:
    one = stand(part("coil", "w0.0", "w0.1", windings=(2,), also={"can": "shield can"}))
    (box,) = strokes(one).polygons
    left, low, right, high = one.box
    xs, ys = [x for x, _ in box], [y for _, y in box]
    assert min(xs) < left and max(xs) > right and min(ys) < low and max(ys) > high


@pytest.mark.parametrize("secondaries", [1, 2])
def test_a_transformer_has_iron_and_each_of_its_windings(secondaries: int) -> None:
    pins = [f"w{i}.{j}" for i in range(1 + secondaries) for j in (0, 1)]
    one = stand(part("iron transformer", *pins, windings=(2,) * (1 + secondaries)))
    found = strokes(one)
    core = [s for s in found.lines if s[0][0] == s[1][0]]
    primary = [a for a, _ in found.arcs if a[0] == one.pins["w0.0"][0]]
    rest = [a for a, _ in found.arcs if a[0] == one.pins["w1.0"][0]]
    assert len(core) == 2 and len(primary) == 6 * secondaries - 2 and len(rest) == 4 * secondaries
    assert all(one.pins["w0.0"][0] < s[0][0] < one.pins["w1.0"][0] for s in core)
    for i in range(secondaries):
        top, low = one.pins[f"w{i + 1}.0"][1], one.pins[f"w{i + 1}.1"][1]
        assert sum(low < y < top for _, y in rest) == 4


@pytest.mark.parametrize("tapped", [False, True])
def test_a_winding_of_the_mains_transformer_has_a_lead_at_its_middle_if_it_is_tapped(tapped: bool) -> None:
    names = ("a", "tap", "b") if tapped else ("a", "b")
    one = stand(part("winding", *names))
    found = strokes(one)
    level = [s for s in found.lines if s[0][1] == s[1][1]]
    if tapped:
        (lead,) = level
        assert one.pins["tap"] in lead and lead[0][1] == (one.pins["a"][1] + one.pins["b"][1]) / 2.0
    else:
        assert level == []
    # two lines of iron beside it
    iron = [s for s in found.lines if s[0][0] == s[1][0] != one.pins["a"][0]]
    assert len(iron) == 2


def test_chokes_are_told_apart_by_their_iron() -> None:
    """Two lines along an iron choke, none along one of air."""

    def beside(symbol: str) -> int:
        one = stand(part(symbol, "a", "b"))
        upright = [s for s in strokes(one).lines if abs(s[0][0] - s[1][0]) < 1e-6]
        return sum(length(s) > 1.0 and abs(s[0][0] - one.pins["a"][0]) > 0.1 for s in upright)

    assert (beside("iron choke"), beside("rf choke"), beside("inductor")) == (2, 0, 0)


# ---------------------------------------------------------------------------- the rest


@pytest.mark.parametrize("turn", ["v", "h"])
def test_the_wiper_of_a_pot_points_at_its_track(turn: str) -> None:
    one = stand(part("pot", "top", "wiper", "bottom"), turn)
    found = strokes(one)
    ((start, end),) = found.arrows
    assert start == one.pins["wiper"]
    track = one.pins["top"][0]
    assert abs(end[0] - track) < abs(start[0] - track) and end[1] == start[1]
    assert (end[0] - track) * (start[0] - track) > 0.0  # it ends before the track, not beyond


def test_a_variable_capacitor_has_an_arrow_and_a_fixed_one_has_none() -> None:
    assert len(strokes(stand(part("variable capacitor", "a", "b"))).arrows) == 1
    assert strokes(stand(part("capacitor", "a", "b"))).arrows == []


@pytest.mark.parametrize("symbol", ["capacitor", "variable capacitor"])
def test_plates_of_a_plain_capacitor_are_alike(symbol: str) -> None:
    one = stand(part(symbol, "a", "b"))
    plates = [s for s in across(one, strokes(one)) if length(s) > 0.9]
    assert len(plates) == 2 and length(plates[0]) == pytest.approx(length(plates[1]))


@pytest.mark.parametrize("symbol", ["resistor", "pot"])
def test_resistors_are_zigzags(symbol: str) -> None:
    names = ("top", "wiper", "bottom") if symbol == "pot" else ("a", "b")
    slanted = [s for s in strokes(stand(part(symbol, *names))).lines if abs(s[0][0] - s[1][0]) > 0.1]
    assert len(slanted) >= 6


def test_what_has_no_symbol_is_a_box() -> None:
    found = strokes(stand(part("box", "a", "b")))
    slanted = [s for s in found.lines if min(abs(s[0][0] - s[1][0]), abs(s[0][1] - s[1][1])) > 0.05]
    assert slanted == [] and found.arcs == []


def test_a_counterpoise_is_a_broken_line_and_an_aerial_is_not() -> None:
    mast = strokes(stand(part("aerial", "a")))
    second = strokes(stand(part("counterpoise", "a")))
    assert mast.dashed == [] and len(mast.lines) == 3
    assert len(second.dashed) == 1 and len(second.lines) == 1
    for one in (mast, second):
        assert any((0.0, 0.0) in s for s in one.lines)


def test_a_headset_has_two_leads_and_two_shells() -> None:
    one = stand(part("headset", "a", "b"))
    found = strokes(one)
    assert len(found.polygons) == 2 and len(found.arcs) == 1
    for pin in one.pins.values():
        assert joined(found, pin)


def test_a_double_diode_has_two_plates_over_one_cathode() -> None:
    one = stand(part("double diode", "a1", "a2", "k"))
    found = strokes(one)
    upright = [s for s in found.lines if s[0][0] == s[1][0]]
    plates = [s for s in upright if any(abs(middle(s)[1] - one.pins[n][1]) < 1e-6 for n in ("a1", "a2"))]
    assert len(plates) == 2 and len({middle(p)[1] for p in plates}) == 2
    (cathode,) = [s for s in upright if abs(middle(s)[1] - one.pins["k"][1]) < 1e-6]
    assert all(p[0][0] < cathode[0][0] < one.pins["k"][0] for p in plates)
    for name in ("a1", "a2", "k"):
        assert joined(found, one.pins[name]) or name
    assert len(found.circles) == 1


def test_a_heater_is_one_bent_wire_between_its_pins() -> None:
    one = stand(part("heater", "a", "b"))
    found = strokes(one)
    (wire,) = [found.lines]
    assert len(wire) == 4
    assert any(math.dist(p, one.pins["b"]) < 1e-6 for p in joined(found, one.pins["a"]))


@pytest.mark.parametrize("turn", TURNS)
def test_the_long_plate_of_a_battery_stands_at_its_first_pin(turn: str) -> None:
    """The long line is positive, and the first pin of a supply is its plus."""
    one = stand(part("battery", "a", "b"), turn)
    plates = sorted(
        (s for s in across(one, strokes(one)) if length(s) > 0.5),
        key=lambda s: math.dist(middle(s), one.pins["a"]),
    )
    assert length(plates[0]) > length(plates[-1])
