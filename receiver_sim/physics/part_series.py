"""Preferred numbers: values of resistors and capacitors, and the ratings they are made for."""

from __future__ import annotations

import math

from receiver_sim.physics.checks import require_positive

E12 = (10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82)
E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)
"""IEC 60063, the series of 10 and 5 per cent; from memory."""

CAPACITOR_VOLTS = (16.0, 25.0, 50.0, 63.0, 100.0, 160.0, 250.0, 350.0, 400.0, 450.0, 630.0, 1000.0, 1600.0)
"""Usual rated voltages of electrolytic and film capacitors, V (common practice, no source)."""

RESISTOR_WATTS = (0.25, 0.5, 1.0, 2.0, 3.0, 5.0, 10.0, 20.0, 50.0)
"""Usual ratings of resistors, W (common practice, no source)."""


def nearest_preferred(value: float, series: tuple[int, ...]) -> float:
    """Return the value of a series (numbers of one decade, 10 to 99) nearest in ratio to `value`."""
    require_positive(value=value)
    return min(_about(value, series), key=lambda one: abs(math.log(one / value)))


def preferred_between(lowest: float, highest: float, series: tuple[int, ...]) -> float | None:
    """Return the value of a series between two bounds nearest their geometric mean, None if there is none."""
    if not 0.0 < lowest <= highest:
        return None
    middle = math.sqrt(lowest * highest)
    fitting = [one for one in _about(middle, series) if lowest <= one <= highest]
    return min(fitting, key=lambda one: abs(math.log(one / middle)), default=None)


def _about(value: float, series: tuple[int, ...]) -> list[float]:
    """Return the values of a series in the decade of `value` and in those beside it, as they are written."""
    decade = math.floor(math.log10(value))
    return [float(f"{n}e{d - 1}") for d in (decade - 1, decade, decade + 1) for n in series]


def is_preferred(value: float, series: tuple[int, ...]) -> bool:
    """Return whether a value is one of the series, as nearly as it is written."""
    return abs(nearest_preferred(value, series) / value - 1.0) < 1e-3


def rating_above(value: float, ratings: tuple[float, ...]) -> float | None:
    """Return the lowest usual rating at or above a value, None above all of them."""
    return next((one for one in ratings if one >= value * (1.0 - 1e-9)), None)
