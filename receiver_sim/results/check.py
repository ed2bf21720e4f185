"""The whole answer of `receiver-sim check`: every study of one build, with verdicts."""

from __future__ import annotations

import enum
from collections.abc import Iterable
from dataclasses import dataclass

from receiver_sim.results.answer import Answer
from receiver_sim.results.audio import AudioResponse, Hum, Loudness
from receiver_sim.results.base import FailedStage, Provenance, Status
from receiver_sim.results.bias import OperatingPoint, RegulatorDrift
from receiver_sim.results.envelope import BandOscillation
from receiver_sim.results.hum import HumPaths
from receiver_sim.results.onset import GainAgainstScreen, NyquistCurve, Onset, Selectivity
from receiver_sim.results.sure import HowSure


class Grade(str, enum.Enum):
    """How a rule judged: fine, worth a look, or a fault that `--strict` fails on."""

    GOOD = "good"
    DOUBTFUL = "doubtful"
    BAD = "bad"


@dataclass(frozen=True)
class Verdict:
    """One rule applied to one thing.

    subject: band or stage; rule: key of the documented rule; value and limit in `unit` (None where the rule
    is not about a number); text: one sentence a constructor can act on.
    """

    subject: str
    rule: str
    grade: Grade
    value: float | None
    limit: float | None
    unit: str
    text: str


@dataclass(frozen=True, repr=False)
class BandReport(Answer):
    """One band: onset at the low end, the middle and the high end of its dial; curves of the middle.

    failed: curves whose simulation failed; an onset says by its own status that it did.
    """

    band: str
    onsets: tuple[Onset, ...]
    against_screen: GainAgainstScreen | None
    nyquist: tuple[NyquistCurve, ...]
    selectivity: Selectivity | None
    failed: tuple[FailedStage, ...] = ()

    @property
    def middle(self) -> Onset:
        """Onset at the middle of the dial."""
        return self.onsets[len(self.onsets) // 2]

    @property
    def headline(self) -> str:
        """The band and its onset in a few words."""
        found = self.middle.onset
        if found is None:
            return f"{self.band} {self.middle.status.value}"
        shown = f"{found.figure:.1f} V" if found.unit == "V" else f"{1e12 * found.figure:.1f} pF"
        share = f"{100.0 * found.rotation:.1f} % of the knob"
        return f"{self.band} oscillates from {share}, {shown}"


@dataclass(frozen=True, repr=False)
class SupplyReport(Answer):
    """What `supply` finds: readings of a meter at three settings, and regulator and onset over the mains.

    What could not be found is absent (empty or None) and named in `failed`. notes: where the setting is not
    the one just below onset.
    """

    operating_points: tuple[OperatingPoint, ...]
    regulator: RegulatorDrift | None
    verdicts: tuple[Verdict, ...]
    cautions: tuple[str, ...]
    failed: tuple[FailedStage, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, repr=False)
class CheckReport(Answer):
    """Everything `check` found.

    reference_band: the band at whose working setting (loop gain 0.9 where it is reached) operating point,
    audio, hum and regulator were looked at; where all searches failed they are absent, but for the operating
    points at the ends of the control. oscillation: how it comes in at the middle of each band, and whether it
    holds still, without runs over time. hum_paths: the same hum by its paths. loudness: of a weak station in
    each load, empty where no band oscillates. sure: what parts, tubes and mains leave open. Stages that
    failed are absent (empty or None) and named in `failed`.
    """

    title: str
    reference_band: str
    bands: tuple[BandReport, ...]
    oscillation: tuple[BandOscillation, ...]
    operating_points: tuple[OperatingPoint, ...]
    audio: AudioResponse | None
    hum: Hum | None
    hum_paths: HumPaths | None
    regulator: RegulatorDrift | None
    verdicts: tuple[Verdict, ...]
    provenance: Provenance
    cautions: tuple[str, ...]
    warnings: tuple[str, ...]
    evaluations: int
    failed: tuple[FailedStage, ...] = ()
    loudness: tuple[Loudness, ...] = ()
    sure: HowSure | None = None


def onset_stage(band: str, dial_hz: float) -> str:
    """Return what the search for an onset is called as a stage."""
    return f"onset on {band} at {dial_hz / 1e6:.4g} MHz"


def failures(bands: Iterable[BandReport], stages: Iterable[FailedStage] = ()) -> tuple[FailedStage, ...]:
    """Return everything that failed, in one form: onsets and curves of the bands, then the given stages."""
    found = []
    for band in bands:
        named = {one.stage for one in band.failed}
        for onset in band.onsets:
            stage = onset_stage(onset.band, onset.dial_hz)
            if onset.status is Status.FAILED and stage not in named:
                found.append(FailedStage(stage, "; ".join(onset.warnings), None))
        found += band.failed
    return (*found, *stages)
