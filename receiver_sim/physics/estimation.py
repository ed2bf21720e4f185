"""Estimation of quantities from readings that depend on them, with what was known before."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


def gauss_newton_update(
    seen: FloatArray,
    *,
    forward: Callable[[FloatArray], tuple[FloatArray, FloatArray]],
    prior: FloatArray,
    noise: FloatArray,
    steps: int = 3,
) -> tuple[FloatArray, FloatArray]:
    """Return the most likely deviations and their covariance (Rodgers 2000, eq. 5.9 and 5.13; n-form).

    seen: readings. forward: gives the readings that deviations would show, and the derivatives of each
    reading by each deviation (readings x deviations). prior: standard deviations of the deviations, zero
    mean; noise: of the readings. For a linear forward model one step is exact.
    """
    before = np.diag(1.0 / prior**2)
    weight = np.diag(1.0 / noise**2)
    found = np.zeros_like(prior)
    for _ in range(steps):
        shown, slopes = forward(found)
        normal = before + slopes.T @ weight @ slopes
        found = np.linalg.solve(normal, slopes.T @ weight @ (seen - shown + slopes @ found))
    return found, np.asarray(np.linalg.inv(normal))


def spread_through(slopes: FloatArray, *, covariance: FloatArray) -> FloatArray:
    """Return the standard deviations of quantities with derivatives `slopes` (quantities x deviations)."""
    return np.asarray(np.sqrt(np.einsum("ij,jk,ik->i", slopes, covariance, slopes)))
