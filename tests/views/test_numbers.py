import math

import pytest

from receiver_sim.views.numbers import decibel, engineering, fixed, percent, shorten


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (4.7e3, "ohm", "4.70 kohm"),
        (0.000_123_4, "A", "123 uA"),
        (31.4159, "V", "31.4 V"),
        (-0.00123, "V", "-1.23 mV"),
        # rounding carries into the next prefix
        (999.6, "Hz", "1.00 kHz"),
        (0.99996, "V", "1.00 V"),
        (7.0998e6, "Hz", "7.10 MHz"),
        (2.2e-16, "F", "0.000220 pF"),
        (3.3e15, "ohm", "3300 Tohm"),
        (0.0, "W", "0 W"),
        (0.0124, "1/V", "0.0124 1/V"),
        (2345.6, "deg", "2350 deg"),
        (0.00734, "", "0.00734"),
        (None, "V", "-"),
    ],
)
def test_engineering(value, unit, text):
    assert engineering(value, unit) == text


def test_engineering_with_other_digits():
    assert engineering(12345.678, "Hz", 5) == "12.346 kHz"
    assert engineering(0.0479, "A", 1) == "50 mA"


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_no_result_holds_nan_or_infinity(value):
    with pytest.raises(ValueError, match=f"^cannot print {value} V: a result holds NaN or infinity$"):
        engineering(value, "V")
    with pytest.raises(ValueError, match=r"^digits must be 1 or more, not 0$"):
        engineering(1.0, "V", 0)


def test_fixed_percent_decibel():
    assert fixed(0.0371, 1, 1e3) == "37.1"
    assert fixed(-0.004, 2) == "0.00"
    assert fixed(-0.31, 1) == "-0.3"
    assert fixed(None, 2) == percent(None) == decibel(None) == decibel(0.0) == "-"
    assert percent(0.523) == "52 %"
    # 20 log10 2 and 20 log10 0.5, from the definition
    assert (decibel(2.0, 2), decibel(0.5, 2)) == ("6.02", "-6.02")


def test_shorten():
    assert shorten("speaker", 7) == "speaker"
    assert shorten("160 m, the winter coil", 12) == "160 m, th..."
