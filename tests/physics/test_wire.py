"""Checks of receiver_sim.physics.wire."""

import numpy as np
import pytest
from scipy.integrate import solve_bvp

from receiver_sim.physics import wire


def test_astm_gauges(published):
    # printed to 0.0001 mm, after a rounding to 0.0001 in that thin wire does not show: one unit of the last
    # place
    for row in published("astm_b258.csv"):
        got = wire.astm_gauge_diameter(row["gauge"]) * 1e3
        assert got == pytest.approx(row["diameter_mm"], abs=row["error_mm"])
    # the definition: six numbers double the diameter nearly, 39 steps are a ratio of 92
    assert wire.astm_gauge_diameter(-3) / wire.astm_gauge_diameter(36) == pytest.approx(92, rel=1e-12)


def test_skin_depth_of_copper():
    # Johnson 1963 p. 58 (seen): 6.64/sqrt(f) cm. His resistivity is not stated; three figures, and commercial
    # copper at room temperature differs from the annealed standard by about 1 %, in the root 0.5 %.
    assert wire.skin_depth(1.0) * 100 == pytest.approx(6.64, rel=0.006)
    assert wire.skin_depth(4e6) == pytest.approx(wire.skin_depth(1e6) / 2, rel=1e-12)
    assert wire.skin_depth(1e6, resistivity=6.8e-8, permeability=1.7) == pytest.approx(
        wire.skin_depth(1e6) * np.sqrt(6.8e-8 / wire.COPPER_RESISTIVITY / 1.7), rel=1e-12
    )


def test_skin_ratio_against_bureau_table(published):
    for row in published("skin_effect_bureau_1918.csv"):
        # x = sqrt(2) a/delta with unit skin depth: diameter 2 a = sqrt(2) x
        got = wire.kelvin_skin_ratio(np.sqrt(2) * row["x"], skin_depth=1.0)
        assert got == pytest.approx(row["ratio"], abs=row["error"])


def test_skin_ratio_against_the_differential_equation():
    # independent path: integrate E'' + E'/r = 2j E (unit skin depth), R ratio = Re[(a/2) E(a) 2j/E'(a)]
    a = 2.7
    r = np.linspace(1e-4, a, 400)
    start = np.vstack([np.ones_like(r), np.zeros_like(r)]).astype(complex)
    solution = solve_bvp(
        lambda x, y: np.vstack([y[1], 2j * y[0] - y[1] / x]),
        lambda left, right: np.array([left[1] - 1j * 1e-4 * left[0], right[0] - 1]),
        r,
        start,
        tol=1e-8,
        max_nodes=100_000,
    )
    assert solution.success
    ratio = (a / 2 * 2j * solution.y[0, -1] / solution.y[1, -1]).real
    assert wire.kelvin_skin_ratio(2 * a, skin_depth=1.0) == pytest.approx(ratio, rel=1e-5)


def test_limits_of_skin_and_proximity():
    thin, thick = 0.2, 400.0  # a/delta 0.1 and 200
    assert wire.kelvin_skin_ratio(thin, skin_depth=1.0) - 1 == pytest.approx(0.1**4 / 48, rel=1e-3)
    # next term of the thick-wire series is 3 delta/(32 a)
    assert wire.kelvin_skin_ratio(thick, skin_depth=1.0) == pytest.approx(100.25 + 3 / 32 / 200, rel=1e-6)
    # textbook eddy loss of a thin rod across a weak field, pi sigma w^2 B^2 a^4/8, is x^4/8 on the scale on
    # which the thick rod's surface loss 2 pi a Rs H^2 is x/2
    assert wire.butterworth_proximity_ratio(thin, skin_depth=1.0) == pytest.approx(0.1**4 / 8, rel=1e-3)
    assert wire.butterworth_proximity_ratio(thick, skin_depth=1.0) == pytest.approx(100, rel=0.01)
    # overflow guard: a/delta of a million
    assert wire.kelvin_skin_ratio(2e6, skin_depth=1.0) == pytest.approx(5e5 + 0.25, rel=1e-9)


def test_resistance():
    # 1 km of 1 mm copper at 20 C: 17.241e-9 * 1000/(pi/4 1e-6) = 21.95 ohm (standard copper)
    assert wire.dc_resistance(1000.0, diameter=1e-3) == pytest.approx(21.952, rel=1e-4)


def test_refusals():
    with pytest.raises(ValueError, match=r"^gauge must be from -3 \(that is 4/0\) to 56, got -4$"):
        wire.astm_gauge_diameter(-4)
