"""Can the detector rest in two ways at one setting of its control?

The plate current of a tetrode falls where secondary electrons leave for the screen. A plate fed through a
high resistance then has two stable voltages over a stretch of the control, and keeps the one it has until
that comes to an end: turned up and turned back, the set differs there.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Place
from receiver_sim.engine import Bench
from receiver_sim.measure.loaded import loaded
from receiver_sim.results.base import FloatArray

COARSE, FINE = 0.025, 0.005
"""Steps of the control (of 1) in which it is turned over its whole travel, and about what that finds: from a
setting too far away Newton's method leaves a state before it ends."""

_APART = 0.05
"""Share of the higher voltage by which two states differ at least."""


class TwoStates(NamedTuple):
    """The stretch of the control (rotations, 0..1) with two states, and the plate's volts at its end."""

    low: float
    high: float
    upper_v: float
    lower_v: float

    def __str__(self) -> str:
        """Return a sentence."""
        low, high = (f"{100.0 * place:.0f}" for place in (self.low, self.high))
        return (
            f"from {low} to {high} % of the control the detector's plate can rest at two voltages (at {high} "
            f"% at {self.upper_v:.3g} V or {self.lower_v:.3g} V), as that of a tetrode on a high resistance "
            "does: turned up it falls at the upper end of that stretch, turned back it rises at the lower; "
            "figures in between belong to one of the two"
        )


def two_states(bench: Bench, circuit: Circuit, cards: Cards) -> TwoStates | None:
    """Turn the control up and back, each setting begun from the one before, and return where the plate
    differs; None for a tube without secondary emission and where both ways agree.

    Raises EngineError when a simulation fails.
    """
    if cards.detector.kind != "tetrode":
        return None
    found = _stretch(bench, circuit, stretched(0.0, 1.0, COARSE))
    if found is None:
        return None
    low, high = max(found.low - 2.0 * COARSE, 0.0), min(found.high + 4.0 * COARSE, 1.0)
    return _stretch(bench, circuit, stretched(low, high, FINE)) or found


def stretched(low: float, high: float, step: float) -> FloatArray:
    """Return rotations from low to high, both among them and none beyond, about a step apart."""
    return np.linspace(low, high, round((high - low) / step) + 1)


def _stretch(bench: Bench, circuit: Circuit, places: FloatArray) -> TwoStates | None:
    up, back = (_plate_volts(bench, circuit, way) for way in (places, places[::-1]))
    back = back[::-1]
    apart = np.flatnonzero(np.abs(up - back) > _APART * np.maximum(up, back))
    if apart.size == 0:
        return None
    last = apart[-1]
    ends = float(max(up[last], back[last])), float(min(up[last], back[last]))
    return TwoStates(float(places[apart[0]]), float(places[last]), *ends)


def _plate_volts(bench: Bench, circuit: Circuit, way: FloatArray) -> FloatArray:
    volts = []
    with loaded(bench, circuit) as on:
        on.session.follow()
        plate = on.node(Place.PLATE)
        for rotation in way:
            on.turn(float(rotation))
            volts.append(float(on.session.op(vectors=[plate])[plate].real[0]))
    return np.array(volts)
