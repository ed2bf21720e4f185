"""Checks of receiver_sim.physics.coil_q and self_capacitance."""

from itertools import pairwise

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from receiver_sim.physics import coil_q, self_capacitance, wire
from receiver_sim.physics.inductance import current_sheet_inductance
from tests.helpers.textbook import medhurst_q


def test_medhurst_h_table(published):
    for row in published("medhurst_1947_h.csv"):
        got = self_capacitance.medhurst_h(row["length_over_diameter"])
        assert got == pytest.approx(row["h"], abs=row["error"])


def test_medhurst_h_rows_bear_each_other_out(published):
    # a slip in one row shows against the curve through its neighbours: two printed figures are 1 % each,
    # three rows are at play, and between sparse rows (10, 20) the curve is free by another per cent
    rows = published("medhurst_1947_h.csv")
    x, h = (np.log([row[key] for row in rows]) for key in ("length_over_diameter", "h"))
    for i in range(1, len(rows) - 1):
        guess = CubicSpline(np.delete(x, i), np.delete(h, i))(x[i])
        assert np.exp(guess) == pytest.approx(np.exp(h[i]), rel=0.04), rows[i]


def test_medhurst_h_stays_between_its_rows(published):
    rows = published("medhurst_1947_h.csv")
    for one, two in pairwise(rows):
        middle = self_capacitance.medhurst_h(
            np.sqrt(one["length_over_diameter"] * two["length_over_diameter"])
        )
        assert min(one["h"], two["h"]) * (1 - 1e-12) <= middle <= max(one["h"], two["h"]) * (1 + 1e-12)


def test_medhurst_capacitance_scales_with_size():
    # 3 cm by 3 cm: H .46, so 1.38 pF (half the last place of H)
    assert self_capacitance.medhurst_capacitance(0.03, length=0.03) == pytest.approx(1.38e-12, abs=0.015e-12)
    assert self_capacitance.medhurst_capacitance(0.06, length=0.14) == pytest.approx(
        2 * self_capacitance.medhurst_capacitance(0.03, length=0.07), rel=1e-12
    )
    with pytest.raises(ValueError, match=r"^length/diameter must be from 0\.01 to 100, got 0\.004$"):
        self_capacitance.medhurst_capacitance(0.1, length=0.0004)


def test_medhurst_h_goes_on_beyond_the_table_by_his_fit():
    """Guards against ordinary short coils being refused: 6.75 close-wound turns are 0.096 diameters long."""
    h = self_capacitance.medhurst_h
    for edge in (0.10, 50.0):
        # no step at the table's ends, and the fit itself is within 2 % of them (two printed figures are 1 %)
        assert h(edge * 0.9999) == pytest.approx(h(edge * 1.0001), rel=2e-3)
        assert 0.1126 * edge + 0.08 + 0.27 / np.sqrt(edge) == pytest.approx(h(edge), rel=0.02)
    # a short coil goes as 1/sqrt(x), a long one as x (the leading terms of the fit)
    assert h(0.02) / h(0.08) == pytest.approx(2.0, rel=0.08)
    assert h(100.0) / h(50.0) == pytest.approx(2.0, rel=0.03)
    assert [self_capacitance.extrapolated(x) for x in (0.096, 0.1, 3.0, 50.0, 51.0)] == [
        True,
        False,
        False,
        False,
        True,
    ]


def test_phi_table_at_wide_spacing_against_field_theory():
    # source-free check of the recalled table. A wire in a transverse field H loses 2 pi a Rs H^2, a straight
    # one Rs I^2/(4 pi a): phi - 1 = 8 pi^2 a^2 <(H/I)^2>. Long coil: H = I/(2 p) at every turn, so
    # (pi^2/2)(d/p)^2. Coil of no length: flat row, <H^2> = I^2/(12 p^2), so (pi^2/6)(d/p)^2. First order in
    # the spacing: the next is (d/p)^4, up to 0.5 of the last place printed at 0.1 and a few at 0.2.
    for cover, error in ((0.1, 0.006), (0.2, 0.012)):
        long = coil_q.medhurst_phi(np.inf, wire_over_pitch=cover)
        flat = coil_q.medhurst_phi(0.0, wire_over_pitch=cover)
        assert long - 1 == pytest.approx(np.pi**2 / 2 * cover**2, abs=error)
        assert flat - 1 == pytest.approx(np.pi**2 / 6 * cover**2, abs=error)


def test_phi_table_is_smooth():
    # a slip in a recalled cell shows as a kink: ln phi against cover bends upwards gently in each row
    table = np.log(coil_q.MEDHURST_PHI)
    assert np.all(np.diff(table, axis=1) > 0)
    assert np.all(np.abs(np.diff(table, n=2, axis=1)) < 0.11)
    with pytest.raises(ValueError, match=r"^wire_over_pitch must be above 0 and at most 1, got 1\.2$"):
        coil_q.medhurst_phi(1.0, wire_over_pitch=1.2)


def test_phi_below_the_first_column_and_shapes():
    assert coil_q.medhurst_phi(2.0, wire_over_pitch=0.05) == pytest.approx(1 + 0.04 / 4, rel=1e-12)
    grid = coil_q.medhurst_phi(np.array([[0.5], [3.0]]), wire_over_pitch=np.array([0.3, 0.6, 1.0]))
    assert grid.shape == (2, 3)
    assert grid[1, 2] == coil_q.medhurst_phi(3.0, wire_over_pitch=1.0)


def test_resistance_limits():
    size = {"radius": 0.0125, "pitch": 1.6e-3, "wire_diameter": 1.0e-3}
    length = 15 * np.hypot(2 * np.pi * 0.0125, 1.6e-3)
    low = coil_q.winding_resistance(15, **size, frequency=10.0)
    assert low == pytest.approx(wire.dc_resistance(length, diameter=1e-3), rel=1e-6)
    # at 100 MHz d/delta = 150: Medhurst's phi times the straight wire, up to (phi - 1) delta/d
    high = coil_q.winding_resistance(15, **size, frequency=1e8)
    phi = coil_q.medhurst_phi(24 / 25, wire_over_pitch=1 / 1.6)
    straight = wire.dc_resistance(length, diameter=1e-3)
    straight *= wire.kelvin_skin_ratio(1e-3, skin_depth=wire.skin_depth(1e8))
    assert high == pytest.approx(phi * straight, rel=0.01)
    # there resistance goes with the root of frequency
    assert coil_q.winding_resistance(15, **size, frequency=4e8) == pytest.approx(2 * high, rel=0.01)


def test_medhurst_q_is_reactance_over_resistance():
    # the two published forms, Q = 0.15 R psi sqrt f and phi, are one: thick wire, fine pitch against the
    # radius
    turns, radius, pitch, d, f = 30, 0.021, 1.4e-3, 0.8e-3, 3e8
    q = 2 * np.pi * f * current_sheet_inductance(turns, radius=radius, length=turns * pitch)
    q /= coil_q.winding_resistance(turns, radius=radius, pitch=pitch, wire_diameter=d, frequency=f)
    got = medhurst_q(radius, length=turns * pitch, wire_over_pitch=d / pitch, frequency=f)
    assert got == pytest.approx(q, rel=0.01)


def test_medhurst_q_size():
    # from memory, medium: Q = 0.15 R(cm) psi sqrt(f), psi below 1 and of the order .7 for well-proportioned
    # coils
    got = medhurst_q(0.02, length=0.04, wire_over_pitch=0.6, frequency=7e6)
    assert 0.6 < got / (0.15 * 2 * np.sqrt(7e6)) < 0.85
    ten_times = medhurst_q(0.02, length=0.04, wire_over_pitch=0.6, frequency=7e8)
    assert ten_times == pytest.approx(10 * got, rel=1e-9)


def test_combination_and_former():
    assert coil_q.combined_q(300.0, 600.0) == pytest.approx(200.0, rel=1e-12)
    assert coil_q.combined_q(170.0, np.inf) == pytest.approx(170.0, rel=1e-12)
    # conductance w C' tan d across the tank: Q = w C/(w C' tan d); 60 pF with 1.2 pF at .03 lost in it
    former = coil_q.former_capacitance(1.5e-12, permittivity=4.0, field_share=0.2)
    assert former == pytest.approx(1.2e-12, rel=1e-12)
    assert coil_q.dielectric_q(60e-12, former_capacitance=former, loss_tangent=0.03) == pytest.approx(
        1666.67, rel=1e-5
    )
    assert coil_q.dielectric_q(60e-12, former_capacitance=1e-12, loss_tangent=0.0) == np.inf
    with pytest.raises(ValueError, match=r"^every Q must be above zero, got -3$"):
        coil_q.combined_q(100.0, -3)
