"""Ratings and limits of a supply, each turned by a figure just on either side of it.

Every figure of the results differs from every other (`filling`), so one judged in another's place shows.
"""

from __future__ import annotations

from typing import Any

import pytest

from receiver_sim import api
from receiver_sim.judge.supply_verdicts import judge_rectifier, judge_source
from receiver_sim.judge.verdicts import dangers, judge_safety
from receiver_sim.results.bands import Grade, Verdict
from receiver_sim.results.supply import Capacitor, DropperChoice, Rectified, StartAndStop
from receiver_sim.schema import Build
from tests.helpers.filling import filled

CAPACITORS = (filled(Capacitor, section=1, highest_v=431.0, rating_v=450.0), filled(Capacitor, section=2,
              highest_v=409.0, rating_v=None))  # fmt: skip
FOUND = filled(
    Rectified, load_a=31e-3, bleeder_a=4.7e-3, inverse_v=1130.0, no_load_v=397.0, peak_a=0.21,
    winding_a=83e-3, capacitors=CAPACITORS,
)  # fmt: skip
START = filled(StartAndStop, surge_a=0.77, highest_v=402.0, discharge_s=12.0, text="60 V after 12 s")


def rated(**values: float) -> Build:
    """The mains set with a rectifier whose maxima are these."""
    build = api.shipped_build("mains_set")
    supply = build.supply
    rectifier = supply.rectifier.model_copy(  # type: ignore[union-attr]
        update={"peak_inverse": None, "peak_current": None, "output_current": None, **values}
    )
    return build.model_copy(update={"supply": supply.model_copy(update={"rectifier": rectifier})})


def judged(build: Build, found: Rectified = FOUND, start: StartAndStop = START) -> dict[str, Verdict]:
    given = judge_rectifier(build, found, start)
    assert all(v.rule in ("rating", "discharge") for v in given)
    return {f"{v.subject}: {v.text.partition(' within')[0].partition(' above')[0]}": v for v in given}


@pytest.mark.parametrize(
    ("maximum", "what", "value", "unit"),
    [
        ("peak_inverse", "peak inverse volts", 1130.0, "V"),
        # the largest current of a rectifier comes when its filter is empty
        ("peak_current", "highest peak current with the mains 10 % high", 0.77, "A"),
        # the rectifier gives what the receiver and the bleeder take
        ("output_current", "d.c. that receiver and bleeder take", 35.7e-3, "A"),
    ],
)
def test_a_rectifier_is_judged_by_its_own_maxima(maximum: str, what: str, value: float, unit: str) -> None:
    for share, grade in ((0.99, Grade.BAD), (1.01, Grade.GOOD)):
        found = judged(rated(**{maximum: share * value}))
        verdict = found.pop(f"rectifier: {what}")
        assert (verdict.grade, verdict.unit) == (grade, unit)
        assert verdict.value == pytest.approx(value) and verdict.limit == pytest.approx(share * value)
        assert (" above the rating" in verdict.text) == (grade is Grade.BAD)
        assert set(found) == {"filter capacitor 1: volts with the tubes cold and the mains 10 % high"}


@pytest.mark.parametrize(("rating", "grade"), [(430.0, Grade.BAD), (432.0, Grade.GOOD)])
def test_a_filter_capacitor_is_judged_at_its_highest_volts(rating: float, grade: Grade) -> None:
    part = filled(Capacitor, section=3, highest_v=431.0, rating_v=rating)
    found = filled(Rectified, capacitors=(part,))
    (verdict,) = judged(rated(), found).values()
    assert (verdict.subject, verdict.grade, verdict.value, verdict.limit, verdict.unit) == (
        "filter capacitor 3", grade, 431.0, rating, "V",
    )  # fmt: skip


@pytest.mark.parametrize(("seconds", "slow"), [(59.0, False), (61.0, True), (None, True)])
def test_a_bleeder_has_a_minute(seconds: float | None, slow: bool) -> None:
    """The guide: longer than a minute to 60 V is bad; common practice, no source."""
    start = filled(StartAndStop, surge_a=0.1, discharge_s=seconds, text="it takes its time")
    found = [v for v in judge_rectifier(rated(), FOUND, start) if v.rule == "discharge"]
    assert [(v.subject, v.grade, v.value, v.limit, v.unit) for v in found] == (
        [("supply", Grade.BAD, seconds, 60.0, "s")] if slow else []
    )
    # and it is a danger, said before all else
    assert dangers(found) == (
        ("DANGER, supply: it takes its time; a lower bleeder is quicker.",) if slow else ()
    )


def test_without_a_bleeder_its_lack_is_said_and_not_its_slowness(demo: Build) -> None:
    build = rated()
    bare = build.model_copy(update={"supply": build.supply.model_copy(update={"bleeder": None})})
    start = filled(StartAndStop, surge_a=0.1, discharge_s=None)
    assert [v for v in judge_rectifier(bare, FOUND, start) if v.rule == "discharge"] == []
    # a d.c. supply has capacitors inside, too; only batteries have none
    other = demo.model_copy(update={"supply": demo.supply.model_copy(update={"bleeder": None})})
    assert [(v.subject, v.rule, v.grade) for v in judge_safety(other)] == [("supply", "bleeder", Grade.BAD)]


@pytest.mark.parametrize(("drawn", "grade"), [(19e-3, Grade.GOOD), (21e-3, Grade.BAD)])
def test_a_bench_supply_has_the_limit_it_is_set_to(demo: Build, drawn: float, grade: Grade) -> None:
    bench = api.changed_build(demo, {"supply": {"kind": "bench", "volts": "190 V", "current_limit": "20 mA"}})
    (verdict,) = judge_source(bench, drawn, None)
    assert (verdict.subject, verdict.grade, verdict.value, verdict.limit, verdict.unit) == (
        "bench supply", grade, drawn, pytest.approx(20e-3), "A",
    )  # fmt: skip
    assert judge_source(bench, None, None) == [] and judge_source(demo, drawn, None) == []


def test_an_overloaded_dropper_is_bad_with_its_watts(demo: Build) -> None:
    assert demo.regulator is not None
    build = demo.model_copy(update={"regulator": demo.regulator.model_copy(update={"dropper_power": 1.5})})
    choice = filled(DropperChoice, fitted_w=1.59, chosen_w=0.9, advised_w=2.0, text="OVERLOADED: 1.59 W")
    (verdict,) = judge_source(build, 0.01, choice)
    assert (verdict.subject, verdict.grade, verdict.value, verdict.limit, verdict.unit) == (
        "dropper", Grade.BAD, 1.59, 1.5, "W",
    )  # fmt: skip
    fine: Any = filled(DropperChoice, text="holds")
    assert judge_source(build, 0.01, fine) == []


def test_other_supplies_have_no_rectifier_to_judge(demo: Build) -> None:
    assert judge_rectifier(demo, FOUND, START) == []
    assert judge_rectifier(rated(peak_inverse=1.0), None, START) == []
