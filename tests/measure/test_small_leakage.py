"""A leakage that ngspice took for a pivot once its starting values had let go of the nodes."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.circuit.views.envelope import LOWEST_V, imposed_circuit
from receiver_sim.circuit.writer import deck
from receiver_sim.engine import Bench, Rung
from receiver_sim.measure.loaded import loaded
from receiver_sim.receiver import Receiver
from receiver_sim.schema import load_build
from tests.helpers import stock


@pytest.mark.parametrize("wiper", [1.0, 0.0])
def test_a_small_leakage_is_no_pivot(bench: Bench, tmp_path: Path, wiper: float) -> None:
    """Guards against a drive 4 % off and half an hour for `check`. Held against stock ngspice in batch mode,
    without the lines of `engine.pivots` and with no pivot below 1e-10 S (`pivtol`).

    1e-5: of the six digits that it prints.
    """
    build = load_build(Path(__file__).with_name("small_leakage.yaml"))
    cards, band = api.cards_for(build), build.bands[0]
    mode = Receiver(build, bench).at(band).mode(1.0)
    circuit = imposed_circuit(build, cards, mode, amplitude=LOWEST_V, rotation=1.0)
    drive, knob, source = circuit.node(Place.DRIVE), circuit.part(Role.KNOB), circuit.part(Role.AMPLITUDE)
    with loaded(bench, circuit) as on:
        on.set(Role.KNOB, wiper)
        found = on.session.dc(source, LOWEST_V, 1.0, 0.25, vectors=[drive])
    assert found.rung is Rung.NEWTON

    plain = deck(circuit.replace({knob: wiper}))
    file = tmp_path / "alone.cir"
    file.write_text(
        f"{plain.title}\n.options pivtol=1e-10\n{plain.body}.dc {source} {LOWEST_V} 1 0.25\n"
        f".print dc v({drive})\n.end\n",
        encoding="ascii",
    )
    rows = re.findall(r"^\d+\s+\S+\s+(\S+)\s*$", stock.said_of(file), re.MULTILINE)
    assert np.allclose([float(row) for row in rows], found[drive], rtol=1e-5, atol=0.0)
