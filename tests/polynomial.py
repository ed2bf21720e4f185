"""A polynomial element in the tube's place: the envelope code against closed forms of oscillator theory.

With i(v) = x g1 v + g3 v**3 + g5 v**5 fed into a tank of conductance G the balance of the fundamental is x
g1 + 3/4 g3 a**2 + 5/8 g5 a**4 = G (Van der Pol 1920 for the cubic, the fifth power for hard excitation
after Appleton and Van der Pol 1922; calc by Fourier series).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from receiver_sim.circuit.circuit import Block, Circuit, joined
from receiver_sim.circuit.control import Control
from receiver_sim.circuit.mode import Mode
from receiver_sim.circuit.phases import PHASES, cosines
from receiver_sim.circuit.registry import filled
from receiver_sim.circuit.views.envelope import (
    DC_OPTIONS,
    TRAN_OPTIONS,
    balance_block,
    knob_path,
    tank_block,
)

_CONTROL = Control("control", "V", "scr", 270.0, (), "linear", None)


@dataclass(frozen=True)
class Polynomial:
    """Coefficients of the current into the tank: linear (A/V, times the control), cubic (A/V^3), quintic
    (A/V^5)."""

    linear: float
    cubic: float
    quintic: float = 0.0


def polynomial_block(element: Polynomial, *, phases: int = PHASES) -> Block:
    """Return the element."""
    values = {
        "linear": 1e3 * element.linear,
        "cubic": 1e3 * element.cubic,
        "quintic": 1e3 * element.quintic,
        "phases": [{"cosine": c, "fundamental": 2.0 * c / phases} for c in cosines(phases)],
    }
    folder = Path(__file__).with_name("templates")
    return filled("polynomial_phases.cir", values, folder=folder, control=_CONTROL)


def polynomial_balance(element: Polynomial, mode: Mode, *, guess: float, phases: int = PHASES) -> Circuit:
    """Return the circuit of a balance sweep; see `envelope.balance_circuit`."""
    blocks = [polynomial_block(element, phases=phases), balance_block(mode, guess=guess)]
    return joined("balance of a polynomial element", blocks, options=DC_OPTIONS)


def polynomial_envelope(
    element: Polynomial,
    mode: Mode,
    *,
    times: Sequence[float],
    controls: Sequence[float],
    phases: int = PHASES,
) -> Circuit:
    """Return the circuit of time runs, the control following `controls` at `times` (s)."""
    blocks = [
        polynomial_block(element, phases=phases),
        knob_path(times, controls),
        tank_block(mode, reference_hz=mode.resonance_hz),
    ]
    return joined("envelope of a polynomial element", blocks, options=TRAN_OPTIONS)
