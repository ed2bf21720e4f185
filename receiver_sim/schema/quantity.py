"""Quantities as a person writes them ('100 pF', '2.2 Mohm', '4k7', '8 %') to SI floats and back.

Text is split by a strict regular expression into a number and a unit from a short list, whose scales are
pint's: no text from a file is ever evaluated. Angles stay in degrees; a percentage
becomes a fraction. The short code with the letter in place of the decimal sign is that of IEC 60062
(resistors and capacitors). `handbook` lists the units of old print. A cure repeats the reader's own figure.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic_core import PydanticCustomError, core_schema

from receiver_sim.schema import handbook, stated
from receiver_sim.schema.faults import show

if TYPE_CHECKING:
    from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
    from pydantic.json_schema import JsonSchemaValue

_UNIT = "A-Za-z\u00b5\u03bc\u03a9\u2126%\u00b0\"'\u2033\u2032\u201d\u2019/&."
_QUANTITY = re.compile(rf"({handbook.NUMBER})[ \u00a0\u202f]{{0,3}}((?![/&.])[{_UNIT}]{{1,20}})")
_BARE = re.compile(handbook.NUMBER)
_EXPONENTS = {"f": -15, "p": -12, "n": -9, "u": -6, "m": -3, "": 0, "k": 3, "M": 6, "G": 9, "T": 12}
_SAME_PREFIX = {"K": "k", "\u00b5": "u", "\u03bc": "u"}
_NO_PREFIX = {"inch", "foot", "thou", "centimeter", "minute", "degree", "percent"}
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
    `words` are units of old print and words in full (folded -> prefix and stem), `letters` prefixes that
    may stand without the unit ('2.2 M'), `bare` says that a pure number is meant.
    """

    name: str
    unit: str
    stems: Mapping[str, str] = field(hash=False)
    prefixes: str
    example: str
    code: Mapping[str, str] = field(default_factory=dict, hash=False)
    bare: bool = False
    words: Mapping[str, tuple[str, str]] = field(default_factory=dict, hash=False)
    letters: str = ""

    def units(self) -> dict[str, tuple[str, str]]:
        """Return every accepted unit text with its (prefix, stem)."""
        return {
            prefix + stem: (prefix, stem)
            for stem, pint_name in self.stems.items()
            for prefix in ("", *("" if pint_name in _NO_PREFIX else self.prefixes))
        }

    def unit_of(self, text: str) -> tuple[str, str] | None:
        """Return (prefix, stem) of a unit text, None for one that is no unit of this dimension."""
        exact = self.units().get(text)
        if exact is not None:
            return exact
        if text and text in self.letters:
            return text, next(iter(self.stems))
        word = self.words.get(handbook.folded(text))
        return None if word is not None and word[0] == "m" and text.startswith("M") else word  # 'MH' is no mH


_OHMS = {"ohm": "ohm", "ohms": "ohm", "Ohm": "ohm", "\u03a9": "ohm", "\u2126": "ohm"}
RESISTANCE = Dimension(
    "a resistance",
    "ohm",
    _OHMS,
    "umkKMG",
    "2.2 Mohm",
    {"R": "", "K": "k", "k": "k", "M": "M", "G": "G", "T": "T"},
    words=handbook.RESISTANCE,
    letters="kKM",
)
CAPACITANCE = Dimension(
    "a capacitance", "F", {"F": "farad"}, f"fpn{_MICROS}m", "100 pF",
    {"p": "p", "n": "n", "u": "u", "\u00b5": "u", "\u03bc": "u", "m": "m", "F": ""},
    words=handbook.CAPACITANCE,
)  # fmt: skip
INDUCTANCE = Dimension(
    "an inductance", "H", {"H": "henry"}, f"n{_MICROS}mk", "4.2 uH", words=handbook.INDUCTANCE
)
VOLTAGE = Dimension("a voltage", "V", {"V": "volt"}, f"n{_MICROS}mkM", "90 V", words=handbook.VOLTAGE)
CURRENT = Dimension("a current", "A", {"A": "ampere"}, f"pn{_MICROS}mk", "2.5 mA", words=handbook.CURRENT)
POWER = Dimension("a power", "W", {"W": "watt"}, f"fpn{_MICROS}mkM", "0.5 W", words=handbook.POWER)
FREQUENCY = Dimension("a frequency", "Hz", {"Hz": "hertz"}, "mkMG", "3.5 MHz", words=handbook.FREQUENCY)
CONDUCTANCE = Dimension(
    "a conductance", "S", {"S": "siemens", "mho": "siemens"}, f"n{_MICROS}mk", "1.6 mS",
    words=handbook.CONDUCTANCE,
)  # fmt: skip
_LENGTHS = {"m": "meter", "cm": "centimeter", "in": "inch", "ft": "foot", "mil": "thou"}
LENGTH = Dimension("a length", "m", _LENGTHS, f"n{_MICROS}mk", "32 mm", words=handbook.LENGTH)
TIME = Dimension(
    "a time", "s", {"s": "second", "min": "minute"}, f"n{_MICROS}m", "5 ms",
    words={**handbook.TIME, **handbook.MINUTES},
)  # fmt: skip
ANGLE = Dimension(
    "an angle", "deg", {"deg": "degree", "\u00b0": "degree"}, "", "270 deg", words=handbook.ANGLE
)
CHARGE = Dimension("a charge", "C", {"Ah": "ampere_hour", "C": "coulomb"}, "m", "0.5 Ah")
DECIBEL = Dimension("a level", "dB", {"dB": "decibel"}, "", "100 dB")
PERCENTAGE = Dimension("a percentage", "%", {"%": "percent"}, "", "8 %", words=handbook.PERCENTAGE)
NUMBER = Dimension("a plain number", "", {}, "", "140", bare=True)


_BASES = {
    "ohm": "ohm", "F": "farad", "H": "henry", "V": "volt", "A": "ampere", "W": "watt", "Hz": "hertz",
    "S": "siemens", "m": "meter", "s": "second", "deg": "degree", "%": "percent",
    "C": "coulomb", "dB": "decibel",
}  # fmt: skip


def plain_units() -> list[tuple[str, str]]:
    """Return every unit that is read, each with its base, for which a scale must be known."""
    kinds = [one for one in globals().values() if isinstance(one, Dimension)]
    return sorted(
        {
            (unit, _BASES[kind.unit])
            for kind in kinds
            for unit in kind.stems.values()
            if unit not in ("percent", "decibel")
        }
    )


UNITS_FILE = Path(__file__).with_name("units.csv")
"""Scales of the units without a prefix, as pint gives them: its own table takes half a second to build.
`generate` writes the file."""


@cache
def _scales() -> dict[tuple[str, str], Decimal]:
    """Return how many base units a unit is, by (unit, base)."""
    with UNITS_FILE.open(encoding="utf-8", newline="") as file:
        return {(row["unit"], row["base"]): Decimal(row["scale"]) for row in csv.DictReader(file)}


@cache
def _scale(prefix: str, unit: str, base: str) -> Decimal:
    """Return how many base units one prefixed unit is, exactly."""
    if unit == "percent":
        return Decimal("0.01")
    if unit == "decibel":  # a level stays what it is; pint would turn it into a ratio
        return Decimal(1)
    return _scales()[unit, base].scaleb(_EXPONENTS[_SAME_PREFIX.get(prefix, prefix)])


def _code(text: str, dimension: Dimension) -> tuple[Fraction, str] | None:
    """Return number and prefix of an IEC 60062 short code ('4k7', 'R47', '47K'), or None if it is none."""
    letters = "".join(dimension.code)
    if not letters:
        return None
    found = re.fullmatch(rf"([0-9]{{0,4}})([{letters}])([0-9]{{0,4}})", text)
    if found is None or not (found[1] or found[3]):
        return None
    return Fraction(f"{found[1] or '0'}.{found[3] or '0'}"), dimension.code[found[2]]


@dataclass(frozen=True)
class _Reader:
    """Reads text as one kind of quantity; cures repeat the figure found there if `allows` takes it."""

    dimension: Dimension
    example: str
    allows: Callable[[float], bool]

    def parts(self, text: str) -> tuple[Fraction, str, str] | None:
        """Return number, prefix and stem of `text`, None if it is no quantity of this dimension."""
        dimension, stripped = self.dimension, text.strip(" ")
        coded = _code(stripped, dimension)
        if coded is not None:
            return coded[0], coded[1], next(iter(dimension.stems))
        inches = handbook.feet_and_inches(stripped) if dimension is LENGTH else None
        if inches is not None:
            return inches, "", "in"
        if dimension.bare and _BARE.fullmatch(stripped):
            return handbook.number(stripped), "", ""
        found = _QUANTITY.fullmatch(stripped)
        known = dimension.unit_of(found[2]) if found else None
        return (handbook.number(found[1]), *known) if found and known else None

    def split(self, text: str) -> tuple[Fraction, str, str]:
        """Return number, prefix and stem of `text`; raises QuantityError with the cure."""
        parts = self.parts(text)
        if parts is not None:
            return parts
        found = _QUANTITY.fullmatch(text.strip(" "))
        if found is None:
            raise self.unsplit(text.strip(" "))
        if not self.dimension.stems:
            raise QuantityError("it takes no unit", self.write())
        name = self.dimension.name.split(" ", 1)[1]
        raise QuantityError(f"'{show(found[2])}' is no unit of {name}", self.unit_hint(*found.groups()))

    def value(self, number: Fraction, prefix: str, stem: str) -> float:
        """Return the SI value, correctly rounded; infinity if it is beyond any."""
        scale = Fraction(1)
        if stem:
            scale = Fraction(_scale(prefix, self.dimension.stems[stem], _BASES[self.dimension.unit]))
        try:
            return float(number * scale)
        except OverflowError:
            return math.inf

    def fits(self, text: str) -> bool:
        """Return whether `text` is a quantity in the range at hand."""
        parts = self.parts(text)
        return parts is not None and self.allows(self.value(*parts))

    def write(self, *wishes: str) -> str:
        """Return 'write it as ...' with those of `wishes` that fit, or with the example if none does."""
        fitting = [wish for wish in dict.fromkeys(wishes) if self.fits(wish)]
        return "write it as " + " or ".join(f"'{show(wish)}'" for wish in fitting or [self.example])

    def with_unit(self, number: str) -> str:
        """Return 'write it as ...' with the number as it is and the unit that it most likely has."""
        if self.dimension is PERCENTAGE:
            share = handbook.number(number)
            fraction = [f"{_plain(Decimal(repr(float(100 * share))))} %"] if 0 < share <= 1 else []
            return self.write(*fraction, f"{number} %")
        found = _QUANTITY.fullmatch(self.example)
        units = ["in"] if self.dimension is LENGTH and re.search(handbook.BROKEN, number) else []
        units += [found[2]] if found else []
        usual = next((wish for u in units if self.fits(wish := f"{number} {u}")), None)
        if usual is not None:
            return self.write(usual)
        if self.dimension is LENGTH:  # '1.25' may be a reader's inches
            return self.write(*(f"{number} {u}" for u in ("m", "cm", "in")))
        rest = [u for u in self.dimension.units() if u[0] not in "\u00b5\u03bcK"]
        return self.write(next((wish for u in rest if self.fits(wish := f"{number} {u}")), self.example))

    def unsplit(self, text: str) -> QuantityError:
        """Return the error for text that is no number with a unit."""
        if self.dimension.unit and _BARE.fullmatch(text):
            return QuantityError("it has no unit", f"add the unit: {self.with_unit(text)}")
        comma = re.fullmatch(r"([+-]?[0-9]{1,20}(?:,[0-9]{1,20}){1,6})(\.[0-9]{1,20})?(\s*\S{0,20})", text)
        if comma is not None:
            digits, point, unit = comma[1], comma[2] or "", comma[3]
            wishes = []
            if re.fullmatch(r"[+-]?[0-9]{1,3}(,[0-9]{3})+", digits):
                wishes.append(digits.replace(",", "") + point + unit)
            if digits.count(",") == 1 and not point:
                wishes.append(digits.replace(",", ".") + unit)
            rule = "use a point for decimals and nothing for thousands"
            return QuantityError("it has a comma", f"{rule}: {self.write(*wishes)}")
        if self.dimension is RESISTANCE and re.fullmatch(r"[0-9]{0,4}m[0-9]{0,4}", text):
            mega = text.replace("m", "M")
            return QuantityError(
                "it reads as milliohm", f"did you mean '{mega}'? ('m' is milli, 'M' is mega)"
            )
        begins = re.match(rf"({handbook.NUMBER} {{0,3}}[{_UNIT}]{{1,20}})(?![{_UNIT}0-9*^])", text)
        what = "it is no number" + (" with a unit" if self.dimension.unit else "")
        return QuantityError(what, self.write(*([begins[1]] if begins else [])))

    def unit_hint(self, number: str, unit: str) -> str:
        """Return the cure for a unit that is none of this dimension."""
        if self.dimension is CAPACITANCE and handbook.folded(unit) in handbook.AMBIGUOUS:
            meant = next((w for u in ("uF", "pF") if self.fits(w := f"{number} {u}")), self.example)
            return f"handbooks wrote mf for microfarad, mmf for picofarad: {self.write(meant)}"
        units = {u: p for u, p in self.dimension.units().items() if p[0] not in ("\u00b5", "\u03bc", "K")}
        alike = [u for u in units if u.casefold() == unit.casefold()]
        if alike:
            alike = [u for u in alike if self.fits(f"{number} {u}")] or alike
            same = {u: sum(a == b for a, b in zip(u, unit, strict=False)) for u in alike}
            alike = [u for u in alike if same[u] == max(same.values())]  # 'Mhz' means MHz rather than mHz
            meant = " or ".join(f"'{number} {u}'" for u in sorted(alike))
            return f"did you mean {meant}? (capitals count in units)"
        stem = next(iter(self.dimension.stems), "")
        if unit + stem in units:
            return f"did you mean '{number} {unit}{stem}'?"
        own = [u for u, (_, s) in units.items() if s == stem]
        return f"its units are {', '.join(own)}"


def parse_quantity(text: str, dimension: Dimension, *, example: str | None = None) -> float:
    """Return the SI value (degrees for angles, fraction for percentages) of `text`, correctly rounded.

    `example` is what the cure shows where the text holds no figure. Raises QuantityError if `text` is no
    finite quantity of `dimension`; ranges are the business of `Quantity`.
    """
    return _read(text, _Reader(dimension, example or dimension.example, math.isfinite))


def _read(text: str, reader: _Reader) -> float:
    value = reader.value(*reader.split(text))
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


@cache
def _bounds(low: str, high: str, dimension: Dimension) -> tuple[float, float]:
    """Read once what every value of a field is held against."""
    return parse_quantity(low, dimension), parse_quantity(high, dimension)


@dataclass(frozen=True)
class Quantity:
    """Marks a float field as a quantity: `Annotated[float, Quantity(RESISTANCE, '1 kohm', '100 Mohm')]`.

    `low` and `high` bound what is physically sensible for the part (text, inclusive); `zero` admits 0
    besides. `example` is the text that messages show. Bare SI floats pass only under the validation context
    {'si': True}. `spread`: a tolerance may stand behind the value (`stated`), which then is a `Stated`.
    """

    dimension: Dimension
    low: str
    high: str
    zero: bool = False
    example: str | None = None
    spread: bool = False

    def expected(self) -> str:
        """Return what a message says was expected."""
        span = f"from {self.low} to {self.high}" + (" (or 0)" if self.zero else "")
        return f"{self.dimension.name} {span} such as '{self.example or self.dimension.example}'"

    def bounds(self) -> tuple[float, float]:
        """Return the inclusive bounds in SI."""
        return _bounds(self.low, self.high, self.dimension)

    def allows(self, value: float) -> bool:
        """Return whether the SI value lies in the sensible range."""
        low, high = self.bounds()
        return low <= value <= high or (self.zero and value == 0)

    def _reader(self) -> _Reader:
        return _Reader(self.dimension, self.example or self.dimension.example, self.allows)

    def read(self, value: object, si: bool = False) -> float:
        """Return the SI value of what a file holds; `si` lets bare SI numbers pass. Raises QuantityError."""
        reader = self._reader()
        if isinstance(value, str):
            text, spread = self._spread(value)
            number = _read(text, reader)
            if not self.allows(number):
                raise QuantityError(
                    "it is negative" if number < 0 else "it is out of range", self._slip(text)
                )
            return number if spread is None else stated.Stated(number, spread)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise QuantityError("it is no quantity", reader.write())
        if isinstance(value, float) and not math.isfinite(value):
            raise QuantityError("it is no finite number", reader.write())
        if not (self.dimension.bare or si):
            text = _plain(Decimal(repr(value))) if abs(value) < 1e20 else ""
            raise QuantityError("it has no unit", f"add the unit: {reader.with_unit(text or '1e99')}")
        if abs(value) > 1e300 or not self.allows(float(value)):  # float() of a huge int would overflow
            raise QuantityError("it is out of range", reader.write())
        return float(value)

    def _spread(self, text: str) -> tuple[str, stated.Spread | None]:
        """Return text without what it states of its spread, and that. Raises QuantityError."""
        try:
            plain, spread = stated.split(text)
        except ValueError as error:
            raise QuantityError("its tolerance is out of range", str(error)) from None
        if spread is None or self._reader().parts(plain) is None:
            return plain, None  # what is left is refused in its own words
        if not self.spread:
            raise QuantityError("a tolerance is not covered here", f"write it as '{show(plain)}'")
        return plain, spread

    def _slip(self, text: str) -> str:
        """Return the cure for text out of range: another reading of its unit if that explains it."""
        reader = self._reader()
        found = _QUANTITY.fullmatch(text.strip(" "))
        number, prefix, stem = reader.split(text)
        shown = found[1] if found else _plain(Decimal(repr(float(number))))
        others = {"m": ("M", "'m' is milli, 'M' is mega"), "M": ("m", "'m' is milli, 'M' is mega")}
        if self.dimension is CAPACITANCE:
            others["m"] = ("u", "handbooks wrote mf for microfarad")
        if self.dimension is RESISTANCE and found and found[2] == "M":
            others["M"] = ("k", "'M' was a thousand on some old diagrams, it is a million here")
        if prefix in others and stem:
            other, why = others[prefix]
            if self.allows(reader.value(number, other, stem)):
                return f"did you mean '{shown} {other}{stem}'? ({why})"
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
        end = rf"(?:{stated.PATTERN})?$" if self.spread else "$"
        kinds: list[dict[str, Any]] = [
            {"type": "string", "pattern": each.removesuffix("$") + end} for each in self.patterns()
        ]
        if self.dimension.bare:
            low, high = self.bounds()
            kinds.append({"type": "number", "minimum": 0 if self.zero else low, "maximum": high})
        shape = kinds[0] if len(kinds) == 1 else {"anyOf": kinds}
        example: str | float = self.example or self.dimension.example
        if not self.dimension.unit:
            example = float(example)
        return {**shape, "examples": [example], "$comment": f"from {self.low} to {self.high}"}

    def patterns(self) -> list[str]:
        """Return the regular expressions (ECMA-262) of all ways to write it as text."""
        if self.dimension.unit:
            return [pattern(self.dimension)]
        return [f"^(?:{handbook.BROKEN})$"] if self.dimension.bare else []


def pattern(dimension: Dimension) -> str:
    """Return the regular expression (of JSON Schema, so ECMA-262) that quantities of `dimension` match."""
    stems = "|".join(dimension.stems)
    prefixes = f"[{dimension.prefixes}]?" if dimension.prefixes else ""
    units = [f"{prefixes}(?:{stems})", *dimension.letters, *map(_any_case, dimension.words.items())]
    ways = [rf"{handbook.NUMBER}[ \u00a0\u202f]{{0,3}}(?:{'|'.join(units)})"]
    if dimension.code:
        letters = "".join(dimension.code)
        ways += [f"[0-9]{{1,4}}[{letters}][0-9]{{0,4}}", f"[{letters}][0-9]{{1,4}}"]
    if dimension is LENGTH:
        ways.append(handbook.FEET_AND_INCHES)
    return f"^(?:{'|'.join(ways)})$"


def _any_case(entry: tuple[str, tuple[str, str]]) -> str:
    """Return a pattern of a word of old print in any case, with the kinds of micro sign and a last dot."""
    word, (prefix, _) = entry
    kinds = {"u": "[uU\u00b5\u03bc]"}
    each = [kinds.get(c) or (f"[{c}{c.upper()}]" if c.isascii() and c.isalpha() else c) for c in word]
    if prefix == "m":
        each[0] = "m"
    return "".join(each) + (r"\.?" if word.isalpha() else "")
