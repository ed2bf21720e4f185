"""A leakage that ngspice takes for a pivot: the sweep is made again with a tera-ohm from every node."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from receiver_sim import api
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.circuit.views.envelope import LOWEST_V, imposed_circuit
from receiver_sim.circuit.writer import deck
from receiver_sim.engine import Bench, Deck, Rung
from receiver_sim.measure.loaded import loaded
from receiver_sim.receiver import Receiver
from receiver_sim.schema import load_build


def test_a_sweep_without_solution_is_made_again_with_a_tera_ohm(bench: Bench) -> None:
    """Guards against a drive 4 % off and half an hour for `check`. Held against the same circuit without the
    tera-ohm, of which ngspice takes smaller pivots (`pivtol`), so that Newton's method serves.

    1e-5: of a tera-ohm beside the grid leak of 8 Mohm.
    """
    build = load_build(Path(__file__).with_name("small_leakage.yaml"))
    cards, band = api.cards_for(build), build.bands[0]
    mode = Receiver(build, bench).at(band).mode(1.0)
    circuit = imposed_circuit(build, cards, mode, amplitude=LOWEST_V, rotation=1.0)
    drive, knob = circuit.node(Place.DRIVE), circuit.part(Role.KNOB)
    sweep = circuit.part(Role.AMPLITUDE), LOWEST_V, 1.0, 0.25
    plain = deck(circuit)
    with loaded(bench, circuit) as on:
        found = []
        for wiper in (1.0, 0.0, 1.0):
            on.set(Role.KNOB, wiper)
            found.append(on.session.dc(*sweep, vectors=[drive]))
    assert {run.rung for run in found} == {Rung.SHUNTED}
    with bench.session(Deck(plain.title, f".options pivtol=1e-10\n{plain.text}"), climb=False) as session:
        for run, wiper in zip(found, (1.0, 0.0, 1.0), strict=True):
            session.alter(knob, wiper)
            other = session.dc(*sweep, vectors=[drive])
            assert other.rung is Rung.NEWTON
            assert np.allclose(run[drive], other[drive], rtol=1e-5, atol=0.0)
