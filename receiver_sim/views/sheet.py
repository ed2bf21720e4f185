"""Printed sheets: grids, notes and sections that show themselves through rich, cautions ahead of any volts.

The parts are plain data; rich is imported when they are shown, so building a sheet costs no start-up time.
All text of ours is ASCII: it reads the same on any terminal, in a pipe and in a file.
"""

from __future__ import annotations

import io
import sys
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TextIO

if TYPE_CHECKING:
    from rich.console import Console, ConsoleOptions, RenderableType
    from rich.table import Table

WIDTH = 100
"""Columns of a sheet that goes to a pipe or a file, and the most it takes of a terminal."""

HAZARD = ("DANGER", "CAUTION")
"""First words of the cautions about the build at hand, which stand before the standing ones."""

BLANK = "........"
"""A cell that the reader writes into."""

_GAP = 2
"""Blanks between columns."""

# Rows of rich's box: only the rule under the headings is drawn.
_RULE_UNDER_HEADINGS = "\n".join(["    ", "    ", " -- ", "    ", "    ", "    ", "    ", "    "]) + "\n"


def clean(text: str) -> str:
    """Return text with every unprintable character replaced: names come from a stranger's file."""
    return "".join(c if c.isprintable() else "?" for c in text)


@dataclass(frozen=True)
class Column:
    """One column of a grid; its heading may hold line breaks. Columns of words may fold, numbers never do."""

    heading: str
    align: Literal["left", "right"] = "right"


@dataclass(frozen=True)
class Grid:
    """A table: rows of cells as texts; styles names rich's style for each row ('' for none), or is empty.

    Where it doesn't fit, columns of words fold between words; beyond that it is set in two or more parts,
    each beginning with the first `repeat` columns. Nothing is ever cut off.
    """

    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    styles: tuple[str, ...] = ()
    repeat: int = 1

    def __post_init__(self) -> None:
        for number, row in enumerate(self.rows):
            if len(row) != len(self.columns):
                raise ValueError(f"row {number} has {len(row)} cells for {len(self.columns)} columns")

    def parts(self, width: int) -> list[list[int]]:
        """Return the numbers of the columns of each part that a width of so many characters needs."""
        head = list(range(min(self.repeat, len(self.columns))))
        room = width - sum(self._least(c) + _GAP for c in head)
        parts, left = [list(head)], room
        for column in range(len(head), len(self.columns)):
            need = self._least(column) + _GAP
            # the last column has no gap behind it, but rich keeps a blank there
            if need > left + _GAP - 1 and len(parts[-1]) > len(head):
                parts.append(list(head))
                left = room
            parts[-1].append(column)
            left -= need
        if len(parts) > 1 and len(parts[-1]) == len(head) + 1 and len(parts[-2]) > len(head) + 1:
            parts[-1].insert(len(head), parts[-2].pop())  # one column by itself reads as an afterthought
        return parts

    def _least(self, column: int) -> int:
        """Return the least width of a column: its longest word, or its longest cell if it may not fold."""
        heading = self.columns[column]
        texts = [*heading.heading.split("\n"), *(clean(row[column]) for row in self.rows)]
        pieces = texts if heading.align == "right" else [word for text in texts for word in text.split()]
        return max((len(piece) for piece in pieces), default=1)

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> Iterator[RenderableType]:
        from rich.text import Text  # noqa: PLC0415 - see the module's docstring

        for number, part in enumerate(self.parts(options.max_width)):
            if number:
                yield Text("")
            yield self._table(part, options.max_width)

    def _widths(self, part: list[int], room: int) -> list[int]:
        """Return the widths of some columns: as they are, or the widest of words folded until all fit."""
        least = [self._least(number) for number in part]
        widths = [
            max(len(t) for t in (*self.columns[n].heading.split("\n"), *(clean(row[n]) for row in self.rows)))
            for n in part
        ]
        # the last column has no gap behind it, but rich keeps a blank there
        while sum(widths) + _GAP * len(part) - 1 > room:
            wide = [i for i, width in enumerate(widths) if width > least[i]]
            if not wide:
                break
            widths[max(wide, key=lambda i: widths[i])] -= 1
        return widths

    def _table(self, part: list[int], room: int) -> Table:
        from rich.box import Box  # noqa: PLC0415 - see the module's docstring
        from rich.table import Table  # noqa: PLC0415
        from rich.text import Text  # noqa: PLC0415

        class Cell(Text):
            """A cell that begins on the first line of its row; headings end on the last of theirs."""

            vertical = "top"

        table = Table(
            box=Box(_RULE_UNDER_HEADINGS, ascii=True),
            padding=(0, 1, 0, 0),
            header_style="bold",
            show_edge=False,
        )
        # rich would fold all columns of words alike and cut off what their longest words then lack
        for number, width in zip(part, self._widths(part, room), strict=True):
            column = self.columns[number]
            table.add_column(
                Text(column.heading),
                justify=column.align,
                no_wrap=column.align == "right",
                vertical="bottom",
                overflow="fold",
                width=width,
            )
        for number, row in enumerate(self.rows):
            style = self.styles[number] if self.styles else ""
            table.add_row(*(Cell(clean(row[column])) for column in part), style=style)
        return table


@dataclass(frozen=True)
class Note:
    """A paragraph that folds under its own first word; `mark` stands to the left of it, in `style`."""

    text: str
    mark: str = ""
    style: str = ""

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> Iterator[RenderableType]:
        from rich.text import Text  # noqa: PLC0415 - see the module's docstring

        hang = " " * len(self.mark)
        width = max(options.max_width - len(hang), 20)
        # no break at hyphens: the path of a kept deck stays whole, to be copied
        lines = textwrap.wrap(clean(self.text), width, break_on_hyphens=False) or [""]
        for number, line in enumerate(lines):
            yield Text.assemble((hang if number else self.mark, self.style), line)


def note_under(text: str) -> Note:
    """Return a paragraph under a table, set in a little."""
    return Note(text, mark="   ")


@dataclass(frozen=True)
class Section:
    """A headed part of a sheet with the cautions its figures need. Shown alone, it brings them along."""

    heading: str
    parts: tuple[Grid | Note, ...]
    cautions: tuple[str, ...] = ()

    def body(self) -> Iterator[RenderableType]:
        """Give heading and parts, without the cautions."""
        from rich.text import Text  # noqa: PLC0415 - see the module's docstring

        if self.heading:
            yield Text(clean(self.heading), style="bold underline")
        yield from self.parts

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> Iterator[RenderableType]:
        yield from _caution_block(self.cautions)
        yield from self.body()


@dataclass(frozen=True)
class Sheet:
    """A whole printed answer: title, cautions of all its sections once, sections."""

    title: str
    sections: tuple[Section, ...]
    cautions: tuple[str, ...] = ()

    def all_cautions(self) -> tuple[str, ...]:
        """Return the cautions of the sections and its own, each once, hazards of this very build first."""
        texts = [text for section in self.sections for text in section.cautions]
        ordered = sorted([*texts, *self.cautions], key=lambda text: not text.startswith(HAZARD))
        return tuple(dict.fromkeys(ordered))

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> Iterator[RenderableType]:
        from rich.text import Text  # noqa: PLC0415 - see the module's docstring

        title = clean(self.title)
        yield Text(title, style="bold")
        yield Text("=" * min(len(title), options.max_width))
        yield Text("")
        yield from _caution_block(self.all_cautions())
        for number, section in enumerate(self.sections):
            if number:
                yield Text("")
            yield from section.body()


def _caution_block(cautions: tuple[str, ...]) -> Iterator[RenderableType]:
    from rich.text import Text  # noqa: PLC0415 - see the module's docstring

    for text in cautions:
        yield Note(text, mark=" ! ", style="bold red")
    if cautions:
        yield Text("")


def as_text(renderable: RenderableType, width: int = WIDTH) -> str:
    """Return what `renderable` prints, without colour or trailing blanks, in lines of at most `width`."""
    from rich.console import Console  # noqa: PLC0415 - see the module's docstring

    console = Console(
        file=io.StringIO(),  # or it touches standard output, which may be full or closed
        width=width,
        color_system=None,
        force_terminal=False,
        highlight=False,
        markup=False,
        legacy_windows=False,
    )
    with console.capture() as capture:
        console.print(renderable)
    return "".join(line.rstrip() + "\n" for line in capture.get().splitlines())


def show(renderable: RenderableType, file: TextIO | None = None) -> None:
    """Print `printed` to `file`, to standard output if None."""
    file = sys.stdout if file is None else file
    file.write(printed(renderable, file))


def printed(renderable: RenderableType, file: TextIO) -> str:
    """Return what `file` is to be given: with colour if it is a terminal that has it, else as plain text.

    NO_COLOR and TERM=dumb are honoured. A character the file's encoding lacks becomes '?'.
    """
    if not file.isatty():
        return _encodable(as_text(renderable), file)
    from rich.console import Console  # noqa: PLC0415 - see the module's docstring

    console = Console(file=file, highlight=False, markup=False)
    console.width = min(console.width, WIDTH)
    with console.capture() as capture:
        console.print(renderable)
    return _encodable(capture.get(), file)


def _encodable(text: str, file: TextIO) -> str:
    encoding = file.encoding or "ascii"
    return text.encode(encoding, errors="replace").decode(encoding)
