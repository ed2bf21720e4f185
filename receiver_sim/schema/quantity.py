"""Quantities as a person writes them ('100 pF', '2.2 Mohm', '4k7', '8 %') to SI floats and back.

Text is split by a strict regular expression into a number and a unit from a short list. Only the scale of
that unit is asked of pint: no text from a file is ever evaluated. Angles stay in degrees; a percentage
becomes a fraction. The short code with the letter in place of the decimal sign is that of IEC 60062
(resistors and capacitors).
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cache
from typing import TYPE_CHECKING, Any

from pydantic_core import PydanticCustomError, core_schema

from receiver_sim.schema.faults import show

if TYPE_CHECKING:
    from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
    from pydantic.json_schema import JsonSchemaValue

_NUMBER = r"[+-]?(?:[0-9]{1,20}(?:\.[0-9]{0,20})?|\.[0-9]{1,20})(?:[eE][+-]?[0-9]{1,3})?"
_QUANTITY = re.compile(rf"({_NUMBER})[ \u00a0\u202f]{{0,3}}([A-Za-z\u00b5\u03bc\u03a9\u2126%°]{{1,12}})")
_BARE = re.compile(_NUMBER)
_PREFIX_WORDS = {
    "f": "femto", "p": "pico", "n": "nano", "u": "micro", "\u00b5": "micro", "\u03bc": "micro", "m": "milli",
    "": "", "k": "kilo", "K": "kilo", "M": "mega", "G": "giga", "T": "tera",
}  # fmt: skip
_EXPONENTS = {"f": -15, "p": -12, "n": -9, "u": -6, "m": -3, "": 0, "k": 3, "M": 6, "G": 9, "T": 12}
_NO_PREFIX = {"inch", "foot", "centimeter", "minute", "degree", "percent"}
_MICROS = "u\u00b5\u03bc"


class QuantityError(ValueError):
    """Text is no quantity of the wanted dimension. `.cure` says how to write it; `.reason` what is wrong."""

    def __init__(self, reason: str, cure: str) -> None:
        super().__init__(f"{reason}; {cure}")
        self.reason = reason
        self.cure = cure


@dataclass(frozen=True)
class Dimension:
    """A kind of quantity: its article and name, SI unit, accepted unit stems (-> pint's name), prefixes, an
    example.

    `code` maps letters of the IEC 60062 short code to prefixes, for the parts that are marked that way.
    `bare` tells that a number without unit is meant (a pure number or a fraction).
    """

    name: str
    unit: str
    stems: Mapping[str, str] = field(hash=False)
    prefixes: str
    example: str
    code: Mapping[str, str] = field(default_factory=dict, hash=False)
    bare: bool = False

    def units(self) -> dict[str, tuple[str, str]]:
        """Return every accepted unit text with its (prefix, stem)."""
        return {
            prefix + stem: (prefix, stem)
            for stem, pint_name in self.stems.items()
            for prefix in ("", *("" if pint_name in _NO_PREFIX else self.prefixes))
        }


_OHMS = {"ohm": "ohm", "ohms": "ohm", "Ohm": "ohm", "\u03a9": "ohm", "\u2126": "ohm"}
RESISTANCE = Dimension(
    "a resistance",
    "ohm",
    _OHMS,
    "umkKMG",
    "2.2 Mohm",
    {"R": "", "K": "k", "k": "k", "M": "M", "G": "G", "T": "T"},
)
CAPACITANCE = Dimension(
    "a capacitance", "F", {"F": "farad"}, f"fpn{_MICROS}m", "100 pF",
    {"p": "p", "n": "n", "u": "u", "\u00b5": "u", "\u03bc": "u", "m": "m", "F": ""},
)  # fmt: skip
INDUCTANCE = Dimension("an inductance", "H", {"H": "henry"}, f"n{_MICROS}mk", "4.2 uH")
VOLTAGE = Dimension("a voltage", "V", {"V": "volt"}, f"n{_MICROS}mkM", "90 V")
CURRENT = Dimension("a current", "A", {"A": "ampere"}, f"pn{_MICROS}mk", "2.5 mA")
POWER = Dimension("a power", "W", {"W": "watt"}, f"fpn{_MICROS}mkM", "0.5 W")
FREQUENCY = Dimension("a frequency", "Hz", {"Hz": "hertz"}, "mkMG", "3.5 MHz")
CONDUCTANCE = Dimension("a conductance", "S", {"S": "siemens", "mho": "siemens"}, f"n{_MICROS}mk", "1.6 mS")
_LENGTHS = {"m": "meter", "cm": "centimeter", "in": "inch", "ft": "foot"}
LENGTH = Dimension("a length", "m", _LENGTHS, f"n{_MICROS}mk", "32 mm")
TIME = Dimension("a time", "s", {"s": "second", "min": "minute"}, f"n{_MICROS}m", "5 ms")
ANGLE = Dimension("an angle", "deg", {"deg": "degree", "°": "degree"}, "", "270 deg")
CHARGE = Dimension("a charge", "C", {"Ah": "ampere_hour", "C": "coulomb"}, "m", "0.5 Ah")
DECIBEL = Dimension("a level", "dB", {"dB": "decibel"}, "", "100 dB")
PERCENTAGE = Dimension("a percentage", "%", {"%": "percent"}, "", "8 %")
FRACTION = Dimension("a fraction", "%", {"%": "percent"}, "", "50 %", bare=True)
NUMBER = Dimension("a plain number", "", {}, "", "140", bare=True)


_BASES = {
    "ohm": "ohm", "F": "farad", "H": "henry", "V": "volt", "A": "ampere", "W": "watt", "Hz": "hertz",
    "S": "siemens", "m": "meter", "s": "second", "deg": "degree", "%": "percent",
    "C": "coulomb", "dB": "decibel",
}  # fmt: skip


@cache
def _units() -> Any:
    """Return pint's table of units; it takes a while to load, so only when the first quantity is read."""
    import pint  # noqa: PLC0415 - see above

    return pint.UnitRegistry(cache_folder=None)


@cache
def _scale(prefix: str, pint_name: str, base: str) -> Decimal:
    """Return how many base units one prefixed unit is; exact to the decimal figure that pint gives."""
    if pint_name == "percent":
        return Decimal("0.01")
    if pint_name == "decibel":  # a level stays what it is; pint would turn it into a ratio
        return Decimal(1)
    factor = _units().Quantity(1, _PREFIX_WORDS[prefix] + pint_name).to(base).magnitude
    # 1e-12 comes back as 1e-12 or 9.999999999999999e-13 depending on pint's route: 15 figures settle it.
    return Decimal(f"{float(factor):.15g}")


def _code(text: str, dimension: Dimension) -> tuple[Decimal, str] | None:
    """Return number and prefix of an IEC 60062 short code ('4k7', 'R47', '47K'), or None if it is none."""
    letters = "".join(dimension.code)
    if not letters:
        return None
    found = re.fullmatch(rf"([0-9]{{0,4}})([{letters}])([0-9]{{0,4}})", text)
    if found is None or not (found[1] or found[3]):
        return None
    return Decimal(f"{found[1] or '0'}.{found[3] or '0'}"), dimension.code[found[2]]


def _unit_hint(unit: str, dimension: Dimension) -> str:
    units = {u: p for u, p in dimension.units().items() if p[0] not in ("\u00b5", "\u03bc", "K")}
    alike = [u for u in units if u.casefold() == unit.casefold()]
    if alike:
        same = {u: sum(a == b for a, b in zip(u, unit, strict=False)) for u in alike}
        alike = [u for u in alike if same[u] == max(same.values())]  # 'Mhz' means MHz rather than mHz
        return "did you mean " + " or ".join(f"'{u}'" for u in sorted(alike)) + "? (capitals count in units)"
    own = [u for u, (_, stem) in units.items() if stem == next(iter(dimension.stems), "")]
    return f"its units are {', '.join(own)}"


def _split(text: str, dimension: Dimension, example: str | None = None) -> tuple[Decimal, str, str]:
    """Return number, prefix and stem of `text`; raises QuantityError."""
    write = f"write it as '{example or dimension.example}'"
    stripped = text.strip(" ")
    coded = _code(stripped, dimension)
    if coded is not None:
        return coded[0], coded[1], next(iter(dimension.stems))
    found = _QUANTITY.fullmatch(stripped)
    if found is None:
        if _BARE.fullmatch(stripped):
            if dimension.bare:
                return Decimal(stripped), "", ""
            raise QuantityError("it has no unit", f"add the unit: {write}")
        if re.fullmatch(r"[+-]?[0-9]{1,20},[0-9]{1,20}\s*\S{0,12}", stripped):
            raise QuantityError(
                "it has a comma", f"use a point for decimals and nothing for thousands: {write}"
            )
        if dimension is RESISTANCE and re.fullmatch(r"[0-9]{0,4}m[0-9]{0,4}", stripped):
            mega = stripped.replace("m", "M")
            raise QuantityError("it reads as milliohm", f"did you mean '{mega}'? ('m' is milli, 'M' is mega)")
        raise QuantityError("it is no number" + (" with a unit" if dimension.unit else ""), write)
    number, unit = found.groups()
    known = dimension.units()
    if not known:
        raise QuantityError("it takes no unit", write)
    if unit not in known:
        raise QuantityError(f"'{show(unit)}' is no unit of {dimension.name.split(' ', 1)[1]}",
                            _unit_hint(unit, dimension))  # fmt: skip
    return Decimal(number), *known[unit]


def parse_quantity(text: str, dimension: Dimension, *, example: str | None = None) -> float:
    """Return the SI value (degrees for angles, fraction for percentages) of `text`, correctly rounded.

    `example` is what the cure shows. Raises QuantityError if `text` is no finite quantity of `dimension`;
    ranges are the business of `Quantity`.
    """
    number, prefix, stem = _split(text, dimension, example)
    scale = _scale(prefix, dimension.stems[stem], _BASES[dimension.unit]) if stem else Decimal(1)
    value = float(number * scale)
    if not math.isfinite(value):
        raise QuantityError("it is beyond any number", "check the exponent")
    return value


def format_quantity(value: float, dimension: Dimension, digits: int | None = None) -> str:
    """Return `value` (SI) as text that `parse_quantity` reads back: '2.2 Mohm'.

    `digits`: significant figures; None keeps every one, so that reading it back gives the same float.
    Raises ValueError if `value` is not finite.
    """
    if not math.isfinite(value):
        raise ValueError(f"{value} is no finite value")
    exact = Decimal(repr(float(value))) if digits is None else Decimal(f"{value:.{digits - 1}e}")
    if dimension.unit == "%":
        return f"{_plain(exact.scaleb(2))} %"
    if dimension.unit in ("", "deg"):
        return f"{_plain(exact)} {dimension.unit}".strip()
    allowed = sorted({_EXPONENTS[p] for p in ("", *dimension.prefixes) if p in _EXPONENTS})
    power = 0
    if exact:
        fitting = [e for e in allowed if e <= exact.adjusted()]
        power = fitting[-1] if fitting else allowed[0]
    prefix = next(p for p, e in _EXPONENTS.items() if e == power)
    return f"{_plain(exact.scaleb(-power))} {prefix}{dimension.unit}"


def _plain(number: Decimal) -> str:
    """Return the number without needless zeros, with an exponent only when it would be unreadable without."""
    if not number:
        return "0"
    number = number.normalize()
    # 17 figures of a float after four zeros still fit the 20 decimals that are read
    return f"{number:f}" if -4 <= number.adjusted() <= 9 else f"{number:e}".replace("e+", "e")


@dataclass(frozen=True)
class Quantity:
    """Marks a float field as a quantity: `Annotated[float, Quantity(RESISTANCE, '1 kohm', '100 Mohm')]`.

    `low` and `high` bound what is physically sensible for the part (text, inclusive); `zero` admits 0
    besides. `example` is the text that messages show. Bare SI floats pass only under the validation context
    {'si': True}.
    """

    dimension: Dimension
    low: str
    high: str
    zero: bool = False
    example: str | None = None

    def expected(self) -> str:
        """Return what a message says was expected."""
        span = f"from {self.low} to {self.high}" + (" (or 0)" if self.zero else "")
        return f"{self.dimension.name} {span} such as '{self.example or self.dimension.example}'"

    def bounds(self) -> tuple[float, float]:
        """Return the inclusive bounds in SI."""
        return parse_quantity(self.low, self.dimension), parse_quantity(self.high, self.dimension)

    def allows(self, value: float) -> bool:
        """Tell whether the SI value lies in the sensible range."""
        low, high = self.bounds()
        return low <= value <= high or (self.zero and value == 0)

    def read(self, value: object, si: bool = False) -> float:
        """Return the SI value of what a file holds; `si` lets bare SI numbers pass. Raises QuantityError."""
        write = f"write it as '{self.example or self.dimension.example}'"
        if isinstance(value, str):
            number = parse_quantity(value, self.dimension, example=self.example)
            if not self.allows(number):
                raise QuantityError(
                    "it is negative" if number < 0 else "it is out of range", self._slip(value)
                )
            return number
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise QuantityError("it is no quantity", write)
        if isinstance(value, float) and not math.isfinite(value):
            raise QuantityError("it is no finite number", write)
        if not (self.dimension.bare or si):
            raise QuantityError("it has no unit", f"add the unit: {write}")
        if abs(value) > 1e300 or not self.allows(float(value)):  # float() of a huge int would overflow
            percent = self.dimension is FRACTION and 1 < value <= 100
            raise QuantityError("it is out of range", f"did you mean '{value} %'?" if percent else write)
        return float(value)

    def _slip(self, text: str) -> str:
        """Return the cure for text out of range: a slip of 'm' for 'M' (or back) if that explains it."""
        number, prefix, stem = _split(text.strip(" "), self.dimension)
        if prefix in ("m", "M") and stem:
            other = "M" if prefix == "m" else "m"
            pint_name, base = self.dimension.stems[stem], _BASES[self.dimension.unit]
            if self.allows(float(number * _scale(other, pint_name, base))):
                return f"did you mean '{number} {other}{stem}'? ('m' is milli, 'M' is mega)"
        return "check the figure and its unit"

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        """Plug into pydantic: text (or, under the context {'si': True}, SI numbers) to float."""

        def validate(value: Any, info: core_schema.ValidationInfo) -> float:
            try:
                return self.read(value, si=bool(info.context and info.context.get("si")))
            except QuantityError as error:
                detail = {"expected": self.expected(), "cure": f"{error.reason}; {error.cure}"}
                raise PydanticCustomError("fault", "{expected}; {cure}", detail) from None

        return core_schema.with_info_plain_validator_function(validate)

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        """Plug into the JSON Schema: text with a pattern (and a number where no unit is needed)."""
        kinds: list[dict[str, Any]] = []
        if self.dimension.unit:
            kinds.append({"type": "string", "pattern": pattern(self.dimension)})
        if self.dimension.bare:
            low, high = self.bounds()
            kinds.append({"type": "number", "minimum": 0 if self.zero else low, "maximum": high})
        shape = kinds[0] if len(kinds) == 1 else {"anyOf": kinds}
        example: str | float = self.example or self.dimension.example
        if not self.dimension.unit:
            example = float(example)
        return {**shape, "examples": [example], "$comment": f"from {self.low} to {self.high}"}


def pattern(dimension: Dimension) -> str:
    """Return the regular expression (of JSON Schema, so ECMA-262) that quantities of `dimension` match."""
    stems = "|".join(dimension.stems)
    prefixes = f"[{dimension.prefixes}]?" if dimension.prefixes else ""
    plain = rf"{_NUMBER} {{0,3}}{prefixes}(?:{stems})"
    if not dimension.code:
        return f"^(?:{plain})$"
    letters = "".join(dimension.code)
    return f"^(?:{plain}|[0-9]{{1,4}}[{letters}][0-9]{{0,4}}|[{letters}][0-9]{{1,4}})$"
