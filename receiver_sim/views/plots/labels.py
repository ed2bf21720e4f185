"""Names beside the lines they belong to, kept clear of each other; keys beside the axes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.legend import Legend
from matplotlib.lines import Line2D

from receiver_sim.views.numbers import shorten
from receiver_sim.views.plots.style import INK, NORMAL, SMALL, Pen

NAME_LIMIT = 22
"""Characters of a name that fit beside the axes."""


@dataclass(frozen=True)
class EndLabel:
    """Name and detail lines for the line that ends at (x, y), in data units."""

    x: float
    y: float
    name: str
    details: tuple[str, ...]
    pen: Pen


def label_ends(axes: Axes, labels: Sequence[EndLabel]) -> None:
    """Write names and details in the right margin, level with the ends of their lines where that leaves room.

    The limits of the axes must be final. An end beyond them counts as lying on the border.
    """
    if not labels:
        return
    figure = axes.get_figure()
    assert figure is not None
    points = axes.bbox.height / figure.dpi * 72.0
    to_axes = axes.transData + axes.transAxes.inverted()
    ends = [np.clip(to_axes.transform((label.x, label.y)), 0.0, 1.0) for label in labels]

    def heights_of(most: int) -> list[float]:
        return [(NORMAL * 1.25 + SMALL * 1.3 * min(len(i.details), most) + 5.0) / points for i in labels]

    # Where the margin is too low for all, the first detail has to do.
    most = 9 if sum(heights_of(9)) <= 1.0 else 1
    heights = heights_of(most)
    places = spread([float(end[1]) for end in ends], heights)
    for label, end, place, height in zip(labels, ends, places, heights, strict=True):
        top = place + height / 2.0
        axes.annotate(
            shorten(label.name, NAME_LIMIT), (float(end[0]), float(end[1])), (1.035, top - 2.5 / points),
            xycoords="axes fraction", textcoords="axes fraction", fontsize=NORMAL, fontweight="bold",
            color=label.pen.colour, va="top", annotation_clip=False, parse_math=False,
            arrowprops={
                "arrowstyle": "-", "color": label.pen.colour, "linewidth": 0.7, "shrinkA": 2, "shrinkB": 1,
                "relpos": (0.0, 0.5),
            },
        )  # fmt: skip
        if label.details:
            axes.text(
                1.035, top - (2.5 + NORMAL * 1.3) / points, "\n".join(label.details[:most]),
                transform=axes.transAxes, fontsize=SMALL, color=INK, va="top", linespacing=1.15,
                parse_math=False,
            )  # fmt: skip


def spread(places: Sequence[float], heights: Sequence[float]) -> list[float]:
    """Return centres near `places` such that boxes of these heights don't overlap; axes fractions.

    The boxes stay within 0..1 as far as their sum allows; the order of the places is kept.
    """
    order = sorted(range(len(places)), key=lambda i: places[i])
    result = list(places)
    beyond = max(sum(heights) - 1.0, 0.0) / 2.0
    floor, ceiling = -beyond, 1.0 + beyond
    for i in order:
        result[i] = max(result[i], floor + heights[i] / 2.0)
        floor = result[i] + heights[i] / 2.0
    for i in reversed(order):
        result[i] = min(result[i], ceiling - heights[i] / 2.0)
        ceiling = result[i] - heights[i] / 2.0
    return result


def key(axes: Axes, entries: Sequence[tuple[Line2D, str, Sequence[str]]]) -> Legend:
    """Put a key beside the axes: a sample of each line, its name and detail lines under the name."""
    legend = axes.legend(
        [line for line, _, _ in entries],
        ["\n".join([shorten(name, NAME_LIMIT), *details]) for _, name, details in entries],
        loc="upper left", bbox_to_anchor=(1.02, 1.02), frameon=False, fontsize=SMALL, labelcolor=INK,
        handlelength=2.6, labelspacing=1.1, borderpad=0.0, handletextpad=0.7, alignment="left",
    )  # fmt: skip
    for text in legend.get_texts():
        text.set_linespacing(1.25)
        text.set_parse_math(False)
    return legend
