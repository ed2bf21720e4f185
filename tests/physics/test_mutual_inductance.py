"""Checks of receiver_sim.physics.mutual_inductance."""

import numpy as np
import pytest
from scipy.constants import mu_0
from scipy.integrate import quad
from scipy.special import elliprf, elliprg

from receiver_sim.physics import mutual_inductance as mutual
from receiver_sim.physics.inductance import current_sheet_inductance
from tests.helpers.textbook import filament_sum


def circles(a, b, z):
    """Coaxial circles in Carlson's integrals, DLMF 19.34.6: not the code's own form."""
    near, far = z**2 + (a - b) ** 2, z**2 + (a + b) ** 2
    return mu_0 / 2 * ((near + far) * elliprf(0, near, far) - 4 * elliprg(0, near, far))


def filaments(n1, r1, l1, n2, r2, l2, distance, cells=400):
    """Sum over filaments at the midpoints of thin cells, second order in the cell."""
    z1 = (np.arange(cells) + 0.5) / cells * l1 - l1 / 2
    z2 = (np.arange(cells) + 0.5) / cells * l2 - l2 / 2 + distance
    return n1 * n2 * np.mean(circles(r1, r2, z1[:, None] - z2[None, :]))


def test_published_circles(published):
    for row in published("coaxial_circles.csv"):
        got = mutual.maxwell_filaments(
            row["radius"] / 100, other_radius=row["other_radius"] / 100, distance=row["distance"] / 100
        )
        assert got * 1e9 == pytest.approx(row["value_nh"], abs=row["error"]), row["source"]


def test_maxwells_own_table(published):
    for row in published("maxwell_1873_circles.csv"):
        k = np.sin(np.radians(row["gamma_deg"]))
        got = mutual.maxwell_filaments(1.0, other_radius=1.0, distance=2 * np.sqrt(1 / k**2 - 1))
        assert np.log10(got / mu_0) == pytest.approx(row["log10"], abs=row["error"])


def test_textbook_solenoids(published):
    # the textbook formula leaves out the ends, so the exact value lies below it, by D^2/(2 l^2) at the middle
    # and a little more for a second winding of finite length (a tenth of the first here) and a hair wider
    for row in published("solenoid_textbook.csv"):
        got = mutual.coaxial_sheets(
            row["turns"],
            radius=row["radius_m"],
            length=row["length_m"],
            other_turns=row["other_turns"],
            other_radius=row["radius_m"] * 1.001,
            other_length=row["length_m"] / 10,
            distance=0.0,
        )
        shortfall = row["value_uh"] * (2 * row["radius_m"] / row["length_m"]) ** 2
        assert row["value_uh"] - shortfall - row["error_uh"] <= got * 1e6 <= row["value_uh"] + row["error_uh"]


def test_circles_against_neumanns_integral():
    a, b, z = 0.021, 0.013, 0.007
    total, _ = quad(lambda t: np.cos(t) / np.sqrt(a * a + b * b + z * z - 2 * a * b * np.cos(t)), 0, np.pi)
    assert mutual.maxwell_filaments(a, other_radius=b, distance=z) == pytest.approx(
        mu_0 * a * b * total, rel=1e-9
    )


def test_far_circles_are_dipoles():
    # dipole and its next two terms; the tolerances are the loss of digits that the docstring admits
    a, b = 0.01, 0.006
    for z, error in ((1.0, 1e-8), (5.0, 4e-5)):
        near = 1 - 1.5 * (a * a + b * b) / z**2 + 15 / 8 * (a**4 + 3 * a * a * b * b + b**4) / z**4
        got = mutual.maxwell_filaments(a, other_radius=b, distance=z)
        assert got == pytest.approx(mu_0 * np.pi * (a * b) ** 2 / (2 * z**3) * near, rel=error)


@pytest.mark.parametrize(
    ("r1", "l1", "r2", "l2", "distance"),
    [
        (0.016, 0.030, 0.019, 0.004, 0.021),  # link over the cold end
        (0.016, 0.030, 0.016, 0.005, 0.0195),  # link beside the coil, same former
        (0.010, 0.040, 0.017, 0.025, -0.006),  # overlapping
        (0.012, 0.020, 0.008, 0.020, 0.0),  # inside, same length: a flat weight of no width
    ],
)
def test_sheets_against_filament_by_filament(r1, l1, r2, l2, distance):
    got = mutual.coaxial_sheets(
        11.0, radius=r1, length=l1, other_turns=3.0, other_radius=r2, other_length=l2, distance=distance
    )
    coarse, fine = (filaments(11.0, r1, l1, 3.0, r2, l2, distance, cells) for cells in (300, 600))
    # midpoint sums are of second order, so Richardson's step leaves well below 1e-7
    assert got == pytest.approx(fine + (fine - coarse) / 3, rel=1e-6)


def test_sheets_are_reciprocal_and_join_on():
    one = {"radius": 0.015, "length": 0.022}
    forth = mutual.coaxial_sheets(
        9.0, **one, other_turns=4.0, other_radius=0.011, other_length=0.007, distance=0.013
    )
    back = mutual.coaxial_sheets(
        4.0,
        radius=0.011,
        length=0.007,
        other_turns=9.0,
        other_radius=0.015,
        other_length=0.022,
        distance=-0.013,
    )
    assert forth == pytest.approx(back, rel=1e-9)
    # a sheet's mutual inductance with itself is its self-inductance, from the equal-radius branch ...
    own = mutual.coaxial_sheets(
        9.0, **one, other_turns=9.0, other_radius=0.015, other_length=0.022, distance=0.0
    )
    assert own == pytest.approx(current_sheet_inductance(9.0, **one), rel=1e-9)
    # ... and the branch for unequal radii runs into it: a gap g of 1e-6 r moves M by about (pi g/l) of it
    near = mutual.coaxial_sheets(
        9.0, **one, other_turns=9.0, other_radius=0.015 * (1 + 1e-6), other_length=0.022, distance=0.0
    )
    assert near == pytest.approx(own, rel=1e-5)


def test_filament_sum_and_matrix():
    tank = mutual.Winding(turns=11.0, radius=0.016, pitch=1.5e-3, wire_diameter=0.6e-3, start=0.0)
    link = mutual.Winding(turns=2.5, radius=0.019, pitch=1.1e-3, wire_diameter=0.5e-3, start=-0.004)
    sheets = mutual.winding_pair(tank, other=link)
    # circles against sheets: the cells are fine against the 3 mm between the windings
    assert filament_sum(tank, other=link) == pytest.approx(sheets, rel=2e-3)
    matrix = mutual.inductance_matrix([tank, link])
    assert matrix[0, 1] == matrix[1, 0] == sheets
    assert np.all(np.linalg.eigvalsh(matrix) > 0)  # stored energy is positive
    # one coil cut in two as sections of a matrix: sheets are exact, round-wire terms leave Rosa's B between
    # them
    lower = tank._replace(turns=3.0)
    upper = tank._replace(turns=8.0, start=3 * tank.pitch)
    total = mutual.inductance_matrix([lower, upper]).sum()
    assert total == pytest.approx(mutual.inductance_matrix([tank])[0, 0], rel=5e-3)


def test_refusals():
    with pytest.raises(
        ValueError, match=r"^the two circles coincide: a filament has no finite self-inductance$"
    ):
        mutual.maxwell_filaments(0.01, other_radius=0.01, distance=0.0)
