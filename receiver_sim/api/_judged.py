"""What `check` looks at besides onset, and all its verdicts in order; `spread` asks them of many sets."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import partial

from receiver_sim.api._common import Progress
from receiver_sim.builds import band_named
from receiver_sim.circuit.registry import Cards
from receiver_sim.engine import Bench
from receiver_sim.failing_stages import Stages
from receiver_sim.judge import coil_verdicts, heater_verdicts, verdicts
from receiver_sim.oscillating import comes_in, loudness
from receiver_sim.receiver import Receiver, Tuned
from receiver_sim.results.audio import Loudness
from receiver_sim.results.base import FailedStage, Status
from receiver_sim.results.check import BandReport, Verdict
from receiver_sim.results.envelope import BandOscillation
from receiver_sim.schema import Build
from receiver_sim.working import LookedAt


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


def loudness_of(
    receiver: Receiver, there: LookedAt, strengths: Sequence[BandOscillation]
) -> tuple[Loudness, ...]:
    """Return how loud a weak station is on the reference band, empty if that does not oscillate."""
    setting = there.setting
    for one in strengths:
        if setting is not None and one.oscillation.band == setting.band.name:
            return loudness(receiver.at(setting.band, search=setting.onset), one.oscillation)
    return ()


def strengths_of(
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

    def one(_: Bench, tuned: Tuned) -> tuple[BandOscillation, tuple[FailedStage, ...]]:
        within = Stages()
        return comes_in(tuned, within), within.failed

    answers = stages.map(
        receiver.bench, one, searched, lambda done, total: progress("how oscillation comes in", done, total)
    )
    found = [answer for answer in answers if answer is not None]
    stages.add(failed for _, some in found for failed in some)
    return tuple(strength for strength, _ in found)
