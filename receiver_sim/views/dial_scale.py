"""A dial's scale to print at its true size: frequency over an arc, one ring a band."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import NamedTuple
from xml.sax.saxutils import escape

import numpy as np
from scipy.interpolate import PchipInterpolator

from receiver_sim.results.bench_sheet import DialScale

RING_MM = 11.0
MOST_MARKS = 14
"""Numbers on a ring at most; the steps between them are 1, 2 or 5 times a power of ten kHz."""

FIGURE_MM, FIGURE_WIDTH, CLEAR_MM = 2.4, 0.62, 0.8
"""Height of the numbers, width of a figure as a part of it (usual sans-serif faces), room between numbers."""


class Stroke(NamedTuple):
    """A line, mm from the centre, y up."""

    x1: float
    y1: float
    x2: float
    y2: float


class Word(NamedTuple):
    """A text with its middle at a point, turned by degrees."""

    x: float
    y: float
    text: str
    turn: float
    size: float


class Scale(NamedTuple):
    """What a scale is drawn of; arcs: (radius mm, start deg, end deg), 90 deg is up."""

    radius: float
    strokes: tuple[Stroke, ...]
    words: tuple[Word, ...]
    arcs: tuple[tuple[float, float, float], ...]


def angle_of(rotation: float, travel: float) -> float:
    """Return the direction (deg, counter-clockwise from the right) of a rotation (0..1): open at the left."""
    return 90.0 + travel * (0.5 - rotation)


def frequency_marks(scale: DialScale) -> list[tuple[float, float, bool]]:
    """Return (kHz, rotation 0..1, whether it bears a number) of the marks of a ring."""
    marks = sorted(scale.marks, key=lambda m: m.frequency_hz)
    khz = np.array([m.frequency_hz for m in marks]) / 1e3
    place = PchipInterpolator(khz, [m.rotation for m in marks])
    span = khz[-1] - khz[0]
    step = next(s for e in range(-1, 6) for m in (1, 2, 5) if span / (s := m * 10.0**e) <= MOST_MARKS)
    fine = step / 5.0
    first = math.ceil(khz[0] / fine - 1e-9)
    last = math.floor(khz[-1] / fine + 1e-9)
    return [(k * fine, float(place(k * fine)), k % 5 == 0) for k in range(first, last + 1)]


def with_room(angles: Mapping[float, float], radius: float) -> list[float]:
    """Return those numbers, each at an angle (deg) on a circle (mm), that can be read beside each other.

    The rounder ones first: at the crowded end of a dial every second or fifth is left.
    """
    step = min((b - a for a, b in pairwise(sorted(angles))), default=1.0)
    kept: list[tuple[float, float]] = []
    out: list[float] = []
    for number in sorted(angles, key=lambda k: (_coarseness(k / step), k)):
        half = 0.5 * (FIGURE_WIDTH * FIGURE_MM * len(f"{number:g}") + CLEAR_MM)
        at = math.radians(angles[number]) * radius
        if all(abs(at - other) >= half + room for other, room in kept):
            kept.append((at, half))
            out.append(number)
    return sorted(out)


def _coarseness(count: float) -> int:
    """Return 0 for every tenth step, 1 for every fifth, 2 for every second, 3 for the rest."""
    whole = round(count)
    return next(rank for rank, every in enumerate((10, 5, 2, 1)) if whole % every == 0)


def scale_drawing(scales: Sequence[DialScale], *, diameter_mm: float) -> Scale:
    """Return the scale of some bands, the first outermost, and a ring of degrees within; sizes in mm."""
    radius = diameter_mm / 2.0
    strokes, words, arcs = [], [], []
    inner = radius
    for ring, scale in enumerate(scales):
        outer = radius - ring * RING_MM
        inner = outer - RING_MM
        if inner < RING_MM:
            break
        ends = angle_of(0.0, scale.travel_deg), angle_of(1.0, scale.travel_deg)
        arcs.append((outer, ends[1], ends[0]))
        words.append(_word(outer - 0.8 * RING_MM, 90.0, scale.band, 2.2))
        marks = frequency_marks(scale)
        for _, rotation, numbered in marks:
            angle = angle_of(rotation, scale.travel_deg)
            strokes.append(_stroke(outer, outer - (4.0 if numbered else 2.0), angle))
        angles = {khz: angle_of(rotation, scale.travel_deg) for khz, rotation, numbered in marks if numbered}
        words += [_word(outer - 5.5, angles[k], f"{k:g}", FIGURE_MM) for k in with_room(angles, outer - 5.5)]
    if scales and inner > 1.5 * RING_MM:
        travel = scales[0].travel_deg
        arcs.append((inner, angle_of(1.0, travel), angle_of(0.0, travel)))
        for degrees in range(0, int(travel) + 1, 5):
            angle = angle_of(degrees / travel, travel)
            long = degrees % 10 == 0
            strokes.append(_stroke(inner, inner - (3.0 if long else 1.5), angle))
            if degrees % 20 == 0:
                words.append(_word(inner - 4.5, angle, f"{degrees}", 2.2))
    strokes += [Stroke(-3.0, 0.0, 3.0, 0.0), Stroke(0.0, -3.0, 0.0, 3.0)]
    return Scale(radius, tuple(strokes), tuple(words), tuple(arcs))


def _stroke(outer: float, inner: float, angle: float) -> Stroke:
    c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    return Stroke(inner * c, inner * s, outer * c, outer * s)


def _word(radius: float, angle: float, text: str, size: float) -> Word:
    c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    return Word(radius * c, radius * s, text, angle - 90.0, size)


def svg(scales: Sequence[DialScale], *, diameter_mm: float) -> str:
    """Return the scale as SVG of true size: its width is stated in millimetres."""
    drawn = scale_drawing(scales, diameter_mm=diameter_mm)
    half = drawn.radius + 4.0
    size = 2.0 * half
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{size:g}mm" height="{size:g}mm" '
        f'viewBox="{-half:g} {-half:g} {size:g} {size:g}" role="img">',
        f"<title>Dial scale, diameter {diameter_mm:g} mm</title>",
        '<g fill="none" stroke="black" stroke-width="0.25">',
    ]
    for radius, start, end in drawn.arcs:
        a, b = math.radians(start), math.radians(end)
        big = 1 if end - start > 180.0 else 0
        lines.append(
            f'<path d="M {radius * math.cos(a):.3f} {-radius * math.sin(a):.3f} A {radius:.3f} {radius:.3f} '
            f'0 {big} 0 {radius * math.cos(b):.3f} {-radius * math.sin(b):.3f}"/>'
        )
    for one in drawn.strokes:
        lines.append(f'<line x1="{one.x1:.3f}" y1="{-one.y1:.3f}" x2="{one.x2:.3f}" y2="{-one.y2:.3f}"/>')
    lines.append('</g><g font-family="sans-serif" text-anchor="middle" fill="black">')
    for word in drawn.words:
        lines.append(
            f'<text x="{word.x:.3f}" y="{-word.y:.3f}" font-size="{word.size:g}" '
            f'transform="rotate({-word.turn:.3f} {word.x:.3f} {-word.y:.3f})">{escape(word.text)}</text>'
        )
    lines.append("</g></svg>")
    return "\n".join(lines) + "\n"


__all__ = ["Scale", "Stroke", "Word", "angle_of", "frequency_marks", "scale_drawing", "svg"]
