"""Estimates against closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from receiver_sim.physics.estimation import gauss_newton_update, spread_through


def test_one_quantity_read_once_by_hand():
    """Prior 0 +- 2, reading 3 +- 1 of twice the quantity: x = 2*3/1 / (1/4 + 4) = 24/17, variance 4/17."""
    found, covariance = gauss_newton_update(
        np.array([3.0]),
        forward=lambda x: (2.0 * x, np.array([[2.0]])),
        prior=np.array([2.0]),
        noise=np.array([1.0]),
    )
    assert found == pytest.approx([24.0 / 17.0])
    assert covariance[0, 0] == pytest.approx(4.0 / 17.0)


def test_a_bent_model_ends_where_the_least_squares_are():
    """Against scipy's least squares on the same sum: the prior is rows of its own."""
    from scipy.optimize import least_squares

    prior, noise = np.array([0.3, 0.2]), np.array([0.05, 0.1, 0.07])
    seen = np.array([1.4, 0.3, 2.2])

    def shown(x):
        return np.array([(1.0 + x[0]) ** 2, x[0] * 0.5 - x[1], (1.0 + x[1]) * (2.0 + x[0])])

    def forward(x):
        slopes = np.array([[2.0 * (1.0 + x[0]), 0.0], [0.5, -1.0], [1.0 + x[1], 2.0 + x[0]]])
        return shown(x), slopes

    found, _ = gauss_newton_update(seen, forward=forward, prior=prior, noise=noise, steps=30)
    other = least_squares(
        lambda x: np.concatenate([(seen - shown(x)) / noise, x / prior]), np.zeros(2), xtol=1e-14, gtol=1e-14
    )
    assert found == pytest.approx(other.x, rel=1e-6)


def test_spread_through_slopes_by_hand():
    """Two quantities with deviations 3 and 4 and slopes 1: 5; with covariance -6 between them: 13^0.5."""
    slopes = np.array([[1.0, 1.0]])
    assert spread_through(slopes, covariance=np.diag([9.0, 16.0])) == pytest.approx([5.0])
    assert spread_through(slopes, covariance=np.array([[9.0, -6.0], [-6.0, 16.0]])) == pytest.approx(
        [13.0**0.5]
    )
