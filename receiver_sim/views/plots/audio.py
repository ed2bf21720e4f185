"""Audio response of each output: which part of speech gets through?"""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes

from receiver_sim.results.audio import AudioResponse, OutputResponse
from receiver_sim.views.control_words import named
from receiver_sim.views.numbers import decibel, engineering, percent
from receiver_sim.views.plots import style
from receiver_sim.views.plots.labels import key

HALF_POWER_DB = -10.0 * math.log10(2.0)
_DEPTH_DB = 36.0


def plot_audio(audio: AudioResponse, ax: Axes | None = None) -> Axes:
    """Draw the whole response of each output in dB against frequency, and the points 3 dB below 1 kHz.

    Drawn is `overall`, with the corner of the grid leak in it, 0 dB at 1 kHz. Returns the axes.
    """
    ax = style.new_axes() if ax is None else ax
    setting = audio.setting
    style.dress(
        ax,
        title="Audio response",
        subtitle=(
            f"From rectified current at the grid to each output; marks: 3 dB below 1 kHz. "
            f"Knob {percent(setting.rotation)}, {named(setting)}."
        ),
        x="Frequency (Hz)",
        y="Output (dB, 0 dB at 1 kHz)",
        under="Which notes get through. Speech needs 300 Hz to 3000 Hz; "
        "where the line falls, notes are quieter.",
    )
    ax.set_xscale("log")
    entries, tops = [], [0.0]
    for index, output in enumerate(audio.outputs):
        pen = style.pen(index)
        level = 20.0 * np.log10(output.overall)
        tops.append(float(level.max()))
        (line,) = ax.plot(
            output.frequency_hz, level, gid=f"response-{index}", label=output.output, zorder=3, **pen.line()
        )
        corners = [f for f in (output.low_hz, output.high_hz) if f is not None]
        ax.plot(corners, [HALF_POWER_DB] * len(corners), gid=f"corners-{index}", **pen.dot())
        entries.append((line, output.output, _details(output)))
    if audio.outputs:
        low = min(float(o.frequency_hz.min()) for o in audio.outputs)
        high = max(float(o.frequency_hz.max()) for o in audio.outputs)
        ax.set_xlim(low, high)
        style.plain_ticks(ax.xaxis, style.one_two_five(low, high))
    highest = math.ceil(max(tops) / 3.0 + 0.5) * 3.0
    ax.set_ylim(highest - _DEPTH_DB - 3.0, highest)
    style.plain_ticks(ax.yaxis, [6.0 * n for n in range(-6, 7)])
    key(ax, entries)
    return ax


def _details(output: OutputResponse) -> list[str]:
    low, high = engineering(output.low_hz, "Hz"), engineering(output.high_hz, "Hz")
    if output.low_hz is None and output.high_hz is None:
        passes = "the whole sweep"
    elif output.low_hz is None:
        passes = f"up to {high}"
    else:
        passes = f"{low} and up" if output.high_hz is None else f"{low} to {high}"
    return [passes, f"gain at 1 kHz {decibel(output.gain_1khz).replace('-', style.MINUS)} dB"]
