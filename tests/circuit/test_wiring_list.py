"""The wiring list: every end of every part stands in it once, and pins go where the build's file says."""

from __future__ import annotations

import pytest

from receiver_sim.builds import cards_for, shipped_build
from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.designators import parts_of
from receiver_sim.circuit.pins import numbered_pins
from receiver_sim.circuit.wiring_list import CHASSIS, nets_of, wiring_rows


def listed(name: str):
    build = shipped_build(name)
    cards, band = cards_for(build), build.bands[0]
    circuit = receiver_circuit(build, cards, band=band, dial_hz=band.from_, rotation=0.3)
    return circuit, wiring_rows(circuit, numbered_pins(circuit, build, cards))


def test_pins_of_a_set_worked_by_hand():
    """The tickler build, from its file: 6C6 (pins 2 plate, 3 screen, cap grid) and 76 (3 grid, 4 cathode)."""
    circuit, rows = listed("tickler")
    names = {part.key: part.designator for part in parts_of(circuit)}
    to = {(row.tube, row.pin): set(row.to) for row in rows if row.pin}
    assert to["6C6", "2"] == {"L1 tickler"}
    assert to["6C6", "3"] == {names["regeneration.stopper"], names["regeneration.bypass"]}
    # the leak goes to ground in this build
    assert to["6C6", "cap"] == {names["detector.grid_capacitor"], names["detector.grid_leak"]}
    assert to["6C6", "5"] == {CHASSIS}
    assert to["76", "3"] == {names["audio.grid_stopper"]}
    assert to["76", "4"] == {names["audio.cathode_resistor"], names["audio.cathode_bypass"]}
    assert to["76", "2"] == {names["audio.output.inductance"], names["phones[0].capacitor"]}
    joints = [set(row.to) for row in rows if not row.designator]
    wiper = {f"{names['regeneration.pot']} wiper", names["regeneration.stopper"]}
    assert wiper in joints


@pytest.mark.parametrize("name", ["cabin", "demo", "howling", "plugin_coils", "tickler"])
def test_every_part_has_both_its_ends_in_the_list(name):
    circuit, rows = listed(name)
    ends: dict[str, int] = {}
    for row in rows:
        for end in row.to:
            designator = end.split(" ")[0]
            ends[designator] = ends.get(designator, 0) + 1
    for part in parts_of(circuit):
        if part.letters in ("V", "E"):
            continue
        # a part between two pins of tubes stands at both; none may hang on one wire only
        assert ends.get(part.designator, 0) >= 2, part
    pins = [(row.designator, row.pin) for row in rows if row.pin]
    assert len(pins) == len(set(pins))


def test_a_winding_and_its_resistance_are_one_part_on_two_nets():
    circuit, _ = listed("tickler")
    nets = nets_of(circuit)
    choke = circuit["lout"]
    assert nets[choke.nodes[1]] == nets["aplate"] and nets[choke.nodes[0]] == nets["baud"]
    assert nets["plate"] != nets["dout"]  # RF choke and tickler lie between them
