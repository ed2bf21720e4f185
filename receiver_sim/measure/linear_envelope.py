"""The envelope view linearised about one amplitude and its setting: its natural modes, and the stray that
would make it howl.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.mode import Mode
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.circuit.views.envelope import imposed_circuit
from receiver_sim.measure.loaded import loaded
from receiver_sim.measure.natural_modes import ComplexArray, measure, probes, read, stores
from receiver_sim.measure.on_bench import OnBench
from receiver_sim.physics.natural_modes import (
    NaturalModes,
    howling_capacitance,
    natural_modes,
    with_tank,
)

SHIFT_HZ = 300.0
"""Frequency of the a.c. runs that the modes are computed from; any would do (test), a middle one is best."""

_PITCHES = np.geomspace(20.0, 20e3, 250)
"""Frequencies (Hz) between which a howl by stray capacitance is looked for, 3 % apart."""


class Carrier(NamedTuple):
    """An energy store as one that carries a mode.

    word: what the trade calls it; biases: whether it is the tank's amplitude or the grid capacitor, whose
    volts follow each other in squegging; way_back: whether it is a stray from the audio stage to the grid.
    """

    word: str
    biases: bool = False
    way_back: bool = False


@dataclass(frozen=True)
class Linearised:
    """The envelope about one setting: what `natural_modes` takes, and what its stores are called.

    stray: number of the store that stands for a stray from the audio plate to the detector's grid, of weight
    0; None where there is no such pair of nodes.
    """

    response: ComplexArray
    weight: ComplexArray
    shift: complex
    carriers: tuple[Carrier, ...]
    stray: int | None

    def modes(self) -> NaturalModes:
        """Return its natural modes."""
        return natural_modes(self.response, weight=self.weight, shift=self.shift)

    def howls_at(self) -> tuple[float, float] | None:
        """Return the stray (F), beside what the build has, with which it would howl, and its pitch (Hz)."""
        if self.stray is None:
            return None
        return howling_capacitance(
            self.response, weight=self.weight, shift=self.shift, port=self.stray, frequencies=_PITCHES
        )


def linearised(
    receiver: OnBench,
    mode: Mode,
    *,
    amplitude: float,
    rotation: float,
    oscillates: bool = True,
    shift_hz: float = SHIFT_HZ,
) -> Linearised:
    """Return the envelope linearised about an amplitude (V) and its setting (0..1).

    The amplitude is imposed, and an a.c. run with a source across each energy store gives the answers of
    all others and the drive of the tank; then the amplitude is set free, C s a = -G a + drive, as one store
    more (the last). oscillates: False leaves it imposed, for the circuit at rest.
    """
    mode = mode.at(rotation)
    circuit = imposed_circuit(receiver.build, receiver.cards, mode, amplitude=amplitude, rotation=rotation)
    pair = stray_pair(circuit)
    found = stores(circuit, empty=() if pair is None else (pair,))
    carriers = tuple(Carrier(store.word, store.grid_bias, store.way_back) for store in found)
    stray = None if pair is None else next(i for i, store in enumerate(found) if store.farad == 0.0)
    drive = circuit.node(Place.DRIVE)
    with loaded(receiver.bench, circuit.plus(*probes(found, shift_hz=shift_hz))) as on:
        to_amplitude, own_drive = read(on.session, found, shift_hz=shift_hz, watched=drive)
        on.drive(Role.AMPLITUDE, 0.0)
        answers = measure(on.session, found, shift_hz=shift_hz, watched=drive)
    if not oscillates:
        return Linearised(answers.response, answers.weight, answers.shift, carriers, stray)
    capacitance = 1.0 / abs(mode.residue)
    # the node `drive` tells milliamperes as volts
    free = with_tank(
        answers.response,
        to_amplitude=to_amplitude,
        drive=1e-3 * answers.watched,
        drive_to_amplitude=1e-3 * own_drive,
        admittance=capacitance * (answers.shift + mode.decay),
    )
    weight = np.append(answers.weight, capacitance)
    return Linearised(free, weight, answers.shift, (*carriers, Carrier("tank", biases=True)), stray)


def unrest_hz(
    receiver: OnBench, mode: Mode, *, amplitude: float, rotation: float, oscillates: bool = True
) -> float | None:
    """Return the pitch (Hz, 0 for none) of what grows fastest at a setting as in `linearised`; None where all
    holds still.
    """
    modes = linearised(receiver, mode, amplitude=amplitude, rotation=rotation, oscillates=oscillates).modes()
    return None if modes.fastest is None else modes.fastest[1]


def stray_pair(circuit: Circuit) -> tuple[str, str] | None:
    """Return the plate of the last audio tube and the detector's grid; None for a set without audio tube."""
    socket = circuit.sockets.get("audio")
    return None if socket is None else (socket.pins["plate"], circuit.node(Place.GRID))
