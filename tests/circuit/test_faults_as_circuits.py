"""Faults that are circuits of their own, how often each is met and in what sizes: nothing is run."""

from __future__ import annotations

import pytest

from receiver_sim.builds import cards_for, shipped_build
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.designators import parts_of
from receiver_sim.circuit.possible_faults import PossibleFault, break_in, possible_faults, rates, variant
from receiver_sim.circuit.wiring_list import nets_of

OPEN, SHORT, REST = 1e9, 1e-3, 1e15
"""Ohm: of what is open, of what is shorted, of a leak that is not there."""


def made(fault: str, build: str = "demo") -> Circuit:
    one = shipped_build(build)
    band = one.bands[0]
    return variant(fault, one, cards_for(one), band=band, dial_hz=band.middle_hz, rotation=0.4)


def moved(fault: str, build: str = "demo") -> dict[str, tuple[object, object]]:
    """What a fault changes of the sound circuit: nodes and value before and after, None for what is gone."""
    sound, faulty = made("", build), made(fault, build)
    out: dict[str, tuple[object, object]] = {}
    for name in {e.name for e in (*sound.elements, *faulty.elements)}:
        was, now = ((one[name].nodes, one[name].value) if name in one else None for one in (sound, faulty))
        if was != now:
            out[name] = (was, now)
    return out


@pytest.mark.parametrize("socket", ["detector", "audio"])
def test_a_dead_tube_is_not_there(socket: str) -> None:
    tube = made("").sockets[socket].tube
    found = moved(f"dead {socket}")
    assert set(found) == {tube} and found[tube][1] is None


def test_swapped_pins_are_those_of_plate_and_screen() -> None:
    """And the cathode and the grid stay where they were."""
    sound, faulty = made(""), made("swapped detector")
    socket = sound.sockets["detector"]
    before, after = sound[socket.tube].nodes, faulty[socket.tube].nodes
    nets = nets_of(sound)
    # behind the meters of the virtual bench, which are no parts
    assert [nets[node] for node in before[:2]] == [nets[socket.pins[pin]] for pin in ("plate", "screen")]
    assert after == (before[1], before[0], *before[2:])
    assert set(moved("swapped detector")) == {socket.tube}


@pytest.mark.parametrize("socket", ["detector", "audio"])
def test_a_grid_lead_that_is_off_leaves_the_grid_alone(socket: str) -> None:
    """It floats, but for the insulation of the socket; what led to it stays with the rest of the circuit."""
    sound, faulty = made(""), made(f"free grid {socket}")
    tube, grid = sound.sockets[socket].tube, sound.sockets[socket].pins["grid"]
    assert grid in sound[tube].nodes and grid not in faulty[tube].nodes
    (free,) = set(faulty[tube].nodes) - set(sound[tube].nodes)
    (stray,) = [e for e in faulty.elements if free in e.nodes and e.name != tube]
    assert (stray.kind, stray.value, set(stray.nodes)) == ("r", OPEN, {free, "0"})
    assert set(moved(f"free grid {socket}")) == {tube, stray.name}


def test_a_tickler_that_is_turned_round_is_so_against_tank_and_link() -> None:
    found = moved("tickler", "tickler")
    assert set(found) == {"ktick"}
    was, now = found["ktick"]
    assert now == (was[0], -was[1])  # type: ignore[index]


def test_all_that_faults_need_is_at_rest_in_the_sound_circuit() -> None:
    """Leaks across capacitors and the regulator, breaks in windings, a current into every grid."""
    circuit = made("")
    parts = [p for p in parts_of(circuit) if p.letters != "E"]
    bought = [circuit[n] for p in parts for n in p.elements if n in circuit]
    leaks = [e for e in circuit.elements if e.name.startswith("rleak_")]
    breaks = [e for e in circuit.elements if e.name.startswith("rbreak_")]
    assert {e.name for e in leaks} == {f"rleak_{e.name}" for e in bought if e.kind in "cd"} != set()
    assert {e.value for e in leaks} == {REST} and {e.value for e in breaks} == {SHORT}
    assert len(breaks) >= 4
    for e in leaks:
        assert e.nodes == circuit[e.name.removeprefix("rleak_")].nodes
    gas = [e for e in circuit.elements if e.name.startswith("igas_")]
    assert [e.value for e in gas] == [0.0] * len(circuit.sockets)
    assert {n for e in gas for n in e.nodes} - {"0"} == {s.pins["grid"] for s in circuit.sockets.values()}


def faults(build: str = "demo") -> dict[tuple[str, str], PossibleFault]:
    circuit = made("", build)
    keys = {p.designator: p.key for p in parts_of(circuit)}
    return {(keys[f.part], f.fault): f for f in possible_faults(circuit)}


def test_a_choke_breaks_at_its_first_winding_and_loses_nearly_all_with_a_shorted_turn() -> None:
    """Of an iron-cored one; an r.f. choke has no turn that counts so."""
    found, circuit = faults(), made("")
    iron = {key for key, fault in found if fault == "shorted turns" and not key.startswith("bands")}
    assert iron == {"audio.output.inductance", "detector.load.inductance"}
    for key in iron:
        (coil,) = (p.elements[0] for p in parts_of(circuit) if p.key == key)
        henry = circuit[coil].value or 0.0
        (size,) = found[key, "shorted turns"].sizes
        assert dict(size.values) == {coil: pytest.approx(henry / 20.0)}
        assert size.words == "a twentieth of its inductance"
        assert dict(found[key, "open"].sizes[0].values) == {break_in(coil): OPEN}
    assert {fault for key, fault in found if key == "detector.rf_filter.choke"} == {"open"}


@pytest.mark.parametrize("key", ["detector.tube", "audio.tube"])
def test_what_a_tube_can_have(key: str) -> None:
    """Plate and screen can be swapped where there is a screen; each names its own socket."""
    found, socket = faults(), key.removesuffix(".tube")
    own = {fault: one for (where, fault), one in found.items() if where == key}
    due = {"weak", "dead", "gassy", "grid lead off"}
    due |= {"plate and screen swapped"} if socket == "detector" else {"heater-cathode leak"}
    assert due <= set(own) <= due | {"heater-cathode leak"}
    assert own["weak"].sizes[0].variant == f"weak {socket}"
    assert (own["dead"].sizes[0].variant, own["dead"].sizes[0].words) == (f"dead {socket}", "no emission")
    lead = own["grid lead off"].sizes[0]
    assert (lead.variant, lead.words) == (f"free grid {socket}", "grid pin open")
    if socket == "detector":
        swapped = own["plate and screen swapped"].sizes[0]
        assert (swapped.variant, swapped.words) == ("swapped detector", "two pins swapped")
    else:
        assert "plate and screen swapped" not in own


def test_no_fault_is_listed_for_the_dial_the_supply_and_the_hum_pot() -> None:
    for build in ("demo", "tickler"):
        assert not {key for key, _ in faults(build)} & {"tuning", "supply.volts", "heater.hum_pot", "aerial"}


def test_a_tickler_can_be_reversed_and_a_tap_counted_from_the_wrong_end() -> None:
    tapped, tickled = faults("demo"), faults("tickler")
    assert ("bands[0].coil", "tap at the wrong end") in tapped
    assert ("bands[0].coil", "tickler reversed") not in tapped
    assert ("bands[0].coil", "tickler reversed") in tickled
    assert ("bands[0].coil", "tap at the wrong end") not in tickled


OFTEN = {
    "capacitor": {"open": 1, "leaky": 4, "short": 1.5, "off": 1},
    "electrolytic": {"dry": 8, "leaky": 4, "short": 2},
    "resistor": {"open": 2, "high": 4, "low": 0.5, "short": 0.2},
    "pot": {"open above": 1, "open below": 1, "wiper off": 3},
    "coil": {"open": 1.5, "shorted turns": 0.7, "tap at the wrong end": 2, "tickler reversed": 3},
    "iron": {"open": 2, "shorted turns": 0.7},
    "tube": {
        "weak": 8, "dead": 4, "gassy": 3, "heater-cathode leak": 2, "plate and screen swapped": 1.5,
        "grid lead off": 2,
    },
    "regulator": {"open": 2, "short": 0.7},
}  # fmt: skip
"""How often a fault is met beside the others: what repairers tell (common practice, no source)."""


@pytest.mark.parametrize(
    ("kind", "fault", "weight"), [(k, f, w) for k, row in OFTEN.items() for f, w in row.items()]
)
def test_a_fault_is_as_likely_as_repairers_have_it(kind: str, fault: str, weight: float) -> None:
    """Only the order of magnitude is meant: within a factor of two, and no row but these."""
    assert 0.5 <= rates()[kind, fault] / weight <= 2.0
    assert len(rates()) == sum(len(row) for row in OFTEN.values())


def test_what_wears_out_is_likelier_than_what_is_broken() -> None:
    """Dried electrolytics and weak tubes lead all; a resistor goes high before it goes open, low or short."""
    found = rates()
    first = sorted(found, key=lambda one: -found[one])[:2]
    assert set(first) == {("electrolytic", "dry"), ("tube", "weak")}
    for kind, most in (("capacitor", "leaky"), ("resistor", "high"), ("pot", "wiper off"), ("iron", "open")):
        assert max((f for k, f in found if k == kind), key=lambda f: found[kind, f]) == most
    assert found["resistor", "short"] < found["resistor", "low"] < found["resistor", "open"]
