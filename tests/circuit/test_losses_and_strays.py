"""What stands in the circuit besides the parts one buys, each against a closed form: the capacitor
behind a d.c. supply's resistance.
"""

from __future__ import annotations

import math

import pytest

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.engine import Bench
from receiver_sim.measure.loaded import loaded
from receiver_sim.schema import Build


def _ripple(build: Build, cards: Cards, bench: Bench, frequency: float) -> complex:
    """Return volts at the receiver for 1 V of ripple in the supply."""
    band = build.bands[0]
    circuit = receiver_circuit(build, cards, band=band, dial_hz=band.from_, rotation=0.4)
    with loaded(bench, circuit) as on, on.driven(Role.SUPPLY):
        node = on.node(Place.SUPPLY)
        return complex(on.session.ac(frequency, frequency, 1, vectors=[node])[node][0])


def test_capacitor_behind_the_resistance_of_a_supply(cabin: Build, cabin_cards: Cards, bench: Bench) -> None:
    """By Thevenin's theorem: H is Z/(R + Z) without it, so the supply at the receiver is R H, and with C it
    is H/(1 + j w C R H). Exact but for the solver.
    """
    ohm, farad, hertz = 1.9e3, 7e-6, 100.0
    supply = cabin.supply.model_copy(update={"resistance": ohm, "capacitor": None})
    bare = cabin.model_copy(update={"supply": supply})
    held = cabin.model_copy(update={"supply": supply.model_copy(update={"capacitor": farad})})
    without = _ripple(bare, cabin_cards, bench, hertz)
    due = without / (1.0 + 2j * math.pi * hertz * farad * ohm * without)
    assert _ripple(held, cabin_cards, bench, hertz) == pytest.approx(due, rel=1e-6)
    # some kilohm and 7 uF are some 20 Hz: at 100 Hz little is left
    assert abs(due) < 0.25 * abs(without)
