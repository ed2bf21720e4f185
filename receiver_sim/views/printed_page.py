"""A sheet as a page to print: HTML that opens from disk, CSV. Cautions stand first in each."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path

from jinja2 import Environment, StrictUndefined

from receiver_sim.views.sheet import BLANK, Column, Grid, Sheet, clean


def html(sheet: Sheet, pictures: Sequence[tuple[str, str]] = ()) -> str:
    """Return the page; pictures: (words, SVG) at its end. Nothing is fetched from anywhere."""
    source = Path(__file__).with_name("printed_page.html").read_text(encoding="utf-8")
    # every text of a build is escaped; `is defined` tells a table from a paragraph
    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    return environment.from_string(source).render(
        sheet=sheet, cautions=sheet.all_cautions(), pictures=pictures, blank=BLANK
    )


def csv_text(sheet: Sheet) -> str:
    """Return the tables one after another, each under its heading, for a spreadsheet."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")

    def write(*cells: str) -> None:
        writer.writerow([_plain(cell) for cell in cells])

    write(sheet.title)
    for text in sheet.all_cautions():
        write("CAUTION", text)
    for section in sheet.sections:
        write()
        write(section.heading)
        for part in section.parts:
            if isinstance(part, Grid):
                write(*(heading(column) for column in part.columns))
                for row in part.rows:
                    write(*row)
            else:
                write(part.text)
    return out.getvalue()


def heading(column: Column) -> str:
    """Return the heading of a column in one line."""
    return column.heading.strip().replace("\n", " ")


def _plain(cell: str) -> str:
    """Return a cell that no spreadsheet takes for a formula."""
    text = clean(cell)
    return f"'{text}" if text.startswith(("=", "+", "@")) else text


__all__ = ["csv_text", "heading", "html"]
