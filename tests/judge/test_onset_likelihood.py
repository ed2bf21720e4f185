"""What a place of onset, or none, says of the loop gain: against scipy's normal distributions and by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from receiver_sim.judge.onset_likelihood import log_between, log_reach, needed, slope_at

CURVE = ((0.0, 0.2), (0.5, 1.0), (1.0, 1.25))


def test_a_place_needs_what_the_curve_lacks_there():
    """At a quarter the straight line between 0.2 and 1 gives 0.6: the set has 1/0.6 of the gain."""
    need = needed(CURVE, 0.25)
    assert need.placed and need.low == pytest.approx(math.log(1.0 / 0.6), rel=1e-9)
    # d ln(gain) / d rotation = 1.6 / 0.6
    assert slope_at(CURVE, 0.25) == pytest.approx(1.6 / 0.6, rel=0.01)
    assert needed(CURVE, 0.5).low == pytest.approx(0.0, abs=1e-9)


def test_no_onset_needs_a_gain_below_one_everywhere():
    need = needed(CURVE, None)
    assert not need.placed and need.low == -math.inf and need.high == pytest.approx(-math.log(1.25))
    assert needed(CURVE, 0.0).low == pytest.approx(math.log(5.0)) and needed(CURVE, 0.0).high == math.inf
    assert log_reach(()) < -6.0


@pytest.mark.parametrize("limit", [-1.3, 0.4, 2.0])
def test_one_band_is_the_normal_distribution(limit):
    matrix, middle = np.array([[0.7]]), np.array([0.2])
    got = log_between([(-math.inf, limit)], middle=middle, covariance=matrix)
    assert got == pytest.approx(float(norm.logcdf(limit, 0.2, math.sqrt(0.7))), rel=1e-9)
    above = log_between([(limit, math.inf)], middle=middle, covariance=matrix)
    assert math.exp(got) + math.exp(above) == pytest.approx(1.0, abs=1e-9)


def test_bands_together_are_the_joint_normal_distribution():
    """Three bands with factors in common, all without onset: scipy's integral. The approximation's own error
    at correlations of 0.5 to 0.8 is some 5 % of the probability (Mendell and Elston 1974, from memory).
    """
    matrix = np.array([[0.09, 0.06, 0.05], [0.06, 0.08, 0.05], [0.05, 0.05, 0.12]])
    middle, limits = np.array([0.02, -0.05, 0.01]), (-0.1, -0.25, -0.3)
    due = float(multivariate_normal(middle, matrix).cdf(np.array(limits)))
    got = log_between([(-math.inf, x) for x in limits], middle=middle, covariance=matrix)
    assert math.exp(got) == pytest.approx(due, rel=0.06)
    apart = sum(
        float(norm.logcdf(x, m, math.sqrt(matrix[i, i])))
        for i, (x, m) in enumerate(zip(limits, middle, strict=True))
    )
    # as if they had nothing in common it would be far less likely
    assert got > apart + 0.8
