"""One tube on stiff supplies: the deck for curves, published points and small-signal figures."""

from __future__ import annotations

from dataclasses import dataclass

from receiver_sim.engine import Deck, Session
from receiver_sim.netlist.tube import subcircuit
from receiver_sim.schema.card import TubeCard

_OPTIONS = ".options keepopinfo reltol=1e-7 abstol=1e-15 vntol=1e-10"


def jig_deck(card: TubeCard, connection: str) -> Deck:
    """Return the deck of one tube on stiff supplies, connected as `connection` (pentode, tetrode or triode).

    `vp`, `vs`, `vg` set plate, screen and grid against the lower end of `rk`, the cathode resistor; `rg` is
    in the grid lead (a grid leak; 1 mohm at rest, as less would bury its current in rounding); `vinj` stands
    at the control node of the space current. The currents into the electrodes are those of the sources with
    their sign changed.
    """
    tied = connection == "triode"
    lines = [
        _OPTIONS,
        subcircuit(card, "tube", triode_connected=tied and card.kind != "triode"),
        "Vp p 0 dc 100 ac 0",
        *(() if tied else ("Vs s 0 dc 100 ac 0",)),
        "Vg gs 0 dc -3 ac 0",
        "Rg gs g 1m",
        "Rk k 0 1u",
        "Vinj inj 0 dc 0 ac 0",
        f"Xt {'p g k inj' if tied else 'p s g k inj'} tube",
    ]
    return Deck(title=f"{card.type} as {connection} on stiff supplies", text="\n".join(lines))


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
    """Measure a tube in a loaded jig deck at volts from the cathode; screen_v None without a screen."""
    session.alter("vp", plate_v, "dc")
    if screen_v is not None:
        session.alter("vs", screen_v, "dc")
    session.alter("vg", 1.0, "acmag")
    answers = []
    for step in (-_STEP_V, 0.0, _STEP_V):
        session.alter("vg", grid_v + step, "dc")
        answers.append(session.ac(_KILOHERTZ, _KILOHERTZ, 1))
    session.alter("vg", 0.0, "acmag")
    # a source counts its current into its positive end, an electrode counts it into the tube
    gms = [-float(run["vp#branch"][0].real) for run in answers]
    grids = [-float(run["vg#branch"][0].real) for run in answers]
    screen = 0.0 if screen_v is None else -float(answers[1]["vs#branch"][0].real)
    rest = answers[1].op
    assert rest is not None
    return JigReading(
        plate_a=-float(rest["vp#branch"][0].real),
        screen_a=0.0 if screen_v is None else -float(rest["vs#branch"][0].real),
        grid_a=-float(rest["vg#branch"][0].real),
        gm=gms[1],
        gk=gms[1] + screen,
        gm_slope=(gms[2] - gms[0]) / (2.0 * _STEP_V),
        grid_conductance=grids[1],
        grid_curvature=(grids[2] - grids[0]) / (2.0 * _STEP_V),
    )
