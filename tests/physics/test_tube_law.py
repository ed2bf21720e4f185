"""The law of tubes: identities without a source, textbook limits, smoothness and passivity."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from receiver_sim.physics.tube_law import (
    TubeLaw,
    currents,
    grid_current,
    input_conductance,
    small_signal,
    softplus,
    space_current,
)

# Invented laws with no two parameters alike; the numbers are of the size of real tubes.
TRIODE = TubeLaw(
    kind="triode", perveance=8e-4, exponent=1.5, degree=1.5, contact=0.4, spread=0.17, foot=0.13,
    mu_plate=22.0, grid_perveance=3e-4, grid_offset=-0.55,
)  # fmt: skip
PENTODE = TubeLaw(
    kind="pentode", perveance=9e-4, exponent=1.5, degree=1.46, contact=0.5, spread=0.19, foot=0.14,
    mu_plate=4100.0, mu_screen=21.0, division=3.7, knee=0.3,
    grid_perveance=4e-4, grid_offset=-0.7,
)  # fmt: skip
REMOTE = dataclasses.replace(PENTODE, sections=3, section_ratio=2.3, section_weight=0.18)
FOCUSED = dataclasses.replace(PENTODE, focus=0.6)
TETRODE = dataclasses.replace(
    PENTODE, kind="tetrode", emission=1.1, emission_volts=25.0, emission_width=8.0, mu_plate=900.0
)
LAWS = [TRIODE, PENTODE, REMOTE, FOCUSED, TETRODE]
VOLTS = st.floats(-100.0, 400.0)
GRIDS = st.floats(-100.0, 400.0)


def test_child_langmuir_far_above_the_foot() -> None:
    """Langmuir (1913): all volts up by a factor, current up by its 3/2 power (contact and foot without
    effect).
    """
    bare = dataclasses.replace(TRIODE, contact=0.0, foot=1e-9)
    low = float(space_current(bare, grid_v=-3.0, plate_v=150.0))
    high = float(space_current(bare, grid_v=-6.0, plate_v=300.0))
    # SMOOTHING_V = 0.1 V against a field of 6.8 V: (0.1/6.8)^2 = 2e-4
    assert high / low == pytest.approx(2.0**1.5, rel=1e-3)


def test_above_the_foot_the_curve_is_the_power_law() -> None:
    """E = Vg + contact + Vp/mu to the exponent, times w**(degree - exponent) (text of the module)."""
    law = dataclasses.replace(TRIODE, spread=0.02, foot=0.01, degree=1.4)
    field = 210.0 / 22.0
    width = 0.01 + 0.02 * field
    expected = 8e-4 * width ** (1.4 - 1.5) * (-2.5 + 0.4 + field) ** 1.5
    # ln(1 + exp(y)) is y to exp(-37) here; the smoothing of U+ is (0.1/9.5)^2 of a fifth of the width
    assert float(space_current(law, grid_v=-2.5, plate_v=210.0)) == pytest.approx(expected, rel=1e-4)


def test_deep_in_the_foot_the_current_falls_exponentially() -> None:
    """d ln I/dVg = exponent/w; the thermal limit 1/(kT/e) = 11 per volt at 1050 K is never passed."""
    law = PENTODE
    volts = np.array([-9.0, -9.1])
    low, high = np.log(np.asarray(space_current(law, grid_v=volts, plate_v=200.0, screen_v=60.0)))
    field = 60.0 / 21.0 + 200.0 / 4100.0
    assert (low - high) / 0.1 == pytest.approx(1.5 / (0.14 + 0.19 * field), rel=2e-3)
    assert 1.5 / law.foot < 1.05 / (8.617e-5 * 1050.0)


def test_amplification_factor_is_that_of_the_field() -> None:
    """With a narrow foot of fixed width gm over plate conductance is mu exactly, whatever the volts."""
    law = dataclasses.replace(TRIODE, spread=1e-9, foot=0.13)
    out = small_signal(law, grid_v=-3.3, plate_v=230.0)
    assert out.mu == pytest.approx(22.0, rel=1e-5)


def test_a_broad_foot_lowers_mu_as_the_grid_goes_negative() -> None:
    """The island effect of the texts: 12AU7 prints mu 19.5 at 0 V and 17 at -8.5 V (RCA sheet 1961)."""
    near = small_signal(TRIODE, grid_v=-1.0, plate_v=120.0).mu
    far = small_signal(TRIODE, grid_v=-8.0, plate_v=220.0).mu
    assert far < 0.97 * near < 22.0


def test_parting_of_the_current() -> None:
    out = currents(PENTODE, grid_v=-1.3, plate_v=240.0, screen_v=80.0)
    ratio = 3.7 / (1.0 + (0.3 * 80.0 / 240.0) ** 2)
    assert float(out.plate / out.screen) == pytest.approx(ratio, rel=1e-4)
    assert float(out.plate + out.screen) == pytest.approx(
        float(space_current(PENTODE, grid_v=-1.3, plate_v=240.0, screen_v=80.0)), rel=1e-4
    )


def test_below_the_knee_the_screen_takes_over() -> None:
    shares = [
        float(o.plate / (o.plate + o.screen))
        for o in (currents(PENTODE, grid_v=-1.0, plate_v=v, screen_v=90.0) for v in (1.0, 10.0, 30.0, 200.0))
    ]
    assert shares[0] < 0.01 and shares == sorted(shares) and shares[3] > 0.77


def test_focus_lowers_the_screens_share_near_cut_off() -> None:
    def ratio(law: TubeLaw, grid: float) -> float:
        out = currents(law, grid_v=grid, plate_v=200.0, screen_v=100.0)
        return float(out.plate / out.screen)

    assert ratio(FOCUSED, -4.5) > 1.15 * ratio(FOCUSED, -1.0)
    assert ratio(PENTODE, -4.5) == pytest.approx(ratio(PENTODE, -1.0), rel=1e-9)


def test_secondaries_of_a_tetrode_move_from_plate_to_screen() -> None:
    """Dynatron dip: below the screen's volts the plate current falls as its volts rise; the sum stays."""
    plate = np.linspace(5.0, 140.0, 136)
    with_ = currents(TETRODE, grid_v=-1.5, plate_v=plate, screen_v=90.0)
    without = currents(dataclasses.replace(TETRODE, emission=0.0), grid_v=-1.5, plate_v=plate, screen_v=90.0)
    assert np.asarray(with_.plate + with_.screen) == pytest.approx(np.asarray(without.plate + without.screen))
    slope = np.diff(np.asarray(with_.plate))
    assert slope.min() < 0 and np.asarray(with_.plate)[-1] > 0.95 * np.asarray(without.plate)[-1]


def test_sections_of_a_remote_cut_off_grid_add_up() -> None:
    """The sum is that of single laws with mu divided and foot multiplied by the factor, weights in series."""
    total = 0.0
    for i in range(3):
        f = 2.3**i
        one = dataclasses.replace(
            PENTODE, perveance=9e-4 * 0.18**i, mu_plate=4100.0 / f, mu_screen=21.0 / f,
            foot=0.14 * f, degree=1.5,
        )  # fmt: skip
        total += float(space_current(one, grid_v=-7.0, plate_v=220.0, screen_v=90.0))
    three = dataclasses.replace(REMOTE, degree=1.5)
    # SMOOTHING_V does not scale with the factor: (0.1/4.3)^2 of a part of the width
    assert float(space_current(three, grid_v=-7.0, plate_v=220.0, screen_v=90.0)) == pytest.approx(
        total, rel=1e-3
    )


def test_grid_current_has_its_foot_and_its_power() -> None:
    deep = np.asarray(grid_current(PENTODE, grid_v=np.array([-1.6, -1.7])))
    assert math.log(deep[0] / deep[1]) / 0.1 == pytest.approx(1.5 / 0.14, rel=2e-3)
    assert float(grid_current(PENTODE, grid_v=8.0)) == pytest.approx(4e-4 * 7.8**1.5, rel=1e-6)


def test_one_contact_potential_moves_all_currents_alike() -> None:
    """A tube whose contact potential is 0.3 V more draws what another draws with its grid 0.3 V higher."""
    moved = dataclasses.replace(PENTODE, contact=PENTODE.contact + 0.3)
    here = currents(moved, grid_v=-1.7, plate_v=110.0, screen_v=35.0)
    there = currents(PENTODE, grid_v=-1.4, plate_v=110.0, screen_v=35.0)
    for name in ("plate", "screen", "grid"):
        assert float(getattr(here, name)) == pytest.approx(float(getattr(there, name)), rel=1e-12)
    assert float(there.grid) > 2.0 * float(currents(PENTODE, grid_v=-1.7, plate_v=110.0, screen_v=35.0).grid)


def test_softplus_is_exact_where_it_changes_form() -> None:
    x = np.array([-745.0, -50.0, 0.0, 79.999, 80.001, 4000.0])
    assert np.asarray(softplus(x)) == pytest.approx(np.logaddexp(0.0, x), rel=1e-14)


def test_input_conductance_of_both_terms() -> None:
    """0.3 umho/MHz and 0.05 umho/MHz^2 (RCA note, Radiotron Designer's Handbook, memory-medium) at 7 MHz."""
    assert input_conductance(7e6, kc=0.3e-12, kh=0.05e-18) == pytest.approx(2.1e-6 + 2.45e-6)
    with pytest.raises(ValueError, match="kh must be zero or more"):
        input_conductance(7e6, kc=0.3e-12, kh=-1e-18)


def test_parameters_out_of_range_are_named() -> None:
    with pytest.raises(ValueError, match=r"mu_plate must be above zero, got 0\.0"):
        dataclasses.replace(TRIODE, mu_plate=0.0)
    with pytest.raises(ValueError, match=r"focus must be zero or more, got -0\.1"):
        dataclasses.replace(PENTODE, focus=-0.1)


@pytest.mark.parametrize("law", LAWS, ids=["triode", "pentode", "remote", "focused", "tetrode"])
@settings(max_examples=200, deadline=None)
@given(grid=GRIDS, plate=VOLTS, screen=VOLTS)
def test_passive_everywhere(law: TubeLaw, grid: float, plate: float, screen: float) -> None:
    """Nothing negative but a tetrode's plate below its screen; nothing into an electrode at or below zero."""
    out = currents(law, grid_v=grid, plate_v=plate, screen_v=screen)
    assert float(out.grid) >= 0 and float(out.screen) >= 0
    if (
        law.emission == 0 or plate > screen + 60.0
    ):  # beyond the reach of the dip: 1/(4 (60/8)^2) of 1.1 is below 1
        assert float(out.plate) >= 0
    if plate <= 0:
        assert float(out.plate) == 0
    if screen <= 0 and (law.emission == 0 or plate <= 0):
        assert float(out.screen) == 0
    assert all(math.isfinite(float(x)) for x in (out.plate, out.screen, out.grid))


@pytest.mark.parametrize("law", LAWS, ids=["triode", "pentode", "remote", "focused", "tetrode"])
@settings(max_examples=100, deadline=None)
@given(grid=st.floats(-60.0, 60.0), plate=VOLTS, screen=VOLTS, axis=st.integers(0, 2))
def test_first_derivatives_are_continuous(
    law: TubeLaw, grid: float, plate: float, screen: float, axis: int
) -> None:
    """One-sided slopes over 1 uV meet: a kink would leave them apart by a fixed amount, a bend by 1e-6 of
    one.
    """
    step = 1e-6
    volts = np.array([grid, plate, screen])
    rows = volts + step * np.array([-1.0, 0.0, 1.0])[:, None] * np.eye(3)[axis]
    out = currents(law, grid_v=rows[:, 0], plate_v=rows[:, 1], screen_v=rows[:, 2])
    for current in (np.asarray(out.plate), np.asarray(out.screen)):
        slopes = np.diff(current) / step
        # the sharpest bends are the turn-on of an electrode, (1/0.1 V^2) of the whole current, and the foot;
        # the last term is the rounding of the currents themselves
        bend = 20.0 * (np.abs(current).max() + float(space_current(
            law, grid_v=grid, plate_v=abs(plate), screen_v=abs(screen)))) * step  # fmt: skip
        noise = 4e-16 * np.abs(current).max() / step
        assert abs(slopes[1] - slopes[0]) <= 5.0 * bend + 10.0 * noise + 1e-18
