"""Units and numbers as handbooks, catalogues and rulers have them: mfd, mmf, meg, kc, 1 1/4 in, 24 AWG.

The abbreviations are those of American and British handbooks of 1925 to 1955 (from memory, high). What has
one meaning is read; 'mf', a microfarad then and nearly a millifarad now, is translated in the cure instead.
"""

from __future__ import annotations

import re
import unicodedata
from fractions import Fraction

Words = dict[str, tuple[str, str]]
"""Folded unit text -> (prefix, stem), the stem a key of the dimension's stems."""

MICRO = str.maketrans({"\u00b5": "u", "\u03bc": "u"})


def _words(stem: str, **by_prefix: str) -> Words:
    """Return the words of one stem by their prefixes, `none` for those without."""
    return {
        word: ("" if p == "none" else p, stem) for p, texts in by_prefix.items() for word in texts.split()
    }


RESISTANCE: Words = _words("ohm", none="ohm ohms", k="kilohm kilohms", M="meg megs megohm megohms")
CAPACITANCE: Words = _words(
    "F", none="farad farads", u="mfd mfds uf ufd microfarad microfarads",
    p="mmf mmfd mmfds uuf uufd micromicrofarad micromicrofarads picofarad picofarads",
)  # fmt: skip
INDUCTANCE: Words = _words(
    "H", none="h hy henry henrys henries", m="mh mhy millihenry millihenrys millihenries",
    u="uh uhy microhenry microhenrys microhenries",
)  # fmt: skip
VOLTAGE: Words = _words("V", none="v volt volts", m="millivolt millivolts", u="uv microvolt microvolts")
CURRENT: Words = _words(
    "A", none="amp amps ampere amperes", m="ma milliampere milliamperes",
    u="ua microampere microamperes",
)  # fmt: skip
POWER: Words = _words("W", none="w watt watts", m="milliwatt milliwatts")
FREQUENCY: Words = _words(
    "Hz", none="hz cps c/s cycle cycles", k="kc kcs kc/s kilocycle kilocycles",
    M="mc mcs mc/s megacycle megacycles",
)  # fmt: skip
CONDUCTANCE: Words = _words("mho", none="mho mhos", u="umho umhos micromho micromhos")
LENGTH: Words = {
    **_words("in", none="in inch inches \" \u2033 \u201d ''"),
    **_words("ft", none="ft foot feet ' \u2032 \u2019"),
    **_words("mil", none="mil mils thou"),
    **_words("m", none="meter meters metre metres", m="millimeter millimeters millimetre millimetres"),
    **_words("cm", none="centimeter centimeters centimetre centimetres"),
}
TIME: Words = _words("s", none="sec secs second seconds", m="msec millisecond milliseconds")
MINUTES: Words = _words("min", none="minute minutes")
ANGLE: Words = _words("deg", none="degree degrees")
PERCENTAGE: Words = _words("%", none="percent")

AMBIGUOUS = ("mf", "mfs")
"""Folded unit texts of a capacitance: microfarad then, but for its capital a millifarad now."""


def folded(unit: str) -> str:
    """Return a unit text as the tables above have it: case, kind of micro sign and last dot disregarded."""
    plain = unit.translate(MICRO).casefold()
    return plain[:-1] if len(plain) > 1 and plain.endswith(".") else plain


DECIMAL = r"[+-]?(?:[0-9]{1,20}(?:\.[0-9]{0,20})?|\.[0-9]{1,20})(?:[eE][+-]?[0-9]{1,3})?"
VULGAR = "\u00bc\u00bd\u00be\u2150-\u215e"
"""One-character fractions, for a character class."""
BROKEN = rf"(?:[0-9]{{1,4}}[ -])?[0-9]{{1,3}}/[1-9][0-9]{{0,2}}|[0-9]{{0,4}} ?[{VULGAR}]"
"""A whole number with a common fraction, or the fraction alone: '1 1/4', '1-1/4', '5/8'."""
NUMBER = rf"(?:{BROKEN}|{DECIMAL})"


def number(text: str) -> Fraction:
    """Return the exact value of what `NUMBER` matches."""
    if "/" in text:
        whole, _, part = text.replace("-", " ").rpartition(" ")
        return Fraction(whole or 0) + Fraction(part)
    sign = unicodedata.numeric(text[-1], None) if text and not text[-1].isascii() else None
    if sign is not None:
        # the characters of the class are halves to tenths: their floats name the fraction
        return Fraction(text[:-1].strip() or 0) + Fraction(sign).limit_denominator(100)
    return Fraction(text)


FEET_AND_INCHES = (
    rf"({NUMBER}) {{0,3}}(?:ft\.?|foot|feet|['\u2032\u2019])[ ,]{{0,3}}"
    rf"({NUMBER}) {{0,3}}(?:in\.?|inch|inches|[\"\u2033\u201d]|'')"
)
"""'5 ft 6 in' or 5'6", its two numbers as groups."""


def feet_and_inches(text: str) -> Fraction | None:
    """Return the inches of '5 ft 6 in' or 5'6", None for any other text."""
    found = re.fullmatch(FEET_AND_INCHES, text)
    return None if found is None else 12 * number(found[1]) + number(found[2])


GAUGE = r"(?:(?:[Nn][Oo]\.? ?|#) ?[0-9]{1,2}(?: ?(?:AWG|awg|B&S|ga\.?|gauge))?|[0-9]{1,2} ?(?:AWG|awg|B&S))"
"""A number of the American gauge: '24 AWG', '#24', 'No. 24', '24 B&S'. A JSON Schema takes it, too."""

_BRITISH = re.compile(r"(?:[Nn][Oo]\.? ?|#)? ?[0-9]{1,2} ?(?:swg|s\.w\.g\.?|SWG|S\.W\.G\.?)")


def gauge(text: str) -> int | None:
    """Return the number of the American gauge that `text` names, None for any other text."""
    return int(re.sub(r"[^0-9]", "", text)) if re.fullmatch(GAUGE, text) else None


def british_gauge(text: str) -> bool:
    """Return whether `text` names a number of the British gauge."""
    return _BRITISH.fullmatch(text) is not None
