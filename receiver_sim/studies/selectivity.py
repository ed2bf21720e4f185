"""How does the bandwidth shrink as regeneration is advanced? (RF view)"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

import numpy as np

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.errors import NoAnswer
from receiver_sim.measure import resonance_curve
from receiver_sim.measure.loaded import Loaded, loaded
from receiver_sim.physics.return_ratio import half_power_width
from receiver_sim.receiver import Tuned
from receiver_sim.results.base import FloatArray
from receiver_sim.results.onset import GainAgainstScreen, Selectivity
from receiver_sim.schema import Band, Build

GAINS = (0.3, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98)
"""Loop gains at which the bandwidth is measured, as far as the control reaches them."""

CURVES = (0.3, 0.8, 0.95)
"""Of these, where the whole resonance curve is kept for drawing: mild, strong, near onset."""


def plan(build: Build, cards: Cards, *, band: Band, dial_hz: float) -> Circuit:
    """Return the circuit: the receiver tuned to `dial_hz`; a current into the tank is the signal."""
    return receiver_circuit(build, cards, band=band, dial_hz=dial_hz, rotation=0.5)


def settings(curve: GainAgainstScreen) -> tuple[tuple[float, float, float], ...]:
    """Return (gain, rotation, frequency) for each of GAINS that lies on the rising part of the curve."""
    top = int(np.argmax(curve.gain))
    gain, rotation = curve.gain[: top + 1], curve.rotation[: top + 1]
    keep = np.concatenate([[True], np.diff(np.maximum.accumulate(gain)) > 0.0])
    gain, rotation, frequency = gain[keep], rotation[keep], curve.frequency_hz[: top + 1][keep]
    chosen = [g for g in GAINS if gain[0] <= g <= gain[-1]]
    return tuple(
        (g, float(np.interp(g, gain, rotation)), float(np.interp(g, gain, frequency))) for g in chosen
    )


def reduce(
    rows: Sequence[tuple[float, float, float, float]],
    *,
    band: Band,
    dial_hz: float,
    curves: Mapping[float, FloatArray] = MappingProxyType({}),
) -> Selectivity:
    """Turn rows of (gain, rotation, bandwidth, peak) into the result; curves (ohm) by their loop gain.

    The bandwidth at T = 0 is the median of BW/(1 - T): Q' = Q/(1 - T), textbook.
    """
    gain, rotation, width, peak = (np.array(column, dtype=np.float64) for column in zip(*rows, strict=True))
    return Selectivity(
        band=band.name,
        dial_hz=dial_hz,
        gain=gain,
        rotation=rotation,
        bandwidth_hz=width,
        peak_ohm=peak,
        unloaded_bandwidth_hz=float(np.median(width / (1.0 - gain))),
        offset_hz=resonance_curve.offsets(),
        curve_gain=tuple(curves),
        curves_ohm=tuple(curves.values()),
    )


def run(
    tuned: Tuned,
    *,
    tuning: float,
    curve: GainAgainstScreen,
) -> Selectivity | None:
    """Answer for a band and dial setting; see `measured`."""
    with loaded(tuned.bench, plan(tuned.build, tuned.cards, band=tuned.band, dial_hz=tuned.dial_hz)) as on:
        return measured(on, band=tuned.band, dial_hz=tuned.dial_hz, tuning=tuning, curve=curve)


def measured(
    on: Loaded, *, band: Band, dial_hz: float, tuning: float, curve: GainAgainstScreen
) -> Selectivity | None:
    """Measure bandwidth and peak at the loop gains of GAINS; None if the control reaches none of them.

    on: the loaded circuit of `plan`. curve: the loop gain against the control of the same band and dial
    setting. Raises EngineError when a simulation fails.
    """
    top = on.node(Place.HOT_END)
    on.tune(tuning)
    rows, curves = [], {}
    with on.driven(Role.TANK_CURRENT):
        for gain, rotation, frequency in settings(curve):
            on.turn(rotation)
            # four times the width expected from Q' = Q/(1 - T), each way; the aerial may widen it
            span = 4.0 * dial_hz / band.coil.q * (1.0 - gain)
            for _ in range(4):
                sweep = on.session.ac(frequency - span, frequency + span, 201, vectors=["frequency", top])
                try:
                    peak, width = half_power_width(sweep["frequency"].real, magnitude=np.abs(sweep[top]))
                except NoAnswer:
                    span *= 2.0
                    continue
                rows.append((gain, rotation, width, peak))
                if gain in CURVES:
                    curves[gain] = resonance_curve.curve(on, top, middle_hz=frequency, narrow=sweep)
                break
    return reduce(rows, band=band, dial_hz=dial_hz, curves=curves) if rows else None
