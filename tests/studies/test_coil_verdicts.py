"""The Q of the coils in the verdicts: both sides of each limit, what it rests on, and a page of `check`."""

from __future__ import annotations

import pytest

from receiver_sim.judge.coil_verdicts import judge_coils
from receiver_sim.results.bands import Grade
from receiver_sim.schema import Build, changed_build
from receiver_sim.schema.coil_figures import coil_q


@pytest.mark.parametrize(
    ("q", "rule", "grade"),
    [
        (49.9, "coil_q_min", Grade.DOUBTFUL),
        (50.1, "coil_q", Grade.GOOD),
        (299.0, "coil_q", Grade.GOOD),
        (301.0, "coil_q_max", Grade.DOUBTFUL),
    ],
)
def test_a_q_that_no_coil_of_the_trade_has_is_doubtful(
    demo: Build, q: float, rule: str, grade: Grade
) -> None:
    """Guards against Q of 300 to 450 passing without a word: limits 50 and 300 of the verdicts."""
    build = changed_build(demo, {"bands[2].coil.q": q})
    found = list(judge_coils(build))
    assert [v.subject for v in found] == [band.name for band in build.bands]
    assert (found[2].rule, found[2].grade, found[2].value) == (rule, grade, q)
    assert {v.grade for n, v in enumerate(found) if n != 2} == {Grade.GOOD}
    wide = changed_build(build, {"verdicts.coil_q_min": "20", "verdicts.coil_q_max": "400"})
    assert {v.grade for v in judge_coils(wide)} == {Grade.GOOD}


def test_the_q_is_that_of_the_ends_of_the_band(wound: Build) -> None:
    for verdict, band in zip(judge_coils(wound), wound.bands, strict=True):
        ends = [coil_q(band.coil, f) for f in (band.from_, band.to)]
        assert verdict.value == max(ends)
        assert f"{min(ends):.0f}" in verdict.text and f"{max(ends):.0f}" in verdict.text


@pytest.mark.parametrize(("key", "above"), [("coil_q_max", False), ("coil_q_min", True)])
def test_one_end_of_the_band_beyond_a_limit_is_enough(wound: Build, key: str, above: bool) -> None:
    """The limit lies between the Q of both ends: the better end does not make up for the other."""
    ends = [coil_q(wound.bands[0].coil, f) for f in (wound.bands[0].from_, wound.bands[0].to)]
    assert max(ends) > 1.01 * min(ends)
    between = sum(ends) / 2.0
    wide = {"verdicts.coil_q_min": "20", "verdicts.coil_q_max": "400"}
    build = changed_build(wound, {**wide, f"verdicts.{key}": f"{between:.6g}"})
    first = next(iter(judge_coils(build)))
    assert (first.rule, first.grade) == (key, Grade.DOUBTFUL)
    assert first.value == (min(ends) if above else max(ends))


def test_what_the_q_rests_on_is_said(wound: Build) -> None:
    """A former that the build states needs no word; one assumed is called so, with the key that ends it."""
    stated, named, assumed = (
        next(iter(judge_coils(build))).text
        for build in (
            wound,
            changed_build(
                wound,
                {"bands[0].coil.winding.former_loss": None, "bands[0].coil.winding.material": "ceramic"},
            ),
            changed_build(wound, {"bands[0].coil.winding.former_loss": None}),
        )
    )
    assert "by its winding" not in stated
    assert named.endswith("by its winding on glazed steatite")
    assert assumed.endswith("by its winding on moulded bakelite (assumed: set 'winding.material')")
