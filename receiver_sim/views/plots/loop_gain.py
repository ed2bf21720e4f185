"""Loop gain against screen volts: where does each band begin to oscillate, how steeply does it get there?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes

from receiver_sim.results.onset import ControlSetting, GainAgainstScreen, Onset
from receiver_sim.views.control_words import set_to, words_of
from receiver_sim.views.numbers import percent
from receiver_sim.views.plots import style
from receiver_sim.views.plots.control import axis
from receiver_sim.views.plots.labels import EndLabel, label_ends
from receiver_sim.views.states import IN_SHORT

_LOG_ABOVE = 4.0
"""Loop gain from which a linear axis would squeeze the region about 1, where the answer lies."""


def plot_loop_gain(
    curves: Sequence[GainAgainstScreen],
    ax: Axes | None = None,
    *,
    onsets: Sequence[Onset] = (),
    order: Sequence[str] = (),
) -> Axes:
    """Draw the loop gain of each band against screen volts, with T = 1 and the onsets, on one pair of axes.

    onsets: results of the onset search; the one of the same band and dial frequency gives the mark and the
    words beside a curve. order: names of all bands, for the colours. Curves whose gain exceeds 4 bring a
    logarithmic axis. Returns the axes.
    """
    ax = style.new_axes() if ax is None else ax
    sets = words_of([*curves, *(o.onset for o in onsets)])
    gains = np.concatenate([c.gain for c in curves]) if curves else np.array([1.0])
    highest, logarithmic = float(gains.max()), float(gains.max()) > _LOG_ABOVE
    top = max(1.2, highest * (1.25 if logarithmic else 1.06))
    bottom = 0.1 if logarithmic else min(0.0, float(gains.min()) * 1.06)
    drawn = {curve.band for curve in curves}
    absent = [f" {o.band}: {IN_SHORT[o.status]}." for o in onsets if o.band not in drawn]
    style.dress(
        ax,
        title=f"Loop gain against {'screen voltage' if sets.name == 'screen' else sets.whole}",
        subtitle=f"A band oscillates where its line is above T = 1; the mark is its onset.{''.join(absent)}",
        x=axis(sets),
        y="Loop gain T (V/V)",
        under="T is what comes back from once round the loop: below 1 a "
        "signal dies away, above 1 it grows by itself.",
    )
    if logarithmic:
        ax.set_yscale("log")
        style.plain_ticks(ax.yaxis, style.one_two_five(bottom, top))
    ax.set_ylim(bottom, top)
    ax.axhspan(1.0, top, facecolor=style.SHADE, edgecolor="none", zorder=0, gid="oscillates")
    ax.axhline(1.0, color=style.INK, linewidth=1.1, zorder=2, gid="unity")
    ax.annotate(
        "T = 1", (0.012, 1.0), (0, -3), xycoords=ax.get_yaxis_transform(), textcoords="offset points",
        fontsize=style.SMALL, color=style.INK, va="top",
    )  # fmt: skip
    ax.text(
        0.012, 0.975, "oscillates", transform=ax.transAxes, fontsize=style.SMALL, color=style.SOFT, va="top",
        fontstyle="italic",
    )  # fmt: skip
    if curves:
        volts = np.concatenate([c.figure * sets.scale for c in curves])
        ax.set_xlim(min(0.0, float(volts.min())), float(volts.max()) * 1.01)
    labels = []
    for index, curve in enumerate(curves):
        pen = style.pen_of(curve.band, order, index)
        # On a logarithmic axis a gain of zero or less has no place; NaN leaves a gap for the eye only.
        shown = np.where(curve.gain > 0.0, curve.gain, np.nan) if logarithmic else curve.gain
        ax.plot(
            curve.figure * sets.scale, shown, gid=f"gain-{index}", label=curve.band, zorder=3, **pen.line()
        )
        found = matching(curve, onsets)
        at = crossing(curve) if found is None else found.onset
        if at is not None:
            ax.plot([at.figure * sets.scale], [1.0], gid=f"onset-{index}", **pen.dot())
        labels.append(EndLabel(*_end(curve, top, sets.scale), curve.band, (_words(curve, at, found),), pen))
    label_ends(ax, labels)
    return ax


def matching(curve: GainAgainstScreen, onsets: Sequence[Onset]) -> Onset | None:
    """Return the onset result of the curve's band and dial frequency, None if there is none."""
    return next((o for o in onsets if o.band == curve.band and o.dial_hz == curve.dial_hz), None)


def crossing(curve: GainAgainstScreen) -> ControlSetting | None:
    """Return the first setting at which the curve rises through 1, between its points by a straight line."""
    above = curve.gain >= 1.0
    rises = np.flatnonzero(~above[:-1] & above[1:])
    if len(rises) == 0:
        return None
    before = int(rises[0])
    share = (1.0 - curve.gain[before]) / (curve.gain[before + 1] - curve.gain[before])
    between = [float(v[before] + share * (v[before + 1] - v[before])) for v in (curve.rotation, curve.figure)]
    return ControlSetting.of(*between, quantity=curve.quantity, unit=curve.unit)


def _end(curve: GainAgainstScreen, top: float, scale: float) -> tuple[float, float]:
    return scale * float(curve.figure[-1]), min(float(curve.gain[-1]), top)


def _words(curve: GainAgainstScreen, at: ControlSetting | None, found: Onset | None) -> str:
    if at is not None:
        return f"onset {set_to(at)}, knob {percent(at.rotation)}"
    if float(curve.gain.min()) >= 1.0:
        return "oscillates at every setting"
    if found is not None:
        return f"{found.status.value}, T up to {float(curve.gain.max()):.2f}"
    return f"no onset, T up to {float(curve.gain.max()):.2f}"
