"""A sheet as PDF. Cautions stand first."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any
from xml.sax.saxutils import escape

from reportlab.graphics.shapes import ArcPath, Drawing, Group, Line, String
from reportlab.lib.pagesizes import A4, landscape
from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import PageBreak, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

from receiver_sim.views.dial_scale import Scale
from receiver_sim.views.printed_page import heading
from receiver_sim.views.sheet import Grid, Note, Sheet, clean

_MM = 72.0 / 25.4
"""Points of a PDF to a millimetre."""

_MARGIN = 12.0 * _MM


def pdf(sheet: Sheet, scales: Sequence[tuple[str, Scale]] = ()) -> bytes:
    """Return the page as PDF, A4 on its side, dial scales of true size at the end."""
    styles = _styles()
    size = landscape(A4)
    room = size[0] - 2.0 * _MARGIN
    story: list[Any] = [Paragraph(_safe(sheet.title), styles["title"])]
    story += [Paragraph(f"! {_safe(text)}", styles["caution"]) for text in sheet.all_cautions()]
    for section in sheet.sections:
        story.append(Paragraph(_safe(section.heading), styles["heading"]))
        for part in section.parts:
            if isinstance(part, Note):
                story.append(Paragraph(_safe(f"{part.mark.strip()} {part.text}"), styles["text"]))
            else:
                story += [_table(part, columns, room, styles) for columns in _pieces(part, room)]
            story.append(Spacer(1, 4))
    for words, scale in scales:
        story += [PageBreak(), Paragraph(_safe(words), styles["text"]), _drawing(scale)]
    out = io.BytesIO()
    SimpleDocTemplate(
        out, pagesize=size, title=sheet.title, author="receiver-sim",
        leftMargin=_MARGIN, rightMargin=_MARGIN, topMargin=_MARGIN, bottomMargin=_MARGIN,
    ).build(story)  # fmt: skip
    return out.getvalue()


def _styles() -> dict[str, Any]:
    plain = {"fontName": "Helvetica", "fontSize": 8, "leading": 10}
    bold = {**plain, "fontName": "Helvetica-Bold"}
    return {
        "text": ParagraphStyle("text", **plain),
        "cell": ParagraphStyle("cell", **{**plain, "fontSize": 7, "leading": 8.5}),
        "head": ParagraphStyle("head", **{**bold, "fontSize": 7, "leading": 8.5}),
        "caution": ParagraphStyle("caution", **bold, textColor="#990000"),
        "title": ParagraphStyle("title", **{**bold, "fontSize": 14, "leading": 20}),
        "heading": ParagraphStyle("heading", **{**bold, "fontSize": 11, "leading": 16}, keepWithNext=True),
    }


def _safe(text: str) -> str:
    return escape(clean(text).encode("latin-1", errors="replace").decode("latin-1"))


def _widths(grid: Grid) -> list[float]:
    """Return the width (points) each column asks for: its longest word at least, more for long texts."""
    out = []
    for number, column in enumerate(grid.columns):
        texts = [*column.heading.split("\n"), *(row[number] for row in grid.rows)]
        word = max((len(w) for text in texts for w in text.split()), default=1)
        longest = max((len(text) for text in texts), default=1)
        wanted = longest if column.align == "right" else max(word, min(longest, 46))
        out.append(3.9 * wanted + 8.0)
    return out


def _pieces(grid: Grid, room: float) -> list[list[int]]:
    """Return the columns of each table that a wide grid is set in; each begins with its first ones."""
    widths = _widths(grid)
    head = list(range(min(grid.repeat, len(widths))))
    if sum(widths) <= 1.35 * room:
        return [list(range(len(widths)))]
    pieces, used = [list(head)], sum(widths[c] for c in head)
    for column in range(len(head), len(widths)):
        if used + widths[column] > room and len(pieces[-1]) > len(head):
            pieces.append(list(head))
            used = sum(widths[c] for c in head)
        pieces[-1].append(column)
        used += widths[column]
    return pieces


def _table(grid: Grid, columns: list[int], room: float, styles: dict[str, Any]) -> Any:
    asked = _widths(grid)
    whole = sum(asked[c] for c in columns)
    widths = [asked[c] * min(1.0, room / whole) for c in columns]
    head = [Paragraph(_safe(heading(grid.columns[c])), styles["head"]) for c in columns]
    rows = [[Paragraph(_safe(row[c]), styles["cell"]) for c in columns] for row in grid.rows]
    table = Table([head, *rows], colWidths=widths, repeatRows=1, hAlign="LEFT")
    table.setStyle(
        TableStyle(
            [
                ("GRID", (0, 0), (-1, -1), 0.4, "#999999"),
                ("BACKGROUND", (0, 0), (-1, 0), "#eeeeee"),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("TOPPADDING", (0, 0), (-1, -1), 1.5),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5),
                *(
                    ("TEXTCOLOR", (0, i + 1), (-1, i + 1), "#990000")
                    for i, style in enumerate(grid.styles)
                    if style
                ),
            ]
        )
    )
    return table


def _drawing(scale: Scale) -> Any:
    """Return a dial scale of true size."""
    half = (scale.radius + 4.0) * _MM
    drawing = Drawing(2.0 * half, 2.0 * half)
    inside = Group(transform=(1, 0, 0, 1, half, half))
    for radius, start, end in scale.arcs:
        arc = ArcPath(strokeWidth=0.6, fillColor=None)
        arc.addArc(0.0, 0.0, radius * _MM, start, end)
        inside.add(arc)
    for one in scale.strokes:
        inside.add(Line(one.x1 * _MM, one.y1 * _MM, one.x2 * _MM, one.y2 * _MM, strokeWidth=0.6))
    for word in scale.words:
        turned = Group(String(0, 0, _safe(word.text), fontSize=word.size * _MM, textAnchor="middle"))
        turned.translate(word.x * _MM, word.y * _MM)
        turned.rotate(word.turn)
        inside.add(turned)
    drawing.add(inside)
    return drawing


__all__ = ["pdf"]
