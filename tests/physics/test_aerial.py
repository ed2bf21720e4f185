"""Checks of receiver_sim.physics.aerial and electrostatic_shield."""

import numpy as np
import pytest
from scipy.constants import c

from receiver_sim.physics import aerial, electrostatic_shield


def test_dummy_antenna(published):
    for row in published("dummy_antenna.csv"):
        z = aerial.dummy_antenna_impedance(row["frequency_mhz"] * 1e6)
        assert z.real == pytest.approx(row["resistance"], abs=row["error"] * 1.0001)
        assert z.imag == pytest.approx(row["reactance"], abs=row["error"] * 1.0001)


def test_power_field_and_emf():
    # 1 kW into a short vertical gives 300 mV/m at 1 km (ITU-R P.368 reference, memory-high): E = sqrt(90 P)/d
    f, he = 0.6e6, 3.7
    resistance = aerial.short_radiation_resistance(f, effective_height=he)
    current = np.sqrt(1000.0 / resistance)
    field = aerial.ground_wave_field(current, effective_height=he, frequency=f, distance=1000.0)
    assert field == pytest.approx(0.300, rel=1e-9)
    assert aerial.radiated_power(0.02, radiation_resistance=5.0) == pytest.approx(2e-3, rel=1e-12)
    # reciprocity of the two: power absorbed by a matched short monopole = S G lambda^2/(4 pi) with G = 3/2 of
    # the hemisphere-doubled 3, S the wave's density; E^2 h^2/(4 R) must agree: (pi eta/..) -> lambda^2
    # E^2/(640 pi^2)
    e = 0.011
    matched = (e * he) ** 2 / (4 * resistance)
    assert matched == pytest.approx(e**2 * (c / f) ** 2 / (640 * np.pi**2), rel=1e-9)


def test_coaxial_capacitance_by_hand():
    # ratio e: 2 pi eps l = 55.6 pF per metre
    got = electrostatic_shield.coaxial_capacitance(
        0.01, outer_radius=0.01 * np.e, length=0.05, permittivity=2.0
    )
    assert got == pytest.approx(2 * 0.05 * 55.6325e-12, rel=1e-5)


@pytest.mark.parametrize(
    ("radius", "b1", "b2", "error"),
    # the errors that the docstring states
    [(0.05, 1.3, 1.8, 0.01), (0.02, 1.0, 2.5, 0.01), (0.1, 2.0, 1.5, 0.01), (0.15, 1.3, 1.8, 0.06)],
)
def test_grating_against_charges_on_the_wires(radius, b1, b2, error):
    # independent path: point-matched charges inside one wire of the earthed grid (spacing 1) and its row,
    # with images in the planes at 0 and H; plane 2 at 1 V. Potential of a row of unit line charges: -(|y|/2 +
    # ripple), the straight part between earthed planes in closed form, the ripple dying within an image or
    # two.
    height, n = b1 + b2, 24
    source = 0.5 * radius * np.exp(2j * np.pi * (np.arange(n) + 0.5) / n) + 1j * b1
    match = (
        radius * np.exp(2j * np.pi * (np.arange(3 * n) + 0.5) / (3 * n)) + 1j * b1
    )  # more points than charges

    def ripple(x, y):
        fade = np.exp(-2 * np.pi * np.abs(y))
        return np.log(1 + fade**2 - 2 * fade * np.cos(2 * np.pi * x)) / (4 * np.pi)

    x = match.real[:, None] - source.real[None, :]
    y, at = match.imag[:, None], source.imag[None, :]
    potential = -(np.abs(y - at) - (y + at) + 2 * y * at / height) / 2
    for m in (-2, -1, 0, 1, 2):
        potential = potential - ripple(x, y - at + 2 * m * height) + ripple(x, y + at + 2 * m * height)
    charge = np.linalg.lstsq(potential, -match.imag / height, rcond=None)[0]
    assert np.allclose(potential @ charge, -match.imag / height, atol=1e-6)
    # charge on plane 1 by Green's reciprocity
    through = 1 / height + np.sum(charge * (1 - source.imag / height))
    got = electrostatic_shield.grating_remainder(radius, spacing=1.0, distance=b1, other_distance=b2)
    assert got == pytest.approx(through * height, rel=error)


def test_grating_limits():
    thin = electrostatic_shield.grating_remainder(1e-9, spacing=1.0, distance=1.0, other_distance=1.0)
    thick = electrostatic_shield.grating_remainder(0.1, spacing=1.0, distance=1.0, other_distance=1.0)
    assert thick < 0.2 < thin < 1
    with pytest.raises(
        ValueError,
        match=r"^wire_radius must be at most 0\.15 of spacing: the grating formula ends there$",
    ):
        electrostatic_shield.grating_remainder(0.2, spacing=1.0, distance=1.0, other_distance=1.0)
