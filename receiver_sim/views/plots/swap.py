"""Plots of a substitution: where each candidate begins to oscillate on the knob, or what it brings."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.transforms import blended_transform_factory

from receiver_sim.results.base import Status
from receiver_sim.results.swap import DetectorCandidate, SwapReport
from receiver_sim.views.numbers import shorten
from receiver_sim.views.plots import style

_ROW_INCH = 0.27


def plot_swap(report: SwapReport, ax: Axes | None = None) -> Axes:
    """Draw the candidates of a socket from the best down; return the axes.

    Detector: the knob at onset, a mark a band, with the detection against the tube in place and the weakest
    signal beside it. Audio: the gain as bars, with the plate current beside it. R.f. stage: the signal at the
    tank against the tube in place, a mark a band, with what is radiated and the plate current beside it.
    """
    rows = report.detectors or report.audios or report.rf_stages
    height = 2.05 + _ROW_INCH * max(len(rows), 3)
    ax = style.new_axes(height=height, right=2.3) if ax is None else ax
    if report.socket == "detector":
        _detector(report, ax)
    elif report.socket == "rf":
        _rf_stage(report, ax)
    else:
        _audio(report, ax)
    ax.set_ylim(len(rows) - 0.4, -0.6)
    ax.set_yticks(range(len(rows)), [c.tube for c in rows])
    for label in ax.get_yticklabels():
        label.set_fontweight("bold" if label.get_text() == report.reference else "normal")
    ax.grid(False, axis="y")
    return ax


def _beside(ax: Axes, row: float, x: float, text: str, *, bold: bool = False) -> None:
    place = blended_transform_factory(ax.transAxes, ax.transData)
    ax.text(
        x, row, text, transform=place, fontsize=style.SMALL, color=style.INK, va="center",
        fontweight="bold" if bold else "normal", parse_math=False,
    )  # fmt: skip


def _detector(report: SwapReport, ax: Axes) -> None:
    style.dress(
        ax,
        title=f"Tubes for the detector: onset on the knob, best first (in place: {report.reference})",
        subtitle="",
        x="Knob at onset (% of its travel)",
        y="",
        under="One line for each tube: where on the knob each band starts to oscillate with it.",
    )
    reference = next((c.detection for c in report.detectors if c.in_place), None)
    bands = next(([o.onset.band for o in c.bands] for c in report.detectors if c.bands), [])
    for row, c in enumerate(report.detectors):
        places = [o.onset.onset.rotation for o in c.bands if o.onset.onset is not None]
        ax.axhline(row, color=style.GRID, linewidth=0.8, zorder=1)
        if places:
            ends = [100.0 * min(places), 100.0 * max(places)]
            ax.plot(ends, [row, row], color=style.SOFT, linewidth=1.2, zorder=2)
        for index, outcome in enumerate(c.bands):
            if outcome.onset.onset is not None:
                hard = outcome.kind is not None and outcome.kind.value != "soft"
                look = style.pen(index).dot()
                if hard:
                    look |= {"markerfacecolor": "white", "markeredgecolor": style.pen(index).colour}
                ax.plot([100.0 * outcome.onset.onset.rotation], [row], gid=f"onset-{row}-{index}", **look)
        _missing(ax, row, c)
        if c.detection is not None and reference is not None:
            _beside(ax, row, 1.03, f"{c.detection.total_per_v / reference.total_per_v:.2f}", bold=c.in_place)
        if c.noise is not None:
            volts = c.noise.weakest[0].aerial_v or c.noise.weakest[0].grid_v
            _beside(ax, row, 1.19, f"{1e6 * volts:.2f} uV", bold=c.in_place)
    _beside(ax, -1.0, 1.03, "detects, x")
    _beside(ax, -1.0, 1.19, "weakest in 500 Hz")
    ax.set_xlim(0.0, 100.0)
    _name_bands(ax, bands)


def _name_bands(ax: Axes, bands: list[str]) -> None:
    handles = [
        ax.plot([], [], label=shorten(name, 12), **style.pen(i).dot())[0] for i, name in enumerate(bands)
    ]
    if handles:
        ax.legend(
            handles=handles, loc="lower left", bbox_to_anchor=(-0.02, 1.0), ncol=min(len(handles), 8),
            frameon=False, fontsize=style.SMALL, labelcolor=style.INK, handletextpad=0.2, columnspacing=1.2,
            borderpad=0.2,
        )  # fmt: skip


_WITHOUT = {
    Status.NOT_IN_RANGE: "oscillates at every setting",
    Status.DOES_NOT: "does not oscillate",
    Status.FAILED: "the simulation failed",
}
"""What is said of bands without an onset."""


def _missing(ax: Axes, row: int, c: DetectorCandidate) -> None:
    """Say beside the marks on how many bands there is no onset within the control."""
    if c.failed is not None:
        text = _WITHOUT[Status.FAILED]
    else:
        lacking = [o.onset for o in c.bands if o.onset.onset is None]
        if not lacking:
            return
        text = "; ".join(
            _WITHOUT[status] + ("" if len(alike) == len(c.bands) else f" on {', '.join(alike)}")
            for status in _WITHOUT
            if (alike := [o.band for o in lacking if o.status is status])
        )
    places = [o.onset.onset.rotation for o in c.bands if o.onset.onset is not None]
    right = bool(places) and min(places) < 0.5  # on the side away from the marks
    ax.text(
        99.0 if right else 1.0, row, text, fontsize=style.SMALL, color=style.SOFT, fontstyle="italic",
        va="center", ha="right" if right else "left", parse_math=False, zorder=4,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0},
    )  # fmt: skip


def _rf_stage(report: SwapReport, ax: Axes) -> None:
    style.dress(
        ax,
        title=f"Tubes for the r.f. stage: signal at the tank, best first (in place: {report.reference})",
        subtitle="",
        x="Signal at the tank against the tube in place (dB)",
        y="",
        under="How much more, or less, of a station each tube brings to the detector. Open marks: a rating "
        "is exceeded. Radiates: the most on any band.",
    )
    bands = next(([o.band for o in c.bands] for c in report.rf_stages if c.failed is None), [])
    for row, c in enumerate(report.rf_stages):
        ax.axhline(row, color=style.GRID, linewidth=0.8, zorder=1)
        over = any(line.exceeded for line in c.ratings)
        for index, one in enumerate(c.bands):
            look = style.pen(index).dot()
            if over:
                look |= {"markerfacecolor": "white", "markeredgecolor": style.pen(index).colour}
            ax.plot([one.gain_db], [row], gid=f"signal-{row}-{index}", **look)
        if c.bands:
            most = max(one.radiation_db for one in c.bands)
            _beside(ax, row, 1.03, "0 dB" if c.in_place else f"{most:+.1f} dB", bold=c.in_place)
        _beside(ax, row, 1.19, "-" if c.plate_a is None else f"{1e3 * c.plate_a:.2f} mA", bold=c.in_place)
    _beside(ax, -1.0, 1.03, "radiates")
    _beside(ax, -1.0, 1.19, "plate current")
    _name_bands(ax, bands)


def _audio(report: SwapReport, ax: Axes) -> None:
    style.dress(
        ax,
        title=f"Tubes for the audio stage: gain to the first phones (in place: {report.reference})",
        subtitle="At 1 kHz, from its grid. Open bars: a rating is exceeded.",
        x="Gain (V/V)",
        y="",
        under="How many times each tube makes the sound larger. Longer bars: louder.",
    )
    for row, c in enumerate(report.audios):
        pen = style.pen(1 if c.in_place else 0)
        over = any(line.exceeded for line in c.ratings)
        if c.gain is not None:
            ax.barh(
                row, c.gain, height=0.6, facecolor="white" if over else pen.colour, edgecolor=pen.colour,
                linewidth=1.1, zorder=3, gid=f"gain-{row}",
            )  # fmt: skip
        _beside(ax, row, 1.03, "-" if c.plate_a is None else f"{1e3 * c.plate_a:.2f} mA", bold=c.in_place)
        _beside(ax, row, 1.19, "as triode" if c.tied else "")
    _beside(ax, -1.0, 1.03, "plate current")
