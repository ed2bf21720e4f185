"""What audio response does each output have, from the detector's grid to the phones? (audio view)"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.blocks.phones import load_impedance
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.element import current_source
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Role
from receiver_sim.engine import Vectors
from receiver_sim.measure.loaded import loaded
from receiver_sim.receiver import Tuned
from receiver_sim.results.audio import AudioResponse, OutputResponse
from receiver_sim.results.base import FloatArray
from receiver_sim.results.onset import ControlSetting
from receiver_sim.schema import Band, Build

LOWEST_HZ, HIGHEST_HZ, PER_DECADE = 10.0, 100e3, 30
REFERENCE_HZ = 1000.0


def plan(build: Build, cards: Cards, *, band: Band, dial_hz: float, rotation: float) -> Circuit:
    """Return the circuit: the receiver at that setting with a current probe at each output."""
    circuit = receiver_circuit(build, cards, band=band, dial_hz=dial_hz, rotation=rotation)
    return circuit.plus(*(current_source(f"iout{i}", node) for i, node in enumerate(circuit.outputs)))


def reduce(
    build: Build,
    gain: Vectors,
    overall: Vectors,
    impedance: list[Vectors],
    *,
    nodes: Sequence[str],
    setting: ControlSetting,
) -> AudioResponse:
    """Turn the sweeps (volts for 1 V in the control node, 1 A into the grid, 1 A into each output) into the
    result; nodes: of the outputs.
    """
    frequency = gain["frequency"].real
    outputs = []
    for index, phone in enumerate(build.phones):
        node = nodes[index]
        volts = np.abs(gain[node])
        total = np.abs(overall[node])
        at_reference = float(np.interp(REFERENCE_HZ, frequency, volts))
        load = load_impedance(build, index, np.array([REFERENCE_HZ]))[0]
        both = impedance[index][node][0]
        source = 1.0 / (1.0 / both - 1.0 / load)
        low, high = corners(frequency, total)
        outputs.append(
            OutputResponse(
                output=phone.name,
                frequency_hz=frequency,
                gain=volts,
                overall=total / float(np.interp(REFERENCE_HZ, frequency, total)),
                gain_1khz=at_reference,
                low_hz=low,
                high_hz=high,
                source_ohm=float(abs(source)),
                load_ohm=float(abs(load)),
            )
        )
    return AudioResponse(setting=setting, outputs=tuple(outputs))


def corners(frequency: FloatArray, magnitude: FloatArray) -> tuple[float | None, float | None]:
    """Return the -3 dB points (Hz) below and above 1 kHz, None for a side that does not fall so far.

    The level at 1 kHz is the reference, as when a set is measured with a voltmeter across its load.
    Interpolated linearly in log frequency and decibel between the points of the sweep.
    """
    decibel = 20.0 * np.log10(magnitude)
    decibel = decibel - np.interp(np.log(REFERENCE_HZ), np.log(frequency), decibel)
    half_power = -10.0 * np.log10(2.0)
    middle = int(np.argmin(np.abs(np.log(frequency / REFERENCE_HZ))))

    def crossing(indices: range) -> float | None:
        inside = middle
        for index in indices:
            if decibel[index] < half_power:
                share = (half_power - decibel[inside]) / (decibel[index] - decibel[inside])
                span = np.log(frequency[index] / frequency[inside])
                return float(frequency[inside] * np.exp(share * span))
            inside = index
        return None

    return crossing(range(middle, -1, -1)), crossing(range(middle, len(decibel)))


def run(tuned: Tuned, *, rotation: float) -> AudioResponse:
    """Sweep 10 Hz to 100 kHz with the control at `rotation` (0..1). Raises EngineError on failure."""
    circuit = plan(tuned.build, tuned.cards, band=tuned.band, dial_hz=tuned.dial_hz, rotation=rotation)
    nodes, span = circuit.outputs, (LOWEST_HZ, HIGHEST_HZ, PER_DECADE)
    with loaded(tuned.bench, circuit) as on:
        with on.driven(Role.LOOP_GAIN):
            gain = on.session.ac(*span, scale="dec", vectors=["frequency", *on.control_vectors, *nodes])
        with on.driven(Role.GRID_CURRENT):
            overall = on.session.ac(*span, scale="dec", vectors=["frequency", *nodes])
        impedance = []
        for index, node in enumerate(nodes):
            with on.driven(f"iout{index}"):
                impedance.append(on.session.ac(REFERENCE_HZ, REFERENCE_HZ, 1, vectors=["frequency", node]))
        setting = ControlSetting.of(
            rotation, on.figure(gain, share=circuit.control.share(rotation)), **circuit.control.sets
        )
    return reduce(tuned.build, gain, overall, impedance, nodes=nodes, setting=setting)
