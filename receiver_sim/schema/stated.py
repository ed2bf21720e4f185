"""What a build states of a value's spread: '100 pF +-10 %', '16 uF -20/+50 %', '128 pF measured'.

The tolerance stands behind the value, with or without its sign ('100 pF 10 %'), as it is printed on parts
and in parts lists. 'measured' says that the value was read on the part itself; the tolerance is then the
error of the reading. What states nothing has the spread of its class (`tolerances`).
"""

from __future__ import annotations

import re
from typing import NamedTuple

MOST = 0.9
"""Greatest tolerance that can be stated, as a fraction: a part may not vanish."""

_SIGN = r"(?:\+/?-|\u00b1|\+\u2212)"
_NUMBER = r"[0-9]{1,3}(?:\.[0-9]{1,4})?"
_EVEN = rf"(?:{_SIGN} ?)?({_NUMBER}) ?%"
_UNEVEN = rf"[-\u2212]({_NUMBER}) ?%?(?: |/| / )\+({_NUMBER}) ?%"
SUFFIX = rf"(?: (?:{_EVEN}|{_UNEVEN})(?: measured)?| measured(?: (?:{_EVEN}|{_UNEVEN}))?)"
"""Regular expression of what may stand behind a value."""

PATTERN = re.sub(r"\((?!\?)", "(?:", SUFFIX)
"""The same without groups, for the JSON Schema (ECMA-262)."""

_WHOLE = re.compile(rf"(.*?[^ ]) *({SUFFIX})", re.DOTALL)
_SIGNED = re.compile(rf"(.*?[^ +/\u00b1\u2212-]) *({_SIGN} ?{_NUMBER} ?%(?: measured)?)", re.DOTALL)


class Spread(NamedTuple):
    """A stated tolerance: lowest and highest relative deviation (-0.1, 0.1), None if none is stated."""

    low: float | None
    high: float | None
    measured: bool


class Stated(float):
    """A value of a build that says how far it may be off. Arithmetic gives plain floats again."""

    spread: Spread

    def __new__(cls, value: float, spread: Spread) -> Stated:
        """Return the value with its spread."""
        made = super().__new__(cls, value)
        made.spread = spread
        return made

    def __getnewargs__(self) -> tuple[float, Spread]:  # type: ignore[override]
        return float(self), self.spread


def split(text: str) -> tuple[str, Spread | None]:
    """Return the value's own text and what is stated behind it, None if nothing is.

    Raises ValueError for a tolerance beyond `MOST`.
    """
    whole = _WHOLE.fullmatch(text.rstrip(" "))
    if whole is None:
        signed = _SIGNED.fullmatch(text.rstrip(" "))  # '100 pF+-10 %', without a blank
        whole = None if signed is None else _WHOLE.fullmatch(f"{signed[1]} {signed[2]}")
    if whole is None:
        return text, None
    numbers = [float(part) / 100.0 for part in whole.groups()[2:] if part is not None]
    if any(number > MOST for number in numbers):
        raise ValueError(f"a tolerance is at most {100.0 * MOST:.0f} %")
    low, high = (None, None) if not numbers else (-numbers[0], numbers[-1])
    return whole[1], Spread(low, high, "measured" in whole[2])


def spread_of(value: float) -> Spread | None:
    """Return what a value of a build states of its spread, None for one that states nothing."""
    return value.spread if isinstance(value, Stated) else None
