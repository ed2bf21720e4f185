"""Every study on a build, judged by its thresholds."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import partial

from receiver_sim.api._common import Progress, provenance, quiet
from receiver_sim.api._loop import loop
from receiver_sim.builds import band_named, opened
from receiver_sim.circuit.registry import Cards
from receiver_sim.engine import Bench
from receiver_sim.failing_stages import Stages
from receiver_sim.judge import coil_verdicts, heater_verdicts, verdicts
from receiver_sim.oscillating import comes_in, loudness
from receiver_sim.receiver import Receiver
from receiver_sim.results import cautions
from receiver_sim.results.audio import Loudness
from receiver_sim.results.base import Status
from receiver_sim.results.check import BandReport, CheckReport, Verdict
from receiver_sim.results.envelope import BandOscillation
from receiver_sim.schema import Build
from receiver_sim.working import LookedAt, look_at


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
        strengths = _strengths(stages, receiver, reports, progress)
        there = look_at(stages, build, cards, open_bench, reports, progress)
        loud = stages.run("loudness", lambda: _loudness(receiver, there, strengths))
        origin = provenance(build, open_bench, before=before, rungs_before=rungs)
        evaluations = open_bench.evaluations - ran
    judged = _judged(stages, given, build, cards, reports, strengths, there, loud or ())
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
        loudness=loud or (),
    )


def _judged(
    stages: Stages,
    given: Build,
    build: Build,
    cards: Cards,
    reports: Sequence[BandReport],
    strengths: Sequence[BandOscillation],
    there: LookedAt,
    loud: Sequence[Loudness],
) -> tuple[Verdict, ...]:
    """Return the verdicts of `check`; given: the build before its supply was run."""
    limits, feedback = build.verdicts, verdicts.feedback_of(build)
    rules: tuple[tuple[str, Callable[[], Iterable[Verdict]]], ...] = (
        ("safety", lambda: verdicts.judge_safety(build)),
        ("heaters", lambda: heater_verdicts.judge_heaters(build, cards)),
        ("filter capacitors", lambda: verdicts.judge_filter(given, build)),
        ("coils", lambda: coil_verdicts.judge_coils(build)),
        ("onset", lambda: verdicts.judge_bands(reports, limits, feedback=feedback)),
        ("oscillation", lambda: verdicts.judge_oscillation(strengths, limits, feedback=feedback)),
        ("operating points", lambda: verdicts.judge_bias(there.points)),
        ("supply, audio and hum", lambda: there.judged(build)),
        ("loudness", lambda: verdicts.judge_loudness(loud, limits)),
    )
    found: list[Verdict] = []
    for what, rule in rules:
        found += stages.run(f"verdicts on {what}", partial(_listed, rule)) or ()
    return tuple(found)


def _listed(rule: Callable[[], Iterable[Verdict]]) -> list[Verdict]:
    return list(rule())


def _loudness(
    receiver: Receiver, there: LookedAt, strengths: Sequence[BandOscillation]
) -> tuple[Loudness, ...]:
    """Return how loud a weak station is on the reference band, empty if that does not oscillate."""
    setting = there.setting
    for one in strengths:
        if setting is not None and one.oscillation.band == setting.band.name:
            return loudness(receiver.at(setting.band, search=setting.onset), one.oscillation)
    return ()


def _strengths(
    stages: Stages, receiver: Receiver, reports: Sequence[BandReport], progress: Progress
) -> tuple[BandOscillation, ...]:
    """Return how oscillation comes in at the middle of each band whose loop gain was found."""
    searched = [
        (
            f"how oscillation comes in on {r.band}",
            receiver.at(band_named(receiver.build, r.band), search=r.middle),
        )
        for r in reports
        if r.middle.status is not Status.FAILED
    ]
    found = stages.map(
        receiver.bench,
        lambda _, tuned: comes_in(tuned),
        searched,
        lambda done, total: progress("how oscillation comes in", done, total),
    )
    return tuple(one for one in found if one is not None)


def _warnings(build: Build, there: LookedAt) -> tuple[str, ...]:
    """Collect what the results rest on that may be doubted: the build's own warnings, a setting that is not
    the working one, extrapolated tubes.
    """
    working = [tube for point in there.points if point.label == "working" for tube in point.tubes]
    place = () if there.setting is None or there.setting.note is None else (there.setting.note,)
    return (*build.warnings, *place, *(text for tube in working for text in tube.outside))
