"""What is said of the Q of a coil: one figure or two, what it rests on, what to do. Words by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from receiver_sim.judge import coil_verdicts
from receiver_sim.judge.coil_verdicts import judge_coils
from receiver_sim.results.bands import Grade, Verdict

CURE = "thicker wire, a wider pitch, a better former or a wider can; or see that the figure is right"
TRADE = (
    "plug-in coils of the trade measured 100 to 250, so onset and selectivity may be worse than shown here; "
    "measure it and set 'q' or 'measured: {q: ...}'"
)


def judged(
    monkeypatch: pytest.MonkeyPatch, low: float, high: float, former: str | None = None, assumed: bool = False
) -> Verdict:
    """A band from 7 to 7.3 MHz whose coil has these Q at its ends."""
    monkeypatch.setattr(coil_verdicts, "coil_q", lambda _, hz: {7.0e6: low, 7.3e6: high}[hz])
    monkeypatch.setattr(coil_verdicts, "former_by_name", lambda _: former)
    monkeypatch.setattr(coil_verdicts, "former_assumed", lambda _: assumed)
    band = SimpleNamespace(name="40 m", coil=None, from_=7.0e6, to=7.3e6)
    limits = SimpleNamespace(coil_q_min=50.0, coil_q_max=300.0)
    build: Any = SimpleNamespace(bands=(band,), verdicts=limits)
    (found,) = judge_coils(build)
    assert found.subject == "40 m" and found.unit == "1"
    return found


@pytest.mark.parametrize(
    ("ends", "span"),
    [((120.0, 140.0), "120 to 140"), ((140.0, 120.0), "120 to 140"), ((119.6, 120.4), "120"),
     ((119.4, 119.6), "119 to 120")],
)  # fmt: skip
def test_a_good_coil_is_said_with_its_span(
    monkeypatch: pytest.MonkeyPatch, ends: tuple[float, float], span: str
) -> None:
    found = judged(monkeypatch, *ends)
    assert (found.rule, found.grade, found.value, found.limit) == ("coil_q", Grade.GOOD, max(ends), 300.0)
    assert found.text == f"the coil alone has a Q of {span} in the band"


def test_a_poor_and_a_too_good_coil_are_said_with_what_helps(monkeypatch: pytest.MonkeyPatch) -> None:
    poor = judged(monkeypatch, 44.0, 60.0, "cardboard")
    assert (poor.rule, poor.grade, poor.value, poor.limit) == ("coil_q_min", Grade.DOUBTFUL, 44.0, 50.0)
    assert poor.text == (
        f"the coil alone has a Q of 44 to 60 in the band, by its winding on cardboard: poor; {CURE}"
    )
    best = judged(monkeypatch, 290.0, 320.0, "air", assumed=True)
    assert (best.rule, best.grade, best.value, best.limit) == ("coil_q_max", Grade.DOUBTFUL, 320.0, 300.0)
    assert best.text == (
        "the coil alone has a Q of 290 to 320 in the band, by its winding on air (assumed: set "
        f"'winding.material'): {TRADE}"
    )


@pytest.mark.parametrize(("ends", "rule"), [((50.0, 50.0), "coil_q"), ((300.0, 300.0), "coil_q"),
                                            ((45.0, 310.0), "coil_q_min")])  # fmt: skip
def test_a_limit_itself_is_kept_and_a_poor_end_is_said_first(
    monkeypatch: pytest.MonkeyPatch, ends: tuple[float, float], rule: str
) -> None:
    assert judged(monkeypatch, *ends).rule == rule
