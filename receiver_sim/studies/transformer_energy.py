"""Does the energy at the output transformer add up? (audio view, 1 kHz)"""

from __future__ import annotations

import math

from receiver_sim.circuit.blocks.audio import audio_of
from receiver_sim.circuit.blocks.output import core_element, secondary_windings
from receiver_sim.circuit.blocks.phones import load_impedance
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Role
from receiver_sim.circuit.views.audio import audio_circuit
from receiver_sim.engine import Vectors
from receiver_sim.measure.loaded import loaded
from receiver_sim.receiver import Receiver
from receiver_sim.results.audio import TransformerBalance
from receiver_sim.schema import Build

TONE_HZ, INPUT_V = 1000.0, 1e-3


def plan(build: Build, cards: Cards, *, rotation: float) -> Circuit:
    """Return the circuit: the audio view at that setting of the control."""
    return audio_circuit(build, cards, rotation=rotation)


def reduce(build: Build, circuit: Circuit, answer: Vectors) -> TransformerBalance:
    """Turn the phasors (r.m.s.) of one frequency into powers."""
    output = audio_of(build).output
    assert output.kind == "transformer"

    def at(node: str) -> complex:
        return complex(answer[node][0])

    field = circuit.part(Role.OUTPUT_FIELD)
    current = at(circuit.branch(field))
    plate = circuit.sockets["audio"].pins["plate"]
    into = ((at(circuit[field].nodes[0]) - at(plate)) * current.conjugate()).real
    # winding resistances: the primary's, and those of all secondaries
    windings = abs(current) ** 2 * output.primary_resistance
    names = secondary_windings(circuit)
    for name, secondary in zip(names, output.secondaries, strict=True):
        hot, far = circuit[name].nodes
        drop = at(hot) - at(far)
        windings += abs(drop) ** 2 / secondary.resistance if secondary.resistance > 0.0 else 0.0
    iron = circuit[core_element(circuit)]
    core = abs(at(iron.nodes[0]) - at(iron.nodes[1])) ** 2 / (iron.value or math.inf)
    loads = 0.0
    for i, phone in enumerate(build.phones):
        if phone.at in ("plate", "volume"):
            continue
        volts = abs(at(circuit.outputs[i])) ** 2
        loads += volts * (1.0 / complex(load_impedance(build, i, TONE_HZ))).real
        loads += volts / phone.drain if phone.drain is not None else 0.0
    left = into - loads - windings - core
    return TransformerBalance(into, loads, windings, abs(left) / abs(into), core)


def run(receiver: Receiver, *, rotation: float) -> TransformerBalance | None:
    """Return the balance; None without an output transformer. Raises EngineError."""
    if receiver.build.audio is None or receiver.build.audio.output.kind != "transformer":
        return None
    circuit = plan(receiver.build, receiver.cards, rotation=rotation)
    with loaded(receiver.bench, circuit) as on:
        on.drive(Role.LOOP_GAIN, INPUT_V)
        return reduce(receiver.build, circuit, on.session.ac(TONE_HZ, TONE_HZ, 1))
