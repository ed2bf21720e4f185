"""What `check` looks at besides onset, and all its verdicts in order; `spread` asks them of many sets."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import partial
from typing import NamedTuple

from receiver_sim.builds import band_named
from receiver_sim.circuit.registry import Cards
from receiver_sim.engine import Bench
from receiver_sim.failing_stages import Job, Stages
from receiver_sim.judge import coil_verdicts, heater_verdicts, verdicts
from receiver_sim.oscillating import comes_in, loudness
from receiver_sim.receiver import Receiver
from receiver_sim.results.audio import Loudness
from receiver_sim.results.bands import BandReport, Verdict
from receiver_sim.results.base import Status
from receiver_sim.results.envelope import BandOscillation
from receiver_sim.schema import Build
from receiver_sim.working import LookedAt, Setting


def judged_of(
    stages: Stages,
    given: Build,
    build: Build,
    cards: Cards,
    reports: Sequence[BandReport],
    strengths: Sequence[BandOscillation],
    there: LookedAt | None,
    loud: Sequence[Loudness],
) -> tuple[Verdict, ...]:
    """Return all verdicts on what was looked at; given: the build before its supply was run."""
    limits, feedback = build.verdicts, verdicts.feedback_of(build)
    rules: tuple[tuple[str, Callable[[], Iterable[Verdict]]], ...] = (
        ("safety", lambda: verdicts.judge_safety(build)),
        ("heaters", lambda: heater_verdicts.judge_heaters(build, cards)),
        ("filter capacitors", lambda: verdicts.judge_filter(given, build)),
        ("coils", lambda: coil_verdicts.judge_coils(build)),
        ("onset", lambda: verdicts.judge_bands(reports, limits, feedback=feedback)),
        ("oscillation", lambda: verdicts.judge_oscillation(strengths, limits, feedback=feedback)),
        ("operating points", lambda: () if there is None else verdicts.judge_bias(there.points)),
        ("supply, audio and hum", lambda: () if there is None else there.judged(build)),
        ("loudness", lambda: verdicts.judge_loudness(loud, limits)),
    )
    found: list[Verdict] = []
    for what, rule in rules:
        found += stages.run(f"verdicts on {what}", partial(_listed, rule)) or ()
    return tuple(found)


def _listed(rule: Callable[[], Iterable[Verdict]]) -> list[Verdict]:
    return list(rule())


class ComesIn(NamedTuple):
    """How oscillation comes in on a band; loud: how loud a weak station is there, if that was asked for."""

    strength: BandOscillation
    loud: tuple[Loudness, ...]


def strength_jobs(
    receiver: Receiver, reports: Sequence[BandReport], *, loud_on: Setting | None
) -> list[Job[ComesIn]]:
    """Return the jobs that tell how oscillation comes in at the middle of each band whose loop gain was
    found, and on the band of the setting `loud_on` how loud a weak station is.
    """

    def job(report: BandReport) -> Job[ComesIn]:
        tuned = receiver.at(band_named(receiver.build, report.band), search=report.middle)

        def work(_: Bench, stages: Stages) -> ComesIn:
            strength = comes_in(tuned, stages)
            loud: tuple[Loudness, ...] = ()
            if loud_on is not None and loud_on.band.name == report.band:
                loud = stages.run("loudness", lambda: loudness(tuned, strength.oscillation)) or ()
            return ComesIn(strength, loud)

        return Job(f"how oscillation comes in on {report.band}", work)

    return [job(r) for r in reports if r.middle.status is not Status.FAILED]


def strengths_of(
    jobs: Sequence[Job[ComesIn]],
) -> tuple[tuple[BandOscillation, ...], tuple[Loudness, ...]]:
    """Return how oscillation comes in, band by band, and how loud a station is, once the jobs were run."""
    found = [job.found for job in jobs if job.found is not None]
    return tuple(one.strength for one in found), tuple(each for one in found for each in one.loud)
