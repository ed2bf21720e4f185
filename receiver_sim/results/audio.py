"""Results on what reaches the phones: response and hum."""

from __future__ import annotations

from dataclasses import dataclass

from receiver_sim.results.answer import Answer
from receiver_sim.results.base import FailedStage, FloatArray
from receiver_sim.results.onset import ControlSetting


@dataclass(frozen=True)
class OutputResponse:
    """Response of one output (phones or other load).

    gain: output volts per volt of audio at the detector's grid, against frequency_hz; overall: output volts
    per ampere of rectified current into the grid node, so with the corner of the grid leak in it, relative to
    its value at 1 kHz. low_hz, high_hz: where `overall` lies 3 dB below its value at 1 kHz, None
    where it does not fall that far in the range swept. source_ohm: magnitude of the output impedance at 1
    kHz. gain_1khz at 1 kHz.
    """

    output: str
    frequency_hz: FloatArray
    gain: FloatArray
    overall: FloatArray
    gain_1khz: float
    low_hz: float | None
    high_hz: float | None
    source_ohm: float
    load_ohm: float


@dataclass(frozen=True, repr=False)
class AudioResponse(Answer):
    """Responses of all outputs at one setting of the control."""

    setting: ControlSetting
    outputs: tuple[OutputResponse, ...]


@dataclass(frozen=True)
class Loudness:
    """How loud a weak station is in one load: an AM carrier in tune with the volume control fully up.

    carrier_v: its e.m.f. in the aerial, r.m.s. (without an aerial in the build: three times that across the
    coil, regeneration not counted); tone_hz: its modulation, 30 % deep; rotation: of the control; output_v:
    r.m.s. at the load, power_w: in it; level_db: dB SPL, None for no power at all; threshold_db: of hearing
    at tone_hz (ISO 226:2003); volume_up: False for a set without a volume control.
    """

    output: str
    carrier_v: float
    tone_hz: float
    rotation: float
    output_v: float
    power_w: float
    level_db: float | None
    threshold_db: float
    volume_up: bool = True


@dataclass(frozen=True)
class OutputHum:
    """Hum at one output, volts r.m.s.

    mains_v: line-frequency volts against pot_position (0..1); ripple_v: volts at the supply's ripple
    frequency, which the pot cannot change; at_build_v: both together (root of squares) at the build's own
    position; best_position and best_v: at the null of the line-frequency part, ripple included.
    """

    output: str
    pot_position: FloatArray
    mains_v: FloatArray
    ripple_v: float
    at_build_v: float
    best_position: float
    best_v: float


@dataclass(frozen=True, repr=False)
class Hum(Answer):
    """Hum at all outputs against the position of the hum pot, at one setting of the control.

    pot: whether there is a hum pot to turn, across heaters on a.c.; where there is none, positions are those
    of one tried in the place of the wiring as built.
    """

    setting: ControlSetting
    mains_hz: float
    ripple_hz: float
    build_position: float
    pot: bool
    outputs: tuple[OutputHum, ...]


@dataclass(frozen=True)
class Drive:
    """One output at one level of drive.

    input_v: volts r.m.s. of a tone at the detector's grid; output_v: of its fundamental at the load;
    power_w: of the fundamental in the load; level_db: dB SPL there, None for an open socket or no power;
    thd: r.m.s. of harmonics 2..10 over the fundamental; harmonics: each of them over the fundamental.
    """

    input_v: float
    output_v: float
    power_w: float
    level_db: float | None
    thd: float
    harmonics: FloatArray


@dataclass(frozen=True)
class ClassA:
    """What an audio tube does at one level: least plate current over its mean, highest grid volts.

    grid_v: from the cathode at the peak; grid_a: grid current there; keeps: neither cut off (least current
    above 2 % of the quiescent one) nor drawing more than 1 uA of grid current.
    """

    socket: str
    input_v: float
    least_share: float
    grid_v: float
    grid_a: float
    keeps: bool


@dataclass(frozen=True)
class Limits:
    """Where an output ends: input volts at 10 % distortion and at 1 dB compression, power in the load there.

    None where the highest drive tried does not reach it. class_a_v: highest input at which all audio tubes
    keep class A; floor_v: noise r.m.s. from 100 Hz to 5 kHz at the load; floor_db: in dB SPL; noise_parts:
    share of the noise power by source; None and empty if the noise was not found.
    """

    clip_v: float | None
    clip_w: float | None
    clip_db: float | None
    compression_v: float | None
    compression_w: float | None
    class_a_v: float | None
    floor_v: float | None
    floor_db: float | None
    noise_parts: dict[str, float]


@dataclass(frozen=True)
class OutputLevels:
    """Distortion, limits and noise of one output."""

    output: str
    drives: tuple[Drive, ...]
    limits: Limits


@dataclass(frozen=True)
class TransformerBalance:
    """Energy at an output transformer with every load on it, at 1 kHz and a small drive (W).

    primary_w: into its primary; loads_w: in all loads on secondaries; windings_w: in all winding resistances;
    core_w: in the iron; error: what is left over, as a fraction of primary_w.
    """

    primary_w: float
    loads_w: float
    windings_w: float
    error: float
    core_w: float = 0.0


@dataclass(frozen=True, repr=False)
class AudioStudy(Answer):
    """What the verb `audio` finds: response, levels, class A, noise, energy at the output transformer.

    What could not be found is absent (empty or None) and named in `failed`.
    """

    response: AudioResponse | None
    frequency_hz: float
    levels: tuple[OutputLevels, ...]
    class_a: tuple[ClassA, ...]
    transformer: TransformerBalance | None
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    failed: tuple[FailedStage, ...] = ()
