"""Drift while warming up, against the resonance formula with a little more capacitance and inductance."""

from __future__ import annotations

import math

import pytest

from receiver_sim.api import _sheet
from receiver_sim.physics.warm_up import drift_by_capacitance, drift_by_heat
from receiver_sim.results.coils import CoilRange
from tests.helpers.filling import filled


def resonance(henry: float, farad: float) -> float:
    return 1.0 / (2.0 * math.pi * math.sqrt(henry * farad))


def test_more_capacitance_lowers_the_frequency() -> None:
    """First order: good to the relative change itself, here 0.4 %."""
    henry, farad, added = 5.6e-6, 90e-12, 0.35e-12
    before, after = resonance(henry, farad), resonance(henry, farad + added)
    found = drift_by_capacitance(before, added=added, total=farad)
    assert found < 0.0
    assert found == pytest.approx(after - before, rel=5e-3)


def test_heat_lengthens_coil_and_capacitor() -> None:
    henry, farad, rise = 5.6e-6, 90e-12, 14.0
    warm = resonance(henry * (1.0 + 70e-6 * rise), farad * (1.0 + 30e-6 * rise))
    found = drift_by_heat(resonance(henry, farad), coil_per_k=70e-6, capacitor_per_k=30e-6, rise=rise)
    assert found == pytest.approx(warm - resonance(henry, farad), rel=2e-3)


def test_the_sheet_has_a_picofarad_and_ten_kelvin_at_the_middle_of_the_band() -> None:
    """1 pF of 88 pF, and 10 K at 20 + 20 to 80 + 60 parts in a million: the figures its legend names."""
    found = _sheet._drift(filled(CoilRange, middle_hz=7.1e6, total_farad=88e-12))
    assert found.tube_hz == pytest.approx(-7.1e6 / 176.0)
    assert found.highest_hz == pytest.approx(-0.5 * 7.1e6 * 40e-6 * 10.0)
    assert found.lowest_hz == pytest.approx(-0.5 * 7.1e6 * 140e-6 * 10.0)
    assert (found.dial_hz, found.rise_k) == (7.1e6, 10.0)
