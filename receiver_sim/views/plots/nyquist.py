"""Nyquist plot of the return ratio: the circle of the tank grows until it encloses +1."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, MultipleLocator

from receiver_sim.results.onset import NyquistCurve
from receiver_sim.views.control_words import set_to
from receiver_sim.views.numbers import percent
from receiver_sim.views.plots import style
from receiver_sim.views.plots.labels import key


def plot_nyquist(curves: Sequence[NyquistCurve], ax: Axes | None = None) -> Axes:
    """Draw the return ratio T in the complex plane at each setting of the control, equal scales, +1 marked.

    An arrow on each curve points to rising frequency. Feedback counts as positive here: the critical point
    is +1. Returns the axes.
    """
    ax = style.new_axes(height=5.2) if ax is None else ax
    band = curves[0].band if curves else ""
    style.dress(
        ax,
        title=f"Return ratio of the detector, {band}".rstrip(", "),
        subtitle="The set oscillates when the curve encloses +1. Arrows: rising frequency.",
        x="Real part of T (V/V)",
        y="Imaginary part of T (V/V)",
        under="One signal once round the loop, drawn as an arrow's path. Round "
        "the cross at +1 it feeds itself: it oscillates.",
    )
    ax.axhline(0.0, color=style.SOFT, linewidth=0.8, zorder=1)
    ax.axvline(0.0, color=style.SOFT, linewidth=0.8, zorder=1)
    entries = []
    for index, curve in enumerate(curves):
        pen = style.pen(index)
        ratio = curve.return_ratio
        (line,) = ax.plot(
            ratio.real, ratio.imag, gid=f"return-ratio-{index}", label=curve.label, zorder=3, **pen.line()
        )
        _arrow(ax, curve, pen.colour)
        details = [f"knob {percent(curve.setting.rotation)}, {set_to(curve.setting)}"]
        real = _real_crossing(curve)
        if real is not None:
            details.append(f"T = {real:.2f} at zero phase")
        entries.append((line, curve.label, details))
    ax.plot(
        [1.0], [0.0], marker="+", markersize=13, markeredgewidth=2.2, color=style.INK, linestyle="none",
        zorder=6, gid="critical-point",
    )  # fmt: skip
    ax.annotate(
        "+1", (1.0, 0.0), (5, 5), textcoords="offset points", fontsize=style.NORMAL, fontweight="bold",
        color=style.INK, zorder=6,
        bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.85, "pad": 0.6},
    )  # fmt: skip
    _limits(ax, curves)
    if entries:
        key(ax, entries)
    return ax


def _limits(ax: Axes, curves: Sequence[NyquistCurve]) -> None:
    """Set limits that hold all curves and +1 in the shape of the axes: equal scales need no later change."""
    points = np.concatenate([[0j, 1.0 + 0j], *(c.return_ratio for c in curves)])
    low = np.array([points.real.min(), points.imag.min()])
    high = np.array([points.real.max(), points.imag.max()])
    size = (high - low) * 1.12
    shape = ax.bbox.width / ax.bbox.height
    size = np.array([max(size[0], size[1] * shape), max(size[1], size[0] / shape)])
    middle = (low + high) / 2.0
    ax.set_xlim(middle[0] - size[0] / 2.0, middle[0] + size[0] / 2.0)
    ax.set_ylim(middle[1] - size[1] / 2.0, middle[1] + size[1] / 2.0)
    ax.set_aspect("equal", adjustable="box")
    # equal scales deserve equal ticks
    step = next(s for s in (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 1e9) if size[0] / s <= 12.0)
    for axis in (ax.xaxis, ax.yaxis):
        axis.set_major_locator(MultipleLocator(step))
        axis.set_major_formatter(FuncFormatter(lambda value, _position: style.plain_number(round(value, 6))))


def _arrow(ax: Axes, curve: NyquistCurve, colour: str) -> None:
    """Put an arrow head on the curve, at 30 % of its length, where the circles of one tank lie well apart."""
    ratio = curve.return_ratio
    length = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(ratio)))])
    if length[-1] == 0.0:
        return
    after = int(np.clip(np.searchsorted(length, 0.3 * length[-1]), 1, len(ratio) - 1))
    start, end = ratio[after - 1], ratio[after]
    ax.annotate(
        "", (end.real, end.imag), (start.real, start.imag), zorder=4,
        arrowprops={"arrowstyle": "-|>", "color": colour, "mutation_scale": 15, "shrinkA": 0, "shrinkB": 0},
    )  # fmt: skip


def _real_crossing(curve: NyquistCurve) -> float | None:
    """Return the largest real value at which the curve crosses the real axis, None if it does not."""
    real, imaginary = curve.return_ratio.real, curve.return_ratio.imag
    found = [
        real[i] - imaginary[i] * (real[i + 1] - real[i]) / (imaginary[i + 1] - imaginary[i])
        for i in np.flatnonzero(imaginary[:-1] * imaginary[1:] <= 0.0)
        if imaginary[i] != imaginary[i + 1]
    ]
    return float(max(found)) if found else None
