"""The receiver deck: every tube type finds its operating point, and nothing can be smuggled into it."""

import dataclasses

import pytest

from receiver_sim import api
from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import NoSuchPart
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.writer import text
from receiver_sim.engine import Bench, DeckRefused
from receiver_sim.schema import Build, BuildFaults
from receiver_sim.schema.card import card_for, card_types
from tests.decks import control_elements, receiver_deck

SCREEN_TUBES = [name for name in card_types() if card_for(name).kind != "triode"]
TRIODES = [name for name in card_types() if card_for(name).kind == "triode"]


def _points(bench: Bench, build: Build, cards: Cards) -> list[dict[str, float]]:
    """Return the operating points with the control at both stops and half way, each from a fresh load."""
    band = build.bands[0]
    found = []
    for rotation in (0.0, 0.5, 1.0):
        deck = receiver_deck(build, cards, band=band, dial_hz=band.to, rotation=rotation)
        with bench.session(deck) as session:
            found.append({name: float(v[0]) for name, v in session.op().items()})
    return found


@pytest.mark.parametrize("name", SCREEN_TUBES)
def test_every_screen_tube_finds_its_operating_point(
    bench: Bench, demo: Build, cabin: Build, demo_cards: Cards, cabin_cards: Cards, name: str
) -> None:
    """Guards the law against a Newton search that runs away (seen with bare quotients of inner nodes)."""
    for build, cards in ((demo, demo_cards), (cabin, cabin_cards)):
        points = _points(bench, build, dataclasses.replace(cards, detector=card_for(name)))
        for point in points:
            assert 0.0 < point["plate"] < build.supply.volts
            assert point["scr"] > 0.0
        assert points[0]["scr"] < points[1]["scr"] < points[2]["scr"]
        assert points[0]["plate"] >= points[1]["plate"] >= points[2]["plate"]


@pytest.mark.parametrize("name", TRIODES)
def test_every_triode_finds_its_operating_point(
    bench: Bench, demo: Build, cabin: Build, demo_cards: Cards, cabin_cards: Cards, name: str
) -> None:
    for build, cards in ((demo, demo_cards), (cabin, cabin_cards)):
        for point in _points(bench, build, dataclasses.replace(cards, audio=card_for(name))):
            assert 0.0 < point["acath"] < point["aplate"] < build.supply.volts


def test_alter_gives_what_a_fresh_deck_gives(bench: Bench, demo: Build, demo_cards: Cards) -> None:
    band = demo.bands[1]
    fresh = receiver_deck(demo, demo_cards, band=band, dial_hz=band.to, rotation=0.83)
    loaded = receiver_deck(demo, demo_cards, band=band, dial_hz=band.to, rotation=0.11)
    with bench.session(fresh) as session:
        expected = session.op()
    with bench.session(loaded) as session:
        session.op()
        for element, value in control_elements(demo, demo_cards, 0.83).items():
            session.alter(element, value)
        point = session.op()
    for node in ("scr", "plate", "grid", "aplate"):
        # reltol 1e-6 on both
        assert float(point[node][0]) == pytest.approx(float(expected[node][0]), rel=1e-5)


def test_a_change_names_an_element_the_circuit_lacks(demo: Build, demo_cards: Cards) -> None:
    band = demo.bands[0]
    circuit = receiver_circuit(demo, demo_cards, band=band, dial_hz=band.to, rotation=0.5)
    changed = circuit.replace({"ctune": 1e-10}).driven({"vinj": 1.0})
    assert "Ctune top 0 1e-10" in text(changed) and "Vinj inj 0 dc 0 ac 1" in text(changed)
    assert "Ctune top 0 1e-10" not in text(circuit)  # nothing changes a circuit that is there
    with pytest.raises(NoSuchPart, match="the circuit has no element rnone"):
        circuit.replace({"rnone": 1.0})


@pytest.mark.parametrize("extra", [".control\nshell touch x\n.endc", ".include /etc/passwd", "* x\n`id`"])
def test_a_probe_cannot_smuggle(demo: Build, demo_cards: Cards, extra: str) -> None:
    band = demo.bands[0]
    with pytest.raises(DeckRefused):
        receiver_deck(demo, demo_cards, band=band, dial_hz=band.to, rotation=0.5, extra=extra)


def test_a_triode_under_a_screen_control_is_a_fault_of_the_build(demo: Build) -> None:
    wrong = demo.model_copy(update={"detector": demo.detector.model_copy(update={"tube": "6J5"})})
    with pytest.raises(BuildFaults) as caught:
        api.cards_for(wrong)
    assert str(caught.value).endswith(
        "detector.tube: value '6J5': expected a pentode or screen-grid tube, since the control sets a "
        "screen voltage; take a tube with a screen, or write 'acts_on: plate' under 'regeneration'"
    )
