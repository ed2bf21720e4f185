"""Laws held against print, many at once: against one law at a time, slopes taken one by one, Kirchhoff."""

import math

import numpy as np
import pytest
from scipy.optimize import approx_fprime, brentq

from receiver_sim.design import tube_fit
from receiver_sim.measure.law_on_print import BOUNDED, KIN, print_of, rest_at_resistor, rounding, weighed
from receiver_sim.physics.resistance_stage import resistance_stage
from receiver_sim.physics.tube_law import TubeLaw, currents, small_signal, small_signals
from receiver_sim.schema.card import card_for
from receiver_sim.schema.priors import priors

# Invented laws, no two parameters alike; the numbers are of the size of real tubes.
ONE = TubeLaw(
    kind="tetrode", perveance=9e-4, exponent=1.5, degree=1.46, contact=0.5, spread=0.19, foot=0.17,
    mu_plate=2100.0, mu_screen=21.0, division=3.7, knee=0.3, emission=0.9, emission_volts=23.0,
    emission_width=9.0, grid_perveance=4e-4, grid_offset=-0.6, sections=2, section_ratio=1.9,
    section_weight=0.2,
)  # fmt: skip
OTHER = TubeLaw(
    kind="tetrode", perveance=5e-4, exponent=1.4, degree=1.52, contact=0.3, spread=0.11, foot=0.21,
    mu_plate=700.0, mu_screen=12.0, division=2.9, knee=0.2, focus=0.4, emission_width=11.0,
    grid_perveance=3e-4, grid_offset=-0.5, sections=2, section_ratio=2.3, section_weight=0.3,
)  # fmt: skip


def _as_columns(*laws: TubeLaw) -> TubeLaw:
    first = laws[0].parameters()
    columns = {
        name: np.array([[one.parameters()[name]] for one in laws])
        for name in first
        if name not in ("kind", "sections")
    }
    return TubeLaw(kind="tetrode", sections=2, **columns)


def test_laws_in_columns_give_what_each_gives_alone() -> None:
    """One with secondary emission, the other with focus; the second point is connected as a triode."""
    grid, plate, screen = np.array([-2.3, -4.1]), np.array([170.0, 90.0]), np.array([80.0, 55.0])
    tied = np.array([False, True])
    both = small_signals(
        _as_columns(ONE, OTHER), grid_v=grid, plate_v=plate, screen_v=screen, triode_connected=tied
    )
    for row, law in enumerate((ONE, OTHER)):
        for column in range(2):
            alone = small_signal(
                law, grid_v=grid[column], plate_v=plate[column], screen_v=screen[column],
                triode_connected=bool(tied[column]),
            )  # fmt: skip
            for name in ("plate", "screen", "gm", "gk", "mu", "conductance"):
                seen = getattr(both, name)[row, column]
                # the same operations in the same order; a power may differ in its last digit
                assert seen == pytest.approx(getattr(alone, name), rel=1e-9, abs=1e-30), name


def test_stages_of_laws_in_columns_rest_where_each_rests_alone() -> None:
    chart = {
        "supply_v": np.array([210.0, 120.0]), "plate_ohm": np.array([220e3, 100e3]),
        "next_grid_ohm": np.array([470e3, 330e3]), "cathode_ohm": np.array([1.1e3, 2.2e3]),
        "screen_ohm": np.array([820e3, 560e3]),
    }  # fmt: skip
    both = resistance_stage(_as_columns(ONE, OTHER), **chart)
    alone = resistance_stage(OTHER, **chart)
    # the search ends a step after it came within 1e-9, and each step squares the distance
    assert both.gain[1] == pytest.approx(alone.gain, rel=1e-8)
    assert both.screen_v[1] == pytest.approx(alone.screen_v, rel=1e-8)
    # from rests of the other law in place of its own
    near = resistance_stage(OTHER, **chart, near=resistance_stage(ONE, **chart))
    assert near.plate_a == pytest.approx(alone.plate_a, rel=1e-9)


def test_self_bias_is_where_the_cathodes_resistor_has_the_volts() -> None:
    ohm, plate, screen = np.array([330.0, 4.7e3]), np.array([250.0, 160.0]), np.array([100.0, 90.0])
    lift = rest_at_resistor(_as_columns(ONE, OTHER), ohm=ohm, plate_v=plate, screen_v=screen)
    for row, law in enumerate((ONE, OTHER)):
        for column in range(2):

            def excess(volts: float, law: TubeLaw = law, c: int = column) -> float:
                out = currents(law, grid_v=-volts, plate_v=plate[c] - volts, screen_v=screen[c] - volts)
                return float(out.plate + out.screen) * float(ohm[c]) - volts

            assert lift[row, column] == pytest.approx(brentq(excess, 0.0, 250.0, xtol=1e-12), abs=1e-10)


@pytest.mark.parametrize("name", ["6SJ7", "24A", "6J5", "12AT7", "58"])
def test_slopes_of_the_residuals_are_those_of_one_parameter_after_the_other(name: str) -> None:
    """A chart, a tetrode, triodes with a cathode resistor, kin of a remote cut-off type."""
    card = card_for(name)
    problem = tube_fit._Problem(card, priors(card), None, tube_fit._kin(card))
    at = np.array(problem.starts()[1]) + 0.013
    problem.residuals(at)
    slopes = problem.slopes(at)
    # one-sided steps of 1e-6 are off by that times a curvature of some units, and by rounding over the step
    plain = approx_fprime(at, problem.residuals, 1e-6)
    assert slopes.shape == plain.shape
    assert slopes == pytest.approx(plain, abs=3e-4 * float(np.abs(plain).max()))
    assert np.abs(slopes).max() > 1.0


def test_a_miss_counts_by_what_the_figure_may_be_off() -> None:
    """One deviation counts 1.1, the deviations of `BOUNDED` their root of two; doubtful ones ever less."""
    misses = np.array([1.0, -BOUNDED, -50.0])
    plain = weighed(misses, np.array([False, False, False]))
    assert plain == pytest.approx(
        [math.hypot(1.0, 0.5), -2.0 * math.sqrt(2.0), -50.0 * math.hypot(1.0, 25.0)]
    )
    # Huber's cost 0.5 r^2 = |miss| - 1 far out, to 1 / (2 |miss|)
    doubtful = weighed(misses, np.array([True, True, True]))
    assert 0.5 * doubtful[2] ** 2 == pytest.approx(49.0, abs=0.02) and doubtful[2] < 0.0
    assert doubtful[0] == pytest.approx(math.sqrt(2.0 * (math.sqrt(2.0) - 1.0)))


def test_half_the_last_printed_digit() -> None:
    """A figure rounded to a step is off by step/sqrt(12) r.m.s. (uniform; textbook)."""
    assert rounding("plate_current", 3.0e-3) == pytest.approx(0.1 / math.sqrt(12.0) / 3.0)  # 3.0 mA
    assert rounding("plate_current", 3.25e-3) == pytest.approx(0.01 / math.sqrt(12.0) / 3.25)  # 3.25 mA
    assert rounding("mu", 20.0) == pytest.approx(1.0 / math.sqrt(12.0) / 20.0)
    assert rounding("mu", 20.5) == pytest.approx(0.1 / math.sqrt(12.0) / 20.5)
    assert rounding("gm", 1.65e-3) == pytest.approx(0.01 / math.sqrt(12.0) / 1.65)  # 1650 umho


def test_residuals_of_a_card_are_its_misses_over_their_deviations() -> None:
    """By hand for the first point of a card of 8 mA and 1500 umho, and a fourth of that for its kin."""
    card = card_for("6J5")
    law = card.law()
    points = print_of(card, ()).points
    signal = small_signals(
        law, grid_v=points.volts(law)[0], plate_v=points.plate, screen_v=points.screen,
        triode_connected=points.tied,
    )  # fmt: skip
    first = card.points[0]
    assert first.plate_current is not None and first.flag in ("seen", "memory-high")
    assert first.grid_error is None and first.current_error is None
    model = float(currents(law, grid_v=first.grid, plate_v=first.plate).plate)
    width = math.hypot(0.02, rounding("plate_current", first.plate_current))
    miss = math.log(model / first.plate_current) / width
    found = points.misses(signal)[0]
    assert found[0] == pytest.approx(miss * math.hypot(1.0, miss / BOUNDED), rel=1e-9)
    doubled = print_of(card, (card,)).points
    assert doubled.factor[len(card.points) :] == pytest.approx(KIN * points.factor)
