"""Tolerances as they stand in a build: how they are written, what they mean, what is refused."""

from __future__ import annotations

import copy
import json
import pickle
import re

import pytest

from receiver_sim.schema import Build, BuildFaults, changed_build
from receiver_sim.schema.generate import build_schema_text
from receiver_sim.schema.stated import Spread, split, spread_of
from receiver_sim.schema.tolerances import tolerances

WAYS = {
    "130 pF +-10 %": ("130 pF", Spread(-0.1, 0.1, False)),
    "130 pF \u00b110%": ("130 pF", Spread(-0.1, 0.1, False)),
    "130 pF +/-10 %": ("130 pF", Spread(-0.1, 0.1, False)),
    "130pF+-10%": ("130pF", Spread(-0.1, 0.1, False)),
    "130 pF 10 %": ("130 pF", Spread(-0.1, 0.1, False)),
    "16 uF -20/+50 %": ("16 uF", Spread(-0.2, 0.5, False)),
    "16 uF -20 % +50 %": ("16 uF", Spread(-0.2, 0.5, False)),
    "128 pF measured": ("128 pF", Spread(None, None, True)),
    "128 pF +-1 % measured": ("128 pF", Spread(-0.01, 0.01, True)),
    "128 pF measured 0.5 %": ("128 pF", Spread(-0.005, 0.005, True)),
    "4k7 5 %": ("4k7", Spread(-0.05, 0.05, False)),
    "5.5 % 12.5 %": ("5.5 %", Spread(-0.125, 0.125, False)),
    "5.5 %": ("5.5 %", None),
    "150": ("150", None),
}


@pytest.mark.parametrize("text", WAYS)
def test_ways_to_state_a_tolerance(text: str) -> None:
    assert split(text) == WAYS[text]


def test_a_value_keeps_what_is_stated_of_it(demo: Build) -> None:
    """Through loading, filling in, copying and the pickles that travel to workers."""
    build = changed_build(
        demo,
        {
            "detector.grid_capacitor": "130 pF +-5 %",
            "bands[0].coil.q": "115 measured",
            "bands[1].coil.tap": "3.5 % 4 %",
        },
    )
    for one in (build, copy.deepcopy(build), pickle.loads(pickle.dumps(build))):
        assert one.detector.grid_capacitor == 130e-12
        assert spread_of(one.detector.grid_capacitor) == Spread(-0.05, 0.05, False)
        assert spread_of(one.bands[0].coil.q) == Spread(None, None, True)
        assert spread_of(one.bands[1].coil.tap) == Spread(-0.04, 0.04, False)
        assert spread_of(one.detector.grid_leak) is None
    assert spread_of(2.0 * build.detector.grid_capacitor) is None


def test_what_is_refused(demo: Build) -> None:
    for key, text, said in (
        ("regeneration.rotation", "270 deg +-5 %", "a tolerance is not covered here; write it as '270 deg'"),
        ("verdicts.onset_screen_min", "12 V 5 %", "a tolerance is not covered here; write it as '12 V'"),
        (
            "detector.grid_capacitor",
            "130 pF +-95 %",
            "its tolerance is out of range; a tolerance is at most 90 %",
        ),
        ("detector.grid_capacitor", "130 ohm +-5 %", "'ohm' is no unit of capacitance"),
    ):
        with pytest.raises(BuildFaults) as refused:
            changed_build(demo, {key: text})
        assert said in str(refused.value)


def test_editors_take_the_same_ways() -> None:
    """Guards against a schema for editors that marks a sound tolerance as a slip."""
    schema = json.loads(build_schema_text())
    leak = schema["$defs"]["Detector"]["properties"]["grid_capacitor"]["pattern"]
    for text in (
        "130 pF",
        "130 pF +-10 %",
        "130 pF \u00b110%",
        "130 pF 10 %",
        "130 pF measured",
        "130 pF -20/+50 %",
    ):
        assert re.search(leak, text), text
    assert not re.search(leak, "130 pF or so")
    turn = schema["$defs"]["Regeneration"]["properties"]["rotation"]["pattern"]
    assert not re.search(turn, "270 deg +-5 %")


def test_the_table_of_classes() -> None:
    """Each row says where it comes from, and limits hold the printed value itself."""
    table = tolerances()
    assert table["resistor"][:2] == (-0.1, 0.1) and table["mains"][:2] == (-0.1, 0.1)
    assert table["electrolytic"][:2] == (-0.2, 0.5)
    assert table["contact"].volts and not table["resistor"].volts
    for row in table.values():
        assert row.low <= 0.0 <= row.high and row.low < row.high
        assert row.source and row.flag in ("common practice", "memory-high", "memory-medium", "memory-low")
