"""A set of one tube, its phones in the plate lead or behind the load; a set without volume control."""

from __future__ import annotations

import pytest
import yaml

from receiver_sim import api
from receiver_sim.builds import shipped_build
from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.blocks.phones import load_impedance
from receiver_sim.circuit.roles import Role
from receiver_sim.engine import Bench
from receiver_sim.errors import WrongValue
from receiver_sim.measure.loaded import loaded
from receiver_sim.physics.tube_law import small_signal
from receiver_sim.results.bands import Grade
from receiver_sim.results.base import Status
from receiver_sim.schema import Build, BuildFaults, load_build_text
from receiver_sim.views.audio_tables import audio_sheet
from receiver_sim.views.sheet import as_text
from tests.helpers.injection import onset_both_ways


@pytest.fixture(scope="module")
def one() -> Build:
    return shipped_build("one_tube")


def test_the_shipped_build_is_a_good_set(bench: Bench, one: Build) -> None:
    report = api.check(one, bench=bench)
    assert report.failed == ()
    assert all(o.status is Status.OSCILLATES for band in report.bands for o in band.onsets)
    assert not [v.text for v in report.verdicts if v.grade is Grade.BAD]
    assert [tube.socket for tube in report.operating_points[0].tubes] == ["detector"]
    # one tube, and the phones' cord at plate potential: said
    assert any("carry the PLATE SUPPLY" in text for text in one.warnings)


def test_phones_in_the_plate_lead_have_the_plate_current_in_them(bench: Bench, one: Build) -> None:
    """Ohm's law for d.c., and gm Z/(1 + Z g) for the tone: the load is that of the phones alone."""
    cards, band = api.cards_for(one), one.bands[0]
    circuit = receiver_circuit(one, cards, band=band, dial_hz=band.from_, rotation=0.6)
    socket, (node,) = circuit.sockets["detector"], circuit.outputs
    with loaded(bench, circuit) as on:
        volts = on.volts()
        with on.driven(Role.LOOP_GAIN):
            run = on.session.ac(1e3, 1e3, 1, vectors=["frequency", node])
    current = circuit.into(socket, "plate", volts)
    assert current > 1e-4
    phones = one.phones[0].resistance
    assert volts[node] == pytest.approx(current * phones, rel=1e-6)
    choke = one.detector.rf_filter.choke_resistance
    assert volts["bplus"] - volts["plate"] == pytest.approx(current * (phones + choke), rel=1e-4)
    at = {pin: 0.0 if where == "0" else volts[where] for pin, where in socket.pins.items()}
    own = small_signal(
        cards.detector.law(),
        grid_v=at["grid"] - at["cathode"],
        plate_v=at["plate"] - at["cathode"],
        screen_v=at["screen"] - at["cathode"],
    )
    load = complex(load_impedance(one, 0, 1e3))
    # left out: 200 pF of the r.f. filter beside 12 kohm of phones, 1.5 %
    assert abs(run[node][0]) == pytest.approx(abs(own.gm * load / (1.0 + load * own.conductance)), rel=0.02)


def test_every_question_has_its_answer(bench: Bench, one: Build) -> None:
    name = one.bands[1].name
    found = api.onset(one, bands=[name], bench=bench)
    assert found.failed == () and found.bands[0].stability
    assert api.detect(one, band=name, bench=bench).status is Status.OSCILLATES
    depth = api.audio_in_depth(one, band=name, bench=bench)
    assert depth.failed == () and depth.class_a == ()
    # no audio tube keeps or leaves class A: no empty table, no figure
    assert [one.limits.class_a_v for one in depth.levels] == [None]
    assert "class A\n" not in as_text(audio_sheet("set", depth))
    assert api.supply_in_depth(one, band=name, bench=bench).failed == ()


def test_double_injection_finds_the_same_onset(bench: Bench, one: Build) -> None:
    """Middlebrook 1975 (from memory, high), at the grid lead: the same onset within 0.1 % of volts."""
    found, at_one = onset_both_ways(
        bench, one, api.cards_for(one), band=one.bands[1], beside=[0.9, 0.98, 1.02]
    )
    assert found.onset is not None
    assert at_one == pytest.approx(found.onset.figure, rel=1e-3)


def test_there_is_no_audio_tube_to_swap(one: Build) -> None:
    with pytest.raises(WrongValue, match="this set has no audio stage"):
        api.swap_tubes(one, socket="audio", tubes=["6J5"])


def test_phones_that_do_not_fit_are_named(one: Build) -> None:
    for changes, said in (
        ({"phones[0].at": "plate"}, "one pair of phones with 'at: load'"),
        ({"phones[0].capacitor": "0.1 uF"}, "no capacitor with 'at: load'"),
        ({"phones[0].at": "line"}, "'plate' or 'load', since there is no audio stage"),
    ):
        with pytest.raises(BuildFaults, match=said):
            api.changed_build(one, changes)


def test_without_a_volume_control_the_set_plays_as_with_it_fully_up(bench: Bench, cabin: Build) -> None:
    """The grid resistor stands for the whole track, whose wiper stood at its top."""
    pot = cabin.audio.volume.pot  # type: ignore[union-attr]
    up = api.changed_build(cabin, {"audio.volume.setting": "100 %"})
    without = api.changed_build(cabin, {"audio.volume": None, "audio.grid_resistor": pot})
    gains = []
    for build in (up, without):
        cards, band = api.cards_for(build), build.bands[0]
        circuit = receiver_circuit(build, cards, band=band, dial_hz=band.from_, rotation=0.4)
        assert ("rvola" in circuit) is (build is up)
        with loaded(bench, circuit) as on, on.driven(Role.LOOP_GAIN):
            run = on.session.ac(50.0, 5e3, 3, vectors=["frequency", *circuit.outputs])
        gains.append([abs(run[node]) for node in circuit.outputs])
    for with_it, without_it in zip(*gains, strict=True):
        assert without_it == pytest.approx(with_it, rel=1e-5)
    with pytest.raises(BuildFaults, match=r"audio\.grid_resistor: missing: expected a grid resistor"):
        api.changed_build(cabin, {"audio.volume": None})


def test_phones_may_hang_behind_the_load_of_the_only_tube(bench: Bench, demo: Build) -> None:
    """Without an audio stage 'plate' is the detector's: blocking capacitor and drain behind its load."""
    headset = {"name": "p", "at": "plate", "capacitor": "0.1 uF", "drain": "1 Mohm", "kind": "high_impedance"}
    data = {key: value for key, value in demo._data.items() if key != "audio"} | {"phones": [headset]}
    build = load_build_text(yaml.safe_dump(data))
    band = build.bands[2]
    report = api.loop(build, bands=[band.name], bench=bench)[0]
    assert report.middle.status is Status.OSCILLATES
    found = api.audio(build, band=band.name, bench=bench)
    assert found.outputs[0].gain_1khz > 1.0
