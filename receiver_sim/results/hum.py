"""Results on hum by its paths: what is heard in each phone, where it comes from, and what would help."""

from __future__ import annotations

from dataclasses import dataclass

from receiver_sim.results.answer import Answer
from receiver_sim.results.audio import Hum
from receiver_sim.results.base import ComplexArray, FailedStage, FloatArray
from receiver_sim.results.onset import ControlSetting

SILENT_DB = -200.0
"""Stands for silence where levels above the threshold of hearing are compared."""


@dataclass(frozen=True)
class Tone:
    """One line of the hum in one phone.

    volts_v: r.m.s. at the load; level_db: dB SPL, threshold_db: of hearing there (ISO 226:2003); level_db is
    None for an open socket or no volts at all.
    """

    frequency_hz: float
    volts_v: float
    level_db: float | None
    threshold_db: float

    @property
    def above_db(self) -> float | None:
        """How far it lies above the threshold of hearing."""
        return None if self.level_db is None else self.level_db - self.threshold_db


@dataclass(frozen=True)
class PathShare:
    """What one path gives one output at the line it gives most at.

    volts_v: r.m.s. of the path alone; share: its projection on the whole as a fraction (the shares of one
    line add to 1, one that works against the rest is negative).
    """

    path: str
    frequency_hz: float
    volts_v: float
    share: float


@dataclass(frozen=True)
class OutputPaths:
    """Hum at one output: tones (strongest against the threshold first), paths (loudest line first).

    loudest_db: of the most audible tone above the threshold; heard_db: of all together, their powers added,
    each counted from its own threshold; None if there is no hum at all.
    sum_error: largest difference of the sum of all paths from the whole, as a fraction of the whole.
    """

    output: str
    tones: tuple[Tone, ...]
    paths: tuple[PathShare, ...]
    loudest_db: float | None
    heard_db: float | None
    sum_error: float


@dataclass(frozen=True)
class HumPaths:
    """Hum at all outputs by path, the control where `setting` says.

    frequency_hz: lines; parts: path name -> complex volts r.m.s., outputs x lines.
    """

    setting: ControlSetting
    frequency_hz: FloatArray
    parts: dict[str, ComplexArray]
    outputs: tuple[OutputPaths, ...]


@dataclass(frozen=True)
class Remedy:
    """One change tried on the build.

    before_db and after_db: hum of the worst output above the threshold of hearing (`heard_db`); gain_db:
    how much quieter (negative: louder). SILENT_DB stands for no hum at all.
    """

    change: str
    before_db: float
    after_db: float
    gain_db: float


@dataclass(frozen=True)
class HumModulation:
    """Hum on a carrier that the oscillating detector makes: sidebands by heater and supply.

    rotation: setting of the control, 1 % of screen volts above onset; amplitude_v: peak at the hot end there;
    depth: modulation of the amplitude as a fraction, swing_hz: peak frequency deviation, at each of
    frequency_hz.
    """

    rotation: float
    amplitude_v: float
    frequency_hz: FloatArray
    depth: FloatArray
    swing_hz: FloatArray


@dataclass(frozen=True, repr=False)
class HumStudy(Answer):
    """What the verb `hum` finds: hum against the pot, its paths, remedies ranked by what they gain.

    modulation is None where the band has no onset; what could not be found is absent (empty or None) and
    named in `failed`. `notes` say what the figures rest on.
    """

    hum: Hum | None
    paths: HumPaths | None
    remedies: tuple[Remedy, ...]
    modulation: HumModulation | None
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    failed: tuple[FailedStage, ...] = ()
