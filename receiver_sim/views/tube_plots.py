"""Which plots of tubes and substitution are written, and under which names."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from receiver_sim.outputs import FileSet
from receiver_sim.results.swap import SwapReport
from receiver_sim.results.tube_curves import TubeCurves
from receiver_sim.results.tubes import FitResult
from receiver_sim.views.files import slug, slugs

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def write_curves(curves: TubeCurves, folder: Path | FileSet) -> tuple[Path, ...]:
    """Write all plots of a tube as PNG and SVG and return their paths. Raises OutputFailed."""
    from receiver_sim.views import plots  # noqa: PLC0415 - matplotlib is slow to load

    stem = slug(curves.type) + ("-triode" if curves.tied else "")
    drawings: list[tuple[str, Callable[[], Axes]]] = [
        (f"{stem}-plate", lambda: plots.plot_plate_family(curves)),
        (f"{stem}-transfer", lambda: plots.plot_transfer(curves)),
    ]
    if curves.family_screen_v is not None:
        drawings.append((f"{stem}-screen", lambda: plots.plot_screen_current(curves)))
        drawings.append((f"{stem}-gm", lambda: plots.plot_gm_against_screen(curves)))
    return _write(drawings, folder)


def write_residuals(results: Sequence[FitResult], folder: Path | FileSet) -> tuple[Path, ...]:
    """Write the plot of what each fit leaves over; as `write_curves`."""
    from receiver_sim.views import plots  # noqa: PLC0415 - matplotlib is slow to load

    return _write(
        [
            (f"{name}-residuals", partial(plots.plot_residuals, one.type, one.residuals))
            for one, name in zip(results, slugs([one.type for one in results]), strict=True)
        ],
        folder,
    )


def write_swap(report: SwapReport, folder: Path | FileSet) -> tuple[Path, ...]:
    """Write the plot of a substitution; as `write_curves`."""
    from receiver_sim.views import plots  # noqa: PLC0415 - matplotlib is slow to load

    return _write([(f"swap-{report.socket}", lambda: plots.plot_swap(report))], folder, report.title)


def _write(
    drawings: Iterable[tuple[str, Callable[[], Axes]]], folder: Path | FileSet, title: str = ""
) -> tuple[Path, ...]:
    from receiver_sim.views import plots  # noqa: PLC0415 - matplotlib is slow to load

    return plots.save_all(drawings, folder, title=title)
