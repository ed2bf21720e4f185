"""Values as they stand on a drawing: few digits, with the signs of print."""

from __future__ import annotations

import math

_PREFIX = {-12: "p", -9: "n", -6: "\N{MICRO SIGN}", -3: "m", 0: "", 3: "k", 6: "M"}
_UNIT = {"ohm": "\N{GREEK CAPITAL LETTER OMEGA}"}


def value_of(value: float, unit: str) -> str:
    """Return a value to three digits without trailing zeros, such as '4.7 kΩ' or '120 pF'.

    Capacitances stand in pF below 1 nF and in µF above, as print has them.
    """
    if value == 0.0:
        return f"0 {_UNIT.get(unit, unit)}"
    step = 3 * math.floor(math.log10(abs(value) * 1.0005) / 3.0)
    if unit == "F":
        step = -12 if abs(value) < 0.9995e-9 else -6
    if unit == "V":
        step = 0
    step = min(max(step, -12), 6)
    number = f"{value / 10.0**step:.3g}"
    if "e" in number:
        number = f"{value / 10.0**step:.0f}"
    return f"{number} {_PREFIX[step]}{_UNIT.get(unit, unit)}"
