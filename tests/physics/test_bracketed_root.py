"""The search for a root is what it says, and as quick as the library's that it stands for."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from scipy.optimize import brentq

from receiver_sim.physics.bracketed_root import bracketed_root

CASES: list[tuple[Callable[[float], float], float, float]] = [
    (lambda x: math.exp(x) - 3.0, -5.0, 4.0),
    (lambda x: x**3 - 2.0 * x - 5.0, 3.0, 2.0),  # Wallis's cubic; the bracket may be told either way
    (lambda x: math.cos(x) - x, 0.0, 1.0),
    (lambda x: math.atan(40.0 * (x - 0.3)), -8.0, 1.0),  # almost a step
    (lambda x: (x - 1.7) ** 9, 0.0, 3.0),  # so flat that interpolation is of no use
    (lambda x: math.log(max(math.exp(x) - 0.5, 1e-30)), -2.0, 3.0),  # a floor, as under an amplitude's excess
    (lambda x: x - 2.0, 2.0, 5.0),  # the root is an end
]


@pytest.mark.parametrize("case", range(len(CASES)))
@pytest.mark.parametrize("xtol", [1e-3, 1e-6, 1e-9])
def test_it_finds_what_the_library_finds_with_about_as_many_looks(case: int, xtol: float) -> None:
    function, low, high = CASES[case]
    looks = 0

    def counted(x: float) -> float:
        nonlocal looks
        looks += 1
        return function(x)

    theirs, told = brentq(function, low, high, xtol=xtol, full_output=True)
    ours = bracketed_root(counted, low, high, xtol=xtol)
    # each lies within its tolerance of the root
    assert abs(ours - theirs) <= 2.0 * xtol
    # two ways to state one method may differ by a look or two
    assert looks <= told.function_calls + 3


def test_without_a_change_of_sign_there_is_no_answer() -> None:
    with pytest.raises(ValueError, match="no change of sign between 1 and 2: 1 and 4"):
        bracketed_root(lambda x: x * x, 1.0, 2.0, xtol=1e-6)
