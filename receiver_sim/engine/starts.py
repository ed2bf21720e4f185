"""Solutions that a session found, for a search to begin from the nearest of them.

ngspice begins each command anew from the deck's starting values. Where these lie far from the solution, it
gets there by stepping conductances or sources, which takes seconds; from the volts of a neighbouring setting
Newton's method is there in some steps.
"""

from __future__ import annotations

from collections.abc import Mapping

from receiver_sim.engine.protocol import Plot, Run
from receiver_sim.engine.rungs import Key

_KEPT = 24
"""Solutions remembered, the latest."""

Settings = Mapping[Key, float]


class Starts:
    """The latest solutions with their settings."""

    def __init__(self) -> None:
        self._found: list[tuple[dict[Key, float], Plot]] = []

    def keep(self, settings: Settings, plot: Plot, index: int = 0) -> None:
        """Remember a point (0: the first, -1: the last) of a plot that holds all node volts."""
        volts = tuple(
            (name, False, data[8 * index :][:8])
            for name, is_complex, data in plot.vectors
            if not is_complex and name != plot.scale
        )
        self._found.append((dict(settings), Plot("", volts)))
        del self._found[:-_KEPT]

    def nearest(self, settings: Settings) -> tuple[Plot | None, bool]:
        """Return the solution whose settings differ least, each by its own size (the latest of equals, None
        if there is none), and whether it is that of these very settings."""
        if not self._found:
            return None, False
        best = min(reversed(self._found), key=lambda one: _distance(one[0], settings))
        return best[1], _distance(best[0], settings) == 0.0


def _distance(one: Settings, other: Settings) -> float:
    """Return the sum over all settings of what they differ by, as a part of the larger; what is for a.c.
    alone doesn't count."""
    total = 0.0
    for key in {*one, *other}:
        if (key[1] or "").startswith("ac"):
            continue
        if key not in one or key not in other:
            total += 1.0
            continue
        larger = max(abs(one[key]), abs(other[key]))
        total += abs(one[key] - other[key]) / larger if larger else 0.0
    return total


def chosen(plot: Plot, request: Run) -> tuple[Plot | None, list[str]]:
    """Return the plot with the vectors that were asked for alone, and the names that it lacks."""
    if request.vectors is None:
        return plot, []
    by_name = {name: (name, is_complex, data) for name, is_complex, data in plot.vectors}
    absent = [name for name in request.vectors if name not in by_name]
    if absent:
        return None, absent
    names = dict.fromkeys([*([plot.scale] if plot.scale else []), *request.vectors])
    return Plot(plot.scale, tuple(by_name[name] for name in names)), []
