"""What a fit is refused for, what its parameters rest on, and when a card no longer holds its fit: each limit
a little above and a little below, on results made by hand.
"""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from receiver_sim.design import tube_fit
from receiver_sim.results.tubes import FitResult, FittedParameter, PointError
from receiver_sim.schema.card import TubeCard, card_for
from receiver_sim.schema.priors import DefaultPrior
from tests.helpers.filling import filled


def _parameters(**shares: float) -> list[FittedParameter]:
    """Parameters of the value 40 and so much of it as their deviation."""
    return [FittedParameter(name, 40.0, 40.0 * share, "points") for name, share in shares.items()]


@pytest.mark.parametrize(("type_", "main"), [("6C5", "mu_plate"), ("6SJ7", "mu_screen")])
def test_a_fit_that_leaves_scale_or_amplification_open_by_their_value_is_refused(
    type_: str, main: str
) -> None:
    """One deviation is the whole value then: priors would invent a tube. Of any other parameter the priors
    may say all there is.
    """
    card = card_for(type_)
    words = (
        r"^{}: the points determine {} only; add a point at another grid or plate voltage, or gm or mu at a "
        r"point there is$"
    )
    for name in ("perveance", main):
        open_ = {"perveance": 0.1, main: 0.1, name: 1.01}
        with pytest.raises(tube_fit.FitRefused, match=words.format(type_, f"{name} to 101%")):
            tube_fit._refuse_undetermined(card, _parameters(**open_))
        tube_fit._refuse_undetermined(card, _parameters(**{**open_, name: 0.99}))
    with pytest.raises(
        tube_fit.FitRefused, match=words.format(type_, f"perveance to 150% and {main} to 300%")
    ):
        tube_fit._refuse_undetermined(card, _parameters(perveance=1.5, **{main: 3.0}))
    tube_fit._refuse_undetermined(card, _parameters(perveance=0.1, contact=9.0, spread=9.0))


def test_a_pentode_is_not_refused_for_the_plate_nor_a_triode_for_a_screen() -> None:
    tube_fit._refuse_undetermined(card_for("6SJ7"), _parameters(mu_plate=9.0))
    tube_fit._refuse_undetermined(card_for("6C5"), _parameters(mu_screen=9.0))


def _row(quantity: str, ratio: float, *, gated: bool = True) -> PointError:
    return filled(PointError, quantity=quantity, error=ratio - 1.0, gated=gated, index=3)


def _fit_with(monkeypatch: pytest.MonkeyPatch, row: PointError) -> FitResult:
    """What a fit gives of a card one of whose figures it misses so."""
    card = card_for("6C5")
    problem: Any = SimpleNamespace(card=card, law=lambda _: card.law(), free=[], known=[], leave_out=None)
    monkeypatch.setattr(tube_fit, "residual_table", lambda *_: [row])
    monkeypatch.setattr(tube_fit, "_refuse_undetermined", lambda *_: None)
    return tube_fit._result(problem, np.array([]), np.zeros((0, 0)), 1.0)


@pytest.mark.parametrize("quantity", ["plate_current", "gm", "gain"])
@pytest.mark.parametrize(
    ("ratio", "refused"), [(9.9, False), (10.1, True), (1 / 9.9, False), (1 / 10.1, True)]
)
def test_a_figure_missed_tenfold_either_way_is_taken_for_a_slip(
    monkeypatch: pytest.MonkeyPatch, quantity: str, ratio: float, refused: bool
) -> None:
    if not refused:
        assert _fit_with(monkeypatch, _row(quantity, ratio)).residuals[0].error == ratio - 1.0
        return
    with pytest.raises(
        tube_fit.FitRefused,
        match=rf"^6C5: no law meets the {quantity} of point 3 even roughly; check its volts, their signs and "
        r"its units$",
    ):
        _fit_with(monkeypatch, _row(quantity, ratio))


def test_a_bias_and_what_has_no_limit_are_never_taken_for_a_slip(monkeypatch: pytest.MonkeyPatch) -> None:
    """A cut-off is printed to a volt or so; what is not gated need not be met."""
    for row in (_row("bias", 20.0), _row("rp", 20.0, gated=False)):
        assert _fit_with(monkeypatch, row).residuals == (row,)


@pytest.mark.parametrize(
    ("ratio", "held"),
    [(0.495, "points"), (0.505, "both"), (0.891, "both"), (0.909, "prior")],
)
def test_what_a_parameter_rests_on_is_told_by_what_the_points_leave_of_its_prior(
    ratio: float, held: str
) -> None:
    """Points that halve a prior's deviation hold the parameter; a tenth less and the prior does."""
    plain = filled(DefaultPrior, spread=0.2, log=False)
    found = tube_fit._parameter(plain, 7.0, 0.2 * ratio)
    # two digits
    assert (found.held_by, found.deviation) == (held, pytest.approx(0.2 * ratio, rel=0.05))


def test_a_deviation_of_a_logarithm_is_told_as_one_of_the_value() -> None:
    """0.1 of the logarithm is 10 % of the value; a fixed parameter has none."""
    prior = filled(DefaultPrior, spread=0.2, log=True)
    assert tube_fit._parameter(prior, -30.0, 0.1).deviation == pytest.approx(3.0)
    fixed = tube_fit._parameter(prior, 30.0, None)
    assert (fixed.value, fixed.deviation, fixed.held_by) == (30.0, 0.0, "fixed")


# ---------------------------------------------------------------------------- a card and its fit


def _checked(monkeypatch: pytest.MonkeyPatch, card: TubeCard, **changes: Any) -> tuple[str, ...]:
    """What differs where a fit gives the card's own parameters but for these changes."""
    assert card.fit is not None
    parameters = [
        FittedParameter(name, one.value, changes.get("deviation", 0.0), "points")
        for name, one in card.fit.parameters.items()
    ]
    moved = changes.get("moved", 0.0)
    first = parameters[0]
    parameters[0] = replace(first, value=first.value + moved)
    parameters = parameters[changes.get("without", 0) :] + changes.get("more", [])
    result = filled(
        FitResult,
        points=changes.get("points", card.fit.points),
        law=card.law(),
        parameters=tuple(parameters),
    )
    monkeypatch.setattr(tube_fit, "load_card", lambda _: changes.get("read", card))
    monkeypatch.setattr(tube_fit, "fit_card", lambda _: result)
    return tube_fit.check_fit("a card").differences


def test_a_card_that_holds_its_fit_has_no_differences(monkeypatch: pytest.MonkeyPatch) -> None:
    card = card_for("6C5")
    assert _checked(monkeypatch, card) == ()
    bare = card.model_copy(update={"fit": None})
    assert _checked(monkeypatch, card, read=bare) == ("the card holds no fit",)


@pytest.mark.parametrize(
    ("deviation", "moved", "differs"),
    [(0.0, 0.99e-4, False), (0.0, 1.02e-4, True), (0.01, 2.98e-4, False), (0.01, 3.03e-4, True)],
)
def test_a_parameter_may_differ_by_what_another_machine_may_change(
    monkeypatch: pytest.MonkeyPatch, deviation: float, moved: float, differs: bool
) -> None:
    """1e-4 of the value and 2 % of the deviation, which is a hundredth of the value in the last two cases."""
    card = card_for("6C5")
    assert card.fit is not None
    name, first = next(iter(card.fit.parameters.items()))
    value = abs(first.value)
    for sign in (1.0, -1.0):
        found = _checked(monkeypatch, card, deviation=deviation * value, moved=sign * moved * value)
        assert bool(found) is differs
        if differs:
            assert found[0].startswith(f"{name}: card {first.value:.6g}, fit ")


def test_other_points_and_other_parameters_are_named(monkeypatch: pytest.MonkeyPatch) -> None:
    card = card_for("6C5")
    assert card.fit is not None
    first = next(iter(card.fit.parameters))
    assert _checked(monkeypatch, card, points="other") == ("the points changed since the fit",)
    assert _checked(monkeypatch, card, without=1) == (f"{first}: not a parameter of this law",)
    more = [FittedParameter("curl", 2.0, 0.1, "points")]
    assert _checked(monkeypatch, card, more=more) == ("curl: missing in the card",)


# ---------------------------------------------------------------------------- ranges


def _point(**volts: Any) -> Any:
    blank = dict.fromkeys(("grid", "screen", "cathode_resistor", "plate_current", "screen_current"))
    return SimpleNamespace(**{**blank, **volts})


def test_the_range_of_a_fit_is_that_of_its_points_and_of_its_cut_offs() -> None:
    """A point by its cathode resistor is biased by both currents: 2 mA and 0.5 mA in 1 kohm are 2.5 V; a
    screen that isn't named is tied to the plate.
    """
    points = [
        _point(plate=250.0, screen=100.0, grid=-3.0),
        _point(plate=90.0, screen=60.0, cathode_resistor=1e3, plate_current=2e-3, screen_current=0.5e-3),
        _point(plate=180.0, grid=-6.0),
    ]
    card: Any = SimpleNamespace(kind="pentode", points=points, facts=[SimpleNamespace(grid=-8.0)])
    found = tube_fit._ranges(card)
    assert found["plate_range"] == (90.0, 250.0)
    assert found["screen_range"] == (60.0, 180.0)
    assert found["grid_range"] == (-8.0, -2.5)
    card.kind = "triode"
    assert tube_fit._ranges(card)["screen_range"] is None


def test_a_card_without_a_plate_current_is_refused() -> None:
    card = card_for("6C5")
    empty = tuple(p.model_copy(update={"plate_current": None}) for p in card.points)
    with pytest.raises(
        tube_fit.FitRefused, match=r"^6C5: no point states a plate current; add one with 'plate_current'$"
    ):
        tube_fit._refuse_too_few(card.model_copy(update={"points": empty}), None)
    one = (card.points[0], *empty[1:])
    tube_fit._refuse_too_few(card.model_copy(update={"points": one}), None)
    with pytest.raises(tube_fit.FitRefused):
        tube_fit._refuse_too_few(card.model_copy(update={"points": one}), 0)
