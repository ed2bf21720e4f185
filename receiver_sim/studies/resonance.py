"""What does the tank pass, at many settings of the control? (RF view)"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.errors import NoAnswer
from receiver_sim.measure import resonance_curve
from receiver_sim.measure.loaded import loaded
from receiver_sim.physics.return_ratio import half_power_width
from receiver_sim.receiver import Tuned
from receiver_sim.results.base import FloatArray
from receiver_sim.schema import Band, Build


def plan(build: Build, cards: Cards, *, band: Band, dial_hz: float) -> Circuit:
    """Return the circuit: the receiver tuned to `dial_hz`; a current into the tank is the signal."""
    return receiver_circuit(build, cards, band=band, dial_hz=dial_hz, rotation=0.5)


def run(
    tuned: Tuned,
    *,
    tuning: float,
    settings: Sequence[tuple[float, float]],
    gains: Sequence[float],
) -> tuple[list[FloatArray], list[float | None]]:
    """Return the magnitude (ohm) against `resonance_curve.offsets`, and the half-power width (Hz), at each
    setting.

    settings: (rotation 0..1, frequency the offsets count from, Hz); gains: the loop gain there, below 1: it
    says how wide to look. Width None where the flanks lie outside what was swept. Raises EngineError.
    """
    curves, widths = [], []
    with loaded(tuned.bench, plan(tuned.build, tuned.cards, band=tuned.band, dial_hz=tuned.dial_hz)) as on:
        top = on.node(Place.HOT_END)
        on.tune(tuning)
        on.drive(Role.TANK_CURRENT)
        for (rotation, middle), gain in zip(settings, gains, strict=True):
            on.turn(rotation)
            width = None
            # as `selectivity` does: four times the width expected of Q' = Q/(1 - T), each way
            span = max(4.0 * tuned.dial_hz / tuned.band.coil.q * max(1.0 - gain, 1e-3), 40.0)
            for _ in range(3):
                sweep = on.session.ac(middle - span, middle + span, 121, vectors=["frequency", top])
                try:
                    _, width = half_power_width(sweep["frequency"].real, magnitude=np.abs(sweep[top]))
                    break
                except NoAnswer:
                    span *= 2.5
            curves.append(resonance_curve.curve(on, top, middle_hz=middle, narrow=sweep))
            widths.append(width)
    return curves, widths
