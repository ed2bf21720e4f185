"""Results about tube cards: the fit, its leave-one-out table, the published points against ngspice."""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping
from dataclasses import dataclass

from receiver_sim.physics.tube_law import TubeLaw
from receiver_sim.schema.card import Fact, Point, TubeCard, describe_bias

GATES = {
    "plate_current": 0.05,
    "gm": 0.05,
    "screen_current": 0.10,
    "mu": 0.05,
    "rp": 0.15,
    "bias": 0.20,
    "gain": 0.20,
}
"""Largest error allowed at a published figure; rp of pentodes is shown, not gated (sheets: 'approximately').
"""


@dataclass(frozen=True)
class FittedParameter:
    """A parameter with one standard deviation; held_by says what fixed it: points, prior, both or fixed."""

    name: str
    value: float
    deviation: float
    held_by: str


@dataclass(frozen=True)
class PointError:
    """One figure of one published point against the model, SI units; `error` is model/printed - 1.

    `index` counts the card's points (or facts, for the quantity 'bias') from 0. `gated` says whether the
    figure must meet `limit`; printed maxima and minima have limit None and an error of 0 when they hold.
    """

    type: str
    index: int
    connection: str
    plate_v: float
    screen_v: float | None
    bias: str
    quantity: str
    printed: float
    model: float
    error: float
    limit: float | None
    gated: bool
    source: str
    flag: str

    @property
    def holds(self) -> bool:
        """Whether the error is within the limit (true where there is none)."""
        return self.limit is None or abs(self.error) <= self.limit


@dataclass(frozen=True)
class FitResult:
    """What a fit of one card gave; `points` is the digest of what it was fed, ranges in V."""

    type: str
    points: str
    law: TubeLaw
    parameters: tuple[FittedParameter, ...]
    correlation: tuple[tuple[float, ...], ...]
    residuals: tuple[PointError, ...]
    plate_range: tuple[float, float]
    screen_range: tuple[float, float] | None
    grid_range: tuple[float, float]
    cost: float


@dataclass(frozen=True)
class FitSummary:
    """What a fit gave, as its JSON document states it: the law is in its parameters."""

    type: str
    points: str
    parameters: tuple[FittedParameter, ...]
    residuals: tuple[PointError, ...]
    plate_range: tuple[float, float]
    screen_range: tuple[float, float] | None
    grid_range: tuple[float, float]
    cost: float


def summary(result: FitResult) -> FitSummary:
    """Return a fit without its law and correlations."""
    return FitSummary(
        type=result.type,
        points=result.points,
        parameters=result.parameters,
        residuals=result.residuals,
        plate_range=result.plate_range,
        screen_range=result.screen_range,
        grid_range=result.grid_range,
        cost=result.cost,
    )


EIGHTY_PER_CENT = 1.2816
"""Deviations to either side that hold 80 % of a normal distribution."""


@dataclass(frozen=True)
class LeftOut:
    """A point predicted from the others of its card.

    spread: one deviation of ln(model/printed) that was predicted for each of `errors`: what the fit leaves
    open and
    the scatter of print together.
    """

    type: str
    index: int
    errors: tuple[PointError, ...]
    spread: tuple[float, ...]

    def held(self) -> tuple[tuple[PointError, bool], ...]:
        """Return each figure that states a value, with whether the predicted 80 % range holds it."""
        return tuple(
            (e, abs(math.log(e.model / e.printed)) <= EIGHTY_PER_CENT * s)
            for e, s in zip(self.errors, self.spread, strict=True)
            if e.limit is not None or e.quantity == "rp"
        )


@dataclass(frozen=True)
class LeaveOneOut:
    """The leave-one-out table of a card; empty for cards of fewer than three points."""

    type: str
    rows: tuple[LeftOut, ...]

    def median(self, quantity: str) -> float | None:
        """Return the median of |error| over the left-out points, None without any."""
        found = [abs(e.error) for row in self.rows for e in row.errors if e.quantity == quantity and e.limit]
        return statistics.median(found) if found else None


@dataclass(frozen=True)
class FitCheck:
    """Whether a card holds what the fit gives: `differences` names each parameter that does not agree."""

    type: str
    differences: tuple[str, ...]

    @property
    def agrees(self) -> bool:
        """Whether nothing differs."""
        return not self.differences


@dataclass(frozen=True)
class TubeTable:
    """Every published figure of some cards against ngspice runs of the shipped model."""

    rows: tuple[PointError, ...]
    engine_seconds: float
    evaluations: int

    def failures(self) -> list[PointError]:
        """Return the gated figures beyond their limit."""
        return [row for row in self.rows if row.gated and not row.holds]

    def median_error(self, *quantities: str) -> float:
        """Return the median of |error| over the gated figures of the named quantities."""
        return statistics.median(abs(r.error) for r in self.rows if r.gated and r.quantity in quantities)


def point_errors(card: TubeCard, index: int, model: Mapping[str, float]) -> list[PointError]:
    """Return the errors of point `index` of a card; `model` holds the figures in SI by quantity."""
    point = card.points[index]
    printed: dict[str, float | None] = {
        "plate_current": point.plate_current,
        "screen_current": point.screen_current,
        "gm": point.gm,
        "mu": point.mu,
        "rp": point.rp,
    }
    out = []
    for quantity, value in printed.items():
        if value is None:
            continue
        limit: float | None = GATES[quantity]
        gated = point.flag != "memory-low" and (quantity != "rp" or point.as_ == "triode")
        if quantity == "rp" and not gated:
            limit = None
        error = model[quantity] / value - 1.0
        out.append(_error(card, point, index, quantity, value, model[quantity], error, limit, gated))
    for quantity, bound, sign in (
        ("screen_current", point.screen_current_max, 1.0),
        ("rp", point.rp_min, -1.0),
    ):
        if bound is not None:
            error = model[quantity] / bound - 1.0
            error = error if error * sign > 0 else 0.0
            out.append(_error(card, point, index, quantity, bound, model[quantity], error, None, False))
    return out


def fact_error(card: TubeCard, index: int, bias: float) -> PointError:
    """Return the error of fact `index` of a card, of which the model meets the quantity at `bias` (V)."""
    fact = card.facts[index]
    error = bias / fact.grid - 1.0
    gated = fact.flag != "memory-low"
    return _error(card, fact, index, "bias", fact.grid, bias, error, GATES["bias"], gated)


def stage_error(card: TubeCard, index: int, gain: float) -> PointError:
    """Return the error of row `index` of a card's resistance-coupled chart; plate_v is the supply's
    voltage.
    """
    stage = card.stages[index]
    return PointError(
        type=card.type,
        index=index,
        connection=card.kind,
        plate_v=stage.supply,
        screen_v=None,
        bias=f"{stage.cathode_resistor:g} ohm",
        quantity="gain",
        printed=stage.gain,
        model=gain,
        error=gain / stage.gain - 1.0,
        limit=GATES["gain"],
        gated=stage.flag != "memory-low",
        source=stage.source,
        flag=stage.flag,
    )


def _error(
    card: TubeCard,
    point: Point | Fact,
    index: int,
    quantity: str,
    printed: float,
    model: float,
    error: float,
    limit: float | None,
    gated: bool,
) -> PointError:
    bias = describe_bias(point) if isinstance(point, Point) else f"cut-off {point.grid:g} V"
    return PointError(
        type=card.type,
        index=index,
        connection=point.as_,
        plate_v=point.plate,
        screen_v=point.screen,
        bias=bias,
        quantity=quantity,
        printed=printed,
        model=model,
        error=error,
        limit=limit,
        gated=gated,
        source=point.source,
        flag=point.flag,
    )
