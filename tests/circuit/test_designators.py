"""Parts and what a drawing and a parts list call them (letters: IEEE Std 315, clause 22; from memory)."""

from __future__ import annotations

import re

import pytest

from receiver_sim.builds import shipped_build
from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.designators import designators, parts_of
from receiver_sim.circuit.element import Nature
from receiver_sim.circuit.wiring_list import nets_of
from receiver_sim.receiver import cards_for
from receiver_sim.schema import changed_build
from receiver_sim.schema.supply import SettledSection, SettledSupply

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


def resistors(circuit: Circuit) -> list[str]:
    """Every resistor of a circuit that is a part by itself: no half of a track, none of a winding."""
    bought = (
        part.elements[0] for part in parts_of(circuit) if part.letters == "R" and len(part.elements) == 1
    )
    return list(bought)


@pytest.mark.parametrize("name", ("tickler", "cabin"))
@pytest.mark.parametrize("ohm", (0.11, 1.0, 10.0, 47.0, 99.0))
def test_a_resistor_of_some_ohms_is_a_part(name: str, ohm: float) -> None:
    """Decoupling, cathode and stopper resistors are met down to an ohm; a link has a tenth at most."""
    circuit = circuit_of(name)
    whole = resistors(circuit)
    assert len(whole) >= 8
    small = circuit.replace(dict.fromkeys(whole, ohm))
    assert resistors(small) == whole
    assert len(parts_of(small)) == len(parts_of(circuit))
    nets = nets_of(small)
    assert all(nets[small[one].nodes[0]] != nets[small[one].nodes[1]] for one in whole)


@pytest.mark.parametrize("ohm", (0.09, 0.1))
def test_a_resistor_of_a_tenth_of_an_ohm_is_a_wire(ohm: float) -> None:
    circuit = circuit_of("tickler")
    whole = resistors(circuit)
    linked = circuit.replace(dict.fromkeys(whole, ohm))
    assert resistors(linked) == []
    nets = nets_of(linked)
    assert all(nets[linked[one].nodes[0]] == nets[linked[one].nodes[1]] for one in whole)


def test_a_capacitor_of_nothing_is_no_part_and_half_a_track_at_its_stop_is_one():
    circuit = circuit_of("tickler")
    (coupling,) = (part.elements[0] for part in parts_of(circuit) if part.key == "audio.coupling")
    keys = [part.key for part in parts_of(circuit.replace({coupling: 0.0, "rpota": 0.1}))]
    assert "audio.coupling" not in keys and "regeneration.pot" in keys
    assert "audio.coupling" in [part.key for part in parts_of(circuit.replace({coupling: 1e-12}))]


# Letters by IEEE Std 315, clause 22 (from memory, high); words: common practice, no source.
CALLED = {
    "aerial": ("E", "aerial"),
    "aerial.coupling": ("C", "aerial coupling capacitor"),
    "bands[0].coil": ("L", "plug-in coil"),
    "tuning": ("C", "tuning capacitor"),
    "detector.grid_capacitor": ("C", "grid capacitor"),
    "detector.grid_leak": ("R", "grid leak"),
    "detector.tube": ("V", "detector tube"),
    "detector.rf_filter.plate_capacitor": ("C", "RF filter capacitor"),
    "detector.rf_filter.choke": ("L", "RF choke"),
    "detector.rf_filter.output_capacitor": ("C", "RF filter capacitor"),
    "regeneration.top": ("R", "resistor above the control"),
    "regeneration.pot": ("R", "regeneration control"),
    "regeneration.bottom": ("R", "resistor below the control"),
    "regeneration.stopper": ("R", "resistor to the screen"),
    "regeneration.bypass": ("C", "screen bypass"),
    "detector.load.resistance": ("R", "plate load"),
    "audio.coupling": ("C", "coupling capacitor"),
    "audio.volume.pot": ("R", "volume control"),
    "audio.grid_stopper": ("R", "grid stopper of the audio stage"),
    "audio.tube": ("V", "tube of the audio stage"),
    "audio.cathode_resistor": ("R", "cathode resistor"),
    "audio.cathode_bypass": ("C", "cathode bypass"),
    "audio.decoupling.resistor": ("R", "decoupling resistor"),
    "audio.decoupling.capacitor": ("C", "decoupling capacitor"),
    "audio.output.inductance": ("L", "output choke"),
    "phones[0].capacitor": ("C", "phones' capacitor"),
    "phones[0].drain": ("R", "drain of the phones' capacitor"),
    "phones[0]": ("HT", "phones"),
    "regulator.dropper": ("R", "dropper of the regulator"),
    "regulator.volts": ("VR", "regulator"),
    "supply.volts": ("PS", "plate supply"),
    "supply.bleeder": ("R", "bleeder"),
    "heater.volts": ("PS", "heater winding"),
    "heater.hum_pot": ("R", "hum pot"),
}
"""Of the shipped set with a tickler, in the order of the signal, then regulator, supply and heaters."""


def test_every_part_is_called_by_its_letter_and_its_name_in_the_order_of_the_signal():
    found = {part.key: (part.letters, part.word) for part in parts_of(circuit_of("tickler"))}
    assert found == CALLED
    assert list(found) == list(CALLED)


@pytest.mark.parametrize(
    ("name", "key", "letters", "word"),
    [
        ("cabin", "audio.output", "T", "output transformer"),
        ("plugin_coils", "aerial.wire", "E", "aerial"),
        ("plugin_coils", "detector.load.inductance", "L", "plate-load choke"),
        ("plugin_coils", "detector.load.shunt", "R", "shunt of the plate load"),
        ("rf_stage", "rf_stage.input.inductance", "L", "grid choke of the r.f. stage"),
        ("rf_stage", "rf_stage.tube", "V", "tube of the r.f. stage"),
        ("rf_stage", "rf_stage.gain.pot", "R", "gain control of the r.f. stage"),
        ("rf_stage", "rf_stage.screen.resistor", "R", "screen resistor of the r.f. stage"),
        ("rf_stage", "rf_stage.coupling", "C", "coupling capacitor of the r.f. stage"),
        ("rf_stage", "supply.capacitor", "C", "supply capacitor"),
    ],
)
def test_parts_of_other_forms_are_called_by_their_names(name: str, key: str, letters: str, word: str) -> None:
    (part,) = (part for part in parts_of(circuit_of(name)) if part.key == key)
    assert (part.letters, part.word) == (letters, word)


def test_an_rf_stage_stands_between_the_aerial_and_the_coil():
    keys = [part.key for part in parts_of(circuit_of("rf_stage"))]
    assert keys[0].startswith("aerial")
    order = (
        "rf_stage.input.inductance", "rf_stage.tube", "rf_stage.plate.inductance", "bands[0].coil",
        "detector.tube",
    )  # fmt: skip
    places = [keys.index(key) for key in order]
    assert places == sorted(places)


def test_a_rectifier_supply_has_a_transformer_chokes_and_capacitors_of_its_filter():
    """Settled by hand, so that nothing has to be run: a choke section behind a resistor section."""
    build = shipped_build("mains_set")
    sections = tuple(
        SettledSection(resistance=ohm, inductance=henry, capacitor=16e-6, series_resistance=1.0)
        for ohm, henry in ((470.0, 0.0), (210.0, 12.0))
    )
    supply = SettledSupply.model_construct(
        kind="dc", volts=240.0, resistance=150.0, ripple=0.0, ripple_frequency=100.0,
        bleeder=82e3, sections=sections, harmonics=(), peak_volts=340.0,
    )  # fmt: skip
    settled = build.model_copy(update={"supply": supply})
    band = settled.bands[0]
    circuit = receiver_circuit(settled, cards_for(settled), band=band, dial_hz=band.from_, rotation=0.4)
    found = [(part.letters, part.word) for part in parts_of(circuit) if "filter[" in part.key]
    assert sorted(found) == [
        ("C", "filter capacitor"), ("C", "filter capacitor"), ("L", "filter choke"), ("R", "filter resistor"),
    ]  # fmt: skip
    (winding,) = (part for part in parts_of(circuit) if part.key.startswith("supply.secondary"))
    assert (winding.letters, winding.word) == ("T", "mains transformer")


def test_a_link_in_the_place_of_a_resistor_is_no_part():
    parts = parts_of(circuit_of("tickler", audio__grid_stopper="0 ohm"))
    assert "audio.grid_stopper" not in {part.key for part in parts}
