"""What the formulas refuse, at the edges of what they hold for; sections of a coil known by its shape."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from receiver_sim.errors import NoAnswer
from receiver_sim.physics.checks import (
    OutsideFormula,
    require_fraction,
    require_not_negative,
    require_positive,
)
from receiver_sim.physics.mutual_inductance import coaxial_sheets, sheet_sections
from receiver_sim.physics.return_ratio import half_power_width
from receiver_sim.physics.self_capacitance import extrapolated, medhurst_h


def refused(check: Any, *values: Any, **how: Any) -> list[bool]:
    out = []
    for value in values:
        try:
            check(**how, x=value)
            out.append(False)
        except OutsideFormula:
            out.append(True)
    return out


ABOVE = (1e-300, 2.0, 3, np.array([1.0, 2.0]))
BELOW = (-1e-300, -2, np.array([1.0, -2.0]))
NONE = (math.inf, math.nan, -math.inf, np.array([1.0, math.nan]), np.array([math.inf, 1.0]))


def test_above_nothing_means_finite_and_more_than_zero_throughout() -> None:
    assert refused(require_positive, *ABOVE) == [False] * 4
    assert refused(require_positive, 0.0, 0, np.array([1.0, 0.0]), *BELOW, *NONE) == [True] * 11
    assert refused(require_not_negative, *ABOVE, 0.0, 0, np.array([1.0, 0.0])) == [False] * 7
    assert refused(require_not_negative, *BELOW, *NONE) == [True] * 8


def test_a_fraction_lies_between_nothing_and_one_with_its_ends_or_without() -> None:
    inside, ends, outside = (0.5, np.array([0.1, 0.9])), (0.0, 1.0, 0, 1), (-0.1, 1.1, np.array([0.5, 1.1]))
    for both in (True, False):
        assert refused(require_fraction, *inside, ends=both) == [False] * 2
        assert refused(require_fraction, *ends, np.array([0.5, 1.0]), ends=both) == [not both] * 5
        assert refused(require_fraction, *outside, math.nan, ends=both) == [True] * 4


@pytest.mark.parametrize(
    ("check", "values", "words"),
    [
        (require_positive, {"a": 1.0, "b": 0.0}, "b must be above zero, got 0.0"),
        (require_not_negative, {"a": -1.0, "b": -2.0}, "a must be zero or more, got -1.0"),
        (require_fraction, {"ends": True, "a": 2.0}, "a must be from 0 to 1, got 2.0"),
        (require_fraction, {"ends": False, "a": 1.0}, "a must be between 0 and 1, ends excluded, got 1.0"),
    ],
)
def test_the_first_that_does_not_fit_is_named(check: Any, values: dict[str, Any], words: str) -> None:
    with pytest.raises(OutsideFormula) as caught:
        check(**values)
    assert str(caught.value) == words


# ---------------------------------------------------------------------------- a coil by its shape


@pytest.mark.parametrize(("share", "shape"), [(0.06, 0.8), (0.3, 2.5), (0.5, 0.3)])
def test_sections_of_a_coil_known_by_its_shape(share: float, shape: float) -> None:
    """M of two sheets end to end by Maxwell's filaments, integrated along both (their radii a millionth
    apart, so that the exact way for equal ones isn't taken), beside self-inductances by Lundin's fit to
    Nagaoka's coefficient, 3 ppm.
    """
    found = sheet_sections(5.6e-6, turns_fraction=share, shape=shape)
    assert found.upper + found.lower + 2.0 * found.mutual == pytest.approx(5.6e-6, rel=1e-12)
    radius, turns = 16e-3, 40.0
    length = 2.0 * radius * shape
    mutual = coaxial_sheets(
        turns * share, radius=radius, length=length * share, other_turns=turns * (1.0 - share),
        other_radius=radius * (1.0 + 1e-6), other_length=length * (1.0 - share), distance=0.5 * length,
    )  # fmt: skip
    whole = lundin(turns, radius=radius, length=length)
    lower = lundin(turns * share, radius=radius, length=length * share)
    upper = lundin(turns * (1.0 - share), radius=radius, length=length * (1.0 - share))
    for got, due in ((found.mutual, mutual), (found.lower, lower), (found.upper, upper)):
        assert got / 5.6e-6 == pytest.approx(due / whole, rel=2e-5)


def lundin(turns: float, *, radius: float, length: float) -> float:
    """Return the inductance (H) of a current sheet by Lundin's formula (Proc. IEEE 73, 1985, from memory)."""
    x = length / (2.0 * radius)

    def first(y: float) -> float:
        return (1.0 + 0.383901 * y + 0.017108 * y * y) / (1.0 + 0.258952 * y)

    def second(y: float) -> float:
        return 0.093842 * y + 0.002029 * y * y - 0.000801 * y**3

    mu, area = 4e-7 * math.pi, math.pi * radius**2
    if x > 1.0:
        return mu * turns**2 * area / length * (first(1.0 / x**2) - 4.0 / (3.0 * math.pi) / x)
    own = (math.log(4.0 / x) - 0.5) * first(x**2) + second(x**2)
    return mu * turns**2 * radius * own


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"turns_fraction": 1.0, "shape": 1.0}, "turns_fraction must be below 1, got 1.0"),
        ({"turns_fraction": 0.0, "shape": 1.0}, "turns_fraction must be above zero, got 0.0"),
        ({"turns_fraction": 0.2, "shape": 0.0}, "shape must be above zero, got 0.0"),
    ],
)
def test_a_tap_lies_on_its_coil(values: dict[str, float], words: str) -> None:
    with pytest.raises(OutsideFormula) as caught:
        sheet_sections(5e-6, **values)
    assert str(caught.value) == words


# ---------------------------------------------------------------------------- widths, strays of a coil


@pytest.mark.parametrize("peak", [1e6, 2e6, 0.9e6, 2.1e6])
def test_a_peak_at_the_end_of_a_range_has_no_width(peak: float) -> None:
    f = np.linspace(1e6, 2e6, 101)
    with pytest.raises(NoAnswer, match=r"^the peak of the resonance lies at the end of the range$"):
        half_power_width(f, magnitude=1.0 / np.hypot(1.0, 2.0 * (f - peak) / 5e4))


def test_one_flank_is_not_enough_for_a_width() -> None:
    f = np.linspace(1e6, 2e6, 101)
    for peak in (1.02e6, 1.98e6):
        with pytest.raises(NoAnswer, match=r"^the resonance does not fall to half power within the range$"):
            half_power_width(f, magnitude=1.0 / np.hypot(1.0, 2.0 * (f - peak) / 2e5))


@pytest.mark.parametrize(
    ("ratio", "beyond"), [(0.0999, True), (0.1, False), (1.0, False), (50.0, False), (50.1, True)]
)
def test_a_coil_outside_of_medhursts_table_is_told(ratio: float, beyond: bool) -> None:
    """His table runs from a tenth to fifty times the diameter."""
    assert extrapolated(ratio) is beyond


def test_outside_of_the_table_its_own_fit_goes_on_from_its_ends() -> None:
    """0.1126 x + 0.08 + 0.27/sqrt(x) (Medhurst, from memory), through 0.96 at a tenth and 5.8 at fifty."""

    def fit(x: float) -> float:
        return 0.1126 * x + 0.08 + 0.27 / math.sqrt(x)

    assert medhurst_h(0.02) == pytest.approx(0.96 * fit(0.02) / fit(0.1))
    assert medhurst_h(90.0) == pytest.approx(5.8 * fit(90.0) / fit(50.0))
    assert medhurst_h(np.array([0.1, 1.5, 50.0])) == pytest.approx([0.96, 0.47, 5.8])
