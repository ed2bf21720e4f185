"""Checks of receiver_sim.physics.tank."""

import numpy as np
import pytest

from receiver_sim.physics import tank
from tests.helpers.textbook import onset_transconductance


def test_worked_onset_case():
    # receiver.md, "Start of oscillation at a tap, k = 1" (calc): 7 MHz, 2 uH, Q 100 gives 8796 ohm and
    # 2393 / 1263 / 711 umho at n .05 / .10 / .20. Printed to the unit, so half a unit is the tolerance.
    rp = tank.parallel_resistance(2e-6, frequency=7e6, q=100)
    assert rp == pytest.approx(8796, abs=0.5)
    got = onset_transconductance(rp, n=np.array([0.05, 0.10, 0.20]))
    assert got * 1e6 == pytest.approx([2393, 1263, 711], abs=0.5)


def test_onset_agrees_with_the_node_equations():
    # Independent path: solve the tapped tank as a nodal network (k = 1 through an ideal transformer is
    # singular, so k = 1 - 1e-9) and find where a current g_k v(gk) into the tap makes the admittance
    # determinant vanish.
    L, f, q, n = 3.3e-6, 5.1e6, 83.0, 0.13
    w = 2 * np.pi * f
    rp = tank.parallel_resistance(L, frequency=f, q=q)
    up, low, m = tank.tapped_sections(L, turns_fraction=n, coupling=1 - 1e-9)
    y = np.linalg.inv(1j * w * np.array([[up, m], [m, low]]))
    # branch currents (upper: top to tap; lower: tap to ground) onto nodes top, tap
    incidence = np.array([[1, -1], [0, 1]])
    nodes = (incidence.T @ y @ incidence).astype(complex)
    nodes[0, 0] += 1j * w * tank.resonant_capacitance(L, frequency=f) + 1 / rp
    gk = onset_transconductance(rp, n=n)
    impedance = np.linalg.inv(nodes)  # current into the tap -> v(top) - v(tap)
    loop_gain = gk * (impedance[0, 1] - impedance[1, 1])
    # leakage inductance left by k: relative (1-k) Q n of the tap's share, below 1e-6
    assert loop_gain == pytest.approx(1.0, abs=1e-5)


def test_resonance_inverse_and_scaling():
    c = tank.resonant_capacitance(2.7e-6, frequency=9.3e6)
    assert tank.resonant_frequency(2.7e-6, capacitance=c) == pytest.approx(9.3e6, rel=1e-12)
    # four times the capacitance halves the frequency
    assert tank.resonant_frequency(2.7e-6, capacitance=4 * c) == pytest.approx(9.3e6 / 2, rel=1e-12)
    # round-number case by hand: 1 uH and 1 uF, 1/(2 pi 1e-6)
    assert tank.resonant_frequency(1e-6, capacitance=1e-6) == pytest.approx(159154.943, rel=1e-8)


@pytest.mark.parametrize(("n", "k"), [(0.06, 0.6), (0.31, 0.22), (0.5, 0.9), (0.97, 1.0)])
def test_sections_add_up(n, k):
    up, low, m = tank.tapped_sections(4.2e-6, turns_fraction=n, coupling=k)
    assert up + low + 2 * m == pytest.approx(4.2e-6, rel=1e-14)
    assert m / np.sqrt(up * low) == pytest.approx(k, rel=1e-12)
    assert up / low == pytest.approx(((1 - n) / n) ** 2, rel=1e-12)


def test_bad_values_are_refused():
    with pytest.raises(
        ValueError, match=r"^turns_fraction must be between 0 and 1, ends excluded, got 1\.0$"
    ):
        tank.tapped_sections(1e-6, turns_fraction=1.0, coupling=1.0)
    with pytest.raises(ValueError, match=r"^coupling must be from 0 to 1, got 1\.2$"):
        tank.tapped_sections(1e-6, turns_fraction=0.2, coupling=1.2)
    with pytest.raises(ValueError, match=r"^inductance must be above zero, got -1e-06$"):
        tank.resonant_frequency(-1e-6, capacitance=1e-12)
    with pytest.raises(ValueError, match=r"^q must be above zero, got nan$"):
        tank.parallel_resistance(1e-6, frequency=1e6, q=float("nan"))
