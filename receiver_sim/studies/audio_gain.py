"""What does the audio tube alone add: gain from its grid to the first phones, and its noise resistance?"""

from __future__ import annotations

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.registry import Cards
from receiver_sim.engine import Bench
from receiver_sim.measure.loaded import loaded
from receiver_sim.measure.tube_jig import jig_circuit, read_jig
from receiver_sim.physics.noise import pentode_noise_resistance, triode_noise_resistance
from receiver_sim.receiver import Tuned
from receiver_sim.results.bias import TubePoint
from receiver_sim.schema import Band, Build
from receiver_sim.schema.card import TubeCard

AUDIO_HZ = 1000.0


def plan(build: Build, cards: Cards, *, band: Band, dial_hz: float) -> Circuit:
    """Return the circuit: the receiver, its control half way."""
    return receiver_circuit(build, cards, band=band, dial_hz=dial_hz, rotation=0.5)


def run(tuned: Tuned) -> float:
    """Return volts at the first phones for 1 V at the audio tube's grid, 1 kHz. Raises EngineError."""
    circuit = plan(tuned.build, tuned.cards, band=tuned.band, dial_hz=tuned.dial_hz)
    node = circuit.outputs[0]
    with loaded(tuned.bench, circuit) as on:
        on.drive(circuit.sockets["audio"].probe)
        answer = on.session.ac(AUDIO_HZ, AUDIO_HZ, 1, vectors=["frequency", node])
    return float(abs(answer[node][0]))


def noise_resistance(card: TubeCard, bench: Bench, *, point: TubePoint, tied: bool) -> float:
    """Return the equivalent noise resistance (ohm) of the audio tube at its operating point.

    tied: screen tied to the plate, so the formula is a triode's. Raises EngineError.
    """
    triode = card.kind == "triode" or tied
    screen_v = None if triode or point.screen_v is None else point.screen_v - point.cathode_v
    with loaded(bench, jig_circuit(card, "triode" if triode else card.kind)) as on:
        read = read_jig(
            on.session,
            plate_v=point.plate_v - point.cathode_v,
            grid_v=point.grid_v - point.cathode_v,
            screen_v=screen_v,
        )
    if triode:
        return triode_noise_resistance(read.gm)
    return pentode_noise_resistance(
        read.gm, plate_current=read.plate_a, screen_current=max(read.screen_a, 0.0)
    )
