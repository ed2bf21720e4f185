"""What the coils cover, loop gain over their dials, aerial, breakthrough."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median

from receiver_sim.api._common import Progress, provenance, quiet
from receiver_sim.builds import opened
from receiver_sim.circuit.registry import Cards
from receiver_sim.design import rf_stage
from receiver_sim.engine import Bench
from receiver_sim.failing_stages import Stages
from receiver_sim.receiver import Receiver
from receiver_sim.results import cautions
from receiver_sim.results.base import FailedStage, Status
from receiver_sim.results.coils import (
    AerialEffect,
    Breakthrough,
    CoilRange,
    CoilsReport,
    DialSweep,
)
from receiver_sim.results.onset import Onset
from receiver_sim.results.rf_stage import RfStageEffect
from receiver_sim.schema import Band, Build
from receiver_sim.studies import aerial, breakthrough, coil_sheet, dial_sweep, tuning_range

ERA, REGION = 2020, 1
"""Year and ITU region whose bands the coils are held against, if no other is asked for."""


HALF_WAY = 0.5


def coils(
    build: Build,
    *,
    year: int = ERA,
    region: int = REGION,
    tank_volts: float | None = None,
    bench: Bench | None = None,
    progress: Progress = quiet,
) -> CoilsReport:
    """Measure all coils of a build: range, dial, loop gain over the dial, aerial, breakthrough.

    year, region: of the tables the ranges are held against; tank_volts: peak amplitude at the hot end of an
    oscillating tank (None: 1 V, marked as an assumption). Raises BuildFaults, WrongValue for a year or region
    without a table, EngineError when a simulation fails.
    """
    tuning_range.coverage([], year=year, region=region)
    with opened(bench) as open_bench:
        before, rungs, ran = open_bench.loaded, open_bench.rungs, open_bench.evaluations
        receiver = Receiver(build, open_bench)
        bands = receiver.build.bands
        stages = Stages()
        ranges = stages.map(
            open_bench,
            lambda _, band: tuning_range.run(receiver, band=band),
            [(f"range of {band.name}", band) for band in bands],
            lambda done, total: progress("range", done, total),
        )
        middles = open_bench.map(
            lambda _, band: receiver.at(band).onset,
            list(bands),
        )
        rotation = _common(middles)
        sweeps = open_bench.map(
            lambda _, job: _sweep(receiver, band=job[0], span=job[1], rotation=rotation),
            list(zip(bands, ranges, strict=True)),
            lambda done, total: progress("dial", done, total),
        )
        stage = _with_stage(stages, receiver, middles, progress)
        effects, through = _with_aerial(stages, receiver, middles, tank_volts, progress)
        where = provenance(build, open_bench, before=before, rungs_before=rungs)
        evaluations = open_bench.evaluations - ran
    measured = tuple(span for span in ranges if span is not None)
    unmeasured = [band.name for band, span in zip(bands, ranges, strict=True) if span is None]
    lost = [(found.band, "; ".join(found.warnings)) for found in middles if found.status is Status.FAILED]
    lost += [(sweep.band, text) for sweep in sweeps for text in sweep.warnings]
    return CoilsReport(
        title=build.title,
        rotation=rotation,
        coils=tuple(coil_sheet.sheet(band) for band in bands),
        ranges=measured,
        coverage=tuning_range.coverage(measured, year=year, region=region, unmeasured=unmeasured),
        sweeps=tuple(sweeps),
        aerial=effects,
        breakthrough=through,
        provenance=where,
        cautions=cautions.ALL,
        warnings=(*build.warnings, _loading(receiver.cards)),
        evaluations=evaluations,
        failed=(*stages.failed, *(FailedStage(f"onset on {band}", reason, None) for band, reason in lost)),
        rf_stage=stage,
    )


def _loading(cards: Cards) -> str:
    """Say what the input loading rests on: the verdict towards 28 MHz hangs on it."""
    tube = cards.detector
    loading = tube.input_loading
    return (
        f"input loading of the {tube.type}: {loading.kc * 1e12:.3g} uS per MHz and "
        f"{loading.kh * 1e18:.3g} uS per MHz squared; {loading.source} ({loading.flag}); "
        "the figures towards 28 MHz rest on it"
    )


def _common(found: Sequence[Onset]) -> float:
    """Return the setting of the control that all sweeps share: the middle one of the onsets, half way if
    none.
    """
    rotations = [o.onset.rotation for o in found if o.onset is not None]
    return float(median(rotations)) if rotations else HALF_WAY


def _sweep(receiver: Receiver, *, band: Band, span: CoilRange | None, rotation: float) -> DialSweep:
    return dial_sweep.run(
        receiver,
        band=band,
        frequencies=tuning_range.whole_dial(band, span, dial_sweep.POINTS),
        rotation=rotation,
    )


def _with_aerial(
    stages: Stages,
    receiver: Receiver,
    middles: Sequence[Onset],
    tank_volts: float | None,
    progress: Progress,
) -> tuple[tuple[AerialEffect, ...], tuple[Breakthrough, ...]]:
    """Look at aerial and breakthrough on every band whose onset search did not fail, each by itself."""
    if receiver.build.aerial is None:
        return (), ()
    jobs = [
        (band, found)
        for band, found in zip(receiver.build.bands, middles, strict=True)
        if found.tuning_farad is not None
    ]

    def effect(_: Bench, job: tuple[Band, Onset]) -> AerialEffect:
        band, found = job
        return aerial.run(receiver.at(band, search=found), tank_volts=tank_volts)

    def through(_: Bench, job: tuple[Band, Onset]) -> Breakthrough:
        return breakthrough.run(receiver.at(job[0], search=job[1]))

    named = [(f"aerial on {band.name}", (band, found)) for band, found in jobs]
    effects = stages.map(receiver.bench, effect, named, lambda done, total: progress("aerial", done, total))
    named = [(f"breakthrough on {band.name}", (band, found)) for band, found in jobs]
    passages = stages.map(receiver.bench, through, named)
    return tuple(e for e in effects if e is not None), tuple(p for p in passages if p is not None)


def _with_stage(
    stages: Stages,
    receiver: Receiver,
    middles: Sequence[Onset],
    progress: Progress,
) -> tuple[RfStageEffect, ...]:
    """Hold an r.f. stage against the same set without it, on every band whose onset search did not fail."""
    if receiver.build.aerial is None or receiver.build.rf_stage is None:
        return ()

    def effect(_: Bench, job: tuple[Band, Onset]) -> RfStageEffect:
        band, found = job
        return rf_stage.run(receiver.at(band, search=found))

    named = [
        (f"r.f. stage on {band.name}", (band, found))
        for band, found in zip(receiver.build.bands, middles, strict=True)
        if found.tuning_farad is not None
    ]
    found = stages.map(receiver.bench, effect, named, lambda done, total: progress("r.f. stage", done, total))
    return tuple(one for one in found if one is not None)
