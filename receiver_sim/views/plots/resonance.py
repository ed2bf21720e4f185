"""The resonance curve: what does the tank pass on either side of the dial, at some loop gains?"""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from receiver_sim.results.onset import Selectivity
from receiver_sim.views.numbers import engineering
from receiver_sim.views.plots import style
from receiver_sim.views.plots.labels import EndLabel, label_ends

_KHZ = (-20, -15, -10, -5, 0, 5, 10, 15, 20)
_DEPTH_DB = 30.0


def plot_resonance(result: Selectivity, ax: Axes | None = None) -> Axes:
    """Draw the response of the tank in dB against the distance from the dial in kHz, one curve a loop gain.

    0 dB is the peak of the curve with the least regeneration. Returns the axes.
    """
    ax = style.new_axes() if ax is None else ax
    style.dress(
        ax,
        title=f"{result.band}: resonance curve",
        subtitle="Tank volts for a steady signal, against its distance from the frequency tuned to.",
        x="Distance from the dial (kHz)",
        y="Response (dB, 0 dB: peak at the lowest T shown)",
        under="More regeneration makes the peak tall and thin: the station tuned to comes up, its "
        "neighbours stay.",
    )
    ax.set_xlim(-20.0, 20.0)
    style.plain_ticks(ax.xaxis, _KHZ)
    if not result.curve_gain:
        style.say(ax, ["No curve", "The control reaches none of the loop gains at which one is taken."])
        return ax
    least = float(result.curves_ohm[0].max())
    top, labels = 0.0, []
    for index, (gain, curve) in enumerate(zip(result.curve_gain, result.curves_ohm, strict=True)):
        pen = style.pen(index)
        level = 20.0 * np.log10(curve / least)
        ax.plot(result.offset_hz / 1e3, level, gid=f"resonance-{index}", zorder=3, **pen.line())
        top = max(top, float(level.max()))
        width = float(result.bandwidth_hz[int(np.argmin(np.abs(result.gain - gain)))])
        labels.append(
            EndLabel(
                20.0,
                float(level[-1]),
                f"T = {gain:g}",
                (
                    f"{engineering(width, 'Hz')} wide at -3 dB".replace("-", style.MINUS),
                    f"peak {level.max():.0f} dB".replace("-", style.MINUS),
                ),
                pen,
            )
        )
    ax.set_ylim(-_DEPTH_DB, np.ceil(top / 10.0 + 0.2) * 10.0)
    style.plain_ticks(ax.yaxis, [10.0 * n for n in range(-3, 8)])
    label_ends(ax, labels)
    return ax
