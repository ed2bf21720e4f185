"""Figures to files: PNG and SVG, whole or not at all, the same bytes from the same figure."""

from __future__ import annotations

import io
import re
import threading
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from types import MappingProxyType

import matplotlib
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from receiver_sim import outputs
from receiver_sim.errors import OutputFailed
from receiver_sim.outputs import FileSet
from receiver_sim.views.plots import style

DPI = 150
_PACKED = 2
"""How hard a PNG is packed: two thirds of the time that 6, the usual, takes, for files larger by 7 %."""
_HASHSALT = "receiver_sim"
# matplotlib takes the salt of an SVG's ids from a global setting only; the lock keeps savers from each
# other's.
_svg_lock = threading.Lock()


def save_all(
    drawings: Iterable[tuple[str, Callable[[], Axes]]],
    folder: Path | FileSet,
    progress: Callable[[str, int, int], None] | None = None,
    drawn: Mapping[str, bytes] = MappingProxyType({}),
    *,
    title: str,
) -> tuple[Path, ...]:
    """Draw each of `drawings` (stem, what gives its axes) on a figure of its own and `save` it.

    title: of the set, written above each; '' where there is no set, as with a tube alone. progress is called
    with ('drawing', done, total). drawn: files by name that need no drawing any more. One that can't be drawn
    does not stop the others; the first fault is raised at the end.
    """
    work = list(drawings)
    tell = progress or (lambda _what, _done, _total: None)
    written: list[Path] = []
    faults: list[Exception] = []
    for number, (stem, draw) in enumerate(work):
        tell("drawing", number, len(work))
        ready = {name: drawn[name] for name in (f"{stem}.png", f"{stem}.svg") if name in drawn}
        try:
            if len(ready) == 2:
                written += _put(ready, folder)
                continue
            written += save(signed(draw(), title), folder, stem)
        except OutputFailed:
            raise
        except Exception as fault:
            faults.append(fault)
    tell("drawing", len(work), len(work))
    if faults:
        raise faults[0]
    return tuple(written)


def signed(axes: Axes, title: str) -> Figure:
    """Return the figure of some axes, the title of the set above all: pictures get parted from the rest."""
    figure = axes.get_figure(root=True)
    assert figure is not None
    style.sign(figure, title)
    return figure


def save(figure: Figure, folder: Path | FileSet, stem: str) -> tuple[Path, Path]:
    """Write `stem`.png (150 dpi) and `stem`.svg into `folder`, making it if need be; return both paths.

    A set of files takes them to be written later. Raises ValueError for a stem that is not letters, digits,
    '-', '_' and '.', or begins with a dot; OutputFailed.
    """
    png, svg = _put(contents(figure, stem), folder)
    return png, svg


def contents(figure: Figure, stem: str) -> dict[str, bytes]:
    """Return the bytes of `stem`.png and `stem`.svg.

    Neither file holds a date, so equal figures give equal files under one matplotlib version. Raises
    ValueError for a stem that can be no file's name, see `save`.
    """
    if not re.fullmatch(r"[A-Za-z0-9_-][A-Za-z0-9_.-]*", stem):
        raise ValueError(f"{stem!r} cannot be the name of a plot: use letters, digits, '-', '_' and '.'")
    png, svg = io.BytesIO(), io.BytesIO()
    figure.savefig(png, format="png", dpi=DPI, pil_kwargs={"compress_level": _PACKED})
    with _svg_lock:
        before = matplotlib.rcParams["svg.hashsalt"]
        matplotlib.rcParams["svg.hashsalt"] = _HASHSALT
        try:
            figure.savefig(svg, format="svg", metadata={"Date": None})
        finally:
            matplotlib.rcParams["svg.hashsalt"] = before
    return {f"{stem}.png": png.getvalue(), f"{stem}.svg": svg.getvalue()}


def _put(files: Mapping[str, bytes], folder: Path | FileSet) -> list[Path]:
    if isinstance(folder, FileSet):
        return [folder.add(name, content) for name, content in files.items()]
    return [outputs.write(Path(folder) / name, content) for name, content in files.items()]
