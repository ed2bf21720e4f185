"""From even draws to deviations of parts."""

from __future__ import annotations

import numpy as np
import pytest

from receiver_sim.physics.spread import deviation, normal, offset

DRAWS = (np.arange(20000) + 0.5) / 20000


def test_even_limits() -> None:
    """Moments of a rectangular distribution: mean (a + b)/2, variance (b - a)^2/12."""
    found = np.array([deviation(u, low=-0.2, high=0.5, shape="even") for u in DRAWS])
    assert found.mean() == pytest.approx(0.15, abs=1e-4)
    assert found.var() == pytest.approx(0.7**2 / 12.0, rel=1e-4)
    assert found.min() >= -0.2 and found.max() <= 0.5


def test_bell() -> None:
    """95 of 100 within the limits, half on either side, the middle no deviation."""
    found = np.array([deviation(u, low=-0.3, high=0.45, shape="bell") for u in DRAWS])
    assert np.mean((found > -0.3) & (found < 0.45)) == pytest.approx(0.95, abs=2e-4)
    assert np.median(found) == pytest.approx(0.0, abs=1e-4)
    assert np.mean(found < -0.3) == pytest.approx(0.025, abs=2e-4)
    # normal in the logarithm: deviation of ln(1 + d) is the limit over 1.96 (tables of the normal integral)
    above = np.log1p(found[found > 0.0])
    assert np.sqrt(np.mean(above**2)) == pytest.approx(np.log(1.45) / 1.95996, rel=1e-3)


def test_volts() -> None:
    found = np.array([offset(u, low=-0.2, high=0.1) for u in DRAWS])
    assert np.mean(found < -0.2) == pytest.approx(0.025, abs=2e-4)
    assert np.mean(found > 0.1) == pytest.approx(0.025, abs=2e-4)


def test_normal_deviates() -> None:
    """0.9750 of the normal integral is at 1.95996 (tables); ends don't run away."""
    assert normal(0.975) == pytest.approx(1.95996, abs=1e-5)
    assert np.isfinite([normal(0.0), normal(1.0)]).all()


def test_limits_hold_the_value() -> None:
    with pytest.raises(ValueError, match=r"^limits hold the value itself, not 0\.1 to 0\.2$"):
        deviation(0.5, low=0.1, high=0.2, shape="even")
