"""A stage on its resistors: rest and gain against Kirchhoff's laws and a moved load line."""

import pytest
from scipy.optimize import brentq

from receiver_sim.physics.resistance_stage import resistance_stage
from receiver_sim.physics.tube_law import TubeLaw, currents

# Invented laws, no two parameters alike; the numbers are of the size of real tubes.
PENTODE = TubeLaw(
    kind="pentode", perveance=9e-4, exponent=1.5, degree=1.46, contact=0.5, spread=0.19, foot=0.17,
    mu_plate=2100.0, mu_screen=21.0, division=3.7, knee=0.3, grid_perveance=4e-4, grid_offset=-0.6,
)  # fmt: skip
TRIODE = TubeLaw(
    kind="triode", perveance=8e-4, exponent=1.5, degree=1.5, contact=0.4, spread=0.17, foot=0.18,
    mu_plate=22.0,
)  # fmt: skip


def test_pentode_rests_where_its_resistors_let_it() -> None:
    found = resistance_stage(
        PENTODE, supply_v=210.0, plate_ohm=220e3, next_grid_ohm=470e3, cathode_ohm=1.1e3, screen_ohm=820e3
    )
    out = currents(PENTODE, grid_v=found.grid_v, plate_v=found.plate_v, screen_v=found.screen_v)
    plate_a, screen_a = out.plate.item(), out.screen.item()
    lift = 1.1e3 * (plate_a + screen_a)
    # Kirchhoff's voltage law round each lead
    assert found.grid_v == pytest.approx(-lift, rel=1e-6)
    assert found.plate_v + lift + 220e3 * plate_a == pytest.approx(210.0, rel=1e-6)
    assert found.screen_v + lift + 820e3 * screen_a == pytest.approx(210.0, rel=1e-6)


def test_gain_is_that_of_the_moved_load_line() -> None:
    """Grid moved by 1 mV, screen and cathode held: the plate follows on the line of both resistors."""
    found = resistance_stage(
        PENTODE, supply_v=210.0, plate_ohm=220e3, next_grid_ohm=470e3, cathode_ohm=1.1e3, screen_ohm=820e3
    )
    load = 1.0 / (1.0 / 220e3 + 1.0 / 470e3)

    def plate(step: float) -> float:
        def excess(volts: float) -> float:
            out = currents(PENTODE, grid_v=found.grid_v + step, plate_v=volts, screen_v=found.screen_v)
            return ((found.plate_v - volts) / load + found.plate_a - out.plate).item()

        return float(brentq(excess, 1.0, 209.0, xtol=1e-12))

    # a millivolt of grid swing bends the curve by some 1e-6 of its slope
    assert (plate(-1e-3) - plate(1e-3)) / 2e-3 == pytest.approx(found.gain, rel=1e-4)


def test_triode_has_no_screen_resistor() -> None:
    found = resistance_stage(TRIODE, supply_v=180.0, plate_ohm=100e3, next_grid_ohm=270e3, cathode_ohm=2.2e3)
    assert 0.5 * TRIODE.mu_plate < found.gain < TRIODE.mu_plate
    with pytest.raises(ValueError, match=r"^a tube with a screen needs screen_ohm, a triode has none$"):
        resistance_stage(
            TRIODE, supply_v=180.0, plate_ohm=100e3, next_grid_ohm=270e3, cathode_ohm=2.2e3, screen_ohm=1e6
        )
