"""What do the curves of this tube look like, and which part of them rests on print? (ngspice, shipped law)"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from receiver_sim.circuit.circuit import Circuit
from receiver_sim.engine import Bench, Session
from receiver_sim.errors import NoAnswer
from receiver_sim.measure.loaded import loaded
from receiver_sim.measure.tube_jig import (
    GRID,
    GRID_NODE,
    GRID_RESISTOR,
    PLATE,
    PROBE,
    SCREEN,
    branch,
    jig_circuit,
    node_of,
)
from receiver_sim.results.base import FloatArray
from receiver_sim.results.tube_curves import GmLine, PlateLine, PrintedMark, TransferLine, TubeCurves
from receiver_sim.schema.card import Point, TubeCard

LEAK_OHM = 2.2e6
"""Grid leak of the floating grid, to the cathode: usual in detectors (common practice, no source)."""

DETECTOR_PLATE_V = 100.0
"""Plate volts of the floating-grid line where nothing else is asked for: above the knee at any low screen."""

_STEPS = 150
_GM_STEPS = 60
_CUT_OFF_SHARE = 0.03
"""The family of plate lines goes down to this share of the current at zero bias."""

_MOST_LINES = 9
_MOST_BIASES = 3
_KILOHERTZ = 1000.0
"""Frequency of the a.c. runs; the law has no capacitance, so any will do."""

_NO_LEAK_OHM = 1e-3
"""The jig's grid lead at rest."""

_NICE = (0.1, 0.2, 0.25, 0.5, 1.0, 2.0, 2.5, 5.0, 10.0, 20.0)


def plan(card: TubeCard, connection: str) -> Circuit:
    """Return the circuit: the tube on stiff supplies."""
    return jig_circuit(card, connection)


def marks(card: TubeCard, connection: str) -> tuple[PrintedMark, ...]:
    """Return the card's points in this connection, volts counted from the cathode.

    Self-biased points without a printed plate current have no place on a curve and are left out.
    """
    found = []
    for point in card.points:
        if point.as_ != connection:
            continue
        lift = _lift(point)
        if lift is None:
            continue
        screen = None if point.screen is None else point.screen - lift
        grid = point.grid if point.grid is not None else -lift
        found.append(
            PrintedMark(
                plate_v=point.plate - lift,
                screen_v=screen,
                grid_v=grid,
                plate_a=point.plate_current,
                screen_a=point.screen_current,
                gm_siemens=point.gm,
                flag=point.flag,
                source=point.source,
            )
        )
    return tuple(found)


def _lift(point: Point) -> float | None:
    """Return the volts across the cathode resistor by the printed currents, 0 with fixed bias."""
    if point.grid is not None:
        return 0.0
    if point.plate_current is None or point.cathode_resistor is None:
        return None
    return (point.plate_current + (point.screen_current or 0.0)) * point.cathode_resistor


def _current(session: Session, source: str, start: float, stop: float, step: float) -> tuple[FloatArray, ...]:
    """Sweep one source; return its volts, the plate current and the screen current (zeros without one)."""
    run = session.dc(source, start, stop, step)
    swept = run[node_of(source)]
    screen = -run[branch(SCREEN)] if branch(SCREEN) in run else np.zeros_like(swept)
    return np.asarray(swept), -run[branch(PLATE)], np.asarray(screen)


def _biases(session: Session, *, deepest: float, printed: Sequence[float]) -> list[float]:
    """Return the grid volts of the plate lines: even steps from 0 to near cut-off, and the printed biases."""
    grid, plate, _ = _current(session, GRID, deepest, 0.0, -deepest / 400.0)
    edge = float(grid[np.argmax(plate >= _CUT_OFF_SHARE * plate[-1])])
    step = min((s for s in _NICE if -edge / s <= _MOST_LINES - 1), default=_NICE[-1])
    even = [0.0 - step * i for i in range(math.floor(-edge / step + 1e-9) + 1)]
    # a printed bias replaces the even step it nearly equals
    kept = [v for v in even if all(abs(v - p) > 0.15 * step for p in printed)]
    return sorted({*kept, *printed}, reverse=True)


def _deepest(card: TubeCard) -> float:
    grids = [p.grid for p in card.points if p.grid is not None] + [f.grid for f in card.facts]
    return 2.0 * min([*grids, -5.0])


def _gm_line(session: Session, *, plate_v: float, top: float, bias_v: float | None) -> GmLine:
    """Step the screen and read gm and gk from the answer to 1 V at the control node."""
    session.alter(PLATE, plate_v, "dc")
    session.alter(GRID, 0.0 if bias_v is None else bias_v, "dc")
    session.alter(GRID_RESISTOR, LEAK_OHM if bias_v is None else _NO_LEAK_OHM)
    session.alter(PROBE, 1.0, "acmag")
    screens = np.linspace(top / _GM_STEPS, top, _GM_STEPS)
    rows = []
    for volts in screens:
        session.alter(SCREEN, float(volts), "dc")
        run = session.ac(_KILOHERTZ, _KILOHERTZ, 1)
        assert run.op is not None
        plate, screen = -run[branch(PLATE)][0].real, -run[branch(SCREEN)][0].real
        rows.append((float(run.op[GRID_NODE][0].real), float(plate), float(plate + screen)))
    session.alter(PROBE, 0.0, "acmag")
    session.alter(GRID_RESISTOR, _NO_LEAK_OHM)
    grid, gm, gk = (np.array(column) for column in zip(*rows, strict=True))
    return GmLine(bias_v, plate_v, screens, grid, gm, gk)


def _plate_family(
    session: Session, card: TubeCard, screen_v: float | None, printed: tuple[PrintedMark, ...]
) -> tuple[PlateLine, ...]:
    top = max(card.ratings.plate, *(m.plate_v for m in printed)) if printed else card.ratings.plate
    if screen_v is not None:
        session.alter(SCREEN, screen_v, "dc")
    session.alter(PLATE, printed[0].plate_v if printed else 0.5 * top, "dc")
    here = [m.grid_v for m in printed if m.screen_v == screen_v]
    lines = []
    for grid_v in _biases(session, deepest=_deepest(card), printed=here):
        session.alter(GRID, grid_v, "dc")
        plate, plate_a, screen_a = _current(session, PLATE, 0.0, top, top / _STEPS)
        lines.append(PlateLine(grid_v, plate, plate_a, None if screen_v is None else screen_a))
    return tuple(lines)


def _transfers(
    session: Session, card: TubeCard, printed: tuple[PrintedMark, ...]
) -> tuple[TransferLine, ...]:
    lines = []
    for plate_v, screen_v in dict.fromkeys((m.plate_v, m.screen_v) for m in printed):
        session.alter(PLATE, plate_v, "dc")
        if screen_v is not None:
            session.alter(SCREEN, screen_v, "dc")
        deepest = min(_deepest(card) / 1.6, min(m.grid_v for m in printed) * 1.3)
        grid, plate_a, _ = _current(session, GRID, deepest, 0.0, -deepest / _STEPS)
        lines.append(TransferLine(plate_v, screen_v, grid, plate_a))
    return tuple(lines)


def run(
    card: TubeCard, bench: Bench, *, connection: str | None = None, detector_plate_v: float = DETECTOR_PLATE_V
) -> TubeCurves:
    """Compute all curves of a card with a fit, in its own connection or as a triode.

    Tubes with a screen of their own also get gm against screen volts: at the grid's floating potential and
    `detector_plate_v`, and at up to three printed biases. Raises EngineError, and ValueError for a card
    without a fit.
    """
    connection = connection or card.kind
    printed = marks(card, connection)
    law_range = card.fit
    if law_range is None:
        raise NoAnswer(f"the card of {card.type} holds no fit; run 'receiver-sim tubes fit {card.type}'")
    own = connection != "triode"
    screen_v = next((m.screen_v for m in printed if m.screen_v is not None), 100.0) if own else None
    before = bench.evaluations
    with loaded(bench, plan(card, connection)) as on:
        session = on.session
        family = _plate_family(session, card, screen_v, printed)
        transfers = _transfers(session, card, printed)
        gm_lines: list[GmLine] = []
        if own:
            reached = [m.screen_v for m in printed if m.screen_v is not None]
            top = max([*reached, card.ratings.screen or 100.0])
            gm_lines.append(_gm_line(session, plate_v=detector_plate_v, top=top, bias_v=None))
            with_gm = [m for m in printed if m.gm_siemens is not None]
            for plate_v, bias in list(dict.fromkeys((m.plate_v, m.grid_v) for m in with_gm))[:_MOST_BIASES]:
                gm_lines.append(_gm_line(session, plate_v=plate_v, top=top, bias_v=bias))
    return TubeCurves(
        type=card.type,
        connection=connection,
        tied=not own and card.kind != "triode",
        family_screen_v=screen_v,
        plate_lines=family,
        transfer_lines=transfers,
        gm_lines=tuple(gm_lines),
        leak_ohm=LEAK_OHM,
        marks=printed,
        plate_range=law_range.range.plate,
        screen_range=law_range.range.screen if own else None,
        grid_range=law_range.range.grid,
        rating_v=card.ratings.plate,
        rating_w=card.ratings.plate_power,
        evaluations=bench.evaluations - before,
    )
