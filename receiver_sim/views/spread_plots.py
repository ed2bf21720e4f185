"""Which plots `spread` writes, and under which names."""

from __future__ import annotations

from pathlib import Path

from receiver_sim.outputs import FileSet
from receiver_sim.results.spread import Spread


def write(report: Spread, folder: Path | FileSet) -> tuple[Path, ...]:
    """Write the histograms as PNG and SVG and return their paths. Raises OutputFailed."""
    from receiver_sim.views import plots  # noqa: PLC0415 - matplotlib is slow to load

    return plots.save_all(
        [("spread", lambda: plots.plot_spread(report))], folder, lambda *_: None, title=report.title
    )
