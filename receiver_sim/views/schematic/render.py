"""A schematic as a file: SVG by the drawing library itself, PDF and PNG by matplotlib under it."""

from __future__ import annotations

import io
from typing import Any, Literal
from xml.etree import ElementTree as ET

import schemdraw
import schemdraw.elements as elm
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from schemdraw.segments import SegmentText

from receiver_sim.views.schematic.drawing import Schematic
from receiver_sim.views.schematic.purposes import does
from receiver_sim.views.schematic.symbols import OWN, UNIT, Strokes, library, pot

DPI = 110
WIRE, STROKE = 1.2, 1.4
"""Widths of wires and of symbols, points."""
VOLTS_COLOUR = "#1f5fbf"
_ALIGN: dict[str, Literal["left", "right", "center"]] = {"left": "left", "right": "right", "centre": "center"}


def rendered(what: Schematic, form: str = "svg") -> bytes:
    """Return the drawing as the bytes of a file: 'svg', 'pdf' or 'png'."""
    svg = form == "svg"
    colour = "currentColor" if svg else "black"
    drawing = schemdraw.Drawing(canvas="svg" if svg else "matplotlib", show=False)
    drawing.config(
        inches_per_unit=0.25 / UNIT, lw=STROKE, color=colour, font="DejaVu Sans", fontsize=9.0, margin=0.0
    )
    for element in _elements(what, colour):
        drawing.add(element)
    if svg:
        return _marked(drawing.get_imagedata("svg"), what)
    return _by_matplotlib(drawing, what, form)


def _by_matplotlib(drawing: Any, what: Schematic, form: str) -> bytes:
    """Return the drawing as PDF or PNG, a step of the grid a quarter of an inch."""
    left, low, right, high = what.box
    figure = Figure(figsize=((right - left) / 4.0, (high - low) / 4.0), facecolor="white")
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    drawing.draw(show=False, canvas=axes)
    axes.set_xlim(left * UNIT, right * UNIT)
    axes.set_ylim(low * UNIT, high * UNIT)
    axes.set_aspect("equal")
    axes.axis("off")
    buffer = io.BytesIO()
    figure.savefig(buffer, format=form, dpi=DPI, metadata={"Title": what.title})
    return buffer.getvalue()


def _elements(what: Schematic, colour: str) -> list[Any]:
    """Return everything on the sheet as elements of the drawing library."""
    out: list[Any] = []
    for one in what.placed:
        if one.part.symbol in OWN:
            out.append(Strokes(OWN[one.part.symbol](one)))
        else:
            out += library(one)
        if one.part.symbol == "pot":
            out.append(Strokes(pot(one)))
    for _, a, b in what.wiring.runs:
        out.append(elm.Line(lw=WIRE).endpoints((a[0] * UNIT, a[1] * UNIT), (b[0] * UNIT, b[1] * UNIT)))
    for _, at in what.wiring.dots:
        out.append(elm.Dot(radius=0.06).at((at[0] * UNIT, at[1] * UNIT)))
    for ground in what.wiring.grounds:
        out.append(elm.Ground().at((ground.at[0] * UNIT, ground.at[1] * UNIT)).theta(0))
    for tag in what.wiring.tags:
        out.append(elm.Dot(radius=0.07, open=True).at((tag.at[0] * UNIT, tag.at[1] * UNIT)))
    words = []
    for text in what.texts:
        left, low, right, high = text.box
        step = (high - low) / len(text.lines)
        x = {"left": left, "right": right, "centre": (left + right) / 2}[text.align]
        for k, line in enumerate(text.lines):
            y = high - (k + 0.5) * step
            words.append(
                SegmentText(
                    (x * UNIT, y * UNIT),
                    line,
                    align=(_ALIGN[text.align], "center"),
                    fontsize=text.size,
                    color=VOLTS_COLOUR if text.kind == "volts" else colour,
                )
            )
    out.append(Strokes(words))
    return out


def _marked(data: bytes, what: Schematic) -> bytes:
    """Add to the SVG what a reader by hand or by eye of a program asks of it: title, parts, pins, signs."""
    scale = 36.0 * UNIT
    root = ET.fromstring(data)
    space = "{http://www.w3.org/2000/svg}"
    left, low, right, high = what.box
    root.set(
        "viewBox",
        f"{left * scale:.2f} {-high * scale:.2f} {(right - left) * scale:.2f} {(high - low) * scale:.2f}",
    )
    root.set("width", f"{(right - left) * scale:.0f}")
    root.set("height", f"{(high - low) * scale:.0f}")
    root.set("role", "group")  # an image would hide its parts from a screen reader
    title = ET.Element(space + "title")
    title.text = f"Schematic of {what.title}"
    root.insert(0, title)
    layer = ET.SubElement(root, space + "g", {"class": "parts", "fill": "transparent", "stroke": "none"})
    for one in what.placed:
        a, b, c, d = one.box
        pins = " ".join(f"{name}:{x * scale:.1f},{-y * scale:.1f}" for name, (x, y) in one.pins.items())
        group = ET.SubElement(layer, space + "g", {
            "class": "part", "data-part": one.part.id, "data-ref": one.part.ref, "data-pins": pins,
        })  # fmt: skip
        words = ", ".join([f"{one.part.ref} {one.part.word}".strip(), *one.part.lines])
        name = ET.SubElement(group, space + "title")
        name.text = f"{words}. {does(one.part.key, one.part.symbol)}".strip()
        group.set("role", "img")
        group.set("aria-label", name.text)
        ET.SubElement(group, space + "rect", {
            "x": f"{a * scale:.1f}", "y": f"{-d * scale:.1f}", "width": f"{(c - a) * scale:.1f}",
            "height": f"{(d - b) * scale:.1f}",
        })  # fmt: skip
    signs = [(g.at, "ground") for g in what.wiring.grounds] + [(t.at, t.text) for t in what.wiring.tags]
    for (x, y), name_of in signs:
        ET.SubElement(layer, space + "g", {
            "class": "sign", "data-net": name_of, "data-at": f"{x * scale:.1f},{-y * scale:.1f}",
        })  # fmt: skip
    return bytes(ET.tostring(root, encoding="utf-8", xml_declaration=True))
