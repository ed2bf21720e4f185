"""Monotone cubic interpolation through a few points."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt


class MonotoneCubic:
    """The cubic through points (x rising) that rises and falls only where they do.

    Slopes of Fritsch and Butland 1984 (SIAM J. Sci. Stat. Comput. 5, p. 300) in their weighted harmonic form,
    one-sided three-point slopes at the ends, shape kept: what `scipy.interpolate.PchipInterpolator` computes.
    It stands here since scipy's package takes several times as long to load as a whole search for an onset
    lasts; tests hold it against scipy's. Beyond the points the end's cubic goes on. Raises ValueError for
    fewer than two points or an x that does not rise.
    """

    def __init__(self, x: npt.ArrayLike, y: npt.ArrayLike) -> None:
        self._x, self._y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
        if len(self._x) < 2 or len(self._x) != len(self._y):
            raise ValueError(f"two points at least, as many x as y: not {len(self._x)} and {len(self._y)}")
        self._h = np.diff(self._x)
        if not np.all(self._h > 0.0):
            raise ValueError("x must rise")
        self._rise = np.diff(self._y) / self._h
        self._slopes = self._slopes_at_points()

    def _slopes_at_points(self) -> npt.NDArray[np.float64]:
        h, rise = self._h, self._rise
        if len(h) == 1:
            return np.array([rise[0], rise[0]])
        before, after = rise[:-1], rise[1:]
        near, far = 2.0 * h[1:] + h[:-1], h[1:] + 2.0 * h[:-1]
        same = before * after > 0.0
        with np.errstate(divide="ignore", invalid="ignore"):
            inner = np.where(same, (near + far) / (near / before + far / after), 0.0)
        first = _end_slope(h[0], h[1], rise[0], rise[1])
        last = _end_slope(h[-1], h[-2], rise[-1], rise[-2])
        return np.array([first, *inner, last])

    def __call__(self, x: npt.ArrayLike) -> npt.NDArray[np.float64]:
        """Return y at x; the shape of x is kept."""
        i, t, first, second, third = self._piece(x)
        return np.asarray(self._y[i] + t * (first + t * (second + t * third)), dtype=float)

    def slope(self, x: npt.ArrayLike) -> npt.NDArray[np.float64]:
        """Return dy/dx at x; the shape of x is kept."""
        _, t, first, second, third = self._piece(x)
        return np.asarray(first + t * (2.0 * second + 3.0 * t * third), dtype=float)

    def _piece(self, x: npt.ArrayLike) -> tuple[Any, Any, Any, Any, Any]:
        """Return which piece x lies on, how far from its begin, and the cubic's three coefficients there."""
        at = np.asarray(x, dtype=float)
        i = np.clip(np.searchsorted(self._x, at, side="right") - 1, 0, len(self._h) - 1)
        h, rise, d0, d1 = self._h[i], self._rise[i], self._slopes[i], self._slopes[i + 1]
        bend = (d0 + d1 - 2.0 * rise) / h
        return i, at - self._x[i], d0, (rise - d0) / h - bend, bend / h


def _end_slope(h: float, next_h: float, rise: float, next_rise: float) -> float:
    """Return the slope at an end: of the parabola through three points, cut back where it would turn."""
    slope = ((2.0 * h + next_h) * rise - h * next_rise) / (h + next_h)
    if slope * rise <= 0.0:
        return 0.0
    if rise * next_rise < 0.0 and abs(slope) > 3.0 * abs(rise):
        return 3.0 * rise
    return slope
