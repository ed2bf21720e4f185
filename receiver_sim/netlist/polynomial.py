"""A polynomial element in the tube's place: the envelope code against closed forms of oscillator theory.

With i(v) = x g1 v + g3 v**3 + g5 v**5 fed into a tank of conductance G the balance of the fundamental is x
g1 + 3/4 g3 a**2 + 5/8 g5 a**4 = G (Van der Pol 1920 for the cubic, the fifth power for hard excitation
after Appleton and Van der Pol 1922; calc by Fourier series).
"""

from __future__ import annotations

from dataclasses import dataclass

from receiver_sim.data import folder
from receiver_sim.engine import Deck
from receiver_sim.netlist.envelope import (
    DC_OPTIONS,
    LOWEST_V,
    TRAN_OPTIONS,
    fill,
    knob_path,
    tank_part,
)
from receiver_sim.netlist.mode import Mode
from receiver_sim.netlist.phases import PHASES, cosines
from receiver_sim.netlist.templates import render


@dataclass(frozen=True)
class Polynomial:
    """Coefficients of the current into the tank: linear (A/V, times the control), cubic (A/V^3), quintic
    (A/V^5)."""

    linear: float
    cubic: float
    quintic: float = 0.0


def polynomial_part(element: Polynomial, *, phases: int = PHASES) -> str:
    """Return the element as text."""
    values = {
        "linear": 1e3 * element.linear,
        "cubic": 1e3 * element.cubic,
        "quintic": 1e3 * element.quintic,
        "phases": [{"cosine": c, "fundamental": 2.0 * c / phases} for c in cosines(phases)],
    }
    return render(folder("models"), "polynomial_phases.cir", values)


def polynomial_balance_deck(element: Polynomial, mode: Mode, *, guess: float, phases: int = PHASES) -> Deck:
    """Return the deck of a balance sweep; see `envelope.balance_deck`."""
    conductance = 1e3 * mode.conductance
    balance = {"lowest": LOWEST_V, "conductance_ma": conductance, "guess": guess}
    text = "\n".join(
        [DC_OPTIONS, polynomial_part(element, phases=phases), fill("envelope_balance.cir", balance)]
    )
    return Deck(title="balance of a polynomial element", text=text)


def polynomial_envelope_deck(
    element: Polynomial, mode: Mode, *, times: list[float], controls: list[float], phases: int = PHASES
) -> Deck:
    """Return the deck of time runs, the control following `controls` at `times` (s)."""
    parts = [
        TRAN_OPTIONS,
        polynomial_part(element, phases=phases),
        knob_path(times, controls),
        tank_part(mode, reference_hz=mode.resonance_hz),
    ]
    return Deck(title="envelope of a polynomial element", text="\n".join(parts))
