"""A sheet as PDF. Cautions stand first."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any, NamedTuple
from xml.sax.saxutils import escape

from reportlab.graphics.shapes import ArcPath, Drawing, Group, Line, String
from reportlab.lib.pagesizes import A4, landscape
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.platypus import PageBreak, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

from receiver_sim.views.dial_scale import Scale
from receiver_sim.views.printed_page import heading
from receiver_sim.views.sheet import Grid, Note, Sheet, clean

_MM = 72.0 / 25.4
"""Points of a PDF to a millimetre."""

_MARGIN = 12.0 * _MM

_CELL, _PADDING = 7.0, 12.5
"""Size of the letters of a table, and what a cell keeps free beside them: 6 each side, and a little for
rounding (points)."""

_WORDS = 46
"""Letters that a column of long texts asks for; what is longer folds."""

_RED = "#990000"


def pdf(sheet: Sheet, scales: Sequence[tuple[str, Scale]] = ()) -> bytes:
    """Return the page as PDF, A4 on its side, dial scales of true size at the end."""
    styles = _styles()
    size = landscape(A4)
    room = size[0] - 2.0 * (_MARGIN + 6.0)  # the frame of a page keeps 6 free inside its margins
    story: list[Any] = [Paragraph(_safe(sheet.title), styles["title"])]
    story += [Paragraph(f"! {_safe(text)}", styles["caution"]) for text in sheet.all_cautions()]
    for section in sheet.sections:
        story.append(Paragraph(_safe(section.heading), styles["heading"]))
        for part in section.parts:
            if isinstance(part, Note):
                story.append(Paragraph(_safe(f"{part.mark.strip()} {part.text}"), styles["text"]))
            else:
                widths = _widths(part, room)
                pieces = _pieces(widths, min(part.repeat, len(widths)), room)
                story += [_table(part, columns, _fitted(widths, columns, room), styles) for columns in pieces]
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
    small = {"fontSize": _CELL, "leading": 8.5}
    return {
        "text": ParagraphStyle("text", **plain),
        "cell": ParagraphStyle("cell", **{**plain, **small}),
        "red": ParagraphStyle("red", **{**plain, **small}, textColor=_RED),
        "head": ParagraphStyle("head", **{**bold, **small}),
        "caution": ParagraphStyle("caution", **bold, textColor=_RED),
        "title": ParagraphStyle("title", **{**bold, "fontSize": 14, "leading": 20}),
        "heading": ParagraphStyle("heading", **{**bold, "fontSize": 11, "leading": 16}, keepWithNext=True),
    }


def _drawn(text: str) -> str:
    """Return a text as it is shown: Helvetica has Latin-1."""
    return clean(text).encode("latin-1", errors="replace").decode("latin-1")


def _safe(text: str) -> str:
    return escape(_drawn(text))


def _needs(grid: Grid, number: int) -> float:
    """Return the width (points) that breaks neither a figure nor a word of a column."""
    column, head = grid.columns[number], _drawn(heading(grid.columns[number]))
    cells = [_drawn(row[number]) for row in grid.rows]
    pieces = cells if column.align == "right" else [word for cell in cells for word in cell.split()]
    words = [stringWidth(word, "Helvetica-Bold", _CELL) for word in head.split()]
    words += [stringWidth(piece, "Helvetica", _CELL) for piece in pieces]
    return max(words, default=0.0) + _PADDING


class _Width(NamedTuple):
    """Points that a column needs, and that it asks for: more for long texts."""

    least: float
    asked: float


def _widths(grid: Grid, room: float) -> list[_Width]:
    """Return the width of each column.

    A word or figure wider than the page is broken after all, so that the first columns and any other fit
    side by side.
    """
    first = min(grid.repeat, len(grid.columns))
    needs = [_needs(grid, number) for number in range(len(grid.columns))]
    head = [min(width, room / (first + 1)) for width in needs[:first]]
    least = head + [min(width, room - sum(head)) for width in needs[first:]]
    out = []
    for number, (column, small) in enumerate(zip(grid.columns, least, strict=True)):
        texts = [*column.heading.split("\n"), *(row[number] for row in grid.rows)]
        longest = max(len(text) for text in texts)
        out.append(_Width(small, max(small, 3.9 * min(longest, _WORDS) + _PADDING)))
    return out


def _pieces(widths: Sequence[_Width], first: int, room: float) -> list[list[int]]:
    """Return the columns of each table that a wide grid is set in; each begins with its `first` ones."""
    head = list(range(first))
    if sum(w.asked for w in widths) <= 1.35 * room and sum(w.least for w in widths) <= room:
        return [list(range(len(widths)))]
    taken = sum(w.asked for w in widths[:first])
    pieces, used = [list(head)], taken
    for column in range(first, len(widths)):
        asked = widths[column].asked
        if used + asked > room and len(pieces[-1]) > first:
            pieces.append(list(head))
            used = taken
        pieces[-1].append(column)
        used += asked
    return pieces


def _fitted(widths: Sequence[_Width], columns: Sequence[int], room: float) -> list[float]:
    """Return the widths (points) of the columns of one table: all give alike of what they could spare."""
    least, asked = zip(*(widths[c] for c in columns), strict=True)
    if sum(asked) <= room + 0.01:  # a column cut to the room that is left fills it but for rounding
        return list(asked)
    share = (room - sum(least)) / (sum(asked) - sum(least))
    return [small + share * (large - small) for small, large in zip(least, asked, strict=True)]


def _table(grid: Grid, columns: Sequence[int], widths: list[float], styles: dict[str, Any]) -> Any:
    head = [Paragraph(_safe(heading(grid.columns[c])), styles["head"]) for c in columns]
    looks = [styles["red" if style else "cell"] for style in grid.styles or [""] * len(grid.rows)]
    rows = [
        [Paragraph(_safe(row[c]), look) for c in columns] for row, look in zip(grid.rows, looks, strict=True)
    ]
    table = Table([head, *rows], colWidths=widths, repeatRows=1, hAlign="LEFT")
    table.setStyle(
        TableStyle(
            [
                ("GRID", (0, 0), (-1, -1), 0.4, "#999999"),
                ("BACKGROUND", (0, 0), (-1, 0), "#eeeeee"),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("TOPPADDING", (0, 0), (-1, -1), 1.5),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5),
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
