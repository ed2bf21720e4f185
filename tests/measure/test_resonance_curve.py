"""The curve about a resonance, on a single one in closed form: |Z| = R/sqrt(1 + (2 df/B)^2) (textbook)."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from receiver_sim.measure import resonance_curve

MIDDLE_HZ, BANDWIDTH_HZ, OHM = 7.05e6, 3e3, 47e3


def _answer(low: float, high: float, points: int) -> dict[str, Any]:
    frequency = np.linspace(low, high, points)
    volts = OHM / (1.0 + 2j * (frequency - MIDDLE_HZ) / BANDWIDTH_HZ)
    return {"frequency": frequency + 0j, "top": volts}


def test_a_curve_falls_as_a_resonance_does_out_to_its_ends() -> None:
    """20 kHz to either side, where stations are weaker still; the narrow sweep makes the peak."""
    asked: list[list[str]] = []

    def ac(low: float, high: float, points: int, vectors: list[str]) -> dict[str, Any]:
        asked.append(vectors)
        return _answer(low, high, points)

    on: Any = SimpleNamespace(session=SimpleNamespace(ac=ac))
    narrow = _answer(MIDDLE_HZ - 2.5e3, MIDDLE_HZ + 2.5e3, 201)
    found = resonance_curve.curve(on, "top", middle_hz=MIDDLE_HZ, narrow=narrow)
    offset = resonance_curve.offsets()
    due = OHM / np.sqrt(1.0 + (2.0 * offset / BANDWIDTH_HZ) ** 2)
    # straight lines between points 100 Hz apart, on flanks of 1.5 kHz
    assert found == pytest.approx(due, rel=2e-3)
    assert asked == [["frequency", "top"]]
    assert found[0] < found[1] < found[2] and found[-1] < found[-2] < found[-3]


def test_offsets_run_evenly_to_both_sides_and_crowd_at_the_middle() -> None:
    """A listener looks for stations within 20 kHz (common practice, no source)."""
    offset = resonance_curve.offsets()
    assert (offset[0], offset[-1]) == (-20e3, 20e3)
    assert offset == pytest.approx(-offset[::-1], abs=1e-9)
    steps = np.diff(offset)
    assert offset.size % 2 == 1 and offset[offset.size // 2] == 0.0
    assert np.all(steps > 0.0) and np.all(np.diff(steps[offset.size // 2 :]) > 0.0)
    assert steps.max() < 2e3 and steps.min() < 10.0
