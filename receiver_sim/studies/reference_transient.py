"""Is the envelope right? The RF netlist with every cycle, its control ramped up and down, beside it.
(`--verify`)"""

from __future__ import annotations

import dataclasses
import math
import time
from collections.abc import Sequence

import numpy as np

from receiver_sim.circuit.assemble import regeneration_control
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.control import Control
from receiver_sim.circuit.mode import Mode
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.circuit.views.envelope import envelope_circuit, knob_path
from receiver_sim.circuit.views.ramp import STEPS_PER_CYCLE, ramp_circuit
from receiver_sim.errors import NoAnswer
from receiver_sim.measure.loaded import loaded
from receiver_sim.measure.mode import silenced, tuned_mode
from receiver_sim.receiver import Receiver, Tuned
from receiver_sim.results.base import FloatArray
from receiver_sim.results.envelope import Oscillation, RampReading, Verification
from receiver_sim.results.onset import ControlSetting
from receiver_sim.schema import Build

FAST_BYPASS_F = 3e-9
"""By-pass of the screen during a ramp, in both decks: still a short at RF, but the screen follows within
the ramp."""

INDUCTANCE_LEFT = 0.01
"""Part of the plate load's inductance that is left in a ramp."""

CYCLES = 12_000
"""Length of the shortest ramp up and down, in cycles of the carrier."""

LONGEST_CYCLES = 140_000
"""Length at which a ramp is long enough whatever it leaves unsettled: 5.6 million steps."""

_LENGTHEN = 1.5
_AT_REST, _IN_TIME = 0.005, 0.01
"""Distance of the envelope's own ramp from the map (amplitude at the halts, onset; relative) at which a ramp
is slow enough. Bias, screen and plate follow in fractions of a millisecond whatever the band, so that one of
some thousand cycles is too fast at 28 MHz: there it came to 6 % of onset and 10 % of amplitude."""

_SEED_V = 0.02
_BELOW = 0.03
"""The ramp begins this part of the control's setting below onset (or below where a hard oscillation breaks
off)."""

_PASSED = 1.1
"""The slow part of the ramp ends at so many times the onset's setting."""


@dataclasses.dataclass(frozen=True)
class Path:
    """A ramp of the control: wiper fractions at times (s), and the amplitude (V) whose crossing counts as
    'gone'.

    rests: times at which the two halts end; rising: time until which the amplitude grows from nothing.
    """

    time_s: tuple[float, ...]
    wiper: tuple[float, ...]
    gone_below_v: float
    rests: tuple[float, float]
    rising: float

    @property
    def duration(self) -> float:
        """Length in seconds."""
        return self.time_s[-1]

    @property
    def turned(self) -> float:
        """Time at which the way down begins."""
        return self.time_s[-2]


@dataclasses.dataclass(frozen=True)
class Run:
    """A run over time (s): volts of the hot end, or its amplitude; volts of the screen; ngspice's seconds."""

    time: FloatArray
    volts: FloatArray
    screen: FloatArray
    seconds: float


def quick_build(build: Build) -> Build:
    """Return the build as both decks of a comparison have it: its audio parts follow a ramp of some
    milliseconds.

    The screen's by-pass and the inductance of the plate load are made small; at rest neither carries
    anything that the amplitude depends on. (Hundreds of henries would also cost the transient its digits:
    L/h is 1e10 ohm.)
    """
    control = build.regeneration
    control = control.model_copy(update={"bypass": min(control.bypass, FAST_BYPASS_F)})
    load = build.detector.load
    if load.kind == "choke":
        load = load.model_copy(update={"inductance": load.inductance * INDUCTANCE_LEFT})
    elif load.kind == "transformer":
        load = load.model_copy(update={"primary_inductance": load.primary_inductance * INDUCTANCE_LEFT})
    screen = build.detector.screen
    if screen is not None:
        screen = screen.model_copy(update={"bypass": min(screen.bypass, FAST_BYPASS_F)})
    detector = build.detector.model_copy(update={"load": load, "screen": screen})
    return build.model_copy(update={"regeneration": control, "detector": detector})


def plan_path(control: Control, found: Oscillation, *, cycles: float) -> Path:
    """Return a ramp from below onset to the top of the map and back, with two halts.

    Onset is passed slowly. At the halts the amplitude comes to rest, so that it can be held against the map;
    on the way up, since a grid capacitor is charged by grid current fast and discharged by the leak slowly.
    Raises ValueError without an onset.
    """
    amplitudes = found.amplitudes
    if found.onset is None or amplitudes is None:
        raise NoAnswer("without an onset there is nothing to ramp through")
    wiper = control.share
    onset = wiper(found.onset.rotation)
    top = wiper(float(amplitudes.rotation[-1]))
    half = 0.6 * float(amplitudes.amplitude_v[-1])
    if found.jump is not None and found.jump.to_v is not None:
        half = max(half, 1.05 * found.jump.to_v)
    halt = wiper(float(np.interp(half, amplitudes.amplitude_v, amplitudes.rotation)))
    length = cycles / found.dial_hz

    def at(*parts: float) -> tuple[float, ...]:
        return tuple(part * length for part in parts)

    if found.jump is None:
        start, past = onset * (1.0 - _BELOW), min(_PASSED * onset, halt)
        times = at(0.0, 0.25, 0.32, 0.52, 0.6, 0.8, 1.0)
        return Path(times, (start, past, halt, halt, top, top, start), 0.0, (times[3], times[5]), times[2])
    lowest = wiper(found.jump.down.rotation)
    start, past = lowest * (1.0 - _BELOW), min(_PASSED * onset, top)
    times = at(0.0, 0.25, 0.3, 0.45, 0.5, 0.6, 1.0)
    # a hard oscillation takes its time to break off
    stop = lowest * (1.0 - 4.0 * _BELOW)
    # just above a hard onset it has not jumped in yet when a first halt there would be over
    wipers = (start, past, top, top, halt, halt, stop)
    return Path(times, wipers, 0.5 * found.jump.falls_from_v, (times[3], times[5]), times[2])


def slow_way_back(control: Control, found: Oscillation, path: Path) -> Path:
    """Return a path that begins high and goes through the fold at 4 % of the track a second."""
    assert found.jump is not None
    fold = control.share(found.jump.down.rotation)
    places = (max(path.wiper), max(path.wiper), 1.003 * fold, 0.96 * fold)
    times = (0.0, 0.02, 0.04, 0.04 + (places[2] - places[3]) / 0.04)
    return dataclasses.replace(path, time_s=times, wiper=places)


def rotation_of(control: Control, share: float) -> float:
    """Return the rotation of a share of the control's travel; beyond the ends, that of the end."""
    return control.rotation(min(max(share, 0.0), 1.0))


def run_reference(tuned: Tuned, *, path: Path, steps: int) -> Run:
    """Run the RF circuit along the path."""
    assert tuned.onset.tuning_farad is not None
    circuit = ramp_circuit(
        tuned.build,
        tuned.cards,
        band=tuned.band,
        dial_hz=tuned.onset.dial_hz,
        times=path.time_s,
        shares=path.wiper,
    )
    top, screen = circuit.node(Place.HOT_END), _watched(circuit)
    step = 1.0 / (tuned.onset.dial_hz * steps)
    current = _SEED_V / (4.0 * math.pi * tuned.onset.dial_hz * tuned.band.coil.inductance)
    with loaded(tuned.bench, circuit) as on:
        on.tune(tuned.onset.tuning_farad)
        on.course(Role.TANK_CURRENT, "pwl", _shock(current, tuned.onset.dial_hz))
        # the last corner of the path would leave a last step of next to nothing
        run_ = on.session.tran(step, path.duration * (1.0 - 1e-5), 0.0, step, vectors=[top, screen])
    return Run(run_["time"], run_[top], run_[screen], run_.engine_seconds)


def _watched(circuit: Circuit) -> str:
    """Return the node of what the control sets."""
    node = circuit.control.node
    if node is None:
        raise NoAnswer("a control that acts on the tank itself is not ramped over time")
    return node


def _shock(current: float, frequency: float) -> list[float]:
    """Return the points of a current (A) that flows for half a cycle and leaves 2 I w L in the tank."""
    places = (0.0, 1.0, 1.1, 1.5, 1.6)
    return [
        x
        for at, i in zip(places, (0.0, 0.0, current, current, 0.0), strict=True)
        for x in (at / frequency, i)
    ]


def run_envelope(receiver: Receiver, mode: Mode, *, path: Path, steps: int = 4000) -> Run:
    """Run the envelope along the same path from the same start."""
    circuit = envelope_circuit(
        receiver.build,
        receiver.cards,
        mode,
        reference_hz=mode.resonance_hz,
        with_audio=False,
        knob=knob_path(path.time_s, path.wiper),
    )
    step = path.duration / steps
    charge = _SEED_V / abs(mode.residue)
    amplitude, screen = circuit.node(Place.AMPLITUDE), _watched(circuit)
    with loaded(receiver.bench, circuit) as on:
        blow = [0.0, 0.0, 1e-8, charge / 2e-8, 2e-8, charge / 2e-8, 3e-8, 0.0]
        on.course(Role.IN_PHASE, "pwl", blow)
        run_ = on.session.tran(step, path.duration, 0.0, step, vectors=[amplitude, screen])
    return Run(run_["time"], run_[amplitude], run_[screen], run_.engine_seconds)


def peaks(time_s: FloatArray, volts: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return times and heights of the positive peaks of a carrier, by parabolas through three samples.

    With 40 samples a cycle the height is right within 1e-5, unequal steps apart.
    """
    middle = volts[1:-1]
    k = np.flatnonzero((middle > volts[:-2]) & (middle >= volts[2:]) & (middle > 0.0)) + 1
    bend = volts[k - 1] - 2.0 * volts[k] + volts[k + 1]
    height = volts[k] - (volts[k + 1] - volts[k - 1]) ** 2 / (8.0 * bend)
    return time_s[k], height


def read_ramp(
    control: Control,
    found: Oscillation,
    path: Path,
    *,
    time_s: FloatArray,
    amplitude: FloatArray,
    screen: FloatArray,
    seconds: float,
    points: int = 2000,
) -> RampReading:
    """Read onset, disappearance and backlash off an amplitude over a ramp.

    Onset is where the (smoothed) logarithm of a small amplitude has its minimum on the way up; the screen
    volts there are those of the screen itself, which lags behind the control by its by-pass.
    """
    grid = np.linspace(time_s[0], min(time_s[-1], path.duration), points)
    values = np.interp(grid, time_s, amplitude)
    volts = np.interp(grid, time_s, screen)
    wipers = np.interp(grid, path.time_s, path.wiper)
    rotation = np.array([rotation_of(control, w) for w in wipers])
    up = (grid < path.rising) & (grid > 0.005 * path.duration)
    logs = np.log(np.maximum(values, 1e-9))
    small = up & (values < 0.2 * values.max())
    width = points // 200
    smooth = np.convolve(logs, np.ones(2 * width + 1) / (2 * width + 1), mode="same")
    place = int(np.flatnonzero(small)[np.argmin(smooth[small])])
    # the minimum of a parabola around it: the growth rate is very nearly a straight line there
    near = slice(max(place - 6 * width, width), place + 6 * width)
    c = np.polynomial.polynomial.polyfit(grid[near] - grid[place], logs[near], 2)
    moment = grid[place] - c[1] / (2.0 * c[2]) if c[2] > 0.0 else grid[place]
    start = _setting(control, float(np.interp(moment, grid, rotation)), float(np.interp(moment, grid, volts)))
    down = np.flatnonzero((grid > path.turned) & (values < path.gone_below_v))
    gone = None
    amplitudes = found.amplitudes
    if down.size and amplitudes is not None:
        at = float(rotation[down[0]])
        rest = _rest_volts(found, at)
        gone = _setting(control, at, rest)
    return RampReading(
        time_s=grid,
        amplitude_v=values,
        rotation=rotation,
        screen_v=volts,
        onset=start,
        gone=gone,
        gone_below_v=path.gone_below_v,
        backlash_v=None if gone is None else start.figure - gone.figure,
        engine_seconds=seconds,
    )


def _setting(control: Control, rotation: float, figure: float) -> ControlSetting:
    return ControlSetting.of(rotation, figure, **control.sets)


def _rest_volts(found: Oscillation, rotation: float) -> float:
    """Return the screen volts at rest of a rotation, by a straight line through the map's settings."""
    amplitudes = found.amplitudes
    assert amplitudes is not None
    order = np.argsort(amplitudes.rotation)
    x, y = amplitudes.rotation[order], amplitudes.rest[order]
    wide = float(x[-1] - x[0])
    slope, level = np.polyfit(x[x <= x[0] + 0.2 * wide], y[x <= x[0] + 0.2 * wide], 1)
    return float(np.interp(rotation, x, y)) if rotation >= x[0] else float(level + slope * rotation)


def tank_damping(tuned: Tuned, *, steps: int) -> float:
    """Return the decay rate (1/s) of the tank's amplitude in a transient of `steps` a cycle, the tube
    silenced."""
    assert tuned.onset.tuning_farad is not None
    cycles = round(tuned.band.coil.q)
    circuit = ramp_circuit(
        tuned.build,
        tuned.cards,
        band=tuned.band,
        dial_hz=tuned.onset.dial_hz,
        times=(0.0, 1.0),
        shares=(0.5, 0.5),
    )
    top = circuit.node(Place.HOT_END)
    step = 1.0 / (tuned.onset.dial_hz * steps)
    with loaded(tuned.bench, circuit) as on, silenced(on):
        on.tune(tuned.onset.tuning_farad)
        on.course(Role.TANK_CURRENT, "pwl", _shock(1e-3, tuned.onset.dial_hz))
        run = on.session.tran(step, cycles / tuned.onset.dial_hz, 0.0, step, vectors=[top])
    moments, heights = peaks(run["time"], run[top])
    body = slice(len(moments) // 5, None)  # the rest of the network has settled
    return -float(np.polyfit(moments[body], np.log(heights[body]), 1)[0])


def compare(
    found: Oscillation, path: Path, reference: RampReading, envelope: RampReading
) -> tuple[float, float, float, float | None]:
    """Return (onset error, amplitude error, ramp error, backlash error in V); see `Verification`."""
    amplitudes = found.amplitudes
    assert amplitudes is not None and found.onset is not None
    onset_error = reference.onset.figure / found.onset.figure - 1.0
    deviations = []
    for halt in path.rests:
        seen = float(np.interp(halt, reference.time_s, reference.amplitude_v))
        at = float(np.interp(halt, reference.time_s, reference.rotation))
        upper = amplitudes.amplitude_v >= 0.4 * reference.amplitude_v.max()
        mapped = float(np.interp(at, amplitudes.rotation[upper], amplitudes.amplitude_v[upper]))
        deviations.append(seen / mapped - 1.0)
    strong = envelope.amplitude_v > 0.5 * envelope.amplitude_v.max()
    # on a steep flank (of a jump, of the way down) a difference in time would be told as one in amplitude
    strong &= np.abs(np.gradient(np.log(envelope.amplitude_v), envelope.time_s)) < 4.0 / envelope.time_s[-1]
    ramp_error = float(np.abs(reference.amplitude_v[strong] / envelope.amplitude_v[strong] - 1.0).max())
    backlash = None
    if reference.backlash_v is not None and envelope.backlash_v is not None:
        backlash = reference.backlash_v - envelope.backlash_v
    return onset_error, max(deviations, key=abs), ramp_error, backlash


def slow_backlash(receiver: Receiver, mode: Mode, *, found: Oscillation, path: Path) -> float | None:
    """Return the backlash (V of screen at rest) of the envelope on a way back 100 times as slow; None if
    not hard.

    It ties the ramp, which breaks off late, to the map, which knows no time.
    """
    if found.jump is None or found.onset is None:
        return None
    control = regeneration_control(receiver.build, receiver.cards)
    slow = slow_way_back(control, found, path)
    run_ = run_envelope(receiver, mode, path=slow)
    below = np.flatnonzero((run_.volts < slow.gone_below_v) & (run_.time > slow.time_s[2]))
    if not below.size:
        return None
    wiper = float(np.interp(run_.time[below[0]], slow.time_s, slow.wiper))
    return found.onset.figure - _rest_volts(found, rotation_of(control, wiper))


def settled_ramp(
    receiver: Receiver,
    mode: Mode,
    *,
    found: Oscillation,
    lengths: Sequence[float],
) -> tuple[Path, RampReading]:
    """Return the shortest ramp (of `lengths`, in cycles of the carrier, rising) that is slow enough for the
    circuit, and the envelope's reading of it.

    Slow enough: the envelope at its halts and onset lies near the map. Where no length brings that (an
    amplitude that does not hold still) the one that comes nearest, the shorter if longer ones gain little.
    """
    best: tuple[float, Path, RampReading] | None = None
    control = regeneration_control(receiver.build, receiver.cards)
    for cycles in lengths:
        path = plan_path(control, found, cycles=cycles)
        began = time.perf_counter()
        soft = run_envelope(receiver.changed(quick_build(receiver.build)), mode, path=path)
        reading = read_ramp(
            control,
            found,
            path,
            time_s=soft.time,
            amplitude=soft.volts,
            screen=soft.screen,
            seconds=time.perf_counter() - began,
        )
        onset_error, amplitude_error, *_ = compare(found, path, reading, reading)
        lag = max(abs(amplitude_error) / _AT_REST, abs(onset_error) / _IN_TIME)
        if best is None or lag < 0.7 * best[0]:
            best = (lag, path, reading)
        if lag <= 1.0:
            break
    assert best is not None
    return best[1], best[2]


def lengths() -> list[float]:
    """Return the lengths of ramps to try, in cycles of the carrier."""
    count = math.ceil(math.log(LONGEST_CYCLES / CYCLES) / math.log(_LENGTHEN))
    return [min(CYCLES * _LENGTHEN**k, float(LONGEST_CYCLES)) for k in range(count + 1)]


def run(
    tuned: Tuned,
    *,
    found: Oscillation,
    cycles: int | None = None,
    steps: int = STEPS_PER_CYCLE,
) -> Verification:
    """Run reference and envelope along one ramp and compare them with the map of amplitudes (`found`).

    cycles: length of the ramp in cycles of the carrier, None: as slow as the circuit needs. Takes minutes:
    some 20 us a step. Raises ValueError without an onset, EngineError when a simulation fails.
    """
    assert tuned.onset.tuning_farad is not None and found.onset is not None and found.amplitudes is not None
    quick = tuned.receiver.changed(quick_build(tuned.build)).at(tuned.band, search=tuned.onset)
    control = regeneration_control(tuned.build, tuned.cards)
    mode = tuned_mode(
        quick,
        tuning=tuned.onset.tuning_farad,
        rotation=found.onset.rotation,
    )
    tried = lengths() if cycles is None else [float(cycles)]
    path, envelope = settled_ramp(tuned.receiver, mode, found=found, lengths=tried)
    full = run_reference(quick, path=path, steps=steps)
    moments, heights = peaks(full.time, full.volts)
    reference = read_ramp(
        control,
        found,
        path,
        time_s=moments,
        amplitude=heights,
        screen=np.interp(moments, full.time, full.screen),
        seconds=full.seconds,
    )
    damping = [tank_damping(quick, steps=s) for s in (steps, 2 * steps)]
    onset_error, amplitude_error, ramp_error, backlash_error = compare(found, path, reference, envelope)
    lag, unsettled, *_ = compare(found, path, envelope, envelope)
    slow = slow_backlash(quick.receiver, mode, found=found, path=path)
    highest = rotation_of(control, max(path.wiper))
    return Verification(
        band=tuned.band.name,
        dial_hz=tuned.onset.dial_hz,
        reference=reference,
        envelope=envelope,
        oscillation=found,
        onset_error=onset_error,
        amplitude_error=amplitude_error,
        ramp_error=ramp_error,
        backlash_error_v=backlash_error,
        slow_backlash_v=slow,
        steps_per_cycle=float(len(full.time) / (path.duration * tuned.onset.dial_hz)),
        damping_error=damping[0] / damping[1] - 1.0,
        speed_ratio=full.seconds / (found.seconds or math.inf),
        onset_lag=lag,
        unsettled=unsettled,
        covered_to=_setting(control, highest, _rest_volts(found, highest)),
    )
