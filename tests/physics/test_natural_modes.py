"""Natural modes from answers at one frequency, against networks whose modes have a closed form."""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest

from receiver_sim.physics.natural_modes import howling_capacitance, natural_modes, with_tank

SHIFT = 2j * math.pi * 300.0


def state_space(a: np.ndarray, capacitance: np.ndarray) -> np.ndarray:
    """Return the response of capacitors whose volts obey v' = A v - J/C, at SHIFT."""
    unit = np.eye(len(capacitance))
    return -np.linalg.solve(SHIFT * unit - a, np.diag(1.0 / capacitance))


def test_one_capacitor_over_a_resistor():
    ohm, farad = 4.7e3, 22e-9
    # the source takes its ampere out of the first node: - R parallel C
    answer = -1.0 / (1.0 / ohm + SHIFT * farad)
    found = natural_modes([[answer]], weight=[farad], shift=SHIFT)
    assert found.s == pytest.approx([-1.0 / (ohm * farad)], rel=1e-12)
    assert found.share == pytest.approx(np.array([[1.0]]))


@pytest.mark.parametrize("ohm", [900.0, 60e3])
def test_series_resonant_circuit(ohm):
    """L and C in series with R: s = -R/2L +- sqrt((R/2L)^2 - 1/LC), ringing and creeping."""
    henry, farad = 3.1, 47e-9
    loop = ohm + SHIFT * henry + 1.0 / (SHIFT * farad)
    # loop current i flows through R, L and C alike; J across C charges it, J across L takes over its ampere
    by_c = -1.0 / (SHIFT * farad) / loop * -1.0  # i for 1 A across C
    across_c = np.array([(by_c - 1.0) / (SHIFT * farad), by_c])
    by_l = SHIFT * henry / loop
    across_l = np.array([by_l / (SHIFT * farad), by_l])
    found = natural_modes(np.array([across_c, across_l]).T, weight=[farad, -1.0 / SHIFT], shift=SHIFT)
    half = ohm / (2.0 * henry)
    root = cmath.sqrt(half**2 - 1.0 / (henry * farad))
    expected = sorted((-half + root, -half - root), key=lambda s: (-s.real, s.imag))
    got = sorted(found.s, key=lambda s: (-round(s.real, 6), s.imag))
    assert got == pytest.approx(expected, rel=1e-9)


def test_modes_of_any_matrix_and_their_shares():
    """A general state matrix: eigenvalues by numpy; shares by their definition, left times right vector."""
    rng = np.random.default_rng(7)
    a = rng.normal(size=(6, 6)) * 900.0
    capacitance = 10.0 ** rng.uniform(-12.0, -5.0, 6)
    found = natural_modes(state_space(a, capacitance), weight=capacitance, shift=SHIFT)
    exact, right = np.linalg.eig(a)
    left = np.linalg.inv(right)
    assert len(found.s) == 6
    for value, share in zip(found.s, found.share, strict=True):
        k = int(np.argmin(np.abs(exact - value)))
        assert value == pytest.approx(exact[k], rel=1e-9)
        parts = np.abs(left[k] * right[:, k])
        assert share == pytest.approx(parts / parts.sum(), rel=1e-6)
    assert np.all(np.diff(found.s.real) <= 1e-6 * np.abs(found.s[:-1]))


def test_a_mode_that_creeps_has_no_pitch():
    """Guards against a growing mode passed over for a pitch of minus some 1e-13 Hz."""
    rng = np.random.default_rng(5)
    for _ in range(20):
        a = rng.normal(size=(7, 7)) * 10.0 ** rng.uniform(0.0, 6.0, (7, 1))
        a = a + a.T  # symmetric: all its eigenvalues are real
        found = natural_modes(state_space(a, np.ones(7)), weight=np.ones(7), shift=SHIFT)
        slow = np.abs(found.s) < 1e6
        assert np.all(found.s.imag[slow] == 0.0)


def test_a_store_without_a_freedom_of_its_own_adds_no_mode():
    """Two capacitors side by side told as two: one mode."""
    ohm, farads = 1e3, np.array([1e-6, 3e-6])
    answer = -1.0 / (1.0 / ohm + SHIFT * farads.sum())
    found = natural_modes(np.full((2, 2), answer), weight=farads, shift=SHIFT)
    assert found.s == pytest.approx([-1.0 / (ohm * farads.sum())], rel=1e-9)
    assert found.share[0] == pytest.approx(farads / farads.sum())


def test_setting_the_amplitude_free_adds_the_tank():
    """One more state coupled both ways, against the eigenvalues of the whole matrix."""
    rng = np.random.default_rng(11)
    whole = rng.normal(size=(5, 5)) * 400.0
    capacitance = 10.0 ** rng.uniform(-10.0, -6.0, 4)
    tank, conductance = 2.2e-10, 3e-6
    inner, column, row = whole[:4, :4], whole[:4, 4], whole[4, :4]
    unit = np.eye(4)
    free = with_tank(
        state_space(inner, capacitance),
        to_amplitude=np.linalg.solve(SHIFT * unit - inner, column),
        drive=tank * row @ state_space(inner, capacitance),
        # C a' = -G a + drive: what of the diagonal is not the loss is drive
        drive_to_amplitude=tank * (row @ np.linalg.solve(SHIFT * unit - inner, column) + whole[4, 4])
        + conductance,
        admittance=tank * SHIFT + conductance,
    )
    found = natural_modes(free, weight=[*capacitance, tank], shift=SHIFT)
    exact = np.linalg.eigvals(whole)
    for value in found.s:
        assert np.abs(exact - value).min() < 1e-9 * abs(value)
    assert len(found.s) == 5


def test_capacitance_that_makes_an_amplifier_howl():
    """A lagging amplifier A/(1 + s tau) without inversion, its input R beside C1, a capacitance C from its
    stiff output to its input: s^2 tau (C1 + C) + s (C1 + C + tau/R - C A) + 1/R = 0, which is marginal at
    C = (C1 + tau/R)/(A - 1), w^2 = 1/(R tau (C1 + C)). By hand.
    """
    ohm, first, tau, gain = 47e3, 130e-12, 2.2e-5, 37.0
    second = 1e-9  # the lag's own capacitor, behind tau/second ohm
    s = SHIFT
    # stores: input, lag, and the pair input - output; a source takes its ampere out of the first node
    system = np.array([[1.0 / ohm + s * first, 0.0], [-second / tau, second / tau + s * second]])
    volts = np.linalg.solve(system, np.array([[-1.0, 0.0, -1.0], [0.0, -1.0, 0.0]]))
    response = np.vstack([volts, volts[0] - gain * volts[1]])
    weight = np.array([first, second, 0.0])
    due = (first + tau / ohm) / (gain - 1.0)
    pitch = 1.0 / math.sqrt(ohm * tau * (first + due)) / (2.0 * math.pi)
    frequencies = np.geomspace(pitch / 50.0, pitch * 60.0, 250)
    howl = howling_capacitance(response, weight=weight, shift=s, port=2, frequencies=frequencies)
    assert howl == (pytest.approx(due, rel=1e-6), pytest.approx(pitch, rel=1e-6))
    # and the modes say so themselves: 1 % less decays, 1 % more grows
    for factor, grows in ((0.99, False), (1.01, True)):
        there = due * factor
        fed = system + np.array([[s * there, -s * there * gain], [0.0, 0.0]])
        moved = np.linalg.solve(fed, np.array([[-1.0, 0.0, -1.0], [0.0, -1.0, 0.0]]))
        answers = np.vstack([moved, moved[0] - gain * moved[1]])
        found = natural_modes(answers, weight=np.array([first, second, there]), shift=s)
        assert bool(found.s[0].real > 0.0) is grows
    # with the amplifier turned round nothing makes it howl
    against = np.vstack([volts, volts[0] + gain * volts[1]])
    howl = howling_capacitance(against, weight=weight, shift=s, port=2, frequencies=frequencies)
    assert howl is None
