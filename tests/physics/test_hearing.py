"""The threshold of hearing and levels in a phone, against ISO 226:2003 and the definition of the decibel."""

from __future__ import annotations

import math

import pytest

from receiver_sim.physics.hearing import sound_level_db, threshold_db


@pytest.mark.parametrize(
    ("hertz", "level"), [(50.0, 44.0), (100.0, 26.5), (1000.0, 2.4), (3150.0, -6.0), (12500.0, 12.3)]
)
def test_rows_of_the_table(hertz: float, level: float) -> None:
    assert float(threshold_db(hertz)) == pytest.approx(level)


@pytest.mark.parametrize(("low", "high", "levels"), [(100.0, 125.0, (26.5, 22.1)), (50.0, 63.0, (44.0, 37.5)),
                                                    (6300.0, 8000.0, (6.0, 12.6))])  # fmt: skip
def test_half_way_between_two_tones_to_the_ear_is_the_mean(
    low: float, high: float, levels: tuple[float, float]
) -> None:
    """The ear hears ratios: half way between two frequencies is their geometric mean."""
    found = float(threshold_db(math.sqrt(low * high)))
    assert found == pytest.approx(0.5 * sum(levels), abs=1e-9)


def test_it_is_held_beyond_the_table() -> None:
    assert float(threshold_db(10.0)) == 78.5 and float(threshold_db(16000.0)) == 12.3


@pytest.mark.parametrize(("watts", "level"), [(1e-3, 100.0), (1e-6, 70.0), (2e-3, 103.0103)])
def test_a_milliwatt_gives_what_the_phone_is_rated(watts: float, level: float) -> None:
    assert sound_level_db(watts, sensitivity_db=100.0) == pytest.approx(level)
    assert sound_level_db(0.0, sensitivity_db=100.0) is None
