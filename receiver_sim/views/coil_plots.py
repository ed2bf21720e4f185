"""Which plots `coils` writes, and under which names."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from receiver_sim.outputs import FileSet
from receiver_sim.results.coils import CoilsReport

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Progress = Callable[[str, int, int], None]


def write(report: CoilsReport, folder: Path | FileSet, progress: Progress) -> tuple[Path, ...]:
    """Write the plots of a report as PNG and SVG and return their paths; absent parts are left out.

    progress is called with ('drawing', done, total). Raises OutputFailed.
    """
    from receiver_sim.views import plots  # noqa: PLC0415 - matplotlib is slow to load
    from receiver_sim.views.plots import coils  # noqa: PLC0415

    drawings: list[tuple[str, Callable[[], Axes]]] = []
    if report.ranges:
        drawings.append(("coil-ranges", lambda: coils.plot_ranges(report.ranges, report.coverage)))
    if any(sweep.points for sweep in report.sweeps):
        drawings += [
            ("coil-onset", lambda: coils.plot_onset_over_dial(report.sweeps)),
            ("coil-loop-gain", lambda: coils.plot_gain_over_dial(report.sweeps)),
            ("coil-losses", lambda: coils.plot_losses(report.sweeps)),
        ]
    if report.breakthrough:
        drawings.append(("breakthrough", lambda: coils.plot_breakthrough(report.breakthrough)))
    return plots.save_all(drawings, folder, progress, title=report.title)
