"""The threshold of hearing and levels in a phone, against ISO 226:2003 and the definition of the decibel."""

from __future__ import annotations

import math

import pytest

from receiver_sim.physics.hearing import sound_level_db, threshold_db

# ISO 226:2003, table 1, threshold of hearing: third-octave bands, Hz and dB (from memory, high)
ISO_226 = {
    20: 78.5, 25: 68.7, 31.5: 59.5, 40: 51.1, 50: 44.0, 63: 37.5, 80: 31.5, 100: 26.5, 125: 22.1, 160: 17.9,
    200: 14.4, 250: 11.4, 315: 8.6, 400: 6.2, 500: 4.4, 630: 3.0, 800: 2.2, 1000: 2.4, 1250: 3.5, 1600: 1.7,
    2000: -1.3, 2500: -4.2, 3150: -6.0, 4000: -5.4, 5000: -1.5, 6300: 6.0, 8000: 12.6, 10000: 13.9,
    12500: 12.3,
}  # fmt: skip


@pytest.mark.parametrize(("hertz", "level"), list(ISO_226.items()))
def test_rows_of_the_table(hertz: float, level: float) -> None:
    assert float(threshold_db(hertz)) == pytest.approx(level)


def test_the_threshold_follows_terhardts_formula() -> None:
    """Terhardt 1979, from memory, high: 3.64 f^-0.8 - 6.5 exp(-0.6 (f - 3.3)^2) + 0.001 f^4, f in kHz, a fit
    to older measurements; within 5 dB from 160 Hz to 5 kHz, where phones are listened to.
    """
    for hertz in (160.0, 315.0, 630.0, 1000.0, 2000.0, 2500.0, 3150.0, 4000.0, 5000.0):
        f = hertz / 1e3
        formula = 3.64 * f**-0.8 - 6.5 * math.exp(-0.6 * (f - 3.3) ** 2) + 1e-3 * f**4
        assert float(threshold_db(hertz)) == pytest.approx(formula, abs=5.0), hertz


@pytest.mark.parametrize(("low", "high", "levels"), [(100.0, 125.0, (26.5, 22.1)), (50.0, 63.0, (44.0, 37.5)),
                                                    (6300.0, 8000.0, (6.0, 12.6))])  # fmt: skip
def test_half_way_between_two_tones_to_the_ear_is_the_mean(
    low: float, high: float, levels: tuple[float, float]
) -> None:
    """The ear hears ratios: half way between two frequencies is their geometric mean."""
    found = float(threshold_db(math.sqrt(low * high)))
    assert found == pytest.approx(0.5 * sum(levels), abs=1e-9)


def test_it_is_held_beyond_the_table() -> None:
    assert float(threshold_db(10.0)) == 78.5 and float(threshold_db(16000.0)) == 12.3


@pytest.mark.parametrize(("watts", "level"), [(1e-3, 100.0), (1e-6, 70.0), (2e-3, 103.0103)])
def test_a_milliwatt_gives_what_the_phone_is_rated(watts: float, level: float) -> None:
    assert sound_level_db(watts, sensitivity_db=100.0) == pytest.approx(level)
    assert sound_level_db(0.0, sensitivity_db=100.0) is None
