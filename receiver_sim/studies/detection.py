"""How sensitive is the detector to AM below onset and to a beat note above it, and where is it best?
(envelope view)"""

from __future__ import annotations

import math
from contextlib import AbstractContextManager

import numpy as np
from scipy.optimize import brentq

from receiver_sim.circuit.blocks.phones import phone_node
from receiver_sim.circuit.mode import Mode
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.circuit.views.envelope import envelope_circuit, imposed_circuit
from receiver_sim.engine import Bench
from receiver_sim.errors import NoAnswer
from receiver_sim.measure.loaded import Loaded, loaded
from receiver_sim.results.base import FloatArray
from receiver_sim.results.envelope import (
    AmplitudeMap,
    Detection,
    DetectionCurve,
    Oscillation,
    Pulling,
    TransferCurve,
)
from receiver_sim.results.onset import ControlSetting
from receiver_sim.schema import Band, Build

AM_DEPTH = 0.3
AM_HZ = 400.0
"""The test signal of receiver measurements: 30 % at 400 Hz (standard practice of the tube age; from memory,
high)."""

BEAT_HZ = 800.0
CARRIER_V = 100e-6
"""E.m.f. in the aerial, r.m.s., of the curves over the control: a fair signal."""

BELOW = (0.3, 0.2, 0.14, 0.1, 0.07, 0.05, 0.035, 0.025, 0.017, 0.012, 0.008, 0.005, 0.003, 0.0015)
"""Screen volts below onset, relative, at which AM is listened to."""

ABOVE = (0.0015, 0.003, 0.005, 0.008, 0.012, 0.02, 0.03, 0.05, 0.08, 0.12, 0.2, 0.3, 0.45)
"""Screen volts above onset, relative, at which a beat note is listened to."""

LEVELS = tuple(1e-6 * 10.0 ** (k / 4.0) for k in range(25))
"""Carriers of the transfer curves, V r.m.s.: 1 uV to 1 V."""

OFFSETS = (0.5, 0.9, 1.1, 1.3, 1.7, 2.5, 5.0)
"""Offsets of the carrier at which the beat is counted, in half-widths of the range of locking."""


class Listener:
    """Asks the envelope decks of one band for audio; `rotations`: from screen volts relative to onset to
    the knob."""

    def __init__(
        self,
        build: Build,
        cards: Cards,
        bench: Bench,
        mode: Mode,
        *,
        found: Oscillation,
        output: int,
        amperes: float | None = None,
    ) -> None:
        if found.onset is None or found.amplitudes is None:
            raise NoAnswer("without an onset there is no setting to listen at")
        if amperes is None:
            if mode.aerial is None:
                raise NoAnswer("this build has no aerial; add the key 'aerial' for signals to come in")
            amperes = abs(mode.aerial)
        self.build, self.cards, self.bench, self.mode = build, cards, bench, mode
        self.map: AmplitudeMap = found.amplitudes
        self.onset: ControlSetting = found.onset
        self.node = phone_node(build, output)
        self.name = build.phones[output].name
        self.amperes = amperes
        """Amperes into the hot end for each volt of e.m.f.; `amperes` if given, so without an aerial, too."""

    def current(self, carrier_v: float) -> float:
        """Return the peak current into the tank (A) of a carrier of `carrier_v` volts r.m.s. in the
        aerial."""
        return math.sqrt(2.0) * carrier_v * self.amperes

    def rotation_above(self, part: float) -> float | None:
        """Return the rotation at which the screen at rest is `part` above that of onset; None beyond the
        control."""
        wanted = self.onset.screen_v * (1.0 + part)
        volts = np.maximum.accumulate(self.map.rest_screen_v)
        if wanted > volts[-1]:
            return None
        return float(np.interp(wanted, volts, self.map.rotation))

    def rotation_below(self, part: float) -> float:
        """Return the rotation `part` of the screen volts below onset, taking them as proportional to the
        track there."""
        return self.onset.rotation * (1.0 - part)

    def am(self, rotation: float, carrier_v: float, *, tone: float = AM_HZ) -> tuple[float, float]:
        """Return (amplitude at the hot end, r.m.s. audio) for an AM carrier in tune, below onset."""
        current = self.current(carrier_v)
        with self._imposed(rotation, current * self.mode.rp) as on:
            amplitude = self._amplitude(on, current)
            on.set(Role.AMPLITUDE, amplitude)
            answer = self._answer(on, tone)
        return amplitude, AM_DEPTH * current * answer / math.sqrt(2.0)

    def beat(self, rotation: float, carrier_v: float, *, tone: float = BEAT_HZ) -> tuple[float, float]:
        """Return (amplitude of oscillation, r.m.s. audio) for a weak carrier `tone` away from the
        oscillation.

        Outside the range of locking the carrier's part along the swing is a current of that frequency; its
        part across turns the phase, which nobody hears.
        """
        amplitude = float(np.interp(rotation, self.map.rotation, self.map.amplitude_v))
        with self._imposed(rotation, amplitude) as on:
            answer = self._answer(on, tone)
        return amplitude, self.current(carrier_v) * answer / math.sqrt(2.0)

    def _imposed(self, rotation: float, amplitude: float) -> AbstractContextManager[Loaded]:
        circuit = imposed_circuit(self.build, self.cards, self.mode, amplitude=amplitude, rotation=rotation)
        return loaded(self.bench, circuit)

    def _amplitude(self, on: Loaded, current: float) -> float:
        """Return the amplitude that a current in tune sustains: the root of G a - drive(a) = I, by Brent's
        method."""
        capacitance, node = 1.0 / abs(self.mode.residue), on.node(Place.DRIVE)

        def excess(logarithm: float) -> float:
            amplitude = math.exp(logarithm)
            on.set(Role.AMPLITUDE, amplitude)
            drive = 1e-3 * float(on.session.op(vectors=[node])[node][0])
            return math.log(max(self.mode.decay * capacitance * amplitude - drive, 1e-30) / current)

        low = math.log(current * self.mode.rp) - 0.1
        high = low + 1.0
        while excess(high) < 0.0:
            high += 1.0
            if high > math.log(50.0):
                raise NoAnswer("this setting lies above onset: the amplitude finds no end")
        return math.exp(float(brentq(excess, low - 2.0, high, xtol=1e-6)))

    def _answer(self, on: Loaded, tone: float) -> float:
        """Return volts (peak) of audio for each ampere of a tone in the current along the swing."""
        drive = on.node(Place.DRIVE)
        run = on.session.ac(tone, tone, 1, vectors=["frequency", drive, self.node])
        capacitance = 1.0 / abs(self.mode.residue)
        admittance = capacitance * (2j * math.pi * tone + self.mode.decay) - 1e-3 * run[drive][0]
        return float(abs(run[self.node][0] / admittance))

    def beat_in_time(
        self, rotation: float, carrier_v: float, *, offset_hz: float, seconds: float
    ) -> tuple[float, float]:
        """Return (frequency of the beat, r.m.s. audio) from a time run with a carrier `offset_hz` above the
        oscillation.

        The beat is counted from the phase of tank against carrier over the second half of the run.
        """
        frequency = float(np.interp(rotation, self.map.rotation, self.map.frame_hz))
        amplitude = float(np.interp(rotation, self.map.rotation, self.map.amplitude_v))
        circuit = envelope_circuit(
            self.build, self.cards, self.mode, rotation=rotation, reference_hz=frequency
        )
        ti, tq = circuit.node(Place.IN_PHASE), circuit.node(Place.QUADRATURE)
        current = self.current(carrier_v)
        with loaded(self.bench, circuit) as on:
            on.course(Role.IN_PHASE, "sin", [0.0, current, offset_hz, 0.0, 0.0, 90.0])
            on.course(Role.QUADRATURE, "sin", [0.0, current, offset_hz, 0.0, 0.0, 0.0])
            step = min(0.02 / abs(offset_hz), 5e-5)
            run = on.session.tran(step, seconds, 0.0, step, vectors=[ti, tq, self.node])
        if amplitude <= 0.0:
            raise NoAnswer("no oscillation at this setting")
        time = np.linspace(0.5 * seconds, seconds, 20001)
        tank = np.interp(time, run["time"], run[ti]) + 1j * np.interp(time, run["time"], run[tq])
        against = np.unwrap(np.angle(tank)) - 2.0 * np.pi * offset_hz * time
        audio = np.interp(time, run["time"], run[self.node])
        return _beat(time, against), float(np.std(audio))


def _beat(time: FloatArray, phase: FloatArray) -> float:
    """Return turns a second of a phase, over whole turns, since a pulled beat is uneven within one; 0 for
    less than one."""
    turned = np.abs(phase - phase[0]) / (2.0 * np.pi)
    whole = math.floor(turned[-1])
    if whole < 1:
        return 0.0
    return float(whole / (np.interp(whole, np.maximum.accumulate(turned), time) - time[0]))


def am_curve(ear: Listener, *, carrier_v: float = CARRIER_V) -> DetectionCurve:
    """Return audio of the AM test signal against the control below onset."""
    rotations = np.array([ear.rotation_below(part) for part in BELOW])
    rows = [ear.am(float(r), carrier_v) for r in rotations]
    audio = np.array([row[1] for row in rows])
    return _curve(ear, "AM 30 %", carrier_v, AM_HZ, rotations, audio, np.array([row[0] for row in rows]))


def beat_curve(ear: Listener, *, carrier_v: float = CARRIER_V, tone: float = BEAT_HZ) -> DetectionCurve:
    """Return audio of the beat note against the control above onset."""
    rotations = np.array([r for part in ABOVE if (r := ear.rotation_above(part)) is not None])
    if not rotations.size:
        raise NoAnswer("onset lies at the very top of the control: no setting above it")
    rows = [ear.beat(float(r), carrier_v, tone=tone) for r in rotations]
    audio = np.array([row[1] for row in rows])
    return _curve(ear, "beat note", carrier_v, tone, rotations, audio, np.array([row[0] for row in rows]))


def _curve(
    ear: Listener, signal: str, carrier_v: float, tone: float, rotations: FloatArray, audio: FloatArray,
    amplitude: FloatArray,
) -> DetectionCurve:  # fmt: skip
    best = float(rotations[int(np.argmax(audio))])
    part = best / ear.onset.rotation
    volts = (
        float(np.interp(best, ear.map.rotation, ear.map.rest_screen_v))
        if part >= 1.0
        else ear.onset.screen_v * part
    )
    return DetectionCurve(
        signal=signal,
        carrier_v=carrier_v,
        tone_hz=tone,
        rotation=rotations,
        audio_v=audio,
        amplitude_v=amplitude,
        best=ControlSetting(best, volts),
    )


def am_transfer(ear: Listener, rotation: float) -> TransferCurve:
    """Return audio out against AM carrier in at a setting below onset."""
    audio = np.array([ear.am(rotation, level)[1] for level in LEVELS])
    return TransferCurve("AM 30 %", rotation, np.array(LEVELS), audio, overload(np.array(LEVELS), audio))


def beat_transfer(ear: Listener, rotation: float, *, tone: float = BEAT_HZ) -> TransferCurve:
    """Return audio out against carrier in at a setting above onset, from time runs (the beat pulls and
    locks)."""
    levels = np.array(LEVELS[:17:4])  # to 10 mV: far beyond what it stands
    audio = np.array(
        [ear.beat_in_time(rotation, float(level), offset_hz=tone, seconds=0.06)[1] for level in levels]
    )
    return TransferCurve("beat note", rotation, levels, audio, overload(levels, audio))


def overload(carrier: FloatArray, audio: FloatArray) -> float | None:
    """Return the carrier (V) above which a decibel more of it gives less than half a decibel more audio, or
    None."""
    slope = np.diff(np.log(np.maximum(audio, 1e-15))) / np.diff(np.log(carrier))
    middle = np.sqrt(carrier[:-1] * carrier[1:])
    steep = np.flatnonzero(slope >= 0.5)
    if not steep.size or steep[-1] == slope.size - 1:
        return None
    i = int(steep[-1])
    share = (slope[i] - 0.5) / (slope[i] - slope[i + 1])
    return float(middle[i] * (middle[i + 1] / middle[i]) ** share)


def pulling(ear: Listener, rotation: float, *, carrier_v: float) -> Pulling:
    """Return the beat against the carrier's offset, near the range of locking and outside it.

    Half of that range is |residue| I/(2 pi a) for a weak current I (Adler 1946, in this deck's terms).
    """
    amplitude = float(np.interp(rotation, ear.map.rotation, ear.map.amplitude_v))
    lock = abs(ear.mode.residue) * ear.current(carrier_v) / (2.0 * math.pi * amplitude)
    offsets = np.array(OFFSETS) * lock
    # a dozen beats, or what a lock takes to fall in
    beats = np.array(
        [
            ear.beat_in_time(
                rotation, carrier_v, offset_hz=float(f), seconds=12.0 / max(f, 0.5 * lock) + 0.02
            )[0]
            for f in offsets
        ]
    )
    return Pulling(rotation=rotation, carrier_v=carrier_v, offset_hz=offsets, beat_hz=beats, lock_hz=lock)


def selectivity(ear: Listener, rotation: float) -> tuple[FloatArray, FloatArray, float | None]:
    """Return (offset in Hz, level in dB, -3 dB bandwidth in Hz) of the tank for a weak carrier at a setting
    below onset."""
    circuit = imposed_circuit(ear.build, ear.cards, ear.mode, amplitude=1e-4, rotation=rotation)
    drive = circuit.node(Place.DRIVE)
    with loaded(ear.bench, circuit) as on:
        run = on.session.ac(1.0, 100e3, 20, "dec", vectors=["frequency", drive])
    offset, capacitance = run["frequency"], 1.0 / abs(ear.mode.residue)
    admittance = capacitance * (2j * np.pi * offset + ear.mode.decay) - 1e-3 * run[drive]
    level = -20.0 * np.log10(np.abs(admittance))
    level = level - level[0]
    down = np.flatnonzero(level < -3.0103)
    width = None
    if down.size and down[0] > 0:
        i = int(down[0])
        width = 2.0 * float(np.interp(3.0103, -level[i - 1 : i + 1], offset[i - 1 : i + 1]))
    return offset, level, width


def run(
    build: Build,
    cards: Cards,
    bench: Bench,
    mode: Mode,
    *,
    band: Band,
    found: Oscillation,
    output: int = 0,
    beat_hz: float = BEAT_HZ,
) -> Detection:
    """Answer for one band and output (index of the phones).

    Raises EngineError when a simulation fails, ValueError without onset or aerial.
    """
    ear = Listener(build, cards, bench, mode, found=found, output=output)
    am = am_curve(ear)
    beat = beat_curve(ear, tone=beat_hz)
    working = beat.best.rotation
    # a carrier whose locking reaches 100 Hz is well heard and locks visibly
    amplitude = float(np.interp(working, ear.map.rotation, ear.map.amplitude_v))
    locking = 100.0 * 2.0 * math.pi * amplitude / (abs(mode.residue) * ear.current(1.0))
    offset, level, width = selectivity(ear, am.best.rotation)
    return Detection(
        band=band.name,
        dial_hz=found.dial_hz,
        output=ear.name,
        onset=ear.onset,
        am=am,
        beat=beat,
        am_transfer=am_transfer(ear, am.best.rotation),
        beat_transfer=beat_transfer(ear, working, tone=beat_hz),
        pulling=pulling(ear, working, carrier_v=locking),
        offset_hz=offset,
        selectivity_db=level,
        bandwidth_hz=width,
    )
