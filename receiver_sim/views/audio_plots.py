"""Which plots the verbs `audio`, `hum` and `supply` write, and under which names."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from receiver_sim.outputs import FileSet
from receiver_sim.results.audio import AudioStudy
from receiver_sim.results.hum import HumStudy
from receiver_sim.results.supply import SupplyStudy

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_Drawing = tuple[str, "Callable[[], Axes]"]


def write_audio(study: AudioStudy, folder: Path | FileSet, *, title: str) -> tuple[Path, ...]:
    """Write response, levels and distortion as PNG and SVG and return their paths. Raises OutputFailed."""
    from receiver_sim.views import plots  # noqa: PLC0415 - matplotlib is slow to load
    from receiver_sim.views.plots import levels  # noqa: PLC0415

    drawings: list[_Drawing] = []
    if (response := study.response) is not None:
        drawings.append(("audio", lambda: plots.plot_audio(response)))
    if study.levels:
        drawings += [
            ("levels", lambda: levels.plot_levels(study)),
            ("distortion", lambda: levels.plot_distortion(study)),
        ]
    return _write(drawings, folder, title)


def write_hum(study: HumStudy, folder: Path | FileSet, *, title: str) -> tuple[Path, ...]:
    """Write hum against the pot, as heard, and by path for each output; as `write_audio`."""
    from receiver_sim.views import plots  # noqa: PLC0415 - matplotlib is slow to load
    from receiver_sim.views.plots import hum_paths  # noqa: PLC0415

    drawings: list[_Drawing] = []
    if (against_pot := study.hum) is not None and against_pot.pot:
        drawings.append(("hum", lambda: plots.plot_hum(against_pot)))
    if (paths := study.paths) is not None:
        drawings.append(("hum-spectrum", lambda: hum_paths.plot_hum_spectrum(paths)))
        for index in range(len(paths.outputs)):
            drawings.append((f"hum-paths-{index + 1}", partial(hum_paths.plot_hum_paths, paths, index)))
    return _write(drawings, folder, title)


def write_supply(study: SupplyStudy, folder: Path | FileSet, *, title: str) -> tuple[Path, ...]:
    """Write regulation, ripple, switching on and off of a rectifier supply; as `write_audio`."""
    from receiver_sim.views.plots import supply  # noqa: PLC0415 - matplotlib is slow to load

    drawings: list[_Drawing] = []
    if (rectified := study.rectified) is not None:
        drawings = [
            ("regulation", lambda: supply.plot_regulation(rectified)),
            ("ripple", lambda: supply.plot_ripple(rectified)),
        ]
    if (start := study.start) is not None:
        drawings.append(("switching", lambda: supply.plot_start_and_stop(start)))
    return _write(drawings, folder, title)


def _write(drawings: list[_Drawing], folder: Path | FileSet, title: str) -> tuple[Path, ...]:
    from receiver_sim.views.plots import saving  # noqa: PLC0415 - matplotlib is slow to load

    return saving.save_all(drawings, folder, title=title)
