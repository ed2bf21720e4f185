"""What is heard in the headphones while the control follows a path? (envelope view, time runs)"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from receiver_sim.circuit.assemble import regeneration_control
from receiver_sim.circuit.blocks.phones import load_impedance
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.control import Control
from receiver_sim.circuit.mode import Mode
from receiver_sim.circuit.noise_sources import REACH_HZ, NoiseCourses, noise_block, noise_courses
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Place
from receiver_sim.circuit.signals import EDGE_S, DialPath, Signal, signal_block
from receiver_sim.circuit.transient import continued, split_diodes
from receiver_sim.circuit.views.envelope import (
    NOISY_SOFTENING_V,
    SOFTENING_V,
    TRAN_RELTOL,
    envelope_circuit,
    knob_path,
)
from receiver_sim.engine import Vectors
from receiver_sim.errors import WrongValue
from receiver_sim.measure.loaded import loaded
from receiver_sim.measure.set_noise import SetNoise
from receiver_sim.physics.hearing import sound_level_db
from receiver_sim.receiver import Receiver
from receiver_sim.results.base import FloatArray
from receiver_sim.results.envelope import Sound
from receiver_sim.results.noise_heard import NoiseHeard, StationOverNoise
from receiver_sim.schema import Band, Build

RATE = 24_000.0
"""Samples a second of the sound, and the longest step of the run: five steps to a cycle at the edge of 5
kHz. Half the step changes speech by 3 % r.m.s., and by less than 1 % below 1 kHz (test)."""

LEAST_S = EDGE_S
"""Of a signal: its key takes so long to go down."""

STEP_S = 0.01
"""Stretches in which a moving control that acts on the tank stands still: no envelope deck can move it."""

CHUNK_S = 0.5
"""Stretches in which a run is made, each beginning where the one before ended: for progress, memory and
time limits."""

RESTLESS_S = 0.02
"""The same for a set that howls: clipped on both sides at some kilohertz it takes ngspice a thousand steps a
millisecond at worst, and a stretch of the usual length a minute and more."""

SQUEGGING_S = 0.005
"""The same for a set that squegs from rest though small disturbances of it decay, or begins to move faster
than `FAST_HZ`."""

FAST_HZ = 10e3
"""At 82 kHz a stretch of 20 ms took ngspice more than the default limit of time, on a busy machine."""

MOST_STEPS = 40_000
"""Time steps after which the run of a set that takes more than `DENSE` of them in each sample is ended: half
a minute. A set that squegs at 46 kHz takes two to three millions a second."""

DENSE = 10.0
"""Noise, keying and howl at audio pitch take one to five steps in a sample."""

RELTOL = "reltol=1e-3"
"""Newton's method stops at the first step that is smaller: what is left is of the order of its square. A
third of the iterations are spared; a test holds the sound beside that of `TRAN_OPTIONS`."""

STEP_OPTIONS = "trtol=5"
"""The longest step rules; ngspice's estimate of a step's error (5e-3, what it allows by default at its own
reltol) only guards against the gross. At seven times less, as in `TRAN_OPTIONS`, speech had up to 80 % more
steps tried, and came little nearer to what a quarter of the longest step gives: 2.2 % r.m.s. off, not
2.6."""

PHASES, KNOTS = 6, 2
"""Fewer samples than the map takes: they move the control by 4e-5 of its track (test), which no ear can
tell."""

SPEECH_HZ = 3000.0
"""Bandwidth in which stations are held against noise."""

Progress = Callable[[int, int], None]


def _ignore(_done: int, _total: int) -> None:
    return None


def plan(
    build: Build,
    cards: Cards,
    mode: Mode,
    *,
    path: Sequence[tuple[float, float]],
    signals: Sequence[Signal],
    reference_hz: float,
    start: float,
    stop: float,
    state: Vectors | None = None,
    dial: DialPath | None = None,
    noise: tuple[SetNoise, NoiseCourses] | None = None,
) -> Circuit:
    """Return the circuit of one stretch of time: control and signals from `start` to `stop` (s).

    path: (time in s, rotation 0..1), rising times; before and after it the control stands still. state: end
    of the stretch before, to begin from instead of rest. dial: how it moves, None if it stands still. noise:
    how much there is and how it runs, None for none.
    """
    control = regeneration_control(build, cards)
    held = control.on_tank or len({rotation for _, rotation in path}) == 1
    # a control that acts on the tank moves from one stretch to the next
    moments, rotations = ([row[i] for row in path] for i in (0, 1))
    middle = float(np.interp(0.5 * (start + stop), moments, rotations))
    circuit = envelope_circuit(
        build,
        cards,
        mode,
        reference_hz=reference_hz,
        rotation=middle,
        phases=PHASES,
        knots=KNOTS,
        knob=None if held else knob_path(*knob_points(control, path, start=start, stop=stop)),
        softening=SOFTENING_V if noise is None else NOISY_SOFTENING_V,
        held=held,
        split=True,
    )
    circuit = split_diodes(circuit)
    if state is not None:
        circuit = continued(circuit, state)
    sources = [
        signal_block(signal, i, amperes_per_volt=abs(mode.aerial or 0.0), start=start, stop=stop, dial=dial)
        for i, signal in enumerate(signals)
    ]
    if noise is not None:
        levels, courses = noise
        sources.append(noise_block(
            courses, amperes=levels.total(mode.at(middle)), plate=circuit.node(Place.PLATE), start=start,
            stop=stop
        ))  # fmt: skip
    circuit = circuit.plus(*(element for source in sources for element in source.elements))
    return replace(circuit, options=circuit.options.replace(TRAN_RELTOL, RELTOL) + f" {STEP_OPTIONS}")


def knob_points(
    control: Control, path: Sequence[tuple[float, float]], *, start: float, stop: float
) -> tuple[list[float], list[float]]:
    """Return times from 0 and wiper fractions for a stretch of a path; the law of the track is followed
    within 1e-3."""
    moments, rotations = (np.array(column, dtype=np.float64) for column in zip(*path, strict=True))
    inside = moments[(moments > start) & (moments < stop)]
    grid = np.unique(np.concatenate([[start, stop], inside, np.linspace(start, stop, 9)]))
    # a corner of the path a rounding away from one of the steps is one point: a deck has twelve digits
    grid = grid[np.concatenate([[True], np.diff(grid) > 1e-9])]
    shares = [control.share(float(r)) for r in np.interp(grid, moments, rotations)]
    return [float(t - start) for t in grid], shares


def run(
    receiver: Receiver,
    mode: Mode,
    *,
    band: Band,
    reference_hz: float,
    path: Sequence[tuple[float, float]],
    signals: Sequence[Signal],
    seconds: float,
    output: int = 0,
    progress: Progress = _ignore,
    dial: DialPath | None = None,
    noise: SetNoise | None = None,
    seed: int = 1,
    place: str = "",
    stretch_s: float | None = None,
    most_steps: int | None = MOST_STEPS,
) -> Sound:
    """Return the sound at one output (index of the phones) for `seconds` of listening.

    reference_hz: frequency that the signals' offsets count from (that of the oscillation at onset), with the
    dial where it stands at first; dial: how it moves from there, None if it stands still. noise: what makes
    noise, None for a clean sound; seed: names its course; place: where the band's noise is from; stretch_s:
    length of the single runs, `CHUNK_S` if None. most_steps: time steps after which a run that is dense with
    them (`DENSE`) is ended, None for a whole one; what is there then is the sound, `Sound.asked_s` says so.
    Raises ValueError for an empty path, no aerial, a length that is none or ends before a signal begins,
    EngineError when a simulation fails.
    """
    from scipy.interpolate import CubicSpline  # noqa: PLC0415 - it takes long to load

    if not path or any(b[0] <= a[0] for a, b in pairwise(path)):
        raise WrongValue("a path of the control needs settings at rising times")
    if signals and mode.aerial is None:
        raise WrongValue("this build has no aerial; add the key 'aerial' for signals to come in")
    if not seconds > 0.0:
        raise WrongValue(f"a length of sound must be above 0 s, got {seconds}")
    last = max((signal.start_s for signal in signals), default=0.0)
    if signals and seconds < last + LEAST_S:
        raise WrongValue(
            f"{seconds:g} s of sound end before a signal that begins at {last:g} s is there: ask for "
            f"{last + LEAST_S:g} s or more, or let it begin sooner (start_s)"
        )
    spent = 0.0
    # a rest too short for a run of its own is added to the last stretch
    steps = bool(mode.along) and len({rotation for _, rotation in path}) > 1
    chunk = STEP_S if steps else stretch_s or CHUNK_S
    total = max(math.ceil(seconds / chunk - 0.1), 1)
    grid = np.arange(round(seconds * RATE)) / RATE
    volts, amplitude = np.zeros(grid.size), np.zeros(grid.size)
    courses = None if noise is None else noise_courses(
        seed, frequency=noise.audio.frequency, density=noise.audio.density
    )  # fmt: skip
    sources = None if noise is None or courses is None else (noise, courses)
    state: Vectors | None = None
    taken, highest = 0, 0.0
    for k in range(total):
        start, stop = k * chunk, seconds if k == total - 1 else (k + 1) * chunk
        circuit = plan(
            receiver.build, receiver.cards, mode, path=path, signals=signals, reference_hz=reference_hz,
            start=start, stop=stop, state=state, dial=dial, noise=sources,
        )  # fmt: skip
        with loaded(receiver.bench, circuit) as on:
            state = on.session.tran(1.0 / RATE, stop - start, 0.0, 1.0 / RATE, uic=state is not None)
        spent += state.engine_seconds
        here = (grid >= start - 1e-12) & (grid < stop - 1e-12)
        moments, places = np.unique(state["time"], return_index=True)
        # the steps lie beside the grid: straight lines would take up to 8 % off a tone of 3 kHz
        volts[here] = CubicSpline(moments, state[circuit.outputs[output]][places])(grid[here] - start)
        amplitude[here] = np.interp(grid[here] - start, state["time"], state[circuit.node(Place.AMPLITUDE)])
        progress(k + 1, total)
        taken += moments.size
        highest = max(highest, float(state[circuit.node(Place.AMPLITUDE)].max()))
        if most_steps is not None and taken > max(most_steps, DENSE * RATE * stop) and k < total - 1:
            grid = grid[grid < stop - 1e-12]
            break
    volts, amplitude = volts[: grid.size], amplitude[: grid.size]
    if noise is not None:
        amplitude = np.sqrt(np.maximum(amplitude**2 - NOISY_SOFTENING_V**2, 0.0))
    sound = reduce(
        receiver.build, band=band, dial_hz=mode.reference_hz, output=output, time=grid, volts=volts,
        amplitude=amplitude, path=path, seconds=spent, dial=dial,
    )  # fmt: skip
    sound = replace(sound, highest_v=highest)
    if grid.size < round(seconds * RATE):
        sound = replace(sound, asked_s=seconds, steps=taken)
    return (
        sound if noise is None else replace(sound, noise=heard(noise, mode, signals, seed=seed, place=place))
    )


def heard(noise: SetNoise, mode: Mode, signals: Sequence[Signal], *, seed: int, place: str) -> NoiseHeard:
    """Return what the noise in a sound is, and how far the stations are above it at the aerial."""
    band, pick_up = noise.band, abs(mode.aerial or 0.0)
    width = math.sqrt(SPEECH_HZ)
    emf = noise.total(mode) / pick_up * width if pick_up > 0.0 else None
    own = math.hypot(noise.thermal(mode), noise.tube)
    return NoiseHeard(
        place=None if band is None else place,
        seed=seed,
        reach_hz=REACH_HZ,
        bandwidth_hz=SPEECH_HZ,
        man_made_db=None if band is None else band.man_made_db,
        atmospheric_db=None if band is None else band.atmospheric_db,
        galactic_db=None if band is None else band.galactic_db,
        total_db=None if band is None else band.total_db,
        radiation_ohm=None if band is None else band.radiation_ohm,
        height_assumed=band is not None and band.height_assumed,
        band_emf_v=None if band is None else band.emf * width,
        own_emf_v=own / pick_up * width if pick_up > 0.0 else None,
        thermal_a=noise.thermal(mode) * width,
        tube_a=noise.tube * width,
        band_a=noise.aerial(mode) * width,
        audio_a=float(np.interp(1000.0, noise.audio.frequency, noise.audio.density)) * width,
        stations=() if emf is None else tuple(
            StationOverNoise(one.offset_hz, one.level_v, 20.0 * math.log10(one.level_v / emf))
            for one in signals
        ),
    )  # fmt: skip


def reduce(
    build: Build,
    *,
    band: Band,
    dial_hz: float,
    output: int,
    time: FloatArray,
    volts: FloatArray,
    amplitude: FloatArray,
    path: Sequence[tuple[float, float]],
    seconds: float,
    dial: DialPath | None = None,
) -> Sound:
    """Turn the volts at an output into the result: d.c. taken off, level from the sensitivity of the
    phones."""
    phones = build.phones[output]
    sound = volts - np.mean(volts)
    rms = float(np.sqrt(np.mean(sound**2)))
    # power as of a tone of 1 kHz, at which sensitivities are stated
    conductance = float((1.0 / load_impedance(build, output, np.array([1000.0])))[0].real)
    power = rms**2 * conductance
    moments, rotations = (np.array(column, dtype=np.float64) for column in zip(*path, strict=True))
    few = np.linspace(0, time.size - 1, min(time.size, 500)).astype(int)
    return Sound(
        band=band.name,
        dial_hz=dial_hz,
        output=phones.name,
        rate=RATE,
        volts=sound,
        peak_v=float(np.abs(sound).max()),
        rms_v=rms,
        level_db=sound_level_db(power, sensitivity_db=phones.sensitivity),
        path_s=time[few],
        rotation=np.interp(time[few], moments, rotations),
        amplitude_v=amplitude[few],
        dial_offset_hz=None if dial is None else dial.offset(time[few]),
        engine_seconds=seconds,
    )
