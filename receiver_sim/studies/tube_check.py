"""Do the shipped tube models give the published figures? Every point of the cards in ngspice."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from receiver_sim.circuit.circuit import Circuit
from receiver_sim.engine import Bench, Session
from receiver_sim.measure.loaded import loaded
from receiver_sim.measure.tube_jig import (
    CATHODE_NODE,
    CATHODE_RESISTOR,
    GRID,
    PLATE,
    SCREEN,
    branch,
    jig_circuit,
    read_gain,
    stage_circuit,
)
from receiver_sim.results.tubes import PointError, TubeTable, fact_error, point_errors, stage_error
from receiver_sim.schema.card import Fact, Point, TubeCard

_KILOHERTZ = 1000.0
"""Frequency of the a.c. runs; the law has no capacitance, so any will do."""


def plan(card: TubeCard, connection: str) -> Circuit:
    """Return the circuit of one tube on stiff supplies, connected as named (pentode, tetrode or triode)."""
    return jig_circuit(card, connection)


def _set(session: Session, point: Point | Fact, *, grid_v: float, cathode_ohm: float = 1e-6) -> None:
    session.alter(PLATE, point.plate, "dc")
    if point.screen is not None:
        session.alter(SCREEN, point.screen, "dc")
    session.alter(GRID, grid_v, "dc")
    session.alter(CATHODE_RESISTOR, cathode_ohm)


def _transfer(session: Session, source: str) -> complex:
    """Return the alternating plate current (A into the plate) for 1 V of `source`."""
    session.alter(source, 1.0, "acmag")
    run = session.ac(_KILOHERTZ, _KILOHERTZ, 1, vectors=["frequency", branch(PLATE)])
    session.alter(source, 0.0, "acmag")
    return -complex(run[branch(PLATE)][0])


def figures(session: Session, point: Point) -> dict[str, float]:
    """Return the figures of a point by quantity (SI) with the card's deck loaded.

    A self-biased point is solved with its cathode resistor first; gm and rp are then taken at that grid and
    those volts with the cathode grounded, as sheets define them.
    """
    if point.grid is not None:
        _set(session, point, grid_v=point.grid)
        lift = 0.0
    else:
        assert point.cathode_resistor is not None
        _set(session, point, grid_v=0.0, cathode_ohm=point.cathode_resistor)
        lift = float(session.op()[CATHODE_NODE][0])
        _set(session, point, grid_v=-lift)
        session.alter(PLATE, point.plate - lift, "dc")
        if point.screen is not None:
            session.alter(SCREEN, point.screen - lift, "dc")
    at_rest = session.op()
    gm, conductance = _transfer(session, GRID).real, _transfer(session, PLATE).real
    screen = -float(at_rest[branch(SCREEN)][0]) if point.screen is not None else 0.0
    return {
        "plate_current": -float(at_rest[branch(PLATE)][0]),
        "screen_current": screen,
        "gm": gm,
        "mu": gm / conductance if conductance > 0.0 else math.inf,
        "rp": 1.0 / conductance if conductance > 0.0 else math.inf,
    }


def bias_of(session: Session, fact: Fact) -> float:
    """Return the grid volts at which the fact's quantity has fallen to its stated value, by a root search in
    ngspice.

    Raises ValueError if it is not met between zero and three times the printed bias.
    """
    from scipy.optimize import brentq  # noqa: PLC0415 - it takes long to load

    wanted = fact.plate_current if fact.gm is None else fact.gm
    assert wanted is not None

    def miss(grid_v: float) -> float:
        _set(session, fact, grid_v=grid_v)
        of_current = fact.gm is None
        value = -float(session.op()[branch(PLATE)][0]) if of_current else _transfer(session, GRID).real
        return math.log(max(value, 1e-30) / wanted)

    return float(brentq(miss, 3.0 * fact.grid, 0.0, xtol=1e-4 * abs(fact.grid)))


def reduce(
    rows: Sequence[Sequence[PointError]], *, bench: Bench, seconds: float, evaluations: int
) -> TubeTable:
    """Gather the rows of all cards; seconds and evaluations are the bench's totals before the runs."""
    return TubeTable(
        rows=tuple(row for card in rows for row in card),
        engine_seconds=bench.engine_seconds - seconds,
        evaluations=bench.evaluations - evaluations,
    )


def _check_card(bench: Bench, card: TubeCard) -> list[PointError]:
    rows: list[PointError] = []
    connections = dict.fromkeys([p.as_ for p in card.points] + [f.as_ for f in card.facts])
    for connection in connections:
        with loaded(bench, plan(card, connection)) as on:
            session = on.session
            for index, point in enumerate(card.points):
                if point.as_ == connection:
                    rows += point_errors(card, index, figures(session, point))
            for index, fact in enumerate(card.facts):
                if fact.as_ == connection:
                    rows.append(fact_error(card, index, bias_of(session, fact)))
    for index, stage in enumerate(card.stages):
        with loaded(bench, stage_circuit(card, stage)) as found:
            rows.append(stage_error(card, index, read_gain(found.session)))
    return rows


def run(
    cards: Sequence[TubeCard], bench: Bench, progress: Callable[[int, int], None] | None = None
) -> TubeTable:
    """Compare every published figure of the cards with ngspice runs of their models. Raises EngineError."""
    seconds, evaluations = bench.engine_seconds, bench.evaluations
    rows = bench.map(_check_card, list(cards), progress)
    return reduce(rows, bench=bench, seconds=seconds, evaluations=evaluations)
