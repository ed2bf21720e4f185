"""Plot of the natural modes: does a howl, squegging or motorboating grow, and where on the control."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes

from receiver_sim.results.envelope import EnvelopeModes, Stability, Steadiness
from receiver_sim.views.numbers import fixed
from receiver_sim.views.plots import style
from receiver_sim.views.plots.labels import EndLabel, label_ends

_LINEAR = 10.0
"""Growth rates (1/s) nearer to zero than this are drawn to scale, those beyond by their logarithm."""


def plot_modes(found: Sequence[Stability], ax: Axes | None = None) -> Axes:
    """Draw the growth rate of the mode that grows fastest, else of the one that rings longest for its pitch.

    found: one band, its circuit as built and the remedies tried. What lies above zero grows by itself. The
    diamond is the circuit at rest at onset, its detector not oscillating; a ring marks the mode that is named
    beside the line, the one of the table. Returns the axes.
    """
    ax = style.new_axes() if ax is None else ax
    first = found[0]
    grows = "nothing grows" if first.kind is Steadiness.HOLDS_STILL else first.kind.value
    style.dress(
        ax,
        title=f"{first.band}: does the oscillation hold still?",
        subtitle=f"As built: {grows}. Ring: the mode named; diamond: at rest at onset; dial "
        f"{fixed(first.dial_hz, 3, 1e-6)} MHz.",
        x="Rotation of the regeneration control (% of travel)",
        y="Growth rate (1/s); above zero it grows",
        under="Above zero a tone or a flutter grows by itself; below "
        "zero it dies away, and the set is steady.",
    )
    labels, lowest, highest = [], -_LINEAR, _LINEAR
    for index, one in enumerate(found):
        pen = style.pen(index)
        rows = [(100.0 * p.setting.rotation, *_shown(p)) for p in one.points]
        x, rate, hz = (np.array(column) for column in zip(*rows, strict=True))
        ax.plot(x[1:], rate[1:], marker=pen.mark, markersize=4.0, **pen.line())
        ax.plot(x[:1], rate[:1], **{**pen.dot(), "marker": "D"})
        told = np.flatnonzero(np.isfinite(rate))
        if told.size:
            details = [one.kind.value]
            if one.telling is not None:
                at = one.telling[0]
                details += [f"{fixed(float(hz[at]), 0)} Hz", f"{fixed(float(rate[at]), 0)} 1/s"]
                ax.plot(
                    x[at : at + 1], rate[at : at + 1], gid=f"named-{index}", marker="o", markersize=11.0,
                    markerfacecolor="none", markeredgecolor=pen.colour, markeredgewidth=1.4, linestyle="none",
                    zorder=6,
                )  # fmt: skip
            end = told[-1]
            labels.append(EndLabel(float(x[end]), float(rate[end]), one.what, tuple(details), pen))
            lowest, highest = min(lowest, float(rate[told].min())), max(highest, float(rate[told].max()))
    ax.set_yscale("symlog", linthresh=_LINEAR, linscale=0.6)
    ax.set_ylim(lowest * 1.6, highest * 1.6)
    ticks = [0.0, *(s * 10.0**p for s in (-1.0, 1.0) for p in range(1, 7))]
    style.plain_ticks(ax.yaxis, [t for t in ticks if lowest * 1.6 <= t <= highest * 1.6])
    ax.axhspan(0.0, highest * 1.6, color=style.SHADE, zorder=0)
    ax.axhline(0.0, color=style.INK, linewidth=0.9)
    label_ends(ax, labels)
    return ax


def _shown(point: EnvelopeModes) -> tuple[float, float]:
    """Return rate and frequency of the mode drawn at a setting; NaN leaves a gap where nothing rings."""
    if point.telling is None:
        return float("nan"), float("nan")
    return float(point.rate[point.telling]), float(point.frequency_hz[point.telling])
