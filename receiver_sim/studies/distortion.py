"""How much distortion, power and sound at each output, and do the audio tubes stay in class A?

A tone is put in series with the detector's control node, as audio at its grid, and the audio view is run over
time until its bias has settled; the last periods give the harmonics. Low frequencies need longer runs, so one
tone is used.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from scipy.interpolate import CubicSpline

from receiver_sim.engine import Bench, Deck, Vectors
from receiver_sim.netlist.audio_view import audio_deck
from receiver_sim.netlist.phones import load_impedance
from receiver_sim.netlist.receiver import Cards, phone_node
from receiver_sim.physics.hearing import sound_level_db
from receiver_sim.physics.tube_law import grid_current
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


def plan(build: Build, cards: Cards, *, rotation: float) -> Deck:
    """Return the deck: the audio view at that setting of the control."""
    return audio_deck(build, cards, rotation=rotation)


def lines(time: FloatArray, course: FloatArray, *, tone: float) -> FloatArray:
    """Return complex r.m.s. lines of a course at the orders 1..HARMONICS of `tone`, over its last periods.

    The points of the run are laid on a uniform grid by a cubic spline, whose error at STEPS points a period
    is far below that of the integration.
    """
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


def sockets(build: Build) -> dict[str, str]:
    """Return the audio tubes of a build by the letter of their elements."""
    return {**({"f": "first audio"} if build.audio.first is not None else {}), "a": "audio"}


def reduce(
    build: Build, cards: Cards, run: Vectors, *, input_v: float, quiet: Mapping[str, float]
) -> tuple[tuple[Drive, ...], tuple[ClassA, ...]]:
    """Turn a run over time into the drives of all outputs and the class of the audio tubes.

    quiet: quiescent plate current of each audio tube by letter.
    """
    drives = []
    for index, phone in enumerate(build.phones):
        found = lines(run["time"], run[phone_node(build, index)], tone=TONE_HZ)
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
    for x, socket in sockets(build).items():
        card = cards.audio if x == "a" else cards.first
        assert card is not None
        plate = run[f"v{x}pm#branch"][tail]
        grid = float((run[f"{x}grid"][tail] - run[f"{x}cath"][tail]).max())
        into = float(grid_current(card.law(), grid_v=grid))
        share = float(plate.min()) / quiet[x] if quiet[x] > 0.0 else 0.0
        keeps = share > LEAST_SHARE and into < MOST_GRID_A
        classes.append(ClassA(socket, input_v, share, grid, into, keeps))
    return tuple(drives), tuple(classes)


def _vectors(build: Build) -> list[str]:
    names = ["time", *(phone_node(build, i) for i in range(len(build.phones)))]
    for x in sockets(build):
        names += [f"v{x}pm#branch", f"{x}grid", f"{x}cath"]
    return names


def run(
    build: Build, cards: Cards, bench: Bench, *, rotation: float, inputs: Sequence[float]
) -> list[tuple[tuple[Drive, ...], tuple[ClassA, ...]]]:
    """Return drives and classes for each of `inputs` (volts r.m.s. at the detector's grid), in their order.

    Raises EngineError when a simulation fails.
    """
    deck = plan(build, cards, rotation=rotation)
    step = 1.0 / (TONE_HZ * STEPS)
    stop = math.ceil(SETTLE_S * TONE_HZ) / TONE_HZ + PERIODS / TONE_HZ

    def one(b: Bench, input_v: float) -> tuple[tuple[Drive, ...], tuple[ClassA, ...]]:
        with b.session(deck) as session:
            rest = session.op(vectors=[f"v{x}pm#branch" for x in sockets(build)])
            quiet = {x: float(rest[f"v{x}pm#branch"].real[0]) for x in sockets(build)}
            session.alter("vinj", (0.0, math.sqrt(2.0) * input_v, TONE_HZ), "sin")
            start = stop - (PERIODS + 1) / TONE_HZ
            answer = session.tran(step, stop, start, step, vectors=_vectors(build))
        return reduce(build, cards, answer, input_v=input_v, quiet=quiet)

    return bench.map(one, list(inputs))
