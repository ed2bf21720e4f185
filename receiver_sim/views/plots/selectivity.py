"""Bandwidth against loop gain: how much sharper does regeneration make the tank?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes

from receiver_sim.results.base import FloatArray
from receiver_sim.results.onset import Selectivity
from receiver_sim.views.numbers import engineering
from receiver_sim.views.plots import style
from receiver_sim.views.plots.labels import EndLabel, label_ends

_TICKS = (0.0, 0.3, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98, 0.99, 0.995, 0.998, 0.999)


def plot_selectivity(
    results: Sequence[Selectivity], ax: Axes | None = None, *, order: Sequence[str] = ()
) -> Axes:
    """Draw the -3 dB bandwidth of each band against its loop gain, with the textbook's BW0 (1 - T) dashed.

    The axis of T is stretched as log(1 - T), on which the textbook's law is a straight line. order: names of
    all bands, for the colours. Returns the axes.
    """
    ax = style.new_axes() if ax is None else ax
    style.dress(
        ax,
        title="Bandwidth against loop gain",
        subtitle="Marks: simulated; dashed: textbook, bandwidth at T = 0 times (1 \N{MINUS SIGN} T).",
        x="Loop gain T (V/V; the scale is stretched towards 1)",
        y="Bandwidth between \N{MINUS SIGN}3 dB points (Hz)",
        under="The nearer T comes to 1, the narrower the slice of the "
        "band that is heard. Speech needs some 6 kHz.",
    )
    gains = [float(t) for r in results for t in r.gain if t < 1.0]
    last = max([0.9, *gains])
    # a little beyond the last point
    end = 1.0 - (1.0 - last) * 0.85
    ax.set_xscale("function", functions=(_stretch, _relax))
    ax.set_xlim(0.0, end)
    style.plain_ticks(ax.xaxis, [t for t in _TICKS if t <= end])
    ax.set_yscale("log")
    textbook = np.array([0.0, end])
    levels, labels = [], []
    for index, result in enumerate(results):
        pen = style.pen_of(result.band, order, index)
        law = result.unloaded_bandwidth_hz * (1.0 - textbook)
        ax.plot(
            textbook,
            law,
            color=pen.colour,
            linewidth=1.1,
            linestyle=(0, (5, 3)),
            zorder=2,
            gid=f"textbook-{index}",
        )
        ax.plot(
            result.gain, result.bandwidth_hz, gid=f"bandwidth-{index}", label=result.band, **pen.dot()
        )  # fmt: skip
        levels += [*(float(v) for v in result.bandwidth_hz), *(float(v) for v in law)]
        sharpest = engineering(float(result.bandwidth_hz[-1]), "Hz")
        details = (
            f"T = {float(result.gain[-1]):g}: {sharpest}",
            f"T = 0: {engineering(result.unloaded_bandwidth_hz, 'Hz')}",
        )
        labels.append(
            EndLabel(float(result.gain[-1]), float(result.bandwidth_hz[-1]), result.band, details, pen)
        )
    low, high = (min(levels) / 1.5, max(levels) * 1.5) if levels else (100.0, 1e5)
    ax.set_ylim(low, high)
    style.plain_ticks(ax.yaxis, style.one_two_five(low, high))
    label_ends(ax, labels)
    return ax


def _stretch(gain: npt.ArrayLike) -> FloatArray:
    # T = 1 lies infinitely far to the right
    return np.asarray(-np.log10(np.clip(1.0 - np.asarray(gain, dtype=float), 1e-9, None)))


def _relax(place: npt.ArrayLike) -> FloatArray:
    return np.asarray(1.0 - 10.0 ** -np.asarray(place, dtype=float))
