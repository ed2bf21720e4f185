"""What the print of a type leaves open of the onset: types printed alike, and a point taken away."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.api._spread import plan_for
from receiver_sim.circuit.factors import PRINT
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.sets import draws, moved_by
from receiver_sim.design.tube_fit import fit_card
from receiver_sim.measure import onset
from receiver_sim.receiver import Receiver
from receiver_sim.schema import Build, changed_build, load_build_text
from receiver_sim.schema.card import TubeCard, card_for
from receiver_sim.studies.drawn_sets import look_at_set
from tests.conftest import BUILDS

SETS = 40
"""Laws drawn: their scatter is known to 1/sqrt(2 n), a ninth."""

EIGHTY = 1.2816
"""Deviations to either side that hold eight of ten (tables of the normal integral): the range as stated."""


@pytest.fixture(scope="module")
def one_band() -> Build:
    """The demo with its 40 m coil alone, tapped so high that types of less gm oscillate, too."""
    text = (BUILDS / "demo.yaml").read_text(encoding="utf-8")
    head, bands = text.split("bands:\n")
    forty = bands[bands.index("  - name: 40 m") : bands.index("  - name: 30 m")]
    return load_build_text(f"{head}bands:\n{forty}".replace("tap: 3.84 %", "tap: 6.4 %"))


def scatter(build: Build, bench: api.Bench) -> tuple[float, float]:
    """Return the screen volts of onset by the card, and one deviation of them among laws of its fit."""
    plan = plan_for(build, bench, seed=3)
    kept = tuple(f for f in plan.factors if f.kind == PRINT and f.part == build.detector.tube)
    plan = dataclasses.replace(plan, factors=kept)
    rows = draws(kept, seed=3, start=0, stop=SETS)
    found = bench.map(lambda b, row: look_at_set(b, plan, moved_by(kept, row))[0].figure, list(rows))
    stated = look_at_set(bench, plan, {})[0].figure
    volts = [v for v in found if v is not None]
    assert stated is not None and len(volts) > 0.8 * SETS
    return stated, float(np.std(volts))


@pytest.mark.parametrize(("one", "other"), [("6C6", "77"), ("6J7", "6SJ7"), ("57", "6J7")])
def test_types_printed_alike_differ_by_no_more_than_their_ranges(
    one: str, other: str, one_band: Build, bench: api.Bench
) -> None:
    """6C6 and 77 are one structure in two bulbs; 6J7 and 6SJ7 are printed for the same service."""
    found = [scatter(changed_build(one_band, {"detector.tube": name}), bench) for name in (one, other)]
    (first, a), (second, b) = found
    assert abs(first - second) <= EIGHTY * np.hypot(a, b)


def test_a_point_taken_away_moves_the_onset_within_its_range(one_band: Build, bench: api.Bench) -> None:
    """Each point of the 6SJ7's card in turn: onset without it against what the fit leaves open."""
    stated, deviation = scatter(one_band, bench)
    card, band = card_for("6SJ7"), one_band.bands[0]
    cards = api.cards_for(one_band)
    dial = api.dial_frequencies(band)[1]
    moved = []
    for index in range(len(card.points)):
        law = fit_card(card, leave_out=index).law
        found = onset.run(Receiver(one_band, bench, cards=with_law(cards, card, law)).at(band, dial))
        assert found.onset is not None
        moved.append(found.onset.screen_v - stated)
    assert len(moved) >= 3
    assert np.abs(moved).max() <= EIGHTY * deviation
    assert np.abs(moved).max() > 0.0


def with_law(cards: Cards, card: TubeCard, law: object) -> Cards:
    assert card.fit is not None
    values = law.parameters()  # type: ignore[attr-defined]
    parameters = {n: p.model_copy(update={"value": values[n]}) for n, p in card.fit.parameters.items()}
    fit = card.fit.model_copy(update={"parameters": parameters})
    return dataclasses.replace(cards, detector=card.model_copy(update={"fit": fit}))
