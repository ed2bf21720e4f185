"""Any verdict of `check`, asked of drawn sets: each set is a build of its own that the studies look at."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from receiver_sim.api._judged import ComesIn, judged_of, strength_jobs, strengths_of
from receiver_sim.builds import dial_frequencies
from receiver_sim.circuit.factors import drawn
from receiver_sim.circuit.sets import SetPlan, draws, moved_by
from receiver_sim.engine import Bench
from receiver_sim.errors import UnknownName
from receiver_sim.failing_stages import Job, Stages
from receiver_sim.receiver import Receiver
from receiver_sim.results.bands import BandReport, Grade
from receiver_sim.schema import Build
from receiver_sim.working import looking

FAMILIES = {
    "onset_rotation_min": "onset_rotation", "onset_rotation_max": "onset_rotation",
    "onset_screen_min": "onset_screen", "onset_screen_max": "onset_screen", "audio_low_max": "audio_band",
    "audio_high_min": "audio_band", "coil_q_min": "coil_q", "coil_q_max": "coil_q",
    "heater_over_max": "heater_volts", "heater_under_max": "heater_volts",
}  # fmt: skip
"""Rule that fails -> the verdict it belongs to, as the guide lists them."""

OSCILLATION = ("backlash_max", "holds_still")
WORKING = ("rating", "regulator_holds", "mains_drift_max", "audio_band", "hum_power_max")
ONSET = ("onset", "onset_rotation", "onset_screen", "approach_min", "dial_spread_max")
PLAIN = ("coil_q", "heater_volts", "plate_potential", "capacitor_rating", "bleeder")
KNOWN = (*ONSET, *OSCILLATION, *WORKING, "loudness_min", *PLAIN)
"""Verdicts that can be asked of drawn sets."""

Answers = tuple[tuple[str, str, bool], ...]
"""Subject, verdict, and whether it holds."""


def family(rule: str) -> str:
    """Return the verdict that a rule belongs to."""
    return FAMILIES.get(rule, rule)


def known(rules: Sequence[str]) -> tuple[str, ...]:
    """Return the verdicts that are asked for, each once. Raises UnknownName."""
    wanted = tuple(dict.fromkeys(family(rule) for rule in rules))
    for rule in wanted:
        if rule not in KNOWN:
            raise UnknownName(
                f"'{rule}' is no verdict that can be asked of sets; there are {', '.join(KNOWN)}"
            )
    return wanted


def answers_of(bench: Bench, given: Build, plan: SetPlan, number: int, rules: Collection[str]) -> Answers:
    """Return what a set comes to in the verdicts asked for; what could not be simulated does not hold."""
    row = draws(plan.factors, seed=plan.seed, start=number, stop=number + 1)[0]
    build, cards = drawn(plan.build, plan.cards, plan.factors, moved_by(plan.factors, row))
    names = [band.name for band in plan.bands]
    build = build.model_copy(update={"bands": tuple(b for b in build.bands if b.name in names)})
    receiver = Receiver(build, bench, cards=cards)
    stages = Stages()
    reports: list[BandReport] = []
    if any(rule not in PLAIN for rule in rules):
        reports = [
            BandReport(
                band.name,
                tuple(receiver.at(band, dial).onset for dial in dial_frequencies(band)),
                None,
                (),
                None,
            )
            for band in build.bands
        ]
    ears = "loudness_min" in rules
    place = looking(stages, receiver, reports) if ears or _any(rules, WORKING) else None
    jobs: list[Job[ComesIn]] = []
    if ears or _any(rules, OSCILLATION):
        jobs = strength_jobs(receiver, reports, loud_on=place.setting if place is not None and ears else None)
    stages.side_by_side(bench, [*jobs, *([] if place is None else place.jobs)])
    found, loud = strengths_of(jobs)
    there = None if place is None else place.found()
    judged = judged_of(stages, given, build, cards, reports, found, there, loud)
    good: dict[tuple[str, str], bool] = {}
    for verdict in judged:
        key = (verdict.subject, family(verdict.rule))
        if key[1] in rules:
            good[key] = good.get(key, True) and verdict.grade is Grade.GOOD
    return tuple((subject, rule, holds) for (subject, rule), holds in good.items())


def _any(rules: Collection[str], some: Sequence[str]) -> bool:
    return any(rule in rules for rule in some)
