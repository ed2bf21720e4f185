"""Tuning: capacitor laws, padders, dial scale, and what a set of coils covers.

SI: farad, henry, hertz; rotation as a fraction 0 (plates out, least capacitance) to 1 (meshed).
"""

from collections.abc import Iterable, Sequence

import numpy as np

from receiver_sim.errors import NoAnswer
from receiver_sim.physics.checks import Real, require_fraction, require_not_negative, require_positive

LAWS = ("capacitance", "wavelength", "frequency")
_POWER = {"capacitance": 1.0, "wavelength": 0.5, "frequency": -0.5}

Span = tuple[float, float]  # low and high frequency, Hz


def variable_capacitance(
    rotation: Real, *, minimum: Real, maximum: Real, law: str, fixed: Real = 0.0
) -> Real:
    """Return the capacitance, F, of a variable capacitor at a rotation of 0 to 1.

    `law` is what runs straight with rotation: "capacitance" (half-round plates), "wavelength" (sqrt C) or
    "frequency" (1/sqrt C): textbook. `fixed` (F) is the parallel capacitance the plates were cut for: C +
    fixed follows the law. Floats or arrays. ValueError for a rotation outside 0 to 1, an unknown law,
    minimum not above zero or maximum not above minimum, negative fixed.
    """
    require_fraction(ends=True, rotation=rotation)
    power = _law_power(law, minimum, maximum, fixed)
    low, high = (minimum + fixed) ** power, (maximum + fixed) ** power
    return (low + (high - low) * rotation) ** (1 / power) - fixed


def capacitor_rotation(
    capacitance: Real, *, minimum: Real, maximum: Real, law: str, fixed: Real = 0.0
) -> Real:
    """Return the rotation (0 to 1) for a capacitance: the inverse of `variable_capacitance`.

    Arguments and errors as there; ValueError also for a capacitance outside minimum to maximum (by more than
    rounding).
    """
    power = _law_power(law, minimum, maximum, fixed)
    slack = 1e-9 * np.asarray(maximum)
    if np.any((np.asarray(capacitance) < minimum - slack) | (np.asarray(capacitance) > maximum + slack)):
        raise NoAnswer(f"capacitance {capacitance} F is outside {minimum} to {maximum} F")
    low, high = (minimum + fixed) ** power, (maximum + fixed) ** power
    return np.clip(((capacitance + fixed) ** power - low) / (high - low), 0.0, 1.0)


def _law_power(law: str, minimum: Real, maximum: Real, fixed: Real) -> float:
    if law not in _POWER:
        raise ValueError(f"law must be one of {', '.join(LAWS)}, got {law!r}")
    require_positive(minimum=minimum)
    require_not_negative(fixed=fixed)
    if np.any(np.asarray(maximum) <= np.asarray(minimum)):
        raise ValueError(f"maximum {maximum} F must be above minimum {minimum} F")
    return _POWER[law]


def padded_capacitance(variable: Real, *, series: Real = np.inf, parallel: Real = 0.0) -> Real:
    """Return the capacitance, F, across the tank: `variable` in series with `series`, plus `parallel`.

    `parallel` collects strays and trimmer; no series capacitor is `inf`. Floats or arrays. ValueError for
    variable or series not above zero or a negative parallel.
    """
    require_positive(variable=variable)
    require_not_negative(parallel=parallel)
    if not np.all(np.asarray(series) > 0):
        raise ValueError(f"series must be above zero, got {series}")
    return variable / (1 + variable / series) + parallel


def unpadded_capacitance(total: Real, *, series: Real = np.inf, parallel: Real = 0.0) -> Real:
    """Return the variable capacitance, F, for a total across the tank: the inverse of `padded_capacitance`.

    ValueError where no positive value exists.
    """
    rest = total - parallel
    if np.any((np.asarray(rest) <= 0) | (np.asarray(rest) >= series)):
        raise NoAnswer(
            f"no variable capacitance gives {total} F with {series} F in series and {parallel} F across"
        )
    return rest / (1 - rest / series)


def padders_for_range(
    minimum: float, *, maximum: float, total_low: float, total_high: float
) -> tuple[float, float]:
    """Return (series, parallel), F, that bring a capacitor's swing to `total_low` to `total_high`.

    Exact, from the two ends: S^2 (dv - dt) - S dt (v1 + v2) - dt v1 v2 = 0 with dv, dt the two swings.
    Series is `inf` if the swings are equal. ValueError if the wanted swing is above the capacitor's, or
    parallel would be negative: then a smaller coil, or a larger capacitor, is the cure.
    """
    require_positive(minimum=minimum, total_low=total_low)
    swing, wanted = maximum - minimum, total_high - total_low
    if swing <= 0 or wanted <= 0:
        raise ValueError("maximum must be above minimum and total_high above total_low")
    if wanted > swing * (1 + 1e-12):
        raise NoAnswer(
            f"the wanted swing {wanted} F is above the capacitor's {swing} F; use a larger capacitor"
        )
    spare = swing - wanted
    if spare <= 1e-12 * swing:
        series = float("inf")
    else:
        b = wanted * (minimum + maximum)
        series = (b + np.sqrt(b**2 + 4 * spare * wanted * minimum * maximum)) / (2 * spare)
    parallel = total_low - minimum / (1 + minimum / series)
    if parallel < 0:
        raise NoAnswer(
            f"the capacitor's {minimum} F in series with {series:.3g} F is already above {total_low} F; "
            "use less inductance and more capacitance"
        )
    return float(series), float(parallel)


def gaps(covered: Iterable[Span], *, wanted: Span) -> list[Span]:
    """Return the parts of `wanted` (low, high) that no span of `covered` reaches, rising."""
    low, high = _span(wanted)
    missing: list[Span] = []
    for start, stop in sorted(_span(s) for s in covered):
        if start > low:
            missing.append((low, min(start, high)))
        low = max(low, stop)
        if low >= high:
            return [m for m in missing if m[1] > m[0]]
    return [m for m in [*missing, (low, high)] if m[1] > m[0]]


def overlaps(covered: Sequence[Span]) -> list[tuple[int, int, Span]]:
    """Return (i, j, common span) for each pair of spans that overlap, i < j in the order given."""
    found: list[tuple[int, int, Span]] = []
    for j, second in enumerate(covered):
        for i, first in enumerate(covered[:j]):
            low, high = max(_span(first)[0], _span(second)[0]), min(first[1], second[1])
            if high > low:
                found.append((i, j, (low, high)))
    return sorted(found)


def _span(span: Span) -> Span:
    low, high = span
    if not 0 < low < high:
        raise ValueError(f"a span needs 0 < low < high, got {low} to {high}")
    return float(low), float(high)
