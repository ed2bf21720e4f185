"""No volts of a run over time are taken for an operating point, which ngspice does by itself where all else
fails."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.circuit.views.envelope import imposed_circuit
from receiver_sim.circuit.writer import deck
from receiver_sim.engine import Bench, Deck, EngineFailed, Rung
from receiver_sim.measure.loaded import loaded
from receiver_sim.receiver import Receiver
from receiver_sim.schema import load_build

BUILD = Path(__file__).parents[1] / "hard_builds" / "volts_after_a_run.yaml"
AMPLITUDES = (1e-3, 2e-3, 3e-3, 5e-3, 1e-2)


def test_the_points_of_a_circuit_that_strayed_are_those_of_smaller_pivots(bench: Bench) -> None:
    """The plate stood at 7 V and at 44 V in turn, the phones behind their capacitor at 12 V and at 0.

    Held against ngspice that takes no pivot below 1e-10 S (`pivtol`). 1e-5: far above Newton's tolerance.
    """
    build = load_build(BUILD)
    mode = Receiver(build, bench).at(build.bands[0]).mode(1.0)
    circuit = imposed_circuit(build, api.cards_for(build), mode, amplitude=1e-3, rotation=1.0)
    names = [circuit.node(Place.PLATE), circuit.node(Place.DRIVE), circuit.outputs[0]]
    source, plain = circuit.part(Role.AMPLITUDE), deck(circuit)
    with loaded(bench, circuit) as on:
        found = []
        for volts in AMPLITUDES:
            on.session.alter(source, volts)
            found.append(on.session.op(vectors=names))
    with bench.session(Deck(plain.title, f".options pivtol=1e-10\n{plain.text}"), climb=False) as session:
        for point, volts in zip(found, AMPLITUDES, strict=True):
            session.alter(source, volts)
            other = session.op(vectors=names)
            for name in names[:2]:
                assert point[name] == pytest.approx(other[name], rel=1e-5)
            assert np.abs(point[names[2]]).max() < 1e-6  # d.c. at the phones, behind a capacitor


def test_what_has_no_operating_point_gets_none(bench: Bench) -> None:
    """1 A into what takes half an ampere: a tera-ohm would have 5e11 V."""
    text = "I1 0 a dc 1\nB1 a 0 I=min(max(V(a),0),0.5)\nC1 a 0 0.5u\n"
    with pytest.raises(EngineFailed), bench.session(Deck("hopeless", text)) as session:
        session.op()


def test_what_has_no_operating_point_gets_none_from_a_run_over_time(bench: Bench) -> None:
    """1 A into 1 ohm that takes another ampere above half a volt: below it would stand at 1 V, above at 0.

    The capacitor has some half a volt after 10 us from rest, which ngspice by itself gives.
    """
    text = "I1 0 a dc 1\nR1 a 0 1\nB1 a 0 I=V(a)>0.5 ? 1 : 0\nC1 a 0 50u\n"
    with pytest.raises(EngineFailed), bench.session(Deck("hopeless", text)) as session:
        session.op()


def test_a_tera_ohm_serves_and_is_told(bench: Bench) -> None:
    """A node between two capacitors has no other way to ground at d.c.: 1 pA makes a volt there."""
    text = "V1 in 0 1\nC1 in b 1u\nC2 b 0 1u\nR1 in 0 1\nI1 0 b 1e-12\n"
    with bench.session(Deck("floating", text)) as session:
        point = session.op()
    assert point.rung is Rung.SHUNTED
    assert point["b"][0] == pytest.approx(1.0, rel=1e-6)
