"""Which node of the circuit each numbered pin of a socket is on, and what is said to be on it: by hand."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.pins import NumberedPin, heater_nodes, numbered_pins
from receiver_sim.circuit.registry import Cards
from receiver_sim.schema import Build
from receiver_sim.schema.audio_stages import HeaterFeed


@pytest.fixture(scope="module")
def circuit(demo: Build, demo_cards: Cards) -> Circuit:
    band = demo.bands[0]
    return receiver_circuit(demo, demo_cards, band=band, dial_hz=band.middle_hz, rotation=0.4)


def _pins(circuit: Circuit, build: Build, cards: Cards, *pins: str) -> list[NumberedPin]:
    """The detector's pins, were they these in the order of their numbers."""
    made = {str(number): what for number, what in enumerate(pins, start=1)}
    card = cards.detector.model_copy(update={"pins": made})
    found = numbered_pins(circuit, build, replace(cards, detector=card))
    return [pin for pin in found if pin.socket == "detector"]


@pytest.mark.parametrize(
    ("what", "words", "electrode"),
    [
        ("p", "plate", "plate"),
        ("g1", "grid", "grid"),
        ("g2", "screen", "screen"),
        ("k", "cathode", "cathode"),
        ("k+g3", "cathode and suppressor", "cathode"),
        ("k+heater", "cathode and heater", "cathode"),
        # a suppressor with a pin of its own is wired to the cathode: common practice
        ("g3", "suppressor", "cathode"),
        ("g3+shield", "suppressor and shield", "cathode"),
    ],
)
def test_a_pin_is_on_the_node_of_its_electrode_and_called_by_it(
    circuit: Circuit, demo: Build, demo_cards: Cards, what: str, words: str, electrode: str
) -> None:
    (pin,) = _pins(circuit, demo, demo_cards, what)
    assert (pin.words, pin.node) == (words, circuit.sockets["detector"].pins[electrode])
    assert (pin.number, pin.also, pin.tube) == ("1", (), demo_cards.detector.type)
    assert len(set(circuit.sockets["detector"].pins.values())) == 4


@pytest.mark.parametrize(
    ("what", "node"),
    [
        ("shell", "0"), ("shield", "0"), ("diode", "0"), ("p second", None), ("k second", None),
        ("heater middle", None), ("filament centre tap", None), ("heater tap", None),
    ],
)  # fmt: skip
def test_shells_go_to_the_chassis_and_what_the_circuit_does_not_hold_is_on_no_node(
    circuit: Circuit, demo: Build, demo_cards: Cards, what: str, node: str | None
) -> None:
    (pin,) = _pins(circuit, demo, demo_cards, what)
    assert (pin.words, pin.node) == (what, node)


@pytest.mark.parametrize(("key", "what"), [("shell", "shell"), ("shell", "shield"), ("suppressor", "g3"),
                                            ("suppressor", "g3+shield")])  # fmt: skip
def test_a_socket_may_wire_shell_and_suppressor_elsewhere(
    circuit: Circuit, demo: Build, demo_cards: Cards, key: str, what: str
) -> None:
    """Each by its own key; the other stays where it was."""
    blocks = tuple(
        replace(
            block,
            sockets={
                name: replace(socket, wired={key: "elsewhere"}) if name == "detector" else socket
                for name, socket in block.sockets.items()
            },
        )
        for block in circuit.blocks
    )
    wired = replace(circuit, blocks=blocks)
    assert _pins(wired, demo, demo_cards, what)[0].node == "elsewhere"
    other = "g3" if key == "shell" else "shell"
    at = circuit.sockets["detector"].pins["cathode"] if other == "g3" else "0"
    assert _pins(wired, demo, demo_cards, other)[0].node == at


def test_the_two_ends_of_a_heater_are_on_both_sides_of_its_line(
    circuit: Circuit, demo: Build, demo_cards: Cards
) -> None:
    """One each; a third end, as of a heater in two halves, is on none."""
    ends = [pin.node for pin in _pins(circuit, demo, demo_cards, "heater", "p", "heater", "heater")]
    assert (ends[0], ends[2], ends[3]) == ("ha", "hb", None)
    assert heater_nodes(demo, "detector") == heater_nodes(demo, "audio") == ("ha", "hb")


def _fed(build: Build, **feed: Any) -> Build:
    """The build with a feed of its own for the detector's heater."""
    blank = {"source": "winding", "volts": None, "chokes": None, **feed}
    own = HeaterFeed.model_construct(**blank)
    return build.model_copy(update={"detector": build.detector.model_copy(update={"heater_feed": own})})


@pytest.mark.parametrize(
    ("feed", "plus", "minus"),
    [
        ({}, ("ha", ()), ("cathode", ())),
        (
            {"chokes": object()},
            (None, ("heater supply, +, through an r.f. choke",)),
            ("cathode", ("heater supply, -, through an r.f. choke",)),
        ),
        ({"source": "cell"}, (None, ("cell of its own, +",)), ("cathode", ("cell of its own, -",))),
        (
            {"source": "cell", "chokes": object()},
            (None, ("cell of its own, +, through an r.f. choke",)),
            ("cathode", ("cell of its own, -, through an r.f. choke",)),
        ),
    ],
)
def test_a_filament_is_the_cathode_at_its_negative_end(
    circuit: Circuit, demo: Build, demo_cards: Cards, feed: dict[str, Any], plus: Any, minus: Any
) -> None:
    """The other end is on the heater line or on a cell; what is not marked is plus first."""
    build, cathode = _fed(demo, **feed), circuit.sockets["detector"].pins["cathode"]
    due = [(node if node != "cathode" else cathode, also) for node, also in (plus, minus)]
    for pins in (("filament+", "filament-"), ("filament", "filament")):
        found = _pins(circuit, build, demo_cards, *pins)
        assert [(pin.node, pin.also) for pin in found] == due
    turned = _pins(circuit, build, demo_cards, "filament-", "filament+")
    assert [(pin.node, pin.also) for pin in turned] == due[::-1]


def test_pins_come_by_their_numbers_and_the_cap_last(
    circuit: Circuit, demo: Build, demo_cards: Cards
) -> None:
    """Nine before ten, and the cap behind all."""
    pins = {"cap": "g1", "10": "p", "2": "k", "9": "g2"}
    card = demo_cards.detector.model_copy(update={"pins": pins})
    found = numbered_pins(circuit, demo, replace(demo_cards, detector=card))
    assert [pin.number for pin in found if pin.socket == "detector"] == ["2", "9", "10", "cap"]
    assert list(dict.fromkeys(pin.socket for pin in found)) == list(circuit.sockets)
