"""Voltmeters: their resistance, the range that is chosen on a divider, their names and errors."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from receiver_sim.physics.meters import METERS, Voltmeter, meter_named, read


def _divider(volts: float, ohm: float) -> tuple[Callable[[float], float], list[float]]:
    """Volts behind a resistance with a meter across them, and what was put across."""
    seen: list[float] = []

    def loaded(meter_ohm: float) -> float:
        seen.append(meter_ohm)
        return volts * meter_ohm / (meter_ohm + ohm)

    return loaded, seen


@pytest.mark.parametrize(
    ("name", "ranges", "error", "lowest_ohm"),
    [
        # moving coils of 1 mA and of 50 uA, and an electronic meter: common practice, no source
        ("1 kohm/V", (10.0, 50.0, 250.0, 500.0, 1000.0), 0.03, 10e3),
        ("20 kohm/V", (2.5, 10.0, 50.0, 250.0, 1000.0), 0.03, 50e3),
        ("10 Mohm", (2.0, 20.0, 200.0, 1000.0), 0.01, 10e6),
    ],
)
def test_meters_of_three_ages(name: str, ranges: tuple[float, ...], error: float, lowest_ohm: float) -> None:
    meter = meter_named(name)
    assert (meter.name, meter.ranges, meter.error) == (name, ranges, error)
    assert meter.resistance(ranges[0]) == pytest.approx(lowest_ohm)
    # a moving coil loads less the higher its range, an electronic meter alike on all
    highest = lowest_ohm if name == "10 Mohm" else lowest_ohm * ranges[-1] / ranges[0]
    assert meter.resistance(ranges[-1]) == pytest.approx(highest)
    assert len(METERS) == 3


@pytest.mark.parametrize("written", ["20kohm/V", "20 KOHM/v", " 20 kohm / V "])
def test_a_meter_is_known_however_its_name_is_spaced(written: str) -> None:
    assert meter_named(written) is METERS[1]


def test_a_meter_that_is_none_names_those_that_are() -> None:
    with pytest.raises(KeyError) as told:
        meter_named("5 kohm/V")
    assert told.value.args[0] == "no meter '5 kohm/V'; there are: 1 kohm/V, 20 kohm/V, 10 Mohm"


def test_a_moving_coil_reads_what_its_own_resistance_leaves() -> None:
    """120 V behind 470 kohm: on 1000 V of 1 kohm/V 1 Mohm is across it, on 250 V a quarter, on 50 V it would
    go off its scale by what the 250 V range shows: 41.7 V are below 47.5, so that it is taken, and 50 kohm
    leave 11.5 V; those are above 9.5.
    """
    loaded, seen = _divider(120.0, 470e3)
    assert read(METERS[0], loaded) == (pytest.approx(120.0 * 50.0 / 520.0), 50.0)
    assert seen == [1e6, 500e3, 250e3, 50e3]


def test_an_electronic_meter_loads_once() -> None:
    loaded, seen = _divider(120.0, 1e6)
    assert read(METERS[2], loaded) == (pytest.approx(120.0 * 10.0 / 11.0), 200.0)
    assert seen == [10e6]


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize(("volts", "chosen"), [(18.9, 20.0), (19.1, 200.0)])
def test_the_next_lower_range_is_taken_below_ninety_five_hundredths_of_it(
    volts: float, chosen: float, sign: float
) -> None:
    """Of either sign."""
    loaded, _ = _divider(sign * volts, 0.0)
    assert read(METERS[2], loaded) == (pytest.approx(sign * volts), chosen)


def test_the_lowest_range_is_taken_for_next_to_nothing_and_the_highest_for_too_much() -> None:
    for meter in METERS:
        assert read(meter, _divider(0.01, 1e3)[0])[1] == meter.ranges[0]
        assert read(meter, _divider(5e3, 1e3)[0])[1] == meter.ranges[-1]
    assert Voltmeter("other", (5.0,), input_ohm=1e6).error == 0.02
