"""Poles of a transfer function from its samples on the frequency axis."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.linalg import eig, svd

ComplexArray = npt.NDArray[np.complex128]


def poles(
    points: npt.ArrayLike, *, values: npt.ArrayLike, tolerance: float = 1e-8, most: int = 24
) -> ComplexArray:
    """Return the poles of a rational function from its values at points of the s plane.

    AAA algorithm (Nakatsukasa, Sete and Trefethen 2018): barycentric form, support points chosen greedily,
    weights from the smallest singular vector of the Loewner matrix, until the largest error is below
    `tolerance` times the largest value. Points and values are complex arrays of equal length; give them in
    conjugate pairs for poles of a real system. Poles with a negligible residue (Froissart doublets, of
    rounding) are left out.

    Raises ValueError if the fit does not come within 1e-3 at all: the samples are no smooth function.
    """
    z = np.asarray(points, dtype=np.complex128)
    f = np.asarray(values, dtype=np.complex128)
    size = float(np.abs(f).max())
    free = np.ones(z.size, dtype=bool)
    fit = np.full(z.size, f.mean())
    nodes: list[int] = []
    error = np.inf
    weights = np.ones(1, dtype=np.complex128)
    for _ in range(min(most, z.size // 2)):
        worst = int(np.argmax(np.where(free, np.abs(f - fit), -1.0)))
        nodes.append(worst)
        free[worst] = False
        cauchy = 1.0 / (z[free, None] - z[None, nodes])
        loewner = (f[free, None] - f[None, nodes]) * cauchy
        weights = np.asarray(svd(loewner)[2].conj()[-1], dtype=np.complex128)
        fit = f.copy()
        fit[free] = (cauchy @ (weights * f[nodes])) / (cauchy @ weights)
        error = float(np.abs(f - fit).max()) / size
        if error < tolerance:
            break
    if error > 1e-3:
        raise ValueError(f"no rational function fits these samples: error {error:.1e}")
    count = len(nodes)
    arrow = np.zeros((count + 1, count + 1), dtype=np.complex128)
    arrow[0, 1:], arrow[1:, 0] = weights, 1.0
    arrow[1:, 1:] = np.diag(z[nodes])
    unit = np.eye(count + 1, dtype=np.complex128)
    unit[0, 0] = 0.0
    found = np.asarray(eig(arrow, unit, right=False), dtype=np.complex128)
    found = found[np.isfinite(found)]
    return found[_strength(found, z[nodes], f[nodes], weights) > 10.0 * max(tolerance, error) * size]


def _strength(
    found: ComplexArray, nodes: ComplexArray, values: ComplexArray, weights: ComplexArray
) -> npt.NDArray[np.float64]:
    """Return |residue| of each pole over its distance from the origin of the frequency axis: its share of
    the values."""
    difference = found[:, None] - nodes[None, :]
    numerator = (weights * values / difference).sum(axis=1)
    slope = -(weights / difference**2).sum(axis=1)
    reach = np.maximum(np.abs(found.real), 1e-300)
    return np.asarray(np.abs(numerator / slope) / reach, dtype=np.float64)
