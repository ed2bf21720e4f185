"""Checks of receiver_sim.physics.shield_can: closed forms and images, no private copy of the series."""

import numpy as np
import pytest
from scipy.constants import mu_0

from receiver_sim.physics import shield_can
from receiver_sim.physics.inductance import current_sheet_inductance
from receiver_sim.physics.mutual_inductance import coaxial_sheets


def test_long_coil_in_a_long_can():
    # the return flux is squeezed into the gap: (a/b)^2 of the inductance goes, less end effects of the order
    # a/l
    got = shield_can.reflected_ratio(0.01, length=4.0, can_radius=0.023, can_length=5.0, rise=2.5)
    assert got == pytest.approx((0.01 / 0.023) ** 2, rel=0.005)


def test_one_wall_is_the_image_of_the_coil():
    # a can wide and high against the coil, the coil near its floor: the floor is a mirror, and M with the
    # image (at twice the rise, opposite sense) is what goes. Far walls take (a/1 m)^3 or so: 1e-6.
    got = shield_can.reflected_ratio(0.01, length=0.02, can_radius=1.0, can_length=4.0, rise=0.023)
    image = coaxial_sheets(
        1.0, radius=0.01, length=0.02, other_turns=1.0, other_radius=0.01, other_length=0.02, distance=0.046
    )
    assert got == pytest.approx(image / current_sheet_inductance(1.0, radius=0.01, length=0.02), abs=2e-6)


def test_floor_and_lid_alike_and_no_can_no_effect():
    near_floor = shield_can.reflected_ratio(0.012, length=0.02, can_radius=0.03, can_length=0.09, rise=0.031)
    near_lid = shield_can.reflected_ratio(0.012, length=0.02, can_radius=0.03, can_length=0.09, rise=0.059)
    assert near_floor == pytest.approx(near_lid, rel=1e-6)
    far = shield_can.reflected_ratio(0.012, length=0.02, can_radius=3.0, can_length=7.0, rise=3.0)
    assert abs(far) < 2e-6  # the truncation of the series bounds it, as its comment says


@pytest.mark.parametrize("wall", ["floor", "lid"])
def test_loss_in_the_wall_beside_a_coil_is_by_the_rule_of_its_image(wall):
    # Wheeler 1942: R = 2 pi f (delta/2) dL/dn. One wall takes M at twice the distance (see above), so that a
    # wall that recedes by dn gives back -dM/dn = -2 M'. Far walls take (a/0.2 m)^3 or so, and lose a part in
    # a thousand of what this one does.
    a, length, apart, f, rho = 0.01, 0.02, 0.046, 5e6, 2.8e-8
    high = 0.6

    def image(distance):
        return coaxial_sheets(
            1.0, radius=a, length=length, other_turns=1.0, other_radius=a, other_length=length,
            distance=distance,
        )  # fmt: skip

    slope = 2.0 * (image(apart + 1e-4) - image(apart - 1e-4)) / 2e-4
    depth = np.sqrt(rho / (np.pi * f * mu_0))
    own = float(current_sheet_inductance(1.0, radius=a, length=length))
    rise = apart / 2.0 if wall == "floor" else high - apart / 2.0
    effect = shield_can.can_effect(
        a, length=length, can_radius=0.2, can_length=high, rise=rise, frequency=f, resistivity=rho
    )
    # the series is cut at 1e-6 of the whole, here over a step of 1e-5 m: 1 % of the slope
    assert effect.resistance_per_henry == pytest.approx(-np.pi * f * depth * slope / own, rel=0.02)


def test_floor_and_lid_take_alike_from_the_q():
    size = {"length": 0.02, "can_radius": 0.03, "can_length": 0.09, "frequency": 5e6}
    floor, lid = (shield_can.can_effect(0.012, rise=rise, **size) for rise in (0.014, 0.076))
    assert lid.resistance_per_henry == pytest.approx(floor.resistance_per_henry, rel=1e-4)
    assert lid.inductance_ratio == pytest.approx(floor.inductance_ratio, rel=1e-6)
    middle = shield_can.can_effect(0.012, rise=0.045, **size)
    assert floor.resistance_per_henry > 1.1 * middle.resistance_per_henry


@pytest.mark.parametrize(("rise", "fits"), [(0.0149, False), (0.0151, True), (0.0649, True), (0.0651, False)])
def test_both_ends_of_a_coil_keep_clear_of_floor_and_lid(rise, fits):
    size = {"length": 0.03, "can_radius": 0.03, "can_length": 0.08, "rise": rise}
    if fits:
        assert 0.0 < shield_can.reflected_ratio(0.012, **size) < 1.0
        return
    with pytest.raises(ValueError, match=r"^the coil does not fit inside the can: "):
        shield_can.reflected_ratio(0.012, **size)


def test_loss_of_a_long_coil_in_closed_form():
    # inside the gap H = -(a/b)^2/(1) x n I ... : the can's wall carries H = n I a^2/b^2 along l, loss Rs H^2
    # 2 pi b l. Per henry of the open coil (mu0 pi a^2 n^2 l): 2 Rs a^2/(mu0 b^3).
    a, b, length, f = 0.01, 0.023, 4.0, 5e6
    effect = shield_can.can_effect(
        a, length=length, can_radius=b, can_length=5.0, rise=2.5, frequency=f, resistivity=2.8e-8
    )
    rs = np.sqrt(np.pi * f * mu_0 * 2.8e-8)
    assert effect.resistance_per_henry == pytest.approx(2 * rs * a**2 / (mu_0 * b**3), rel=0.01)
    assert effect.inductance_ratio == pytest.approx(1 - (a / b) ** 2, rel=0.005)


def test_a_tighter_can_takes_more():
    size = {"length": 0.03, "can_length": 0.08, "rise": 0.04, "frequency": 7e6}
    tight = shield_can.can_effect(0.015, can_radius=0.020, **size)
    loose = shield_can.can_effect(0.015, can_radius=0.035, **size)
    assert tight.inductance_ratio < loose.inductance_ratio < 1
    assert tight.resistance_per_henry > loose.resistance_per_henry > 0


def test_a_coil_that_does_not_fit_is_refused():
    with pytest.raises(
        ValueError,
        match=r"^the coil does not fit inside the can: its ends and sides must keep clear of the walls$",
    ):
        shield_can.reflected_ratio(0.02, length=0.03, can_radius=0.019, can_length=0.08, rise=0.04)
