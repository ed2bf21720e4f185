"""Which cause explains readings best: Gaussian likelihoods, their probabilities, causes that look alike."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


def covariance(noise: FloatArray, spread: FloatArray) -> FloatArray:
    """Return the covariance of readings: independent `noise` (standard deviation of each) and columns of
    `spread` (readings x parts, the change of each reading for one standard deviation of each part).
    """
    return np.asarray(np.diag(noise**2) + spread @ spread.T, dtype=np.float64)


def log_likelihood(difference: FloatArray, *, of: FloatArray) -> float:
    """Return the logarithm of the Gaussian density of a difference (readings minus prediction) of covariance
    `of`, without the constant of the count of readings.
    """
    if difference.size == 0:
        return 0.0
    factor = np.linalg.cholesky(of)
    scaled = np.linalg.solve(factor, difference)
    return float(-0.5 * scaled @ scaled - np.log(np.diag(factor)).sum())


def probabilities(logs: Sequence[float]) -> FloatArray:
    """Return probabilities from logarithms of prior times likelihood."""
    values = np.asarray(logs, dtype=np.float64)
    shares = np.exp(values - values.max())
    return np.asarray(shares / shares.sum(), dtype=np.float64)


def separation(one: FloatArray, other: FloatArray, *, of: FloatArray) -> float:
    """Return the distance of two predictions in standard deviations (Mahalanobis 1936)."""
    if one.size == 0:
        return 0.0
    scaled = np.linalg.solve(np.linalg.cholesky(of), one - other)
    return float(np.sqrt(scaled @ scaled))


def log_sum(values: Sequence[float]) -> float:
    """Return the logarithm of the sum of exponentials, without overflow."""
    top = max(values)
    return float(top + np.log(np.sum(np.exp(np.asarray(values) - top))))
