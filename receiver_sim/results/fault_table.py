"""What each possible fault of a set would read, so that suspects can be ranked without another simulation."""

from __future__ import annotations

from dataclasses import dataclass

from receiver_sim.results.answer import Answer
from receiver_sim.results.base import FailedStage, FloatArray


@dataclass(frozen=True)
class ReadingPoint:
    """Where the meter goes: in the words of the sheet, and as a reading of the sound set (V)."""

    name: str
    should_v: float


@dataclass(frozen=True)
class ExpectedReadings:
    """What one size of a cause would read.

    volts_v: at the points with the meter on; true_v: with none; middles: by how much readings (V), then the
    logarithm of the loop gain on the bands, lie off for sets as they are built; covariance: of these by the
    spread of parts and tubes, its lower triangle row by row; curves: rotation of the knob and loop gain by
    band, None where they are not known; onset: on the knob, None for none; gain_db, hum_db: to the phones, dB
    of 1 V for 1 V, None where they are not known.
    """

    words: str
    volts_v: FloatArray
    true_v: FloatArray
    middles: FloatArray
    covariance: FloatArray
    curves: tuple[tuple[tuple[float, float], ...] | None, ...]
    onset: tuple[float | None, ...]
    gain_db: float | None
    hum_db: float | None


@dataclass(frozen=True)
class Cause:
    """A sound set, or one fault in one or more sizes. log_prior: natural logarithm of its probability before
    any reading, for each of its sizes; hazard: why it can hurt, '' where it can't.
    """

    name: str
    hazard: str
    log_prior: float
    sizes: tuple[ExpectedReadings, ...]


@dataclass(frozen=True, repr=False)
class FaultTable(Answer):
    """Every cause with what it would read: the sound set first.

    meter, ranges_v: the meter that is put on; rotation: of the control while volts are read (0..1), setting:
    in words; bands: on which onset is tried; words: for what is heard; rules: the figures of the ranking, by
    name; failed: faults that could not be simulated.
    """

    title: str
    meter: str
    ranges_v: tuple[float, ...]
    rotation: float
    setting: str
    points: tuple[ReadingPoint, ...]
    bands: tuple[str, ...]
    words: tuple[str, ...]
    causes: tuple[Cause, ...]
    rules: dict[str, float]
    how_next: str
    failed: tuple[FailedStage, ...] = ()
