"""Results of substitution: every candidate tube in one socket of a build, ranked, with what to change."""

from __future__ import annotations

from dataclasses import dataclass

from receiver_sim.results.answer import Answer
from receiver_sim.results.bias import RatingLine
from receiver_sim.results.envelope import OnsetKind
from receiver_sim.results.onset import ControlSetting, Onset
from receiver_sim.results.rf_stage import FrontEnd


@dataclass(frozen=True)
class WeakestSignal:
    """Signal (V r.m.s.) that stands the stated ratio above the noise in one bandwidth.

    grid_v: at the detector's grid before regeneration; aerial_v: e.m.f. in the aerial, None without one.
    """

    bandwidth_hz: float
    grid_v: float
    aerial_v: float | None


@dataclass(frozen=True)
class SignalNoise:
    """Noise against signal at the detector's grid on one band, just below onset.

    tube_ohm: equivalent noise resistance of the tube (shot and partition noise); circuit_ohm: that of all
    resistors together (tank, aerial, input loading), as ngspice finds it; stage_ohm: that of an r.f. stage's
    tube, as it comes to the detector's grid; tank_share: part of the latter
    from the tank's loss; aerial_gain: volts at the grid per volt in the aerial, regeneration taken out; gain:
    loop gain there. ratio_db: signal over noise that counts as readable.
    """

    band: str
    frequency_hz: float
    gain: float
    tube_ohm: float
    circuit_ohm: float
    tank_share: float
    aerial_gain: float | None
    ratio_db: float
    weakest: tuple[WeakestSignal, ...]
    stage_ohm: float = 0.0


@dataclass(frozen=True)
class DetectionFigure:
    """Square-law detection at the grid leak just below onset.

    total_per_v: peak volts of audio at the detector's load over the square of the peak volts of a weak
    carrier at the grid, modulated fully at 1 kHz (times m for less); grid_per_v: by the grid's current alone;
    plate_per_v: by the bend of the plate current, which works against it; audio_gain: control node to load at
    1 kHz; gm in siemens; grid_v: where the grid floats.
    """

    total_per_v: float
    grid_per_v: float
    plate_per_v: float
    audio_gain: float
    gm_siemens: float
    grid_v: float


@dataclass(frozen=True)
class BandOutcome:
    """One band with a candidate in the detector's socket.

    onset: the search's result; kind, backlash_v and backlash_deg from the envelope view (0 if soft; None
    where there is no onset, with the reason in `note`).
    """

    onset: Onset
    kind: OnsetKind | None
    backlash_v: float | None
    backlash_deg: float | None
    note: str | None


@dataclass(frozen=True)
class Adjustment:
    """One change that brings a candidate to where the tube in place works, and what comes of it.

    key: path in the build; before, after: its values there (fraction, turns or ohm), after None if it can't
    be done, then `reason` says why. `wanted` and `found`: for the detector the rotation of the knob at onset
    (0..1) of the tube in place, and that of the candidate with the change made, by a search of its own; for
    the audio stage the plate current, A. works: whether found meets wanted.
    """

    what: str
    band: str | None
    key: str
    before: float
    after: float | None
    wanted: float
    found: float | None
    works: bool
    reason: str | None


@dataclass(frozen=True)
class Fitting:
    """The practical side: heater against the build's supply, base and pins against the tube in place.

    pins: one sentence a pin that changes, empty if the socket stays as it is; other_base: another socket is
    needed; cap: electrode on the top cap, None without; shield and heater: what to do, in words.
    """

    heater_v: float
    heater_a: float
    heater_fits: bool
    heater: str
    base: str
    other_base: bool
    pins: tuple[str, ...]
    cap: str | None
    shield: str
    drop_in: bool


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """One tube in a socket; rank from 1 (0: not ranked yet), `reasons` say what put it there.

    failed: why a simulation gave no answer, None if all did; what was found before that stays.
    """

    tube: str
    in_place: bool
    fitting: Fitting
    rank: int = 0
    ratings: tuple[RatingLine, ...] = ()
    extrapolated: tuple[str, ...] = ()
    remedies: tuple[Adjustment, ...] = ()
    reasons: tuple[str, ...] = ()
    failed: str | None = None


@dataclass(frozen=True)
class OnsetRange:
    """Where eight of ten tubes of a type break into oscillation: what print leaves open of the type, and the
    spread from tube to tube.

    drawn: tubes that were drawn; with_onset: of these, those with an onset on the control. knob (0..1 of the
    rotation) and figure (what the control sets, its quantity in unit) at onset, approach (degrees, from loop
    gain 0.9), each from low to high; None where fewer than three quarters have an onset.
    """

    drawn: int
    with_onset: int
    quantity: str
    unit: str
    knob_low: float | None = None
    knob_high: float | None = None
    figure_low: float | None = None
    figure_high: float | None = None
    approach_low_deg: float | None = None
    approach_high_deg: float | None = None


@dataclass(frozen=True)
class Fitted:
    """The set as it would be used with a tube: onset brought to the place of the tube in place.

    changes: keys and values that were changed; onset: on the reference band with them, found again; bands: on
    how many of the build's bands it then oscillates. detection: figure there, with the two figures that eight
    of ten tubes of the type lie within (what print leaves open, and the spread from tube to tube); range: the
    same of the onset.
    """

    changes: tuple[tuple[str, float], ...]
    onset: Onset
    bands: int
    detection: DetectionFigure
    detection_low_per_v: float
    detection_high_per_v: float
    range: OnsetRange


@dataclass(frozen=True, kw_only=True)
class DetectorCandidate(Candidate):
    """One tube in the detector's socket.

    detection, noise: on the reference band of the set as built, None without an onset there. fitted: of the
    set as it would be used, None where no change brings the onset there. alike: whether its range overlaps
    with that of the first of those ranked alike above it.
    """

    bands: tuple[BandOutcome, ...] = ()
    detection: DetectionFigure | None = None
    noise: SignalNoise | None = None
    working: ControlSetting | None = None
    fitted: Fitted | None = None
    remote: bool = False
    alike: bool = False


@dataclass(frozen=True, kw_only=True)
class AudioCandidate(Candidate):
    """One tube in the audio socket.

    gain: volts at the first phones over volts at its grid, 1 kHz; tied: screen tied to the plate; plate_a,
    cathode_v: its bias; noise_ohm: equivalent noise resistance.
    """

    tied: bool
    gain: float | None = None
    plate_a: float | None = None
    cathode_v: float | None = None
    noise_ohm: float | None = None


@dataclass(frozen=True)
class RfBand:
    """One band with a candidate in the r.f. stage, the middle of its dial.

    front: onset, way from aerial to tank and what is radiated with it; its `along_rotation` is empty. Against
    the tube in place: gain_db, the signal brought to the tank; radiation_db, the power radiated (more is
    positive); moved_rotation, how far onset moves on the knob, of its travel (None where one has none).
    """

    band: str
    dial_hz: float
    front: FrontEnd
    gain_db: float = 0.0
    radiation_db: float = 0.0
    moved_rotation: float | None = None


@dataclass(frozen=True, kw_only=True)
class RfCandidate(Candidate):
    """One tube in the socket of the r.f. stage, its gain control as stated.

    bands: of the build, in order; plate_a, screen_a, cathode_v: its bias.
    """

    bands: tuple[RfBand, ...] = ()
    plate_a: float | None = None
    screen_a: float | None = None
    cathode_v: float | None = None


@dataclass(frozen=True, repr=False)
class SwapReport(Answer):
    """All candidates of one socket, best first; reference: the tube in place; band: where they compare.

    Of detectors, audios and rf_stages the one of that socket is filled.
    """

    title: str
    socket: str
    reference: str
    band: str
    detectors: tuple[DetectorCandidate, ...]
    audios: tuple[AudioCandidate, ...]
    left_out: tuple[str, ...]
    notes: tuple[str, ...]
    evaluations: int
    rf_stages: tuple[RfCandidate, ...] = ()
