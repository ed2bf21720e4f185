"""Heaters by hand: halves in series, droppers, chokes that take the volts, filaments by their socket.

Volts and currents of tubes are those of their sheets, on the cards: 6SJ7 and 6C5 6.3 V, 0.3 A; 56 2.5 V, 1 A;
12AU7 6.3 V, 0.3 A with its halves in parallel, 12.6 V, 0.15 A in series; 1T4 1.4 V, 50 mA. What helps is
common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from receiver_sim.builds import cards_for, shipped_build
from receiver_sim.circuit.registry import Cards
from receiver_sim.judge.heater_verdicts import judge_heaters
from receiver_sim.results.bands import Grade, Verdict
from receiver_sim.schema import Build, changed_build
from receiver_sim.schema.card import TubeCard, card_for


def judged(build: Build, cards: Cards | None = None) -> list[Verdict]:
    return judge_heaters(build, cards or cards_for(build))


def filament(card: TubeCard) -> TubeCard:
    """The card with its filament as the cathode."""
    return card.model_copy(update={"heater": card.heater.model_copy(update={"direct": True})})


BATTERY: dict[str, Any] = {"detector.tube": "1T4", "heater.volts": "1.4 V", "heater.supply": "dc"}


@pytest.mark.parametrize("volts", [None, "1.4 V"])
def test_chokes_that_take_the_volts_are_what_is_to_change(demo: Build, volts: str | None) -> None:
    """1T4, 50 mA through two chokes of 2 ohm: 0.2 V of the 1.4 V. A tenth, 0.14 V, is left for 1.4 ohm in
    each lead. The fault this guards: the advice was to run the line at the 1.4 V that it has.
    """
    feed: dict[str, Any] = {"chokes": 1e-3, "choke_resistance": 2.0}
    if volts is not None:
        feed["volts"] = volts
    found = judged(changed_build(demo, {**BATTERY, "detector.heater_feed": feed}))[0]
    assert (found.rule, found.value) == ("heater_under_max", pytest.approx(1.2))
    assert found.text == (
        "1.2 V on a heater rated 1.4 V: the cathode stays too cool to emit what its card says; the chokes in "
        "its leads take 200 mV: 1.4 ohm in each is the most"
    )


def test_a_line_too_low_is_said_where_chokes_alone_are_not_to_blame(demo: Build) -> None:
    feed = {"chokes": 1e-3, "choke_resistance": 0.5}
    found = judged(changed_build(demo, {**BATTERY, "heater.volts": "1.2 V", "detector.heater_feed": feed}))[0]
    assert found.value == pytest.approx(1.15) and "the cathode stays too cool" in found.text
    assert "chokes" not in found.text
