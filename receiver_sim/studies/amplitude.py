"""Does oscillation slide in or jump, with how much backlash, and how strong is it? (envelope view, d.c.
analyses)"""

from __future__ import annotations

import dataclasses
import math
import time
from typing import Any, NamedTuple

import numpy as np

from receiver_sim.circuit.assemble import regeneration_control
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.control import Control
from receiver_sim.circuit.mode import Mode
from receiver_sim.circuit.phases import PHASES
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.circuit.views.envelope import (
    LOWEST_V,
    balance_circuit,
    envelope_circuit,
    imposed_circuit,
    kick,
)
from receiver_sim.engine import EngineError, EngineFailed
from receiver_sim.errors import NoAnswer
from receiver_sim.measure import imposed_amplitude as imposed
from receiver_sim.measure import throttled_balance as throttled
from receiver_sim.measure import views_compared
from receiver_sim.measure.amplitude_balance import (
    Balance,
    balance,
    coarse_sweep,
    sweep,
    within_control,
)
from receiver_sim.measure.loaded import loaded
from receiver_sim.measure.mode import HARMONICS, tuned_mode
from receiver_sim.measure.space_charge_pull import pulled_by_charge
from receiver_sim.physics.monotone_cubic import MonotoneCubic
from receiver_sim.receiver import Receiver, Tuned
from receiver_sim.results.base import Figure, FloatArray, Status
from receiver_sim.results.envelope import (
    AmplitudeMap,
    BuildUp,
    Jump,
    MapEnd,
    OnceStarted,
    OnsetKind,
    Oscillation,
)
from receiver_sim.results.onset import REVERSED, SCREEN, ControlSetting, Onset
from receiver_sim.schema import Band, Build
from receiver_sim.schema.card import TubeCard

_RESOLUTION_V, _RESOLUTION_F = 1e-3, 0.02e-12
"""Backlash in volts or farads below which an onset counts as soft: no hand on a knob feels a millivolt, or a
fiftieth of a picofarad.
"""

_AT_TOP, _AT_REACH = 0.999, 0.99
"""Wiper fraction, and part of the largest amplitude looked at, at which a map has come to its end."""

_FEW = 4
"""Points that a map needs at least."""

_FEW_PHASES = 6
"""Samples over half a cycle where backlash and the top alone are wanted."""

_BOLTZMANN_J = 1.380649e-23 * 300.0


def plan(build: Build, cards: Cards, mode: Mode, *, guess: float, phases: int = PHASES) -> Circuit:
    """Return the circuit of the balance sweep; `guess`: wiper fraction to begin from."""
    return balance_circuit(build, cards, mode, guess=guess, phases=phases)


def reduce(
    raw: Balance, control: Control, mode: Mode, *, band: Band, onset: Onset, card: TubeCard | None = None
) -> Oscillation:
    """Turn a balance into the result, without build-up time, the time it took and what lies beyond the
    control. card: of the detector's tube, for what its space charge does; None: not looked at.

    Where the loop gain found no onset (`onset`) the balance began at an end of the control: none, then. Of
    fewer than `_FEW` amplitudes there is no map.
    """
    if raw.amplitude.size < _FEW:
        return nothing(band, onset, status=onset.status, mode=mode)
    turn = Knob(control, raw)
    rest = turn.rest(raw.wiper)
    inside = (raw.wiper >= 0.0) & (raw.wiper <= 1.0)
    conductance, resonance, offset, turned = _tank(raw, mode, control)
    loss = 1e3 * conductance * raw.amplitude
    frequency = resonance + offset / (2.0 * math.pi)
    on_screen = control.quantity == SCREEN
    pulled = None if card is None else pulled_by_charge(raw, mode, control, card=card)
    amplitudes = AmplitudeMap(
        amplitude_v=raw.amplitude[inside],
        rotation=turn.rotation(raw.wiper[inside]),
        rest_screen_v=rest[inside] if on_screen else None,
        screen_v=raw.figure[inside] if on_screen else None,
        grid_v=raw.grid[inside],
        frequency_hz=frequency[inside],
        frame_hz=(resonance + turned / (2.0 * math.pi))[inside],
        energy_error=raw.drive_ma[inside] / loss[inside] - 1.0,
        ends=_end(raw),
        rest_value=None if on_screen else rest[inside],
        value=None if on_screen else raw.figure[inside],
        **control.sets,
        space_charge_hz=None if pulled is None else pulled[inside],
    )
    starts = onset.status is Status.OSCILLATES and bool(inside[0])
    jump = None
    if onset.status is not Status.DOES_NOT:  # what never starts does not jump in, either
        jump = find_jump(raw.amplitude, wiper=raw.wiper, turn=turn)
    kind = None
    if starts:
        kind = OnsetKind.SOFT
        if jump is not None:
            small = jump.from_v < 3.0 * raw.amplitude[0]
            kind = OnsetKind.HARD if small else OnsetKind.JUMPS
    moved = frequency if pulled is None else frequency + pulled
    shift = _shift(rest, moved, turn.unit) if starts else None
    return Oscillation(
        band=band.name,
        dial_hz=onset.dial_hz,
        status=onset.status,
        kind=kind,
        onset=turn.setting(float(raw.wiper[0])) if starts else None,
        jump=jump,
        amplitudes=amplitudes if inside.any() else None,
        build_up=None,
        hz_per_v=shift if turn.unit == "V" else None,
        shift_in=None if turn.unit == "V" or shift is None else Figure(shift, f"Hz/{turn.unit}"),
        extra_screen_ohm=0.0,
        tank_hz=mode.resonance_hz,
        tank_q=mode.q,
        tank_ohm=mode.rp,
        seconds=0.0,
    )


def _end(raw: Balance) -> MapEnd:
    """Return what ends a balance at its largest amplitude."""
    if raw.wiper[-1] > _AT_TOP:
        return MapEnd.CONTROL
    if raw.end is imposed.CurveEnd.FOLD:
        return MapEnd.FOLD
    return MapEnd.REACH if raw.amplitude[-1] > _AT_REACH * imposed.HIGHEST_V else MapEnd.LOST


def once_started(raw: Balance, looked: imposed.Looked, *, turn: Knob) -> OnceStarted:
    """Return what a shock starts, from what the top of the control sustains and the balance from there."""
    assert looked.begins_v is not None
    wiper, place = _extreme(np.log(raw.amplitude), raw.wiper, int(np.argmin(raw.wiper)))
    at, amplitude_v = turn.setting(wiper), math.exp(place)
    lets_go = bool(looked.floor.surplus.max() < 0.0)
    if not lets_go:
        lasting = imposed.ends(looked.floor)
        at = turn.setting(0.0)
        amplitude_v = float(looked.floor.amplitude[-1]) if lasting is None else lasting
    return OnceStarted(
        holds_from=at,
        amplitude_v=amplitude_v,
        lets_go=lets_go,
        shock_v=looked.begins_v,
        top_v=looked.ends_v,
    )


def _tank(raw: Balance, mode: Mode, control: Control) -> tuple[FloatArray, ...]:
    """Return at each amplitude the tank's conductance (S) and resonance (Hz), the oscillation's distance
    from it (rad/s), and the part of that which the envelope deck shows; of the mode at each setting where the
    control acts on the tank.
    """
    if not mode.along:
        one = np.ones_like(raw.amplitude)
        return mode.conductance * one, mode.resonance_hz * one, _offset(raw, mode), _turned(raw, mode)
    rows = []
    for i, share in enumerate(raw.wiper):
        there, single = mode.at(control.rotation(float(share))), _single(raw, i)
        turned = (_offset(single, there)[0], _turned(single, there)[0])
        rows.append((there.conductance, there.resonance_hz, *turned))
    return tuple(np.array(column) for column in zip(*rows, strict=True))


def _single(raw: Balance, i: int) -> Balance:
    here, harmonics = slice(i, i + 1), raw.harmonics_ma
    return dataclasses.replace(
        raw,
        amplitude=raw.amplitude[here],
        cross_ma=raw.cross_ma[here],
        harmonics_ma=None if harmonics is None else harmonics[here],
    )


def _offset(raw: Balance, mode: Mode) -> FloatArray:
    """Return the oscillation's distance from resonance, rad/s, at each amplitude.

    Currents out of phase (losses of the mode shape, the cathode current in the strays) turn the tank; so do
    the volts that its harmonics make. For a current that depends on the volts alone, without memory, the
    reactive powers n Im(Z_n) |I_n|^2 of all harmonics add up to zero (Groszkowski 1933), from which that of
    the first follows.
    """
    reach = mode.transfer.real
    reactance = np.zeros_like(raw.amplitude)
    if raw.harmonics_ma is not None and mode.harmonics:
        power = (raw.harmonics_ma[:, 2:] / raw.harmonics_ma[:, 1:2]) ** 2
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

    def __init__(self, control: Control, raw: Balance) -> None:
        self._control = control
        self._rest = MonotoneCubic(raw.rest_wiper, raw.rest_figure)
        self.degrees, self.unit = control.degrees, control.unit

    def rotation(self, wiper: FloatArray) -> FloatArray:
        """Return the rotation (0..1) of wiper fractions; those beyond the ends count as the ends."""
        inside = np.clip(wiper, 0.0, 1.0)
        return np.array([self._control.rotation(one) for one in inside], dtype=np.float64)

    def rest(self, wiper: FloatArray) -> FloatArray:
        """Return the screen volts without oscillation."""
        return np.asarray(self._rest(wiper), dtype=np.float64)

    def setting(self, wiper: float) -> ControlSetting:
        """Return the setting of one wiper fraction."""
        at = np.array([wiper])
        return ControlSetting.of(float(self.rotation(at)[0]), float(self.rest(at)[0]), **self._control.sets)


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
    in_volts = turn.unit == "V"
    if up.figure - down.figure < (_RESOLUTION_V if in_volts else _RESOLUTION_F):
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
        backlash_v=up.figure - down.figure if in_volts else None,
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


def _shift(rest: FloatArray, frequency: FloatArray, unit: str) -> float | None:
    """Return the shift of frequency for each V or F of the control over the first half volt, or picofarad,
    above onset.
    """
    rise = np.flatnonzero(rest >= rest[0] + (0.5 if unit == "V" else 1e-12))
    if not rise.size:
        return None
    end = int(rise[0])
    return float((frequency[end] - frequency[0]) / (rest[end] - rest[0]))


def build_up(receiver: Receiver, mode: Mode, *, found: Oscillation, advance: float = 0.01) -> BuildUp | None:
    """Return how long oscillation takes to grow with the control turned to `advance` of the screen volts
    above onset.

    A time run of the envelope from the thermal volts sqrt(kT/C) of the tank (Nyquist 1928), 300 K. None
    without an onset.
    """
    amplitudes = found.amplitudes
    if found.onset is None or amplitudes is None:
        return None
    curve = np.linspace(0.0, 1.0, 401)
    volts = np.interp(curve, amplitudes.rotation, amplitudes.rest)
    wanted = found.onset.figure * (1.0 + advance)
    if volts[-1] < wanted:
        return None
    rotation = float(np.interp(wanted, volts, curve))
    seed = math.sqrt(_BOLTZMANN_J / mode.capacitance)
    circuit = envelope_circuit(
        receiver.build,
        receiver.cards,
        mode,
        rotation=rotation,
        reference_hz=float(amplitudes.frame_hz[0]),
        with_audio=False,
    )
    span = 40.0 / (mode.decay * advance)
    amplitude = circuit.node(Place.AMPLITUDE)
    with loaded(receiver.bench, circuit) as on:
        on.course(Role.IN_PHASE, "pwl", kick(seed, mode))
        run = on.session.tran(span / 2000.0, span, 0.0, span / 1000.0, vectors=[amplitude])
    return _growth(run["time"], run[amplitude], seed=seed, setting=amplitudes.setting(rotation, wanted))


def _growth(moments: FloatArray, amplitude: FloatArray, *, seed: float, setting: ControlSetting) -> BuildUp:
    final = float(amplitude[-1])
    early = (amplitude > 3.0 * seed) & (amplitude < 0.02 * final)
    rate = float(np.polyfit(moments[early], np.log(amplitude[early]), 1)[0]) if early.sum() > 5 else 0.0
    reached = np.flatnonzero(amplitude >= 0.9 * final)
    settled = abs(amplitude[-1] - np.interp(0.9 * moments[-1], moments, amplitude)) < 0.02 * final
    seconds = float(moments[reached[0]]) if reached.size and settled and rate > 0.0 else None
    return BuildUp(setting=setting, seconds=seconds, rate=rate, final_v=final)


def run(tuned: Tuned, *, extra_screen_ohm: float = 0.0, time_runs: bool = True) -> Oscillation:
    """Answer for a dial setting.

    extra_screen_ohm: what the build has more in the screen's lead than the user's, reported in the result.
    time_runs: False leaves out the build-up time. A simulation that fails gives status FAILED with the
    reason as its warning.
    """
    build, cards, band, onset = tuned.build, tuned.cards, tuned.band, tuned.onset
    if onset.status is Status.FAILED or onset.tuning_farad is None:
        return nothing(band, onset, status=Status.FAILED, warnings=onset.warnings)
    control = regeneration_control(build, cards)
    rotation = onset.nearest_end if onset.onset is None else onset.onset.rotation
    guess = control.share(rotation)
    began = time.perf_counter()
    grown = None
    try:
        mode = tuned.mode(rotation)
        # near the lower stop of a throttle hardly any feedback is left, whichever way the tickler is wound
        reversed_ = REVERSED in onset.warnings if control.on_tank else mode.transfer.real < 0.0
        if reversed_:
            return nothing(band, onset, status=Status.DOES_NOT, warnings=(REVERSED,))
        if control.on_tank:
            found = _throttled(tuned, mode, control=control)
            found = dataclasses.replace(found, seconds=time.perf_counter() - began)
            if time_runs and found.onset is not None:
                grown = build_up(tuned.receiver, mode, found=found)
        elif onset.status is not Status.OSCILLATES:
            found = _without_onset(tuned, mode)
        else:
            raw, said_of_it = balance(
                tuned.bench,
                plan(build, cards, mode, guess=guess),
                imposed_circuit(build, cards, mode, amplitude=LOWEST_V, rotation=rotation),
                mode,
                guess=guess,
                phases=_sampling(cards),
            )
            found = reduce(raw, control, mode, band=band, onset=onset, card=cards.detector)
            said_too = (None if found.amplitudes is None else said_of_it, views_compared.onsets(found, onset))
            words = (*found.warnings, *(text for text in said_too if text is not None))
            found = dataclasses.replace(found, seconds=time.perf_counter() - began, warnings=words)
            grown = build_up(tuned.receiver, mode, found=found) if time_runs else None
    except (EngineError, NoAnswer) as error:
        return nothing(band, onset, status=Status.FAILED, warnings=(str(error),))
    more = tuple(text for text in onset.warnings if text not in found.warnings)
    warnings = (*found.warnings, *more) if onset.status is Status.OSCILLATES else found.warnings
    warnings = (*warnings, *beside_the_tank(mode, band=band, staged=build.rf_stage is not None))
    return dataclasses.replace(found, build_up=grown, extra_screen_ohm=extra_screen_ohm, warnings=warnings)


class InShort(NamedTuple):
    """Amplitude (V at the hot end) at the top of the control, or where the sweep ends, and backlash (deg)."""

    top_v: float
    backlash_deg: float


def in_short(tuned: Tuned, *, tuning: float, rotation: float, reach_v: float) -> InShort | None:
    """Return what a coarse sweep says about the middle of a band's dial; None for a control that acts on the
    tank.

    tuning: of the capacitor, F; rotation: onset on the control (0..1); reach_v: amplitude that a like set
    reaches at the top. Raises EngineError, NoAnswer.
    """
    control = regeneration_control(tuned.build, tuned.cards)
    if control.on_tank:
        return None
    mode = tuned_mode(tuned, tuning=tuning, rotation=rotation)
    guess = control.share(rotation)
    circuit = plan(tuned.build, tuned.cards, mode, guess=guess, phases=_FEW_PHASES)
    try:
        raw = coarse_sweep(tuned.bench, circuit, guess=guess, reach_v=reach_v)
    except EngineFailed:  # it strayed where a starved tube asks for small steps
        raw = sweep(tuned.bench, circuit, guess=guess)
    jump = find_jump(raw.amplitude, wiper=raw.wiper, turn=Knob(control, raw))
    beyond = np.flatnonzero(raw.wiper > 1.0)
    top = float(raw.amplitude[-1])
    if beyond.size and beyond[-1] == raw.wiper.size - 1:
        inside = np.flatnonzero(raw.wiper <= 1.0)
        # of a set whose onset lies at the very top the least amplitude of the sweep is beyond it
        pair = slice(inside[-1], inside[-1] + 2) if inside.size else slice(1)
        top = math.exp(float(np.interp(1.0, raw.wiper[pair], np.log(raw.amplitude[pair]))))
    return InShort(top, 0.0 if jump is None else jump.backlash_deg)


def _sampling(cards: Cards) -> int | None:
    """Return the samples to read harmonics from.

    Under 'focus' the parting follows every sample, and the samples hold no factors of their own.
    """
    return None if cards.detector.law().focus else PHASES


def said(looked: imposed.Looked, *, status: Status) -> str:
    """Return a sentence on a band without onset on the control."""
    reach = f"{looked.pays.amplitude[-1]:.0f} V"
    if status is Status.NOT_IN_RANGE:
        more = "" if looked.begins_v is not None else f", with more than {reach} even at its bottom"
        return f"it oscillates all over the control{more}"
    if looked.begins_v is not None:
        return _SHOCKED
    if looked.elsewhere is not None:
        return (
            f"no setting starts oscillation from nothing; a shock starts it with the wiper at "
            f"{100.0 * looked.elsewhere:.0f} % of the track, though not at the top: not looked into further"
        )
    return _NOTHING.format(reach)


def unmapped(looked: imposed.Looked, *, status: Status) -> str:
    """Return a sentence on a band that sustains next to the same amplitude over the whole control, so that no
    setting can be told from it."""
    top, floor = looked.ends_v, imposed.ends(looked.floor)
    if status is Status.NOT_IN_RANGE and top is not None and floor is not None:
        words = "the control hardly changes its strength: {:.3g} V at the lower stop, {:.3g} V at the top"
        return words.format(floor, top)
    return "the control hardly changes the amplitudes that it sustains: no setting can be told from them"


def _throttled(tuned: Tuned, mode: Mode, *, control: Control) -> Oscillation:
    """Answer for a control that acts on the tank itself, whatever the search found."""
    try:
        known = throttled.sheet(tuned, mode, phases=_sampling(tuned.cards))
    except NoAnswer:
        if tuned.onset.status is not Status.DOES_NOT:
            raise
        return nothing(tuned.band, tuned.onset, status=tuned.onset.status, mode=mode, warnings=(_UNFED,))
    settings = throttled.lowest_settings(known)
    holds = ~np.isnan(settings)
    words: tuple[str, ...] = ()
    if tuned.onset.status is Status.DOES_NOT:
        words = (_SHOCKED,) if holds.any() else (_NOTHING.format(f"{known.amplitude[-1]:.0f} V"),)
    elif tuned.onset.status is Status.NOT_IN_RANGE:
        words = ("it oscillates all over the control",)
    if np.count_nonzero(holds) < _FEW:
        return nothing(tuned.band, tuned.onset, status=tuned.onset.status, mode=mode, warnings=words)
    raw = throttled.balance(tuned, mode, control=control, known=known, rotations=settings)
    found = reduce(raw, control, mode, band=tuned.band, onset=tuned.onset, card=tuned.cards.detector)
    started = None
    if tuned.onset.status is Status.DOES_NOT:
        looked = throttled.looked_at(known, raw)
        started = once_started(raw, looked, turn=Knob(control, raw))
    return dataclasses.replace(found, once_started=started, warnings=words)


_TWICE = (
    "the tank resonates twice, at {:.4g} and at {:.4g} MHz, as where {} has a resonance of its own: "
    "amplitudes and sound take the first alone, the loop gain both; couple {} more loosely"
)
_BY_ITSELF = (
    "the r.f. stage oscillates by itself at {:.4g} MHz, through what its grid and plate circuits have in "
    "common: no figure of this band holds while it does; "
)
_FEEDS_BACK = (
    "the r.f. stage feeds back: with it the tank has a Q of {:.0f}, its coil alone {:.0f}, so it is not far "
    "from oscillating by itself; "
)
_TAME = "screen its plate lead from its grid, damp its grid coil or give it less gain"

_FED = 1.1
"""Q of the tank over the best Q of the coils in it from which an r.f. stage is said to feed back: a passive
circuit stays below one."""


def beside_the_tank(mode: Mode, *, band: Band, staged: bool) -> tuple[str, ...]:
    """Say what else than the tank shows in its resonance: an aerial's own, or an r.f. stage that feeds back.

    staged: whether the set has an r.f. stage.
    """
    if staged and mode.beside_hz is not None and mode.beside_decay is not None and mode.beside_decay < 0.0:
        return (_BY_ITSELF.format(mode.beside_hz / 1e6) + _TAME,)
    words = []
    if mode.beside_hz is not None:
        what = ("an r.f. stage", "the stage") if staged else ("an aerial", "the aerial")
        words.append(_TWICE.format(mode.resonance_hz / 1e6, mode.beside_hz / 1e6, *what))
    best = max(band.coil.q, 0.0 if band.rf_coil is None else band.rf_coil.q)
    if staged and mode.q > _FED * best:
        words.append(_FEEDS_BACK.format(mode.q, band.coil.q) + _TAME)
    return tuple(words)


_UNFED = "at no setting of the control does enough of the plate's current go through the tickler"
_SHOCKED = "it does not start by itself, but continues once something has started it"
_NOTHING = (
    "no setting starts oscillation, and a shock starts none that continues: at every amplitude up to {} the "
    "tube gives less than the tank loses"
)


def _without_onset(tuned: Tuned, mode: Mode) -> Oscillation:
    """Answer for a band whose onset lies beyond an end of the control.

    The amplitudes that the end sustains are found first, with the control held there; from one of them on
    the balance follows the curve over the control.
    """
    began = time.perf_counter()
    end = tuned.onset.nearest_end
    looked = imposed.look(tuned, mode, end=end)
    differ = views_compared.stops(looked, tuned.onset)
    if differ is not None:
        return nothing(tuned.band, tuned.onset, status=tuned.onset.status, mode=mode, warnings=(differ,))
    words = said(looked, status=tuned.onset.status)
    control = regeneration_control(tuned.build, tuned.cards)
    circuit = imposed_circuit(tuned.build, tuned.cards, mode, amplitude=LOWEST_V, rotation=end)
    beyond = imposed.onset_beyond(tuned.bench, circuit, mode, end=end)
    if looked.begins_v is None:
        found = nothing(tuned.band, tuned.onset, status=tuned.onset.status, mode=mode, warnings=(words,))
        return dataclasses.replace(found, onset_beyond_v=beyond, quantity=control.quantity)
    raw = within_control(tuned.bench, circuit, mode, looked=looked, phases=_sampling(tuned.cards))
    found = reduce(raw, control, mode, band=tuned.band, onset=tuned.onset, card=tuned.cards.detector)
    if found.amplitudes is None:
        both = (words, unmapped(looked, status=tuned.onset.status))
        return dataclasses.replace(found, onset_beyond_v=beyond, quantity=control.quantity, warnings=both)
    took = time.perf_counter() - began
    started = None
    if tuned.onset.status is Status.DOES_NOT:
        started = once_started(raw, looked, turn=Knob(control, raw))
    return dataclasses.replace(
        found,
        once_started=started,
        onset_beyond_v=beyond,
        seconds=took,
        warnings=(words,),
        quantity=control.quantity,
    )


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
