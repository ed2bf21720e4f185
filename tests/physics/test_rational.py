"""Poles from samples on the frequency axis, against functions whose poles are known."""

from __future__ import annotations

import numpy as np
import pytest

from receiver_sim.physics.rational import poles


def sampled(*terms: tuple[complex, complex]) -> tuple[np.ndarray, np.ndarray]:
    s = 2j * np.pi * np.logspace(-1, 5, 73)
    s = np.concatenate([s, s.conj()])
    return s, sum(r / (s - p) for r, p in terms)


def test_known_poles_are_found():
    wanted = [-3.0, -250.0 + 4000.0j, -250.0 - 4000.0j, 40.0, -2e4]
    s, values = sampled(*zip([1.0, 50.0 - 3.0j, 50.0 + 3.0j, 7.0, 900.0], wanted, strict=True))
    found = poles(s, values=values)
    assert len(found) == 5
    for exact in wanted:
        nearest = found[np.argmin(np.abs(found - exact))]
        # the samples are exact; what the fit leaves is its tolerance, 1e-8 of the largest value
        assert nearest == pytest.approx(exact, rel=1e-4)


def test_a_polynomial_has_none():
    s = 2j * np.pi * np.linspace(1.0, 100.0, 40)
    assert poles(s, values=1.0 + 0.0 * s).size == 0


def test_what_is_no_function_is_refused():
    s = 2j * np.pi * np.logspace(-1, 5, 73)
    with pytest.raises(ValueError, match="no rational function"):
        poles(s, values=np.random.default_rng(1).normal(size=s.size), most=6)
