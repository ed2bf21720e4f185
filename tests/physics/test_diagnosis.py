"""Likelihoods and distances against scipy and against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from receiver_sim.physics.diagnosis import (
    covariance,
    log_likelihood,
    log_sum,
    probabilities,
    separation,
)

NOISE = np.array([0.5, 1.5, 0.2])
SPREAD = np.array([[2.0, 0.3], [-1.0, 0.8], [0.1, 0.05]])


def test_covariance_and_likelihood_against_scipy():
    of = covariance(NOISE, SPREAD)
    by_hand = np.array([[4.34, -1.76, 0.215], [-1.76, 3.89, -0.06], [0.215, -0.06, 0.0525]])
    assert of == pytest.approx(by_hand)
    off = np.array([1.2, -0.4, 0.3])
    wanted = multivariate_normal(mean=np.zeros(3), cov=by_hand).logpdf(off)
    assert log_likelihood(off, of=of) == pytest.approx(wanted + 1.5 * math.log(2.0 * math.pi))
    assert log_likelihood(np.zeros(0), of=np.zeros((0, 0))) == 0.0


def test_separation_is_mahalanobis_distance():
    from scipy.spatial.distance import mahalanobis

    of = covariance(NOISE, SPREAD)
    a, b = np.array([10.0, 3.0, 0.4]), np.array([8.5, 4.0, 0.1])
    assert separation(a, b, of=of) == pytest.approx(mahalanobis(a, b, np.linalg.inv(of)))


def test_probabilities_by_bayes():
    """Two causes, 3 to 1 before, the reading nine times as likely under the second: 1 to 3 after."""
    found = probabilities([math.log(0.75), math.log(0.25 * 9.0)])
    assert found == pytest.approx([0.25, 0.75])
    assert log_sum([-1000.0, -1000.0 + math.log(3.0)]) == pytest.approx(-1000.0 + math.log(4.0))
