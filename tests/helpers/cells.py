"""What stands in each column of a printed table, and how a table is held against it.

A column is (heading, what): `words` for texts, `figure` for a field with the base of its unit. Each cell is
read
back into SI by the unit that it or its heading states. A column that the test does not name fails, so that a
new
one is held, too.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from typing import Any

from receiver_sim.views.sheet import Section, Sheet
from tests.helpers import reading

Getter = Callable[[Any], Any]
Column = tuple[str, "Getter | tuple[Getter, str]"]


def get(item: Any, path: str) -> Any:
    """Return the field at a dotted path, None where a part of the path is None."""
    for name in path.split("."):
        item = None if item is None else getattr(item, name)
    return item


def figure(path: str, base: str, sign: float = 1.0) -> tuple[Getter, str]:
    """Stand for a number in SI; `base`: of its unit, '1' for a share or plain number."""

    def found(item: Any) -> Any:
        value = get(item, path)
        return None if value is None else sign * value

    return found, base


def level(path: str) -> tuple[Getter, str]:
    """Stand for a ratio or volts in decibel: 20 log10, the definition."""
    return lambda item: 20.0 * math.log10(get(item, path)), "dB"


def words(path: str, limit: int = 1000) -> Getter:
    """Stand for a text, shortened as a narrow column has it."""

    def text(item: Any) -> str:
        found = get(item, path)
        name = str(found.value if hasattr(found, "value") else found)
        return name if len(name) <= limit else name[: limit - 3].rstrip() + "..."

    return text


def always(text: str) -> Getter:
    """Stand for the same words in every row."""
    return lambda _item: text


def free(_item: Any) -> None:
    """Stand for a cell that another test holds."""


def hold(found: reading.Table, items: Sequence[Any], columns: Sequence[Column], digits: int = 3) -> None:
    """Hold each cell of a table against its row's item."""
    wanted = tuple(heading for heading, _ in columns)
    unheld = [h for h in found.headings if h not in wanted]
    assert not unheld, f"'{found.section}': no test says what stands under {unheld}; add the columns to it"
    assert found.headings == wanted, f"'{found.section}': columns lack or stand elsewhere"
    assert len(found.rows) == len(items), f"'{found.section}' has {len(found.rows)} rows for {len(items)}"
    for row, item in zip(found.rows, items, strict=True):
        for cell, (heading, what) in zip(row, columns, strict=True):
            where = f"'{found.section}', {heading}"
            if isinstance(what, tuple):
                value = what[0](item)
                if value is None:
                    assert cell == "-", f"{where}: {cell!r} where there is nothing"
                else:
                    reading.check(cell, heading, float(value), what[1], digits=digits)
            else:
                text = what(item)
                assert text is None or cell == text, f"{where}: {cell!r}, not {text!r}"


def the(page: Sheet | Section, heading: str, number: int = 0) -> reading.Table:
    """Return a table of the page by the heading of its section, a pattern; the first unless `number` says."""
    found = [t for t in reading.tables(page) if re.fullmatch(heading, t.section)]
    assert len(found) > number, [t.section for t in reading.tables(page)]
    return found[number]


def facts(found: reading.Table) -> dict[str, str]:
    """Return a table of two columns as names and what stands behind them."""
    assert all(len(row) == 2 for row in found.rows)
    return dict(found.rows)


def hold_facts(
    seen: dict[str, str], wanted: dict[str, Sequence[tuple[float, str]] | str], rel: float
) -> None:
    """Hold the figures behind each name, in order; a name that `wanted` lacks fails."""
    assert list(seen) == list(wanted)
    for name, due in wanted.items():
        if isinstance(due, str):
            assert seen[name] == due, name
        else:
            reading.in_order(reading.figures(seen[name]), due, rel)


def note_with(page: Sheet | Section, text: str) -> str:
    """Return the one note that holds a text."""
    (found,) = [n for n in reading.notes(page) if text in n]
    return found
