"""Checks of receiver_sim.physics.inductance."""

import numpy as np
import pytest
from scipy.constants import mu_0
from scipy.integrate import quad
from scipy.special import ellipe, ellipkm1, elliprf, elliprg

from receiver_sim.physics import inductance
from tests.helpers.textbook import wheeler_1928


def circles(a, b, z):
    """Mutual inductance of coaxial circles in Carlson's integrals, DLMF 19.34.6: not the code's own form."""
    near, far = z**2 + (a - b) ** 2, z**2 + (a + b) ** 2
    return mu_0 / 2 * ((near + far) * elliprf(0, near, far) - 4 * elliprg(0, near, far))


def test_nagaoka_table(published):
    for row in published("nagaoka_1909.csv"):
        got = inductance.nagaoka_coefficient(row["diameter_over_length"], length=1.0)
        assert got == pytest.approx(row["k"], abs=row["error"])


def test_elliptic_integrals_are_those_of_scipy():
    """The mean of the program against scipy, from short coils to long ones; the difference to one part in
    1e15 of F, as rounding leaves it."""
    m1 = np.array([1e-12, 1e-6, 0.01, 0.3, 0.5, 0.9, 0.9999, 1.0 - 1e-9])
    first, short = inductance.elliptic(m1)
    assert first == pytest.approx(ellipkm1(m1), rel=1e-14)
    assert short == pytest.approx(ellipkm1(m1) - ellipe(1.0 - m1), rel=1e-12, abs=2e-15)


def test_exact_current_sheet(published):
    # the table's six places allow 1e-6
    for row in published("current_sheet_calc.csv"):
        got = inductance.nagaoka_coefficient(row["diameter_over_length"], length=1.0)
        assert got == pytest.approx(row["k"], abs=row["error"])


def test_current_sheet_by_integrating_circles():
    # independent path: the double integral over pairs of circles, as one integral with the triangular weight
    radius, length = 0.0137, 0.0291
    total, _ = quad(
        lambda s: 2 * (length - s) * circles(radius, radius, s), 0, length, epsrel=1e-10, epsabs=0, limit=200
    )
    got = inductance.current_sheet_inductance(7.0, radius=radius, length=length)
    assert got == pytest.approx(49 * total / length**2, rel=1e-7)


def test_limits_and_scaling():
    long = inductance.nagaoka_coefficient(1e-3, length=1.0)
    assert long == pytest.approx(1 - 4 / (3 * np.pi) * 1e-3, abs=1e-6)  # textbook limit of a long coil
    # short coil: L -> mu0 r N^2 [ln(8 r/l) - 1/2]
    got = inductance.current_sheet_inductance(3.0, radius=0.02, length=2e-5)
    assert got == pytest.approx(mu_0 * 0.02 * 9 * (np.log(8000) - 0.5), rel=1e-5)
    base = inductance.current_sheet_inductance(5.0, radius=0.011, length=0.03)
    assert inductance.current_sheet_inductance(10.0, radius=0.033, length=0.09) == pytest.approx(
        12 * base, rel=1e-12
    )


def test_wheeler(published):
    for row in published("wheeler_1928.csv"):
        size = {"radius": row["diameter_in"] / 2 * 0.0254, "length": row["length_in"] * 0.0254}
        wheeler = wheeler_1928(row["turns"], **size)
        exact = inductance.current_sheet_inductance(row["turns"], **size)
        assert wheeler * 1e6 == pytest.approx(row["wheeler_uh"], abs=row["error_uh"])
        assert exact * 1e6 == pytest.approx(row["exact_uh"], abs=row["error_uh"])


def test_wheeler_is_within_one_per_cent_where_he_says_so():
    # l > 0.8 a (memory-high); up to l = 20 a, where his claim was never meant to end
    for ratio in np.linspace(0.81, 20, 30):
        exact = inductance.current_sheet_inductance(9.0, radius=0.01, length=0.01 * ratio)
        assert wheeler_1928(9.0, radius=0.01, length=0.01 * ratio) == pytest.approx(exact, rel=0.01)


def test_rosa_tables(published):
    for row in published("rosa_a.csv"):
        got = inductance.rosa_a(1.0, wire_diameter=row["wire_over_pitch"])
        assert got == pytest.approx(row["a"], abs=row["error"])
    for row in published("rosa_b.csv"):
        assert inductance.rosa_b(row["turns"]) == pytest.approx(row["b"], abs=row["error"])


def test_rosa_b_between_whole_turns():
    for low in (1, 2, 6):
        ends = low * inductance.rosa_b(low), (low + 1) * inductance.rosa_b(low + 1)
        assert (low + 0.25) * inductance.rosa_b(low + 0.25) == pytest.approx(0.75 * ends[0] + 0.25 * ends[1])


@pytest.mark.parametrize(
    ("turns", "pitch", "wire"), [(3, 2.1e-3, 0.9e-3), (12, 1.3e-3, 1.0e-3), (30, 0.7e-3, 0.2e-3)]
)
@pytest.mark.parametrize("surface", [False, True])
def test_wire_coil_against_circles_of_wire(turns, pitch, wire, surface):
    # independent path: each turn a ring of round wire, mu0 r (ln(8 r/a) - 1.75 or - 2), plus all pairs of
    # circles. Rosa's correction takes a turn as straight. The first term so left out is (3/16) <z^2>/r^2 of
    # the logarithm (Maxwell's series for near circles), with <z^2> = p^2/6 in a strip of width p: (p/r)^2/32
    # of it, hence the tolerance (p/r)^2/16.
    radius = 0.0125
    z = np.arange(turns) * pitch
    gap = np.abs(z[:, None] - z[None, :])[~np.eye(turns, dtype=bool)]
    own = mu_0 * radius * (np.log(8 * radius / (wire / 2)) - (2.0 if surface else 1.75))
    rings = turns * own + np.sum(circles(radius, radius, gap))
    got = inductance.solenoid_inductance(
        turns, radius=radius, pitch=pitch, wire_diameter=wire, surface_current=surface
    )
    assert got == pytest.approx(rings, rel=(pitch / radius) ** 2 / 16)


def test_surface_current_takes_away_the_internal_inductance():
    size = {"radius": 0.014, "pitch": 1.2e-3, "wire_diameter": 0.8e-3}
    inner = inductance.solenoid_inductance(9.5, **size) - inductance.solenoid_inductance(
        9.5, **size, surface_current=True
    )
    assert inner == pytest.approx(mu_0 / (8 * np.pi) * 9.5 * 2 * np.pi * 0.014, rel=1e-9)


def test_overlapping_turns_are_refused():
    with pytest.raises(
        ValueError, match=r"^turns overlap: wire diameter 0\.002 m is above the pitch 0\.001 m$"
    ):
        inductance.solenoid_inductance(5, radius=0.01, pitch=0.001, wire_diameter=0.002)
