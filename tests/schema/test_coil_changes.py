"""Changes that bring a set nearer to oscillation or away from it do what their words say, no more."""

from __future__ import annotations

import re

import pytest

from receiver_sim import api
from receiver_sim.schema import Build, changed_build
from receiver_sim.schema.coil_changes import changes, pairs
from receiver_sim.schema.coil_figures import coil_q
from receiver_sim.schema.quantity import CAPACITANCE, RESISTANCE, parse_quantity


def said(text: str) -> tuple[str, str, str]:
    """Return what is changed, what it becomes and what it was."""
    found = re.fullmatch(r"(.+?) ([\d.]+ ?\S*) instead of ([\d.]+(?: \S+)?)", text)
    assert found, text
    return found[1], found[2], found[3]


@pytest.mark.parametrize(
    ("more", "couplings", "tops"),
    [(True, [1.65, 0.825, 0.33], ["13.5 kohm", "0 ohm"]),
     (False, [6.6, 13.2], ["74 kohm", "168 kohm"])],
)  # fmt: skip
def test_aerial_coil_and_control_of_a_coil_by_figures(
    demo: Build, more: bool, couplings: list[float], tops: list[str]
) -> None:
    """A looser aerial, a better coil, more volts at the control bring oscillation nearer; the contrary away.
    Of 27 kohm above a control of 47 kohm: half and none, or one and three controls more.
    """
    build = changed_build(demo, {"regeneration.top": "27 kohm", "aerial.coupling": "3.3 pF"})
    band = build.bands[1]
    found = {one.text: one for one in changes(build, band, more=more)}
    kinds = [one.kind for one in found.values()]
    assert kinds == ["aerial"] * len(couplings) + ["coil"] * more + ["control"] * 2
    for text, change in found.items():
        what, now, was = said(text)
        other, tank = change.apply(build, band)
        if change.kind == "aerial":
            assert (what, was) == ("aerial coupling", "3.3 pF")
            assert parse_quantity(now, CAPACITANCE) == pytest.approx(
                1e-12 * couplings.pop(0), rel=1e-9, abs=0.0
            )
            assert other.aerial is not None
            assert other.aerial.coupling == pytest.approx(parse_quantity(now, CAPACITANCE), rel=6e-3, abs=0.0)
            assert (tank, other.regeneration) == (band, build.regeneration)
        elif change.kind == "control":
            assert (what, now, was) == ("resistor above the control", tops.pop(0), "27 kohm")
            assert other.regeneration.top == pytest.approx(parse_quantity(now, RESISTANCE), abs=0.01)
            assert (tank, other.aerial) == (band, build.aerial)
        else:
            assert what == "a coil of Q" and float(was) == pytest.approx(
                coil_q(band.coil, band.middle_hz), rel=5e-3
            )
            assert coil_q(tank.coil, band.middle_hz) == pytest.approx(float(now), rel=5e-3)
            assert float(now) == pytest.approx(1.5 * float(was), rel=5e-3) and other == build
    assert couplings == tops == []


@pytest.mark.parametrize("more", [True, False])
def test_link_and_former_of_a_wound_coil(more: bool) -> None:
    """A link of fewer turns, but one at least, and a former with less loss; the Q of the words is its own."""
    build = changed_build(
        api.shipped_build("plugin_coils"),
        {"bands[1].coil.winding.former_loss": None, "bands[1].coil.winding.material": "bakelite"},
    )
    band = build.bands[1]
    found = list(changes(build, band, more=more))
    links = [one for one in found if one.kind == "aerial"]
    assert [said(one.text)[1:] for one in links] == (
        [("2 turns", "4"), ("1 turns", "4")] if more else [("8 turns", "4"), ("16 turns", "4")]
    )
    for one in links:
        _, tank = one.apply(build, band)
        assert tank.coil.link is not None
        assert tank.coil.link.turns == float(said(one.text)[1].split()[0])
        assert tank.coil.winding == band.coil.winding
    formers = [one for one in found if one.kind == "coil"]
    assert len(formers) == more
    for one in formers:
        _, tank = one.apply(build, band)
        was, now = (coil_q(c, band.middle_hz) for c in (band.coil, tank.coil))
        assert now > was and f"(Q {now:.0f} instead of {was:.0f})" in one.text


def test_two_at_a_time_are_the_best_of_each_kind(demo: Build) -> None:
    band = demo.bands[1]
    ranked = list(changes(demo, band, more=True))
    both = list(pairs(ranked))
    kinds = {(one.kind) for one in both}
    assert kinds == {"aerial and coil", "aerial and control", "coil and control"}
    first = next(one for one in both if one.kind == "aerial and control")
    assert first.text == f"{ranked[0].text}, and {next(c.text for c in ranked if c.kind == 'control')}"
    build, tank = first.apply(demo, band)
    assert build.aerial is not None and demo.aerial is not None and tank == band
    assert build.aerial.coupling == pytest.approx(0.5 * (demo.aerial.coupling or 0.0))
    assert build.regeneration.top == pytest.approx(0.5 * demo.regeneration.top)
