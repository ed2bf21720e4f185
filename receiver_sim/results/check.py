"""The whole answer of `receiver-sim check`: every study of one build, with verdicts."""

from __future__ import annotations

from dataclasses import dataclass

from receiver_sim.results.answer import Answer
from receiver_sim.results.audio import AudioResponse, Hum, Loudness
from receiver_sim.results.bands import BandReport, Verdict
from receiver_sim.results.base import FailedStage, Provenance
from receiver_sim.results.bias import OperatingPoint, RegulatorDrift
from receiver_sim.results.envelope import BandOscillation
from receiver_sim.results.hum import HumPaths
from receiver_sim.results.sure import HowSure


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
