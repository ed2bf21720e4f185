"""Space charge before the cathode: small swings against the slope, large ones against the integral, and the
pull on a tank against its own formula.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from receiver_sim.physics.space_charge import (
    charge,
    charge_factor,
    pulled_frequency,
    swung_capacitance,
)
from receiver_sim.physics.tank import resonant_frequency


def test_small_swing_sees_the_slope_of_the_charge() -> None:
    """dQ/dV = 2/3 k I^(-1/3) g, and at the point that the factor is from it is the rise itself."""
    rise, current, g = 1.13e-12, 3.7e-3, 2.1e-3
    factor = charge_factor(rise, current=current, transconductance=g)
    swing = 1e-4
    seen = swung_capacitance([current, g * swing, 0.0], swing=swing, factor=factor)
    assert float(seen) == pytest.approx(rise, rel=1e-6)
    # at a tenth of the current of a law I ~ V^(3/2) the slope is 10^(-1/3) of it: the same capacitance
    # (Child)
    less = swung_capacitance([0.1 * current, 0.1 ** (1 / 3) * g * swing, 0.0], swing=swing, factor=factor)
    assert float(less) == pytest.approx(rise, rel=1e-6)


def test_large_swing_of_child_law() -> None:
    """I = G max(V, 0)^(3/2) swung about nothing: the charge is k G^(2/3) V for half a cycle, so half of its
    slope is seen. The current's components are integrated here, a hundred of them.
    """
    perveance, swing, factor = 1.4e-3, 2.3, 7.7e-11
    theta = (np.arange(20000) + 0.5) * np.pi / 20000
    current = perveance * np.maximum(swing * np.cos(theta), 0.0) ** 1.5
    orders = np.arange(100)
    parts = 2.0 * np.mean(current * np.cos(orders[:, None] * theta), axis=1)
    parts[0] /= 2.0
    seen = swung_capacitance(parts, swing=swing, factor=factor)
    assert float(seen) == pytest.approx(0.5 * factor * perveance ** (2 / 3), rel=5e-3)
    assert float(charge(-1.0, factor=factor)) == 0.0


def test_pull_on_a_tank() -> None:
    """Against Thomson's formula with the capacitance in it: first order, so a thousandth of the tank's is
    right to a thousandth; a part at half the volts counts a quarter.
    """
    henry, farad, added, share = 5.6e-6, 89e-12, 0.07e-12, 0.5
    plain = float(resonant_frequency(henry, capacitance=farad))
    loaded = float(resonant_frequency(henry, capacitance=farad + added * share**2))
    seen = pulled_frequency(plain, added=added, share=share, capacitance=farad)
    assert float(seen) == pytest.approx(loaded - plain, rel=1e-3)
    assert math.copysign(1.0, float(seen)) == -1.0
