"""What the audio studies make of their sweeps: corners, source, energy, noise resistance, hum; by hand."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from receiver_sim.builds import cards_for
from receiver_sim.circuit.roles import Role
from receiver_sim.engine import Bench
from receiver_sim.physics.tube_law import small_signal
from receiver_sim.results.bias import TubePoint
from receiver_sim.results.onset import ControlSetting
from receiver_sim.schema import Build, changed_build
from receiver_sim.schema.card import card_for
from receiver_sim.studies import audio_gain, audio_response, hum, hum_paths, transformer_energy
from tests.helpers.filling import filled

SETTING = ControlSetting(0.4, 22.0)

# ---------------------------------------------------------------------------- response


def low_pass(frequency: np.ndarray, corner: float) -> np.ndarray:
    return 1.0 / (1.0 + 1j * frequency / corner)


def response(build: Build, source: complex) -> Any:
    """Gain with a corner at 9 kHz from the control node, and one at 4 kHz more from the leak's current."""
    frequency = np.logspace(1, 5, 1201)
    gain = 37.0 * low_pass(frequency, 9e3)
    overall = 5.1e6 * low_pass(frequency, 9e3) * low_pass(frequency, 4e3)
    sweep = {"frequency": frequency + 0j}
    nodes = [f"n{i}" for i in range(len(build.phones))]
    load = 2200.0 + 2j * math.pi * 1000.0 * 1.7  # the demo's headset
    both = 1.0 / (1.0 / source + 1.0 / load)
    found = audio_response.reduce(
        build, sweep | dict.fromkeys(nodes, gain), sweep | dict.fromkeys(nodes, overall),
        [{node: np.array([both])} for node in nodes], nodes=nodes, setting=SETTING,
    )  # fmt: skip
    return found.outputs[0]


def test_the_corners_are_those_of_all_from_the_rectified_current_on(demo: Build) -> None:
    """Two poles, 4 and 9 kHz: (1 + x/16)(1 + x/81) with x = (f/kHz)^2 is twice its value at 1 kHz. What the
    control node alone would give lies near 9 kHz.
    """
    found = response(demo, 12e3 - 3e3j)
    at_one = (1.0 + 1.0 / 16.0) * (1.0 + 1.0 / 81.0)
    # x^2/(16 * 81) + x (1/16 + 1/81) + 1 = 2 * at_one
    a, b, c = 1.0 / (16.0 * 81.0), 1.0 / 16.0 + 1.0 / 81.0, 1.0 - 2.0 * at_one
    due = 1e3 * math.sqrt((-b + math.sqrt(b * b - 4.0 * a * c)) / (2.0 * a))
    assert 3.3e3 < due < 3.8e3
    # linear in dB over a 300th of a decade
    assert found.low_hz is None and found.high_hz == pytest.approx(due, rel=1e-4)


def test_gain_and_response_are_each_of_their_own_sweep(demo: Build) -> None:
    found = response(demo, 12e3 - 3e3j)
    assert found.gain_1khz == pytest.approx(37.0 / math.hypot(1.0, 1.0 / 9.0), rel=1e-6)
    assert found.gain[0] == pytest.approx(37.0, rel=1e-5)
    # relative to 1 kHz: at 10 Hz a little above one
    assert found.overall[0] == pytest.approx(math.sqrt((1.0 + 1.0 / 16.0) * (1.0 + 1.0 / 81.0)), rel=1e-4)


@pytest.mark.parametrize("source", [12e3 - 3e3j, 900.0 + 4e3j])
def test_the_source_is_what_is_left_without_the_load(demo: Build, source: complex) -> None:
    """1 A into the output meets source and load in parallel."""
    found = response(demo, source)
    assert found.source_ohm == pytest.approx(abs(source), rel=1e-9)
    assert found.load_ohm == pytest.approx(math.hypot(2200.0, 2.0 * math.pi * 1700.0), rel=1e-9)


# ---------------------------------------------------------------------------- transformer


def test_watts_of_a_transformer_go_each_to_its_place(cabin: Build) -> None:
    """I^2 R in the primary, V^2/R across a winding's resistance and across the iron, V^2 Re(1/Z) in a load.
    Phasors are r.m.s., so nothing is halved.
    """
    circuit = transformer_energy.plan(cabin, cards_for(cabin), rotation=0.5)
    output: Any = cabin.audio.output  # type: ignore[union-attr]
    field = circuit.part(Role.OUTPUT_FIELD)
    current = 3.1e-3 - 1.4e-3j
    # no two nodes alike
    volts = {node: 0.3 + 0.17 * n - 0.02j * n * n for n, node in enumerate(sorted(circuit.nodes), 1)}
    volts["0"] = 0.0

    def across(name: str) -> float:
        a, b = circuit[name].nodes
        return abs(volts[a] - volts[b]) ** 2

    wires = zip(transformer_energy.secondary_windings(circuit), output.secondaries, strict=True)
    due_windings = abs(current) ** 2 * output.primary_resistance
    due_windings += sum(across(name) / one.resistance for name, one in wires)
    iron = transformer_energy.core_element(circuit)
    due_core = across(iron) / (circuit[iron].value or 0.0)
    due_loads = 0.0
    for node, phone in zip(circuit.outputs, cabin.phones, strict=True):
        load = phone.resistance + 2j * math.pi * 1000.0 * phone.inductance  # type: ignore[union-attr]
        due_loads += abs(volts[node]) ** 2 * (1.0 / load).real
        due_loads += 0.0 if phone.drain is None else abs(volts[node]) ** 2 / phone.drain
    primary = volts[circuit[field].nodes[0]] - volts[circuit.sockets["audio"].pins["plate"]]
    due_into = (primary * current.conjugate()).real
    answer = {name: np.array([value]) for name, value in volts.items()}
    answer[circuit.branch(field)] = np.array([current])
    found = transformer_energy.reduce(cabin, circuit, answer)
    assert found.windings_w == pytest.approx(due_windings)
    assert found.loads_w == pytest.approx(due_loads)
    assert found.core_w == pytest.approx(due_core)
    assert found.primary_w == pytest.approx(due_into)
    left = due_into - due_loads - due_windings - due_core
    assert found.error == pytest.approx(abs(left) / abs(due_into))
    assert len({round(1e9 * w) for w in (due_windings, due_loads, due_core)}) == 3


# ---------------------------------------------------------------------------- noise of the audio tube


@pytest.mark.parametrize(
    ("tube", "tied", "grid_v"), [("6C5", False, 0.4), ("6SJ7", True, 4.7), ("6SJ7", False, 4.7)]
)
def test_noise_of_an_audio_tube_is_that_at_its_volts_from_the_cathode(
    bench: Bench, tube: str, tied: bool, grid_v: float
) -> None:
    """Thompson, North and Harris 1940 (memory-high): 2.5/gm of a triode; of a pentode with its partition
    noise. The law's gm at the volts counted from a cathode at 8 V.
    """
    card = card_for(tube)
    point = filled(TubePoint, plate_v=190.0, screen_v=108.0, grid_v=grid_v, cathode_v=8.0)
    law = card.law()
    if card.kind == "triode" or tied:
        from_cathode = {"grid_v": grid_v - 8.0, "plate_v": 182.0}
        figures = small_signal(law, **from_cathode, **({} if card.kind == "triode" else {"screen_v": 182.0}))
        # screen on the plate: both currents are the plate's
        due = 2.5 / (figures.gk if tied else figures.gm)
    else:
        figures = small_signal(law, grid_v=grid_v - 8.0, plate_v=182.0, screen_v=100.0)
        share = figures.plate / (figures.plate + figures.screen)
        due = share * (2.5 / figures.gm + 20.0 * figures.screen / figures.gm**2)
    found = audio_gain.noise_resistance(card, bench, point=point, tied=tied)
    # gm by ngspice's own derivative of the law
    assert found == pytest.approx(due, rel=1e-4)


# ---------------------------------------------------------------------------- hum


@pytest.mark.parametrize(
    ("changes", "volts", "order"),
    [
        ({}, 6.3, 1),
        ({"heater.supply": "dc", "heater.ripple": "100 mV"}, 0.1 / (2.0 * math.sqrt(2.0)), 2),
        ({"heater.supply": "dc", "heater.ripple": "370 mV"}, 0.37 / (2.0 * math.sqrt(2.0)), 2),
    ],
)
def test_the_heaters_are_driven_by_their_volts_or_by_their_ripple(
    demo: Build, changes: dict[str, str], volts: float, order: int
) -> None:
    """R.m.s. of a.c. at the line frequency; a stated ripple is peak to peak, of a full-wave rectifier."""
    assert hum_paths.heater_drive(changed_build(demo, changes)) == (pytest.approx(volts), order)


def test_each_field_has_its_own_volts_and_line(demo: Build) -> None:
    """Stray fields of a transformer are at the line, a heater's own at twice it: its field goes with the
    current's square.
    """
    build = changed_build(
        demo, {"pickup": {"detector_load": "110 uV", "output": "0.23 mV", "heater_field": "3.7 uV",
                          "audio_heater_field": "5.3 uV"}}
    )  # fmt: skip
    band = build.bands[0]
    circuit = hum_paths.plan(build, cards_for(build), band=band, dial_hz=band.to, rotation=0.4)
    found = hum_paths.fields(circuit, build)
    assert {name: (one[1], one[2]) for name, one in found.items()} == {
        "field into the detector's load": (pytest.approx(110e-6), 1),
        "field into the output winding": (pytest.approx(0.23e-3), 1),
        "heater field, detector": (pytest.approx(3.7e-6), 2),
        "heater field, audio stage": (pytest.approx(5.3e-6), 2),
    }
    assert found["heater field, audio stage"][0] == circuit.sockets["audio"].probe
    assert found["heater field, detector"][0] == circuit.part(Role.LOOP_GAIN)
    assert found["field into the output winding"][0] == circuit.part(Role.OUTPUT_FIELD)
    steady = hum_paths.fields(circuit, changed_build(build, {"heater.supply": "dc"}))
    assert set(steady) == {"field into the detector's load", "field into the output winding"}


def test_each_path_of_the_heaters_has_the_elements_of_its_own_tube(demo: Build) -> None:
    band = demo.bands[0]
    circuit = hum_paths.plan(demo, cards_for(demo), band=band, dial_hz=band.to, rotation=0.4)
    found = hum_paths.heater_paths(circuit)
    for socket, where in (("detector", "detector"), ("audio", "audio stage")):
        coupling = getattr(demo, socket).heater_coupling
        values = {
            kind: sorted(circuit[name].value for name in found[f"heater {words}, {where}"])
            for kind, words in (("grid", "to grid"), ("cathode", "to cathode"), ("leakage", "leakage"))
        }
        assert values["grid"] == pytest.approx(sorted((coupling.grid_a, coupling.grid_b)))
        assert values["cathode"] == pytest.approx(sorted((coupling.cathode_a, coupling.cathode_b)))
        assert values["leakage"] == pytest.approx([coupling.leakage])
    assert len(found) == 6


@pytest.mark.parametrize(
    ("wiring", "supply", "pot"),
    [
        ("hum_pot", "ac", True),
        ("one_side", "ac", False),
        ("centre_tap", "ac", False),
        ("hum_pot", "dc", False),
    ],
)
def test_hum_over_the_pot_at_the_build_and_at_the_null(
    demo: Build, wiring: str, supply: str, pot: bool
) -> None:
    """Line and ripple add as powers, at the build's place and at the null alike; a pot is only there to turn
    across heaters on a.c.
    """
    build = changed_build(demo, {"heater.wiring": wiring, "heater.supply": supply})
    build = changed_build(build, {"heater.hum_pot_position": "37 %"})
    mains = np.outer(np.linspace(1.0, 3.0, hum.POSITIONS.size), np.array([1e-3j]))
    found = hum.reduce(
        build, setting=SETTING, mains=mains, ripple=np.array([4e-4j]), at_build=np.array([-3e-4 + 0j]),
        best=[(0.61, 1.2e-4j)],
    )  # fmt: skip
    (output,) = found.outputs
    assert output.at_build_v == pytest.approx(5e-4)
    assert output.best_v == pytest.approx(math.hypot(4e-4, 1.2e-4))
    assert (output.best_position, output.ripple_v) == (0.61, pytest.approx(4e-4))
    assert (output.mains_v[0], output.mains_v[-1]) == (pytest.approx(1e-3), pytest.approx(3e-3))
    assert (found.pot, found.build_position, found.mains_hz) == (pot, pytest.approx(0.37), 50.0)


def test_without_an_output_transformer_there_is_no_balance(demo: Build) -> None:
    receiver: Any = SimpleNamespace(build=demo)
    assert transformer_energy.run(receiver, rotation=0.5) is None
