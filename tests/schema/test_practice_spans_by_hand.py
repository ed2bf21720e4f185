"""What is asked about: figures that sets of the trade have, and slips of one prefix or one zero, by row.

Usual figures and what a slip does: common practice, no source. A span may move between a usual figure and a
slip, which lie a factor of some three apart, but not past either.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from receiver_sim.builds import shipped_build
from receiver_sim.schema import Build, changed_build, practice
from receiver_sim.schema.quantity import (
    CAPACITANCE,
    DECIBEL,
    INDUCTANCE,
    NUMBER,
    PERCENTAGE,
    RESISTANCE,
    VOLTAGE,
    parse_quantity,
)

NEXT_TO_NONE, TREBLE = "the screen gets next to no volts", "it cuts the treble"
LITTLE, BASS = "little sound gets through", "bass and gain are lost"

USUAL: dict[str, tuple[Any, str, str, str, str]] = {
    # key and kind: dimension, a slip below, least and most that is met, a slip above; '' for none
    "supply.volts": (VOLTAGE, "9 V", "22.5 V", "400 V", "600 V"),
    "supply.resistance": (RESISTANCE, "", "0 ohm", "22 kohm", "150 kohm"),
    "supply.bleeder": (RESISTANCE, "2.2 kohm", "10 kohm", "470 kohm", "2.2 Mohm"),
    "supply.filter[].capacitor": (CAPACITANCE, "0.25 uF", "1 uF", "470 uF", "2.2 mF"),
    "supply.filter[].choke": (INDUCTANCE, "0.5 H", "3 H", "30 H", "100 H"),
    "supply.filter[].resistor": (RESISTANCE, "10 ohm", "47 ohm", "47 kohm", "220 kohm"),
    "heater.hum_pot": (RESISTANCE, "4.7 ohm", "20 ohm", "1 kohm", "4.7 kohm"),
    "regulator.dropper": (RESISTANCE, "100 ohm", "470 ohm", "100 kohm", "470 kohm"),
    "regeneration.pot": (RESISTANCE, "470 ohm", "2 kohm", "1 Mohm", "4.7 Mohm"),
    "regeneration.top": (RESISTANCE, "", "0 ohm", "1 Mohm", "4.7 Mohm"),
    "regeneration.bottom": (RESISTANCE, "", "0 ohm", "220 kohm", "1 Mohm"),
    "regeneration.minimum": (CAPACITANCE, "0.5 pF", "3 pF", "50 pF", "220 pF"),
    "regeneration.maximum": (CAPACITANCE, "5 pF", "30 pF", "1 nF", "3.3 nF"),
    "regeneration.stopper": (RESISTANCE, "", "0 ohm", "470 kohm", "2.2 Mohm"),
    "regeneration.bypass": (CAPACITANCE, "470 pF", "2 nF", "20 uF", "100 uF"),
    "detector.grid_leak": (RESISTANCE, "15 kohm", "100 kohm", "10 Mohm", "47 Mohm"),
    "detector.grid_capacitor": (CAPACITANCE, "5 pF", "20 pF", "1 nF", "5 nF"),
    "detector.rf_filter.choke": (INDUCTANCE, "25 uH", "100 uH", "80 mH", "250 mH"),
    "detector.rf_filter.plate_capacitor": (CAPACITANCE, "", "0 F", "1 nF", "5 nF"),
    "detector.rf_filter.output_capacitor": (CAPACITANCE, "", "0 F", "5 nF", "22 nF"),
    "detector.load.inductance choke": (INDUCTANCE, "2.5 H", "10 H", "1000 H", "3000 H"),
    "detector.load.resistance choke": (RESISTANCE, "10 ohm", "47 ohm", "10 kohm", "68 kohm"),
    "detector.load.shunt choke": (RESISTANCE, "10 kohm", "47 kohm", "2.2 Mohm", "10 Mohm"),
    "detector.load.resistance resistor": (RESISTANCE, "4.7 kohm", "22 kohm", "1 Mohm", "4.7 Mohm"),
    "detector.load.primary_inductance transformer": (INDUCTANCE, "1 H", "5 H", "250 H", "1000 H"),
    "detector.load.ratio transformer": (NUMBER, "0.25", "1", "6", "25"),
    "detector.strays.grid": (CAPACITANCE, "", "0 F", "25 pF", "100 pF"),
    "audio.coupling": (CAPACITANCE, "220 pF", "1 nF", "2 uF", "10 uF"),
    "audio.grid_resistor": (RESISTANCE, "22 kohm", "100 kohm", "4.7 Mohm", "22 Mohm"),
    "audio.grid_stopper": (RESISTANCE, "", "0 ohm", "220 kohm", "1 Mohm"),
    "audio.grid_leak": (RESISTANCE, "220 kohm", "1 Mohm", "10 Mohm", "47 Mohm"),
    "audio.grid_capacitor": (CAPACITANCE, "220 pF", "1 nF", "2 uF", "10 uF"),
    "audio.cathode_resistor": (RESISTANCE, "22 ohm", "100 ohm", "15 kohm", "68 kohm"),
    "audio.cathode_bypass": (CAPACITANCE, "100 nF", "0.5 uF", "1 mF", "4.7 mF"),
    "audio.screen.resistor": (RESISTANCE, "", "0 ohm", "2.2 Mohm", "10 Mohm"),
    "audio.screen.bypass": (CAPACITANCE, "4.7 nF", "20 nF", "100 uF", "470 uF"),
    "audio.decoupling.resistor": (RESISTANCE, "22 ohm", "100 ohm", "47 kohm", "220 kohm"),
    "audio.decoupling.capacitor": (CAPACITANCE, "47 nF", "250 nF", "470 uF", "2.2 mF"),
    "audio.volume.pot": (RESISTANCE, "10 kohm", "47 kohm", "2.2 Mohm", "10 Mohm"),
    "audio.volume.capacitor": (CAPACITANCE, "4.7 nF", "22 nF", "22 uF", "100 uF"),
    "audio.first.coupling": (CAPACITANCE, "220 pF", "1 nF", "2 uF", "10 uF"),
    "audio.first.plate_resistor": (RESISTANCE, "2.2 kohm", "10 kohm", "1 Mohm", "4.7 Mohm"),
    "audio.first.grid_leak": (RESISTANCE, "220 kohm", "1 Mohm", "10 Mohm", "47 Mohm"),
    "audio.first.grid_capacitor": (CAPACITANCE, "220 pF", "1 nF", "2 uF", "10 uF"),
    "audio.first.cathode_resistor": (RESISTANCE, "22 ohm", "100 ohm", "47 kohm", "220 kohm"),
    "audio.first.cathode_bypass": (CAPACITANCE, "100 nF", "0.5 uF", "1 mF", "4.7 mF"),
    "audio.first.screen.resistor": (RESISTANCE, "", "0 ohm", "2.2 Mohm", "10 Mohm"),
    "audio.first.screen.bypass": (CAPACITANCE, "2.2 nF", "10 nF", "100 uF", "470 uF"),
    "audio.first.decoupling.resistor": (RESISTANCE, "22 ohm", "100 ohm", "100 kohm", "470 kohm"),
    "audio.first.decoupling.capacitor": (CAPACITANCE, "47 nF", "250 nF", "470 uF", "2.2 mF"),
    "audio.output.inductance choke": (INDUCTANCE, "0.5 H", "2 H", "150 H", "680 H"),
    "audio.output.resistance choke": (RESISTANCE, "4.7 ohm", "22 ohm", "4.7 kohm", "22 kohm"),
    "audio.output.resistance resistor": (RESISTANCE, "470 ohm", "2.2 kohm", "470 kohm", "2.2 Mohm"),
    "audio.output.primary_inductance transformer": (INDUCTANCE, "0.5 H", "2 H", "150 H", "680 H"),
    "audio.output.primary_resistance transformer": (RESISTANCE, "4.7 ohm", "22 ohm", "4.7 kohm", "22 kohm"),
    "audio.output.leakage transformer": (INDUCTANCE, "", "0 H", "1 H", "4.7 H"),
    "audio.output.secondaries[].ratio transformer": (NUMBER, "0.001", "0.01", "1", "5"),
    "phones[].capacitor": (CAPACITANCE, "4.7 nF", "20 nF", "25 uF", "100 uF"),
    "phones[].drain": (RESISTANCE, "4.7 kohm", "22 kohm", "2.2 Mohm", "10 Mohm"),
    "phones[].resistance": (RESISTANCE, "1 ohm", "4 ohm", "100 kohm", "470 kohm"),
    "phones[].inductance": (INDUCTANCE, "", "0 H", "10 H", "47 H"),
    "phones[].capacitance": (CAPACITANCE, "", "0 F", "10 nF", "47 nF"),
    "phones[].sensitivity": (DECIBEL, "60 dB", "80 dB", "115 dB", "135 dB"),
    "tuning.maximum": (CAPACITANCE, "5 pF", "15 pF", "1 nF", "3.3 nF"),
    "tuning.minimum": (CAPACITANCE, "0.5 pF", "3 pF", "50 pF", "220 pF"),
    "tuning.stray": (CAPACITANCE, "0.5 pF", "3 pF", "40 pF", "150 pF"),
    "aerial.coupling": (CAPACITANCE, "0.1 pF", "0.5 pF", "100 pF", "330 pF"),
    "bands[].coil.q": (NUMBER, "10", "40", "400", "1000"),
    "bands[].coil.tap": (PERCENTAGE, "0.1 %", "1 %", "33 %", "50 %"),
}

EFFECT: dict[str, tuple[str, str]] = {
    "supply.volts": ("hardly conduct", "do not stand it"),
    "supply.bleeder": ("burns more", "minutes to discharge"),
    "supply.filter[].capacitor": ("hum gets through", "rectifier is overloaded"),
    "supply.filter[].choke": ("hum gets through", "few chokes have so much"),
    "supply.filter[].resistor": ("filters nothing", "drops most of the volts"),
    "heater.hum_pot": ("loads the heater winding", "nearly free of ground"),
    "regulator.dropper": ("takes too much current", "gets too little current"),
    "regeneration.pot": ("drains the supply", "its law is lost"),
    "regeneration.top": ("", NEXT_TO_NONE),
    "regeneration.bottom": ("", "cannot be brought down"),
    "regeneration.stopper": ("", NEXT_TO_NONE),
    "regeneration.bypass": ("not grounded", "answers slowly"),
    "detector.grid_leak": ("deaf", "may squegg"),
    "detector.grid_capacitor": ("little of the carrier", "cuts the treble and may squegg"),
    "detector.rf_filter.choke": ("r.f. gets into the audio", "self-capacitance"),
    "detector.rf_filter.plate_capacitor": ("", TREBLE),
    "detector.rf_filter.output_capacitor": ("", TREBLE),
    "detector.load.inductance choke": (BASS, "few chokes have so much"),
    "detector.load.resistance choke": ("few windings have so little", "takes the plate's volts"),
    "detector.load.shunt choke": ("takes the gain", "tames nothing"),
    "detector.load.resistance resistor": ("gain is lost", "the plate gets next to no volts"),
    "detector.load.primary_inductance transformer": (BASS, "few transformers have so much"),
    "detector.load.ratio transformer": ("steps down", "treble is lost"),
    "detector.strays.grid": ("", "does not reach the band"),
    "audio.coupling": (LITTLE, "leaky capacitor upset the bias"),
    "audio.grid_resistor": ("loads the stage ahead", "grid current upsets the bias"),
    "audio.grid_stopper": ("", TREBLE),
    "audio.grid_leak": ("there is no bias", "blocks the tube"),
    "audio.grid_capacitor": (LITTLE, "blocks on loud signals"),
    "audio.cathode_resistor": ("next to no bias", "nearly cut off"),
    "audio.cathode_bypass": ("loses gain", "settles slowly"),
    "audio.screen.resistor": ("", NEXT_TO_NONE),
    "audio.screen.bypass": ("gain is lost", "charges slowly"),
    "audio.decoupling.resistor": ("decouples nothing", "takes the plate's volts"),
    "audio.decoupling.capacitor": ("decouples nothing", "charges slowly"),
    "audio.volume.pot": ("loads the stage ahead", "its capacitances cut the treble"),
    "audio.first.plate_resistor": ("gain is lost", "the plate gets next to no volts"),
    "audio.first.cathode_resistor": ("next to no bias", "nearly cut off"),
    "audio.output.inductance choke": ("bass and power are lost", "few chokes have so much"),
    "audio.output.resistance choke": ("few windings have so little", "takes the plate's volts"),
    "audio.output.resistance resistor": ("gain is lost", "the plate gets next to no volts"),
    "audio.output.leakage transformer": ("", TREBLE),
    "audio.output.secondaries[].ratio transformer": ("nearly all volts are lost", "steps up"),
    "phones[].capacitor": (LITTLE, "larger than any ear needs"),
    "phones[].drain": ("takes the sound", "lifts the lead all the same"),
    "phones[].capacitance": ("", TREBLE),
    "phones[].sensitivity": ("so deaf", "so loud"),
    "tuning.maximum": ("covers little", "few capacitors have so much"),
    "tuning.minimum": ("goes so low", "covers little"),
    "tuning.stray": ("no wiring has so little", "does not reach the band"),
    "aerial.coupling": ("next to no signal", "takes the Q and the oscillation"),
    "bands[].coil.q": ("so poor", "so good"),
    "bands[].coil.tap": ("next to no feedback", "more feedback than any tube needs"),
}
"""What a figure below does, and one above."""


def name(row: practice.Row) -> str:
    return f"{row.key} {row.kind}".strip()


def span(row: practice.Row) -> tuple[Any, float, float]:
    dimension = USUAL[name(row)][0]
    return dimension, parse_quantity(row.low, dimension), parse_quantity(row.high, dimension)


def test_every_row_is_held_and_none_is_gone() -> None:
    assert [name(row) for row in practice.rows()] == list(USUAL)
    assert set(EFFECT) <= set(USUAL)


@pytest.mark.parametrize("row", practice.rows(), ids=name)
def test_usual_figures_lie_within_a_span_and_slips_without(row: practice.Row) -> None:
    dimension, low, high = span(row)
    texts = USUAL[name(row)][1:]
    slip_below, least, most, slip_above = (parse_quantity(t, dimension) if t else None for t in texts)
    assert least is not None and most is not None and slip_above is not None
    assert low <= least < most <= high < slip_above
    if slip_below is None:
        assert low == 0.0 and row.below == ""
    else:
        assert slip_below < low
    for text, due in zip((row.below, row.above), EFFECT.get(name(row), ("", "")), strict=True):
        assert due in text


# ---------------------------------------------------------------------------- the question


def asked(build: Build, changes: dict[str, Any]) -> list[str]:
    return [text for text in changed_build(build, changes).warnings if "Is this meant?" in text]


def test_a_span_from_nothing_is_said_by_its_top(demo: Build) -> None:
    """No figure can lie below 0 ohm."""
    assert asked(demo, {"audio.grid_stopper": "1 Mohm"}) == [
        "audio.grid_stopper: 1 Mohm lies far above what is usual for the grid stopper of the audio stage (up "
        "to 470 kohm; common practice, no source): it cuts the treble. Is this meant?"
    ]


def test_a_figure_of_one_of_several_is_asked_about_at_its_own_place(demo: Build) -> None:
    (found,) = asked(demo, {"bands[1].coil.q": 20})
    assert found.startswith("bands[1].coil.q: 20 lies far below what is usual for the Q of the tank (25 to 5")


def test_a_row_of_one_kind_does_not_ask_about_another() -> None:
    """A winding of 20 ohm to 30 kohm is usual in a plate choke; a plate resistor of 5 kohm is not."""
    row, other = (r for r in practice.rows() if r.key == "detector.load.resistance")
    assert (row.kind, other.kind) == ("choke", "resistor")
    build = changed_build(
        shipped_build("demo"), {"detector.load": {"kind": "resistor", "resistance": "5 kohm"}}
    )
    assert list(practice._figures(build, row)) == []
    ((place, value, dimension),) = practice._figures(build, other)
    assert (place, value, dimension) == ("detector.load.resistance", 5e3, RESISTANCE)


def test_the_kind_of_a_winding_is_that_of_its_transformer() -> None:
    row = practice.Row("audio.output.secondaries[].ratio", "transformer", "0.003", "2", "x", "y", "z")
    output = SimpleNamespace(kind="transformer")
    build: Any = SimpleNamespace(audio=SimpleNamespace(output=output))
    assert practice._kind(build, row, SimpleNamespace(kind="winding")) == "transformer"
    # without an audio stage, and for all else, the part's own
    assert practice._kind(SimpleNamespace(audio=None), row, SimpleNamespace(kind="winding")) == "winding"  # type: ignore[arg-type]
    assert practice._kind(build, practice.rows()[0], SimpleNamespace()) == ""
