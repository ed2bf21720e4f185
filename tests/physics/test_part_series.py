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
    preferred_between,
    rating_above,
)


def test_each_series_is_every_other_number_of_the_finer_one() -> None:
    """IEC 60063 defines them so, each step a root of ten; the historical roundings are off by 5 % at most."""
    assert E24[::2] == E12
    assert len(E24) == 24 and list(E24) == sorted(set(E24))
    for step, number in enumerate(E24):
        assert number == pytest.approx(10.0 * 10.0 ** (step / 24.0), rel=0.05)


def test_the_numbers_are_those_that_are_printed() -> None:
    """IEC 60063, E24 (from memory, high)."""
    printed = "10 11 12 13 15 16 18 20 22 24 27 30 33 36 39 43 47 51 56 62 68 75 82 91"
    assert tuple(int(number) for number in printed.split()) == E24


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


def test_ratings_are_those_that_are_sold() -> None:
    """Rated voltages of electrolytics and films, and watts of resistors: common practice, no source."""
    volts = "16 25 50 63 100 160 250 350 400 450 630 1000 1600"
    assert tuple(float(one) for one in volts.split()) == CAPACITOR_VOLTS
    watts = "0.25 0.5 1 2 3 5 10 20 50"
    assert tuple(float(one) for one in watts.split()) == RESISTOR_WATTS


@pytest.mark.parametrize(
    ("low", "high", "found"),
    [
        (9.2, 9.9, None),
        (9.0, 9.9, 9.1),
        (0.0, 5e3, None),
        (5e3, 4e3, None),
        (4.7e3, 4.7e3, 4.7e3),
        # 10 is nearest to the geometric mean of 2 and 50, not to their mean 26
        (2.0, 50.0, 10.0),
        # the decade ends between them
        (97.0, 101.0, 100.0),
    ],
)
def test_a_value_between_two_bounds_is_nearest_their_geometric_mean(
    low: float, high: float, found: float | None
) -> None:
    assert preferred_between(low, high, E24) == found


@pytest.mark.parametrize(("value", "known"), [(4.7e3 * 1.0009, True), (4.7e3 * 1.0011, False)])
def test_a_value_is_one_of_the_series_within_a_thousandth(value: float, known: bool) -> None:
    assert is_preferred(value, E12) is known


def test_ratings_rise() -> None:
    for ratings in (CAPACITOR_VOLTS, RESISTOR_WATTS):
        assert list(ratings) == sorted(set(ratings))
    assert rating_above(0.26, RESISTOR_WATTS) == 0.5
