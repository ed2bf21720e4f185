"""Figures far outside what sets are built with: allowed, but asked about (`practice.csv`, a row a figure).

Common practice, no source: the spans hold what handbooks and sets of the trade use with room on both sides,
so that only slips (a lost prefix, a forgotten zero) and experiments lie outside.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from receiver_sim.schema.build import Build
from receiver_sim.schema.quantity import Dimension, Quantity, format_quantity, parse_quantity
from receiver_sim.schema.validated import keys_of, shape_of


@dataclass(frozen=True)
class Row:
    """Usual span of one figure, as text and in SI, its name, and what a figure below or above it does.

    key: key path, `[]` for every entry of a list; kind: the kind the part has to be of, '' for any.
    """

    key: str
    kind: str
    low: str
    high: str
    what: str
    below: str
    above: str


@cache
def rows() -> tuple[Row, ...]:
    """Return the table, in file order."""
    with Path(__file__).with_name("practice.csv").open(encoding="utf-8", newline="") as stream:
        return tuple(Row(**row) for row in csv.DictReader(stream))


def unusual(build: Build) -> Iterator[str]:
    """Return a question for each figure of the build that lies far outside practice."""
    for row in rows():
        for place, value, dimension in _figures(build, row):
            low, high = _span(row, dimension)
            if value is None or low <= value <= high:
                continue
            side, effect = ("below", row.below) if value < low else ("above", row.above)
            span = f"{row.low} to {row.high}" if low > 0.0 else f"up to {row.high}"
            yield (
                f"{place}: {format_quantity(value, dimension, 3)} lies far {side} what is usual for the "
                f"{row.what} ({span}; common practice, no source): {effect}. Is this meant?"
            )


@cache
def _span(row: Row, dimension: Dimension) -> tuple[float, float]:
    return parse_quantity(row.low, dimension), parse_quantity(row.high, dimension)


def _figures(build: Build, row: Row) -> Iterator[tuple[str, float | None, Dimension]]:
    """Return key path, value and dimension of all figures of a build that a row speaks of."""
    *parents, last = row.key.split(".")
    found: list[tuple[str, Any]] = [("", build)]
    for step in parents:
        name, many = re.fullmatch(r"([a-z_]+)(\[\])?", step).groups()  # type: ignore[union-attr]
        found = [inside for place, part in found for inside in _inside(place, part, name, bool(many))]
    for place, part in found:
        field = keys_of(type(part)).get(last)
        if field is None or row.kind not in ("", _kind(build, row, part)):
            continue
        mark = shape_of(field.annotation, field.metadata).mark
        if isinstance(mark, Quantity):
            yield f"{place}.{last}", getattr(part, last), mark.dimension


def _kind(build: Build, row: Row, part: Any) -> str:
    """Return the kind of a part, or of the output transformer a secondary belongs to."""
    if row.key.startswith("audio.output.") and build.audio is not None:
        return build.audio.output.kind
    return str(getattr(part, "kind", ""))


def _inside(place: str, part: Any, name: str, many: bool) -> Iterator[tuple[str, Any]]:
    here = f"{place}.{name}" if place else name
    value = getattr(part, name, None)
    if many:
        yield from ((f"{here}[{i}]", one) for i, one in enumerate(value or ()))
    elif isinstance(value, BaseModel):
        yield here, value


__all__ = ["Row", "rows", "unusual"]
