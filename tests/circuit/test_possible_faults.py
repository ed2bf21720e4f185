"""What each possible fault is, as values of elements: sizes, signs and places, by what is done to a part.

The sizes are common practice, no source; that they are what the words of the suspects say is held here.
"""

from __future__ import annotations

import re

import pytest

from receiver_sim.builds import cards_for, shipped_build
from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.designators import parts_of
from receiver_sim.circuit.possible_faults import (
    HEATER_LEAK_OHM,
    PossibleFault,
    break_in,
    leak,
    possible_faults,
    variant,
    variant_cards,
)
from receiver_sim.circuit.possible_faults import testable as made_testable
from receiver_sim.engine import Bench
from receiver_sim.measure.loaded import loaded
from receiver_sim.physics.tube_law import currents
from receiver_sim.schema import Build, changed_build

OPEN = 1e9
"""Ohm: far above any part's."""


def circuit_of(build: Build) -> Circuit:
    band = build.bands[0]
    return receiver_circuit(build, cards_for(build), band=band, dial_hz=band.middle_hz, rotation=0.4)


@pytest.fixture(scope="module")
def demo_circuit() -> Circuit:
    return circuit_of(shipped_build("demo"))


def faults_of(circuit: Circuit, key: str) -> tuple[dict[str, PossibleFault], tuple[str, ...]]:
    """Return the faults of the part under a key of the build, and the part's elements."""
    (part,) = (p for p in parts_of(circuit) if p.key == key)
    return {f.fault: f for f in possible_faults(circuit) if f.part == part.designator}, part.elements


def values(fault: PossibleFault) -> list[dict[str, float]]:
    return [dict(size.values) for size in fault.sizes]


def test_a_resistor(demo_circuit: Circuit) -> None:
    found, (name,) = faults_of(demo_circuit, "audio.cathode_resistor")
    ohm = demo_circuit[name].value or 0.0
    due = {"open": [OPEN], "high": [1.5 * ohm, 2.5 * ohm], "low": [0.5 * ohm], "short": [1e-3]}
    assert {fault: [one[name] for one in values(f)] for fault, f in found.items()} == {
        fault: pytest.approx(list_, rel=1e-9) for fault, list_ in due.items()
    }


@pytest.mark.parametrize(
    ("key", "leaks"),
    [("audio.coupling", [1e5, 1e6]), ("audio.cathode_bypass", [5e3, 5e4])],
)
def test_a_capacitor_and_an_electrolytic(demo_circuit: Circuit, key: str, leaks: list[float]) -> None:
    """A leak lies across it; film and paper leak far less than what has dried up."""
    (part,) = (p for p in parts_of(demo_circuit) if p.key == key)
    found, (name,) = faults_of(demo_circuit, key)
    farad = demo_circuit[name].value or 0.0
    assert [one[leak(name)] for one in values(found["leaky"])] == leaks
    assert [float(re.findall(r"[\d.]+", s.words)[0]) * 1e3 for s in found["leaky"].sizes] == leaks
    assert values(found["short"]) == [{leak(name): 1e-3}]
    if demo_circuit[name].about.tolerance == "electrolytic":
        assert values(found["dry"]) == [{name: pytest.approx(farad / 20.0)}] and "open" not in found
    else:
        assert values(found["off"]) == [{name: pytest.approx(farad / 2.0)}]
        assert values(found["open"])[0][name] <= 1e-6 * farad
    assert made_testable(demo_circuit)[leak(name)].nodes == demo_circuit[name].nodes, part


def test_the_control(demo_circuit: Circuit) -> None:
    """Above the wiper lies what shrinks as the knob is turned up."""
    found, halves = faults_of(demo_circuit, "regeneration.pot")
    low, high = (demo_circuit.control.at(r) for r in (0.1, 0.9))
    (upper,) = (n for n in halves if low[n] > high[n])
    (lower,) = (n for n in halves if low[n] < high[n])
    assert values(found["open above"]) == [{upper: OPEN}]
    assert values(found["open below"]) == [{lower: OPEN}]
    assert values(found["wiper off"]) == [{upper: OPEN, lower: OPEN}]


def test_a_plug_in_coil(demo_circuit: Circuit) -> None:
    """It breaks at the plug, where its grounded end is: the cathode is open then, and no band but this one is
    touched. A shorted turn takes nine tenths of the Q: of the resistance across the tank.
    """
    (coil,) = (p for p in parts_of(demo_circuit) if p.word == "plug-in coil" and "llow" in p.elements)
    found = {f.fault: f for f in possible_faults(demo_circuit) if f.part == coil.designator}
    (broken,) = values(found["open"])
    assert broken == {break_in("llow"): OPEN}
    whole = made_testable(demo_circuit)
    assert "0" in whole["llow"].nodes or "0" in whole[break_in("llow")].nodes
    (lost,) = values(found["shorted turns"])
    assert lost == {"rtank": pytest.approx(0.1 * (demo_circuit["rtank"].value or 0.0))}
    assert all(f.plugged for f in found.values())
    others = [f for f in possible_faults(demo_circuit) if f.part != coil.designator]
    assert not any(f.plugged for f in others)
    build = shipped_build("demo")
    turned = variant("tap", build, cards_for(build), band=build.bands[0], dial_hz=1.9e6, rotation=0.4)
    plain = variant("", build, cards_for(build), band=build.bands[0], dial_hz=1.9e6, rotation=0.4)
    assert (turned["lup"].value, turned["llow"].value) == (plain["llow"].value, plain["lup"].value)


def test_a_weak_tube_has_less_than_half_of_its_current(demo_circuit: Circuit) -> None:
    """Replaced below 60 % as testers have it; what is called weak here has the share that its words say, of
    every current, and the other tube is as it was."""
    build = shipped_build("demo")
    cards = cards_for(build)
    (size,) = faults_of(demo_circuit, "detector.tube")[0]["weak"].sizes
    share = float(size.words.partition(" %")[0]) / 100.0
    assert 0.3 <= share < 0.6
    weak = variant_cards(size.variant, cards)
    volts = {"grid_v": -1.3, "plate_v": 90.0, "screen_v": 40.0}
    was, now = (currents(c.detector.law(), **volts) for c in (cards, weak))
    assert float(now.plate) == pytest.approx(share * float(was.plate), rel=1e-6)
    assert float(now.screen) == pytest.approx(share * float(was.screen), rel=1e-6)
    assert weak.of("audio") == cards.of("audio")


def test_a_gassy_tube_lifts_its_grid(bench: Bench) -> None:
    """Positive ions flow to the grid and out through what leads to ground there, the lower part of the volume
    control and the stopper: so many microvolts for each ohm as there are microamperes, as long as no grid
    current sets in."""
    build = changed_build(shipped_build("demo"), {"audio.cathode_resistor": "4.7 kohm"})
    circuit = circuit_of(build)
    fault = faults_of(circuit, "audio.tube")[0]["gassy"]
    (moved,) = values(fault)
    assert "2 uA" in fault.sizes[0].words
    grid = circuit.sockets["audio"].pins["grid"]
    with loaded(bench, made_testable(circuit)) as on:
        before = on.volts()[grid]
        for name, value in moved.items():
            on.set(name, value)
        after = on.volts()[grid]
    down = (circuit["rvolb"].value or 0.0) + (circuit["ragstop"].value or 0.0)
    assert down > 1e5
    assert after - before == pytest.approx(2e-6 * down, rel=1e-3)


def test_a_leak_from_the_heater_to_a_cathode(demo_circuit: Circuit) -> None:
    found, _ = faults_of(demo_circuit, "audio.tube")
    (moved,) = values(found["heater-cathode leak"])
    cathode = demo_circuit.sockets["audio"].pins["cathode"]
    assert moved and set(moved.values()) == {HEATER_LEAK_OHM} == {3e4}
    assert all(cathode in demo_circuit[name].nodes for name in moved)
    assert "30 kohm" in found["heater-cathode leak"].sizes[0].words


def test_what_can_hurt_and_nothing_else_is_a_hazard() -> None:
    """The blocking capacitor that conducts, its drain that does not, a bleeder that bleeds no more."""
    circuit = circuit_of(shipped_build("demo"))
    keys = {p.designator: p.key for p in parts_of(circuit)}
    found = {(keys[f.part], f.fault): f.hazard for f in possible_faults(circuit) if f.hazard}
    assert set(found) == {
        ("phones[0].capacitor", "short"), ("phones[0].capacitor", "leaky"), ("phones[0].drain", "open"),
        ("supply.bleeder", "open"), ("supply.bleeder", "high"),
    }  # fmt: skip
    assert "at plate volts" in found["phones[0].capacitor", "short"]
    assert (
        "stay charged" in found["supply.bleeder", "high"] and "floats up" in found["phones[0].drain", "open"]
    )


def test_of_a_regulator(demo_circuit: Circuit) -> None:
    (part,) = (p for p in parts_of(demo_circuit) if p.letters == "VR")
    found = {f.fault: f for f in possible_faults(demo_circuit) if f.part == part.designator}
    (name,) = part.elements
    assert [s.variant for s in found["open"].sizes] == ["unlit"]
    assert values(found["short"]) == [{leak(name): 1.0}]
