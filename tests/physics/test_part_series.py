"""Preferred numbers against their law, and ratings at their edges."""

from __future__ import annotations

import pytest

from receiver_sim.physics.part_series import (
    CAPACITOR_VOLTS,
    E12,
    E24,
    RESISTOR_WATTS,
    is_preferred,
    nearest_preferred,
    rating_above,
)


def test_each_series_is_every_other_number_of_the_finer_one() -> None:
    """IEC 60063 defines them so, each step a root of ten; the historical roundings are off by 5 % at most."""
    assert E24[::2] == E12
    assert len(E24) == 24 and list(E24) == sorted(set(E24))
    for step, number in enumerate(E24):
        assert number == pytest.approx(10.0 * 10.0 ** (step / 24.0), rel=0.05)


@pytest.mark.parametrize(
    ("value", "series", "near"),
    [(2.05e3, E12, 2.2e3), (1.98e3, E12, 1.8e3), (9.6, E24, 10.0), (9.5, E24, 9.1), (0.99e-9, E12, 1e-9),
     (104e3, E24, 100e3), (106e3, E24, 110e3)],
)  # fmt: skip
def test_the_nearest_is_so_in_ratio(value: float, series: tuple[int, ...], near: float) -> None:
    """Between 1.8 and 2.2 the middle is 1.990, their geometric mean; between 91 and 100 it is 95.39."""
    assert nearest_preferred(value, series) == pytest.approx(near)


def test_a_value_of_the_series_is_known_as_one() -> None:
    assert is_preferred(4.7e3, E12) and is_preferred(4.7e-12, E12) and is_preferred(5.1e3, E24)
    assert not is_preferred(5.1e3, E12) and not is_preferred(4.72e3, E12)


@pytest.mark.parametrize(
    ("value", "rating"), [(249.9, 250.0), (250.0, 250.0), (250.1, 350.0), (1601.0, None)]
)
def test_a_capacitor_stands_its_volts(value: float, rating: float | None) -> None:
    assert rating_above(value, CAPACITOR_VOLTS) == rating


def test_ratings_rise() -> None:
    for ratings in (CAPACITOR_VOLTS, RESISTOR_WATTS):
        assert list(ratings) == sorted(set(ratings))
    assert rating_above(0.26, RESISTOR_WATTS) == 0.5
