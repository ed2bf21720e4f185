"""The plots of the envelope verbs, written to a folder."""

from __future__ import annotations

from pathlib import Path
from typing import cast

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from receiver_sim.results.envelope import Detection, OscillationReport
from receiver_sim.views.files import slug
from receiver_sim.views.plots import save
from receiver_sim.views.plots.envelope import (
    plot_amplitude,
    plot_detection,
    plot_pulling,
    plot_verification,
)
from receiver_sim.views.plots.modes import plot_modes


def _save(axes: Axes, folder: Path, stem: str) -> list[Path]:
    return list(save(cast(Figure, axes.get_figure()), folder, stem))


def write_onset(report: OscillationReport, folder: Path) -> tuple[Path, ...]:
    """Write amplitude against control of each band, its modes and ramps where they were run; return the
    paths.
    """
    out: list[Path] = []
    for band in report.bands:
        name = slug(band.oscillation.band)
        out += _save(plot_amplitude(band.oscillation, overlays=band.overlays), folder, f"amplitude-{name}")
        if band.stability:
            out += _save(plot_modes(band.stability), folder, f"modes-{name}")
        if band.verification is not None:
            out += _save(plot_verification(band.verification), folder, f"reference-{name}")
    return tuple(out)


def write_detection(found: Detection, folder: Path) -> tuple[Path, ...]:
    """Write sensitivity against control and pulling; return the paths."""
    name = slug(found.band)
    return (
        *_save(plot_detection(found), folder, f"sensitivity-{name}"),
        *_save(plot_pulling(found), folder, f"pulling-{name}"),
    )
