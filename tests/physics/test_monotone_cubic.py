"""The interpolation against scipy's, an independent path to the same published slopes; constants likewise."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.constants
from scipy.interpolate import PchipInterpolator

from receiver_sim.physics import constants
from receiver_sim.physics.monotone_cubic import MonotoneCubic


@pytest.mark.parametrize("points", [2, 3, 4, 7, 25])
def test_it_is_scipys_cubic_inside_and_beyond(points: int) -> None:
    dice = np.random.default_rng(20 + points)
    for _ in range(40):
        x = np.cumsum(dice.uniform(0.05, 2.0, points))
        y = dice.choice([-1.0, 0.0, 0.3, 2.0], points) + dice.normal(0.0, dice.choice([0.0, 0.5]), points)
        at = np.linspace(x[0] - 0.5, x[-1] + 0.5, 83)
        ours, theirs = MonotoneCubic(x, y), PchipInterpolator(x, y)
        # rounding alone, of values that reach some hundreds beyond the ends
        scale = 1.0 + np.abs(theirs(at)).max()
        assert ours(at) == pytest.approx(theirs(at), abs=1e-12 * scale)
        steep = 1.0 + np.abs(theirs.derivative()(at)).max()
        assert ours.slope(at) == pytest.approx(theirs.derivative()(at), abs=1e-12 * steep)
        assert ours(float(x[0])).shape == () and float(ours(x[1])) == pytest.approx(y[1], abs=1e-12)


@pytest.mark.parametrize("x", [[1.0], [1.0, 1.0], [2.0, 1.0]])
def test_points_that_make_no_curve_are_refused(x: list[float]) -> None:
    with pytest.raises(ValueError, match=r"x must rise|two points at least"):
        MonotoneCubic(x, [0.5] * len(x))


def test_constants_of_nature() -> None:
    # the adjustments of 2018 and 2022 differ by less than 1e-9
    assert scipy.constants.c == constants.LIGHT_SPEED
    assert pytest.approx(scipy.constants.mu_0, rel=1e-9) == constants.MU_0
    assert pytest.approx(scipy.constants.epsilon_0, rel=1e-9) == constants.EPSILON_0
    # mu0 eps0 c^2 = 1, by definition
    assert pytest.approx(1.0, rel=1e-9) == constants.MU_0 * constants.EPSILON_0 * constants.LIGHT_SPEED**2
