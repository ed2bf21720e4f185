"""How does hum modulate the oscillation of the detector itself? (envelope view)

The amplitude is held by a source and the circuit's answer is taken twice: the tube's current along and across
the tank's swing for 1 V more of amplitude, and for each source of hum with the amplitude held. Together with
the tank, C a' = drive - G a and C a phi' = cross, that gives the modulation of amplitude and frequency.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.mode import Mode
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.circuit.views.envelope import imposed_circuit
from receiver_sim.measure.loaded import Loaded, loaded
from receiver_sim.receiver import Receiver
from receiver_sim.results.base import ComplexArray, FloatArray
from receiver_sim.results.envelope import Oscillation
from receiver_sim.results.hum import HumModulation
from receiver_sim.schema import Build

ABOVE = 0.01
"""Screen volts above onset, relative: where a beat note is listened to."""


@dataclass(frozen=True)
class Answer:
    """Drive and cross-drive of the tank (mA) and volts of the supply, complex, at the lines of the mains
    (Hz).
    """

    frequency: FloatArray
    drive: ComplexArray
    cross: ComplexArray
    supply: ComplexArray

    @property
    def currents(self) -> ComplexArray:
        """Drive and cross-drive, a row each."""
        return np.array([self.drive, self.cross])


def setting(found: Oscillation) -> tuple[float, float] | None:
    """Return (rotation, amplitude V) with the screen ABOVE onset; None if the band or control has none."""
    if found.onset is None or found.amplitudes is None:
        return None
    known = found.amplitudes
    wanted = found.onset.figure * (1.0 + ABOVE)
    volts = np.maximum.accumulate(known.rest)
    if not volts[0] <= wanted <= volts[-1]:
        return None
    rotation = float(np.interp(wanted, volts, known.rotation))
    return rotation, float(np.interp(wanted, volts, known.amplitude_v))


def plan(build: Build, cards: Cards, mode: Mode, *, amplitude: float, rotation: float) -> Circuit:
    """Return the circuit: the amplitude imposed, the control at `rotation` (0..1)."""
    return imposed_circuit(build, cards, mode, amplitude=amplitude, rotation=rotation)


def reduce(
    held: Answer,
    forced: tuple[ComplexArray, ComplexArray],
    *,
    mode: Mode,
    amplitude: float,
    cross_ma: float,
    rotation: float,
) -> HumModulation:
    """Turn the answers into modulation: `held` to 1 V of amplitude, `forced` (drive, cross; mA r.m.s.)."""
    frequency: FloatArray = held.frequency
    capacitance = 1.0 / abs(mode.residue)
    rate = 2j * np.pi * frequency
    loss = mode.decay - 1e-3 * held.drive / capacitance
    change = 1e-3 * forced[0] / capacitance / (rate + loss)
    across = forced[1] + (held.cross - cross_ma / amplitude) * change
    turn = 1e-3 * across / (capacitance * amplitude)
    peak = math.sqrt(2.0)
    return HumModulation(
        rotation=rotation,
        amplitude_v=amplitude,
        frequency_hz=frequency,
        depth=np.asarray(peak * np.abs(change) / amplitude),
        swing_hz=np.asarray(peak * np.abs(turn) / (2.0 * np.pi)),
    )


def run(
    receiver: Receiver,
    mode: Mode,
    *,
    found: Oscillation,
    heater: tuple[float, int],
    winding: tuple[float, int],
    ripple: ComplexArray,
    ripple_at_receiver: bool,
) -> HumModulation | None:
    """Return the modulation ABOVE onset; None where the band has no such setting. Raises EngineError.

    heater, winding: volts r.m.s. on the heaters and in the detector's load, with the order of their line;
    ripple: lines of the supply, V r.m.s. at the orders from 1. Couplings of the heaters to the cathode end at
    the tap of the coil, a short at these frequencies. The heater's magnetic field is not in it.
    """
    place = setting(found)
    if place is None:
        return None
    rotation, amplitude = place
    lines, mains = len(ripple), receiver.build.mains.frequency
    mode = mode.at(rotation)
    circuit = plan(receiver.build, receiver.cards, mode, amplitude=amplitude, rotation=rotation)
    cross = circuit.node(Place.CROSS)
    with loaded(receiver.bench, circuit) as on:
        rest = on.session.op(vectors=[cross])
        held = _answer(on, mains, lines)
        on.drive(Role.AMPLITUDE, 0.0)
        forced = np.zeros((2, lines), dtype=complex)
        sources = {Role.HEATER: heater}
        if circuit.find(Role.LOAD_FIELD) is not None:
            sources[Role.LOAD_FIELD] = winding
        for source, (volts, order) in sources.items():
            with on.driven(source):
                one = _answer(on, mains, lines)
            forced[:, order - 1] += volts * one.currents[:, order - 1]
        with on.driven(Role.SUPPLY):
            one = _answer(on, mains, lines)
        level = ripple / one.supply if ripple_at_receiver else ripple
        forced += one.currents * level
    return reduce(
        held,
        (forced[0], forced[1]),
        mode=mode,
        amplitude=amplitude,
        cross_ma=float(rest[cross].real[0]),
        rotation=rotation,
    )


def _answer(on: Loaded, mains: float, lines: int) -> Answer:
    drive, cross, supply = on.node(Place.DRIVE), on.node(Place.CROSS), on.node(Place.SUPPLY)
    run_ = on.session.ac(mains, lines * mains, lines, vectors=["frequency", drive, cross, supply])
    return Answer(run_["frequency"].real, run_[drive], run_[cross], run_[supply])
