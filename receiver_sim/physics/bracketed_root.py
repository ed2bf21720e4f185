"""The root of a function between two places where it has opposite signs."""

from __future__ import annotations

from collections.abc import Callable

_RELATIVE = 4.0 * 2.220446049250313e-16
_MOST = 100


def bracketed_root(function: Callable[[float], float], low: float, high: float, *, xtol: float) -> float:
    """Return where `function` is zero between `low` and `high`, to `xtol`.

    The method of Brent (1973, Algorithms for minimization without derivatives, ch. 4): inverse quadratic or
    linear interpolation where it leads on quickly enough, halving otherwise, so never much slower than that.
    What `scipy.optimize.brentq` computes; it stands here since scipy's package takes longer to load than the
    searches of a whole `check` last; tests hold it against scipy's. Raises ValueError without opposite signs.
    """
    a, b = float(low), float(high)
    fa, fb = function(a), function(b)
    if fa * fb > 0.0:
        raise ValueError(f"no change of sign between {a:g} and {b:g}: {fa:g} and {fb:g}")
    # b is the best place so far, c the last one on the other side of the root, a the place before b
    c, fc = a, fa
    step = before = b - a
    for _ in range(_MOST):
        if fb * fc > 0.0:
            c, fc = a, fa
            step = before = b - a
        if abs(fc) < abs(fb):
            a, b, c = b, c, b
            fa, fb, fc = fb, fc, fb
        least = 0.5 * (xtol + _RELATIVE * abs(b))
        half = 0.5 * (c - b)
        if fb == 0.0 or abs(half) <= least:
            return b
        if abs(before) < least or abs(fa) <= abs(fb):
            step = before = half
        else:
            step, before = _interpolated(
                (a, fa), (b, fb), (c, fc), half=half, least=least, before=before, step=step
            )
        a, fa = b, fb
        b += step if abs(step) > least else (least if half > 0.0 else -least)
        fb = function(b)
    return b


def _interpolated(
    at_a: tuple[float, float],
    at_b: tuple[float, float],
    at_c: tuple[float, float],
    *,
    half: float,
    least: float,
    before: float,
    step: float,
) -> tuple[float, float]:
    """Return the step from b by interpolation and the one before it; half the way where it leads too far."""
    (a, fa), (b, fb), (c, fc) = at_a, at_b, at_c
    s = fb / fa
    if a == c:
        p, q = 2.0 * half * s, 1.0 - s
    else:
        q, r = fa / fc, fb / fc
        p = s * (2.0 * half * q * (q - r) - (b - a) * (r - 1.0))
        q = (q - 1.0) * (r - 1.0) * (s - 1.0)
    q = -q if p > 0.0 else q
    p = abs(p)
    if 2.0 * p < min(3.0 * half * q - abs(least * q), abs(before * q)):
        return p / q, step
    return half, half
