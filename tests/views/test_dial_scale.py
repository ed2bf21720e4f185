"""A dial's scale: each stroke, figure and arc at the place where the pointer finds it, in true size."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from itertools import pairwise
from xml.etree import ElementTree

import pytest

from receiver_sim.results.bench_sheet import DialScale
from receiver_sim.results.coils import DialMark
from receiver_sim.views import dial_scale, printed_pdf
from receiver_sim.views.dial_scale import Scale, Stroke, Word

SVG = "{http://www.w3.org/2000/svg}"
RING = 11.0
"""Width of a ring (mm), as the drawing has it."""


def straight(band: str, low_khz: float, high_khz: float, travel: float = 180.0) -> DialScale:
    """A capacitor whose frequency is linear in rotation: open at its highest."""
    marks = tuple(
        DialMark(r / 8.0, 1e3 * (high_khz - (high_khz - low_khz) * r / 8.0), -1.0) for r in range(9)
    )
    return DialScale(band, "main", travel, marks)


def polar(x: float, y: float) -> tuple[float, float]:
    return math.hypot(x, y), math.degrees(math.atan2(y, x))


def pointer(rotation: float, travel: float) -> float:
    """Where the pointer stands, degrees counter-clockwise from the right: open at the left, half way at the
    top, as on a dial that is turned clockwise to mesh."""
    return 90.0 + travel * (0.5 - rotation)


def named(drawn: Scale, texts: Iterable[str]) -> dict[str, Word]:
    wanted = set(texts)
    return {word.text: word for word in drawn.words if word.text in wanted}


@pytest.mark.parametrize("travel", [180.0, 270.0])
def test_degrees_count_from_open_at_the_left(travel: float) -> None:
    """As the table of the logging scale has them: 0 open, the whole travel meshed, a figure every 20."""
    drawn = dial_scale.scale_drawing([straight("40 m", 7001.0, 7301.0, travel)], diameter_mm=120.0)
    figures = {str(n): n for n in range(0, int(travel) + 1, 20)}
    seen = named(drawn, figures)
    assert seen.keys() == figures.keys()
    for text, word in seen.items():
        radius, angle = polar(word.x, word.y)
        due = pointer(figures[text] / travel, travel)
        assert (angle - due + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=1e-6)
        # on the ring within that of the band
        assert 0.5 * (120.0 / 2.0 - RING) < radius < 120.0 / 2.0 - RING
    if travel == 180.0:
        assert seen["0"].x < 0.0 < seen["180"].x


def strokes_at(drawn: Scale, rim: float) -> list[tuple[float, float]]:
    """Return angle (deg) and length (mm) of the strokes that begin on a circle and point to the centre."""
    found = []
    for one in drawn.strokes:
        (inner, at), (outer, angle) = polar(one.x1, one.y1), polar(one.x2, one.y2)
        if outer == pytest.approx(rim, abs=1e-9) and inner < outer - 0.5:
            assert at == pytest.approx(angle, abs=1e-6)
            found.append((angle % 360.0, outer - inner))
    return found


def test_a_stroke_every_five_degrees_and_a_longer_one_every_ten() -> None:
    drawn = dial_scale.scale_drawing([straight("40 m", 7001.0, 7301.0)], diameter_mm=120.0)
    found = dict(strokes_at(drawn, 60.0 - RING))
    assert sorted(found) == pytest.approx([5.0 * n for n in range(37)], abs=1e-6)
    long = [angle for angle, length in found.items() if length == pytest.approx(3.0)]
    short = [angle for angle, length in found.items() if length == pytest.approx(1.5)]
    assert sorted(long) == pytest.approx([10.0 * n for n in range(19)], abs=1e-6)
    assert len(long) + len(short) == 37


def test_frequencies_stand_at_their_rotation_and_numbered_strokes_are_longer() -> None:
    """7000 to 7300 kHz over 180 degrees: a number at every fifth stroke."""
    drawn = dial_scale.scale_drawing([straight("40 m", 7000.0, 7300.0)], diameter_mm=120.0)
    found = strokes_at(drawn, 60.0)
    angles = sorted(angle for angle, _ in found)
    steps = {round(b - a, 6) for a, b in pairwise(angles)}
    (step,) = steps
    longer = sorted(angle for angle, length in found if length == pytest.approx(4.0))
    shorter = [angle for angle, length in found if length == pytest.approx(2.0)]
    assert len(longer) + len(shorter) == len(found)
    # 180 degrees are 300 kHz; every fifth stroke bears a number
    assert (longer[1] - longer[0]) == pytest.approx(5.0 * step, abs=1e-6)
    numbers = {w.text: w for w in drawn.words if re.fullmatch(r"7\d{3}", w.text)}
    assert len(numbers) > 3
    for text, word in numbers.items():
        _, angle = polar(word.x, word.y)
        rotation = (7300.0 - float(text)) / 300.0
        assert angle == pytest.approx(pointer(rotation, 180.0), abs=1e-3)
        assert min(abs(angle % 360.0 - at) for at in longer) < 1e-3


@pytest.mark.parametrize("span", [17.0, 35.0, 71.0, 140.0, 300.0, 2165.0])
def test_a_ring_has_at_most_fourteen_steps_of_one_two_or_five(span: float) -> None:
    marks = dial_scale.frequency_marks(straight("40 m", 7000.0, 7000.0 + span))
    numbered = [khz for khz, _, bears in marks if bears]
    step = numbered[1] - numbered[0]
    digits = step / 10.0 ** math.floor(math.log10(step) + 1e-9)
    assert round(digits, 6) in (1.0, 2.0, 5.0)
    # the finest such step that leaves no more than fourteen on the ring
    assert span / step <= 14.0
    finer = {1.0: 0.5, 2.0: 0.5, 5.0: 0.4}[round(digits, 6)]
    assert span / (step * finer) > 14.0
    # all of the ring is covered, nothing beyond it
    assert marks[0][0] - 7000.0 < step / 5.0 and 7000.0 + span - marks[-1][0] < step / 5.0
    assert all(0.0 <= rotation <= 1.0 for _, rotation, _ in marks)


def test_rounder_numbers_go_first_where_there_is_no_room_for_all() -> None:
    """Eleven numbers half a degree apart on 50 mm (0.44 mm): of each pair too close the rounder stays."""
    angles = {7000.0 + 10.0 * n: 40.0 + 0.5 * n for n in range(11)}
    assert dial_scale.with_room(angles, 50.0) == [7000.0]  # 4.4 mm in all, less than the width of a number
    wide = {7000.0 + 10.0 * n: 40.0 + 4.0 * n for n in range(11)}
    # 3.5 mm apart, a number of four figures takes 6.0 mm and 0.8 mm of room: every second, tens first
    kept = dial_scale.with_room(wide, 50.0)
    assert {7000.0, 7050.0, 7100.0} <= set(kept) and len(kept) < 11
    at = [math.radians(wide[k]) * 50.0 for k in kept]
    assert min(b - a for a, b in pairwise(at)) > 6.0
    free = {7000.0 + 10.0 * n: 20.0 * n for n in range(5)}
    assert dial_scale.with_room(free, 50.0) == sorted(free)


def test_the_first_band_is_the_outermost_and_each_is_named_at_the_top() -> None:
    bands = [straight("80 m", 3500.0, 3800.0), straight("40 m", 7000.0, 7300.0)]
    drawn = dial_scale.scale_drawing(bands, diameter_mm=150.0)
    seen = named(drawn, ("80 m", "40 m"))
    for number, band in enumerate(("80 m", "40 m")):
        radius, angle = polar(seen[band].x, seen[band].y)
        assert angle == pytest.approx(90.0)
        outer = 75.0 - number * RING
        assert outer - RING < radius < outer
        numbers = [
            w for w in drawn.words if re.fullmatch(r"3[5-8]\d\d" if number == 0 else r"7[0-3]\d\d", w.text)
        ]
        assert numbers
        assert all(outer - RING < math.hypot(w.x, w.y) < outer for w in numbers)
    # an arc for each ring and one for the degrees, all from meshed at the right to open at the left
    assert [radius for radius, _, _ in drawn.arcs] == [75.0, 64.0, 53.0]
    assert all((start, end) == (0.0, 180.0) for _, start, end in drawn.arcs)
    assert drawn.radius == 75.0


def test_an_arc_is_as_long_as_the_dial_turns() -> None:
    drawn = dial_scale.scale_drawing([straight("40 m", 7000.0, 7300.0, 270.0)], diameter_mm=120.0)
    assert drawn.arcs == ((60.0, -45.0, 225.0), (49.0, -45.0, 225.0))


def test_a_band_for_which_the_dial_is_too_small_is_left_out() -> None:
    """Four rings of 11 mm in a radius of 30 mm: the first has room, the second ends within a ring's width of
    the centre."""
    bands = [straight(f"{n} m", 7000.0, 7300.0) for n in (80, 40, 20, 15)]
    drawn = dial_scale.scale_drawing(bands, diameter_mm=60.0)
    assert set(named(drawn, ("80 m", "40 m", "20 m", "15 m"))) == {"80 m"}
    whole = dial_scale.scale_drawing(bands, diameter_mm=200.0)
    assert len(named(whole, ("80 m", "40 m", "20 m", "15 m"))) == 4


def test_the_centre_is_marked_for_the_drill() -> None:
    drawn = dial_scale.scale_drawing([straight("40 m", 7000.0, 7300.0)], diameter_mm=120.0)
    assert {Stroke(-3.0, 0.0, 3.0, 0.0), Stroke(0.0, -3.0, 0.0, 3.0)} <= set(drawn.strokes)


# ---------------------------------------------------------------------- SVG


def picture(travel: float = 180.0, band: str = "40 m") -> tuple[Scale, ElementTree.Element]:
    scales = [straight(band, 7000.0, 7300.0, travel)]
    root = ElementTree.fromstring(dial_scale.svg(scales, diameter_mm=120.0))
    return dial_scale.scale_drawing(scales, diameter_mm=120.0), root


def test_the_svg_has_every_stroke_and_word_with_its_y_axis_down() -> None:
    drawn, root = picture()
    lines = [tuple(float(e.attrib[k]) for k in ("x1", "y1", "x2", "y2")) for e in root.iter(f"{SVG}line")]
    # three decimals of a millimetre
    for line, one in zip(lines, drawn.strokes, strict=True):
        assert line == pytest.approx((one.x1, -one.y1, one.x2, -one.y2), abs=6e-4)
    texts = list(root.iter(f"{SVG}text"))
    for text, word in zip(texts, drawn.words, strict=True):
        assert text.text == word.text
        place = float(text.attrib["x"]), float(text.attrib["y"])
        assert place == pytest.approx((word.x, -word.y), abs=6e-4)
        assert float(text.attrib["font-size"]) == word.size
    title = root.find(f"{SVG}title")
    assert title is not None and title.text == "Dial scale, diameter 120 mm"
    assert root.attrib["width"] == root.attrib["height"] == "128mm"


def test_figures_of_the_svg_stand_with_their_feet_to_the_centre() -> None:
    """A turn by t, y down, takes 'up' (0, -1) to (sin t, -cos t): that points away from the centre."""
    _, root = picture(270.0)
    for text in root.iter(f"{SVG}text"):
        turn, x, y = (float(n) for n in re.findall(r"-?[\d.]+", text.attrib["transform"]))
        assert (x, y) == (float(text.attrib["x"]), float(text.attrib["y"]))
        up = math.sin(math.radians(turn)), -math.cos(math.radians(turn))
        radius = math.hypot(x, y)
        assert up == pytest.approx((x / radius, y / radius), abs=1e-3)


@pytest.mark.parametrize(("travel", "large"), [(160.0, "0"), (270.0, "1")])
def test_an_arc_of_the_svg_goes_over_the_top(travel: float, large: str) -> None:
    """From meshed to open, counter-clockwise (sweep 0, y being down), the long way if it is
    more than half.
    """
    _, root = picture(travel)
    for path in root.iter(f"{SVG}path"):
        command = re.fullmatch(
            r"M (\S+) (\S+) A (\S+) (\S+) 0 (\d) (\d) (\S+) (\S+)", path.attrib["d"]
        )  # fmt: skip
        assert command is not None
        x1, y1, rx, ry, flag, sweep, x2, y2 = command.groups()
        assert (flag, sweep, rx) == (large, "0", ry)
        radius, meshed, opened = float(rx), pointer(1.0, travel), pointer(0.0, travel)
        for (x, y), angle in (((x1, y1), meshed), ((x2, y2), opened)):
            due = radius * math.cos(math.radians(angle)), -radius * math.sin(math.radians(angle))
            assert (float(x), float(y)) == pytest.approx(due, abs=6e-4)


def test_a_strangers_band_is_text_in_the_svg() -> None:
    _, root = picture(band="<i>& 40 m")
    assert "<i>& 40 m" in [text.text for text in root.iter(f"{SVG}text")]


# ---------------------------------------------------------------------- PDF


def test_the_scale_of_the_pdf_has_its_true_size() -> None:
    """72 points to the inch of 25.4 mm, y up, the centre in the middle, 4 mm of margin."""
    drawn = dial_scale.scale_drawing([straight("40 m", 7000.0, 7300.0)], diameter_mm=120.0)
    drawing = printed_pdf._drawing(drawn)
    point = 72.0 / 25.4
    assert (drawing.width, drawing.height) == pytest.approx((128.0 * point, 128.0 * point))
    (inside,) = drawing.contents
    assert inside.transform == pytest.approx((1, 0, 0, 1, 64.0 * point, 64.0 * point))
    arcs, rest = inside.contents[: len(drawn.arcs)], inside.contents[len(drawn.arcs) :]
    assert len(arcs) == 2
    lines, words = rest[: len(drawn.strokes)], rest[len(drawn.strokes) :]
    for line, one in zip(lines, drawn.strokes, strict=True):
        seen = line.x1, line.y1, line.x2, line.y2
        assert seen == pytest.approx([point * v for v in one], abs=1e-9)
    for group, word in zip(words, drawn.words, strict=True):
        (string,) = group.contents
        assert (string.text, string.textAnchor) == (word.text, "middle")
        assert string.fontSize == pytest.approx(word.size * point)
        turn = math.radians(word.turn)
        cos, sin = math.cos(turn), math.sin(turn)
        # a turn about the word's own place (matrix of PDF: a b c d e f)
        assert group.transform == pytest.approx(
            (cos, sin, -sin, cos, word.x * point, word.y * point), abs=1e-9
        )
