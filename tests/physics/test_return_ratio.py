"""Return ratio, its zero phase and half-power width against closed forms."""

import numpy as np
import pytest

from receiver_sim.physics.return_ratio import (
    half_power_width,
    return_ratio,
    strongest_zero_phase,
    zero_phase,
)
from tests.helpers.textbook import double_injection


def test_return_ratio_inverts_the_closed_loop() -> None:
    # V = Vinj + T V, so V = Vinj/(1 - T)
    ratio = np.array([0.2 + 0.1j, 0.97 - 0.02j, -3.0 + 0j])
    assert return_ratio(2.5 / (1 - ratio), injected=2.5) == pytest.approx(ratio, rel=1e-12)


def test_double_injection_of_a_unilateral_loop_with_equal_arms() -> None:
    # Middlebrook 1975 (form from memory, high): 1 + T = (1 + Tv)(1 + Ti)/((1 + Tv) + (1 + Ti))
    tv, ti = 1.7 + 0.3j, 4.1 - 0.9j
    expected = (1 + tv) * (1 + ti) / (2 + tv + ti) - 1
    assert double_injection(tv, ti=ti) == pytest.approx(expected, rel=1e-12)


def test_zero_phase_of_a_single_tank() -> None:
    # T = T0/(1 + j Q (f/f0 - f0/f)), real and T0 at f0 exactly
    f0, q, gain = 7.1e6, 140.0, 0.83
    f = 7.105e6 + np.array([-11e3, 0.0, 11e3])
    ratio = gain / (1 + 1j * q * (f / f0 - f0 / f))
    frequency, real = zero_phase(f, ratio=ratio)
    # the curvature of f/f0 - f0/f over a band 1/Q wide is of order 1/Q^3 of the frequency
    assert frequency == pytest.approx(f0, rel=1e-7)
    assert real == pytest.approx(gain, rel=1e-6)


@pytest.mark.parametrize(
    ("ratio", "message"),
    [
        ([0.5, 0.0, 0.5], "the return ratio is zero: the tube is cut off or the loop is open"),
        ([1j, 1j, 1j], "the phase of the return ratio has no zero near these frequencies"),
    ],
)
def test_zero_phase_refuses(ratio: list[complex], message: str) -> None:
    with pytest.raises(ValueError, match=f"^{message}$"):
        zero_phase([1e6, 1.1e6, 1.2e6], ratio=ratio)


def test_half_power_width_of_a_resonance() -> None:
    # |H|^2 = 1/(1 + (2 (f - f0)/B)^2) has the half-power width B
    f = np.linspace(3.4e6, 3.6e6, 401)
    width, peak = 23e3, 7.5
    magnitude = peak / np.sqrt(1 + (2 * (f - 3.51e6) / width) ** 2)
    top, found = half_power_width(f, magnitude=magnitude)
    # straight interpolation of a parabola between points 500 Hz apart errs by (500/2)^2/23e3/2 = 1.4 Hz a
    # side
    assert found == pytest.approx(width, abs=3.0)
    assert top == pytest.approx(peak, rel=1e-6)


def test_half_power_width_refuses_a_range_that_is_too_narrow() -> None:
    f = np.linspace(0.99e6, 1.01e6, 11)
    with pytest.raises(ValueError, match=r"^the resonance does not fall to half power within the range$"):
        half_power_width(f, magnitude=1 / np.sqrt(1 + (2 * (f - 1e6) / 1e6) ** 2))


def test_strongest_zero_phase_of_a_tank_beside_a_weaker_one() -> None:
    # two tanks in one loop, each real at its own frequency; the other adds a nearly imaginary part there
    f = np.linspace(1.7e6, 2.1e6, 401)
    tank = {f0: 1 / (1 + 1j * 400 * (f / f0 - f0 / f)) for f0 in (1.81e6, 1.97e6)}
    ratio = 0.4 * tank[1.81e6] + 1.3 * tank[1.97e6]
    # the weaker tank's tail, 0.4/(400 x 0.17) = 0.6 % of the peak, turns the phase by that much of Q
    assert strongest_zero_phase(f, ratio=ratio) == pytest.approx(1.97e6, abs=0.02 * 1.97e6 / 800)


def test_strongest_zero_phase_is_none_where_the_loop_only_weakens_itself() -> None:
    f = np.linspace(1.8e6, 2.0e6, 201)
    assert strongest_zero_phase(f, ratio=-0.7 / (1 + 1j * 60 * (f / 1.9e6 - 1.9e6 / f))) is None
    assert strongest_zero_phase(f, ratio=np.full(201, 0.3j)) is None
