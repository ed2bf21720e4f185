"""How sensitive is the detector to AM below onset and to a beat note above it, and where is it best?
(envelope view)"""

from __future__ import annotations

import math
from collections.abc import Mapping
from contextlib import AbstractContextManager
from dataclasses import replace

import numpy as np

from receiver_sim.circuit.blocks.phones import phone_node
from receiver_sim.circuit.mode import Mode
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.circuit.views.envelope import (
    LOWEST_V,
    TRAN_OPTIONS,
    TRAN_RELTOL,
    envelope_circuit,
    imposed_circuit,
)
from receiver_sim.errors import NoAnswer, WrongValue
from receiver_sim.measure.linear_envelope import unrest_hz
from receiver_sim.measure.loaded import Loaded, loaded
from receiver_sim.measure.over_time import relaxation
from receiver_sim.physics.detection_curves import beat_frequency, overload, speech_rotation
from receiver_sim.receiver import Receiver
from receiver_sim.results.base import FloatArray, Status
from receiver_sim.results.envelope import (
    AmplitudeMap,
    Detection,
    DetectionCurve,
    Oscillation,
    Pulling,
    SpeechSetting,
    TransferCurve,
)
from receiver_sim.results.onset import ControlSetting
from receiver_sim.schema import Band

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

_SAME = 0.05
"""Difference of the audio over time from that of small changes below which nothing clips: what the detector
bends at a depth of 30 % is less."""

_CYCLES, _POINTS = 12.0, 50
"""Cycles of the tone that a run over time takes, of which the second half counts, and steps to a cycle."""

_LOOSE = "reltol=1e-3 trtol=50"
"""Of these runs: within 1.5 % of what a tenth of the tolerances gives, in ten to twenty times the time."""

_BEAT = "reltol=1e-3"
"""Of runs with a beat: of two sets the beat is within 0.04 %, the audio within 0.2 %, of what a hundredth of
it gives; a phone's winding that rings at 8 kHz follows what a finer step leaves of rounding, and takes up to
five times the steps for it."""

BEAT_LEVELS = LEVELS[:17:4]  # of the beat note, each a run over time: to 10 mV, far beyond what it stands

OFFSETS = (0.5, 0.9, 1.1, 1.3, 1.7, 2.5, 5.0)
"""Offsets of the carrier at which the beat is counted, in half-widths of the range of locking."""


class Listener:
    """Asks the envelope decks of one band for audio; `rotations`: from screen volts relative to onset to
    the knob."""

    def __init__(
        self,
        receiver: Receiver,
        mode: Mode,
        *,
        found: Oscillation,
        output: int,
        amperes: float | None = None,
    ) -> None:
        if amperes is None:
            if mode.aerial is None:
                raise WrongValue("this build has no aerial; add the key 'aerial' for signals to come in")
            amperes = abs(mode.aerial)
        self.receiver, self.mode, self.found = receiver, mode, found
        self.build, self.cards, self.bench = receiver.build, receiver.cards, receiver.bench
        self.node = phone_node(receiver.build, output)
        self.name = receiver.build.phones[output].name
        self.amperes = amperes
        """Amperes into the hot end for each volt of e.m.f.; `amperes` if given, so without an aerial, too."""

    @property
    def map(self) -> AmplitudeMap:
        """Amplitudes over the control. Raises NoAnswer if no setting sustains any."""
        if self.found.amplitudes is None:
            raise NoAnswer("without oscillation there is no setting with a beat note")
        return self.found.amplitudes

    @property
    def onset(self) -> ControlSetting:
        """Onset on the control. Raises NoAnswer without one."""
        if self.found.onset is None:
            raise NoAnswer("without an onset there is no setting relative to it")
        return self.found.onset

    def held(self, rotation: float) -> float:
        """Return the amplitude (V) of oscillation at a rotation. Raises NoAnswer if there is none."""
        amplitude = self.map.strongest(rotation)
        if amplitude is None:
            raise NoAnswer("no oscillation at this setting")
        return amplitude

    def frame_of(self, rotation: float) -> float:
        """Return the frequency (Hz) of the oscillation at a rotation. Raises NoAnswer if there is none."""
        self.held(rotation)
        frequency = self.map.read(self.map.frame_hz, rotation)
        assert frequency is not None
        return frequency

    def setting(self, rotation: float) -> ControlSetting:
        """Return the setting of a rotation: with the screen volts at rest, read in the circuit."""
        with self._imposed(rotation, LOWEST_V) as on:
            control = on.circuit.control
            names = on.control_vectors
            known = (
                {name: float(v[0].real) for name, v in on.session.op(vectors=names).items()} if names else {}
            )
            figure = control.figure(known, share=control.share(rotation))
            return ControlSetting.of(rotation, figure, **control.sets)

    def current(self, carrier_v: float) -> float:
        """Return the peak current into the tank (A) of a carrier of `carrier_v` volts r.m.s. in the
        aerial."""
        return math.sqrt(2.0) * carrier_v * self.amperes

    def rotation_above(self, part: float) -> float | None:
        """Return the rotation at which the screen at rest is `part` above that of onset; None beyond the
        control."""
        wanted = self.onset.figure * (1.0 + part)
        volts = np.maximum.accumulate(self.map.rest)
        if wanted > volts[-1]:
            return None
        return float(np.interp(wanted, volts, self.map.rotation))

    def rotation_below(self, part: float) -> float:
        """Return the rotation `part` of the screen volts below onset, taking them as proportional to the
        track there."""
        return self.onset.rotation * (1.0 - part)

    def am(self, rotation: float, carrier_v: float, *, tone: float = AM_HZ) -> tuple[float, float]:
        """Return (amplitude at the hot end, r.m.s. audio) for an AM carrier in tune, below onset."""
        current, mode = self.current(carrier_v), self.mode.at(rotation)
        with self._imposed(rotation, current * mode.rp) as on:
            amplitude = self._amplitude(on, current, mode)
            # what a weaker one is detected with is in proportion to it, and drowns in what rounding leaves
            looked_at = max(amplitude, LOWEST_V)
            on.set(Role.AMPLITUDE, looked_at)
            answer = self._answer(on, tone, mode) * amplitude / looked_at
        return amplitude, AM_DEPTH * current * answer / math.sqrt(2.0)

    def am_in_time(self, rotation: float, carrier_v: float, *, tone: float = AM_HZ) -> float:
        """Return the audio of `am` from a run over time, r.m.s. of the tone itself: with all that the audio
        stages do to a strong signal, which small changes don't tell of.

        The amplitude at the hot end swings as far as they have it; it begins where the carrier alone holds
        it, so that nothing has to settle but the tone.
        """
        current, mode = self.current(carrier_v), self.mode.at(rotation)
        circuit = imposed_circuit(
            self.build, self.cards, self.mode, amplitude=current * mode.rp, rotation=rotation
        )
        with loaded(self.bench, circuit) as on:
            amplitude = self._amplitude(on, current, mode)
            on.set(Role.AMPLITUDE, amplitude)
            swing = AM_DEPTH * current * self._swing(on, tone, mode)
            begun = circuit.begun_with(on.volts())
        with loaded(self.bench, replace(begun, options=TRAN_OPTIONS.replace(TRAN_RELTOL, _LOOSE))) as on:
            on.course(Role.AMPLITUDE, "sin", [amplitude, swing, tone])
            step, length = 1.0 / (_POINTS * tone), _CYCLES / tone
            run = on.session.tran(step, length, 0.0, step, vectors=[self.node])
        # a raised cosine over the second half keeps out what the chokes and couplings still do at some 10 Hz
        time = np.linspace(0.5 * length, length, round(0.5 * _CYCLES) * _POINTS, endpoint=False)
        weight = np.hanning(time.size + 1)[:-1] * np.exp(-2j * np.pi * tone * time)
        volts = np.interp(time, run["time"], run[self.node])
        return float(math.sqrt(2.0) * abs((weight * (volts - volts.mean())).sum()) / (0.5 * time.size))

    def beat(self, rotation: float, carrier_v: float, *, tone: float = BEAT_HZ) -> tuple[float, float]:
        """Return (amplitude of oscillation, r.m.s. audio) for a weak carrier `tone` away from the
        oscillation.

        Outside the range of locking the carrier's part along the swing is a current of that frequency; its
        part across turns the phase, which nobody hears.
        """
        amplitude = self.held(rotation)
        with self._imposed(rotation, amplitude) as on:
            answer = self._answer(on, tone, self.mode.at(rotation))
        return amplitude, self.current(carrier_v) * answer / math.sqrt(2.0)

    def bare(self, rotation: float, carrier_v: float, *, tone: float = AM_HZ) -> float:
        """Return the r.m.s. audio of the same AM carrier with the tube and tank of a setting, but without
        regeneration: the tube takes what the tank's own losses leave and gives nothing back."""
        current, mode = self.current(carrier_v), self.mode.at(rotation)
        with self._imposed(rotation, current * mode.rp) as on:
            answer = self._answer(on, tone, mode, regenerated=False)
        return AM_DEPTH * current * answer / math.sqrt(2.0)

    def _imposed(self, rotation: float, amplitude: float) -> AbstractContextManager[Loaded]:
        circuit = imposed_circuit(self.build, self.cards, self.mode, amplitude=amplitude, rotation=rotation)
        return loaded(self.bench, circuit)

    def _amplitude(self, on: Loaded, current: float, mode: Mode) -> float:
        """Return the amplitude that a current in tune sustains: the root of G a - drive(a) = I, by Brent's
        method; below LOWEST_V, where the tube is as good as linear, that of the drive there."""
        from scipy.optimize import brentq  # noqa: PLC0415 - it takes long to load

        capacitance, node = 1.0 / abs(mode.residue), on.node(Place.DRIVE)

        def excess(logarithm: float) -> float:
            amplitude = math.exp(logarithm)
            on.set(Role.AMPLITUDE, amplitude)
            drive = 1e-3 * float(on.session.op(vectors=[node])[node][0])
            return math.log(max(mode.decay * capacitance * amplitude - drive, 1e-30) / current)

        least = math.log(LOWEST_V)
        over = excess(least)
        if over >= 0.0:
            return LOWEST_V * math.exp(-over)
        low = max(math.log(current * mode.rp) - 0.1, least)
        high = low + 1.0
        while excess(high) < 0.0:
            high += 1.0
            if high > math.log(50.0):
                raise NoAnswer("this setting lies above onset: the amplitude finds no end")
        # a tube that works against the swing leaves a small part of what the tank alone would have
        low = max(low - 2.0, least)
        while low > least and excess(low) > 0.0:
            low = max(low - 2.0, least)
        return math.exp(float(brentq(excess, low, high, xtol=1e-6)))

    def _answer(self, on: Loaded, tone: float, mode: Mode, *, regenerated: bool = True) -> float:
        """Return volts (peak) of audio for each ampere of a tone in the current along the swing."""
        run = on.session.ac(tone, tone, 1, vectors=["frequency", on.node(Place.DRIVE), self.node])
        return float(abs(run[self.node][0] / _admittance(on, run, tone, mode, regenerated=regenerated)))

    def _swing(self, on: Loaded, tone: float, mode: Mode) -> float:
        """Return volts (peak) at the hot end for each ampere of a tone in the current along the swing."""
        run = on.session.ac(tone, tone, 1, vectors=["frequency", on.node(Place.DRIVE)])
        return float(1.0 / abs(_admittance(on, run, tone, mode)))

    def beat_in_time(
        self, rotation: float, carrier_v: float, *, offset_hz: float, seconds: float
    ) -> tuple[float, float]:
        """Return (frequency of the beat, r.m.s. audio) from a time run with a carrier `offset_hz` above the
        oscillation.

        The beat is counted from the phase of tank against carrier over the second half of the run.
        """
        frequency = self.frame_of(rotation)
        circuit = envelope_circuit(
            self.build, self.cards, self.mode, rotation=rotation, reference_hz=frequency
        )
        ti, tq = circuit.node(Place.IN_PHASE), circuit.node(Place.QUADRATURE)
        current = self.current(carrier_v)
        with loaded(self.bench, replace(circuit, options=TRAN_OPTIONS.replace(TRAN_RELTOL, _BEAT))) as on:
            on.course(Role.IN_PHASE, "sin", [0.0, current, offset_hz, 0.0, 0.0, 90.0])
            on.course(Role.QUADRATURE, "sin", [0.0, current, offset_hz, 0.0, 0.0, 0.0])
            step = min(0.02 / abs(offset_hz), 5e-5)
            run = on.session.tran(step, seconds, 0.0, step, vectors=[ti, tq, self.node])
        time = np.linspace(0.5 * seconds, seconds, 20001)
        tank = np.interp(time, run["time"], run[ti]) + 1j * np.interp(time, run["time"], run[tq])
        against = np.unwrap(np.angle(tank)) - 2.0 * np.pi * offset_hz * time
        audio = np.interp(time, run["time"], run[self.node])
        return beat_frequency(time, against), float(np.std(audio))


def _admittance(
    on: Loaded, run: Mapping[str, FloatArray], tone: float, mode: Mode, *, regenerated: bool = True
) -> complex:
    """Return what the tank takes of a tone in the current along the swing (S), less what the tube gives."""
    own = (2j * math.pi * tone + mode.decay) / abs(mode.residue)
    return complex(own - 1e-3 * run[on.node(Place.DRIVE)][0]) if regenerated else own


def below_onset(found: Oscillation) -> list[float]:
    """Return the rotations at which AM is listened to: up to onset, or over the whole control of a band that
    does not oscillate; none where it oscillates all over.
    """
    if found.onset is not None:
        return [found.onset.rotation * (1.0 - part) for part in BELOW]
    if found.status is Status.NOT_IN_RANGE:
        return []
    return [float(r) for r in np.linspace(0.0, 1.0, len(BELOW) + 1)[1:]]


def above_onset(ear: Listener) -> list[float]:
    """Return the rotations at which a beat note is listened to: above onset, or over the whole control where
    it oscillates all over; none for a band that does not start by itself, or only at the very top.
    """
    found = ear.found
    if found.onset is not None:
        return [r for part in ABOVE if (r := ear.rotation_above(part)) is not None]
    if found.status is Status.NOT_IN_RANGE and found.amplitudes is not None:
        known = found.amplitudes.rotation
        return [float(r) for r in np.linspace(known[0], known[-1], len(ABOVE))]
    return []


def am_curve(ear: Listener, *, carrier_v: float = CARRIER_V) -> DetectionCurve | None:
    """Return audio of the AM test signal against the control where it does not oscillate, None if it does all
    over.
    """
    rotations = np.array(below_onset(ear.found))
    if not rotations.size:
        return None
    rows = [ear.am(float(r), carrier_v) for r in rotations]
    audio = np.array([row[1] for row in rows])
    reach = np.array([reach_of(ear, float(r)) for r in rotations])
    wanted = ear.build.verdicts.audio_high_min
    place = speech_rotation(
        rotations, audio, reach, wanted_hz=wanted, below_onset=ear.found.onset is not None
    )
    plain = _curve(ear, "AM 30 %", carrier_v, AM_HZ, rotations, audio, np.array([row[0] for row in rows]))
    best_v = float(ear.am(place, carrier_v)[1])
    return replace(plain, best=ear.setting(place), best_v=best_v, reach_hz=reach)


def reach_of(ear: Listener, rotation: float) -> float:
    """Return the highest audio frequency (Hz) that a setting passes within 3 dB: half the tank's bandwidth.

    100 kHz where it is more: no audio circuit follows so far.
    """
    width = selectivity(ear, rotation)[2]
    return _FAR_HZ if width is None else min(0.5 * width, _FAR_HZ)


_FAR_HZ = 100e3


def speech_setting(ear: Listener, curve: DetectionCurve) -> SpeechSetting:
    """Return how the setting for AM compares with the edge of oscillation and with no regeneration."""
    assert curve.reach_hz is not None
    edge, best = int(np.argmax(curve.audio_v)), curve.best
    return SpeechSetting(
        wanted_hz=ear.build.verdicts.audio_high_min,
        setting=best,
        reach_hz=reach_of(ear, best.rotation),
        audio_v=curve.best_v,
        edge=ear.setting(float(curve.rotation[edge])),
        edge_reach_hz=float(curve.reach_hz[edge]),
        edge_v=float(curve.audio_v[edge]),
        bare_v=ear.bare(best.rotation, curve.carrier_v),
    )


def beat_curve(
    ear: Listener, *, carrier_v: float = CARRIER_V, tone: float = BEAT_HZ
) -> DetectionCurve | None:
    """Return audio of the beat note against the control where it oscillates, None if it does nowhere."""
    rotations = np.array(above_onset(ear))
    if not rotations.size:
        return None
    rows = [ear.beat(float(r), carrier_v, tone=tone) for r in rotations]
    audio = np.array([row[1] for row in rows])
    return _curve(ear, "beat note", carrier_v, tone, rotations, audio, np.array([row[0] for row in rows]))


def _curve(
    ear: Listener, signal: str, carrier_v: float, tone: float, rotations: FloatArray, audio: FloatArray,
    amplitude: FloatArray,
) -> DetectionCurve:  # fmt: skip
    return DetectionCurve(
        signal=signal,
        carrier_v=carrier_v,
        tone_hz=tone,
        rotation=rotations,
        audio_v=audio,
        amplitude_v=amplitude,
        best=ear.setting(float(rotations[int(np.argmax(audio))])),
        best_v=float(audio.max()),
    )


def am_transfer(ear: Listener, rotation: float) -> TransferCurve:
    """Return audio out against AM carrier in at a setting below onset, up to where a carrier would start
    oscillation for good.

    Strong signals are run over time, from the strongest down to the first whose audio small changes tell as
    well: an audio stage that clips shows in nothing else. Of them every other level is looked at.
    """
    audio = []
    for level in LEVELS:
        try:
            audio.append(ear.am(rotation, level)[1])
        except NoAnswer:
            if not audio:
                raise
            break
    levels, heard = np.array(LEVELS[: len(audio)]), np.array(audio)
    keep = np.ones(levels.size, dtype=bool)
    for k in range(levels.size - 1, -1, -2):
        small, heard[k] = heard[k], ear.am_in_time(rotation, float(levels[k]))
        if abs(heard[k] - small) < _SAME * small:
            break
        keep[k - 1 : k] = False
    levels, heard = levels[keep], heard[keep]
    return TransferCurve("AM 30 %", rotation, levels, heard, overload(levels, heard))


def beat_transfer(ear: Listener, rotation: float, *, tone: float = BEAT_HZ) -> TransferCurve:
    """Return audio out against carrier in at a setting above onset, from time runs (the beat pulls and
    locks)."""
    levels = np.array(BEAT_LEVELS)
    audio = np.array(
        [ear.beat_in_time(rotation, float(level), offset_hz=tone, seconds=0.06)[1] for level in levels]
    )
    return TransferCurve("beat note", rotation, levels, audio, overload(levels, audio))


def pulling(ear: Listener, rotation: float, *, carrier_v: float) -> Pulling:
    """Return the beat against the carrier's offset, near the range of locking and outside it.

    Half of that range is |residue| I/(2 pi a) for a weak current I (Adler 1946, in this deck's terms).
    """
    amplitude = ear.held(rotation)
    lock = abs(ear.mode.at(rotation).residue) * ear.current(carrier_v) / (2.0 * math.pi * amplitude)
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
    mode = ear.mode.at(rotation)
    circuit = imposed_circuit(ear.build, ear.cards, mode, amplitude=1e-4, rotation=rotation)
    drive = circuit.node(Place.DRIVE)
    with loaded(ear.bench, circuit) as on:
        # six half-bandwidths of the tank without regeneration, for a low Q at a high frequency
        highest = max(100e3, mode.decay)
        run = on.session.ac(1.0, highest, 20, "dec", vectors=["frequency", drive])
    offset, capacitance = run["frequency"], 1.0 / abs(mode.residue)
    admittance = capacitance * (2j * np.pi * offset + mode.decay) - 1e-3 * run[drive]
    level = -20.0 * np.log10(np.abs(admittance))
    level = level - level[0]
    down = np.flatnonzero(level < -3.0103)
    width = None
    if down.size and down[0] > 0:
        i = int(down[0])
        width = 2.0 * float(np.interp(3.0103, -level[i - 1 : i + 1], offset[i - 1 : i + 1]))
    return offset, level, width


def run(
    receiver: Receiver,
    mode: Mode,
    *,
    band: Band,
    found: Oscillation,
    output: int = 0,
    beat_hz: float = BEAT_HZ,
) -> Detection:
    """Answer for one band and output (index of the phones).

    Without an onset on the control it says what can still be said, see `Detection`. Raises EngineError when a
    simulation fails, WrongValue without an aerial.
    """
    ear = Listener(receiver, mode, found=found, output=output)
    am, beat = am_curve(ear), beat_curve(ear, tone=beat_hz)
    empty = Detection(
        band=band.name,
        dial_hz=found.dial_hz,
        output=ear.name,
        onset=found.onset,
        am=am,
        beat=beat,
        am_transfer=None,
        beat_transfer=None,
        pulling=None,
        offset_hz=None,
        selectivity_db=None,
        bandwidth_hz=None,
        status=found.status,
        notes=_notes(found, am=am, beat=beat),
    )
    if am is not None:
        offset, level, width = selectivity(ear, am.best.rotation)
        empty = replace(
            empty,
            am_transfer=am_transfer(ear, am.best.rotation),
            offset_hz=offset,
            selectivity_db=level,
            bandwidth_hz=width,
            speech=speech_setting(ear, am),
        )
    if beat is not None:
        working = beat.best.rotation
        amplitude = ear.held(working)
        unrest = unrest_hz(receiver, mode, amplitude=amplitude, rotation=working)
        if unrest is not None:
            # a run over time would show the motion that grows up, not what a carrier does
            return replace(empty, notes=(*empty.notes, _restless(unrest)))
        squegs = relaxation(
            receiver, mode, rotation=working, frequency=ear.frame_of(working), amplitude=amplitude
        )
        if squegs is not None:
            return replace(empty, notes=(*empty.notes, _squegs(squegs.hertz)))
        # a carrier whose locking reaches 100 Hz is well heard and locks visibly
        locking = 100.0 * 2.0 * math.pi * amplitude / (abs(mode.at(working).residue) * ear.current(1.0))
        empty = replace(
            empty,
            beat_transfer=beat_transfer(ear, working, tone=beat_hz),
            pulling=pulling(ear, working, carrier_v=locking),
        )
    return empty


def _restless(hertz: float) -> str:
    """Say why a beat note was not run over time."""
    what = f"moves to and fro by itself, at {hertz:.0f} Hz to begin with" if hertz else "does not hold still"
    return (
        f"at the best setting for a beat note the oscillation {what}: the note is told as if it held still, "
        "overload and locking are left out; 'receiver-sim onset' tells where it holds still"
    )


def _squegs(hertz: float) -> str:
    """Say why a beat note was not run over time where it holds still only if it stands already."""
    return (
        "at the best setting for a beat note the oscillation would hold still, but from rest the envelope "
        f"runs into squegging at {hertz / 1e3:.3g} kHz: the note is told as if it held still, overload and "
        "locking are left out. Feedback is far stronger there than a smooth control needs; where it grows "
        "within a few cycles the envelope is coarse (a run of every cycle of one such set settled, a third "
        "weaker)"
    )


def _notes(found: Oscillation, *, am: DetectionCurve | None, beat: DetectionCurve | None) -> tuple[str, ...]:
    """Say why a part is missing."""
    notes = list(found.warnings)
    if found.status is Status.DOES_NOT:
        notes.append("AM is detected without oscillation, over the whole control; there is no beat note")
    elif am is None:
        notes.append("it oscillates at every setting: no setting for AM, beat notes over the whole control")
    elif found.amplitudes is None:
        notes.append("AM is told as if nothing oscillated, over the whole control; no beat note is told")
    elif beat is None:
        notes.append("onset lies at the very top of the control: no setting above it for a beat note")
    return tuple(notes)
