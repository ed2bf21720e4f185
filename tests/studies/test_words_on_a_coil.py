"""What a designed coil is warned of, on either side of each limit. Formulas alone."""

from __future__ import annotations

import dataclasses

import pytest

from receiver_sim.design import winding
from receiver_sim.design.winding import Wish
from receiver_sim.schema.coil_figures import coil_figures

WISH = Wish(
    from_hz=7e6, to_hz=7.3e6, former=0.03, wire=0.5e-3, covering=0.05e-3, pitch=1e-3, minimum=10e-12,
    maximum=150e-12, law="capacitance", stray=15e-12, tap=0.05, spread=False, reactance=250.0,
)  # fmt: skip


def said(
    wish: Wish = WISH, *, turns: float = 12.0, tap: float = 0.5, low: float = 4e6, high: float = 9e6
) -> str:
    figures = coil_figures(winding._coil(wish, turns, tap))
    return " | ".join(winding._warnings(wish, figures, low=low, high=high, turns=turns, tap=tap))


def test_a_coil_as_it_should_be_is_warned_of_nothing() -> None:
    assert said() == ""


@pytest.mark.parametrize(
    ("low", "high", "whole"),
    [(7.0e6, 7.3e6, True), (7.001e6, 9e6, False), (4e6, 7.299e6, False)],
)
def test_a_band_that_the_capacitor_does_not_cover(low: float, high: float, whole: bool) -> None:
    text = said(low=low, high=high)
    assert ("not the whole band" in text) is not whole
    assert whole or f"{low / 1e6:.4g} MHz to {high / 1e6:.4g} MHz" in text


@pytest.mark.parametrize(("turns", "few"), [(2.75, True), (3.0, False)])
def test_leads_count_as_much_as_two_turns(turns: float, few: bool) -> None:
    wide = dataclasses.replace(WISH, former=0.012, pitch=2.5e-3, tap=0.2)
    assert ("less than three turns" in said(wide, turns=turns, tap=0.5)) is few


@pytest.mark.parametrize(("turns", "long"), [(60.0, False), (61.0, True)])
def test_a_coil_twice_as_long_as_its_former_is_wide(turns: float, long: bool) -> None:
    """A millimetre a turn on 30 mm."""
    text = said(turns=turns, tap=3.0)
    assert ("times as long as its former is wide" in text) is long
    assert not long or "the coil is 2.0 times" in text


@pytest.mark.parametrize(("tap", "coarse"), [(0.5, False), (1.0, False), (1.25, True), (0.25, True)])
def test_a_quarter_turn_that_is_coarse(tap: float, coarse: bool) -> None:
    """Asked for 5 % of 14 turns, 0.7: within half of that either way it serves (0.35 to 1.05)."""
    text = said(turns=14.0, tap=tap)
    assert ("a quarter turn is coarse" in text) is coarse
    assert not coarse or f"the tap is at {100.0 * tap / 14.0:.1f}% of the turns" in text


def test_lines_for_the_build_hold_what_was_designed() -> None:
    lines = winding._lines(
        dataclasses.replace(WISH, former=0.038), turns=12.25, tap=0.75, series=22e-12, parallel=33e-12
    )
    assert [line.strip() for line in lines] == [
        "- name: new band", "from: 7 MHz", "to: 7.3 MHz", "coil:", "winding:", "kind: solenoid",
        "former: 38 mm",
        "turns: 12.25", "wire: 0.5 mm", "covering: 0.05 mm", "material: bakelite", "pitch: 1 mm", "tap: 0.75",
        "padding: {series: 22 pF, parallel: 33 pF}",
    ]  # fmt: skip
    plain = winding._lines(
        dataclasses.replace(WISH, pitch=None), turns=12.0, tap=0.5, series=None, parallel=0.0
    )
    assert not any("pitch" in line or "padding" in line for line in plain)
