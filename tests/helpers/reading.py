"""Reads printed tables and drawn axes back into SI figures, knowing nothing of how they were made.

A cell is a number with a unit of its own ('3.46 kHz') or with that of its heading ('dial MHz'). What comes
out
is a value in SI and the unit's base, so that a scale which went wrong in the cell or in the heading shows.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from receiver_sim.views.sheet import Grid, Note, Section, Sheet

_PREFIX = {"f": 1e-15, "p": 1e-12, "n": 1e-9, "u": 1e-6, "m": 1e-3, "k": 1e3, "M": 1e6, "G": 1e9, "T": 1e12}
_BASE = ("ohm", "Hz", "V", "A", "W", "F", "H", "s", "S", "m")
# units as the trade writes them: (base, scale)
_UNITS: dict[str, tuple[str, float]] = {
    "%": ("1", 1e-2), "deg": ("deg", 1.0), "dB": ("dB", 1.0), "umho": ("S", 1e-6), "K": ("K", 1.0),
    "1/s": ("1/s", 1.0), "1/V": ("1/V", 1.0), "kHz/deg": ("Hz/deg", 1e3), "Hz/V": ("Hz/V", 1.0),
    "uV/m": ("V/m", 1e-6), "dBV": ("dB", 1.0), "V/V": ("1", 1.0),
    **{f"{p}{b}": (b, s) for b in _BASE for p, s in {"": 1.0, **_PREFIX}.items()},
}  # fmt: skip
# the longer ends first
_RATES = {
    "mV per V": ("1", 1e-3), "0.001 per V": ("1/V", 1e-3), "mHz per V": ("Hz/V", 1e-3),
    "% per V": ("1/V", 1e-2), "V per V": ("1", 1.0), "per V": ("1/V", 1.0),
}  # fmt: skip
_NUMBER = r"[-+\N{MINUS SIGN}]?\d+(?:\.\d+)?(?:e[-+]?\d+)?"
_CELL = re.compile(rf"({_NUMBER})\s*([A-Za-z%/]+)?(?:\s+(?:SPL|wanted|p-p|r\.m\.s\.))?")
_IN_TEXT = re.compile(
    rf"(?<![\w.])({_NUMBER})\s?(%|deg\b|dB\b|mm\b|[fpnumkMGT]?(?:ohm|Hz|V|A|W|F|H|s|K)\b)(?!/)"
)


@dataclass(frozen=True)
class Reading:
    """A figure read: value in SI, base of its unit ('1' for plain numbers), half of its last digit in SI."""

    value: float
    base: str
    half: float


def unit_of(heading: str) -> tuple[str, float]:
    """Return base and scale of the unit that a heading ends in or names; ('1', 1) without one."""
    words = re.sub(r"[(),]", " ", heading.replace("\n", " ")).split()
    text = " ".join(words)
    for rate, found in _RATES.items():
        if text.endswith(rate):
            return found
    named = [_UNITS[word] for word in words if word in _UNITS]
    return named[-1] if named else ("1", 1.0)


def read(cell: str, heading: str = "") -> Reading:
    """Return what a cell says; its own unit goes before that of its heading."""
    found = _CELL.fullmatch(cell.strip())
    assert found, f"no figure: {cell!r} under {heading!r}"
    number, unit = found[1].replace("\N{MINUS SIGN}", "-"), found[2]
    base, scale = _UNITS[unit] if unit else unit_of(heading)
    mantissa, _, exponent = number.lower().partition("e")
    decimals = len(mantissa.partition(".")[2])
    step = 10.0 ** (int(exponent or 0) - decimals)
    return Reading(float(number) * scale, base, 0.5 * step * scale)


def check(cell: str, heading: str, value: float, base: str, digits: int | None = None) -> None:
    """Hold a cell against the figure it stands for: unit and value to within half of its last digit.

    digits: significant ones it rounds to besides ('2350 deg' is good to ten).
    """
    seen = read(cell, heading)
    where = f"{cell!r} under {heading!r}"
    assert seen.base == base, f"{where} is in {seen.base}, not {base}"
    half = seen.half
    if digits is not None and value:
        half = max(half, 0.5 * 10.0 ** (math.floor(math.log10(abs(value))) - digits + 1))
    # a hair more: the half itself may be rounded either way
    assert abs(seen.value - value) <= half * (1.0 + 1e-6), f"{where} says {seen.value:.6g}, not {value:.6g}"
    # a figure of no digits would pass for anything; '3' for 3.000 is exact
    fine = half <= 0.051 * abs(value) or math.isclose(seen.value, value, rel_tol=1e-9)
    assert fine, f"{where}: too coarse to be held against {value:.6g}"


def figures(text: str) -> list[tuple[float, str]]:
    """Return all figures with a unit in a sentence, in order: (SI value, base)."""
    out = []
    for number, unit in _IN_TEXT.findall(text):
        base, scale = _UNITS[unit]
        out.append((float(number.replace("\N{MINUS SIGN}", "-")) * scale, base))
    return out


@dataclass(frozen=True)
class Table:
    """A printed grid: heading of its section, headings of its columns in one line, rows of cells."""

    section: str
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]

    def column(self, heading: str) -> tuple[str, ...]:
        """Return the cells under a heading."""
        return tuple(row[self.headings.index(heading)] for row in self.rows)


def sections(page: Sheet | Section) -> Iterator[Section]:
    """Yield the sections of a page."""
    yield from page.sections if isinstance(page, Sheet) else (page,)


def tables(page: Sheet | Section) -> list[Table]:
    """Return every grid of a page."""
    return [
        Table(
            section.heading,
            tuple(" ".join(column.heading.split()) for column in part.columns),
            part.rows,
        )
        for section in sections(page)
        for part in section.parts
        if isinstance(part, Grid)
    ]


def notes(page: Sheet | Section) -> list[str]:
    """Return every note of a page."""
    return [p.text for section in sections(page) for p in section.parts if isinstance(p, Note)]


# ---------------------------------------------------------------------------- plots


def axis_unit(label: str) -> tuple[str, float]:
    """Return base and scale of the unit in the brackets of an axis label; ('1', 1) for 'V/V' and none."""
    found = re.search(r"\(([^)]*)\)", label)
    inside = found[1] if found else label
    words = re.split(r"[ ,;]+", inside)
    for word in words:
        if word in _UNITS:
            return _UNITS[word]
    return ("1", 1.0)


def artists(ax: Axes) -> dict[str, Any]:
    """Return every line, bar and span that was given a name, by it; names that come again get a number."""
    out: dict[str, Any] = {}
    for artist in (*ax.lines, *ax.patches, *ax.collections):
        gid = artist.get_gid()
        if gid:
            out[gid if gid not in out else f"{gid}#{sum(g.split('#')[0] == gid for g in out)}"] = artist
    return out


def points(ax: Axes, line: Any) -> tuple[np.ndarray, np.ndarray]:
    """Return x and y of a line in SI, by the units that its axes' labels state."""
    return (
        np.asarray(line.get_xdata(), float) * axis_unit(ax.get_xlabel())[1],
        np.asarray(line.get_ydata(), float) * axis_unit(ax.get_ylabel())[1],
    )


def lines(ax: Axes, label: str) -> Any:
    """Return the one line with that label."""
    (found,) = [line for line in ax.lines if line.get_label() == label]
    return found


def words_of(ax: Axes) -> list[str]:
    """Return all texts on a figure: names beside lines, key, title, marks."""
    legend = ax.get_legend()
    keys = [] if legend is None else [t.get_text() for t in legend.get_texts()]
    return [t.get_text() for t in (*ax.texts, ax.title)] + keys


def in_order(found: Iterable[tuple[float, str]], wanted: Iterable[tuple[float, str]], rel: float) -> None:
    """Hold the figures of a sentence against those it should give, in order."""
    seen, due = list(found), list(wanted)
    assert [base for _, base in seen] == [base for _, base in due], (seen, due)
    for (value, _), (expected, _) in zip(seen, due, strict=True):
        assert abs(value - expected) <= rel * abs(expected), (seen, due)
