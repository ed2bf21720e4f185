"""Figures to files: PNG and SVG, whole or not at all, the same bytes from the same figure."""

from __future__ import annotations

import io
import re
import threading
from pathlib import Path

import matplotlib
from matplotlib.figure import Figure

from receiver_sim.views.files import write_atomically

DPI = 150
_HASHSALT = "receiver_sim"
# matplotlib takes the salt of an SVG's ids from a global setting only; the lock keeps savers from each
# other's.
_svg_lock = threading.Lock()


def save(figure: Figure, folder: Path, stem: str) -> tuple[Path, Path]:
    """Write `stem`.png (150 dpi) and `stem`.svg into `folder`, making it if need be; return both paths.

    Neither file holds a date, so equal figures give equal files under one matplotlib version. Raises
    ValueError for a stem that is not letters, digits, '-', '_' and '.', or begins with a dot; OSError as the
    system does.
    """
    if not re.fullmatch(r"[A-Za-z0-9_-][A-Za-z0-9_.-]*", stem):
        raise ValueError(f"{stem!r} cannot be the name of a plot: use letters, digits, '-', '_' and '.'")
    folder = Path(folder)
    png, svg = io.BytesIO(), io.BytesIO()
    figure.savefig(png, format="png", dpi=DPI)
    with _svg_lock:
        before = matplotlib.rcParams["svg.hashsalt"]
        matplotlib.rcParams["svg.hashsalt"] = _HASHSALT
        try:
            figure.savefig(svg, format="svg", metadata={"Date": None})
        finally:
            matplotlib.rcParams["svg.hashsalt"] = before
    return (
        write_atomically(folder / f"{stem}.png", png.getvalue()),
        write_atomically(folder / f"{stem}.svg", svg.getvalue()),
    )
