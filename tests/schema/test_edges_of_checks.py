"""Checks between keys, each turned at its very edge: what just fails, and what just passes."""

from __future__ import annotations

from functools import cache
from typing import Any

import pytest

from receiver_sim import builds
from receiver_sim.schema import BuildFaults, changed_build

shipped_build = cache(builds.shipped_build)

VOLUME = {"pot": "470 kohm", "law": "log", "setting": "80 %"}
AT_PLATE = {"name": "headset", "at": "plate", "capacitor": "0.5 uF", "resistance": "2 kohm"}
IN_LEAD = {"name": "headset", "at": "load", "resistance": "2 kohm"}
FILTER = [{"capacitor": "12 uF"}, {"choke": "9 H", "choke_resistance": "290 ohm", "capacitor": "24 uF"}]
TWO = [{"name": "80 m", "from": "3.5 MHz", "to": "3.8 MHz", "coil": {"inductance": "15 uH", "q": 135,
        "tap": "2.4 %"}}, {"name": "40 m", "from": "7 MHz", "to": "7.2 MHz", "coil": {"inductance": "5.6 uH",
        "q": 150, "tap": "3.8 %"}}]  # fmt: skip


def renamed(first: str, second: str) -> list[dict[str, Any]]:
    return [{**TWO[0], "name": first}, {**TWO[1], "name": second}]


def at(build: str, changes: dict[str, Any]) -> list[str]:
    """Return the keys of a shipped build with changes at which there is a fault."""
    try:
        changed_build(shipped_build(build), changes)
    except BuildFaults as found:
        return [fault.key for fault in found.faults]
    return []


THROTTLED = [{**one, "coil": {**one["coil"], "tap": None, "tickler": {"inductance": "1 uH", "coupling": 0.2}}}
             for one in TWO]  # fmt: skip
for _one in THROTTLED:
    del _one["coil"]["tap"]

EDGES = [
    # a shunt regulator needs volts to drop
    ("demo", {"supply.volts": "108 V"}, ["regulator.volts"]),
    ("demo", {"supply.volts": "108.1 V"}, []),
    # the tickler is what the throttle stands behind, on every band
    ("throttle", {"bands": [TWO[0], THROTTLED[1]]}, ["bands[0].coil", "bands[0].coil.tickler"]),
    ("throttle", {"bands": [THROTTLED[0], TWO[1]]}, ["bands[1].coil", "bands[1].coil.tickler"]),
    ("throttle", {"bands": THROTTLED}, []),
    ("throttle", {"regeneration.minimum": "90 pF"}, ["regeneration.maximum"]),
    ("throttle", {"regeneration.bypass": "0.1 uF"}, ["regeneration.bypass"]),
    # a track's value at half rotation goes with its law
    ("demo", {"regeneration.law": "antilog", "regeneration.mid": "40 %"}, ["regeneration.mid"]),
    ("demo", {"regeneration.law": "antilog", "regeneration.mid": "60 %"}, []),
    ("demo", {"regeneration.law": "log", "regeneration.mid": "60 %"}, ["regeneration.mid"]),
    ("demo", {"regeneration.law": "log", "regeneration.mid": "40 %"}, []),
    ("demo", {"regeneration.law": "linear", "regeneration.mid": "51 %"}, ["regeneration.mid"]),
    ("demo", {"audio.volume.law": "log", "audio.volume.mid": "55 %"}, ["audio.volume.mid"]),
    # '40 M' and '40 m' would be one to whoever types the name
    ("demo", {"bands": renamed("40 M", "40 m")}, ["bands[1].name"]),
    ("demo", {"bands": renamed("40 m", "41 m")}, []),
    ("cabin", {"audio.output.secondaries[0].name": "Load"},
     ["audio.output.secondaries[0].name", "phones[0].at"]),
    # a capacitor meshes from minimum to maximum
    ("demo", {"tuning.maximum": "9 pF"}, ["tuning.maximum"]),
    ("demo", {"bands[0].to": "1.8 MHz"}, ["bands[0].to"]),
    # only the first section of a filter may have nothing in series
    ("mains_set", {"supply.filter": [*FILTER, {"capacitor": "24 uF"}]}, ["supply.filter[2].resistor"]),
    ("mains_set", {"supply.filter": [FILTER[0], {"capacitor": "24 uF"}]}, ["supply.filter[1].resistor"]),
    ("mains_set", {"supply.filter": [{**FILTER[1], "resistor": "1 kohm"}]}, ["supply.filter[0].choke"]),
    ("mains_set", {"supply.filter": FILTER}, []),
    ("one_tube", {"supply.end_volts": "63 V"}, ["supply.end_volts"]),
    ("one_tube", {"supply.end_volts": "62.9 V"}, []),
    # every grid behind a capacitor has its resistor, every plate its capacitor
    ("demo", {"audio.volume": None}, ["audio.grid_resistor"]),
    ("demo", {"audio.volume": {**VOLUME, "place": "after", "capacitor": "0.5 uF"}}, ["audio.grid_resistor"]),
    ("demo", {"audio.volume": {**VOLUME, "place": "after"}, "audio.grid_resistor": "1 Mohm"},
     ["audio.volume.capacitor"]),
    ("demo", {"audio.coupling": None}, ["audio.coupling"]),
    ("demo", {"audio.cathode_resistor": None}, ["audio.cathode_resistor"]),
    ("demo", {"phones[0].capacitor": None}, ["phones[0].capacitor"]),
    ("demo", {"phones": [{**AT_PLATE, "capacitor": None, "name": "one"}, AT_PLATE]}, ["phones[0].capacitor"]),
    ("demo", {"phones": [AT_PLATE, {**AT_PLATE, "capacitor": None, "name": "two"}]}, ["phones[1].capacitor"]),
    ("demo", {"phones": [IN_LEAD]}, ["phones[0].at"]),
    ("demo", {"phones[0].at": "volume"}, ["phones[0].at"]),
    # phones in the plate lead carry its current: nothing blocks or drains it
    ("one_tube", {"phones": [{**IN_LEAD, "drain": "330 kohm"}]}, ["phones[0].drain"]),
    ("one_tube", {"phones": [{**IN_LEAD, "capacitor": "0.5 uF"}]}, ["phones[0].capacitor"]),
    ("one_tube", {"phones": [IN_LEAD, {**IN_LEAD, "name": "second"}]}, ["detector.load.kind"]),
    ("one_tube", {"phones": [AT_PLATE]}, ["detector.load.kind"]),
    # a tuned r.f. stage has a coil on every band, an untuned one on none
    ("rf_stage", {"bands[1].rf_coil": {"inductance": "5.4 uH", "q": 120}}, ["bands[1].rf_coil"]),
    ("rf_stage", {"rf_stage.input": {"kind": "tuned"}}, ["bands[0].rf_coil", "bands[1].rf_coil"]),
    ("rf_stage", {"rf_stage.coupling": None}, ["rf_stage.coupling"]),
    # 10.25 turns of 0.4 mm in 0.05 mm of enamel, 0.9 mm apart, on 32 mm: 32.45 mm wide and 9.225 mm long
    ("plugin_coils", {"bands[2].coil.winding.tap": 5.13}, ["bands[2].coil.winding.tap"]),
    ("plugin_coils", {"bands[2].coil.winding.tap": 5.12}, []),
    ("plugin_coils", {"bands[2].coil.winding.pitch": "0.44 mm"}, ["bands[2].coil.winding.pitch"]),
    ("plugin_coils", {"bands[2].coil.winding.pitch": "0.45 mm"}, []),
    ("plugin_coils", {"bands[2].coil.can": {"diameter": "32.4 mm", "height": "40 mm"}},
     ["bands[2].coil.can.diameter"]),
    ("plugin_coils", {"bands[2].coil.can": {"diameter": "70 mm", "height": "9.2 mm"}},
     ["bands[2].coil.can.height"]),
    # 36.5 turns close-wound of 0.25 mm in 0.05 mm: half of their 10.95 mm above the floor
    ("plugin_coils", {"bands[0].coil.can": {"diameter": "70 mm", "height": "40 mm", "rise": "5.4 mm"}},
     ["bands[0].coil.can.height"]),
    ("plugin_coils", {"bands[0].coil.can": {"diameter": "70 mm", "height": "40 mm", "rise": "5.5 mm"}}, []),
    ("plugin_coils", {"bands[2].coil.can": {"diameter": "70 mm", "height": "40 mm", "rise": "35.4 mm"}},
     ["bands[2].coil.can.height"]),
    ("plugin_coils", {"bands[2].coil.can": {"diameter": "70 mm", "height": "40 mm", "rise": "35.3 mm"}}, []),
    # the formula of a comb ends at wires of 0.3 of their spacing; no shield adds capacitance
    ("plugin_coils", {"bands[2].coil.link.shield.wire": "0.55 mm"}, ["bands[2].coil.link.shield.wire"]),
    ("plugin_coils", {"bands[2].coil.link.shield.wire": "0.54 mm"}, []),
    ("plugin_coils", {"bands[1].coil.link.shield.capacitance": "1.01 pF"},
     ["bands[1].coil.link.shield.capacitance"]),
    ("plugin_coils", {"bands[1].coil.link.shield.capacitance": "0.99 pF"}, []),
    ("demo", {"bands[1].padding": {"bandspread_series": "20 pF"}}, ["bands[1].padding.bandspread_series"]),
]  # fmt: skip


def _without_nothing(value: Any) -> Any:
    """Return a mapping without keys that stand for nothing; a change to None takes a key out."""
    if isinstance(value, dict):
        return {key: _without_nothing(held) for key, held in value.items() if held is not None}
    return [_without_nothing(one) for one in value] if isinstance(value, list) else value


@pytest.mark.parametrize(("build", "changes", "keys"), EDGES, ids=lambda v: str(v)[:60])
def test_a_check_turns_at_its_edge(build: str, changes: dict[str, Any], keys: list[str]) -> None:
    assert sorted(at(build, {key: _without_nothing(value) for key, value in changes.items()})) == sorted(keys)


def warned(build: str, changes: dict[str, Any]) -> str:
    return " | ".join(changed_build(shipped_build(build), changes).warnings)


@pytest.mark.parametrize(
    ("build", "changes", "words", "said"),
    [
        ("demo", {"regulator.strike": "191 V"}, "it will not light", True),
        ("demo", {"regulator.strike": "189 V"}, "it will not light", False),
        ("demo", {"supply.bleeder": None}, "no bleeder", True),
        ("demo", {}, "no bleeder", False),
        ("one_tube", {}, "no bleeder", False),
        ("one_tube", {"supply.capacitor": "8 uF"}, "no bleeder", True),
        ("demo", {"phones[0].drain": None}, "once the plug is pulled", True),
        ("demo", {"phones[0].drain": None, "phones[0].state": "open"}, "headset': open, with no drain", True),
        ("demo", {}, "no drain", False),
        ("one_tube", {}, "no drain", False),
        ("one_tube", {}, "carry the PLATE SUPPLY", True),
        ("demo", {}, "carry the PLATE SUPPLY", False),
        ("throttle", {}, "stands at PLATE POTENTIAL", True),
        ("demo", {}, "stands at PLATE POTENTIAL", False),
        ("throttle", {"detector.rf_filter.plate_capacitor": "50 pF"}, "it is across the throttle", True),
        ("throttle", {"detector.rf_filter.plate_capacitor": "0 pF"}, "it is across the throttle", False),
    ],
)  # fmt: skip
def test_a_warning_is_given_where_it_is_due(
    build: str, changes: dict[str, Any], words: str, said: bool
) -> None:
    assert (words in warned(build, changes)) is said


def test_a_bandspread_capacitor_counts_open_with_an_open_main_one() -> None:
    """15 uH: 3.5 MHz asks for 137.9 pF and 3.8 MHz for 116.9 (1/(4 pi^2 f^2 L)). Across the coil lie 14 pF of
    strays, 10 pF for the tube (the program's figure), 3.3 pF of aerial coupling and both capacitors: with 80
    to 90 pF and 8 to 30 pF, 115.3 to 147.3 pF reach both ends. Were the small one counted the other way
    round, 137.3 to 125.3 pF would reach neither.
    """
    tuned = {"tuning.minimum": "80 pF", "tuning.maximum": "90 pF"}
    small = {"minimum": "8 pF", "maximum": "30 pF", "law": "capacitance", "rotation": "180 deg"}
    reached = warned("demo", {**tuned, "tuning.bandspread": small, "bands": TWO[:1]})
    assert "the dial does not reach it" not in reached
    alone = warned("demo", {**tuned, "bands": TWO[:1]})
    assert "3.5 MHz needs" in alone and "3.8 MHz needs" not in alone
