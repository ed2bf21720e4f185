"""Do the audio stages hold still by themselves, before anything oscillates or sounds? (audio view)"""

from __future__ import annotations

from dataclasses import dataclass

from receiver_sim.circuit.views.audio import audio_circuit
from receiver_sim.measure.linear_envelope import SHIFT_HZ
from receiver_sim.measure.loaded import loaded
from receiver_sim.measure.natural_modes import measure, probes, stores
from receiver_sim.measure.on_bench import OnBench
from receiver_sim.physics.natural_modes import natural_modes


@dataclass(frozen=True)
class Unrest:
    """A motion that grows from the operating point: e-folds a second, and its pitch (Hz, 0 for none)."""

    rate: float
    hertz: float


def audio_unrest(receiver: OnBench, *, rotation: float) -> Unrest | None:
    """Return what grows fastest in the audio view with the control at `rotation` (0..1), None if nothing.

    By the natural modes of the circuit about its operating point. Raises EngineError when a simulation fails.
    """
    circuit = audio_circuit(receiver.build, receiver.cards, rotation=rotation)
    found = stores(circuit)
    with loaded(receiver.bench, circuit.plus(*probes(found, shift_hz=SHIFT_HZ))) as on:
        answers = measure(on.session, found, shift_hz=SHIFT_HZ)
    modes = natural_modes(answers.response, weight=answers.weight, shift=answers.shift)
    return None if modes.fastest is None else Unrest(*modes.fastest)
