"""The wiring list: every end of every part stands in it once, and pins go where the build's file says."""

from __future__ import annotations

import pytest

from receiver_sim.builds import cards_for, shipped_build
from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.designators import parts_of
from receiver_sim.circuit.pins import numbered_pins
from receiver_sim.circuit.wiring_list import CHASSIS, nets_of, wiring_rows
from receiver_sim.receiver import settle
from receiver_sim.schema import changed_build


def listed(name: str, build=None):
    build = build or shipped_build(name)
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


def test_a_filament_battery_is_not_shorted_and_phones_in_a_plate_lead_stand_in_it():
    """Guards against both ends of a filament 'to chassis', and against the headset in the place where the
    circuit has its impedance. The set of one tube, from its file: 1T4 (5 filament-, 7 filament+).
    """
    circuit, rows = listed("one_tube")
    names = {part.key: part.designator for part in parts_of(circuit)}
    to = {(row.tube, row.pin): set(row.to) for row in rows if row.pin}
    assert to["1T4", "7"] == {f"{names['heater.volts']} +"}
    assert to["1T4", "5"] == {CHASSIS}
    joints = {row.words: set(row.to) for row in rows if not row.designator}
    assert f"{names['heater.volts']} -" in joints[CHASSIS]
    phones = names["phones[0]"]
    places = [words for words, ends in joints.items() if phones in ends]
    assert places == ["detector load", "plate supply"]
    # a grounded side is no hum pot
    assert not any("hum pot" in part.word for part in parts_of(circuit))


def test_a_filament_on_a_tap_has_its_chokes_in_the_list():
    feed = {"source": "cell", "volts": "1.4 V", "chokes": "2.5 mH"}
    build = changed_build(shipped_build("demo"), {"detector.tube": "1T4", "detector.heater_feed": feed})
    _, rows = listed("", build)
    to = {row.pin: row.to for row in rows if row.tube == "1T4"}
    assert to["7"] == ("cell of its own, +, through an r.f. choke",)
    assert "cell of its own, -, through an r.f. choke" in to["5"]
    assert any("tap" in end for end in to["5"])


def test_a_transformer_has_its_windings_told_apart():
    _, rows = listed("triode")
    ends = [end for row in rows for end in row.to if end.startswith("T1")]
    assert sorted(set(ends)) == ["T1 primary", "T1 secondary"]
    assert len(ends) == 4


@pytest.mark.parametrize(
    "name",
    ["cabin", "demo", "howling", "mains_set", "one_tube", "plugin_coils", "tickler", "triode", "triode_tap"],
)
def test_every_part_has_both_its_ends_in_the_list(bench, name):
    circuit, rows = listed(name, settle(shipped_build(name), bench))
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
