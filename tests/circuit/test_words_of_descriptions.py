"""What descriptions say of a circuit: the key of each value, how far it may be off, what a meter reads."""

from __future__ import annotations

import re
from functools import cache
from typing import Any

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.element import Nature
from receiver_sim.circuit.noise_sources import noise_block
from receiver_sim.circuit.writer import text as written
from receiver_sim.engine import Bench, Deck
from receiver_sim.schema import load_build_text
from tests.circuit.test_wiring import DEMO, FIRST, PLATE_CONTROL, RF, WIRED

BUILDS = ("demo", "cabin", "one_tube", "rf_stage", "throttle", "tickler", "triode", "three stages")


@cache
def circuit(name: str, band: int = 0) -> Circuit:
    """Return a shipped build's circuit, or that of the three stages, at the upper end of a band."""
    build = load_build_text(FIRST.lstrip()) if name == "three stages" else api.shipped_build(name)
    one = build.bands[band]
    return receiver_circuit(build, api.cards_for(build), band=one, dial_hz=one.to, rotation=0.37)


def keyed(listed: str) -> dict[str, str]:
    """Return element and key of the lines of a list whose value is that of a key of the build."""
    out = {}
    for line in listed.strip().splitlines():
        wiring, _, said = line.partition("|")
        factor, _, key = said.strip().rpartition(" * ")
        # a share of a pot is that pot; a multiple is worked out of another key
        if re.fullmatch(r"[a-z]\w*(\.\w+)+", key) and float(factor or 1.0) <= 1.0:
            out[wiring.split()[0].lower()] = re.sub(r"\.(\d+)\.", r"[\1].", key)
    return out


# ---------------------------------------------------------------------------- keys and tolerances


@pytest.mark.parametrize(
    ("name", "band", "listed"),
    [("three stages", 0, WIRED), ("demo", 0, DEMO), ("rf_stage", 0, RF), ("triode", 0, PLATE_CONTROL)],
)  # fmt: skip
def test_a_part_stands_under_the_key_that_gives_its_value(name: str, band: int, listed: str) -> None:
    """Readers are sent to that key by parts lists, spreads and faults; a sheet of figures gives one key for
    both ends of a pot, and one for a coil and what is wound with it."""
    one, wrong = circuit(name, band), {}
    for element, key in keyed(listed).items():
        said = one[element].about.key
        if said != key and not (said and key.startswith(f"{said}.")):
            wrong[element] = (key, said)
    assert wrong == {}


CLASSES = {
    "resistor": "rdropper rctop rcbot rstopper rleak rshunt rgrid ragstop racath rascr radec rfcath rfdec "
    "rfload rdrain0 rbleeder",
    "pot": "rpota rpotb rvola rvolb rhuma rhumb",
    "capacitor": "cscreen cfnext cphone0",
    "small capacitor": "cgrid cfplate cfout caerial",
    "electrolytic": "cacath cadec cfcath cfdec",
    "variable capacitor": "ctune",
    "choke": "lrfc",
    "iron-cored choke": "lload lsec lmag",
    "core loss": "rcore rocore",
    "winding": "rrfc rload rsec rprim rsecw0 rsecw1",
    "coil Q": "rtank",
    "coil": "lup llow",
    "stray": "cgstray cdkstray cdpstray crfc cload cprim cdhga cdhgb cdhka cdhkb cahga cahgb cahka cahkb "
    "cfhga cfhgb cfhka cfhkb cacross0 cacross1",
    "leakage": "rdhk rahk rfhk",
    "tube": "xdet xaud xfud",
    "tube capacitance": "cdgk cdgp cdpk cdpsup cdpshell cagk cagp capk cfgk cfgp cfpk",
    "aerial": "raerial laerial cantenna",
    "phones": "rphone0 lphone0 rphone1 lphone1",
}
"""How a dealer would sort the parts of the three stages (common practice, no source)."""


@pytest.mark.parametrize("tolerance", CLASSES)
def test_a_part_is_as_far_off_as_parts_of_its_sort(tolerance: str) -> None:
    one = circuit("three stages")
    assert {n: one[n].about.tolerance for n in CLASSES[tolerance].split()} == dict.fromkeys(
        CLASSES[tolerance].split(), tolerance
    )


@pytest.mark.parametrize("name", BUILDS)
def test_what_is_bought_is_a_part_and_what_only_measures_is_of_the_bench(name: str) -> None:
    """Sources of no volts and amperes are ammeters and signals; what is bought stands under a key."""
    for element in circuit(name).elements:
        about = element.about
        if about.nature is Nature.BENCH:
            assert element.name[0] in "vi" and about.key is None and about.tolerance is None, element.name
        if about.nature is Nature.PART:
            assert about.key, element.name
        if about.nature is Nature.STRAY and element.name != "creg":
            assert element.name[0] == "c" or "leakage" in about.word, element.name


# ---------------------------------------------------------------------------- meters and sockets

TESTED = {
    "bplus": "plate supply", "vreg": "regulator", "wiper": "wiper of the control", "scr": "detector screen",
    "dout": "detector load", "plate": "detector plate", "bctl": "plate feed behind the control",
}  # fmt: skip
"""Nodes of tests/circuit/test_wiring.py, as a constructor calls them."""


@pytest.mark.parametrize("name", BUILDS)
def test_a_meter_at_a_pin_is_called_after_that_pin(name: str) -> None:
    """'r.f. screen' is where the screen of the tube in the r.f. socket is, and so on for each socket."""
    one = circuit(name)
    due = {node: words for node, words in TESTED.items() if node in one.nodes}
    for socket in one.sockets.values():
        for pin, node in socket.pins.items():
            if pin != "grid" and socket.name != "detector" and node != "0":
                due[node] = f"{socket.name} {pin}"
    found = dict(one.meter)
    supplies = {node: words for node, words in found.items() if words.endswith(" supply") and node != "bplus"}
    assert {node: words for node, words in found.items() if node not in supplies} == due
    for node, words in supplies.items():
        # the feed of the stage behind its decoupling
        feeds = {e.nodes for e in one.nodes[node] if e.about.word.startswith("decoupling resistor")}
        assert len(feeds) == 1 and words in ("audio supply", "first audio supply"), (node, words)


@pytest.mark.parametrize("name", BUILDS)
def test_pins_of_a_socket_are_the_nodes_of_its_tube(name: str) -> None:
    """Plate, screen if it has one of its own, grid, cathode, then what drives it; an ammeter may stand in the
    plate lead, as it does in all but the detector's, and a triode has no screen."""
    one = circuit(name)
    for socket in one.sockets.values():
        tube = one[socket.tube]
        pins = [socket.pins[pin] for pin in ("plate", "screen", "grid", "cathode") if pin in socket.pins]
        plate, *others = tube.nodes
        if plate != pins[0]:
            (ammeter,) = [e for e in one.nodes[plate] if e.name != socket.tube]
            assert ammeter.nodes == (pins[0], plate) and ammeter.about.word == "ammeter in the plate lead"
            assert socket.meters["plate"].element == ammeter.name and socket.meters["plate"].sense == 1.0
        assert others == [*pins[1:], one[socket.probe].nodes[0]]
        assert one[socket.probe].about.word == "volts at the control node"
        assert socket.control_node == f"{socket.tube}.gk"


@pytest.mark.parametrize("name", BUILDS)
def test_the_heater_couples_into_the_grid_and_cathode_of_its_own_tube(name: str) -> None:
    one = circuit(name)
    for socket in one.sockets.values():
        for where, pin in (("grid", "grid"), ("cathode", "cathode"), ("leakage", "cathode")):
            for element in socket.heater[where]:
                assert one[element].nodes[1] == socket.pins[pin], (element, where)
                assert ("leakage" in one[element].about.word) is (where == "leakage")


def same_current(one: Circuit, pin: str) -> set[str]:
    """Return the nodes between which and a pin nothing else takes d.c.: a tickler, a stopper, a probe."""
    joined, grown = {pin}, True
    while grown:
        passes = [
            set(e.nodes)
            for e in one.elements
            if e.name == "vprobe" or e.name.startswith(("rtick", "ltick")) or "grid stopper" in e.about.word
        ]
        more = joined.union(*(ends for ends in passes if ends & joined))
        grown, joined = more != joined, more
    return joined


@pytest.mark.parametrize("name", BUILDS)
def test_the_meter_of_a_pin_counts_what_flows_into_it(name: str) -> None:
    """A current counts from an element's first node to its second; the sense turns it toward the pin. An
    ammeter in the plate lead stands between pin and tube."""
    one = circuit(name)
    for socket in one.sockets.values():
        for pin, meter in socket.meters.items():
            first, second = one[meter.element].nodes
            if one[meter.element].about.word == "ammeter in the plate lead":
                assert (first, meter.sense) == (socket.pins[pin], 1.0)
                continue
            toward = second if meter.sense > 0.0 else first
            assert toward in same_current(one, socket.pins[pin]), (socket.name, pin, meter)


# ---------------------------------------------------------------------------- noise


class Steady:
    """A course over time that stands still."""

    def __init__(self, level: float) -> None:
        self.level = level

    def at(self, times: np.ndarray) -> np.ndarray:
        return np.full(times.shape, self.level)


def test_noise_in_phase_in_quadrature_and_at_audio_goes_to_its_own_node(bench: Bench) -> None:
    """Levels of 2, -3 and 5 at 7 nA and 11 nA a unit: two parts of an amplitude have sqrt(2) of the density
    each (narrow-band noise, textbook), audio has its own; 1 Mohm at each node, currents flow into it."""

    class Courses:
        in_phase, quadrature, audio, audio_amperes = Steady(2.0), Steady(-3.0), Steady(5.0), 11e-9

    courses: Any = Courses()
    block = noise_block(courses, amperes=7e-9, plate="plate", start=0.3, stop=0.3004)
    text = "Rti ti 0 1meg\nRtq tq 0 1meg\nRpl plate 0 1meg\n" + written(Circuit("noise", block.elements))
    with bench.session(Deck("noise", text)) as session:
        run = session.tran(1e-5, 4e-4, 0.0, 1e-5, vectors=["ti", "tq", "plate"])
    root = np.sqrt(2.0)
    # ngspice's own tolerance of a microvolt, and gmin beside 1 Mohm
    for node, due in (("ti", 2.0 * root * 7e-3), ("tq", -3.0 * root * 7e-3), ("plate", 5.0 * 11e-3)):
        assert run[node] == pytest.approx(np.full(run[node].shape, due), rel=1e-4), node


def test_every_socket_that_there_is_was_looked_at() -> None:
    assert {name for build in BUILDS for name in circuit(build).sockets} == {
        "detector", "audio", "first audio", "r.f.",
    }  # fmt: skip
