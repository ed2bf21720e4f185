"""The plots of the envelope verbs, written to a folder."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path

from matplotlib.axes import Axes

from receiver_sim.outputs import FileSet
from receiver_sim.results.envelope import Detection, OscillationReport
from receiver_sim.views.files import slug, slugs
from receiver_sim.views.plots import save_all
from receiver_sim.views.plots.envelope import (
    plot_amplitude,
    plot_detection,
    plot_loudness,
    plot_pulling,
    plot_verification,
)
from receiver_sim.views.plots.modes import plot_modes


def write_onset(report: OscillationReport, folder: Path | FileSet) -> tuple[Path, ...]:
    """Write amplitude against control of each band, its modes and ramps where they were run; return the
    paths.
    """
    drawings: list[tuple[str, Callable[[], Axes]]] = []
    names = slugs([band.oscillation.band for band in report.bands])
    for band, name in zip(report.bands, names, strict=True):
        draw = partial(plot_amplitude, band.oscillation, overlays=band.overlays)
        drawings.append((f"amplitude-{name}", draw))
        if band.stability:
            drawings.append((f"modes-{name}", partial(plot_modes, band.stability)))
        if band.verification is not None:
            drawings.append((f"reference-{name}", partial(plot_verification, band.verification)))
    return save_all(drawings, folder, title=report.title)


def write_detection(found: Detection, folder: Path | FileSet, *, title: str) -> tuple[Path, ...]:
    """Write sensitivity against control, loudness of AM against what it passes, and pulling where it
    oscillates; return the paths.
    """
    name = slug(found.band)
    drawings: list[tuple[str, Callable[[], Axes]]] = [(f"sensitivity-{name}", partial(plot_detection, found))]
    if found.am is not None and found.am.reach_hz is not None:
        drawings.append((f"loudness-{name}", partial(plot_loudness, found)))
    if found.pulling is not None:
        drawings.append((f"pulling-{name}", partial(plot_pulling, found)))
    return save_all(drawings, folder, title=title)
