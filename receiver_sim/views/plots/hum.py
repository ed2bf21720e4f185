"""Hum against the hum pot: where is the null, and what remains there?"""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from receiver_sim.results.audio import Hum, OutputHum
from receiver_sim.results.base import FloatArray
from receiver_sim.views.numbers import engineering, percent
from receiver_sim.views.plots import style
from receiver_sim.views.plots.labels import key


def plot_hum(hum: Hum, ax: Axes | None = None) -> Axes:
    """Draw hum and ripple together (mV r.m.s.) against the position of the hum pot, a line an output.

    The null and the build's own position are marked, the ripple that no position can remove is dashed.
    Returns the axes.
    """
    ax = style.new_axes() if ax is None else ax
    style.dress(
        ax,
        title="Hum against the hum pot",
        subtitle=(
            f"Heater hum at {hum.mains_hz:g} Hz with supply ripple at {hum.ripple_hz:g} Hz; "
            "dashed: ripple alone; marks: the null."
        ),
        x="Position of the hum pot (%)",
        y="Hum at the output (mV r.m.s.)",
        under="How loud the hum is at each position of the hum pot. Set the pot where the line is lowest.",
    )
    ax.set_xlim(0.0, 100.0)
    style.plain_ticks(ax.xaxis, range(0, 101, 10))
    ax.axvline(
        hum.build_position * 100.0,
        color=style.INK,
        linewidth=1.0,
        linestyle=(0, (1, 2)),
        zorder=2,
        gid="build",
    )
    entries, levels = [], []
    for index, output in enumerate(hum.outputs):
        pen = style.pen(index)
        position, total = whole(output, hum.build_position)
        # Solid here: dashes mean ripple. Small marks at the simulated positions tell the lines
        # apart without colour.
        (line,) = ax.plot(
            position * 100.0, total * 1e3, gid=f"hum-{index}", label=output.output, zorder=3, marker=pen.mark,
            markersize=3.6, markevery=[int(np.argmin(abs(position - p))) for p in output.pot_position],
            **{**pen.line(), "linestyle": "-"},
        )  # fmt: skip
        levels += [float(v) for v in total if v > 0.0]
        if output.ripple_v > 0.0:
            ax.axhline(
                output.ripple_v * 1e3, color=pen.colour, linewidth=1.1, linestyle=(0, (5, 3)), zorder=2,
                gid=f"ripple-{index}",
            )  # fmt: skip
            levels.append(output.ripple_v)
        # without heater hum, as on d.c., there is nothing to null
        if output.mains_v.any():
            ax.plot([output.best_position * 100.0], [output.best_v * 1e3], gid=f"null-{index}", **pen.dot())
        entries.append((line, output.output, _details(output)))
    if levels:
        low, high = min(levels) * 1e3 / 1.6, max(levels) * 1e3 * 1.6
        if high / low < 10.0:
            low, high = low / 2.5, high * 2.5
        ax.set_yscale("log")
        ax.set_ylim(low, high)
        style.plain_ticks(ax.yaxis, style.one_two_five(low, high, only_tens=high / low > 300.0))
    else:
        ax.set_ylim(0.0, 1.0)
    late = hum.build_position > 0.85
    ax.annotate(
        "as built", (hum.build_position * 100.0, 1.0), (-4 if late else 4, -3),
        xycoords=ax.get_xaxis_transform(),
        textcoords="offset points", fontsize=style.SMALL, color=style.INK, va="top",
        ha="right" if late else "left",
    )  # fmt: skip
    key(ax, entries)
    return ax


def whole(output: OutputHum, build_position: float) -> tuple[FloatArray, FloatArray]:
    """Return positions and volts r.m.s. of hum and ripple together, null and build's position among them.

    Between the simulated positions the volts are interpolated linearly, as they run away from a null.
    """
    position = np.append(output.pot_position, [output.best_position, build_position])
    total = np.append(np.hypot(output.mains_v, output.ripple_v), [output.best_v, output.at_build_v])
    position, first = np.unique(position, return_index=True)
    fine = np.union1d(position, np.linspace(position[0], position[-1], 401))
    return fine, np.interp(fine, position, total[first])


def _details(output: OutputHum) -> list[str]:
    built, null, ripple = (
        engineering(volts, "V").replace("uV", "\N{MICRO SIGN}V")
        for volts in (output.at_build_v, output.best_v, output.ripple_v)
    )
    if not output.mains_v.any():
        return ["no heater hum", f"ripple {ripple}"]
    return [f"as built {built}", f"null {null} at {percent(output.best_position)}", f"ripple {ripple}"]
