"""Screen voltage against the knob: how far apart do the bands lie, how wide is the approach to onset?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.transforms import ScaledTranslation

from receiver_sim.results.onset import GainAgainstScreen, Onset
from receiver_sim.views.control_words import Words, set_to, words_of
from receiver_sim.views.numbers import fixed, percent
from receiver_sim.views.plots import style
from receiver_sim.views.plots.labels import EndLabel, label_ends
from receiver_sim.views.states import IN_SHORT


def plot_control(
    curves: Sequence[GainAgainstScreen],
    ax: Axes | None = None,
    *,
    onsets: Sequence[Onset] = (),
    order: Sequence[str] = (),
) -> Axes:
    """Draw screen voltage against the rotation of the control, each band's onset and approach from T = 0.9.

    The curve is almost the same on every band, so all are drawn alike. Bands without onset are named with
    their status. order: names of all bands, for the colours. Returns the axes.
    """
    ax = style.new_axes() if ax is None else ax
    sets = words_of([*curves, *(o.onset for o in onsets)])
    style.dress(
        ax,
        title=_title(sets),
        subtitle="Marks: onset of each band; bars below the curve: approach from T = 0.9 to onset.",
        x="Rotation of the regeneration control (% of travel)",
        y=axis(sets),
        under="What turning the knob does. A flat line near the marks: a gentle control.",
    )
    ax.set_xlim(0.0, 100.0)
    style.plain_ticks(ax.xaxis, range(0, 101, 10))
    highest = max((sets.scale * float(c.figure.max()) for c in curves), default=1.0)
    ax.set_ylim(0.0, highest * 1.05)
    for index, curve in enumerate(curves):
        ax.plot(
            curve.rotation * 100.0, curve.figure * sets.scale, color=style.SOFT, linewidth=1.1, zorder=2,
            gid=f"screen-{index}", label=curve.band,
        )  # fmt: skip
    labels: list[EndLabel] = []
    lanes = _lanes(onsets)
    figure = ax.get_figure()
    assert figure is not None
    for index, found in enumerate(onsets):
        pen = style.pen_of(found.band, order, index)
        at = found.onset
        if at is None:
            continue
        near = found.at_nine_tenths
        if near is not None:
            path = _path(curves, near.rotation, at.rotation)
            ends = (
                [near.rotation * 100.0, *path[0], at.rotation * 100.0],
                [sets.scale * y for y in (near.figure, *path[1], at.figure)],
            )
            # Bars of neighbouring bands would cover each other: moved down by some points, true in rotation.
            lower = ScaledTranslation(0.0, -(9.0 + 5.0 * lanes[index]) / 72.0, figure.dpi_scale_trans)
            ax.plot(
                *ends, color=pen.colour, linewidth=3.0, solid_capstyle="butt", zorder=3,
                gid=f"approach-{index}", transform=ax.transData + lower,
            )  # fmt: skip
        place = (at.rotation * 100.0, at.figure * sets.scale)
        ax.plot([place[0]], [place[1]], gid=f"onset-{index}", label=found.band, **pen.dot())
        turn = (
            "" if found.approach_deg is None else f", approach {fixed(found.approach_deg, 0)}\N{DEGREE SIGN}"
        )
        detail = f"{percent(at.rotation)}, {set_to(at)}{turn}"
        labels.append(EndLabel(at.rotation * 100.0, at.figure * sets.scale, found.band, (detail,), pen))
    label_ends(ax, labels)
    _name_the_rest(ax, [o for o in onsets if o.onset is None])
    return ax


def _title(sets: Words) -> str:
    return f"{'Screen voltage' if sets.name == 'screen' else sets.whole.capitalize()} against the control"


def axis(sets: Words) -> str:
    """Return the label of an axis of what the control sets."""
    return f"{sets.name.capitalize()} ({sets.unit}{', d.c. to ground' if sets.unit == 'V' else ''})"


def _lanes(onsets: Sequence[Onset]) -> dict[int, int]:
    """Return for each onset the first lane in which its bar covers none before it."""
    spans = {
        index: (item.at_nine_tenths.rotation, item.onset.rotation)
        for index, item in enumerate(onsets)
        if item.onset is not None and item.at_nine_tenths is not None
    }
    ends: list[float] = []
    lanes = {}
    for index, (start, end) in sorted(spans.items(), key=lambda entry: entry[1]):
        lane = next((n for n, taken in enumerate(ends) if taken < start), len(ends))
        ends[lane : lane + 1] = [end]
        lanes[index] = lane
    return lanes


def _path(curves: Sequence[GainAgainstScreen], low: float, high: float) -> tuple[list[float], list[float]]:
    """Return the points of the first curve between two rotations, so that the approach lies on it."""
    if not curves:
        return [], []
    inside = np.flatnonzero((curves[0].rotation > low) & (curves[0].rotation < high))
    return [float(curves[0].rotation[i]) * 100.0 for i in inside], [
        float(curves[0].figure[i]) for i in inside
    ]


def _name_the_rest(ax: Axes, rest: Sequence[Onset]) -> None:
    if not rest:
        return
    lines = [f"{o.band}: {IN_SHORT[o.status]}" for o in rest]
    ax.text(
        0.015, 0.975, "\n".join(lines), transform=ax.transAxes, fontsize=style.SMALL, color=style.SOFT,
        va="top", linespacing=1.4, parse_math=False,
    )  # fmt: skip
