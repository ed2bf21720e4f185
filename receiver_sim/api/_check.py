"""Every study on a build, judged by its thresholds."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from receiver_sim.api._common import Progress, provenance, quiet
from receiver_sim.api._judged import judged_of, strength_jobs, strengths_of
from receiver_sim.api._loop import loop
from receiver_sim.api._sure import drawing_of, how_sure
from receiver_sim.builds import opened
from receiver_sim.engine import Bench
from receiver_sim.failing_stages import Job, Stages
from receiver_sim.judge import verdicts
from receiver_sim.receiver import Receiver
from receiver_sim.results import cautions
from receiver_sim.results.bands import BandReport
from receiver_sim.results.check import CheckReport
from receiver_sim.schema import Build
from receiver_sim.working import LookedAt, looking


def check(
    build: Build,
    *,
    bench: Bench | None = None,
    progress: Progress = quiet,
    bands_found: Callable[[Sequence[BandReport]], None] = lambda _: None,
) -> CheckReport:
    """Run every study on a build and judge it by the build's thresholds.

    bands_found is called with the bands as soon as they are known, before the rest is looked into.
    Errors as for `audio`; a band or a stage whose simulation fails is reported as such and does not stop the
    rest.
    """
    with opened(bench) as open_bench:
        before, rungs, ran = open_bench.loaded, open_bench.rungs, open_bench.evaluations
        receiver = Receiver(build, open_bench)
        given, build, cards = build, receiver.build, receiver.cards
        reports = loop(build, bench=open_bench, progress=progress)
        bands_found(reports)
        stages = Stages()
        place = looking(stages, receiver, reports)
        bands = strength_jobs(receiver, reports, loud_on=place.setting)
        sets = Job(
            "how sure",
            lambda *_: drawing_of(receiver, reports=reports, setting=place.setting),
        )
        stages.side_by_side(
            open_bench,
            [*bands, *place.jobs, sets],
            lambda done, total: progress("how oscillation comes in", done, total),
        )
        (strengths, loud), there, drawing = strengths_of(bands), place.found(), sets.found
        origin = provenance(build, open_bench, before=before, rungs_before=rungs)
        sure = None
        if drawing is not None:
            sets_drawn = drawing
            sure = stages.run(
                "how sure",
                lambda: how_sure(sets_drawn, open_bench, strengths=strengths, progress=progress),
            )
        evaluations = open_bench.evaluations - ran
    judged = judged_of(stages, given, build, cards, reports, strengths, there, loud)
    return CheckReport(
        title=build.title,
        reference_band=there.band.name,
        bands=reports,
        oscillation=strengths,
        operating_points=there.points,
        audio=there.audio,
        hum=there.hum,
        hum_paths=there.paths,
        regulator=there.drift,
        verdicts=judged,
        provenance=origin,
        cautions=(*verdicts.dangers(judged), *cautions.ALL),
        warnings=_warnings(build, there),
        evaluations=evaluations,
        failed=stages.failed,
        loudness=loud,
        sure=sure,
    )


def _warnings(build: Build, there: LookedAt) -> tuple[str, ...]:
    """Collect what the results rest on that may be doubted: the build's own warnings, a setting that is not
    the working one, extrapolated tubes.
    """
    working = [tube for point in there.points if point.label == "working" for tube in point.tubes]
    place = () if there.setting is None or there.setting.note is None else (there.setting.note,)
    return (*build.warnings, *place, *(text for tube in working for text in tube.outside))
