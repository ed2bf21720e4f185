"""Hum as heard, and the paths it takes."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from receiver_sim.physics.hearing import threshold_db
from receiver_sim.results.hum import HumPaths
from receiver_sim.views.numbers import engineering, fixed, shorten
from receiver_sim.views.plots import style
from receiver_sim.views.plots.labels import key


def plot_hum_spectrum(paths: HumPaths, ax: Axes | None = None) -> Axes:
    """Draw the tones of the hum in each phone (dB SPL) against the threshold of hearing (ISO 226:2003)."""
    ax = style.new_axes() if ax is None else ax
    style.dress(
        ax,
        title="Hum as heard",
        subtitle="Tones in each phone; shaded: below the threshold of hearing (ISO 226:2003, free field).",
        x="Frequency (Hz)",
        y="Sound pressure (dB SPL)",
        under="Each tone of the hum and how loud it is. What lies in the shade is too quiet to hear.",
    )
    lines = paths.frequency_hz
    low, high = float(lines[0]) / 1.4, float(lines[-1]) * 1.2
    ax.set_xscale("log")
    ax.set_xlim(low, high)
    style.plain_ticks(ax.xaxis, style.one_two_five(low, high))
    fine = np.geomspace(low, high, 200)
    hearing = threshold_db(fine)
    (limit,) = ax.plot(fine, hearing, color=style.INK, linewidth=1.2, gid="threshold", zorder=3)
    ax.fill_between(fine, -60.0, hearing, color=style.SHADE, zorder=0)
    entries: list[tuple[Line2D, str, list[str]]] = [(limit, "threshold of hearing", [])]
    tops, count = [60.0], max(len(paths.outputs), 1)
    for index, output in enumerate(paths.outputs):
        heard = [(t.frequency_hz, t.level_db) for t in output.tones if t.level_db is not None]
        if not heard:
            continue
        pen = style.pen(index)
        # side by side, so that equal lines of several phones stay apart
        shift = 1.0 + 0.05 * (index - (count - 1) / 2.0)
        x = np.array([f for f, _ in heard]) * shift
        y = np.array([level for _, level in heard], dtype=float)
        ax.vlines(x, -60.0, y, color=pen.colour, linewidth=2.0, zorder=3)
        (dots,) = ax.plot(x, y, gid=f"tones-{index}", label=output.output, **pen.dot())
        tops += list(y)
        loudest = output.tones[0]
        word = "above" if (loudest.above_db or 0.0) > 0.0 else "below"
        text = f"{loudest.frequency_hz:.0f} Hz {fixed(abs(loudest.above_db or 0.0), 0)} dB {word} it"
        entries.append((dots, output.output, [text]))
    top = np.ceil(max(tops) / 10.0) * 10.0
    ax.set_ylim(-20.0, top)
    style.plain_ticks(ax.yaxis, list(np.arange(-20.0, top + 1.0, 10.0)))
    key(ax, entries)
    return ax


def plot_hum_paths(paths: HumPaths, output: int = 0, ax: Axes | None = None) -> Axes:
    """Draw what each path alone gives one output (V r.m.s.), the largest on top, with its line in hertz."""
    ax = style.new_axes(right=0.9) if ax is None else ax
    found = paths.outputs[output]
    style.dress(
        ax,
        title="Paths of hum",
        subtitle=f"{shorten(found.output, 40)}: each path driven alone, at the line it is loudest at.",
        x="At the load (mV r.m.s.)",
        y="",
        under="Where the hum comes in. Work on the longest bar first.",
    )
    shown = found.paths[:10]
    if not shown:
        ax.text(0.5, 0.5, "no hum at all", transform=ax.transAxes, ha="center", color=style.SOFT)
        return ax
    place = np.arange(len(shown))[::-1]
    values = np.array([p.volts_v * 1e3 for p in shown])
    low = max(values.min() / 3.0, values.max() * 1e-6)
    ax.set_xscale("log")
    ax.set_xlim(low, values.max() * 12.0)
    ax.barh(place, values - low, left=low, height=0.62, color=style.pen(0).colour, zorder=3)
    for y, path, value in zip(place, shown, values, strict=True):
        text = f" {engineering(path.volts_v, 'V')}, {path.frequency_hz:.0f} Hz"
        ax.text(max(value, low), y, text, va="center", fontsize=style.SMALL, color=style.INK)
    ax.set_yticks(place, [shorten(p.path, 34) for p in shown])
    box = ax.get_position()
    ax.set_position((0.33, box.y0, box.x1 - 0.33, box.height))
    style.plain_ticks(ax.xaxis, style.one_two_five(low, values.max() * 12.0, only_tens=True))
    ax.grid(False, axis="y")
    return ax
