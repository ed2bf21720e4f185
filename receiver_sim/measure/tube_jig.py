"""One tube on stiff supplies: the circuit for curves, published points and small-signal figures."""

from __future__ import annotations

from dataclasses import dataclass

from receiver_sim.circuit.circuit import Circuit, joined
from receiver_sim.circuit.laws import subcircuit
from receiver_sim.circuit.registry import filled
from receiver_sim.engine import Session
from receiver_sim.schema.card import ResistanceStage, TubeCard

_OPTIONS = "keepopinfo reltol=1e-7 abstol=1e-15 vntol=1e-10"

PLATE, SCREEN, GRID, PROBE = "vp", "vs", "vg", "vinj"
"""Sources of the jig."""

GRID_RESISTOR, CATHODE_RESISTOR = "rg", "rk"

GRID_NODE, CATHODE_NODE = "g", "k"

_FAR_ENDS = {PLATE: "p", SCREEN: "s", GRID: "gs"}


def node_of(source: str) -> str:
    """Return the node that a source of the jig holds."""
    return _FAR_ENDS[source]


def jig_circuit(card: TubeCard, connection: str) -> Circuit:
    """Return one tube on stiff supplies, connected as `connection` (pentode, tetrode or triode).

    PLATE, SCREEN, GRID set plate, screen and grid against the lower end of the cathode resistor; the grid
    resistor is in the grid lead (a grid leak; 1 mohm at rest, as less would bury its current in rounding);
    PROBE stands at the control node of the space current. The currents into the electrodes are those of the
    sources with their sign changed.
    """
    tied = connection == "triode"
    law = subcircuit(card, "tube", triode_connected=tied and card.kind != "triode")
    values = {"screen": None if tied else "s", "grid_resistance": 1e-3, "cathode_resistance": 1e-6}
    jig = filled("tube_jig.cir", values, laws=(law,))
    return joined(f"{card.type} as {connection} on stiff supplies", [jig], options=_OPTIONS)


_STAGE_HZ = 1000.0
_SHORT_FARAD = 1.0
"""Coupling and by-pass capacitors of a stage: shorts at `_STAGE_HZ`, against the smallest cathode resistor
too.
"""

_NEXT_GRID_NODE = "out"


def stage_circuit(card: TubeCard, stage: ResistanceStage) -> Circuit:
    """Return the tube of a card in a stage of a resistance-coupled chart; GRID drives it."""
    values = {
        "supply": stage.supply,
        "plate_resistor": stage.plate_resistor,
        "screen_resistor": stage.screen_resistor,
        "cathode_resistor": stage.cathode_resistor,
        "next_grid": stage.next_grid,
        "short": _SHORT_FARAD,
    }
    built = filled("tube_stage.cir", values, laws=(subcircuit(card, "tube"),))
    return joined(f"{card.type} in a resistance-coupled stage", [built], options=_OPTIONS)


def read_gain(session: Session) -> float:
    """Return the voltage gain (a positive number) of a loaded `stage_circuit` in mid band."""
    session.alter(GRID, 1.0, "acmag")
    run = session.ac(_STAGE_HZ, _STAGE_HZ, 1, vectors=["frequency", _NEXT_GRID_NODE])
    return abs(complex(run[_NEXT_GRID_NODE][0]))


def branch(source: str) -> str:
    """Return the vector of a source's current."""
    return f"{source}#branch"


@dataclass(frozen=True)
class JigReading:
    """Small-signal figures of a tube at one set of electrode volts, read by ngspice.

    Currents in A; gm of the plate and gk of the cathode current (S), the slope of gm with the grid (A/V^2);
    conductance of the grid (S) and its slope (A/V^2), which grid-leak detection lives on.
    """

    plate_a: float
    screen_a: float
    grid_a: float
    gm: float
    gk: float
    gm_slope: float
    grid_conductance: float
    grid_curvature: float


_STEP_V = 5e-3
"""Half step of the slopes: a 30th of the grid current's e-fold, so they err by some (1/30)^2/6 = 0.02 %."""

_KILOHERTZ = 1000.0


def read_jig(session: Session, *, plate_v: float, grid_v: float, screen_v: float | None) -> JigReading:
    """Measure a tube in a loaded jig at volts from the cathode; screen_v None without a screen."""
    session.alter(PLATE, plate_v, "dc")
    if screen_v is not None:
        session.alter(SCREEN, screen_v, "dc")
    session.alter(GRID, 1.0, "acmag")
    answers = []
    for step in (-_STEP_V, 0.0, _STEP_V):
        session.alter(GRID, grid_v + step, "dc")
        answers.append(session.ac(_KILOHERTZ, _KILOHERTZ, 1))
    session.alter(GRID, 0.0, "acmag")
    # a source counts its current into its positive end, an electrode counts it into the tube
    gms = [-float(run[branch(PLATE)][0].real) for run in answers]
    grids = [-float(run[branch(GRID)][0].real) for run in answers]
    screen = 0.0 if screen_v is None else -float(answers[1][branch(SCREEN)][0].real)
    rest = answers[1].op
    assert rest is not None
    return JigReading(
        plate_a=-float(rest[branch(PLATE)][0].real),
        screen_a=0.0 if screen_v is None else -float(rest[branch(SCREEN)][0].real),
        grid_a=-float(rest[branch(GRID)][0].real),
        gm=gms[1],
        gk=gms[1] + screen,
        gm_slope=(gms[2] - gms[0]) / (2.0 * _STEP_V),
        grid_conductance=grids[1],
        grid_curvature=(grids[2] - grids[0]) / (2.0 * _STEP_V),
    )
