"""The plate supply: regulation, ripple lines, rise and discharge."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from receiver_sim.results.supply import Rectified, StartAndStop
from receiver_sim.views.numbers import engineering, fixed
from receiver_sim.views.plots import style
from receiver_sim.views.plots.labels import key


def plot_regulation(result: Rectified, ax: Axes | None = None) -> Axes:
    """Draw the volts at the receiver against its current, its own load marked. Returns the axes."""
    ax = style.new_axes() if ax is None else ax
    style.dress(
        ax,
        title="Regulation of the supply",
        subtitle="Mean volts at the receiver, mains nominal; mark: the load of this receiver.",
        x="Current of the receiver (mA)",
        y="Plate supply (V)",
        under="The more current the set takes, the lower the voltage falls.",
    )
    pen = style.pen(0)
    x = result.regulation_a * 1e3
    (line,) = ax.plot(x, result.regulation_v, gid="regulation", zorder=3, **pen.line())
    ax.plot([result.load_a * 1e3], [result.volts_v], gid="load", **pen.dot())
    ax.set_xlim(0.0, float(x.max()))
    low, high = np.floor(result.regulation_v.min() / 20.0) * 20.0, result.no_load_v * 1.04
    ax.set_ylim(low, high)
    details = [
        f"{fixed(result.volts_v, 0)} V at {engineering(result.load_a, 'A')}",
        f"tubes cold {fixed(result.no_load_v, 0)} V",
        f"ripple {engineering(result.ripple_v, 'V')} p-p",
    ]
    key(ax, [(line, "volts", details)])
    return ax


def plot_start_and_stop(start: StartAndStop, ax: Axes | None = None) -> Axes:
    """Draw the rise after switching on and the discharge after switching off, with the safe volts."""
    ax = style.new_axes() if ax is None else ax
    style.dress(
        ax,
        title="Switching on and off",
        subtitle="On: at the receiver, tubes warming up. Off: the last capacitor charged, bleeder alone.",
        x="Time after the switch (s)",
        y="Volts (V)",
        under="How the voltage rises after switching on. After switching off it stays dangerous for a while.",
    )
    on_pen, off_pen = style.pen(0), style.pen(1)
    (on,) = ax.plot(start.on_s, start.on_v, gid="on", zorder=3, **on_pen.line())
    (off,) = ax.plot(start.off_s, start.off_v, gid="off", zorder=3, **off_pen.line())
    ax.axhspan(0.0, start.safe_v, color="#eef3ee", zorder=0)
    ax.axhline(start.safe_v, color=style.INK, linewidth=1.0, linestyle=(0, (1, 2)), gid="safe", zorder=2)
    if start.discharge_s is not None:
        ax.plot([start.discharge_s], [start.safe_v], gid="discharged", **off_pen.dot())
        off_text = [
            f"below {fixed(start.safe_v, 0)} V after",
            f"{fixed(start.discharge_s, 1)} s: then measure",
        ]
    else:
        off_text = ["STAYS CHARGED", "discharge by hand, measure"]
    safe = 0.0 if start.discharge_s is None else 1.1 * start.discharge_s
    ax.set_xlim(0.0, float(max(start.on_s[-1], min(start.off_s[-1], 120.0), safe)))
    ax.set_ylim(0.0, max(start.highest_v, float(start.off_v.max())) * 1.05)
    key(ax, [(on, "on", [f"highest {fixed(start.highest_v, 0)} V"]), (off, "off", off_text)])
    return ax


def plot_ripple(result: Rectified, ax: Axes | None = None) -> Axes:
    """Draw the lines of the ripple at the receiver (V r.m.s.). Returns the axes."""
    ax = style.new_axes(right=0.5) if ax is None else ax
    style.dress(
        ax,
        title="Ripple of the supply",
        subtitle=f"Lines at the receiver; {engineering(result.ripple_v, 'V')} peak to peak in all.",
        x="Frequency (Hz)",
        y="Ripple (mV r.m.s.)",
        under="What is left of the mains on the supply. High bars at low notes are heard as hum.",
    )
    values = np.maximum(result.ripple_rms_v * 1e3, 0.0)
    low = max(float(values.max()) * 1e-5, 1e-9)
    keep = values > low
    ax.set_yscale("log")
    ax.set_ylim(low, float(values.max()) * 3.0)
    pen = style.pen(0)
    ax.vlines(result.ripple_hz[keep], low, values[keep], color=pen.colour, linewidth=3.0, zorder=3)
    ax.plot(result.ripple_hz[keep], values[keep], gid="ripple", **pen.dot())
    ax.set_xlim(0.0, float(result.ripple_hz[-1]) * 1.05)
    style.plain_ticks(ax.xaxis, [float(f) for f in result.ripple_hz[1::2]])
    style.plain_ticks(ax.yaxis, style.one_two_five(low, float(values.max()) * 3.0, only_tens=True))
    return ax
