"""Guards shared by the formulas, and the alias for a quantity that may be one number or an array."""

import math
from typing import Any, TypeAlias

import numpy as np

# A float or a float array; arrays broadcast by numpy's rules and the result has the broadcast shape, a float
# for floats. `Any`, because a union would force every caller with a plain number to narrow the answer again.
Real: TypeAlias = Any


class OutsideFormula(ValueError):  # noqa: N818 - says what happened
    """A value outside what a formula holds for: a shape that can't be, or one that it wasn't made for.

    What reads a build catches this alone, so that a fault of the program isn't taken for one of the build.
    """


def require_positive(**values: Real) -> None:
    """Raise OutsideFormula naming the first of `values` that is not finite and above zero throughout."""
    for name, value in values.items():
        if type(value) is float and 0.0 < value < math.inf:  # many times faster than an array of one
            continue
        if not np.all(np.isfinite(value) & (np.asarray(value) > 0)):
            raise OutsideFormula(f"{name} must be above zero, got {value}")


def require_not_negative(**values: Real) -> None:
    """Raise OutsideFormula naming the first of `values` that is not finite and at least zero throughout."""
    for name, value in values.items():
        if type(value) is float and 0.0 <= value < math.inf:
            continue
        if not np.all(np.isfinite(value) & (np.asarray(value) >= 0)):
            raise OutsideFormula(f"{name} must be zero or more, got {value}")


def require_fraction(*, ends: bool, **values: Real) -> None:
    """Raise OutsideFormula naming the first of `values` outside 0 to 1; `ends`: whether 0 and 1 may occur."""
    for name, value in values.items():
        if type(value) is float and 0.0 < value < 1.0:
            continue
        array = np.asarray(value)
        inside = (array >= 0) & (array <= 1) if ends else (array > 0) & (array < 1)
        if not np.all(inside):
            kind = "from 0 to 1" if ends else "between 0 and 1, ends excluded"
            raise OutsideFormula(f"{name} must be {kind}, got {value}")
