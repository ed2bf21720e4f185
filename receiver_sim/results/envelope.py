"""Results of the envelope view: amplitude against control, stability, detection, sound."""

from __future__ import annotations

import enum
from dataclasses import dataclass

import numpy as np

from receiver_sim.results.answer import Answer
from receiver_sim.results.base import ComplexArray, FailedStage, Figure, FloatArray, Status
from receiver_sim.results.noise_heard import NoiseHeard
from receiver_sim.results.onset import SCREEN, ControlSetting


class OnsetKind(str, enum.Enum):
    """How oscillation comes in as the control is advanced."""

    SOFT = "soft"
    """It grows from nothing and goes back the same way."""
    HARD = "hard"
    """It jumps in at onset and holds on below it: backlash."""
    JUMPS = "soft, then jumps"
    """It grows from nothing, but jumps on the way."""


class MapEnd(str, enum.Enum):
    """What ends a map of amplitudes at its upper end."""

    CONTROL = "top of the control"
    """Nothing is missing but the last part of a step of 6 % in amplitude."""
    FOLD = "largest amplitude any setting sustains"
    """The control has further to go, but up there it sustains less, as with a plate that bottoms."""
    REACH = "largest amplitude looked at"
    """More than any grid stands without gross grid current."""
    LOST = "no solution found further up"
    """The simulation failed there: how strong it grows further up is not known."""


@dataclass(frozen=True)
class AmplitudeMap:
    """Control setting that sustains each amplitude of oscillation, one band: arrays of equal length,
    amplitudes rising.

    amplitude_v: peak volts at the hot end of the tank; rotation: setting of the control (0..1);
    rest_screen_v: screen volts at that setting without oscillation (V_set of the amplitude); screen_v:
    screen volts while it oscillates; grid_v: mean grid volts to ground; frequency_hz: of oscillation;
    frame_hz: the same as the envelope's time runs have it, which leave out the harmonics;
    energy_error: RF power from the tube over the loss in the tank, less one. Points whose setting the
    control does not reach are left out. ends: what ends it. A control that does not set the screen has
    rest_value and value, in `unit`, in place of rest_screen_v and screen_v. space_charge_hz: what the tube's
    space charge moves the frequency besides, against the smallest amplitude, by its effect on the input
    capacitance, which frequency_hz does not hold; None where it could not be found.
    """

    amplitude_v: FloatArray
    rotation: FloatArray
    rest_screen_v: FloatArray | None
    screen_v: FloatArray | None
    grid_v: FloatArray
    frequency_hz: FloatArray
    frame_hz: FloatArray
    energy_error: FloatArray
    ends: MapEnd = MapEnd.CONTROL
    rest_value: FloatArray | None = None
    value: FloatArray | None = None
    unit: str = "V"
    quantity: str = SCREEN
    space_charge_hz: FloatArray | None = None

    @property
    def rest(self) -> FloatArray:
        """What the control sets without oscillation, in `unit`."""
        found = self.rest_value if self.rest_screen_v is None else self.rest_screen_v
        assert found is not None
        return found

    def setting(self, rotation: float, figure: float) -> ControlSetting:
        """Return the setting of this control at a rotation (0..1)."""
        return ControlSetting.of(rotation, figure, quantity=self.quantity, unit=self.unit)

    def place(self, rotation: float) -> float | None:
        """Return the place in the arrays, a fraction between two points, of the largest amplitude that a
        rotation (0..1) sustains; None where the map holds none.
        """
        x = self.rotation
        low, high = np.minimum(x[:-1], x[1:]), np.maximum(x[:-1], x[1:])
        spans = np.flatnonzero((low <= rotation) & (rotation <= high))
        if not spans.size:
            return None
        i = int(spans[-1])
        return i + (1.0 if x[i + 1] == x[i] else float((rotation - x[i]) / (x[i + 1] - x[i])))

    def read(self, values: FloatArray, rotation: float) -> float | None:
        """Return what one of the arrays holds there, linear between points."""
        place = self.place(rotation)
        return None if place is None else float(np.interp(place, np.arange(values.size), values))

    def strongest(self, rotation: float) -> float | None:
        """Return the largest amplitude (V) that a rotation (0..1) sustains, None where the map holds none."""
        return self.read(self.amplitude_v, rotation)


@dataclass(frozen=True)
class Jump:
    """A hysteresis: at `up` (advancing) the amplitude jumps from `from_v` to `to_v`, at `down` it falls back.

    falls_from_v: amplitude at `down` before it falls back; backlash_v: difference in what the control sets at
    rest, None for one in farads; backlash_deg: in degrees of knob. to_v is None where the control ends below
    the amplitude jumped to.
    """

    up: ControlSetting
    down: ControlSetting
    from_v: float
    to_v: float | None
    falls_from_v: float
    backlash_v: float | None
    backlash_deg: float

    @property
    def backlash(self) -> float:
        """Difference in what the control sets at rest, in its unit."""
        return self.up.figure - self.down.figure if self.backlash_v is None else self.backlash_v


@dataclass(frozen=True)
class BuildUp:
    """Growth of oscillation from the thermal volts of the tank at one setting above onset.

    seconds: until 90 % of the final amplitude, None if that is not reached in the run; rate: of the
    exponential rise at its start, 1/s; final_v: amplitude at the end.
    """

    setting: ControlSetting
    seconds: float | None
    rate: float
    final_v: float


@dataclass(frozen=True)
class OnceStarted:
    """Oscillation that no setting of the control starts from nothing, but that continues once a shock has.

    holds_from: lowest setting that sustains it, amplitude_v: amplitude there, before it breaks off if the
    control is turned back further; lets_go: False where it continues all over the control, down to its bottom
    (then holds_from is the bottom). At the top of the control: shock_v, the lower amplitude in balance, from
    which it grows or dies (a guide to the shock needed: one shorter than the grid capacitor takes to charge
    meets another bias), and top_v, the one it grows to, None if that lies beyond the amplitudes looked at.
    """

    holds_from: ControlSetting
    amplitude_v: float
    lets_go: bool
    shock_v: float
    top_v: float | None


@dataclass(frozen=True)
class Oscillation:
    """The answer for one band: how oscillation comes in, and how strong it is.

    status as for the loop gain; kind is None where there is no onset within the control; onset: setting at
    which a vanishing amplitude is sustained; jump: None for a smooth onset; amplitudes: None where no
    setting sustains any; extra_screen_ohm: resistance added in the screen's supply for this answer;
    hz_per_v: shift of frequency per volt of (rest) screen just above onset, with the space charge's part
    (for a control in farads None, and shift_in in its place); tank: resonance (Hz), Q and parallel
    resistance (ohm) of the tank, tube's streams apart; seconds: time on the clock that it took, None
    where that is not given. Without an onset on the control:
    once_started, what a shock starts (of a band that does not oscillate by itself; None: nothing);
    onset_beyond_v, screen volts at which a vanishing amplitude would be sustained, beyond the top (does not
    oscillate) or the bottom (not found in range) of the control, None if not within one travel of it;
    quantity: what those volts are, where no amplitudes are known.
    """

    band: str
    dial_hz: float
    status: Status
    kind: OnsetKind | None
    onset: ControlSetting | None
    jump: Jump | None
    amplitudes: AmplitudeMap | None
    build_up: BuildUp | None
    hz_per_v: float | None
    extra_screen_ohm: float
    tank_hz: float | None
    tank_q: float | None
    tank_ohm: float | None
    seconds: float | None
    warnings: tuple[str, ...] = ()
    once_started: OnceStarted | None = None
    onset_beyond_v: float | None = None
    shift_in: Figure | None = None
    quantity: str = SCREEN

    @property
    def shift(self) -> float | None:
        """Shift of frequency (Hz) for each V or F of what the control sets, just above onset."""
        known = self.amplitudes
        if known is None or known.screen_v is not None or self.shift_in is None:
            return self.hz_per_v
        return self.shift_in.value


@dataclass(frozen=True)
class RampReading:
    """Amplitude over a ramp of the control up and down, and what an observer reads off it.

    time_s, amplitude_v, rotation, screen_v: arrays of equal length; onset: rotation at which a small
    amplitude stops falling and begins to grow; gone: rotation (on the way down) at which the amplitude
    falls through `gone_below_v`, None if it does not; backlash_v: of the screen volts at rest between the
    two.
    """

    time_s: FloatArray
    amplitude_v: FloatArray
    rotation: FloatArray
    screen_v: FloatArray
    onset: ControlSetting
    gone: ControlSetting | None
    gone_below_v: float
    backlash_v: float | None
    engine_seconds: float


UNSETTLED = 0.02
"""Part of onset or amplitude that a ramp may leave unsettled and still pass for a check of the map: the
program claims 2 % for onset."""

UNCOVERED = 0.02
"""Travel of the control that a ramp may leave out below the end of the map."""


@dataclass(frozen=True, repr=False)
class Verification(Answer):
    """Reference transient and envelope side by side, for one band and one path of the control.

    reference: every cycle of the carrier; envelope: time run of the envelope along the same path;
    oscillation: the map from d.c. analyses. onset_error: reference over map less one (screen volts at
    onset); amplitude_error: reference over map less one at the worse of two halts of the ramp in the upper
    half of the amplitudes; ramp_error: largest relative deviation of the two time runs over the upper half;
    backlash_error_v: reference less envelope along the same ramp; slow_backlash_v: backlash of the envelope
    on a way back 100 times as slow, for the map to be held against; steps_per_cycle; damping_error: change
    of the tank's decay rate when the step is halved, relative; speed_ratio: time of the reference over that
    of the map. onset_lag, unsettled: what the ramp itself adds to onset_error and amplitude_error, read off
    the envelope on the same ramp (over map less one); covered_to: highest setting of the ramp: beyond it
    nothing was verified.
    """

    band: str
    dial_hz: float
    reference: RampReading
    envelope: RampReading
    oscillation: Oscillation
    onset_error: float
    amplitude_error: float
    ramp_error: float
    backlash_error_v: float | None
    slow_backlash_v: float | None
    steps_per_cycle: float
    damping_error: float
    speed_ratio: float
    onset_lag: float
    unsettled: float
    covered_to: ControlSetting

    @property
    def at_rest(self) -> bool:
        """Whether the ramp was slow enough for its halts and its onset to be a check of the map."""
        return abs(self.unsettled) <= UNSETTLED and abs(self.onset_lag) <= UNSETTLED

    @property
    def map_goes_on_to(self) -> float | None:
        """Highest rotation of the map where the ramp ended well before it, None if it covered the map."""
        amplitudes = self.oscillation.amplitudes
        assert amplitudes is not None
        end = float(amplitudes.rotation[-1])
        return end if end > self.covered_to.rotation + UNCOVERED else None


class Steadiness(str, enum.Enum):
    """How an oscillation behaves: it holds still, or what its amplitude does instead."""

    HOLDS_STILL = "holds still"
    MOTORBOATING = "motorboating"
    """The audio circuits oscillate by themselves, even where the detector does not."""
    THRESHOLD_HOWL = "threshold howl"
    """It howls from just above onset on; further up it holds still."""
    HOWL = "howl"
    SQUEGGING = "squegging"
    """The bias of the grid leak quenches the oscillation and lets it return."""


PITCH_HZ, HEARD_HZ = 1.0, 10e3
"""Frequency below which a mode is taken to creep, not to ring, and above which nobody hears it: there lie the
tank's own fast settling and the RF filter."""


def ringing(rate: float, frequency: float) -> tuple[bool, float]:
    """Return how long a mode of that rate (1/s, below zero) and pitch (Hz) rings, as a key to sort by.

    The slower it decays the longer; one that has died away before it swings once comes after all that ring.
    """
    return -rate < frequency, rate


@dataclass(frozen=True)
class EnvelopeModes:
    """Stability at one setting: natural modes of the linearised envelope, and a time run.

    amplitude_v: 0 for the circuit at rest, its detector not oscillating; rate: growth rates (1/s) and
    frequency_hz of the modes, the slow ones (below 20 kHz), fastest-growing first; carried_by: the parts
    that hold the energy of each, in words, the largest share first. growing: how many of all modes grow;
    motion_hz and motion_v: frequency and peak-to-peak volts of the amplitude's motion in the time run's
    last third (at rest: of the detector's output), None if it is at rest or was not watched; motion_mean_v:
    what the amplitude is in the mean then, beside the amplitude_v it would stand at.
    """

    setting: ControlSetting
    amplitude_v: float
    rate: FloatArray
    frequency_hz: FloatArray
    carried_by: tuple[tuple[str, ...], ...]
    growing: int
    motion_hz: float | None
    motion_v: float | None
    motion_mean_v: float | None = None

    @property
    def telling(self) -> int | None:
        """Index of the mode to show: the one that grows fastest, else, of those that could be heard, the one
        that rings longest; None where none rings.

        One that creeps away without ringing has no pitch to look for: it is shown only if no other grows.
        """
        modes = range(len(self.rate))
        growing = [i for i in modes if self.rate[i] > 0.0]
        if growing:
            pitched = [i for i in growing if self.frequency_hz[i] > PITCH_HZ]
            return max(pitched or growing, key=lambda i: float(self.rate[i]))
        audible = [i for i in modes if PITCH_HZ < self.frequency_hz[i] < HEARD_HZ]
        return max(
            audible, key=lambda i: ringing(float(self.rate[i]), float(self.frequency_hz[i])), default=None
        )


@dataclass(frozen=True)
class Stability:
    """Threshold howl, squegging and motorboating over the control, one band, with the remedies tried.

    what: "as built" or the remedy; points: the first is the circuit at rest at onset, then one for each
    setting looked at; unstable: whether any of them grows, kind: what that is. stray_margin_farad: the least
    stray from the audio plate to the detector's grid, that of the build included, with which it would howl,
    at which pitch (stray_howl_hz) and where on the control (stray_rotation, 0..1); None where it is unstable
    as it is, or no stray does it. begins_rotation, ends_rotation (0..1): between which something grows while
    it oscillates, found by halving; became: of a remedy, point and mode that the mode which grew has become.
    """

    band: str
    dial_hz: float
    what: str
    points: tuple[EnvelopeModes, ...]
    unstable: bool
    kind: Steadiness
    begins_rotation: float | None = None
    ends_rotation: float | None = None
    became: tuple[int, int] | None = None
    stray_margin_farad: float | None = None
    stray_howl_hz: float | None = None
    stray_rotation: float | None = None

    @property
    def squegs_from_rest(self) -> bool:
        """Whether small disturbances die away at every setting, but a run over time from rest kept moving."""
        moving = (p for p in self.points if p.motion_hz is not None and p.amplitude_v > 0.0)
        return self.kind is Steadiness.HOLDS_STILL and any(moving)

    @property
    def telling(self) -> tuple[int, int] | None:
        """Indices of the point, and of the mode there, to name for all settings; None where nothing rings.

        Of what the points show: the one that grows fastest, with a pitch if there is one; of a remedy, what
        became of the one that grew; else, while the detector oscillates, the one that rings longest.
        """
        if not self.unstable and self.became is not None:
            return self.became
        shown = [(at, point.telling) for at, point in enumerate(self.points)]
        every = [
            (at, mode, float(self.points[at].rate[mode]), float(self.points[at].frequency_hz[mode]))
            for at, mode in shown
            if mode is not None
        ]
        if self.unstable:
            growing = [one for one in every if one[2] > 0.0]
            found = max([one for one in growing if one[3] > PITCH_HZ] or growing, key=lambda one: one[2])
            return found[:2]
        held = [one for one in every if self.points[one[0]].amplitude_v > 0.0]
        best = max(held, key=lambda one: ringing(one[2], one[3]), default=None)
        return None if best is None else best[:2]


@dataclass(frozen=True)
class BandOscillation:
    """One band in the envelope view: the answer, the same with more resistance in the screen's lead,
    stability with the remedies tried (the build as it is comes first; empty if not asked for), verification
    if asked for.
    """

    oscillation: Oscillation
    overlays: tuple[Oscillation, ...]
    stability: tuple[Stability, ...]
    verification: Verification | None


@dataclass(frozen=True, repr=False)
class OscillationReport(Answer):
    """Everything `onset` found; a search for modes, a remedy or a reference run that failed is named in
    `failed`.
    """

    title: str
    bands: tuple[BandOscillation, ...]
    cautions: tuple[str, ...]
    warnings: tuple[str, ...]
    failed: tuple[FailedStage, ...] = ()


@dataclass(frozen=True)
class DetectionCurve:
    """Audio against the setting of the control for one signal; arrays of equal length.

    carrier_v: r.m.s. e.m.f. in the aerial; audio_v: r.m.s. volts of the wanted tone at the output;
    rotation; amplitude_v: mean amplitude at the hot end. best: setting at which it is used: of a beat note
    that of the largest audio, of AM the loudest at which speech passes, see `SpeechSetting`. best_v: audio
    there. reach_hz: highest audio frequency that both sidebands bring within 3 dB, None for a beat note.
    """

    signal: str
    carrier_v: float
    tone_hz: float
    rotation: FloatArray
    audio_v: FloatArray
    amplitude_v: FloatArray
    best: ControlSetting
    best_v: float
    reach_hz: FloatArray | None = None


@dataclass(frozen=True)
class SpeechSetting:
    """The setting for AM speech: the loudest that passes audio up to `wanted_hz` within 3 dB.

    reach_hz: what passes there, less than wanted where the bare tank is too sharp. audio_v: there; edge_v:
    at the loudest setting looked at, `edge`, which passes edge_reach_hz; bare_v: with the same tube and tank
    at the speech setting, but without regeneration.
    """

    wanted_hz: float
    setting: ControlSetting
    reach_hz: float
    audio_v: float
    edge: ControlSetting
    edge_reach_hz: float
    edge_v: float
    bare_v: float


@dataclass(frozen=True)
class TransferCurve:
    """Audio out against carrier in at one setting; overload_v: carrier (V r.m.s.) at which a decibel more of
    it first gives less than half a decibel more audio, None if none of those looked at does."""

    signal: str
    rotation: float
    carrier_v: FloatArray
    audio_v: FloatArray
    overload_v: float | None


@dataclass(frozen=True)
class Pulling:
    """Beat note against the offset of the carrier (Hz); beat_hz is zero where the carrier holds the
    oscillator locked.

    lock_hz: half of the range of locking, from the closed form of weak injection (Adler 1946).
    """

    rotation: float
    carrier_v: float
    offset_hz: FloatArray
    beat_hz: FloatArray
    lock_hz: float


@dataclass(frozen=True, repr=False)
class Detection(Answer):
    """Sensitivity of one band to AM below onset and to a carrier's beat note above it.

    status: as for the loop gain; without an onset on the control `onset` is None, and what needs a setting
    below it (am, am_transfer, selectivity_db in dB against offset_hz, bandwidth_hz) or above it (beat,
    beat_transfer, pulling) is None where the control has none: a band that does not oscillate still detects
    AM over the whole control, one that oscillates all over still gives beat notes. notes: a sentence each on
    why. speech: how the setting for AM was chosen.
    """

    band: str
    dial_hz: float
    output: str
    onset: ControlSetting | None
    am: DetectionCurve | None
    beat: DetectionCurve | None
    am_transfer: TransferCurve | None
    beat_transfer: TransferCurve | None
    pulling: Pulling | None
    offset_hz: FloatArray | None
    selectivity_db: FloatArray | None
    bandwidth_hz: float | None
    status: Status = Status.OSCILLATES
    notes: tuple[str, ...] = ()
    speech: SpeechSetting | None = None


@dataclass(frozen=True, repr=False)
class Sound(Answer):
    """What the headphones give: volts across them at `rate` samples a second, with level if their
    sensitivity is known.

    peak_v, rms_v; level_db: sound pressure level of the r.m.s. volts (dB re 20 uPa), None without a
    sensitivity; rotation: of the control at each sample time of `path_s`; amplitude_v: of oscillation there;
    dial_offset_hz: of the dial from `dial_hz` there, None if it stood still. status: of the band, as for the
    loop gain; notes: what that means for what is heard; noise: what of it is noise, None for a clean sound.
    highest_v: amplitude in the highest of all steps of the run, of which amplitude_v has a few hundred.
    asked_s: length asked for, s, where the run was ended before; steps: time steps of ngspice that it took
    by then; both None for a whole one.
    """

    band: str
    dial_hz: float
    output: str
    rate: float
    volts: FloatArray
    peak_v: float
    rms_v: float
    level_db: float | None
    path_s: FloatArray
    rotation: FloatArray
    amplitude_v: FloatArray
    engine_seconds: float
    warnings: tuple[str, ...] = ()
    status: Status = Status.OSCILLATES
    notes: tuple[str, ...] = ()
    dial_offset_hz: FloatArray | None = None
    noise: NoiseHeard | None = None
    asked_s: float | None = None
    steps: int | None = None
    highest_v: float | None = None


__all__ = [
    "AmplitudeMap",
    "BandOscillation",
    "BuildUp",
    "ComplexArray",
    "Detection",
    "DetectionCurve",
    "EnvelopeModes",
    "Jump",
    "OnceStarted",
    "OnsetKind",
    "Oscillation",
    "OscillationReport",
    "Pulling",
    "RampReading",
    "Sound",
    "Stability",
    "TransferCurve",
    "Verification",
]
