"""Quantities: published short codes, exact values, slips, and nothing but QuantityError from any text."""

import math
import re
import string

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from receiver_sim.schema import handbook, parts
from receiver_sim.schema import quantity as q
from receiver_sim.schema.generate import UNITS_FILE, units_text
from receiver_sim.schema.quantity import Quantity, QuantityError, format_quantity, parse_quantity

DIMENSIONS = [value for value in vars(q).values() if isinstance(value, q.Dimension)]


# The resistance examples of IEC 60062 as the encyclopaedia article 'RKM code' lists them (seen; '4k7' and
# '1G0' from memory); capacitances of the same standard: from memory. A code is exact: floats must be equal.
@pytest.mark.parametrize(
    ("code", "ohms"),
    [
        ("R47", 0.47),
        ("4R7", 4.7),
        ("470R", 470.0),
        ("4K7", 4.7e3),
        ("47K", 47e3),
        ("47K3", 47.3e3),
        ("470K", 470e3),
        ("4M7", 4.7e6),
        ("4k7", 4.7e3),
        ("1G0", 1e9),
    ],
)
def test_resistance_codes_of_iec_60062(code, ohms):
    assert parse_quantity(code, q.RESISTANCE) == ohms


@pytest.mark.parametrize(
    ("code", "farads"),
    [
        ("p68", 0.68e-12),
        ("4p7", 4.7e-12),
        ("100p", 100e-12),
        ("4n7", 4.7e-9),
        ("n33", 0.33e-9),
        ("2u2", 2.2e-6),
        ("1\u00b50", 1e-6),
        ("1\u03bc0", 1e-6),
    ],
)
def test_capacitance_codes_of_iec_60062(code, farads):
    assert parse_quantity(code, q.CAPACITANCE) == farads


# SI prefixes: SI Brochure, 9th edition 2019, table 7; the inch is 25.4 mm exactly (both from memory).
@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("100 pF", q.CAPACITANCE, 100e-12),
        ("0.22uF", q.CAPACITANCE, 0.22e-6),
        ("10 \u00b5F", q.CAPACITANCE, 10e-6),
        ("2.2 Mohm", q.RESISTANCE, 2.2e6),
        ("2.2 M\u03a9", q.RESISTANCE, 2.2e6),
        ("2.2 M\u2126", q.RESISTANCE, 2.2e6),
        ("35 ohms", q.RESISTANCE, 35.0),
        ("4.7 Kohm", q.RESISTANCE, 4.7e3),
        ("35 mohm", q.RESISTANCE, 0.035),
        ("4.2 uH", q.INDUCTANCE, 4.2e-6),
        ("350 H", q.INDUCTANCE, 350.0),
        ("250 mV", q.VOLTAGE, 0.25),
        ("3.3 mA", q.CURRENT, 3.3e-3),
        ("1.5e2 pW", q.POWER, 150e-12),
        ("3.5 MHz", q.FREQUENCY, 3.5e6),
        ("1600 umho", q.CONDUCTANCE, 1.6e-3),
        ("1.6 mS", q.CONDUCTANCE, 1.6e-3),
        ("1.5 in", q.LENGTH, 0.0381),
        ("32 mm", q.LENGTH, 0.032),
        ("2 min", q.TIME, 120.0),
        ("270 deg", q.ANGLE, 270.0),
        ("270\u00b0", q.ANGLE, 270.0),
        ("8 %", q.PERCENTAGE, 0.08),
        ("8%", q.PERCENTAGE, 0.08),
        ("140.5", q.NUMBER, 140.5),
        ("140", q.NUMBER, 140.0),
        ("-.5 V", q.VOLTAGE, -0.5),
    ],
)
def test_values_are_exact(text, dimension, value):
    assert parse_quantity(text, dimension) == value


@pytest.mark.parametrize(
    ("text", "dimension", "message"),
    [
        ("120", q.CAPACITANCE, "it has no unit; add the unit: write it as '120 pF'"),
        ("38", q.LENGTH, "it has no unit; add the unit: write it as '38 mm'"),
        ("1 1/4", q.LENGTH, "it has no unit; add the unit: write it as '1 1/4 in'"),
        ("50", q.PERCENTAGE, "it has no unit; add the unit: write it as '50 %'"),
        ("0.25", q.PERCENTAGE, "it has no unit; add the unit: write it as '25 %' or '0.25 %'"),
        ("8 %", q.NUMBER, "it takes no unit; write it as '140'"),
        (
            "4.7w",
            q.RESISTANCE,
            "'w' is no unit of resistance; its units are ohm, uohm, mohm, kohm, Mohm, Gohm",
        ),
        ("250 p", q.CAPACITANCE, "'p' is no unit of capacitance; did you mean '250 pF'?"),
        (
            "4,7 kohm",
            q.RESISTANCE,
            "it has a comma; use a point for decimals and nothing for thousands: write it as '4.7 kohm'",
        ),
        (
            "47,500 ohms",
            q.RESISTANCE,
            "it has a comma; use a point for decimals and nothing for thousands: write it as '47500 ohms' or "
            "'47.500 ohms'",
        ),
        (
            "7 Mhz",
            q.FREQUENCY,
            "'Mhz' is no unit of frequency; did you mean '7 MHz'? (capitals count in units)",
        ),
        (
            "50 MH",
            q.INDUCTANCE,
            "'MH' is no unit of inductance; did you mean '50 mH'? (capitals count in units)",
        ),
        (
            "8 mf",
            q.CAPACITANCE,
            "'mf' is no unit of capacitance; handbooks wrote mf for microfarad, mmf for "
            "picofarad: write it as '8 uF'",
        ),
        (
            ".5 MF.",
            q.CAPACITANCE,
            "'MF.' is no unit of capacitance; handbooks wrote mf for microfarad, mmf for "
            "picofarad: write it as '.5 uF'",
        ),
        ("38 mm dia.", q.LENGTH, "it is no number with a unit; write it as '38 mm'"),
        ("1/0 in", q.LENGTH, "it is no number with a unit; write it as '32 mm'"),
        ("2m2", q.RESISTANCE, "it reads as milliohm; did you mean '2M2'? ('m' is milli, 'M' is mega)"),
        ("4u7", q.INDUCTANCE, "it is no number with a unit; write it as '4.2 uH'"),
        ("4k7J", q.RESISTANCE, "it is no number with a unit; write it as '2.2 Mohm'"),
        ("1.5 kin", q.LENGTH, "'kin' is no unit of length; its units are m, nm, um, mm, km"),
        ("2**3 pF", q.CAPACITANCE, "it is no number with a unit; write it as '100 pF'"),
        ("\u0663 pF", q.CAPACITANCE, "it is no number with a unit; write it as '100 pF'"),
        ("1e999 V", q.VOLTAGE, "it is beyond any number; check the exponent"),
    ],
)
def test_refusals_say_why_and_how(text, dimension, message):
    with pytest.raises(QuantityError) as caught:
        parse_quantity(text, dimension)
    assert str(caught.value) == message


# Abbreviations of American handbooks, 1925 to 1955 (from memory, high): mfd and mf. are microfarad,
# mmf, mmfd and uuf its millionth, meg a million ohms, kc and Mc thousand and million cycles a second, mh
# a thousandth of a henry. The inch is 25.4 mm, the foot 12 and the mil 1/1000 of it exactly.
@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        (".00025 mfd", q.CAPACITANCE, 250e-12),
        (".01 mfd.", q.CAPACITANCE, 10e-9),
        ("8 MFD", q.CAPACITANCE, 8e-6),
        ("0.1 uf", q.CAPACITANCE, 0.1e-6),
        ("250 mmf", q.CAPACITANCE, 250e-12),
        ("140 mmfd", q.CAPACITANCE, 140e-12),
        ("250 MMF", q.CAPACITANCE, 250e-12),
        ("250 uuF", q.CAPACITANCE, 250e-12),
        ("250 uufd", q.CAPACITANCE, 250e-12),
        ("250 \u00b5\u00b5F", q.CAPACITANCE, 250e-12),
        ("250 \u03bc\u03bcf", q.CAPACITANCE, 250e-12),
        ("2 meg", q.RESISTANCE, 2e6),
        ("2.5 Meg.", q.RESISTANCE, 2.5e6),
        ("1/2 megohm", q.RESISTANCE, 0.5e6),
        ("3 megohms", q.RESISTANCE, 3e6),
        ("2.2 M", q.RESISTANCE, 2.2e6),
        ("4.7 K", q.RESISTANCE, 4.7e3),
        ("4.7k", q.RESISTANCE, 4.7e3),
        ("2.5 mh", q.INDUCTANCE, 2.5e-3),
        ("30 h.", q.INDUCTANCE, 30.0),
        ("7150 kc", q.FREQUENCY, 7.15e6),
        ("7.15 Mc", q.FREQUENCY, 7.15e6),
        ("60 cycles", q.FREQUENCY, 60.0),
        ("8 ma", q.CURRENT, 8e-3),
        ("1/2 watt", q.POWER, 0.5),
        ("1 1/4 in", q.LENGTH, 0.03175),
        ("1-1/4 in.", q.LENGTH, 0.03175),
        ('1 1/4"', q.LENGTH, 0.03175),
        ('1.25"', q.LENGTH, 0.03175),
        ("1\u00bc inches", q.LENGTH, 0.03175),
        ("\u215d in", q.LENGTH, 0.015875),
        ("5/8 inch", q.LENGTH, 0.015875),
        ("20 mils", q.LENGTH, 0.508e-3),
        ("15 ft 6 in", q.LENGTH, 4.7244),
        ("15'6\"", q.LENGTH, 4.7244),
        ("66 feet", q.LENGTH, 20.1168),
        ("10 1/2", q.NUMBER, 10.5),
    ],
)
def test_handbook_units_are_read(text, dimension, value):
    assert parse_quantity(text, dimension) == value
    assert re.search(q.pattern(dimension) if dimension.unit else f"^{handbook.NUMBER}$", text)


@pytest.mark.parametrize(
    ("value", "reader", "message"),
    [
        # a reader's '38' gets '38 mm', not the stock example of the field; 0.038 m is 38 mm, too
        (38, Quantity(q.LENGTH, "2 mm", "500 mm"), "it has no unit; add the unit: write it as '38 mm'"),
        (0.038, Quantity(q.LENGTH, "2 mm", "500 mm"), "it has no unit; add the unit: write it as '0.038 m'"),
        (1.25, Quantity(q.LENGTH, "2 mm", "500 mm"),
         "it has no unit; add the unit: write it as '1.25 cm' or '1.25 in'"),
        (1500000, Quantity(q.RESISTANCE, "10 kohm", "100 Mohm"),
         "it has no unit; add the unit: write it as '1500000 ohm'"),
        (0.4, Quantity(q.PERCENTAGE, "0 %", "100 %"),
         "it has no unit; add the unit: write it as '40 %' or '0.4 %'"),
        ("250 M", Quantity(q.RESISTANCE, "1 ohm", "10 Mohm"),
         "it is out of range; did you mean '250 kohm'? ('M' was a thousand on some old diagrams, it is a "
         "million here)"),
        (".00025 mF", Quantity(q.CAPACITANCE, "1 pF", "10 nF"),
         "it is out of range; did you mean '.00025 uF'? (handbooks wrote mf for microfarad)"),
        ("7 mhz", Quantity(q.FREQUENCY, "10 kHz", "300 MHz"),
         "'mhz' is no unit of frequency; did you mean '7 MHz'? (capitals count in units)"),
    ],
)  # fmt: skip
def test_cures_repeat_the_figure_at_hand(value, reader, message):
    with pytest.raises(QuantityError) as caught:
        reader.read(value)
    assert str(caught.value) == message


# ASTM B258 as in tests/published/astm_b258.csv: No. 24 is 0.0201 in, No. 36 0.0050 in, No. 14 0.0641 in.
@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("24 AWG", 0.0201),
        ("#24", 0.0201),
        ("No. 36", 0.0050),
        ("no 14", 0.0641),
        ("14 B&S", 0.0641),
        ("#14 AWG", 0.0641),
    ],
)
def test_wire_by_the_american_gauge(text, inches):
    # the table prints 4 decimals of an inch
    assert parts.WireDiameter.__metadata__[0].read(text) == pytest.approx(inches * 25.4e-3, abs=1.3e-6)
    assert parts.WireGauge.__metadata__[0].read(text) == int(re.sub("[^0-9]", "", text))
    for mark in (parts.WireDiameter.__metadata__[0], parts.WireGauge.__metadata__[0]):
        assert any(re.search(pattern, text) for pattern in mark.patterns())


def test_the_british_gauge_is_refused_by_name():
    with pytest.raises(QuantityError) as caught:
        parts.WireDiameter.__metadata__[0].read("24 SWG")
    assert str(caught.value) == (
        "the British gauge is not covered yet; write the bare diameter in mm, as 'wire'"
    )


LEAK = Quantity(q.RESISTANCE, "10 kohm", "100 Mohm")


@pytest.mark.parametrize(
    ("value", "message"),
    [
        ("2.2 mohm", "it is out of range; did you mean '2.2 Mohm'? ('m' is milli, 'M' is mega)"),
        ("22 ohm", "it is out of range; check the figure and its unit"),
        ("-1 Mohm", "it is negative; check the figure and its unit"),
        (1e6, "it has no unit; add the unit: write it as '1000000 ohm'"),
        (math.inf, "it is no finite number; write it as '2.2 Mohm'"),
        (True, "it is no quantity; write it as '2.2 Mohm'"),
        (None, "it is no quantity; write it as '2.2 Mohm'"),
    ],
)
def test_ranges(value, message):
    with pytest.raises(QuantityError) as caught:
        LEAK.read(value)
    assert str(caught.value) == message


def test_bounds_are_inclusive_and_zero_is_an_extra():
    assert LEAK.read("10 kohm") == 10e3
    assert LEAK.read("100 Mohm") == 100e6
    assert Quantity(q.RESISTANCE, "1 ohm", "2 ohm", zero=True).read("0 ohm") == 0.0
    with pytest.raises(QuantityError):
        Quantity(q.RESISTANCE, "1 ohm", "2 ohm", zero=True).read("0.5 ohm")


def test_a_huge_whole_number_is_refused_not_raised():
    with pytest.raises(QuantityError):
        Quantity(q.NUMBER, "2", "5000").read(10**400)


def test_bare_si_numbers_pass_only_when_asked():
    assert LEAK.read(1e6, si=True) == 1e6


@given(st.sampled_from(DIMENSIONS), st.floats(1e-15, 1e12) | st.just(0.0) | st.floats(-1e9, -1e-9))
def test_round_trip_is_exact(dimension, value):
    assert parse_quantity(format_quantity(value, dimension), dimension) == value


@given(st.sampled_from(DIMENSIONS), st.floats(1e-15, 1e12), st.integers(1, 12))
def test_rounded_text_is_within_half_a_digit(dimension, value, digits):
    # d significant digits: half a unit of the last is at most 0.5 * 10**(1 - d) of the value
    read = parse_quantity(format_quantity(value, dimension, digits), dimension)
    assert read == pytest.approx(value, rel=0.5 * 10.0 ** (1 - digits) + 1e-15)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_formatting_refuses_what_is_not_finite(value):
    with pytest.raises(ValueError, match="is no finite value"):
        format_quantity(value, q.VOLTAGE)


_LIKELY = st.text(alphabet=string.digits + ".,+-eE %kKmMuGpnF\u00b5\u03a9HVAWzohmRin\n;`$", max_size=16)


@given(st.text(max_size=40) | _LIKELY, st.sampled_from(DIMENSIONS))
def test_any_text_gives_a_finite_value_or_the_error(text, dimension):
    try:
        value = parse_quantity(text, dimension)
    except QuantityError as error:
        assert error.reason and error.cure
    else:
        assert math.isfinite(value)


@given(st.text(max_size=20))
def test_only_printable_text_is_a_quantity(text):
    try:
        parse_quantity(text + " pF", q.CAPACITANCE)
    except QuantityError:
        return
    allowed = set("0123456789.+-eE/ \u00a0\u202f\u00bc\u00bd\u00be")
    assert all(c in allowed or "\u2150" <= c <= "\u215e" for c in text)


PREFIXES = {
    "f": "femto", "p": "pico", "n": "nano", "u": "micro", "\u00b5": "micro", "\u03bc": "micro", "m": "milli",
    "": "", "k": "kilo", "K": "kilo", "M": "mega", "G": "giga", "T": "tera",
}  # fmt: skip


def test_every_unit_is_worth_what_pint_says() -> None:
    """Guards the shipped table of scales, and the prefixes put to it: pint is the outside source."""
    registry: pint.UnitRegistry = pint.UnitRegistry(cache_folder=None)
    assert UNITS_FILE.read_text(encoding="utf-8") == units_text(), (
        "run: python -m receiver_sim.schema.generate"
    )
    seen = 0
    for kind in DIMENSIONS:
        for text, (prefix, stem) in kind.units().items():
            unit = kind.stems[stem]
            if unit in ("percent", "decibel"):  # they are no units of a physical dimension
                continue
            worth = registry.Quantity(1, PREFIXES[prefix] + unit).to(kind.unit).magnitude
            # floats: pint multiplies its way there
            assert parse_quantity(f"1 {text}", kind) == pytest.approx(worth, rel=1e-14), text
            seen += 1
    assert seen > 100
