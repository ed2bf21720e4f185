"""What differs from set to set: the list of it, one drawn set, and the map that spares assembling it."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.element_map import element_map, values_of
from receiver_sim.circuit.factors import PRINT, drawn, drawn_tube, factors_of, unmeasured
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Role
from receiver_sim.physics.tube_law import currents
from receiver_sim.schema import Build, changed_build
from receiver_sim.schema.priors import open_dimensions

COUPLED = 1e-3
"""The sections of a coil under a moved tap and a moved coupling at once; see `element_map`."""


def test_every_part_once_with_its_class_and_what_is_stated(demo: Build, demo_cards: Cards) -> None:
    build = changed_build(
        demo,
        {
            "detector.grid_capacitor": "130 pF +-5 %",
            "regeneration.top": "27 kohm measured",
            "audio.tube": "6C5",
        },
    )
    found = {f.name: f for f in factors_of(build, build, demo_cards)}
    assert len(found) == len(factors_of(build, build, demo_cards))
    grid = found["detector.grid_capacitor"]
    assert (grid.low, grid.high, grid.origin, grid.word) == (-0.05, 0.05, "stated", "grid capacitor")
    assert found["regeneration.top"].origin == "measured" and found["regeneration.top"].high == 0.02
    leak = found["detector.grid_leak"]
    assert (leak.low, leak.high, leak.origin, leak.kind) == (-0.1, 0.1, "class", "resistor")
    # IEC 60063 and common practice: electrolytics run to +50 %
    assert found["audio.cathode_bypass"].high == 0.5
    assert found["regulator.volts"].kind == "gas tube"
    assert {"mains", "regeneration.pot#top", "bands[4].coil.tap", "detector.tube#emission"} <= set(found)
    prints = [f for f in found.values() if f.kind == PRINT and f.part == "6SJ7"]
    assert len(prints) == open_dimensions(demo_cards.detector) + 1
    assert not [name for name in found if name.startswith(("bands[0].coil.tickler", "audio.output.ratio"))]


def test_measured_by_order_and_as_if_nothing_were(demo: Build, demo_cards: Cards) -> None:
    build = changed_build(
        demo, {"regeneration.top": "27 kohm measured", "detector.grid_leak": "2.7 Mohm 5 %"}
    )
    bare = {f.name: f for f in factors_of(unmeasured(build), build, demo_cards)}
    assert bare["regeneration.top"].origin == "class" and bare["detector.grid_leak"].origin == "stated"
    asked = {f.name: f for f in factors_of(build, build, demo_cards, measured=["detector.tube"])}
    of_tube = [f for f in asked.values() if f.key == "detector.tube"]
    assert len(of_tube) >= 4 and {f.origin for f in of_tube} == {"measured"}
    assert asked["audio.tube#emission"].origin == "class"


def test_a_worn_tube(demo: Build, demo_cards: Cards) -> None:
    """It lies below its card, down to the 60 % at which testers reject."""
    worn = changed_build(demo, {"detector.condition": "worn"})
    found = {f.name: f for f in factors_of(worn, worn, demo_cards)}["detector.tube#emission"]
    assert (found.low, found.high) == (-0.45, 0.0)
    assert -0.45 <= found.deviation(0.01) < found.deviation(0.99) <= 0.0


def test_one_set(demo: Build, demo_cards: Cards) -> None:
    """Each deviation acts where it should, and on nothing else."""
    factors = factors_of(demo, demo, demo_cards)
    moved = {
        "detector.grid_leak": 0.08, "mains": -0.07, "regeneration.pot#bottom": 0.01, "regeneration.pot": 0.2,
        "bands[2].coil.tap": 0.05, "bands[2].coil.q": -0.1, "phones[0]": 0.15,
        "detector.tube#capacitances": 0.1,
    }  # fmt: skip
    build, cards = drawn(demo, demo_cards, factors, moved)
    assert build.detector.grid_leak == pytest.approx(2.7e6 * 1.08)
    # one mains for plate and heaters
    assert build.supply.volts == pytest.approx(190.0 * 0.93) and build.heater.volts == pytest.approx(
        6.3 * 0.93
    )
    assert build.regeneration.pot == pytest.approx(47e3 * 1.2)
    assert build.regeneration.bottom == pytest.approx(1.5e3 + 0.01 * 47e3 * 1.2)
    coil = build.bands[2].coil
    assert (coil.tap, coil.q, coil.inductance) == pytest.approx((0.0384 * 1.05, 135.0, 5.6e-6))
    assert build.bands[1].coil == demo.bands[1].coil
    assert (build.phones[0].resistance, build.phones[0].inductance) == pytest.approx(
        (2.2e3 * 1.15, 1.7 * 1.15)
    )
    was, now = demo_cards.detector.capacitances, cards.detector.capacitances
    for name in ("cgp", "cgk", "cpk"):
        assert getattr(now, name) == pytest.approx(1.1 * getattr(was, name), rel=1e-9, abs=0.0), name
    assert cards.audio.law() == demo_cards.audio.law()


def test_input_loading_moves_as_a_whole(demo: Build, demo_cards: Cards) -> None:
    """By transit time and by the cathode's lead, at any frequency; the audio tube has none that counts."""
    factors = factors_of(demo, demo, demo_cards)
    _, cards = drawn(demo, demo_cards, factors, {"detector.tube#input loading": 0.3})
    was, now = demo_cards.detector.input_loading, cards.detector.input_loading
    for hertz in (2e6, 28e6):
        before, after = (one.kc * hertz + one.kh * hertz**2 for one in (was, now))
        assert after == pytest.approx(1.3 * before, rel=1e-9, abs=0.0)
    assert was.kc > 0.0 and was.kh > 0.0


def test_what_is_measured_of_a_tube_is_known_to_two_per_cent_or_hundredths_of_a_volt(
    demo: Build, demo_cards: Cards
) -> None:
    """The class 'measured' of the table of tolerances; of a contact potential, which is no value to be parted
    by, so many volts."""
    found = factors_of(demo, demo, demo_cards, measured=["detector.tube"])
    of_tube = {f.name.partition("#")[2]: f for f in found if f.key == "detector.tube"}
    assert {name: (f.low, f.high) for name, f in of_tube.items()} == dict.fromkeys(of_tube, (-0.02, 0.02))
    assert [name for name, f in of_tube.items() if f.volts] == ["contact potential"]


def test_one_tube(demo_cards: Cards) -> None:
    """Emission is the current at the same volts; a contact potential acts as so many volts of the grid."""
    card = demo_cards.detector
    volts = {"plate_v": 100.0, "screen_v": 30.0}
    plain = currents(card.law(), grid_v=-1.0, **volts)
    strong = currents(drawn_tube(card, "x", {"x#emission": 0.2}), grid_v=-1.0, **volts)
    assert float(strong.plate) == pytest.approx(1.2 * float(plain.plate))
    shifted = drawn_tube(card, "x", {"x#contact potential": 0.11})
    there = currents(shifted, grid_v=-1.11, **volts)
    assert float(there.plate) == pytest.approx(float(plain.plate))
    assert float(there.grid) == pytest.approx(float(plain.grid))
    greedy = currents(drawn_tube(card, "x", {"x#screen current": 0.25}), grid_v=-1.0, **volts)
    assert float(greedy.screen / greedy.plate) == pytest.approx(
        1.25 * float(plain.screen / plain.plate), rel=0.02
    )
    for number in range(open_dimensions(card) + 1):
        assert drawn_tube(card, "x", {f"{card.type}#{number}": 1.0}) != card.law()


@pytest.mark.parametrize("name", ["demo", "tickler", "mains_set"])
def test_the_map_gives_the_values_of_the_assembled_circuit(name: str, bench: api.Bench) -> None:
    given = api.shipped_build(name)
    cards = api.cards_for(given)
    build = api.settle(given, bench)
    factors = factors_of(given, build, cards)
    band = build.bands[-1]
    dial = (band.from_ * band.to) ** 0.5
    found = element_map(build, cards, factors, band=band)
    random = np.random.default_rng(5)
    for _ in range(2):
        moved = {f.name: f.deviation(random.random()) for f in factors}
        other, tubes = drawn(build, cards, factors, moved)
        circuit = receiver_circuit(other, tubes, band=other.bands[-1], dial_hz=dial, rotation=0.3)
        seen = {**found.values, **found.moved(moved), **found.turned(circuit.control.share(0.3), moved)}
        expected = values_of(circuit)
        del expected[circuit.part(Role.TUNING)]
        for element, value in expected.items():
            near = COUPLED if element in ("lup", "llow", "kcoil") else 1e-6
            assert seen[element] == pytest.approx(value, rel=near), element


def test_nothing_moved_is_the_build(demo: Build, demo_cards: Cards) -> None:
    factors = factors_of(demo, demo, demo_cards)
    build, cards = drawn(demo, demo_cards, factors, {})
    assert build == demo
    assert dataclasses.replace(cards) == demo_cards
