"""Priors of a tube's law and the laws drawn from a card, against integrals and figures worked out here."""

from __future__ import annotations

import math

import numpy as np
import pytest

from receiver_sim.physics.tube_law import currents
from receiver_sim.schema import priors as p
from receiver_sim.schema.card import Parameter, card_for


@pytest.mark.parametrize("name", ["1T4", "30"])
def test_a_filament_is_seen_from_its_middle_and_from_its_negative_end(name: str) -> None:
    """A sheet counts grid volts from the negative end. The middle lies half the filament's volts above it,
    and so much less do the volts that drive the space current count. Far below the foot's bend the current of
    the grid goes as exp(V/e-fold), the e-fold two thirds of the foot for a diode's 3/2 power; along the
    filament it is the mean of that over 0 to its volts, here by the midpoint rule.
    """
    card, plain = card_for(name), card_for("6SJ7")
    assert card.heater.direct and not plain.heater.direct
    volts = card.heater.volts
    mine = {one.name: one for one in p._class_of_cathode(card)}
    usual = {one.name: one for one in (*p._COMMON, *p._GRID)}
    assert p._class_of_cathode(plain) == () and set(mine) == {"contact", "grid_offset"}
    assert mine["contact"].value == pytest.approx(usual["contact"].value - volts / 2.0)
    fold = usual["foot"].value / 1.5
    along = (np.arange(20000) + 0.5) / 20000 * volts
    mean = float(np.mean(np.exp(-along / fold)))
    both = mine["contact"].value + mine["grid_offset"].value
    before = usual["contact"].value + usual["grid_offset"].value
    # what lies beyond the filament's other end, exp(-volts/fold), is left out: 3e-5 of it at 1.4 V
    assert math.exp((both - before) / fold) == pytest.approx(mean, rel=1e-4)
    assert mine["contact"].spread == usual["contact"].spread


def test_a_card_has_the_parameters_of_its_kind_in_order() -> None:
    """A screen divides current and has a knee, a remote grid has sections, a tetrode gives back secondaries;
    of a triode there is none of this. The kind's own knee goes before the common one."""
    names = {name: [one.name for one in p.priors(card_for(name))] for name in ("6C5", "6SJ7", "6SK7", "24A")}
    common, grid = [one.name for one in p._COMMON], ["grid_perveance", "grid_offset"]
    screened = [*common, "mu_screen", "mu_plate", "division", "knee", "focus"]
    assert names["6C5"] == [*common, "mu_plate", *grid]
    assert names["6SJ7"] == [*screened, *grid]
    assert names["6SK7"] == [*screened, "section_ratio", "section_weight", "sections", *grid]
    assert names["24A"] == [*screened, "emission", "emission_volts", "emission_width", *grid]
    knee = {name: next(one for one in p.priors(card_for(name)) if one.name == "knee") for name in names
            if name != "6C5"}  # fmt: skip
    assert knee["24A"].value < knee["6SJ7"].value and knee["24A"].spread < knee["6SJ7"].spread


def test_a_prior_of_the_card_replaces_value_spread_and_reason_but_not_the_scale() -> None:
    own = p.Prior(value=0.7, spread=0.11, reason="measured")
    card = card_for("6SJ7").model_copy(update={"priors": {"contact": own, "division": own}})
    found = {one.name: one for one in p.priors(card)}
    for name, log in (("contact", False), ("division", True)):
        assert found[name] == p.DefaultPrior(name, 0.7, 0.11, log, "measured")
    lost = card.model_copy(update={"priors": {"contct": own}})
    with pytest.raises(ValueError, match=r"^6SJ7: priors name no parameter of this law: contct; its par"):
        p.priors(lost)


def test_a_drawn_parameter_moves_by_its_own_scale_and_ends_where_it_must() -> None:
    """By a factor e^step of a logarithm, by the step itself else; a division ends at a twentieth, a focus at
    none, an exponent at 0.3."""
    law = card_for("6SJ7").law()
    one = Parameter(value=2.0, deviation=0.1, held_by="both")
    free = [("mu_screen", one), ("contact", one), ("division", one), ("focus", one), ("exponent", one)]
    logs = {name: name == "mu_screen" for name, _ in free}
    found = p._moved(law, free, logs, np.array([0.5, -0.7, -0.3, 0.2, -0.1]))
    assert found.mu_screen == pytest.approx(2.0 * math.exp(0.5))
    assert [found.contact, found.division, found.focus, found.exponent] == pytest.approx([1.3, 1.7, 2.2, 1.9])
    assert found.perveance == law.perveance
    low = p._moved(law, free, logs, np.array([0.0, -9.0, -9.0, -9.0, -9.0]))
    assert [low.contact, low.division, low.focus, low.exponent] == pytest.approx([-7.0, 0.05, 0.0, 0.3])


@pytest.mark.parametrize("anchor", [0.0, 1.5])
def test_a_drawn_law_has_the_current_of_print_but_for_the_scatter_of_a_fit(anchor: float) -> None:
    """At the card's first point: times e^(0.02 anchor), whatever the other deviations."""
    card = card_for("6SJ7")
    point, fit = card.points[0], card.law()
    assert point.grid is not None
    at = {"grid_v": point.grid, "plate_v": point.plate, "screen_v": point.screen}
    count = p.open_dimensions(card)
    assert card.fit is not None
    assert count == sum(one.held_by != "fixed" for one in card.fit.parameters.values())
    drawn = p.drawn_law(card, np.linspace(-1.0, 1.3, count), anchor=anchor)
    assert drawn != fit
    ratio = float(currents(drawn, **at).plate) / float(currents(fit, **at).plate)
    assert ratio == pytest.approx(math.exp(0.02 * anchor), rel=1e-9)
    still = p.drawn_law(card, np.zeros(count), anchor=0.0)
    assert still.parameters().pop("kind") == fit.kind
    figures = {name: value for name, value in fit.parameters().items() if name != "kind"}
    assert {name: getattr(still, name) for name in figures} == pytest.approx(figures)


def test_a_point_of_a_self_biased_stage_is_anchored_at_the_volts_of_its_cathode() -> None:
    """2.1 mA of plate and 0.5 mA of screen through 1 kohm: 2.6 V below the cathode."""
    card = card_for("6SJ7")
    point = card.points[0].model_copy(
        update={"grid": None, "cathode_resistor": 1e3, "plate_current": 2.1e-3, "screen_current": 0.5e-3}
    )
    self_biased = card.model_copy(update={"points": (point,)})
    fit = card.law()
    other = p.replace(fit, mu_screen=1.1 * fit.mu_screen)
    found = p._anchored(self_biased, other, fit, 1.0)
    at = {"grid_v": -2.6, "plate_v": point.plate, "screen_v": point.screen}
    assert float(currents(found, **at).plate) == pytest.approx(float(currents(fit, **at).plate), rel=1e-9)
    away = {**at, "grid_v": -1.6}
    assert abs(float(currents(found, **away).plate) / float(currents(fit, **away).plate) - 1.0) > 1e-3
