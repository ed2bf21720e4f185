"""Plots of tube curves with the published points on them, and of what a fit leaves over."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from matplotlib.axes import Axes

from receiver_sim.results.base import FloatArray
from receiver_sim.results.tube_curves import GmLine, PrintedMark, TubeCurves
from receiver_sim.results.tubes import PointError
from receiver_sim.views.plots import style
from receiver_sim.views.plots.labels import EndLabel, label_ends, spread

_RECALLED = "Marks: published points, filled where the figure was seen, open where it is recalled."
_TAGS = {"plate_current": "Ip", "screen_current": "Is", "gm": "gm", "mu": "mu", "rp": "rp", "bias": "cut-off"}


def plot_plate_family(curves: TubeCurves, ax: Axes | None = None) -> Axes:
    """Draw plate current against plate volts at each grid bias, with the limit of dissipation."""
    ax = style.new_axes(right=1.75) if ax is None else ax
    screen = "" if curves.family_screen_v is None else f" at {curves.family_screen_v:g} V on the screen"
    style.dress(
        ax,
        title=f"{_name(curves)}: plate current{screen}",
        subtitle=f"{_RECALLED} Dotted: bias beyond them.",
        x="Plate (V from the cathode)",
        y="Plate current (mA)",
        under="How much current the tube passes at each plate voltage; one line for each grid voltage.",
    )
    lines = [(line.grid_v, line.plate_v, line.plate_a) for line in curves.plate_lines]
    points = [(m.plate_v, m.plate_a, m) for m in _on_family(curves)]
    _family(ax, curves, lines, points)
    if curves.rating_w is not None:
        volts = np.linspace(1.0, ax.get_xlim()[1], 400)
        ax.plot(volts, 1e3 * curves.rating_w / volts, color=style.SOFT, linewidth=1.0, zorder=2, gid="rating")
        at = max(curves.rating_w * 1e3 / (0.93 * ax.get_ylim()[1]), 0.02 * ax.get_xlim()[1])
        ax.annotate(
            f"{curves.rating_w:g} W", (at, 1e3 * curves.rating_w / at), (4, -2), textcoords="offset points",
            fontsize=style.SMALL, color=style.SOFT, va="top",
        )  # fmt: skip
    return ax


def plot_screen_current(curves: TubeCurves, ax: Axes | None = None) -> Axes:
    """Draw screen current against plate volts at each grid bias, of a tube with a screen."""
    ax = style.new_axes(right=1.75) if ax is None else ax
    style.dress(
        ax,
        title=f"{_name(curves)}: screen current at {curves.family_screen_v:g} V on the screen",
        subtitle=f"{_RECALLED} Dotted: bias beyond them.",
        x="Plate (V from the cathode)",
        y="Screen current (mA)",
        under="How much current the screen takes at each plate voltage; one line for each grid voltage.",
    )
    lines = [(k.grid_v, k.plate_v, k.screen_a) for k in curves.plate_lines if k.screen_a is not None]
    points = [(m.plate_v, m.screen_a, m) for m in _on_family(curves)]
    _family(ax, curves, lines, points)
    return ax


def plot_transfer(curves: TubeCurves, ax: Axes | None = None) -> Axes:
    """Draw plate current against grid volts at each published pair of plate and screen; return the axes."""
    ax = style.new_axes(right=2.0) if ax is None else ax
    style.dress(
        ax,
        title=f"{_name(curves)}: plate current against grid volts",
        subtitle=_RECALLED,
        x="Grid (V from the cathode)",
        y="Plate current (mA)",
        under="The steeper the line, the more the grid commands the "
        "current: that is the tube's amplification.",
    )
    labels = []
    for index, line in enumerate(curves.transfer_lines):
        pen = style.pen(index)
        ax.plot(line.grid_v, 1e3 * line.plate_a, gid=f"transfer-{index}", zorder=3, **pen.line())
        screen = () if line.screen_v is None else (f"screen {line.screen_v:.3g} V",)
        end = (float(line.grid_v[-1]), 1e3 * float(line.plate_a[-1]))
        labels.append(EndLabel(*end, f"plate {line.plate_v:.3g} V", screen, pen))
        for mark in curves.marks:
            if (mark.plate_v, mark.screen_v) == (line.plate_v, line.screen_v) and mark.plate_a is not None:
                _dot(ax, mark.grid_v, 1e3 * mark.plate_a, mark, pen)
    left = min((float(line.grid_v[0]) for line in curves.transfer_lines), default=-10.0)
    top = max((1e3 * float(line.plate_a.max()) for line in curves.transfer_lines), default=1.0)
    ax.set_xlim(left, 0.0)
    ax.set_ylim(0.0, 1.05 * top)
    _shade(ax, curves.grid_range)
    label_ends(ax, labels)
    return ax


def plot_gm_against_screen(curves: TubeCurves, ax: Axes | None = None) -> Axes:
    """Draw gm against screen volts: grid floating at its leak, as in a detector, and at printed biases."""
    ax = style.new_axes(right=2.1) if ax is None else ax
    leak = f"{curves.leak_ohm / 1e6:.2g}"
    style.dress(
        ax,
        title=f"{_name(curves)}: transconductance against screen voltage",
        subtitle=f"Marks: published, open if recalled. Floating: grid leak of {leak} Mohm to cathode.",
        x="Screen (V from the cathode)",
        y="gm (umho)",
        under="How strongly the grid commands the plate current. More "
        "screen voltage gives more regeneration.",
    )
    labels = []
    for index, line in enumerate(curves.gm_lines):
        pen = style.pen(index)
        ax.plot(line.screen_v, 1e6 * line.gm_siemens, gid=f"gm-{index}", zorder=3, **pen.line())
        end = (float(line.screen_v[-1]), 1e6 * float(line.gm_siemens[-1]))
        labels.append(EndLabel(*end, *_gm_words(line), pen))
        for mark in curves.marks:
            fits = (mark.plate_v, mark.grid_v) == (line.plate_v, line.bias_v)
            if fits and mark.screen_v is not None and mark.gm_siemens is not None:
                _dot(ax, mark.screen_v, 1e6 * mark.gm_siemens, mark, pen)
    if curves.gm_lines:
        ax.set_xlim(0.0, max(float(line.screen_v[-1]) for line in curves.gm_lines))
        ax.set_ylim(0.0, 1.06e6 * max(float(line.gm_siemens.max()) for line in curves.gm_lines))
    if curves.screen_range is not None:
        _shade(ax, curves.screen_range)
    label_ends(ax, labels)
    return ax


def plot_residuals(type_name: str, residuals: Sequence[PointError], ax: Axes | None = None) -> Axes:
    """Draw the error of the fitted law at every figure of every point against its limit; return the axes.

    residuals: those of a fit. Each figure is a bar from zero; the pale band is the limit it is held to.
    """
    rows = list(residuals)
    height = max(2.6, 1.75 + 0.24 * len(rows))
    ax = style.new_axes(height=height, right=0.45) if ax is None else ax
    style.dress(
        ax,
        title=f"{type_name}: errors of the fit",
        subtitle="Model over print, less one. Pale: the limit. Open bars: doubtful figures, not held to it.",
        x="Error (%)",
        y="",
        under="How far the model of the tube is from each printed figure. Short bars: a good fit.",
    )
    reach = 100.0 * max([0.06, *(abs(r.error) for r in rows), *(r.limit or 0.0 for r in rows)]) * 1.08
    for place, row in enumerate(rows):
        if row.limit is not None:
            ax.barh(
                place, 200.0 * row.limit, left=-100.0 * row.limit, height=0.82, color=style.SHADE, zorder=1
            )
        pen = style.pen(1 if row.gated and not row.holds else 0)
        ax.barh(
            place, 100.0 * row.error, height=0.42, zorder=3, gid=f"residual-{place}", linewidth=1.0,
            edgecolor=pen.colour, facecolor=pen.colour if row.gated else "white",
        )  # fmt: skip
    ax.axvline(0.0, color=style.INK, linewidth=0.9, zorder=4)
    ax.set_xlim(-reach, reach)
    ax.set_ylim(len(rows) - 0.4, -0.6)
    ax.set_yticks(range(len(rows)), [_row_name(row) for row in rows])
    ax.grid(False, axis="y")
    figure = ax.get_figure()
    if figure is not None and len(figure.axes) == 1:
        box = ax.get_position()
        ax.set_position((0.30, box.y0, 0.955 - 0.30, box.height))
    return ax


def _row_name(row: PointError) -> str:
    volts = f"{row.plate_v:g}" if row.screen_v is None else f"{row.plate_v:g}/{row.screen_v:g}"
    tied = "triode " if row.connection == "triode" and row.screen_v is None else ""
    return f"{tied}{volts} V, {row.bias.removeprefix('cut-off ')}: {_TAGS[row.quantity]}"


def _name(curves: TubeCurves) -> str:
    return f"{curves.type} as triode" if curves.screen_range is None and curves.tied else curves.type


def _gm_words(line: GmLine) -> tuple[str, tuple[str, ...]]:
    if line.bias_v is None:
        low, high = float(line.grid_v.min()), float(line.grid_v.max())
        rest = f"{low:.2f} V" if high - low < 0.005 else f"{high:.2f} to {low:.2f} V"
        return "floating grid", (f"rests at {rest}", f"plate {line.plate_v:.3g} V")
    return f"grid {line.bias_v:.3g} V", (f"plate {line.plate_v:.3g} V",)


def _on_family(curves: TubeCurves) -> Iterator[PrintedMark]:
    """Give the marks that were printed for the screen volts of the family."""
    for mark in curves.marks:
        if mark.screen_v == curves.family_screen_v:
            yield mark


def _family(
    ax: Axes,
    curves: TubeCurves,
    lines: Sequence[tuple[float, FloatArray, FloatArray]],
    points: Sequence[tuple[float, float | None, PrintedMark]],
) -> None:
    """Draw lines of constant bias with their volts at the end, and the published points."""
    pen, triode = style.pen(0), curves.family_screen_v is None
    printed = [1e3 * y for _, y, _ in points if y is not None]
    top = 1e3 * max(float(y.max()) for _, _, y in lines)
    if triode and printed:
        # lines of low bias leave any rating far behind: the axis stops well above the printed points
        top = min(top, max(2.5 * max(printed), 1e3 * 1.3 * (curves.rating_w or 0.0) / curves.rating_v))
    right = max(float(x[-1]) for _, x, _ in lines)
    ax.set_xlim(0.0, right)
    ax.set_ylim(min(0.0, 1.05e3 * min(float(y.min()) for _, _, y in lines)), 1.05 * top)
    for index, (grid_v, x, y) in enumerate(lines):
        beyond = curves.beyond_grid(grid_v)
        look = {**pen.line(), "linestyle": (0, (1.2, 1.6)) if beyond else "-", "linewidth": 1.5}
        ax.plot(x, 1e3 * y, gid=f"family-{index}", zorder=3, **look)
    _bias_labels(ax, lines)
    dot = style.pen(1)
    for x_v, y_a, mark in points:
        if y_a is not None:
            _dot(ax, x_v, 1e3 * y_a, mark, dot)
            ax.annotate(
                f"{mark.grid_v:.3g} V".replace("-", style.MINUS), (x_v, 1e3 * y_a), (6, 6),
                textcoords="offset points", fontsize=style.SMALL, color=dot.colour, zorder=6,
            )  # fmt: skip
    _shade(ax, curves.plate_range)


def _bias_labels(ax: Axes, lines: Sequence[tuple[float, FloatArray, FloatArray]]) -> None:
    """Write each bias where its line leaves the axes, on the right, kept apart, or inside at the top."""
    low, top = ax.get_ylim()
    ends, texts = [], []
    for grid_v, x, y in lines:
        text = f"{grid_v:.3g} V".replace("-", style.MINUS)
        over = np.flatnonzero(1e3 * y > top)
        if over.size and over[0] > 0:
            ax.annotate(
                text, (float(x[over[0]]), top), (-4, -3), textcoords="offset points", ha="right", va="top",
                fontsize=style.SMALL, color=style.INK, zorder=6,
            )  # fmt: skip
        else:
            ends.append((1e3 * float(y[-1]) - low) / (top - low))
            texts.append(text)
    # a line of small print takes some 12 points of the height
    figure = ax.get_figure()
    height = 12.0 / (ax.bbox.height / (figure.dpi if figure is not None else 100.0) * 72.0)
    for end, text, place in zip(ends, texts, spread(ends, [height] * len(ends)), strict=True):
        ax.annotate(
            text, (1.0, end), (1.025, place), xycoords="axes fraction", textcoords="axes fraction",
            fontsize=style.SMALL, color=style.INK, annotation_clip=False, va="center",
            arrowprops={"arrowstyle": "-", "color": style.SOFT, "linewidth": 0.6, "shrinkA": 0, "shrinkB": 0},
        )  # fmt: skip


def _dot(ax: Axes, x: float, y: float, mark: PrintedMark, pen: style.Pen) -> None:
    look = pen.dot()
    if mark.flag not in ("seen", "measured"):
        look |= {"markerfacecolor": "white", "markeredgecolor": pen.colour, "markeredgewidth": 1.6}
    ax.plot([x], [y], gid="printed", **look)


def _shade(ax: Axes, span: tuple[float, float]) -> None:
    """Shade what lies outside the volts that published points cover, and say so once."""
    left, right = ax.get_xlim()
    said = False
    for low, high in ((left, min(span[0], right)), (max(span[1], left), right)):
        if high - low <= 1e-9 * (right - left):
            continue
        ax.axvspan(low, high, facecolor=style.SHADE, edgecolor="none", zorder=0, gid="extrapolated")
        if not said and (high - low) > 0.2 * (right - left):
            ax.annotate(
                "extrapolated", (low, 1.0), (5, -4), xycoords=ax.get_xaxis_transform(),
                textcoords="offset points", fontsize=style.SMALL, color=style.SOFT, va="top",
                fontstyle="italic", zorder=6,
            )  # fmt: skip
            said = True
