"""Where on the knob does each band break into oscillation, and where does it stop on the way back?"""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.axes import Axes

from receiver_sim.results.envelope import Oscillation
from receiver_sim.results.onset import Onset
from receiver_sim.views.numbers import percent, shorten
from receiver_sim.views.plots import style
from receiver_sim.views.states import IN_SHORT


def plot_strip(
    onsets: Sequence[Onset], ax: Axes | None = None, *, strengths: Sequence[Oscillation] = (), title: str = ""
) -> Axes:
    """Draw one line a band: the travel of the knob, the onset as a mark, backlash as a bar before it.

    onsets: of the middle of each band, the first at the top; strengths: of the same bands, for backlash.
    Returns the axes.
    """
    ax = style.new_axes() if ax is None else ax
    style.dress(
        ax,
        title=title or "Where regeneration begins",
        subtitle="Mark: onset of each band; bar before it: backlash; shaded: it oscillates.",
        x="Rotation of the regeneration control (% of travel)",
        y="Band (dial at its middle)",
    )
    ax.set_xlim(0.0, 100.0)
    ax.set_ylim(len(onsets) - 0.4, -0.6)
    style.plain_ticks(ax.xaxis, range(0, 101, 10))
    ax.set_yticks(range(len(onsets)), [shorten(one.band, 8) for one in onsets], parse_math=False)
    jumps = {one.band: one.jump for one in strengths}
    for index, found in enumerate(onsets):
        pen = style.pen(0)
        ax.plot(
            [0.0, 100.0], [index, index], color=style.SOFT, linewidth=0.8, zorder=1, gid=f"travel-{index}"
        )
        if found.onset is None:
            ax.text(
                1.0, index - 0.12, IN_SHORT[found.status], fontsize=style.SMALL, color=style.SOFT, va="bottom"
            )
            continue
        at = found.onset.rotation * 100.0
        ax.barh(index, 100.0 - at, left=at, height=0.5, color=style.SHADE, zorder=0)
        jump = jumps.get(found.band)
        if jump is not None:
            back = [jump.down.rotation * 100.0, jump.up.rotation * 100.0]
            ax.plot(
                back,
                [index + 0.18] * 2,
                color=style.INK,
                linewidth=3.0,
                solid_capstyle="butt",
                gid=f"backlash-{index}",
            )
        ax.plot([at], [index], gid=f"onset-{index}", label=found.band, **pen.dot())
        side = "right" if at > 15.0 else "left"
        ax.text(
            at + (-1.5 if side == "right" else 1.5), index - 0.12, percent(found.onset.rotation, 1), ha=side,
            va="bottom", fontsize=style.SMALL, color=style.INK,
        )  # fmt: skip
    return ax
