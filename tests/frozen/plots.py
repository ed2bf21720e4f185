"""What is drawn on axes as plain words and numbers, in the units of their labels."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import Collection
from matplotlib.patches import Rectangle


def axes_of(ax: Axes) -> dict[str, Any]:
    """Return titles, labels, scales, limits, words and points of some axes."""
    legend = ax.get_legend()
    return {
        "title": ax.get_title(),
        "x": [ax.get_xlabel(), ax.get_xscale()],
        "y": [ax.get_ylabel(), ax.get_yscale()],
        "limits": [_list(ax.get_xlim()), _list(ax.get_ylim())],
        "ticks": [t for t in map(_text, (*ax.get_xticklabels(), *ax.get_yticklabels())) if not _number(t)],
        "key": [] if legend is None else [t.get_text() for t in legend.get_texts()],
        "words": [t.get_text() for t in ax.texts],
        "lines": [
            {"name": _name(one), "x": _list(one.get_xdata()), "y": _list(one.get_ydata())} for one in ax.lines
        ],
        "patches": [_patch(one) for one in ax.patches],
        "collections": [_collection(one) for one in ax.collections],
    }  # fmt: skip


def _name(artist: Any) -> str:
    label = str(artist.get_label() or "")
    # matplotlib's own labels count the artists
    return f"{artist.get_gid() or ''}|{'' if label.startswith('_') else label}"


def _text(label: Any) -> str:
    return str(label.get_text())


def _number(text: str) -> bool:
    return not any(letter.isalpha() for letter in text)


def _list(values: Any) -> list[Any]:
    return [float(v) if v is not None and np.isfinite(float(v)) else None for v in np.asarray(values).ravel()]


def _patch(patch: Any) -> dict[str, Any]:
    if isinstance(patch, Rectangle):
        corners = [*patch.get_xy(), patch.get_width(), patch.get_height()]
        return {"name": _name(patch), "at": _list(corners)}
    points = patch.get_path().vertices
    return {"name": _name(patch), "x": _list(points[:, 0]), "y": _list(points[:, 1])}


def _collection(one: Collection) -> dict[str, Any]:
    offsets = np.asarray(one.get_offsets(), float)
    paths = [np.asarray(path.vertices, float) for path in one.get_paths()]
    if len(offsets) and np.any(offsets):  # marks: what is drawn at each place is no figure
        points = offsets
    else:
        points = np.concatenate(paths) if paths else np.zeros((0, 2))
    return {"name": _name(one), "x": _list(points[:, 0]), "y": _list(points[:, 1])}
