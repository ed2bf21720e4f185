"""Plots on coils: what they cover, loop gain over their dials, what loads them, breakthrough."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes

from receiver_sim.results.coils import Breakthrough, CoilRange, Coverage, DialPoint, DialSweep
from receiver_sim.views.numbers import fixed, percent, shorten
from receiver_sim.views.plots import style
from receiver_sim.views.plots.labels import EndLabel, label_ends

_TICKS_MHZ = (0.5, 1, 1.5, 2, 3, 4, 5, 7, 10, 14, 20, 30, 50)
_SERVICE = {"amateur": ("#c7dcec", "amateur"), "broadcast": ("#f0ddc4", "broadcast")}


def _frequency_axis(ax: Axes, low: float, high: float) -> None:
    """Make the x axis a logarithmic one in MHz with plain ticks."""
    ax.set_xscale("log")
    ax.set_xlim(low, high)
    style.plain_ticks(ax.xaxis, [t for t in _TICKS_MHZ if low <= t <= high])


def plot_ranges(ranges: Sequence[CoilRange], coverage: Coverage, ax: Axes | None = None) -> Axes:
    """Draw a bar for what each coil reaches and its band on it, over the bands of the services. Returns the
    axes.
    """
    ax = style.new_axes(height=max(3.6, 1.9 + 0.52 * len(ranges))) if ax is None else ax
    style.dress(
        ax,
        title="What the coils reach",
        subtitle=f"Bar: capacitor meshed to open; dark: its band. Bands of {coverage.year}, ITU region "
        f"{coverage.region}, shaded."
        + (f" Range of {', '.join(coverage.unmeasured)} not found." if coverage.unmeasured else ""),
        x="Frequency (MHz)",
        y="",
        under="What each coil can tune, with the capacitor turned from one end to the other.",
    )
    low = min(r.low_hz for r in ranges) / 1e6 * 0.93
    high = max(r.high_hz for r in ranges) / 1e6 * 1.07
    _frequency_axis(ax, low, high)
    for service in coverage.services:
        colour, _ = _SERVICE[service.service]
        ax.axvspan(service.low_hz / 1e6, service.high_hz / 1e6, color=colour, linewidth=0, zorder=0)
    labels = []
    for index, span in enumerate(ranges):
        pen, y = style.pen(index), len(ranges) - 1 - index
        width = (span.high_hz - span.low_hz) / 1e6
        ax.barh(
            y, width, left=span.low_hz / 1e6, height=0.5, color=pen.colour, alpha=0.35, gid=f"range-{index}"
        )
        band = (span.to_hz - span.from_hz) / 1e6
        ax.barh(y, band, left=span.from_hz / 1e6, height=0.5, color=pen.colour, gid=f"band-{index}")
        words = f"{fixed(span.low_hz, 2, 1e-6)} to {fixed(span.high_hz, 2, 1e-6)} MHz"
        labels.append(EndLabel(span.high_hz / 1e6, y, span.band, (words,), pen))
    ax.set_ylim(-0.7, len(ranges) - 0.3)
    ax.set_yticks([])
    ax.grid(False, axis="y")
    label_ends(ax, labels)
    for number, (colour, name) in enumerate(_SERVICE.values()):
        ax.text(
            0.012 + 0.16 * number, 0.02, name, transform=ax.transAxes, fontsize=style.SMALL, color=style.INK,
            bbox={"facecolor": colour, "edgecolor": "none", "pad": 2.0},
        )  # fmt: skip
    return ax


def plot_gain_over_dial(sweeps: Sequence[DialSweep], ax: Axes | None = None) -> Axes:
    """Draw the loop gain over the dial of each coil at one setting of the control. Returns the axes."""
    ax = style.new_axes() if ax is None else ax
    setting = percent(sweeps[0].rotation) if sweeps else ""
    style.dress(
        ax,
        title="Loop gain over the dial of each coil",
        subtitle=f"Control at {setting} throughout; a coil oscillates there where its line is above T = 1.",
        x="Dial (MHz)",
        y="Loop gain T (V/V)",
        under="Along the dial the same setting of the knob gives more or less regeneration.",
    )
    drawn = [s for s in sweeps if s.points]
    dials = [p.dial_hz / 1e6 for s in drawn for p in s.points]
    top = max(1.2, 1.06 * max((p.gain for s in drawn for p in s.points), default=1.0))
    if dials:
        _frequency_axis(ax, min(dials) * 0.95, max(dials) * 1.05)
    ax.set_ylim(0.0, top)
    ax.axhspan(1.0, top, facecolor=style.SHADE, edgecolor="none", zorder=0)
    ax.axhline(1.0, color=style.INK, linewidth=1.1, zorder=2)
    labels = []
    for index, sweep in enumerate(sweeps):
        if not sweep.points:
            continue
        pen = style.pen(index)
        x = [p.dial_hz / 1e6 for p in sweep.points]
        y = [p.gain for p in sweep.points]
        ax.plot(x, y, gid=f"gain-{index}", marker=pen.mark, markersize=4.5, zorder=3, **pen.line())
        words = f"T {min(y):.2f} to {max(y):.2f}"
        labels.append(EndLabel(x[-1], y[-1], sweep.band, (words,), pen))
    label_ends(ax, labels)
    return ax


def plot_onset_over_dial(sweeps: Sequence[DialSweep], ax: Axes | None = None) -> Axes:
    """Draw where on the control onset lies over the dial of each coil; no mark where there is none. Returns
    axes.
    """
    ax = style.new_axes() if ax is None else ax
    style.dress(
        ax,
        title="Onset over the dial of each coil",
        subtitle="Where on the control oscillation begins; the line breaks where it does not.",
        x="Dial (MHz)",
        y="Onset (% of the control's travel)",
        under="How far the knob must be turned to start oscillation, along the dial of each coil.",
    )
    dials = [p.dial_hz / 1e6 for s in sweeps for p in s.points]
    if dials:
        _frequency_axis(ax, min(dials) * 0.95, max(dials) * 1.05)
    ax.set_ylim(0.0, 100.0)
    labels = []
    for index, sweep in enumerate(sweeps):
        if not sweep.points:
            continue
        pen = style.pen(index)
        x = [p.dial_hz / 1e6 for p in sweep.points]
        # NaN leaves a gap for the eye only; the result has a status there
        y = [100.0 * p.onset.rotation if p.onset else np.nan for p in sweep.points]
        ax.plot(x, y, gid=f"onset-{index}", marker=pen.mark, markersize=4.5, zorder=3, **pen.line())
        there = [(a, b) for a, b in zip(x, y, strict=True) if np.isfinite(b)]
        if there:
            words = f"{min(b for _, b in there):.0f} to {max(b for _, b in there):.0f} %"
            labels.append(EndLabel(*there[-1], sweep.band, (words,), pen))
        else:
            labels.append(EndLabel(x[-1], 50.0, sweep.band, ("no onset on this dial",), pen))
    label_ends(ax, labels)
    return ax


_PARTS = (
    ("coil", "coil_loss", "#0072b2"),
    ("tube input", "input_loss", "#c24e00"),
    ("grid leak", "leak_loss", "#5b5b5b"),
    ("aerial and rest", "other_loss", "#00795a"),
)


def _in_band(sweep: DialSweep) -> DialPoint | None:
    """Return the point next to the middle of the band asked for, None if none was found within it."""
    inside = [p for p in sweep.points if sweep.from_hz <= p.dial_hz <= sweep.to_hz]
    middle = math.sqrt(sweep.from_hz * sweep.to_hz)
    return min(inside, key=lambda p: abs(p.dial_hz - middle), default=None)


def plot_losses(sweeps: Sequence[DialSweep], ax: Axes | None = None) -> Axes:
    """Draw whose the tank's losses are in the middle of each coil's band, as stacked bars. Returns the
    axes.
    """
    ax = style.new_axes(right=2.0) if ax is None else ax
    drawn = [(sweep, point) for sweep in sweeps if (point := _in_band(sweep)) is not None]
    lost = [sweep.band for sweep in sweeps if _in_band(sweep) is None]
    style.dress(
        ax,
        title="What loads the tank",
        subtitle="Shares of the losses in the middle of each coil's band."
        + (f" Not found: {', '.join(lost)}." if lost else ""),
        x="",
        y="Share of the losses (%)",
        under="What takes energy from the tuned circuit. The largest part is the one worth improving.",
    )
    for index, (_, point) in enumerate(drawn):
        bottom = 0.0
        for number, (_, field, colour) in enumerate(_PARTS):
            share = 100.0 * max(getattr(point, field), 0.0)
            ax.bar(index, share, bottom=bottom, width=0.62, color=colour, gid=f"loss-{index}-{number}",
                   hatch=("", "//", "..", "xx")[number], edgecolor="white", linewidth=0.6)  # fmt: skip
            bottom += share
        ax.text(index, 101.5, f"Q {point.loaded_q:.0f}", ha="center", fontsize=style.SMALL, color=style.INK)
    ax.set_xticks(range(len(drawn)))
    ax.set_xticklabels(
        [f"{shorten(s.band, 12)}\n{fixed(p.dial_hz, 2, 1e-6)} MHz" for s, p in drawn],
        parse_math=False,
    )
    ax.set_ylim(0.0, 107.0)
    ax.grid(False, axis="x")
    handles = [ax.patches[number] for number in range(len(_PARTS))] if drawn else []
    names = [name for name, _, _ in _PARTS[: len(handles)]]
    ax.legend(
        handles, names, loc="upper left", bbox_to_anchor=(1.02, 1.0), frameon=False,
        fontsize=style.SMALL, labelcolor=style.INK,
    )  # fmt: skip
    return ax


def plot_breakthrough(results: Sequence[Breakthrough], ax: Axes | None = None) -> Axes:
    """Draw grid volts per volt of e.m.f. against frequency for each coil, shield off and on. Returns the
    axes.

    The solid line is without the shield, the dotted one with it; the station's frequency is marked.
    """
    ax = style.new_axes() if ax is None else ax
    both = any(r.shielded is not None for r in results)
    style.dress(
        ax,
        title="From aerial to grid" + (", without and with the shield" if both else ""),
        subtitle="Solid: no shield; dotted: shield. E.m.f. as the station's, feeder included; tube cold."
        if both
        else "Coupled by a capacitor, where no shield helps. Tube cold, so no regeneration.",
        x="Frequency (MHz)",
        y="Grid to cathode over e.m.f. (dB)",
        under="How much of each station reaches the tube. A strong "
        "station far off the dial should be well down.",
    )
    low = min(float(r.frequency_hz[0]) for r in results) / 1e6
    high = max(float(r.frequency_hz[-1]) for r in results) / 1e6
    _frequency_axis(ax, low, high)
    labels, floor, top = [], 0.0, 0.0
    for index, result in enumerate(results):
        pen, x = style.pen(index), result.frequency_hz / 1e6
        level = _db(result.unshielded)
        ax.plot(x, level, color=pen.colour, linewidth=1.5, gid=f"open-{index}", zorder=3)
        floor, top = min(floor, float(level.min())), max(top, float(level.max()))
        words = []
        if result.shielded is not None:
            shielded = _db(result.shielded)
            ax.plot(x, shielded, color=pen.colour, linewidth=1.3, linestyle=(0, (1.4, 1.4)),
                    gid=f"shield-{index}", zorder=3)  # fmt: skip
            floor = min(floor, float(shielded.min()))
            if result.station_shielded_v:
                gained = 20.0 * np.log10(result.station_v / result.station_shielded_v)
                words.append(f"shield gains {gained:.1f} dB")
        words.insert(0, f"station {result.station_v * 1e3:.3g} mV")
        labels.append(EndLabel(float(x[-1]), float(level[-1]), result.band, tuple(words), pen))
    ax.set_ylim(max(floor - 3.0, -150.0), top + 6.0)
    station = results[0].station_hz / 1e6
    ax.axvline(station, color=style.SOFT, linewidth=1.0, linestyle=(0, (4, 3)), zorder=1)
    ax.annotate(
        f"station {station * 1e3:.0f} kHz", (station, 0.98), (4, 0), xycoords=ax.get_xaxis_transform(),
        textcoords="offset points", fontsize=style.SMALL, color=style.SOFT, va="top",
    )  # fmt: skip
    label_ends(ax, labels)
    return ax


def _db(ratio: np.ndarray) -> np.ndarray:
    return 20.0 * np.log10(np.maximum(np.asarray(ratio, dtype=np.float64), 1e-9))
