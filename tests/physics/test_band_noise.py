"""Noise of the band, of tubes and over time, against P.372, identities and closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from receiver_sim.physics.aerial import short_radiation_resistance
from receiver_sim.physics.band_noise import (
    aerial_noise_density,
    atmospheric_noise,
    galactic_noise,
    man_made_noise,
    together,
)
from receiver_sim.physics.noise import (
    cathode_noise_density,
    conductance_noise_density,
    partition_noise_density,
    pentode_noise_resistance,
    shot_density,
    thermal_density,
)
from receiver_sim.physics.noise_course import PASS, course


@pytest.mark.parametrize(
    ("place", "at_1_mhz", "at_10_mhz"),
    # c and c - d of ITU-R P.372's table (seen in the program of its study group); exact
    [
        ("city", 76.8, 49.1),
        ("residential", 72.5, 44.8),
        ("rural", 67.2, 39.5),
        ("quiet-rural", 53.6, 25.0),
    ],
)
def test_man_made_noise_is_that_of_the_table(place: str, at_1_mhz: float, at_10_mhz: float) -> None:
    assert man_made_noise(1e6, place=place) == pytest.approx(at_1_mhz, abs=1e-9)
    assert man_made_noise(10e6, place=place) == pytest.approx(at_10_mhz, abs=1e-9)


def test_no_other_place() -> None:
    with pytest.raises(
        ValueError, match="place must be one of city, residential, rural, quiet-rural, got 'boat'"
    ):
        man_made_noise(1e6, place="boat")


def test_the_galaxy_is_heard_above_the_ionosphere_alone() -> None:
    assert galactic_noise(9.9e6) is None
    assert galactic_noise(10.1e6) == pytest.approx(52.0 - 23.0 * math.log10(10.1), abs=1e-9)
    assert galactic_noise(20e6) == pytest.approx(52.0 - 23.0 * math.log10(20.0), abs=1e-9)


def test_atmospheric_noise_near_the_example() -> None:
    """60.7 dB at 1 MHz: the worked example of the study group's program (January, 40 N, 165 E), within a
    decibel as the figure is a rough middle."""
    assert atmospheric_noise(1e6) == pytest.approx(60.7, abs=1.0)
    assert atmospheric_noise(20e6) < man_made_noise(20e6, place="residential")


def test_atmospheric_noise_falls_by_thirty_decibels_a_decade() -> None:
    """As P.372's curves of night do from 1 to 20 MHz (from memory, low); the slope is stated as that."""
    assert atmospheric_noise(1.5e6) - atmospheric_noise(15e6) == pytest.approx(30.0)


def test_powers_add() -> None:
    assert together(40.0, 40.0, None) == pytest.approx(40.0 + 10.0 * math.log10(2.0), abs=1e-9)
    assert together(None, 17.0) == pytest.approx(17.0, abs=1e-12)


@pytest.mark.parametrize(("hertz", "height"), [(1.9e6, 3.0), (7.1e6, 1.3)])
def test_emf_is_that_of_the_field_of_p372(hertz: float, height: float) -> None:
    """P.372 gives the field of noise at a short vertical monopole as En = Fa + 20 log f(MHz) + 10 log b -
    95.5 dB over 1 uV/m (from memory); times the effective height it is the e.m.f. The 95.5 is rounded to
    0.05 dB."""
    figure, width = 47.0, 2700.0
    field = 1e-6 * 10.0 ** (
        (figure + 20.0 * math.log10(hertz / 1e6) + 10.0 * math.log10(width) - 95.5) / 20.0
    )
    radiation = short_radiation_resistance(hertz, effective_height=height)
    emf = aerial_noise_density(figure, radiation_resistance=radiation) * math.sqrt(width)
    assert abs(20.0 * math.log10(emf / (field * height))) < 0.06


def test_noise_below_that_of_a_resistor_adds_none() -> None:
    assert aerial_noise_density(-3.0, radiation_resistance=5.0) == 0.0


@pytest.mark.parametrize(("plate", "screen", "gm"), [(3.0e-3, 0.8e-3, 1650e-6), (0.3e-3, 0.1e-3, 400e-6)])
def test_parts_of_a_pentode_make_its_noise_resistance(plate: float, screen: float, gm: float) -> None:
    """Space-charge noise shared out as the currents are, and partition: the published sum, whose 20 stands
    for 2e/(4kT) = 19.3 at 300 K."""
    share = plate / (plate + screen)
    parts = (share * cathode_noise_density(gm / share), partition_noise_density(plate, screen_current=screen))
    whole = gm * thermal_density(pentode_noise_resistance(gm, plate_current=plate, screen_current=screen))
    assert math.hypot(*parts) == pytest.approx(whole, rel=0.5 * (20.0 / 19.3 - 1.0))


def test_shot_and_thermal_currents() -> None:
    # 1 mA: 17.9 pA in 1 Hz (2 e I with e = 1.602e-19 C); 1 mS: as 1 kohm, 4.07 nV over 1 kohm
    assert shot_density(1e-3) == pytest.approx(17.9e-12, rel=1e-3)
    assert conductance_noise_density(1e-3) == pytest.approx(thermal_density(1000.0) / 1000.0, rel=1e-12)


RATE = 24_000.0


def density_of(values: np.ndarray, rate: float, low: float, high: float) -> float:
    """Return the mean one-sided density (per sqrt(Hz)) between two frequencies."""
    spectrum = np.abs(np.fft.rfft(values)) ** 2 * 2.0 / (rate * values.size)
    frequency = np.fft.rfftfreq(values.size, 1.0 / rate)
    return float(np.sqrt(np.mean(spectrum[(frequency >= low) & (frequency < high)])))


@pytest.mark.parametrize(("low", "high"), [(100.0, 2100.0), (3000.0, 5000.0), (6500.0, 8500.0)])
def test_straight_lines_between_the_points_have_the_density(low: float, high: float) -> None:
    """20 s: 40 000 cells of 2 kHz, 0.5 % in power. Sampled 8 times as finely along the straight lines."""
    noise = course(7, channel=0, rate=RATE)
    times = np.arange(round(20.0 * 8.0 * RATE)) / (8.0 * RATE)
    assert high < PASS * RATE
    assert density_of(noise.at(times), 8.0 * RATE, low, high) == pytest.approx(1.0, rel=0.015)


def test_a_shaped_course_follows_its_density() -> None:
    """Twice the density above 4 kHz as below 2 kHz; 20 s, 1 % either."""
    frequency, density = [0.0, 2000.0, 4000.0, 12_000.0], [0.7, 0.7, 1.4, 1.4]
    noise = course(7, channel=1, rate=RATE, frequency=frequency, density=density)
    values = noise.values(0, round(20.0 * RATE))
    # the values themselves, before straight lines are drawn: more by what those take off
    for low, high, wanted in ((300.0, 1300.0, 0.7), (4500.0, 5500.0, 1.4)):
        lines = np.sinc(0.5 * (low + high) / RATE) ** 2
        assert density_of(values, RATE, low, high) * lines == pytest.approx(wanted, rel=0.02)


def test_a_course_is_the_same_wherever_it_is_cut() -> None:
    """And another for another seed or channel. Guards against noise that depends on the stretches of a
    run."""
    noise = course(3, channel=0, rate=RATE)
    whole = noise.values(-50, 9000)
    assert noise.values(4000, 4600) == pytest.approx(whole[4050:4651], abs=1e-9)
    others = [course(4, channel=0, rate=RATE), course(3, channel=1, rate=RATE)]
    for other in others:
        apart = other.values(-50, 9000)
        # 9000 points: chance makes a correlation of 1 %
        assert abs(np.corrcoef(whole, apart)[0, 1]) < 0.05
