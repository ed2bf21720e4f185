"""The fit: cards are what it gives, it is deterministic, it finds known parameters again, it refuses too few
points.
"""

import dataclasses
import functools
import math

import pytest

from receiver_sim.api import fit_tube
from receiver_sim.data import folder
from receiver_sim.design import tube_fit
from receiver_sim.results.tubes import LeaveOneOut
from receiver_sim.schema.card import (
    FIT_MARK,
    Prior,
    ResistanceStage,
    TubeCard,
    card_for,
    card_types,
    load_card,
)
from receiver_sim.schema.priors import priors


@pytest.mark.slow
@pytest.mark.parametrize("name", card_types())
def test_cards_hold_what_the_fit_gives(name: str) -> None:
    check = tube_fit.check_fit(folder("models") / f"{name}.yaml")
    assert check.differences == ()


def test_writing_a_fit_leaves_the_points_alone_and_repeats(tmp_path) -> None:  # type: ignore[no-untyped-def]
    source = folder("models") / "6C5.yaml"
    copy = tmp_path / "6C5.yaml"
    copy.write_text(source.read_text(encoding="utf-8").partition(FIT_MARK)[0], encoding="utf-8")
    fit_tube(copy)
    once = copy.read_text(encoding="utf-8")
    fit_tube(copy)
    assert copy.read_text(encoding="utf-8") == once
    assert load_card(copy).points == card_for("6C5").points


def test_a_changed_point_is_noticed(tmp_path) -> None:  # type: ignore[no-untyped-def]
    text = (folder("models") / "6C5.yaml").read_text(encoding="utf-8")
    copy = tmp_path / "6C5.yaml"
    copy.write_text(text.replace("plate_current: 8.0 mA", "plate_current: 7.0 mA"), encoding="utf-8")
    assert copy.read_text(encoding="utf-8") != text
    check = tube_fit.check_fit(copy)
    assert not check.agrees


def _synthetic(card: TubeCard) -> TubeCard:
    """Return the card with every printed figure replaced by what its own law gives there."""
    law = card.law()
    points = []
    for point in card.points:
        values = tube_fit.figures(law, point)
        update = {
            name: values[name]
            for name in ("plate_current", "screen_current", "gm", "mu")
            if getattr(point, name) is not None
        }
        if point.rp is not None and math.isfinite(values["rp"]):
            update["rp"] = values["rp"]
        points.append(point.model_copy(update=update))
    gains = tube_fit.stage_gains(law, card.stages)
    stages = [s.model_copy(update={"gain": g}) for s, g in zip(card.stages, gains, strict=True)]
    return card.model_copy(update={"points": tuple(points), "stages": tuple(stages)})


@pytest.mark.parametrize("name", ["6SN7", "6SJ7"])
def test_figures_made_by_a_law_are_met_again(name: str) -> None:
    """Points computed from known parameters are fitted within a fraction of the printing precision."""
    card = _synthetic(card_for(name))
    result = tube_fit.fit_card(card)
    # priors pull by a part of a deviation; 1 % is half the scatter allowed to a plate current, 2 % a
    # quarter of that
    # allowed to a chart's gain
    gated = [r for r in result.residuals if r.quantity != "bias" and r.gated]
    assert max(abs(r.error) for r in gated if r.quantity != "gain") < 0.01
    assert max((abs(r.error) for r in gated if r.quantity == "gain"), default=0.0) < 0.02


def test_too_few_points_are_refused() -> None:
    card = card_for("6C5")
    lone = card.points[0].model_copy(update={"gm": None, "mu": None, "rp": None})
    with pytest.raises(
        tube_fit.FitRefused, match=r"^6C5: the points determine perveance to \d+% only; add a point"
    ):
        tube_fit.fit_card(card.model_copy(update={"points": (lone,), "facts": ()}))


def _with_priors(card: TubeCard, **values: tuple[float, float]) -> TubeCard:
    own = {name: Prior(value=v, spread=s, reason="test") for name, (v, s) in values.items()}
    return card.model_copy(update={"priors": own})


def test_a_foot_that_follows_the_field_makes_the_exponent_three_halves() -> None:
    """Prove it wrong to change it: 6SJ7, pentode and triode-connected (RCA sheet 1948, seen, and RC-19).

    From print alone, 3/2 without a foot gives drives 3/2 Ik/gk of 2.73 and 5.52 V, so currents as 2.88; print
    says 9.2/3.8 = 2.42. A foot of fixed width meets that only with an exponent near 1.3, and then misses the
    cut-off by a third; a foot in proportion to the field meets all with 3/2, and a free exponent gains
    nothing.
    """
    card = card_for("6SJ7").model_copy(update={"stages": ()})  # the sheet alone
    narrow, thermal = (0.001, 1e-4), (0.13, 1e-4)  # no spread; kT/e at 1050 K times the exponent
    shipped = tube_fit.fit_card(card)
    free = tube_fit.fit_card(_with_priors(card, exponent=(1.5, 0.3)))
    fixed_foot = tube_fit.fit_card(_with_priors(card, spread=narrow, foot=thermal))
    both = tube_fit.fit_card(
        _with_priors(card, spread=narrow, foot=thermal, exponent=(1.5, 0.3), degree=(1.5, 1e-4))
    )
    # costs are sums of squares over 15 figures in units of 2 %: a gain below 1 is none, one of 10 is beyond
    # doubt
    assert shipped.cost - free.cost < 1.0
    assert fixed_foot.cost - shipped.cost > 10.0
    assert both.law.exponent < 1.4
    bias = {fit.cost: next(r.error for r in fit.residuals if r.quantity == "bias") for fit in (shipped, both)}
    assert abs(bias[shipped.cost]) < 0.15 and abs(bias[both.cost]) > 0.25


def test_priors_that_name_no_parameter_are_refused() -> None:
    with pytest.raises(tube_fit.FitRefused, match="6J5: priors name no parameter of this law: division; "):
        tube_fit.fit_card(_with_priors(card_for("6J5"), division=(3.0, 1.0)))


@functools.cache
def left_out(name: str) -> LeaveOneOut:
    """Return what the points of a type's card are predicted as from the others; worked out once."""
    return tube_fit.leave_one_out(card_for(name))


@pytest.mark.slow
def test_leave_one_out_predicts_within_ten_per_cent_as_a_rule() -> None:
    """Each point of the types with three or more, predicted from the rest of its card; half of all within 5
    %.
    """
    errors = []
    for name in ("6SJ7", "6AU6", "6SN7", "6K7"):
        for row in left_out(name).rows:
            if card_for(name).points[row.index].flag != "memory-low":
                errors += [abs(e.error) for e in row.errors if e.quantity in ("plate_current", "gm")]
    errors.sort()
    assert errors[len(errors) // 2] < 0.05


def test_charts_of_low_screens_are_met_with_and_without_them_in_the_fit() -> None:
    """Gains of the 6SJ7's resistance-coupled chart (RCA receiving tube manual, memory-medium), screens 10
    to 60 V.

    In the mean within 5 %, each within 20 %: rows of the chart scatter by 7 % about any smooth law. Without
    the chart the priors have to carry what other types rest on.
    """
    card = card_for("6SJ7")
    assert len(card.stages) == 18
    for fed in (card, card.model_copy(update={"stages": ()})):
        law = tube_fit.fit_card(fed).law
        gains = tube_fit.stage_gains(law, card.stages)
        errors = [gain / stage.gain - 1.0 for gain, stage in zip(gains, card.stages, strict=True)]
        assert abs(sum(errors) / len(errors)) < 0.05
        assert max(abs(e) for e in errors) < 0.20


def test_a_chart_that_no_fit_has_seen() -> None:
    """Gains of the EF86 as resistance-coupled amplifier, by-passed, from the maker's table (from memory,
    medium): screens of 50 to 180 V. The card rests on one point at 140 V.

    In the mean within 5 %, each within 20 %, as the chart of the 6SJ7 without it in the fit.
    """
    card = card_for("EF86")
    assert not card.stages
    low, high = (100e3, 330e3, 390e3, 1000.0), (220e3, 680e3, 1e6, 2200.0)
    printed = {
        low: {400: 124, 350: 120, 300: 116, 250: 112, 200: 106, 150: 95},
        high: {400: 200, 350: 196, 300: 188, 250: 180, 200: 170, 150: 150},
    }
    names = ("plate_resistor", "next_grid", "screen_resistor", "cathode_resistor")
    rows = [
        ResistanceStage.model_construct(
            **dict(zip(names, parts, strict=True)), supply=volts, gain=gain, flag="memory-medium"
        )
        for parts, gains in printed.items()
        for volts, gain in gains.items()
    ]
    found = tube_fit.stage_gains(card.law(), rows)
    errors = [gain / row.gain - 1.0 for gain, row in zip(found, rows, strict=True)]
    assert abs(sum(errors) / len(errors)) < 0.05
    assert max(abs(e) for e in errors) < 0.20


@pytest.mark.slow
def test_predicted_ranges_hold_what_they_say() -> None:
    """Each point left out in turn: its 80 % range holds 70 to 90 % of the figures, at low and at high
    screen volts.
    """
    held: dict[str, list[bool]] = {"low": [], "high": []}
    for name in card_types():
        for row in left_out(name).rows:
            for error, inside in row.held():
                if error.flag != "memory-low" and error.connection != "triode":
                    held["low" if (error.screen_v or 0.0) <= 75.0 else "high"].append(inside)
    for which, inside in held.items():
        assert len(inside) > 20, which
        assert 0.70 <= sum(inside) / len(inside) <= 0.90, which


def test_a_filament_starts_its_grid_current_at_its_negative_end() -> None:
    """Space current sees the middle of the filament, grid current its negative end: integrated, from the
    formula.
    """
    filament = {p.name: p.value for p in priors(card_for("1T4"))}
    heated = {p.name: p.value for p in priors(card_for("6SJ7"))}
    fold = heated["foot"] / 1.5
    assert filament["contact"] == pytest.approx(heated["contact"] - 0.7)
    # at 0 V on the negative end: the mean of exp(-v / fold) along 1.4 V, against that of a cathode at one
    # potential
    along = sum(math.exp(-1.4 * (i + 0.5) / 1000 / fold) for i in range(1000)) / 1000
    shift = filament["contact"] + filament["grid_offset"] - heated["contact"] - heated["grid_offset"]
    assert shift == pytest.approx(fold * math.log(along), abs=1e-4)  # exp(-1.4 V / fold) is 3e-5


def test_kin_of_another_kind_or_without_a_card_is_refused() -> None:
    card = card_for("6C6")
    with pytest.raises(tube_fit.FitRefused, match=r"^6C6: kin: the 6J5 is a triode, this card a pentode$"):
        tube_fit.fit_card(card.model_copy(update={"kin": ("6J5",)}))
    with pytest.raises(tube_fit.FitRefused, match=r"^6C6: kin: no card for tube '6Z99'"):
        tube_fit.fit_card(card.model_copy(update={"kin": ("6Z99",)}))


def test_results_are_frozen() -> None:
    result = tube_fit.fit_card(card_for("6C5"))
    with pytest.raises(dataclasses.FrozenInstanceError):
        result.cost = 0.0  # type: ignore[misc]


def test_print_that_contradicts_itself_is_not_searched_for_ever(monkeypatch: pytest.MonkeyPatch) -> None:
    """A row of a chart with a tenth of its next grid resistor: no law gives its gain, and the search crept
    along for 288 evaluations of 18 stages, three times what the sound card takes.
    """
    card = card_for("12SJ7")
    row = next(i for i, one in enumerate(card.stages) if one.screen_resistor == 0.89e6)
    wrong = card.stages[row].model_copy(update={"next_grid": 0.1 * card.stages[row].next_grid})
    stages = tuple(wrong if i == row else one for i, one in enumerate(card.stages))
    asked, real = [], tube_fit._Problem.residuals

    def residuals(problem: tube_fit._Problem, z: tube_fit.Vector, /) -> object:
        asked.append(z)
        return real(problem, z)

    monkeypatch.setattr(tube_fit._Problem, "residuals", residuals)
    found = tube_fit.fit_card(card.model_copy(update={"stages": stages}))
    assert found.cost > 1000.0  # the sound card: 9.6
    assert len(asked) < 210
