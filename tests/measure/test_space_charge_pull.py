"""The factor of a tube's space charge from its card, and the pull that it makes, by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from receiver_sim.circuit.mode import Mode
from receiver_sim.measure.space_charge_pull import pulled_by_charge, space_charge_factor
from receiver_sim.physics.space_charge import charge
from receiver_sim.physics.tube_law import currents
from receiver_sim.schema.card import TubeCard, card_for

STEP_V = 1e-3


def _cathode_current(card: TubeCard, grid: float) -> float:
    """Of everything that leaves the cathode at the first printed point, with the grid elsewhere."""
    point = card.points[0]
    if card.kind == "triode":
        return float(currents(card.law(), grid_v=grid, plate_v=point.plate).plate)
    screen = point.plate if point.as_ == "triode" or point.screen is None else point.screen
    found = currents(card.law(), grid_v=grid, plate_v=point.plate, screen_v=screen)
    return float(found.plate + found.screen)


@pytest.mark.parametrize("name", ["6SJ7", "6SK7", "EF80", "57", "6C5", "6SN7"])
def test_a_tubes_input_capacitance_rises_by_a_fifth_at_its_first_printed_point(name: str) -> None:
    """1.0 pF on 6 pF, 1.2 on 6, 2.4 on 11: some 20 % (RCA note on input admittance; from memory, medium).

    The rise is the slope of the charge before the cathode with the grid's volts: from two bias voltages.
    """
    card = card_for(name)
    grid = card.points[0].grid
    assert grid is not None
    factor = space_charge_factor(card)
    up, down = (charge(_cathode_current(card, grid + by), factor=factor) for by in (STEP_V, -STEP_V))
    # the difference over 2 mV is off by its square
    assert float(up - down) / (2.0 * STEP_V) == pytest.approx(0.2 * card.capacitances.cgk, rel=1e-4)


def test_a_point_by_its_cathode_resistor_is_taken_at_two_volts_of_bias() -> None:
    """Near enough for a usual rise."""
    card = card_for("6SJ7")
    first = card.points[0].model_copy(update={"grid": None, "cathode_resistor": 1e3})
    given = first.model_copy(update={"grid": -2.0, "cathode_resistor": None})
    by_resistor, by_bias = (
        space_charge_factor(card.model_copy(update={"points": (one, *card.points[1:])}))
        for one in (first, given)
    )
    assert by_resistor == pytest.approx(by_bias, rel=1e-12)


def _mode(**changes: Any) -> Any:
    shape = {
        "reference_hz": 7e6, "decay": 1.1e5, "offset_rad": 0.0, "residue": 5e9, "grid": 0.8, "cathode": 0.0,
        "plate": 0.0, "screen": 0.0, "aerial": None, "misfit": 0.0,
    }  # fmt: skip
    return Mode(**{**shape, **changes})


def test_the_shift_counts_from_the_smallest_amplitude_and_goes_as_the_square_of_the_grids_share() -> None:
    """-f/2 p^2 dC/C, C = 1/(2 residue) = 100 pF. A current that follows the swing without a bend keeps the
    charge's slope: of a current I0 + I1 cos the fundamental of I^(2/3) is integrated here by hand.
    """
    card = card_for("6SJ7")
    amplitude = np.array([0.01, 0.4, 0.9])
    harmonics = np.array([[1.0, 0.01, 0.0], [1.0, 0.4, 0.0], [1.1, 0.9, 0.2]])
    raw: Any = SimpleNamespace(harmonics_ma=harmonics, amplitude=amplitude, wiper=np.array([0.3, 0.3, 0.3]))
    control: Any = SimpleNamespace(rotation=lambda wiper: wiper)
    found = pulled_by_charge(raw, _mode(), control, card=card)
    factor = space_charge_factor(card)
    theta = np.linspace(0.0, np.pi, 20001)
    added = []
    for row, volts in zip(harmonics, amplitude, strict=True):
        current = 1e-3 * sum(one * np.cos(n * theta) for n, one in enumerate(row))
        fundamental = 2.0 / np.pi * np.trapezoid(factor * current ** (2.0 / 3.0) * np.cos(theta), theta)
        added.append(fundamental / (0.8 * volts))
    due = -0.5 * 7e6 * 0.8**2 * (np.array(added) - added[0]) / 100e-12
    assert found is not None and found[0] == 0.0
    # 64 points over half a cycle of a smooth current
    assert found[1:] == pytest.approx(due[1:], rel=1e-4)
    assert np.all(found[1:] != 0.0)


def test_without_samples_of_the_current_no_pull_is_told() -> None:
    raw: Any = SimpleNamespace(harmonics_ma=None)
    control: Any = None
    assert pulled_by_charge(raw, _mode(), control, card=card_for("6SJ7")) is None


def test_a_control_on_the_tank_has_the_tank_of_each_setting() -> None:
    """Twice the frequency's share at one setting than at another: each amplitude at its own."""
    card = card_for("6SJ7")
    low, high = _mode(reference_hz=7.0e6), _mode(reference_hz=7.3e6, residue=4e9, grid=0.5)
    along = ((0.2, low), (0.8, high))
    moved = {0.2: low, 0.8: high}
    tank: Any = SimpleNamespace(along=along, at=lambda rotation: moved[rotation])
    rows = np.array([[1.0, 0.01], [1.0, 0.8]])
    raw: Any = SimpleNamespace(harmonics_ma=rows, amplitude=np.array([0.01, 0.8]), wiper=np.array([0.2, 0.8]))
    control: Any = SimpleNamespace(rotation=lambda wiper: wiper)
    found = pulled_by_charge(raw, tank, control, card=card)
    # the small swing has I0^(2/3) and its slope: by hand 2/3 I0^(-1/3) I1 over the swing
    factor = space_charge_factor(card)
    small = factor * 2.0 / 3.0 * (1e-3) ** (-1.0 / 3.0) * 1e-5 / (0.8 * 0.01)
    theta = np.linspace(0.0, np.pi, 20001)
    wave = (1e-3 + 0.8e-3 * np.cos(theta)) ** (2.0 / 3.0) * np.cos(theta)
    large = factor * 2.0 / np.pi * np.trapezoid(wave, theta) / (0.5 * 0.8)
    due = -0.5 * 7.3e6 * 0.5**2 * (large - small) / 125e-12
    # a swing of a hundredth bends the charge by a part in 10^5
    assert found is not None and found[1] == pytest.approx(due, rel=1e-3)
