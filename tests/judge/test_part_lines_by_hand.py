"""Lines of the parts list by kind of part: what is a value, what is sold in a series, which columns it has.

Tubes: RCA sheets. What is bought by its value, and what by name, is common practice, no source.
"""

from __future__ import annotations

from functools import cache
from types import SimpleNamespace
from typing import Any

import pytest

from receiver_sim.builds import cards_for, shipped_build
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.designators import parts_of
from receiver_sim.judge import part_needs
from receiver_sim.judge.part_needs import needs, without_part
from receiver_sim.judge.supply_verdicts import judge_rectifier, judge_source
from receiver_sim.results.bands import Grade
from receiver_sim.results.bench_chart import PartNeeds
from receiver_sim.results.supply import Capacitor, DropperChoice, Rectified, StartAndStop
from receiver_sim.schema import Build, changed_build
from receiver_sim.schema.rating import Rating
from receiver_sim.studies.part_stress import Stress
from tests.helpers.filling import filled
from tests.helpers.supplied import supplied

RECTIFIED = filled(
    Rectified, load_a=31e-3, bleeder_a=4.7e-3, inverse_v=640.0, peak_a=0.21, winding_a=83e-3,
    capacitors=tuple(filled(Capacitor, section=n, ripple_a=0.01 * n) for n in (1, 2, 3)),
)  # fmt: skip


def circuit_of(build: Build) -> Circuit:
    return supplied(build, RECTIFIED, rotation=0.3)


@cache
def lines(name: str) -> dict[str, PartNeeds]:
    """The lines of a shipped build all of whose elements meet 90 V, 2 mA and 0.4 W."""
    build = shipped_build(name)
    circuit = circuit_of(build)
    stress = {e.name: Stress(90.0, "cold", 0.4, "warm", 2e-3) for e in circuit.elements}
    rectified = RECTIFIED if build.supply.kind == "rectifier" else None
    return {one.key: one for one in needs(build, circuit, stress, rectified, cards_for(build))}


VALUES = {
    # a whole track, of two pieces in the circuit; no series
    "regeneration.pot": (47e3, "ohm", None),
    "audio.volume.pot": (500e3, "ohm", None),
    # chokes by their henries, not by the ohms of their wire
    "supply.filter[1]": (9.0, "H", None),
    "detector.load.inductance": (380.0, "H", None),
    "detector.rf_filter.choke": (2.5e-3, "H", None),
    # 24 uF is of E24 alone: capacitors are sold in E12 (IEC 60063)
    "supply.filter[1].capacitor": (24e-6, "F", 22e-6),
    "supply.filter[2]": (1500.0, "ohm", 1500.0),
    "supply.bleeder": (75e3, "ohm", 75e3),
}


@pytest.mark.parametrize("key", VALUES)
def test_value_and_series_of_a_part(key: str) -> None:
    line, (value, unit, preferred) = lines("mains_set")[key], VALUES[key]
    assert (line.value, line.unit) == (pytest.approx(value), unit)
    assert line.preferred == (None if preferred is None else pytest.approx(preferred))


@pytest.mark.parametrize(
    "key", ["bands[0].coil", "tuning", "audio.output", "phones[0]", "detector.tube", "regulator.volts"]
)
def test_what_is_bought_or_wound_by_its_name_has_no_value(key: str) -> None:
    line = lines("mains_set")[key]
    assert (line.value, line.unit, line.preferred) == (None, "", None)


@pytest.mark.parametrize(
    ("key", "columns"),
    [
        # volts, watts, what to buy by volts and by watts: 1.2 times 90 V is 108 V, twice 0.4 W is 0.8 W
        ("supply.bleeder", "VW-w"),
        ("audio.coupling", "V-v-"),
        ("detector.tube", "VW--"),
        ("regulator.volts", "VW--"),
        ("supply.filter[1]", "V---"),
        ("audio.output", "V---"),
        ("phones[0]", "----"),
        ("aerial", "----"),
    ],
)
def test_which_columns_a_part_has(key: str, columns: str) -> None:
    line = lines("mains_set")[key]
    assert [line.highest_v, line.watts_w, line.buy_v, line.buy_w] == [
        (value if letter in columns else None)
        for letter, value in (("V", 90.0), ("W", 0.4), ("v", 160.0), ("w", 1.0))
    ]


def test_a_part_that_was_not_met_has_no_worst_state_and_no_current(demo: Build) -> None:
    circuit = circuit_of(demo)
    for stress in ({}, {e.name: Stress() for e in circuit.elements}):
        for line in needs(demo, circuit, stress, None, cards_for(demo)):
            assert line.highest_a is None or line.key == part_needs.HEATERS
            assert line.buy_v is None and line.enough and line.ripple_a is None
            assert line.highest_v in ((None,) if not stress else (None, 0.0))


def test_the_worst_of_a_part_of_several_elements_counts(demo: Build) -> None:
    """Volts and watts each with the state of their own; the two pieces of a track are one part."""
    circuit = circuit_of(demo)
    (part,) = [p for p in parts_of(circuit) if p.key == "regeneration.pot"]
    one, other = part.elements[:2]
    stress = {one: Stress(50.0, "cold", 0.1, "warm", 1e-3), other: Stress(30.0, "warm", 0.3, "cold", 3e-3)}
    line = {n.key: n for n in needs(demo, circuit, stress, None, cards_for(demo))}["regeneration.pot"]
    assert (line.highest_v, line.volts_when, line.watts_w, line.watts_when, line.highest_a) == (
        50.0, "cold", 0.3, "cold", 3e-3,
    )  # fmt: skip


# ---------------------------------------------------------------------------- ratings by name


@pytest.mark.parametrize(
    ("key", "name", "meant"),
    [
        ("supply.filter[1]", "supply.filter[1].choke", True),
        ("supply.filter[2]", "supply.filter[2].resistor", True),
        ("supply.filter[1]", "supply.filter[1].capacitor", False),
        ("supply.filter[1]", "supply.filter[2].choke", False),
        ("supply.secondary.volts", "supply.secondary", True),
        ("supply.bleeder", "supply", False),
        ("supply.bleeder", "SUPPLY.Bleeder", True),
        ("supply.bleeder", "X7", True),
        ("supply.bleeder", "X", False),
    ],
)
def test_a_rating_means_a_part_by_designator_or_key(key: str, name: str, meant: bool) -> None:
    line = filled(PartNeeds, key=key, designator="X7")
    rating = Rating(part=name)
    assert (without_part([rating], [line]) == []) is meant
    assert without_part([rating], []) == [rating]


def test_of_two_ratings_of_a_part_each_adds_what_it_states() -> None:
    """And what is not stated stays as the build has it elsewhere."""
    line = filled(
        PartNeeds, key="a", designator="R1", highest_v=90.0, watts_w=0.4, highest_a=None, ripple_a=None,
        stated_v=50.0, stated_w=None, stated_a=None, besides=(), enough=False,
    )  # fmt: skip
    one, two = Rating.model_validate({"part": "R1", "dissipates": "0.5 W"}), Rating(part="b")
    found = part_needs._rated(line, (one, two))
    assert (found.stated_v, found.stated_w, found.stated_a, found.enough) == (50.0, 0.5, None, False)
    three = Rating.model_validate({"part": "a", "withstands": "90 V"})
    found = part_needs._rated(line, (one, three))
    # what it just stands is enough
    assert (found.stated_v, found.stated_w, found.enough) == (90.0, 0.5, True)


# ---------------------------------------------------------------------------- rectifiers


def rectifiers(changes: dict[str, Any], tubes: int = 2) -> PartNeeds:
    build = changed_build(shipped_build("mains_set"), changes)
    (line,) = part_needs._rectifiers(build, RECTIFIED, tubes, 0.0)
    return line


def test_a_vacuum_rectifier_by_its_sheet() -> None:
    """6X5GT: 1250 V peak inverse, 0.21 A peak a plate, 70 mA of d.c. (RCA sheet)."""
    line = rectifiers({})
    assert (line.designator, line.word, line.stated_v, line.stated_a) == (
        "V3", "rectifier", 1250.0, pytest.approx(0.21),
    )  # fmt: skip
    assert line.volts_when == "peak inverse, no load, mains 10 % high"
    assert line.note == (
        "6X5GT; current is the highest peak of a charging pulse, the first one too, mains 10 % high"
    )
    (beside,) = line.besides
    assert (beside.words, beside.worst, beside.limit) == (
        "d.c. that receiver and bleeder take", pytest.approx(35.7e-3), pytest.approx(0.07),
    )  # fmt: skip
    assert rectifiers({}, tubes=3).designator == "V4"


def test_silicon_has_no_limit_of_direct_current_and_no_socket() -> None:
    line = rectifiers({"supply.rectifier": {"kind": "solid_state", "drop": "0.9 V"}})
    assert line.note.startswith("silicon diodes; ") and line.designator == "D1-D2"
    assert (line.stated_v, line.stated_a, line.besides[0].limit) == (None, None, None)


def test_rectifiers_by_their_figures_alone_have_no_type() -> None:
    plain = {"kind": "vacuum", "drop": "22 V", "current": "70 mA"}
    assert rectifiers({"supply.rectifier": plain}).note.startswith("vacuum rectifier; ")


@pytest.mark.parametrize(("bottles", "name"), [(1, "V3"), (2, "V3-V4")])
def test_rectifiers_in_two_bottles_have_a_number_each(
    bottles: int, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(part_needs, "rectifier_bottles", lambda _: bottles)
    assert rectifiers({}).designator == name


def test_no_rectifier_without_its_run_and_none_of_other_supplies(demo: Build) -> None:
    assert part_needs._rectifiers(shipped_build("mains_set"), None, 2, 0.0) == []
    assert part_needs._rectifiers(demo, RECTIFIED, 2, 0.0) == []


# ---------------------------------------------------------------------------- words of the supply


def test_the_limit_of_a_bench_supply_is_said_either_way(demo: Build) -> None:
    supply = {"kind": "bench", "volts": "190 V", "current_limit": "20 mA"}
    build = changed_build(demo, {"supply": supply})
    for drawn, word in ((20e-3, "within"), (20.1e-3, "above")):
        (found,) = judge_source(build, drawn, None)
        assert (found.rule, found.text) == ("rating", f"current {word} the limit it is set to")
    unlimited = changed_build(build, {"supply.current_limit": None})
    assert judge_source(unlimited, 1.0, None) == []


@pytest.mark.parametrize(("rated", "bad"), [(1.5, True), (1.6, False), (2.0, False), (None, False)])
def test_a_dropper_is_judged_by_its_watts_against_its_rating(rated: float | None, bad: bool) -> None:
    """Whatever is said of it; without a rating there is nothing to judge."""
    choice: Any = filled(DropperChoice, fitted_w=1.6, text="what is said of it")
    build: Any = SimpleNamespace(
        regulator=SimpleNamespace(dropper_power=rated), supply=SimpleNamespace(kind="dc")
    )
    found = [(v.grade, v.value, v.limit, v.text) for v in judge_source(build, None, choice)]
    assert found == ([(Grade.BAD, 1.6, rated, "what is said of it")] if bad else [])


def test_what_a_rectifier_just_stands_is_within_its_rating() -> None:
    """Equal is not above; and a supply that was not started is not judged."""
    build = shipped_build("mains_set")
    sheet = build.supply.rectifier  # type: ignore[union-attr]
    at = filled(Rectified, inverse_v=sheet.peak_inverse, load_a=sheet.output_current, bleeder_a=0.0,
                capacitors=())  # fmt: skip
    start = filled(StartAndStop, surge_a=sheet.peak_current, discharge_s=60.0)
    found = judge_rectifier(build, at, start)
    assert [(v.subject, v.grade, v.text) for v in found] == [
        ("rectifier", Grade.GOOD, f"{what} within the rating")
        for what in ("peak inverse volts", "highest peak current with the mains 10 % high",
                     "d.c. that receiver and bleeder take")
    ]  # fmt: skip
    assert judge_rectifier(build, at, None) == []
