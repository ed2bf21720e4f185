"""Figures far outside practice are asked about, at the key and with the figure, and usual ones are not."""

import re
from pathlib import Path
from typing import Any

import pytest

from receiver_sim.builds import shipped_build, shipped_builds
from receiver_sim.schema import Build, changed_build, load_build, practice
from receiver_sim.schema.quantity import format_quantity, parse_quantity
from receiver_sim.schema.validated import keys_of, shape_of

STARTER = Path(practice.__file__).with_name("starter.yaml")
QUESTION = re.compile(
    r"(?P<key>\S+): (?P<value>[^:]+) lies far (?P<side>below|above) what is usual for the (?P<what>.+) "
    r"\((?:up to )?.+; common practice, no source\): .+\. Is this meant\?"
)


def asked(build: Build) -> list[str]:
    return [text for text in build.warnings if "Is this meant?" in text]


def test_two_gross_mistakes_of_the_audio_part_are_asked_about(demo: Build) -> None:
    """Guards against 10 pF of coupling and a cathode resistor of 2.7 ohm that got 'good'."""
    slips = {"audio.coupling": "10 pF", "audio.cathode_resistor": "2.7 ohm"}
    assert asked(changed_build(demo, slips)) == [
        "audio.coupling: 10 pF lies far below what is usual for the coupling capacitor from the detector "
        "(500 pF to 4.7 uF; common practice, no source): little sound gets through. Is this meant?",
        "audio.cathode_resistor: 2.7 ohm lies far below what is usual for the cathode resistor of the audio "
        "stage (47 ohm to 33 kohm; common practice, no source): there is next to no bias: the grid draws "
        "current and the tube runs hot. Is this meant?",
    ]


def test_builds_that_ship_are_not_asked_about() -> None:
    for name in shipped_builds():
        assert asked(shipped_build(name)) == []
    assert asked(load_build(STARTER)) == []


@pytest.fixture(scope="module")
def builds() -> list[Build]:
    """Builds that between them have every part of the table."""
    demo, mains = shipped_build("demo"), shipped_build("mains_set")
    first = {
        "tube": "6AU6", "bias": "grid_leak", "grid_leak": 4.7e6, "grid_capacitor": 1e-8,
        "cathode_resistor": 2200.0, "cathode_bypass": 1e-5, "plate_resistor": 1e5, "coupling": 1e-8,
        "screen": {"resistor": 1e6, "bypass": 1e-7}, "decoupling": {"resistor": 1e4, "capacitor": 1e-5},
    }  # fmt: skip
    leak = {"audio.bias": "grid_leak", "audio.grid_leak": 4.7e6, "audio.grid_capacitor": 1e-8}
    resistor = {"kind": "resistor", "resistance": 3e4}
    place = {"audio.volume.place": "after", "audio.volume.capacitor": 1e-7, "audio.grid_resistor": 470e3}
    return [
        changed_build(demo, {"regulator": None}),  # a regulator bounds the supply
        demo,
        changed_build(shipped_build("throttle"), {"regeneration.maximum": "900 pF"}),
        mains,
        changed_build(demo, {"audio.first": first, "audio.grid_resistor": 470e3, **leak}),
        changed_build(demo, {"audio.output": resistor, "detector.load": {**resistor, "resistance": 2e5}}),
        changed_build(demo, place),
        load_build(STARTER),
    ]


def places(builds: list[Build], row: practice.Row) -> tuple[Build, str, float, Any]:
    """Return a build with the figure of a row in it, its key path, its value and the mark of its field."""
    for build in builds:
        for place, value, _ in practice._figures(build, row):
            if value is not None:
                part: Any = build
                *steps, last = re.findall(r"[a-z_]+|\d+", place)
                for step in steps:
                    part = part[int(step)] if step.isdigit() else getattr(part, step)
                field = keys_of(type(part))[last]
                return build, place, value, shape_of(field.annotation, field.metadata).mark
    raise AssertionError(f"no build of the test has {row.key}")


@pytest.mark.parametrize("row", practice.rows(), ids=[f"{r.key}{r.kind}" for r in practice.rows()])
def test_each_row_asks_outside_its_span_and_nowhere_else(builds: list[Build], row: practice.Row) -> None:
    """Just outside either end the key, the figure and the side are named; at the ends nothing is asked."""
    build, place, value, mark = places(builds, row)
    low, high = (parse_quantity(text, mark.dimension) for text in (row.low, row.high))
    assert low <= value <= high and low < high
    tried = 0
    for at, side, words in ((low * 0.98, "below", row.below), (high * 1.02, "above", row.above)):
        if not mark.allows(at) or (side == "below" and low == 0.0):
            continue
        tried += 1
        questions = asked(changed_build(build, {place: at}))
        (found,) = [QUESTION.fullmatch(text) for text in questions if text.startswith(f"{place}: ")]
        assert found is not None
        assert found["value"] == format_quantity(at, mark.dimension, 3)
        assert (found["side"], found["what"]) == (side, row.what)
        assert words and f": {words}. Is this meant?" in found[0]
    assert tried, "the format of the build refuses what the row asks about"
    for at in (low, high):
        if mark.allows(at):
            questions = asked(changed_build(build, {place: at}))
            assert not [text for text in questions if text.startswith(f"{place}: ")]
