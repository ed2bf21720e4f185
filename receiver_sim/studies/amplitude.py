"""Does oscillation slide in or plop, with how much backlash, and how strong is it? (envelope view, d.c.
analyses)"""

from __future__ import annotations

import dataclasses
import math
import time
from typing import Any

import numpy as np
from scipy.interpolate import PchipInterpolator

from receiver_sim.engine import Bench, Deck, EngineError, EngineFailed, Session, Vectors
from receiver_sim.netlist.envelope import LOWEST_V, balance_deck, envelope_deck
from receiver_sim.netlist.mode import HARMONICS, Mode, tuned_mode
from receiver_sim.netlist.phases import KNOTS, PHASES, cosines, shares
from receiver_sim.netlist.receiver import Cards
from receiver_sim.physics.potentiometer import rotation_fraction, wiper_fraction
from receiver_sim.results.base import FloatArray, Status
from receiver_sim.results.envelope import AmplitudeMap, BuildUp, Jump, OnsetKind, Oscillation
from receiver_sim.results.onset import ControlSetting, Onset
from receiver_sim.schema import Band, Build

STEP = 1.0 / 16.0
"""Step of the sweep in ln(amplitude): 6 %, which a monotone cubic bridges to better than 1e-4."""

_STRIDE = 0.5
_HIGHEST = 10.0
"""End of the sweep in ln(amplitude/LOWEST_V): 22 V at the hot end, more than any grid stands without gross
grid current."""

_RESOLUTION_V = 1e-3
"""Backlash in screen volts below which an onset counts as soft: no hand on a knob feels a millivolt."""

_WHY_NOT = {
    Status.DOES_NOT: (
        "no setting starts oscillation from nothing; whether a shock starts it is not looked into",
    ),
    Status.NOT_IN_RANGE: ("it oscillates all over the control: amplitudes are not looked into",),
}

_BOLTZMANN_J = 1.380649e-23 * 300.0
_VECTORS = ("amp", "knob", "scr", "grid", "drive", "cross")
_REST_POINTS = 20
_BEYOND = 1.02
"""Wiper fraction at which a sweep has passed the top of the control for good."""


@dataclasses.dataclass(frozen=True)
class Balance:
    """Raw balance of a band: wiper against amplitude (may lie beyond the control's ends), and the screen at
    rest."""

    amplitude: FloatArray
    wiper: FloatArray
    screen: FloatArray
    grid: FloatArray
    drive_ma: FloatArray
    cross_ma: FloatArray
    rest_wiper: FloatArray
    rest_screen: FloatArray
    harmonics_ma: FloatArray | None = None
    """Components 1 to 5 of the cathode current, a row for each amplitude; None if not read."""


def plan(build: Build, cards: Cards, mode: Mode, *, guess: float, phases: int = PHASES) -> Deck:
    """Return the deck of the balance sweep; `guess`: wiper fraction to begin from."""
    return balance_deck(build, cards, mode, guess=guess, phases=phases)


def sweep(
    bench: Bench, deck: Deck, *, guess: float, step: float = STEP, phases: int | None = None
) -> Balance:
    """Run the sweeps of a balance deck: amplitudes from LOWEST_V to beyond the top of the control.

    guess: wiper fraction that the deck was made with, where the sweeps begin; phases: number of samples of
    its tube, to read harmonics from (None: not). The sweep ends where even the top of the control no longer
    pays for the losses; that is found by going an e-fold further at a time, as the circuit beyond (a
    starved tube) need not have a solution. Raises EngineError when there is none from the start.
    """
    good = 0.0
    try:
        with bench.session(deck) as session:
            rest = _rest(session, guess)
            for end in np.arange(6.0, _HIGHEST + 1.0):
                run = _sweep(session, float(end), _STRIDE)
                good = float(end)
                if run["knob"][-1] > _BEYOND:
                    break
            beyond = run["knob"] > _BEYOND
            end = math.log(float(run["amp"][np.argmax(beyond)]) / LOWEST_V) if beyond.any() else good
            return _balance(_sweep(session, math.ceil(end / step) * step, step, phases), rest, step, phases)
    except EngineFailed:
        if good == 0.0:
            raise
    # Beyond `good` Newton's method lost its way in large strides; smaller ones may lead on. Where no small
    # ones do (seen with tubes that begin at a few volts of screen), larger ones, which a cubic bridges to
    # some 1e-3.
    trials = ((good + 1.0, step / 2.0), (good, step / 2.0), (good, 2.0 * step), (good, 4.0 * step))
    for trial, (end, stride) in enumerate(trials, start=1):
        try:
            with bench.session(deck) as session:
                return _balance(_sweep(session, end, stride, phases), rest, stride, phases)
        except EngineFailed:
            if trial == len(trials):
                raise
    raise AssertionError("the last of them either returned or raised")


def _balance(run: Vectors, rest: tuple[FloatArray, FloatArray], step: float, phases: int | None) -> Balance:
    keep = slice(round(1.0 / step), None)
    amplitude, wiper, screen, grid, drive, cross = (run[name][keep] for name in _VECTORS)
    harmonics = None
    if phases is not None:
        samples = np.array([run[name][keep] for name in _sampled(phases)])
        knots = np.array([run[f"xdet.khp{t}"][keep] + run[f"xdet.khs{t}"][keep] for t in range(KNOTS)])
        harmonics = _harmonics(samples, knots)
    return Balance(amplitude, wiper, screen, grid, drive, cross, *rest, harmonics)


def _sampled(phases: int) -> list[str]:
    return [f"xdet.fz{j}" for j in range(phases)]


def _harmonics(samples: FloatArray, knots: FloatArray) -> FloatArray:
    """Return components 1 to 5 (mA) of the cathode current from the samples of the merged tube and its
    knots' factors.

    samples: a row for each phase, knots: a row for each knot; columns are amplitudes.
    """
    phases = samples.shape[0]
    theta = np.pi * (np.arange(phases) + 0.5) / phases
    factors = np.array([np.array(shares(c, cosines(KNOTS))) @ knots for c in np.cos(theta)])
    currents = samples * factors
    rows = [2.0 / phases * np.cos(n * theta) @ currents for n in (1, *HARMONICS)]
    return np.asarray(np.array(rows).T, dtype=np.float64)


def _sweep(session: Session, end: float, step: float, phases: int | None = None) -> Vectors:
    vectors = list(_VECTORS)
    if phases is not None:
        vectors += [*_sampled(phases), *(f"xdet.kh{e}{t}" for e in "ps" for t in range(KNOTS))]
    return session.dc("vsweep", -1.0, end + 1e-9, step, vectors=vectors)


def _rest(session: Session, guess: float) -> tuple[FloatArray, FloatArray]:
    """Return wiper and screen volts without oscillation, both ways from the guess to the ends of the
    control."""
    session.alter("vsweep", -1.0)
    wipers, screens = [], []
    for end in (0.0, 1.0):
        if abs(end - guess) < 1e-3:
            continue
        run = session.dc("vguess", guess, end, (end - guess) / _REST_POINTS, vectors=["knob", "scr"])
        wipers.append(run["knob"])
        screens.append(run["scr"])
    session.alter("vguess", guess)
    wiper, index = np.unique(np.concatenate(wipers), return_index=True)
    return wiper, np.concatenate(screens)[index]


def reduce(
    raw: Balance, build: Build, mode: Mode, *, band: Band, dial_hz: float, status: Status, seconds: float
) -> Oscillation:
    """Turn a balance into the result, without build-up time."""
    turn = Knob(build, raw)
    rest = turn.rest(raw.wiper)
    inside = (raw.wiper >= 0.0) & (raw.wiper <= 1.0)
    loss = 1e3 * mode.decay / abs(mode.residue) * raw.amplitude
    frequency = mode.resonance_hz + _offset(raw, mode) / (2.0 * math.pi)
    amplitudes = AmplitudeMap(
        amplitude_v=raw.amplitude[inside],
        rotation=turn.rotation(raw.wiper[inside]),
        rest_screen_v=rest[inside],
        screen_v=raw.screen[inside],
        grid_v=raw.grid[inside],
        frequency_hz=frequency[inside],
        frame_hz=(mode.resonance_hz + _turned(raw, mode) / (2.0 * math.pi))[inside],
        energy_error=raw.drive_ma[inside] / loss[inside] - 1.0,
    )
    jump = find_jump(raw.amplitude, wiper=raw.wiper, turn=turn)
    starts = bool(inside[0])
    kind = None
    if starts:
        kind = OnsetKind.SOFT
        if jump is not None:
            small = jump.from_v < 3.0 * raw.amplitude[0]
            kind = OnsetKind.HARD if small else OnsetKind.JUMPS
    return Oscillation(
        band=band.name,
        dial_hz=dial_hz,
        status=status,
        kind=kind,
        onset=turn.setting(float(raw.wiper[0])) if starts else None,
        jump=jump,
        amplitudes=amplitudes if inside.any() else None,
        build_up=None,
        hz_per_v=_shift(rest, frequency) if starts else None,
        extra_screen_ohm=0.0,
        tank_hz=mode.resonance_hz,
        tank_q=mode.q,
        tank_ohm=mode.rp,
        seconds=seconds,
        warnings=() if raw.wiper[-1] > 1.0 else ("the amplitude at the top of the control lies beyond 20 V",),
    )


def _offset(raw: Balance, mode: Mode) -> FloatArray:
    """Return the oscillation's distance from resonance, rad/s, at each amplitude.

    Currents out of phase (losses of the mode shape) turn the tank; so do the volts that the cathode current
    and its harmonics make outside the resonance. For a current that depends on the volts alone, without
    memory, the reactive powers n Im(Z_n) |I_n|^2 of all harmonics add up to zero (Groszkowski 1933), from
    which that of the first follows.
    """
    reach = (mode.cathode * (mode.grid - mode.cathode)).real
    reactance = np.full_like(raw.amplitude, mode.stray.imag)
    if raw.harmonics_ma is not None and mode.harmonics:
        power = (raw.harmonics_ma[:, 1:] / raw.harmonics_ma[:, :1]) ** 2
        orders = np.array(HARMONICS, dtype=np.float64)
        reactance = reactance + power @ (orders * np.array([z.imag for z in mode.harmonics]))
    return np.asarray(
        _turned(raw, mode) + mode.decay**2 / (reach * abs(mode.residue)) * reactance, dtype=np.float64
    )


def _turned(raw: Balance, mode: Mode) -> FloatArray:
    """Return the part of it that the envelope deck itself shows."""
    return np.asarray(1e-3 * raw.cross_ma * abs(mode.residue) / raw.amplitude, dtype=np.float64)


class Knob:
    """Translates wiper fractions into rotation and screen volts at rest."""

    def __init__(self, build: Build, raw: Balance) -> None:
        self._law = build.regeneration
        self._rest = PchipInterpolator(raw.rest_wiper, raw.rest_screen, extrapolate=True)
        self.degrees = build.regeneration.rotation

    def rotation(self, wiper: FloatArray) -> FloatArray:
        """Return the rotation (0..1) of wiper fractions; those beyond the ends count as the ends."""
        inside = np.clip(wiper, 0.0, 1.0)
        return np.asarray(rotation_fraction(inside, law=self._law.law, mid=self._law.mid), dtype=np.float64)

    def rest(self, wiper: FloatArray) -> FloatArray:
        """Return the screen volts without oscillation."""
        return np.asarray(self._rest(wiper), dtype=np.float64)

    def setting(self, wiper: float) -> ControlSetting:
        """Return the setting of one wiper fraction."""
        at = np.array([wiper])
        return ControlSetting(float(self.rotation(at)[0]), float(self.rest(at)[0]))


def find_jump(amplitude: FloatArray, *, wiper: FloatArray, turn: Knob) -> Jump | None:
    """Return the largest fold of the curve of wiper against amplitude, or None if it rises throughout.

    Advancing, the amplitude follows the curve up to a local maximum `up` of it and jumps; going back, it
    follows the upper branch down to the minimum that comes next. The extremes are those of parabolas
    through three points.
    """
    peak = np.maximum.accumulate(wiper)
    depth = peak - wiper
    bottom = int(np.argmax(depth))
    top = int(np.argmax(wiper[: bottom + 1]))
    lowest, at_low = _extreme(np.log(amplitude), wiper, bottom)
    highest, at_high = (
        _extreme(np.log(amplitude), wiper, top) if top > 0 else (wiper[0], math.log(amplitude[0]))
    )
    up, down = turn.setting(float(highest)), turn.setting(float(lowest))
    if up.screen_v - down.screen_v < _RESOLUTION_V:
        return None
    beyond = np.flatnonzero(wiper[bottom:] >= highest)
    target = None
    if beyond.size:
        i = bottom + int(beyond[0])
        share = (highest - wiper[i - 1]) / (wiper[i] - wiper[i - 1])
        target = float(amplitude[i - 1] * (amplitude[i] / amplitude[i - 1]) ** share)
    return Jump(
        up=up,
        down=down,
        from_v=math.exp(at_high),
        to_v=target,
        falls_from_v=math.exp(at_low),
        backlash_v=up.screen_v - down.screen_v,
        backlash_deg=(up.rotation - down.rotation) * turn.degrees,
    )


def _extreme(x: FloatArray, y: FloatArray, index: int) -> tuple[float, float]:
    """Return (value, place) of the vertex of the parabola through the point at `index` and its neighbours."""
    if not 0 < index < x.size - 1:
        return float(y[index]), float(x[index])
    near = slice(index - 1, index + 2)
    c, b, a = np.polynomial.polynomial.polyfit(x[near] - x[index], y[near], 2)
    place = -b / (2.0 * a) if a != 0.0 else 0.0
    return float(c + b * place + a * place * place), float(x[index] + place)


def _shift(rest: FloatArray, frequency: FloatArray) -> float | None:
    """Return the shift of frequency per volt of rest screen over the first half volt above onset."""
    rise = np.flatnonzero(rest >= rest[0] + 0.5)
    if not rise.size:
        return None
    end = int(rise[0])
    return float((frequency[end] - frequency[0]) / (rest[end] - rest[0]))


def build_up(
    build: Build, cards: Cards, bench: Bench, mode: Mode, *, found: Oscillation, advance: float = 0.01
) -> BuildUp | None:
    """Return how long oscillation takes to grow with the control turned to `advance` of the screen volts
    above onset.

    A time run of the envelope from the thermal volts sqrt(kT/C) of the tank (Nyquist 1928), 300 K. None
    without an onset.
    """
    amplitudes = found.amplitudes
    if found.onset is None or amplitudes is None:
        return None
    curve = np.linspace(0.0, 1.0, 401)
    volts = np.interp(curve, amplitudes.rotation, amplitudes.rest_screen_v)
    wanted = found.onset.screen_v * (1.0 + advance)
    if volts[-1] < wanted:
        return None
    rotation = float(np.interp(wanted, volts, curve))
    seed = math.sqrt(_BOLTZMANN_J / mode.capacitance)
    deck = envelope_deck(
        build,
        cards,
        mode,
        rotation=rotation,
        reference_hz=float(amplitudes.frame_hz[0]),
        with_audio=False,
    )
    span = 40.0 / (mode.decay * advance)
    with bench.session(deck) as session:
        session.alter("isigi", kick(seed, mode), "pwl")
        run = session.tran(span / 2000.0, span, 0.0, span / 1000.0, vectors=["amp"])
    return _growth(run["time"], run["amp"], seed=seed, setting=ControlSetting(rotation, wanted))


def kick(volts: float, mode: Mode) -> list[float]:
    """Return the points of a current pulse into the tank that leaves `volts` in it, 2 us after the start."""
    charge = volts / abs(mode.residue)
    strength = charge / 1.1e-6  # flanks of 0.1 us about a flat top of 1 us
    return [0.0, 0.0, 1.0e-6, 0.0, 1.1e-6, strength, 2.1e-6, strength, 2.2e-6, 0.0]


def _growth(moments: FloatArray, amplitude: FloatArray, *, seed: float, setting: ControlSetting) -> BuildUp:
    final = float(amplitude[-1])
    early = (amplitude > 3.0 * seed) & (amplitude < 0.02 * final)
    rate = float(np.polyfit(moments[early], np.log(amplitude[early]), 1)[0]) if early.sum() > 5 else 0.0
    reached = np.flatnonzero(amplitude >= 0.9 * final)
    settled = abs(amplitude[-1] - np.interp(0.9 * moments[-1], moments, amplitude)) < 0.02 * final
    seconds = float(moments[reached[0]]) if reached.size and settled and rate > 0.0 else None
    return BuildUp(setting=setting, seconds=seconds, rate=rate, final_v=final)


def run(
    build: Build,
    cards: Cards,
    bench: Bench,
    *,
    band: Band,
    onset: Onset,
    extra_screen_ohm: float = 0.0,
    time_runs: bool = True,
) -> Oscillation:
    """Answer for the band and dial setting of a loop-gain search (`onset`).

    extra_screen_ohm: what `build` has more in the screen's lead than the user's, told in the result.
    time_runs: False leaves out the build-up time. A simulation that fails gives status FAILED with the
    reason as its warning.
    """
    if onset.status is Status.FAILED or onset.tuning_farad is None:
        return nothing(band, onset, status=Status.FAILED, warnings=onset.warnings)
    law = build.regeneration
    rotation = onset.onset.rotation if onset.onset is not None else 0.5
    guess = float(wiper_fraction(rotation, law=law.law, mid=law.mid))
    began = time.perf_counter()
    try:
        mode = tuned_mode(
            build,
            cards,
            bench,
            band=band,
            dial_hz=onset.dial_hz,
            tuning=onset.tuning_farad,
            rotation=rotation,
        )
        if onset.status is not Status.OSCILLATES:
            return nothing(band, onset, status=onset.status, mode=mode, warnings=_WHY_NOT[onset.status])
        # under 'focus' the parting follows every sample, and the samples hold no factors of their own
        phases = None if cards.detector.law().focus else PHASES
        raw = sweep(bench, plan(build, cards, mode, guess=guess), guess=guess, phases=phases)
        found = reduce(
            raw,
            build,
            mode,
            band=band,
            dial_hz=onset.dial_hz,
            status=onset.status,
            seconds=time.perf_counter() - began,
        )
        grown = build_up(build, cards, bench, mode, found=found) if time_runs else None
    except (EngineError, ValueError) as error:
        return nothing(band, onset, status=Status.FAILED, warnings=(str(error),))
    return dataclasses.replace(found, build_up=grown, extra_screen_ohm=extra_screen_ohm)


def nothing(
    band: Band,
    onset: Onset,
    *,
    status: Status,
    mode: Mode | None = None,
    warnings: tuple[str, ...] = (),
) -> Oscillation:
    """Return the result of a band without oscillation, or whose simulation failed."""
    values: dict[str, Any] = {
        **dict.fromkeys(f.name for f in dataclasses.fields(Oscillation)),
        "band": band.name,
        "dial_hz": onset.dial_hz,
        "status": status,
        "extra_screen_ohm": 0.0,
        "tank_hz": None if mode is None else mode.resonance_hz,
        "tank_q": None if mode is None else mode.q,
        "tank_ohm": None if mode is None else mode.rp,
        "seconds": 0.0,
        "warnings": warnings,
    }
    return Oscillation(**values)
