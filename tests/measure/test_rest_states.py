"""A plate that can rest at two voltages, against the currents at a plate that is held from outside."""

from __future__ import annotations

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.roles import Place
from receiver_sim.circuit.writer import deck
from receiver_sim.engine import Bench, Deck
from receiver_sim.measure import onset
from receiver_sim.measure.rest_states import COARSE, FINE, stretched, two_states
from receiver_sim.receiver import Receiver
from receiver_sim.results.base import Status
from receiver_sim.schema import Build, changed_build


def resting_places(bench: Bench, circuit: Circuit, rotation: float) -> int:
    """Return at how many plate voltages the current from outside is zero: states of rest, stable or not."""
    plate, whole = circuit.node(Place.PLATE), deck(circuit)
    held = Deck(whole.title, f"{whole.text}\nvheld {plate} 0 0")
    with bench.session(held) as session:
        for element, value in circuit.control.at(rotation).items():
            session.alter(element, value)
        run = session.dc("vheld", 0.5, 200.0, 0.25, vectors=["vheld#branch"])
    sign = np.sign(run["vheld#branch"])
    return int(np.count_nonzero(sign[1:] != sign[:-1]))


@pytest.fixture(scope="module")
def tetrode(demo: Build) -> Build:
    """The demo's first coil with a screen-grid tetrode on a plate resistor of 250 kohm."""
    changes = {
        "detector.tube": "24A", "heater.volts": "2.5 V",
        "detector.load": {"kind": "resistor", "resistance": "250 kohm"}, "detector.heater_coupling": None,
    }  # fmt: skip
    build = changed_build(demo, changes)
    return build.model_copy(update={"bands": build.bands[:1]})


def test_the_stretch_is_where_a_held_plate_has_three_places_of_rest(bench: Bench, tetrode: Build) -> None:
    cards, band = api.cards_for(tetrode), tetrode.bands[0]
    circuit = onset.plan(tetrode, cards, band=band, dial_hz=band.middle_hz)
    found = two_states(bench, circuit, cards)
    assert found is not None
    assert found.upper_v > found.lower_v
    # found in steps of FINE; Newton's method may leave a state a step or two before it ends
    inside, before, beyond = (found.low + found.high) / 2.0, found.low - 3.0 * FINE, found.high + 3.0 * FINE
    counted = [resting_places(bench, circuit, where) for where in (before, inside, beyond)]
    assert counted == [1, 3, 1]


def test_it_is_said_with_the_onset(bench: Bench, tetrode: Build) -> None:
    band = tetrode.bands[0]
    found = onset.run(Receiver(tetrode, bench).at(band))
    assert found.status is not Status.FAILED
    assert any("can rest at two voltages" in text for text in found.warnings)


def test_a_pentode_rests_in_one_way(bench: Bench, demo: Build) -> None:
    cards, band = api.cards_for(demo), demo.bands[0]
    circuit = onset.plan(demo, cards, band=band, dial_hz=band.middle_hz)
    assert two_states(bench, circuit, cards) is None
    assert resting_places(bench, circuit, 0.5) == 1


@pytest.mark.parametrize("first", range(40))
def test_no_place_of_a_stretch_is_beyond_the_control(first: int) -> None:
    """Whatever rounding makes of its ends: both are among the places, and these are a step apart."""
    low = first * COARSE
    for last in range(first + 1, 41):
        high = last * COARSE
        places = stretched(low, high, FINE)
        assert (places[0], places[-1]) == (low, high)
        # the ends lie whole steps apart but for rounding
        assert np.diff(places) == pytest.approx(FINE, rel=1e-9)
