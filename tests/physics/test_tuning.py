"""Checks of receiver_sim.physics.tuning: identities and hand-worked cases."""

import numpy as np
import pytest

from receiver_sim.physics import tuning
from tests.helpers.textbook import dial_frequency

CAPACITOR = {"minimum": 9e-12, "maximum": 147e-12}


@pytest.mark.parametrize("law", tuning.LAWS)
@pytest.mark.parametrize("fixed", [0.0, 13e-12])
def test_each_law_is_straight_in_its_quantity(law, fixed):
    x = np.linspace(0, 1, 11)
    c = tuning.variable_capacitance(x, **CAPACITOR, law=law, fixed=fixed)
    assert (c[0], c[-1]) == (pytest.approx(9e-12, rel=1e-12), pytest.approx(147e-12, rel=1e-12))
    straight = {"capacitance": c, "wavelength": np.sqrt(c + fixed), "frequency": 1 / np.sqrt(c + fixed)}[law]
    assert np.diff(straight) == pytest.approx(np.full(10, (straight[-1] - straight[0]) / 10), rel=1e-9)
    assert tuning.capacitor_rotation(c, **CAPACITOR, law=law, fixed=fixed) == pytest.approx(x, abs=1e-9)


def test_straight_line_frequency_dial_is_even():
    # with the strays the plates were cut for, the same kHz in each degree, end to end
    dial = {"inductance": 3.1e-6, **CAPACITOR, "law": "frequency", "parallel": 13e-12, "fixed": 13e-12}
    steps = np.diff(dial_frequency(np.linspace(0, 1, 7), **dial))
    assert steps == pytest.approx(np.full(6, steps.mean()), rel=1e-9)


def test_padding_by_hand_and_back():
    # 60 in series with 30 is 20, plus 7 is 27 pF
    assert tuning.padded_capacitance(60e-12, series=30e-12, parallel=7e-12) == pytest.approx(
        27e-12, rel=1e-12
    )
    assert tuning.padded_capacitance(60e-12, parallel=7e-12) == pytest.approx(67e-12, rel=1e-12)
    assert tuning.unpadded_capacitance(27e-12, series=30e-12, parallel=7e-12) == pytest.approx(
        60e-12, rel=1e-12
    )


@pytest.mark.parametrize(("low", "high"), [(80e-12, 90e-12), (41e-12, 141e-12), (20e-12, 158e-12)])
def test_padders_give_the_range_asked_for(low, high):
    series, parallel = tuning.padders_for_range(9e-12, maximum=147e-12, total_low=low, total_high=high)
    ends = tuning.padded_capacitance(np.array([9e-12, 147e-12]), series=series, parallel=parallel)
    assert ends == pytest.approx([low, high], rel=1e-9)


def test_padders_that_cannot_be():
    with pytest.raises(
        ValueError, match=r"^the wanted swing .* is above the capacitor's .*; use a larger capacitor$"
    ):
        tuning.padders_for_range(9e-12, maximum=50e-12, total_low=20e-12, total_high=90e-12)
    with pytest.raises(ValueError, match=r"use less inductance and more capacitance$"):
        tuning.padders_for_range(9e-12, maximum=147e-12, total_low=3e-12, total_high=100e-12)


def test_gaps_and_overlaps():
    coils = [(3.4e6, 5.6e6), (6.9e6, 11e6), (5.2e6, 6.5e6)]
    assert tuning.gaps(coils, wanted=(3e6, 12e6)) == [(3e6, 3.4e6), (6.5e6, 6.9e6), (11e6, 12e6)]
    assert tuning.gaps(coils, wanted=(3.5e6, 3.8e6)) == []
    assert tuning.gaps(coils, wanted=(6.6e6, 6.8e6)) == [(6.6e6, 6.8e6)]
    assert tuning.gaps([], wanted=(7e6, 7.3e6)) == [(7e6, 7.3e6)]
    assert tuning.gaps([(20e6, 21e6)], wanted=(7e6, 7.3e6)) == [(7e6, 7.3e6)]
    assert tuning.overlaps(coils) == [(0, 2, (5.2e6, 5.6e6))]


def test_refusals():
    with pytest.raises(
        ValueError, match=r"^law must be one of capacitance, wavelength, frequency, got 'log'$"
    ):
        tuning.variable_capacitance(0.5, **CAPACITOR, law="log")
    with pytest.raises(ValueError, match=r"^maximum 1e-12 F must be above minimum 2e-12 F$"):
        tuning.variable_capacitance(0.5, minimum=2e-12, maximum=1e-12, law="frequency")
    with pytest.raises(ValueError, match=r"^a span needs 0 < low < high, got 5\.0 to 4\.0$"):
        tuning.gaps([(5.0, 4.0)], wanted=(1.0, 2.0))
