"""Verdicts that are asked of drawn sets: of the very sets whose onsets are counted, and of no other rule.

Nothing is simulated: what a set comes to is made up, what set it is is looked at.
"""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from receiver_sim.api import _asked
from receiver_sim.circuit.factors import drawn
from receiver_sim.circuit.sets import SetPlan, draws, moved_by
from receiver_sim.errors import UnknownName
from receiver_sim.failing_stages import Stages
from receiver_sim.results.bands import Grade, Verdict
from receiver_sim.schema import Build
from tests.test_what_is_kept import plan_of


class NoBench:
    """A bench on which nothing is to be run."""

    def map(self, _work: Any, items: Any, *_: Any) -> list[Any]:
        assert list(items) == []
        return []


BENCH: Any = NoBench()


def verdict(subject: str, rule: str, grade: Grade = Grade.GOOD) -> Verdict:
    return Verdict(subject, rule, grade, None, None, "", "why")


def looked_at(
    monkeypatch: pytest.MonkeyPatch, plan: SetPlan, number: int, rules: tuple[str, ...], *found: Verdict
) -> tuple[Build, _asked.Answers]:
    """Ask a set; return its build and the answers, where its verdicts are those that are given."""
    seen: list[Build] = []

    def judged(_stages: Stages, _given: Build, build: Build, *_: Any) -> tuple[Verdict, ...]:
        seen.append(build)
        return found

    monkeypatch.setattr(_asked, "judged_of", judged)
    answers = _asked.answers_of(BENCH, plan.build, plan, number, rules)
    (build,) = seen
    return build, answers


def parts(build: Build) -> tuple[float, ...]:
    """Return figures that every set draws anew."""
    assert build.audio is not None
    return (
        float(build.supply.volts), float(build.detector.grid_leak), float(build.regeneration.pot or 0.0),
        float(build.detector.grid_capacitor), float(build.audio.cathode_resistor or 0.0),
        *(band.coil.q for band in build.bands),
    )  # fmt: skip


@pytest.mark.parametrize("seed", [1, 7])
@pytest.mark.parametrize("number", [0, 3])
def test_a_set_that_is_asked_is_the_one_of_that_seed_and_number(
    demo: Build, monkeypatch: pytest.MonkeyPatch, seed: int, number: int
) -> None:
    """The row of that number of all draws from the first on, as the onsets are counted with."""
    plan = dataclasses.replace(plan_of(demo), seed=seed)
    row = draws(plan.factors, seed=seed, start=0, stop=5)[number]
    due, _ = drawn(plan.build, plan.cards, plan.factors, moved_by(plan.factors, row))
    build, _ = looked_at(monkeypatch, plan, number, ("coil_q",))
    names = [band.name for band in plan.bands]
    assert [band.name for band in build.bands] == names
    due = due.model_copy(update={"bands": tuple(b for b in due.bands if b.name in names)})
    assert parts(build) == parts(due) and parts(build) != parts(demo)


def test_sets_of_other_seeds_and_numbers_are_others(demo: Build, monkeypatch: pytest.MonkeyPatch) -> None:
    plan = plan_of(demo)
    drawn_sets = {
        parts(looked_at(monkeypatch, dataclasses.replace(plan, seed=seed), number, ("coil_q",))[0])
        for seed in (1, 7)
        for number in (0, 3)
    }
    assert len(drawn_sets) == 4


def test_a_verdict_holds_in_a_set_if_all_of_its_kind_are_good(
    demo: Build, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of one subject both limits of a figure are one verdict, a doubtful one does not hold, and what nobody
    asked for is not told."""
    _, answers = looked_at(
        monkeypatch, plan_of(demo), 0, ("coil_q", "heater_volts"),
        verdict("80 m", "coil_q_min"), verdict("80 m", "coil_q_max", Grade.DOUBTFUL),
        verdict("40 m", "coil_q_min"), verdict("40 m", "coil_q_max"),
        verdict("detector", "heater_over_max", Grade.BAD), verdict("detector", "heater_under_max"),
        verdict("supply", "bleeder", Grade.BAD),
    )  # fmt: skip
    assert answers == (
        ("80 m", "coil_q", False),
        ("40 m", "coil_q", True),
        ("detector", "heater_volts", False),
    )


FAMILIES = {
    "onset_rotation": ("onset_rotation_min", "onset_rotation_max"),
    "onset_screen": ("onset_screen_min", "onset_screen_max"),
    "audio_band": ("audio_low_max", "audio_high_min"),
    "coil_q": ("coil_q_min", "coil_q_max"),
    "heater_volts": ("heater_over_max", "heater_under_max"),
}
"""Verdicts of two limits each, as the guide lists them."""


@pytest.mark.parametrize("name", FAMILIES)
def test_either_limit_of_a_figure_asks_for_its_verdict_once(name: str) -> None:
    low, high = FAMILIES[name]
    assert _asked.known((high, name, low)) == (name,)


@pytest.mark.parametrize(
    "rule",
    ["onset", "approach_min", "dial_spread_max", "backlash_max", "holds_still", "rating", "regulator_holds",
     "mains_drift_max", "hum_power_max", "loudness_min", "plate_potential", "capacitor_rating", "bleeder"],
)  # fmt: skip
def test_a_verdict_of_one_limit_is_asked_for_by_its_own_name(rule: str) -> None:
    assert _asked.known((rule, "coil_q_min", rule)) == (rule, "coil_q")


def test_what_is_no_verdict_of_sets_is_refused_with_those_there_are() -> None:
    with pytest.raises(UnknownName) as refused:
        _asked.known(("holds_still", "loudness"))
    said = str(refused.value)
    assert said.startswith("'loudness' is no verdict that can be asked of sets; there are ")
    for name in (*FAMILIES, "onset", "holds_still", "loudness_min", "bleeder", "rating", "mains_drift_max"):
        assert name in said
