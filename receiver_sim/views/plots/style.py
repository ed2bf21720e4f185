"""The look of all plots in one place, set on the artists themselves: nothing global, fit for threads.

Lines differ in colour, dash and mark together, so they stay apart in black-and-white print and for
colour-blind readers (the hues are picked from the set of M. Okabe and K. Ito, 'Color Universal Design',
2008; from memory).
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

from receiver_sim.views.numbers import shorten

INK = "#20262e"
SOFT = "#5c646d"
GRID = "#e4e7ea"
SHADE = "#f6ebdd"
MINUS = "\N{MINUS SIGN}"
SMALL, NORMAL, HEAD = 8.5, 9.5, 11.5

FOOTER = (
    "Plate supplies kill: switch off, unplug, discharge and measure before touching. "
    "Computed from average tubes; measure the real set."
)
"""Short form of the cautions for figures, which get parted from the report they belong to."""

_COLOURS = ("#0072b2", "#c24e00", "#00795a", "#8a3a78", "#5b5b5b", "#a17200", "#3f9bd1")
_DASHES: tuple[Any, ...] = (
    "-",
    (0, (7, 2)),
    (0, (7, 2, 1.4, 2)),
    (0, (1.4, 1.4)),
    (0, (3.5, 1.5)),
    (0, (9, 2, 2, 2)),
)
_MARKS = ("o", "s", "^", "D", "v", "P", "X")


@dataclass(frozen=True)
class Pen:
    """How one line is drawn: colour, dash pattern and mark."""

    colour: str
    dash: Any
    mark: str

    def line(self) -> dict[str, Any]:
        """Return the arguments of a dashed or solid line."""
        return {"color": self.colour, "linestyle": self.dash, "linewidth": 1.8, "solid_capstyle": "round"}

    def dot(self) -> dict[str, Any]:
        """Return the arguments of a single mark on a line."""
        return {
            "color": self.colour, "marker": self.mark, "markersize": 7.5, "markeredgecolor": "white",
            "markeredgewidth": 1.1, "linestyle": "none", "zorder": 5,
        }  # fmt: skip


def pen(index: int) -> Pen:
    """Return the pen of line number `index`, from 0; 42 differ before the first comes again."""
    return Pen(_COLOURS[index % 7], _DASHES[index % 6], _MARKS[index % 7])


def pen_of(name: str, order: Sequence[str], index: int) -> Pen:
    """Return the pen of a band: of its place in `order`, so that all plots agree, else of `index`."""
    return pen(order.index(name) if name in order else index)


def new_axes(width: float = 8.4, height: float = 4.9, *, right: float = 2.3) -> Axes:
    """Return axes on a new figure (sizes in inch), `right` inch beside them for names, the caution below."""
    figure = Figure(figsize=(width, height), facecolor="white")
    FigureCanvasAgg(figure)
    left, bottom, top = 0.92, 0.98, 0.72
    axes = figure.add_axes(
        (left / width, bottom / height, (width - left - right) / width, (height - bottom - top) / height)
    )
    figure.text(0.14 / width, 0.13 / height, FOOTER, fontsize=8, color=SOFT)
    return axes


def dress(axes: Axes, *, title: str, subtitle: str, x: str, y: str, under: str) -> None:
    """Give the axes their headings, labels with units, and the common look of spines, ticks and grid.

    under: what the picture shows, in a line for a beginner below it.
    """
    axes.annotate(
        title, (0, 1), (0, 24), xycoords="axes fraction", textcoords="offset points", fontsize=HEAD,
        fontweight="bold", color=INK, annotation_clip=False,
    )  # fmt: skip
    axes.annotate(
        subtitle, (0, 1), (0, 9), xycoords="axes fraction", textcoords="offset points", fontsize=SMALL,
        color=SOFT, annotation_clip=False,
    )  # fmt: skip
    axes.annotate(
        under, (0, 0), (0, -45), xycoords="axes fraction", textcoords="offset points", fontsize=SMALL,
        color=INK, annotation_clip=False, gid="under",
    )  # fmt: skip
    axes.set_xlabel(x, fontsize=NORMAL, color=INK, labelpad=6)
    axes.set_ylabel(y, fontsize=NORMAL, color=INK, labelpad=6)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(SOFT)
        axes.spines[side].set_linewidth(0.8)
    axes.tick_params(which="both", colors=SOFT, labelcolor=INK, labelsize=SMALL, length=3.5, width=0.8)
    axes.grid(True, which="major", color=GRID, linewidth=0.8)
    axes.set_axisbelow(True)


def sign(figure: Any, title: str) -> None:
    """Write the title of the set at the top left of a figure, cut short if it would not fit."""
    if not title:
        return
    width, height = figure.get_size_inches()
    text = shorten(title, int(11.0 * (width - 1.2)))
    figure.text(
        0.92 / width, 1.0 - 0.05 / height, text, fontsize=SMALL, color=SOFT, va="top", parse_math=False,
        gid="set",
    )  # fmt: skip


def say(axes: Axes, lines: Sequence[str], *, width: int = 62) -> None:
    """Write a state in words into the middle of the axes, in place of what cannot be drawn; folds lines.

    The first line stands out.
    """
    texts = [line for text in lines for line in (textwrap.wrap(text, width) or [""])]
    top = 0.5 + 0.035 * len(texts)
    for number, text in enumerate(texts):
        axes.text(
            0.5, top - 0.07 * number, text, transform=axes.transAxes, ha="center", va="top",
            fontsize=HEAD if number == 0 else NORMAL, fontweight="bold" if number == 0 else "normal",
            color=INK if number == 0 else SOFT, parse_math=False, gid=f"state-{number}", zorder=7,
        )  # fmt: skip


def plain_ticks(axis: Any, values: Sequence[float]) -> None:
    """Put ticks at `values` only, written as plain numbers with k for thousands, never as powers of ten."""
    axis.set_major_locator(FixedLocator(list(values)))
    axis.set_minor_locator(NullLocator())
    axis.set_major_formatter(FuncFormatter(lambda value, _position: plain_number(value)))


def plain_number(value: float) -> str:
    """Return 0.05, 2, 500, 2k, 1.5M; below zero with a true minus sign."""
    text = f"{value:g}"
    for scale, letter in ((1e6, "M"), (1e3, "k")):
        if abs(value) >= scale:
            text = f"{value / scale:g}{letter}"
            break
    return text.replace("-", MINUS)


def one_two_five(low: float, high: float, *, only_tens: bool = False) -> list[float]:
    """Return the numbers 1, 2, 5 times a power of ten within [low, high] (both above zero)."""
    steps = (1.0,) if only_tens else (1.0, 2.0, 5.0)
    numbers = (float(f"{step:g}e{power}") for power in range(-12, 13) for step in steps)
    return [number for number in numbers if low * (1 - 1e-9) <= number <= high * (1 + 1e-9)]
