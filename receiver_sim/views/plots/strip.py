"""Where on the knob does each band break into oscillation, and where does it stop on the way back?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from matplotlib.axes import Axes
from matplotlib.transforms import blended_transform_factory

from receiver_sim.results.envelope import Jump, Oscillation
from receiver_sim.results.onset import Onset
from receiver_sim.results.spread import BandSpread
from receiver_sim.views.numbers import percent, shorten
from receiver_sim.views.plots import style
from receiver_sim.views.states import IN_SHORT

_ROW_INCH, _AROUND_INCH = 0.5, 1.95
_BESIDE = 1.03
"""Where the words beside the rows begin, in widths of the axes."""


def plot_strip(
    onsets: Sequence[Onset],
    ax: Axes | None = None,
    *,
    strengths: Sequence[Oscillation] = (),
    ranges: Sequence[BandSpread] = (),
) -> Axes:
    """Draw one line a band: the travel of the knob, the onset as a mark, backlash as a bar before it.

    onsets: of the middle of each band, the first at the top; strengths: of the same bands, for backlash;
    ranges: of the same bands, where onset lies in eight of ten sets, as a wide bar with words beside it.
    Returns the axes.
    """
    spans = {one.band: one for one in ranges}
    if ax is None:
        height = _AROUND_INCH + _ROW_INCH * max(len(onsets), 2)
        ax = style.new_axes(height=height, right=1.75 if spans else 0.3)
    said = "Mark: onset of each band; dark bar: backlash; shaded: it oscillates"
    style.dress(
        ax,
        title="Where regeneration begins",
        subtitle=f"{said}{'; pale bar: eight of ten sets.' if spans else '.'}",
        x="Rotation of the regeneration control (% of travel)",
        y="Band (dial at its middle)",
        under="Turn the knob from left to right: at the mark the band starts to oscillate.",
    )
    ax.set_xlim(0.0, 100.0)
    ax.set_ylim(len(onsets) - 0.4, -0.6)
    style.plain_ticks(ax.xaxis, range(0, 101, 10))
    ax.set_yticks(range(len(onsets)), [shorten(one.band, 8) for one in onsets], parse_math=False)
    jumps = {one.band: one.jump for one in strengths}
    for index, found in enumerate(onsets):
        ax.plot(
            [0.0, 100.0], [index, index], color=style.SOFT, linewidth=0.8, zorder=1, gid=f"travel-{index}"
        )
        span = spans.get(found.band)
        if span is not None:
            _range(ax, index, span)
        if found.onset is None:
            ax.text(
                1.0, index - 0.12, IN_SHORT[found.status], fontsize=style.SMALL, color=style.SOFT, va="bottom"
            )
            continue
        at = found.onset.rotation * 100.0
        ax.barh(index, 100.0 - at, left=at, height=0.5, color=style.SHADE, zorder=0)
        _backlash(ax, index, jumps.get(found.band))
        ax.plot([at], [index], gid=f"onset-{index}", label=found.band, **style.pen(0).dot())
        side = "right" if at > 15.0 else "left"
        ax.text(
            at + (-1.5 if side == "right" else 1.5), index - 0.12, percent(found.onset.rotation, 1), ha=side,
            va="bottom", fontsize=style.SMALL, color=style.INK, zorder=6,
        )  # fmt: skip
    return ax


def _backlash(ax: Axes, index: int, jump: Jump | None) -> None:
    if jump is None:
        return
    back = [jump.down.rotation * 100.0, jump.up.rotation * 100.0]
    ax.plot(
        back, [index + 0.18] * 2, color=style.INK, linewidth=3.0, solid_capstyle="butt",
        gid=f"backlash-{index}",
    )  # fmt: skip


def _range(ax: Axes, index: int, span: BandSpread) -> None:
    """Draw where onset lies in eight of ten sets, and say it beside the row."""
    if span.knob_low is not None and span.knob_high is not None:
        ends = [100.0 * span.knob_low, 100.0 * span.knob_high]
        ax.plot(
            ends, [index, index], color=style.pen(0).colour, linewidth=6.5, alpha=0.3,
            solid_capstyle="butt", zorder=2, gid=f"range-{index}",
        )  # fmt: skip
        text = f"{percent(span.knob_low)} to {percent(span.knob_high)}"
    else:
        text = "no set oscillates"
    place = blended_transform_factory(ax.transAxes, ax.transData)
    looks: dict[str, Any] = {"transform": place, "fontsize": style.SMALL, "va": "center"}
    ax.text(_BESIDE, index - 0.14, text, color=style.INK, **looks)
    ax.text(
        _BESIDE, index + 0.2, f"onset in {span.oscillating} of {span.sets} sets", color=style.SOFT, **looks
    )
