"""Plots of many sets: onset on the knob as a histogram for each band."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from receiver_sim.results.spread import Spread
from receiver_sim.views.numbers import shorten
from receiver_sim.views.plots import style

STEP = 0.025
"""Width of a bar: a fortieth of the knob's travel."""

_ROW_INCH = 0.85
_TALLEST = 0.82


def plot_spread(report: Spread, ax: Axes | None = None) -> Axes:
    """Draw onset on the knob as a histogram, a row a band, all of one scale; return the axes.

    Filled: before building; outline: after measuring. A row's height is the share of all sets within a bar.
    """
    bands = report.before.bands
    ax = style.new_axes(height=1.9 + _ROW_INCH * max(len(bands), 2)) if ax is None else ax
    after = report.after
    subtitle = f"{report.sets} sets; filled: before building"
    if after is not None:
        subtitle += "; outline: after measuring " + shorten(", ".join(after.measured), 40)
    style.dress(ax, title="Where oscillation starts in many sets", subtitle=subtitle,
                x="Knob at onset (% of its travel)", y="",
        under="Sets built alike are not quite alike. A high bar: many of them start to oscillate there.",
    )  # fmt: skip
    edges = np.arange(0.0, 1.0 + STEP / 2, STEP)
    heights = {
        state: [np.histogram(b.rotation, edges)[0] / max(b.sets, 1) for b in sets.bands]
        for state, sets in (("before", report.before), ("after", after))
        if sets is not None
    }
    tallest = max((float(h.max()) for rows in heights.values() for h in rows), default=0.0) or 1.0
    for row, band in enumerate(bands):
        base = float(len(bands) - 1 - row)
        pen = style.pen(row)
        ax.axhline(base, color=style.GRID, linewidth=0.8, zorder=1)
        own = base + _TALLEST * heights["before"][row] / tallest
        ax.stairs(own, 100.0 * edges, baseline=base, fill=True, color=pen.colour, alpha=0.35,
                  gid=f"before-{row}")  # fmt: skip
        if after is not None:
            own = base + _TALLEST * heights["after"][row] / tallest
            ax.stairs(own, 100.0 * edges, baseline=base, color=pen.colour, linewidth=1.3, gid=f"after-{row}")
        lacking = band.sets - band.oscillating
        if lacking:
            ax.text(99.0, base + 0.55, f"{100.0 * lacking / band.sets:.0f} % without onset", ha="right",
                    fontsize=style.SMALL, color=style.SOFT, parse_math=False)  # fmt: skip
    ax.set_xlim(0.0, 100.0)
    ax.set_ylim(-0.08, len(bands))
    ax.set_yticks([len(bands) - 1 - i for i in range(len(bands))], [shorten(b.band, 14) for b in bands])
    ax.grid(False, axis="y")
    return ax
