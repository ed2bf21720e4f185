"""Parts and what a drawing and a parts list call them (letters: IEEE Std 315, clause 22; from memory)."""

from __future__ import annotations

import re

import pytest

from receiver_sim.builds import shipped_build
from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.designators import designators, parts_of
from receiver_sim.circuit.element import Nature
from receiver_sim.receiver import cards_for
from receiver_sim.schema import changed_build

BUILDS = ("cabin", "demo", "howling", "plugin_coils", "tickler")


def circuit_of(name: str, *, band: int = 0, rotation: float = 0.4, **changes: str):
    build = shipped_build(name)
    if changes:
        build = changed_build(build, {key.replace("__", "."): value for key, value in changes.items()})
    one = build.bands[band]
    return receiver_circuit(build, cards_for(build), band=one, dial_hz=one.from_, rotation=rotation)


@pytest.mark.parametrize("name", BUILDS)
def test_every_part_has_one_designator_and_numbers_run_without_gaps(name):
    circuit = circuit_of(name)
    parts = parts_of(circuit)
    names = [n for part in parts for n in part.elements]
    assert len(names) == len(set(names))
    bought = {e.name for e in circuit.elements if e.about.nature is Nature.PART}
    links = {n for n in bought - set(names) if (circuit[n].value or 0.0) <= 0.1}
    assert bought - set(names) == links  # what has no designator is a link in the place of a resistor
    by_letter: dict[str, list[int]] = {}
    for part in parts:
        letters, number = re.fullmatch(r"([A-Z]+)(\d+)", part.designator).groups()
        by_letter.setdefault(letters, []).append(int(number))
    assert all(numbers == list(range(1, len(numbers) + 1)) for numbers in by_letter.values())
    assert set(by_letter) <= {"C", "D", "E", "HT", "L", "PS", "R", "T", "V", "VR"}


@pytest.mark.parametrize("name", ("plugin_coils", "tickler"))
def test_a_part_keeps_its_designator_on_every_band_and_setting(name):
    first = designators(circuit_of(name))
    for band, rotation in ((1, 0.0), (-1, 1.0)):
        other = designators(circuit_of(name, band=band, rotation=rotation))
        assert {e: d for e, d in other.items() if e in first and not d.startswith("E")} == {
            e: d for e, d in first.items() if e in other and not d.startswith("E")
        }


def test_the_order_is_that_of_the_signal():
    # by hand from the build's own file: capacitors aerial, dial, grid, two of the RF filter, screen, coupling
    parts = {part.designator: part for part in parts_of(circuit_of("tickler"))}
    keys = [parts[f"C{i}"].key for i in range(1, 9)]
    assert keys == [
        "aerial.coupling",
        "tuning",
        "detector.grid_capacitor",
        "detector.rf_filter.plate_capacitor",
        "detector.rf_filter.output_capacitor",
        "regeneration.bypass",
        "audio.coupling",
        "audio.cathode_bypass",
    ]
    assert parts["V1"].key == "detector.tube" and parts["V2"].key == "audio.tube"


def test_windings_of_one_coil_and_halves_of_one_track_are_one_part():
    names = designators(circuit_of("tickler"))
    assert names["ltank"] == names["ltick"] == names["ktick"] == "L1"
    assert names["rpota"] == names["rpotb"] and names["rpota"] != names["rctop"]
    assert names["rphone0"] == names["lphone0"] == "HT1"
    link = designators(circuit_of("plugin_coils"))
    assert link["llink"] == link["lup"] == link["llow"]


def test_a_transformer_with_its_secondaries_is_one_part():
    names = designators(circuit_of("cabin"))
    assert names["lmag"] == names["lleak"] == names["esec0"] == names["fsec1"] == "T1"


def test_a_link_in_the_place_of_a_resistor_is_no_part():
    parts = parts_of(circuit_of("tickler", audio__grid_stopper="0 ohm"))
    assert "audio.grid_stopper" not in {part.key for part in parts}
