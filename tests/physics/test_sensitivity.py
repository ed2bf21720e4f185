"""Noise resistances against published figures, and the weakest signal against closed forms."""

import math

import pytest

from receiver_sim.physics.noise import (
    BOLTZMANN,
    ROOM_K,
    pentode_noise_resistance,
    thermal_density,
    triode_noise_resistance,
)
from receiver_sim.physics.part_series import E24, nearest_preferred
from receiver_sim.physics.sensitivity import resistance_of, signal_above_noise

PENTODES = [
    # type, plate A, screen A, gm S, printed noise resistance (ohm), half of its last digit
    ("6SJ7", 3.0e-3, 0.8e-3, 1650e-6, 5800.0, 50.0),
    ("6SK7", 9.2e-3, 2.4e-3, 2000e-6, 10500.0, 50.0),
    ("6AC7", 10.0e-3, 2.5e-3, 9000e-6, 720.0, 5.0),
    ("6AK5", 7.5e-3, 2.5e-3, 5000e-6, 1880.0, 5.0),
]
"""W. A. Harris, 'Fluctuations in vacuum tube amplifiers and input systems', RCA Review 1941, and handbooks
after it; all memory-medium. The printed figures are themselves computed from rated currents."""


@pytest.mark.parametrize(("name", "plate", "screen", "gm", "printed", "digit"), PENTODES)
def test_pentode_noise_resistance_against_print(
    name: str, plate: float, screen: float, gm: float, printed: float, digit: float
) -> None:
    found = pentode_noise_resistance(gm, plate_current=plate, screen_current=screen)
    # half the last printed digit, and the 20 of the formula is itself rounded (19.3 to 20): 1 %
    assert found == pytest.approx(printed, abs=digit + 0.01 * printed), name


def test_triode_noise_resistance_against_print() -> None:
    # 6J5 at 2600 umho: 960 ohm (Harris 1941, memory-medium), half the last digit 5 ohm
    assert triode_noise_resistance(2600e-6) == pytest.approx(960.0, abs=5.0)


def test_without_screen_current_a_pentode_is_a_triode() -> None:
    found = pentode_noise_resistance(1300e-6, plate_current=2e-3, screen_current=0.0)
    assert found == pytest.approx(triode_noise_resistance(1300e-6), rel=1e-12)


def test_signal_above_noise_is_nyquist_with_the_ratio() -> None:
    wanted = math.sqrt(4.0 * BOLTZMANN * ROOM_K * 21e3 * 500.0) * math.sqrt(10.0)
    assert signal_above_noise(21e3, bandwidth=500.0, ratio_db=10.0) == pytest.approx(wanted, rel=1e-12)
    # 1 kohm makes 4.07 nV in 1 Hz at 300 K: the rule of thumb '4 nV for a kilohm', from memory
    assert thermal_density(1000.0) == pytest.approx(4.0e-9, rel=0.03)


def test_resistance_of_undoes_thermal_density() -> None:
    density = thermal_density(4711.0, temperature=290.0)
    assert resistance_of(density, temperature=290.0) == pytest.approx(4711.0, rel=1e-12)


def test_weakest_signal_refuses_a_band_of_no_width() -> None:
    with pytest.raises(ValueError, match="bandwidth"):
        signal_above_noise(1e3, bandwidth=0.0, ratio_db=10.0)


@pytest.mark.parametrize(
    ("value", "wanted"),
    [
        (4.6e3, 4.7e3),
        (0.97, 1.0),
        (9.7e4, 1.0e5),
        (350.0, 360.0),
        (47.0, 47.0),
        (1.24e6, 1.2e6),
        (1.25e6, 1.3e6),
    ],
)
def test_nearest_e24_is_nearest_in_ratio(value: float, wanted: float) -> None:
    assert nearest_preferred(value, E24) == pytest.approx(wanted, rel=1e-9)
