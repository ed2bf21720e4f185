"""What stands in the circuit besides the parts one buys, each against a closed form: the capacitor
behind a d.c. supply's resistance, output capacitance by what it hangs on.
"""

from __future__ import annotations

import dataclasses
import math

import pytest

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.blocks.output_capacitance import (
    SHELL_OF_GLASS,
    SHELL_OF_METAL,
    output_capacitances,
    suppressor_has_a_pin,
)
from receiver_sim.circuit.pins import numbered_pins
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.engine import Bench
from receiver_sim.measure.loaded import loaded
from receiver_sim.schema import Build
from receiver_sim.schema.card import card_for


def _ripple(build: Build, cards: Cards, bench: Bench, frequency: float) -> complex:
    """Return volts at the receiver for 1 V of ripple in the supply."""
    band = build.bands[0]
    circuit = receiver_circuit(build, cards, band=band, dial_hz=band.from_, rotation=0.4)
    with loaded(bench, circuit) as on, on.driven(Role.SUPPLY):
        node = on.node(Place.SUPPLY)
        return complex(on.session.ac(frequency, frequency, 1, vectors=[node])[node][0])


def test_capacitor_behind_the_resistance_of_a_supply(cabin: Build, cabin_cards: Cards, bench: Bench) -> None:
    """By Thevenin's theorem: H is Z/(R + Z) without it, so the supply at the receiver is R H, and with C it
    is H/(1 + j w C R H). Exact but for the solver.
    """
    ohm, farad, hertz = 1.9e3, 7e-6, 100.0
    supply = cabin.supply.model_copy(update={"resistance": ohm, "capacitor": None})
    bare = cabin.model_copy(update={"supply": supply})
    held = cabin.model_copy(update={"supply": supply.model_copy(update={"capacitor": farad})})
    without = _ripple(bare, cabin_cards, bench, hertz)
    due = without / (1.0 + 2j * math.pi * hertz * farad * ohm * without)
    assert _ripple(held, cabin_cards, bench, hertz) == pytest.approx(due, rel=1e-6)
    # some kilohm and 7 uF are some 20 Hz: at 100 Hz little is left
    assert abs(due) < 0.25 * abs(without)


def _plate(cabin: Build, cards: Cards, **wired: str) -> dict[str, float]:
    """Return the capacitances (F) from the detector's plate to other nodes that come with its tube."""
    detector = cabin.detector.model_copy(update=wired)
    build = cabin.model_copy(update={"detector": detector})
    band = build.bands[0]
    circuit = receiver_circuit(build, cards, band=band, dial_hz=band.from_, rotation=0.4)
    plate, grid = circuit.node(Place.PLATE), circuit.node(Place.GRID)
    out: dict[str, float] = {}
    for one in circuit.nodes[plate]:
        if one.kind == "c" and one.about.word == "tube capacitances" and grid not in one.nodes:
            other = next(node for node in one.nodes if node != plate)
            out[other] = out.get(other, 0.0) + (one.value or 0.0)
    return out


def test_output_capacitance_goes_where_suppressor_and_shell_are_wired(
    cabin: Build, cabin_cards: Cards
) -> None:
    """Whatever is wired where, the parts add up to the sheet's figure; a shield has a quarter."""
    whole = cabin_cards.detector.capacitances.cpk
    tap = "tap"
    usual = _plate(cabin, cabin_cards)
    assert sum(usual.values()) == pytest.approx(whole, rel=1e-12)
    shell = SHELL_OF_METAL if "shell" in cabin_cards.detector.pins.values() else SHELL_OF_GLASS
    assert usual["0"] == pytest.approx(shell * whole, rel=1e-12)
    grounded = _plate(cabin, cabin_cards, suppressor="ground")
    assert grounded[tap] == pytest.approx(0.05 * whole, rel=1e-12)
    assert sum(grounded.values()) == pytest.approx(whole, rel=1e-12)
    lifted = _plate(cabin, cabin_cards, shell="cathode")
    assert lifted == {tap: pytest.approx(whole, rel=1e-12)}


def test_pins_are_wired_as_the_build_says(cabin: Build, cabin_cards: Cards) -> None:
    """The list of pins had every suppressor on the cathode and every shell on ground."""
    cards = dataclasses.replace(cabin_cards, detector=card_for("6SJ7"))
    seen = []
    for wired in ({}, {"suppressor": "ground", "shell": "cathode"}):
        detector = cabin.detector.model_copy(update={"tube": "6SJ7", **wired})
        build = cabin.model_copy(update={"detector": detector})
        band = build.bands[0]
        circuit = receiver_circuit(build, cards, band=band, dial_hz=band.from_, rotation=0.4)
        pins = {p.number: p.node for p in numbered_pins(circuit, build, cards) if p.socket == "detector"}
        seen.append((pins["1"], pins["3"], pins["5"]))  # shell, suppressor, cathode of the 6SJ7
    assert seen == [("0", "tap", "tap"), ("tap", "0", "tap")]


def test_what_the_tube_itself_decides() -> None:
    """A suppressor joined to the cathode inside stays there; a tetrode's plate faces its screen; a triode has
    neither.
    """
    assert not suppressor_has_a_pin(card_for("6AK5")) and suppressor_has_a_pin(card_for("6J7"))
    screened = output_capacitances(card_for("24A"))
    assert screened.suppressor == 0.0 and screened.screen > screened.shell > screened.cathode > 0.0
    assert sum(screened) == pytest.approx(card_for("24A").capacitances.cpk, rel=1e-12)
    assert output_capacitances(card_for("6J5"))[1:] == (0.0, 0.0, 0.0)
    # one structure in metal and in glass: what the shell adds is what the sheets differ by, to 10 %
    metal, glass = card_for("6J7").capacitances.cpk, card_for("6C6").capacitances.cpk
    assert (metal - glass) / metal == pytest.approx(SHELL_OF_METAL, rel=0.1)
