"""The wiring list: every end of every part stands in it once, and pins go where the build's file says."""

from __future__ import annotations

import pytest

from receiver_sim.builds import cards_for, shipped_build
from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.designators import parts_of
from receiver_sim.circuit.pins import numbered_pins
from receiver_sim.circuit.supply_sockets import listed_with, supply_sockets
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


def test_rectifier_and_gas_tube_have_sockets_worked_by_hand(bench):
    """The mains set, from its file: 6X5GT (3 and 5 plates, 8 cathode, 2 and 7 heater) on a centre-tapped
    winding, first filter section a capacitor, the next a choke; 0B2 (1 and 5 anode; 2, 4, 7 cathode) behind
    its dropper. Pins: RCA Receiving Tube Manual, from memory.
    """
    given = shipped_build("mains_set")
    settled = settle(given, bench)
    circuit, rows = listed("mains_set", settled)
    sockets = supply_sockets(given, circuit)
    names = {part.key: part.designator for part in parts_of(circuit)}
    winding = names["supply.secondary.volts"]
    to = {(row.tube, row.pin): set(row.to) for row in listed_with(rows, sockets)}
    assert to["6X5GT", "3"] == {f"{winding} plate winding, one end"}
    assert to["6X5GT", "5"] == {f"{winding} plate winding, other end"}
    filtered = {names["supply.filter[0].capacitor"], f"{names['supply.filter[1]']} supply filter"}
    assert to["6X5GT", "8"] == filtered
    assert to["6X5GT", "2"] == {f"{winding} rectifier heater winding"} == to["6X5GT", "7"]
    assert {to["0B2", pin] == {CHASSIS} for pin in ("2", "4", "7")} == {True}
    assert to["0B2", "1"] == to["0B2", "5"] and names["regulator.dropper"] in to["0B2", "1"]
    # three tubes in the receiver, numbered on; the circuit's stand-in for the rectified supply is gone
    assert {s.designator for s in sockets} == {"V4" if len(circuit.sockets) == 3 else "V3", "VR1"}
    ends = [end for row in listed_with(rows, sockets) for end in row.to]
    assert not any("rectified" in end for end in ends) and f"{sockets[0].designator} cathode" in ends


def test_a_filament_that_is_the_cathode_goes_on_to_the_filter(bench):
    """The 80: pins 1 and 4 are its filament, on a winding of its own that carries the plate supply."""
    given = changed_build(shipped_build("mains_set"), {"supply.rectifier.type": "80"})
    circuit, _ = listed("mains_set", settle(given, bench))
    rows = {row.pin: row.to for row in supply_sockets(given, circuit)[0].rows}
    assert any("supply filter" in end for end in rows["1"])
    assert len(rows["4"]) == 1 and "rectifier heater winding" in rows["4"][0]


def test_a_bridge_of_vacuum_rectifiers_worked_by_hand(bench):
    """Four diodes of tubes with two plates on one cathode (6X5GT): above, one tube with its plates on the two
    ends of the winding and its cathode to the filter; below, one for each end, its cathode there, plates to
    chassis, so that each of these two needs a heater winding of its own (common practice, no source).
    """
    given = changed_build(shipped_build("mains_set"), {"supply.circuit": "bridge"})
    settled = settle(given, bench)
    circuit, rows = listed("mains_set", settled)
    sockets = [s for s in supply_sockets(given, circuit) if s.tube == "6X5GT"]
    first, second, third = (s.designator for s in sockets)
    names = {part.key: part.designator for part in parts_of(circuit)}
    winding = names["supply.secondary.volts"]
    one, other = (f"{winding} plate winding, {end} end" for end in ("one", "other"))
    to = {(row.designator, row.pin): set(row.to) for row in listed_with(rows, sockets)}
    assert (to[first, "3"], to[first, "5"]) == ({one}, {other})
    assert names["supply.filter[0].capacitor"] in to[first, "8"]
    for own, end in ((second, one), (third, other)):
        assert to[own, "3"] == to[own, "5"] == {CHASSIS}
        assert to[own, "8"] == {end}
        (heater,) = to[own, "2"] | to[own, "7"]
        assert heater == f"{winding} heater winding of {own} alone, insulated for plate volts"
    # a wire runs from every plate and cathode to every end of the winding just once
    ends = [end for (tube, _), where in to.items() if tube in (first, second, third) for end in where]
    assert ends.count(one) == ends.count(other) == 2


@pytest.mark.parametrize(("wired", "lower"), [("bridge", 2), ("full_wave", 0)])
def test_rectifiers_of_one_plate_worked_by_hand(bench, wired, lower):
    """35Z5GT (5 plate, 8 cathode, 2 and 7 heater, 3 its tap): one tube for each end of the winding above, and
    in a bridge one for each below, plate to chassis, cathode to its end and so a heater winding of its own.
    """
    given = changed_build(
        shipped_build("mains_set"), {"supply.circuit": wired, "supply.rectifier.type": "35Z5GT"}
    )
    settled = settle(shipped_build("mains_set"), bench)  # its circuit has the same parts
    circuit, rows = listed("mains_set", settled)
    sockets = [s for s in supply_sockets(given, circuit) if s.tube == "35Z5GT"]
    assert [s.designator for s in sockets] == [f"V{n}" for n in range(3, 5 + lower)]
    names = {part.key: part.designator for part in parts_of(circuit)}
    ends = [f"{names['supply.secondary.volts']} plate winding, {end} end" for end in ("one", "other")]
    listed_rows = listed_with(rows, sockets)
    to = {(row.designator, row.pin): set(row.to) for row in listed_rows}
    for own, end in zip(("V3", "V4"), ends, strict=True):
        assert to[own, "5"] == {end} and names["supply.filter[0].capacitor"] in to[own, "8"]
        assert to[own, "2"] == {f"{names['supply.secondary.volts']} rectifier heater winding"}
        assert to[own, "3"] == {"not connected"}
    for own, end in zip(("V5", "V6")[:lower], ends, strict=False):
        assert to[own, "5"] == {CHASSIS} and to[own, "8"] == {end}
    assert any("V3 and V4 cathodes" in row.to for row in listed_rows)


def test_a_half_wave_rectifier_has_both_plates_on_one_end(bench):
    """6X5GT with its two plates joined: one end of the winding on both, the other to chassis (textbook)."""
    given = changed_build(shipped_build("mains_set"), {"supply.circuit": "half_wave"})
    settled = settle(shipped_build("mains_set"), bench)  # its circuit has the same parts
    circuit, rows = listed("mains_set", settled)
    sockets = supply_sockets(given, circuit)
    (one,) = (s for s in sockets if s.tube == "6X5GT")
    winding = {p.key: p.designator for p in parts_of(circuit)}["supply.secondary.volts"]
    to = {row.pin: row.to for row in one.rows}
    assert to["3"] == to["5"] == (f"{winding} plate winding, one end",)
    ends = [end for row in listed_with(rows, sockets) for end in row.to]
    assert f"{winding} plate winding, other end" in ends


def test_gas_tubes_in_series_are_wired_anode_to_cathode():
    """Two 0A2 for 300 V (1 and 5 anode; 2, 4, 7 cathode): the dropper on the first anode, the chassis on the
    last cathode, one wire between (RCA Receiving Tube Manual, from memory)."""
    given = changed_build(
        shipped_build("demo"), {"supply.volts": "400 V", "regulator.type": "0A2", "regulator.count": 2}
    )
    circuit, _ = listed("", given)
    (socket,) = (s for s in supply_sockets(given, circuit) if s.rows[0].socket == "regulator")
    dropper = {p.key: p.designator for p in parts_of(circuit)}["regulator.dropper"]
    first, second = (f"{socket.designator} no. {number}" for number in (1, 2))
    to = {(row.designator, row.pin): row.to for row in socket.rows}
    assert dropper in to[first, "1"] and to[first, "1"] == to[first, "5"]
    assert {to[first, pin] for pin in ("2", "4", "7")} == {("anode of no. 2",)}
    assert {to[second, pin] for pin in ("1", "5")} == {("cathode of no. 1",)}
    assert {to[second, pin] for pin in ("2", "4", "7")} == {(CHASSIS,)}


def test_sets_without_a_tube_in_the_supply_have_no_such_sockets():
    given = shipped_build("demo")
    circuit, _ = listed("demo")
    found = supply_sockets(given, circuit)
    assert [s for s in found if s.rows and s.rows[0].socket == "rectifier"] == []
