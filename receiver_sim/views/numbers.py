"""Numbers as a person reads them: SI prefixes, per cent, decibel. ASCII, spelled as in a build."""

from __future__ import annotations

import math

NOTHING = "-"
"""Stands where a result has no value."""

_PREFIXES = {
    -15: "f", -12: "p", -9: "n", -6: "u", -3: "m", 0: "", 3: "k", 6: "M", 9: "G", 12: "T",
}  # fmt: skip
_PREFIXED_UNITS = frozenset({"V", "A", "W", "ohm", "Hz", "F", "H", "s", "S"})

_LEAST = {"F": -12}
"""The smallest prefix of a unit where the trade has one: capacitances are told in picofarads."""


def engineering(value: float | None, unit: str, digits: int = 3) -> str:
    """Return `value` (in `unit`, SI without prefix) to `digits` significant digits with a fitting SI prefix.

    Units that take no prefix ('%', 'deg', 'dB', '1/V', '' ...) keep the plain number. None gives '-'. Raises
    ValueError on NaN or infinity, which no result may hold, and on digits below 1.
    """
    if value is None:
        return NOTHING
    if not math.isfinite(value):
        raise ValueError(f"cannot print {value} {unit}: a result holds NaN or infinity")
    if digits < 1:
        raise ValueError(f"digits must be 1 or more, not {digits}")
    if value == 0.0:
        return f"0 {unit}".rstrip()
    # Rounded first, so that 999.6 becomes 1.00 k and not 1000.
    mantissa, power = f"{abs(value):.{digits - 1}e}".split("e")
    exponent = int(power)
    step = 0
    if unit in _PREFIXED_UNITS:
        step = min(max(3 * (exponent // 3), _LEAST.get(unit, min(_PREFIXES))), max(_PREFIXES))
    decimals = max(digits - 1 - (exponent - step), 0)
    number = f"{math.copysign(float(mantissa) * 10.0 ** (exponent - step), value):.{decimals}f}"
    return f"{number} {_PREFIXES[step]}{unit}".rstrip()


def fixed(value: float | None, decimals: int, scale: float = 1.0) -> str:
    """Return `value * scale` with a fixed count of decimals for a column of a table; None gives '-'."""
    if value is None:
        return NOTHING
    text = f"{value * scale:.{decimals}f}"
    # '-0.00' reads like a sign that means something
    return text.lstrip("-") if float(text) == 0.0 else text


def percent(fraction: float | None, decimals: int = 0) -> str:
    """Return a fraction as per cent with its sign: 0.52 -> '52 %'."""
    return NOTHING if fraction is None else f"{fixed(fraction, decimals, 100.0)} %"


def decibel(ratio: float | None, decimals: int = 1) -> str:
    """Return a voltage ratio in decibel (20 log10) without unit; '-' for None and for a ratio of zero."""
    return NOTHING if ratio is None or ratio <= 0.0 else fixed(20.0 * math.log10(ratio), decimals)


def shorten(name: str, limit: int) -> str:
    """Return `name` in at most `limit` characters, its end replaced by '...' if it is longer."""
    return name if len(name) <= limit else name[: limit - 3].rstrip() + "..."
