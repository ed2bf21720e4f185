"""Quantities: published short codes, exact values, slips, and nothing but QuantityError from any text."""

import math
import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from receiver_sim.schema import quantity as q
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
        ("8%", q.FRACTION, 0.08),
        ("0.5", q.FRACTION, 0.5),
        ("140", q.NUMBER, 140.0),
        ("-.5 V", q.VOLTAGE, -0.5),
    ],
)
def test_values_are_exact(text, dimension, value):
    assert parse_quantity(text, dimension) == value


@pytest.mark.parametrize(
    ("text", "dimension", "message"),
    [
        ("100", q.CAPACITANCE, "it has no unit; add the unit: write it as '100 pF'"),
        ("8 %", q.NUMBER, "it takes no unit; write it as '140'"),
        (
            "4.7k",
            q.RESISTANCE,
            "'k' is no unit of resistance; its units are ohm, uohm, mohm, kohm, Mohm, Gohm",
        ),
        (
            "4,7 kohm",
            q.RESISTANCE,
            "it has a comma; use a point for decimals and nothing for thousands: write it as '2.2 Mohm'",
        ),
        (
            "7 Mhz",
            q.FREQUENCY,
            "'Mhz' is no unit of frequency; did you mean 'MHz'? (capitals count in units)",
        ),
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


LEAK = Quantity(q.RESISTANCE, "10 kohm", "100 Mohm")


@pytest.mark.parametrize(
    ("value", "message"),
    [
        ("2.2 mohm", "it is out of range; did you mean '2.2 Mohm'? ('m' is milli, 'M' is mega)"),
        ("22 ohm", "it is out of range; check the figure and its unit"),
        ("-1 Mohm", "it is negative; check the figure and its unit"),
        (1e6, "it has no unit; add the unit: write it as '2.2 Mohm'"),
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
    assert set(text) <= set("0123456789.+-eE \u00a0\u202f")
