"""How much distortion, power and sound at each output, and do the audio tubes stay in class A?

A tone is put in series with the detector's control node, as audio at its grid, and the audio view is run over
time until its bias has settled; the last periods give the harmonics. Low frequencies need longer runs, so one
tone is used.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from receiver_sim.circuit.blocks.phones import load_impedance
from receiver_sim.circuit.circuit import Circuit, Socket
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Role
from receiver_sim.circuit.views.audio import audio_circuit
from receiver_sim.engine import Bench, Vectors
from receiver_sim.measure.loaded import loaded
from receiver_sim.physics.hearing import sound_level_db
from receiver_sim.physics.tube_law import grid_current
from receiver_sim.receiver import Receiver
from receiver_sim.results.audio import ClassA, Drive
from receiver_sim.results.base import FloatArray
from receiver_sim.schema import Build

TONE_HZ = 1000.0
HARMONICS = 10
PERIODS = 8
"""Tone periods that are analysed."""

SETTLE_S = 0.12
"""Run before them, for coupling and by-pass capacitors to find their bias under drive."""

STEPS = 160
"""Steps in a tone period; trapezoidal integration then errs by (pi/160)^2/3, 0.013 %, of a line's size."""

LEAST_SHARE, MOST_GRID_A = 0.02, 1e-6
"""Class A: least plate current as a part of the quiescent, most grid current (common practice, no source)."""


def plan(build: Build, cards: Cards, *, rotation: float) -> Circuit:
    """Return the circuit: the audio view at that setting of the control."""
    return audio_circuit(build, cards, rotation=rotation)


def lines(time: FloatArray, course: FloatArray, *, tone: float) -> FloatArray:
    """Return complex r.m.s. lines of a course at the orders 1..HARMONICS of `tone`, over its last periods.

    The points of the run are laid on a uniform grid by a cubic spline, whose error at STEPS points a period
    is far below that of the integration.
    """
    from scipy.interpolate import CubicSpline  # noqa: PLC0415 - it takes long to load

    stop = float(time[-1])
    count = PERIODS * STEPS
    grid = stop - PERIODS / tone + np.arange(count) / (tone * STEPS)
    _, first = np.unique(time, return_index=True)
    even = CubicSpline(time[first], course[first])(grid)
    found = np.fft.rfft(even) / count * math.sqrt(2.0)
    return np.asarray(found[PERIODS : PERIODS * HARMONICS + 1 : PERIODS])


def thd(found: FloatArray) -> float:
    """Return the r.m.s. of the lines above the first over the first."""
    size = np.abs(found)
    return float(np.sqrt(np.sum(size[1:] ** 2)) / size[0]) if size[0] > 0.0 else 0.0


def sockets(circuit: Circuit) -> dict[str, Socket]:
    """Return the sockets of the audio tubes."""
    audio = {name for block in circuit.blocks if block.part_of == "audio" for name in block.sockets}
    return {name: one for name, one in circuit.sockets.items() if name in audio}


def _ammeter(circuit: Circuit, socket: Socket) -> str:
    return circuit.branch(socket.meters["plate"].element)


def reduce(
    build: Build,
    circuit: Circuit,
    cards: Cards,
    run: Vectors,
    *,
    input_v: float,
    quiet: Mapping[str, float],
) -> tuple[tuple[Drive, ...], tuple[ClassA, ...]]:
    """Turn a run over time into the drives of all outputs and the class of the audio tubes.

    quiet: quiescent plate current of each audio tube by its socket.
    """
    drives = []
    for index, phone in enumerate(build.phones):
        found = lines(run["time"], run[circuit.outputs[index]], tone=TONE_HZ)
        volts = float(abs(found[0]))
        power, level = 0.0, None
        if phone.state == "loaded":
            power = volts**2 * float((1.0 / complex(load_impedance(build, index, TONE_HZ))).real)
            level = sound_level_db(power, sensitivity_db=phone.sensitivity)
        size = np.abs(found)
        ratio = size[1:] / size[0] if size[0] > 0.0 else np.zeros(HARMONICS - 1)
        drives.append(Drive(input_v, volts, power, level, thd(found), np.asarray(ratio)))
    tail = run["time"] > run["time"][-1] - PERIODS / TONE_HZ
    classes = []
    for name, socket in sockets(circuit).items():
        card = cards.of(name)
        plate = run[_ammeter(circuit, socket)][tail]
        grid = float((run[socket.pins["grid"]][tail] - run[socket.pins["cathode"]][tail]).max())
        into = float(grid_current(card.law(), grid_v=grid))
        share = float(plate.min()) / quiet[name] if quiet[name] > 0.0 else 0.0
        keeps = share > LEAST_SHARE and into < MOST_GRID_A
        classes.append(ClassA(name, input_v, share, grid, into, keeps))
    return tuple(drives), tuple(classes)


def _vectors(circuit: Circuit) -> list[str]:
    names = ["time", *circuit.outputs]
    for socket in sockets(circuit).values():
        names += [_ammeter(circuit, socket), socket.pins["grid"], socket.pins["cathode"]]
    return names


def run(
    receiver: Receiver, *, rotation: float, inputs: Sequence[float]
) -> list[tuple[tuple[Drive, ...], tuple[ClassA, ...]]]:
    """Return drives and classes for each of `inputs` (volts r.m.s. at the detector's grid), in their order.

    Raises EngineError when a simulation fails.
    """
    circuit = plan(receiver.build, receiver.cards, rotation=rotation)
    step = 1.0 / (TONE_HZ * STEPS)
    stop = math.ceil(SETTLE_S * TONE_HZ) / TONE_HZ + PERIODS / TONE_HZ

    def one(b: Bench, input_v: float) -> tuple[tuple[Drive, ...], tuple[ClassA, ...]]:
        with loaded(b, circuit) as on:
            meters = {name: _ammeter(circuit, socket) for name, socket in sockets(circuit).items()}
            rest = on.session.op(vectors=list(meters.values())) if meters else {}
            quiet = {name: float(rest[meter].real[0]) for name, meter in meters.items()}
            on.course(Role.LOOP_GAIN, "sin", (0.0, math.sqrt(2.0) * input_v, TONE_HZ))
            start = stop - (PERIODS + 1) / TONE_HZ
            answer = on.session.tran(step, stop, start, step, vectors=_vectors(circuit))
        return reduce(receiver.build, circuit, receiver.cards, answer, input_v=input_v, quiet=quiet)

    return receiver.bench.map(one, list(inputs))
