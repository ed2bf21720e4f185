"""Where each band breaks into oscillation on the control, and how gently."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from receiver_sim.api._common import Progress, quiet
from receiver_sim.builds import bands_named, opened
from receiver_sim.engine import Bench
from receiver_sim.errors import BY_FAULT
from receiver_sim.failing_stages import Stages
from receiver_sim.measure import onset
from receiver_sim.measure.loaded import Standing
from receiver_sim.receiver import Receiver, dial_frequencies
from receiver_sim.results.bands import BandReport, onset_stage
from receiver_sim.results.base import FailedStage, Status
from receiver_sim.results.onset import HALF_WAY, Onset
from receiver_sim.schema import Band, Build
from receiver_sim.studies import loop_gain, selectivity

SWEEP = np.linspace(0.0, 1.0, 61)
"""Rotations of the control at which the loop gain is drawn."""


def loop(
    build: Build,
    *,
    bands: Sequence[str] | None = None,
    bench: Bench | None = None,
    progress: Progress = quiet,
) -> tuple[BandReport, ...]:
    """Find onset at three dial settings of each band, and draw loop gain and selectivity for the middle one.

    bands: names, all bands if None. A band whose simulation fails has the status FAILED; the others continue.
    Raises BuildFaults, UnknownName for an unknown band, EngineMissing.
    """
    chosen = bands_named(build, bands)
    with opened(bench) as open_bench:
        receiver = Receiver(build, open_bench)
        jobs = [(band, dial) for band in chosen for dial in dial_frequencies(band)]
        stages = Stages()
        searches = stages.map(
            open_bench,
            lambda _, job: receiver.at(job[0], job[1]).onset,
            [(onset_stage(band.name, dial), (band, dial)) for band, dial in jobs],
            lambda done, total: progress("onset", done, total),
        )
        onsets = [
            onset.failed(*job, BY_FAULT) if found is None else found
            for job, found in zip(jobs, searches, strict=True)
        ]
        grouped = [tuple(onsets[3 * i : 3 * i + 3]) for i in range(len(chosen))]
        reports = open_bench.map(
            lambda _, job: _curves(receiver, band=job[0], onsets=job[1]),
            list(zip(chosen, grouped, strict=True)),
            lambda done, total: progress("loop gain", done, total),
        )
        faults = {one.stage: one for one in stages.failed}
        return tuple(_with_faults(report, faults) for report in reports)


def _with_faults(report: BandReport, faults: Mapping[str, FailedStage]) -> BandReport:
    """Return a band's report with the searches for its onset that a fault of the program ended."""
    stages = (onset_stage(report.band, found.dial_hz) for found in report.onsets)
    mine = [faults[stage] for stage in stages if stage in faults]
    return replace(report, failed=(*mine, *report.failed)) if mine else report


def _curves(receiver: Receiver, *, band: Band, onsets: tuple[Onset, ...]) -> BandReport:
    """Add the curves of the middle dial setting; a band that failed has none."""
    middle = onsets[len(onsets) // 2]
    tuning = middle.tuning_farad
    if middle.status is Status.FAILED or tuning is None:
        return BandReport(band.name, onsets, None, (), None)
    where: dict[str, Any] = {"band": band, "dial_hz": middle.dial_hz, "tuning": tuning}
    stages = Stages()
    # one circuit serves both
    with Standing(
        receiver.bench, loop_gain.plan(receiver.build, receiver.cards, band=band, dial_hz=middle.dial_hz)
    ) as standing:
        curves = stages.run(
            f"loop gain on {band.name}",
            lambda: loop_gain.measured(
                standing.on(), **where, rotations=SWEEP, nyquist=_three_settings(middle)
            ),
        )
        if curves is None:
            return BandReport(band.name, onsets, None, (), None, stages.failed)
        curve, nyquist = curves
        narrow = stages.run(
            f"selectivity on {band.name}",
            lambda: selectivity.measured(standing.on(), **where, curve=curve),
        )
    return BandReport(band.name, onsets, curve, nyquist, narrow, stages.failed)


def _three_settings(found: Onset) -> tuple[tuple[str, float], ...]:
    """Return three labelled rotations for the Nyquist plot: below, at and above onset where there is one."""
    if found.onset is None:
        return (("lowest", 0.0), ("half way", HALF_WAY), ("highest", 1.0))
    at = found.onset.rotation
    below = found.at_nine_tenths.rotation if found.at_nine_tenths else at / 2.0
    # as far above as the T = 0.9 setting lies below
    return (("below onset", below), ("onset", at), ("above onset", min(2.0 * at - below, 1.0)))
