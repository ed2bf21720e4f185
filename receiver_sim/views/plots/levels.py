"""Sound pressure and distortion against drive: how loud, how clean, where is the noise?"""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from receiver_sim.results.audio import AudioStudy
from receiver_sim.views.numbers import engineering, fixed
from receiver_sim.views.plots import style
from receiver_sim.views.plots.labels import key


def plot_levels(study: AudioStudy, ax: Axes | None = None) -> Axes:
    """Draw dB SPL of each loaded output against the drive at the detector's grid, noise floor dotted.

    The mark is the drive at which distortion reaches 10 %. Returns the axes.
    """
    ax = style.new_axes() if ax is None else ax
    style.dress(
        ax,
        title="Sound pressure against drive",
        subtitle="1 kHz tone at the detector's grid; marks: 10 % distortion; dotted: noise, 100 Hz to 5 kHz.",
        x="Tone at the detector's grid (mV r.m.s.)",
        y="Sound pressure (dB SPL)",
        under="How loud the phones get as the signal grows. 60 dB SPL is quiet speech at a metre.",
    )
    ax.set_xscale("log")
    entries, inputs, heights = [], [], []
    for index, item in enumerate(study.levels):
        points = [(d.input_v * 1e3, d.level_db) for d in item.drives if d.level_db is not None]
        if not points:
            continue
        pen = style.pen(index)
        x = np.array([p[0] for p in points])
        y = np.array([p[1] for p in points], dtype=float)
        (line,) = ax.plot(x, y, gid=f"level-{index}", label=item.output, zorder=3, **pen.line())
        floor, clip = item.limits.floor_db, item.limits.clip_v
        if floor is not None:
            ax.axhline(
                floor, color=pen.colour, linewidth=1.1, linestyle=(0, (1, 2)), zorder=2, gid=f"floor-{index}"
            )
            heights.append(floor)
        if clip is not None:
            at = float(np.interp(np.log(clip * 1e3), np.log(x), y))
            ax.plot([clip * 1e3], [at], gid=f"clip-{index}", **pen.dot())
        inputs += list(x)
        heights += list(y)
        details = [f"10 % at {engineering(clip, 'V')}"] if clip is not None else ["below 10 %"]
        entries.append((line, item.output, [*details, f"noise {fixed(floor, 0)} dB SPL"]))
    if inputs:
        ax.set_xlim(min(inputs), max(inputs))
        style.plain_ticks(ax.xaxis, style.one_two_five(min(inputs), max(inputs)))
        low, high = np.floor(min(heights) / 10.0) * 10.0, np.ceil(max(heights) / 10.0) * 10.0
        ax.set_ylim(low, high + 5.0)
        style.plain_ticks(ax.yaxis, list(np.arange(low, high + 1.0, 10.0)))
        key(ax, entries)
    return ax


def plot_distortion(study: AudioStudy, ax: Axes | None = None) -> Axes:
    """Draw distortion of each output (%) against the drive; the 10 % line is where power is rated."""
    ax = style.new_axes() if ax is None else ax
    style.dress(
        ax,
        title="Distortion against drive",
        subtitle="Harmonics 2 to 10 of a 1 kHz tone; dashed: 10 %.",
        x="Tone at the detector's grid (mV r.m.s.)",
        y="Distortion (%)",
        under="How much the sound is spoiled as the signal grows. Above the dashed line it sounds rough.",
    )
    ax.set_xscale("log")
    ax.set_yscale("log")
    entries, inputs, values = [], [], [10.0]
    for index, item in enumerate(study.levels):
        pen = style.pen(index)
        x = np.array([d.input_v * 1e3 for d in item.drives])
        y = np.array([max(d.thd * 100.0, 1e-3) for d in item.drives])
        (line,) = ax.plot(
            x, y, gid=f"distortion-{index}", label=item.output, zorder=3, marker=pen.mark, markersize=4,
            **pen.line(),
        )  # fmt: skip
        inputs += list(x)
        values += list(y)
        entries.append((line, item.output, [f"{fixed(float(y[0]), 3)} % at the least drive"]))
    ax.axhline(10.0, color=style.INK, linewidth=1.0, linestyle=(0, (5, 3)), zorder=2, gid="rated")
    if inputs:
        low, high = min(values) / 1.5, max(values) * 1.5
        ax.set_xlim(min(inputs), max(inputs))
        ax.set_ylim(low, high)
        style.plain_ticks(ax.xaxis, style.one_two_five(min(inputs), max(inputs)))
        style.plain_ticks(ax.yaxis, style.one_two_five(low, high, only_tens=high / low > 1e3))
        key(ax, entries)
    return ax
