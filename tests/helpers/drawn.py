"""What is drawn on axes, held in SI by the units that the axes' labels state."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from tests.helpers import reading


def bases(ax: Axes, x: str, y: str) -> None:
    """Hold the units of both axes: their bases, '1' for shares and plain numbers."""
    assert reading.axis_unit(ax.get_xlabel())[0] == x, ax.get_xlabel()
    assert reading.axis_unit(ax.get_ylabel())[0] == y, ax.get_ylabel()


def named(ax: Axes, gid: str) -> Any:
    """Return the one artist of that name."""
    found = reading.artists(ax)
    assert gid in found, sorted(found)
    return found[gid]


def hold_line(ax: Axes, line: Any, x: Sequence[float] | Any, y: Sequence[float] | Any) -> None:
    """Hold every point of a line, given in SI."""
    if isinstance(line, str):
        line = named(ax, line)
    seen_x, seen_y = reading.points(ax, line)
    np.testing.assert_allclose(seen_x, np.asarray(x, float), rtol=1e-9, atol=1e-15)
    np.testing.assert_allclose(seen_y, np.asarray(y, float), rtol=1e-9, atol=1e-15)


def hold_level(ax: Axes, gid: str, y: float) -> None:
    """Hold a horizontal line."""
    seen = np.unique(reading.points(ax, named(ax, gid))[1])
    np.testing.assert_allclose(seen, [y], rtol=1e-9)


def hold_place(ax: Axes, gid: str, x: float) -> None:
    """Hold a vertical line."""
    seen = np.unique(reading.points(ax, named(ax, gid))[0])
    np.testing.assert_allclose(seen, [x], rtol=1e-9)


def bar(ax: Axes, artist: Any) -> tuple[float, float]:
    """Return both ends of a horizontal bar in SI."""
    scale = reading.axis_unit(ax.get_xlabel())[1]
    return artist.get_x() * scale, (artist.get_x() + artist.get_width()) * scale


def said(ax: Axes, name: str) -> list[tuple[float, str]]:
    """Return the figures in the words that stand beside the line of that name, or in its key."""
    texts = reading.words_of(ax)
    for number, text in enumerate(texts):
        first, _, rest = text.partition("\n")
        if first == name:
            # a key has its details below the name, a label beside the axes has them in the next text
            return reading.figures(rest or texts[number + 1])
    raise AssertionError(f"nothing said of {name!r}: {texts}")


def subtitle(ax: Axes) -> str:
    """Return the words below the title."""
    return str(ax.texts[1].get_text())
