"""Fits the tube law to the published points of a card: deterministic least squares, priors named.

The residuals are those of `measure.law_on_print`. Each parameter carries a prior, so that a card with one
full point still gives a law, and says what its parameters rest on.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq, least_squares

from receiver_sim.errors import NoAnswer, ReceiverSimError, UnknownName
from receiver_sim.measure.law_on_print import Points, Print, Stages, print_of
from receiver_sim.physics.resistance_stage import StageAtRest
from receiver_sim.physics.tube_law import SmallSignal, TubeLaw, small_signal, small_signals
from receiver_sim.results.card_text import with_fit
from receiver_sim.results.tubes import (
    FitCheck,
    FitResult,
    FittedParameter,
    LeaveOneOut,
    LeftOut,
    PointError,
    fact_error,
    point_errors,
    stage_error,
)
from receiver_sim.schema.card import Fact, Point, ResistanceStage, TubeCard, card_for, load_card
from receiver_sim.schema.priors import FLOORS, DefaultPrior, priors

Vector: TypeAlias = Sequence[float] | npt.NDArray[np.float64]


STEP = 1e-5
"""Half the distance, in z, of the two laws that a derivative is taken from; the derivative is off by its
square, times a third derivative of the order of one."""


class FitRefused(ReceiverSimError):  # noqa: N818 - a refusal, not a failure
    """The points cannot determine the parameters; the message says which and what to add."""


def figures(law: TubeLaw, point: Point) -> dict[str, float]:
    """Return the law's figures at a point by quantity, SI."""
    out = _signal(law, point)
    return {
        "plate_current": out.plate,
        "screen_current": out.screen,
        "gm": out.gm,
        "mu": out.mu,
        "rp": 1.0 / out.conductance if out.conductance > 0 else math.inf,
    }


def _signal(law: TubeLaw, point: Point) -> SmallSignal:
    grid, plate, screen = (float(v[0]) for v in Points(law.kind, [point], [1.0]).volts(law))
    tied = point.as_ == "triode" and law.kind != "triode"
    return small_signal(law, grid_v=grid, plate_v=plate, screen_v=screen, triode_connected=tied)


def _log(ratio: float) -> float:
    return math.log(min(max(ratio, 1e-30), 1e30))


def _fact_value(law: TubeLaw, fact: Fact, grid_v: float) -> float:
    tied = fact.as_ == "triode" and law.kind != "triode"
    out = small_signal(
        law, grid_v=grid_v, plate_v=fact.plate, screen_v=fact.screen or fact.plate, triode_connected=tied
    )
    return float(out.plate if fact.gm is None else out.gm)


def stage_gains(law: TubeLaw, stages: Sequence[ResistanceStage]) -> list[float]:
    """Return the law's gains in the rows of a resistance-coupled chart. Raises ValueError if one finds no
    rest.
    """
    return Stages(stages, [1.0] * len(stages)).at_rest(law).gain.tolist() if stages else []


def fact_bias(law: TubeLaw, fact: Fact) -> float:
    """Return the bias (V) at which the law meets a fact (the nearer end of the search if none)."""
    wanted = fact.plate_current if fact.gm is None else fact.gm
    assert wanted is not None

    def miss(volts: float) -> float:
        return _log(_fact_value(law, fact, volts) / wanted)

    low, high = 3.0 * fact.grid, 0.1 * fact.grid
    if miss(low) > 0:
        return low
    return high if miss(high) < 0 else float(brentq(miss, low, high, xtol=1e-9))


@dataclass(frozen=True)
class _Problem:
    """The least-squares problem of a card with some points left out."""

    card: TubeCard
    known: list[DefaultPrior]
    leave_out: int | None
    kin: tuple[TubeCard, ...] = ()
    _seen: dict[tuple[float, ...], list[StageAtRest | None]] = field(default_factory=dict)
    """Where the charts' stages rest under the laws tried: under laws beside them they rest near by."""

    @property
    def free(self) -> list[DefaultPrior]:
        return [p for p in self.known if p.spread > 0]

    def law(self, z: Vector, /) -> TubeLaw:
        values = {name: float(value[0, 0]) for name, value in self._columns(np.atleast_2d(z)).items()}
        return TubeLaw(kind=self.card.kind, sections=self._sections, **values)

    def laws(self, zs: np.ndarray, /) -> TubeLaw:
        """Return a law for each row of zs as one, whose parameters are columns (`law_on_print`)."""
        columns: dict[str, Any] = self._columns(zs)
        return TubeLaw(kind=self.card.kind, sections=self._sections, **columns)

    @property
    def _sections(self) -> int:
        return next((int(p.value) for p in self.known if p.name == "sections"), 1)

    def _columns(self, zs: np.ndarray) -> dict[str, np.ndarray]:
        values = {p.name: np.full((len(zs), 1), p.value) for p in self.known if p.spread == 0}
        for prior, column in zip(self.free, zs.T, strict=True):
            values[prior.name] = (np.exp(np.clip(column, -60.0, 60.0)) if prior.log else column)[:, None]
        values.pop("sections", None)
        return values

    @cached_property
    def print(self) -> Print:
        return print_of(self.card, self.kin, self.leave_out)

    def centres(self) -> list[float]:
        return [math.log(p.value) if p.log else p.value for p in self.free]

    def bounds(self) -> tuple[list[float], list[float]]:
        """Six spreads to either side of each prior, far beyond what any point asks for."""
        pairs = list(zip(self.centres(), self.free, strict=True))
        low = [max(c - 6.0 * p.spread, FLOORS.get(p.name, -math.inf)) for c, p in pairs]
        return low, [c + 6.0 * p.spread for c, p in pairs]

    def residuals(self, z: Vector, /) -> np.ndarray:
        misses, rests = self.print.misses(self.laws(np.atleast_2d(z)))
        self._seen[tuple(z)] = rests
        return np.concatenate([misses[0], self._pulls(z)])

    def slopes(self, z: np.ndarray, /) -> np.ndarray:
        """Return the derivatives of the residuals by z: central differences, all laws in one pass."""
        low, high = self.bounds()
        up = np.minimum(z + STEP, high)
        down = np.maximum(z - STEP, low)
        moved = np.concatenate([np.where(np.eye(z.size) > 0.0, end, z) for end in (up, down)])
        near = self._seen.get(tuple(z))
        misses, _ = self.print.misses(self.laws(moved), near)
        of_print: np.ndarray = (misses[: z.size] - misses[z.size :]) / (up - down)[:, None]
        pulls = np.diag([1.0 / p.spread for p in self.free])
        return np.asarray(np.concatenate([of_print, pulls], axis=1).T)

    def _pulls(self, z: Vector) -> np.ndarray:
        pulls: np.ndarray = (np.asarray(z) - self.centres()) / [p.spread for p in self.free]
        return pulls

    def starts(self) -> list[list[float]]:
        """Three starts, differing in mu, each with the perveance that meets the first point's current."""
        names = [p.name for p in self.free]
        first = next(p for i, p in enumerate(self.card.points) if i != self.leave_out and p.plate_current)
        assert first.plate_current is not None
        key = "mu_plate" if self.card.kind == "triode" else "mu_screen"
        out = []
        for mu in (8.0, 20.0, 45.0):
            z = self.centres()
            if key in names:
                z[names.index(key)] = math.log(mu)
            if first.cathode_resistor is None:
                law = self.law(z)
                model = max(figures(law, first)["plate_current"], 1e-30)  # it may be far beyond cut-off
                z[names.index("perveance")] += _log(first.plate_current / model)
            low, high = self.bounds()
            out.append([min(max(x, a + 1e-6), b - 1e-6) for x, a, b in zip(z, low, high, strict=True)])
        return out


_NEAR, _END = 70, 100
"""Most evaluations from a start, and from the best of them to the end. No shipped card takes more than 64 and
50, but for a start that ends in a worse place; print that no law meets is searched for several times that.
"""

_SLOW, _ALIKE = 100, 1e-2
"""Evaluations after which starts that came to the same cost within so much are taken to agree: the search is
slow because the print contradicts itself, and a third start would say the same."""


def _solve(
    problem: _Problem, starts: Sequence[Sequence[float]] | None = None
) -> tuple[np.ndarray, np.ndarray, float]:
    """Return (z, covariance of z, cost) of the best of the starts, those of the problem if none are given."""
    found: list[Any] = []
    for start in problem.starts() if starts is None else starts:
        costs = [float(one.cost) for one in found]
        slow = sum(one.nfev for one in found) > _SLOW
        if slow and len(costs) > 1 and max(costs) < (1.0 + _ALIKE) * min(costs):
            break
        found.append(_nearest(problem, start, close=1e-4, most=_NEAR))
    best = _nearest(problem, min(found, key=lambda one: float(one.cost)).x, close=1e-12, most=_END)
    covariance = np.linalg.inv(best.jac.T @ best.jac)
    return best.x, covariance, float(best.cost)


def _nearest(problem: _Problem, start: Vector, *, close: float, most: int) -> Any:
    """Return what scipy finds from a start; close: relative change of cost and place at which it ends; most:
    evaluations after which it ends anyway."""
    return least_squares(
        problem.residuals, start, problem.slopes, bounds=problem.bounds(), x_scale=0.1, xtol=close,
        ftol=close, gtol=1e-12, max_nfev=most,
    )  # fmt: skip


def fit_card(card: TubeCard, *, leave_out: int | None = None) -> FitResult:
    """Fit the law to the points, facts and charts of a card, one point left out if asked; deterministic.

    Raises FitRefused if the points cannot determine the parameters.
    """
    _refuse_too_few(card, leave_out)
    problem = _Problem(card, _known(card), leave_out, _kin(card))
    try:
        return _result(problem, *_solve(problem))
    except NoAnswer as error:
        raise FitRefused(f"{card.type}: {error}; check the rows under 'stages' and the points") from None


def _result(problem: _Problem, z: np.ndarray, covariance: np.ndarray, cost: float) -> FitResult:
    card = problem.card
    law = _rounded(problem.law(z))
    deviations = np.sqrt(np.diag(covariance))
    values = law.parameters()
    spread = {p.name: float(s) for p, s in zip(problem.free, deviations, strict=True)}
    parameters = [_parameter(p, values[p.name], spread.get(p.name)) for p in problem.known]
    if problem.leave_out is None:
        _refuse_undetermined(card, parameters)
    outer = np.outer(deviations, deviations)
    correlation = tuple(tuple(round(float(c), 5) for c in row) for row in covariance / outer)
    residuals = residual_table(card, law)
    for row in residuals:
        if row.quantity != "bias" and row.gated and not 1.0 / GROSS < row.error + 1.0 < GROSS:
            raise FitRefused(
                f"{card.type}: no law meets the {row.quantity} of point {row.index} even roughly; check "
                "its volts, their signs and its units"
            )
    return FitResult(
        type=card.type,
        points=points_digest(card),
        law=law,
        parameters=tuple(parameters),
        correlation=correlation,
        residuals=tuple(residuals),
        cost=cost,
        **_ranges(card),
    )


def _kin(card: TubeCard) -> tuple[TubeCard, ...]:
    """Return the shipped cards of the types that are the same inside."""
    found = []
    for name in card.kin:
        try:
            found.append(card_for(name))
        except UnknownName as error:
            raise FitRefused(f"{card.type}: kin: {error}") from None
        if found[-1].kind != card.kind:
            raise FitRefused(f"{card.type}: kin: the {name} is a {found[-1].kind}, this card a {card.kind}")
    return tuple(found)


def _known(card: TubeCard) -> list[DefaultPrior]:
    try:
        return priors(card)
    except ValueError as error:
        raise FitRefused(str(error)) from None


def _parameter(prior: DefaultPrior, value: float, spread: float | None) -> FittedParameter:
    if spread is None:
        return FittedParameter(prior.name, value, 0.0, "fixed")
    ratio = spread / prior.spread
    held = "points" if ratio < 0.5 else "prior" if ratio > 0.9 else "both"
    return FittedParameter(
        prior.name, value, float(f"{spread * (abs(value) if prior.log else 1.0):.2g}"), held
    )


def _rounded(law: TubeLaw) -> TubeLaw:
    """Return the law with 6 significant digits: more than any figure bears, the same text on any machine."""
    values: dict[str, Any] = {
        name: float(f"{value:.6g}") if isinstance(value, float) else value
        for name, value in law.parameters().items()
    }
    return TubeLaw(**values)


def _refuse_too_few(card: TubeCard, leave_out: int | None) -> None:
    points = [p for i, p in enumerate(card.points) if i != leave_out]
    if not any(p.plate_current for p in points):
        raise FitRefused(f"{card.type}: no point states a plate current; add one with 'plate_current'")


GROSS = 10.0
"""Factor by which a figure may be missed before its point is refused: print and law differ by a few per cent,
a slip of a sign or a prefix by far more."""

UNDETERMINED = 1.0
"""Relative deviation of perveance or mu beyond which a fit is refused: one deviation is then the whole value.
"""


def _refuse_undetermined(card: TubeCard, parameters: list[FittedParameter]) -> None:
    """Refuse a fit whose scale or amplification the points leave open; priors would invent a tube."""
    main = "mu_plate" if card.kind == "triode" else "mu_screen"
    loose = [
        f"{p.name} to {p.deviation / p.value:.0%}"
        for p in parameters
        if p.name in ("perveance", main) and p.deviation > UNDETERMINED * p.value
    ]
    if loose:
        raise FitRefused(
            f"{card.type}: the points determine {' and '.join(loose)} only; add a point at another grid or "
            "plate voltage, or gm or mu at a point there is"
        )


def residual_table(card: TubeCard, law: TubeLaw) -> list[PointError]:
    """Return the error of every figure and fact of a card under a law."""
    out: list[PointError] = []
    for index, point in enumerate(card.points):
        out += point_errors(card, index, figures(law, point))
    out += [fact_error(card, index, fact_bias(law, fact)) for index, fact in enumerate(card.facts)]
    out += [stage_error(card, index, gain) for index, gain in enumerate(stage_gains(law, card.stages))]
    return out


def _ranges(card: TubeCard) -> dict[str, Any]:
    """Return the span of volts that the points with currents cover; cut-off facts count for the grid."""

    def span(values: list[float]) -> tuple[float, float]:
        return min(values), max(values)

    screens = [p.plate if p.screen is None else p.screen for p in card.points]
    grids = [p.grid if p.grid is not None else _self_bias(p) for p in card.points]
    return {
        "plate_range": span([p.plate for p in card.points]),
        "screen_range": None if card.kind == "triode" else span(screens),
        "grid_range": span(grids + [f.grid for f in card.facts]),
    }


def _self_bias(point: Point) -> float:
    total = (point.plate_current or 0.0) + (point.screen_current or 0.0)
    return -round(total * (point.cathode_resistor or 0.0), 2)


def points_digest(card: TubeCard) -> str:
    """Return the SHA-256 of what a fit is fed: kind, points, facts, charts and own priors of a card and its
    kin.
    """
    fed = [
        one.model_dump(mode="json", include={"kind", "cutoff", "points", "facts", "stages", "priors"})
        for one in (card, *_kin(card))
    ]
    return hashlib.sha256(json.dumps(fed, sort_keys=True).encode()).hexdigest()


def leave_one_out(card: TubeCard, progress: Callable[[int, int], None] | None = None) -> LeaveOneOut:
    """Predict each point of a card from the others, with a range; empty for cards of fewer than three
    points.
    """
    rows = []
    if len(card.points) >= 3:
        known, kin = _known(card), _kin(card)
        whole, _, _ = _solve(_Problem(card, known, None, kin))
        for index, point in enumerate(card.points):
            _refuse_too_few(card, index)
            problem = _Problem(card, known, index, kin)
            z, covariance, _ = _solve(problem, [list(whole)])
            law = problem.law(z)
            errors = tuple(point_errors(card, index, figures(law, point)))
            spread = _predicted_spread(problem, z, covariance, point)
            rows.append(LeftOut(card.type, index, errors, tuple(spread[e.quantity] for e in errors)))
            if progress is not None:
                progress(index + 1, len(card.points))
    return LeaveOneOut(card.type, tuple(rows))


def _predicted_spread(
    problem: _Problem, z: np.ndarray, covariance: np.ndarray, point: Point
) -> dict[str, float]:
    """Return one deviation (of the logarithm) of each figure that will be printed at a point, by quantity.

    What the fit leaves open, linear in its parameters, and what print scatters about any law. The fit's own
    deviations take misses as plain squares; `_weighed` bends the larger ones, which few are.
    """
    steps = 1e-3 * np.sqrt(np.diag(covariance))
    sides = []
    for sign in (1.0, -1.0):
        moved = [figures(problem.law(z + sign * row), point) for row in np.diag(steps)]
        sides.append({name: np.array([one[name] for one in moved]) for name in moved[0]})
    law = problem.laws(np.atleast_2d(z))
    here = Points(law.kind, [point], [1.0])
    grid, plate, screen = here.volts(law)
    at = small_signals(law, grid_v=grid, plate_v=plate, screen_v=screen, triode_connected=here.tied)
    widths = {name: float(width[0, 0]) for name, width in here.widths(at).items()}
    out = {}
    for name, scatter in widths.items():
        slopes = np.log(np.maximum(sides[0][name], 1e-30) / np.maximum(sides[1][name], 1e-30)) / (2.0 * steps)
        out[name] = math.hypot(scatter, math.sqrt(float(slopes @ covariance @ slopes)))
    return out


def fitted(card_path: str | Path) -> tuple[FitResult, str]:
    """Fit the card at `card_path`; return what was found and the card's text with it as its only fit.

    Writes nothing. Raises CardFaults, FitRefused.
    """
    card = load_card(card_path, to_be_fitted=True)
    result = fit_card(card)
    text = Path(card_path).read_bytes().decode("utf-8")
    try:
        return result, with_fit(text, result)
    except ValueError as error:
        raise FitRefused(f"{card_path}: {error}; nothing was written") from None


def check_fit(card_path: str | Path) -> FitCheck:
    """Return whether the card at `card_path` holds what the fit gives, nothing written.

    Parameters agree within 1e-4 of their value or 2 % of their deviation, which is what another machine's
    linear algebra may change and no figure can tell.
    """
    card = load_card(card_path)
    if card.fit is None:
        return FitCheck(card.type, ("the card holds no fit",))
    result = fit_card(card)
    out = [] if card.fit.points == result.points else ["the points changed since the fit"]
    names = {p.name for p in result.parameters}
    out += [f"{name}: not a parameter of this law" for name in card.fit.parameters if name not in names]
    for p in result.parameters:
        held = card.fit.parameters.get(p.name)
        if held is None:
            out.append(f"{p.name}: missing in the card")
        elif abs(held.value - p.value) > 1e-4 * abs(p.value) + 0.02 * p.deviation:
            out.append(f"{p.name}: card {held.value:.6g}, fit {p.value:.6g}")
    return FitCheck(card.type, tuple(out))
