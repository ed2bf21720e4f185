"""How the tube's space charge pulls the frequency: its input capacitance, which swings with the current."""

from __future__ import annotations

import numpy as np

from receiver_sim.circuit.control import Control
from receiver_sim.circuit.mode import Mode
from receiver_sim.measure.amplitude_balance import Balance
from receiver_sim.physics.space_charge import USUAL_RISE, charge_factor, pulled_frequency, swung_capacitance
from receiver_sim.physics.tube_law import small_signal
from receiver_sim.results.base import FloatArray
from receiver_sim.schema.card import TubeCard

_SELF_BIASED_V = -2.0
"""Grid volts of a printed point that is given by its cathode resistor: near enough for a usual rise."""


def space_charge_factor(card: TubeCard) -> float:
    """Return the factor of a tube's space charge from its card: a usual rise of its input capacitance from
    cold to its first printed point."""
    point, law = card.points[0], card.law()
    tied = point.as_ == "triode"
    grid = point.grid if point.grid is not None else _SELF_BIASED_V
    screen = point.plate if tied or point.screen is None else point.screen
    if card.kind == "triode":
        own = small_signal(law, grid_v=grid, plate_v=point.plate)
        slope, current = own.gm, own.plate
    else:
        own = small_signal(law, grid_v=grid, plate_v=point.plate, screen_v=screen)
        slope, current = own.gk, own.plate + own.screen
    return charge_factor(USUAL_RISE * card.capacitances.cgk, current=current, transconductance=slope)


def pulled_by_charge(raw: Balance, mode: Mode, control: Control, *, card: TubeCard) -> FloatArray | None:
    """Return the shift (Hz) that the space charge makes at each amplitude of a balance against the smallest;
    None where the tube's current was not sampled.

    The balance itself has the input capacitance of the cold tube at every setting.
    """
    if raw.harmonics_ma is None:
        return None
    there = [mode.at(control.rotation(float(w))) for w in raw.wiper] if mode.along else [mode]
    share = np.array([abs(one.drive) for one in there])
    capacitance, resonance = np.array([(one.capacitance, one.resonance_hz) for one in there]).T
    factor = space_charge_factor(card)
    added = swung_capacitance(1e-3 * raw.harmonics_ma, swing=share * raw.amplitude, factor=factor)
    shift = pulled_frequency(resonance, added=added - added[0], share=share, capacitance=capacitance)
    return np.asarray(shift, dtype=np.float64)
