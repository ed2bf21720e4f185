"""Checks between the keys of coils, aerial and r.f. stage, each asked of a scrap of a build; nothing is run.

Where a key may not stand, the whole sentence is held: it is all that a reader has to go by.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest

from receiver_sim.schema import Build, coil_checks, rf_stage_checks
from receiver_sim.schema.faults import dotted
from receiver_sim.schema.validated import Finding, Glimpse

Check = Callable[[Glimpse], Iterator[Finding]]


def found(check: Check, data: dict[str, Any]) -> list[tuple[str, str, str | None, bool]]:
    return [(dotted(f.path), f.expected, f.cure, f.missing) for f in check(Glimpse(Build, data))]


def keys(check: Check, data: dict[str, Any]) -> list[str]:
    return [key for key, *_ in found(check, data)]


def coils(*each: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {"bands": [{"coil": coil} for coil in each], **more}


SOLENOID = {"kind": "solenoid", "former": "30 mm", "turns": 12, "wire": "0.5 mm", "tap": 1}
RING = {"kind": "toroid", "turns": 12}
FED = {"inductance": "1 uH", "coupling": 0.2}
WOUND = {"turns": 3, "wire": "0.3 mm", "covering": "0.05 mm"}


def test_every_check_is_made() -> None:
    """A check that is in no list is made nowhere."""
    assert {check.__name__ for check in coil_checks.COIL_CHECKS} == {
        "by_figures_or_winding", "feedback", "ways_back", "wires", "taps", "shapes", "links", "aerials",
        "spreads",
    }  # fmt: skip
    assert {check.__name__ for check in rf_stage_checks.RF_CHECKS} == {"rf_coupling", "rf_coils"}


@pytest.mark.parametrize("key", ["shape", "coupling"])
def test_a_winding_gives_shape_and_coupling(key: str) -> None:
    """What the turns determine may not be stated a second time."""
    cure = {"shape": "remove it", "coupling": "write 'measured: {coupling: ...}'"}[key]
    data = coils({"winding": SOLENOID, key: 0.4})
    assert found(coil_checks.by_figures_or_winding, data) == [
        (f"bands[0].coil.{key}", "nothing here, since 'winding' gives it", cure, False)
    ]


@pytest.mark.parametrize(("key", "what"), [("link", "a link"), ("can", "a shield can")])
def test_a_ring_core_has_neither_link_nor_can(key: str, what: str) -> None:
    measured = {"q": 180, "coupling": 0.9}
    data = coils({"winding": RING, "measured": measured, key: {"turns": 2}})
    cure = f"{what} on a ring core is not covered yet: remove it, or take a solenoid"
    assert found(coil_checks.by_figures_or_winding, data) == [
        (f"bands[0].coil.{key}", "no such key beside a ring core", cure, False)
    ]
    assert found(coil_checks.by_figures_or_winding, coils({"winding": RING, "measured": measured})) == []


def test_nothing_of_a_tap_stands_beside_a_tickler() -> None:
    """The cathode is on ground: tap, its turn, the sections' coupling and shape would mean nothing."""
    coil = {
        "tickler": FED, "tap": "3 %", "shape": 0.4, "coupling": 0.5, "measured": {"coupling": 0.5},
        "winding": {"kind": "solenoid", "tap": 1},
    }  # fmt: skip
    words = ("nothing here, since the coil has a tickler and the cathode is on ground", "remove it", False)
    due = ["tap", "winding.tap", "shape", "coupling", "measured.coupling"]
    assert sorted(found(coil_checks.feedback, coils(coil))) == sorted(
        (f"bands[0].coil.{key}", *words) for key in due
    )
    assert found(coil_checks.feedback, coils({"tickler": FED})) == []


def test_a_tickler_is_known_by_its_turns_or_by_its_figures() -> None:
    """By both it would be known twice; by one of two figures not at all."""
    beside = ("nothing here, since its turns give it", "remove it, or 'turns' and the wire", False)
    twice = coils({"winding": {**SOLENOID, "tap": None}, "tickler": {**WOUND, **FED}})
    assert found(coil_checks.feedback, twice) == [
        ("bands[0].coil.tickler.inductance", *beside),
        ("bands[0].coil.tickler.coupling", *beside),
    ]
    assert found(coil_checks.feedback, coils({"tickler": {"coupling": 0.2}})) == [
        ("bands[0].coil.tickler.inductance", "the tickler's inductance, or its 'turns'",
         "add a line such as 'inductance: 2 uH', or describe how it is wound", True),
    ]  # fmt: skip


def test_a_tickler_of_its_own_former_lies_beside_the_coil_not_over_it() -> None:
    """What is wound over a coil has the coil for its former; on a ring core nothing of it is covered."""
    over = {**WOUND, "former": "20 mm", "place": "over"}
    plain = {**SOLENOID, "tap": None}
    assert found(coil_checks.feedback, coils({"winding": plain, "tickler": over})) == [
        ("bands[0].coil.tickler.former", "no former of its own 'over' the coil",
         "give the sleeve's thickness as 'gap'", False),
    ]  # fmt: skip
    for fine in ({**over, "place": "below"}, {**over, "former": None}):
        assert found(coil_checks.feedback, coils({"winding": plain, "tickler": fine})) == []
    assert found(coil_checks.feedback, coils({"winding": RING, "tickler": WOUND})) == [
        ("bands[0].coil.tickler", "no such key beside a ring core",
         "a tickler on a ring core is not covered yet: take a solenoid", False),
    ]  # fmt: skip


def test_the_current_of_a_tickler_has_a_way_back() -> None:
    """Through the filter's capacitor, of which none is none; through the throttle where there is one; a tap
    needs neither."""
    none = {"detector": {"rf_filter": {"plate_capacitor": "0 pF"}}}
    some = {"detector": {"rf_filter": {"plate_capacitor": "50 pF"}}}
    key = "detector.rf_filter.plate_capacitor"
    screen = {"regeneration": {"acts_on": "screen"}}
    assert keys(coil_checks.ways_back, coils({"tickler": FED}, **none, **screen)) == [key]
    assert keys(coil_checks.ways_back, coils({"tap": "3 %"}, {"tickler": FED}, **none, **screen)) == [key]
    assert keys(coil_checks.ways_back, coils({"tickler": FED}, **some, **screen)) == []
    assert keys(coil_checks.ways_back, coils({"tap": "3 %"}, **none, **screen)) == []
    throttle = {"regeneration": {"acts_on": "throttle"}}
    assert keys(coil_checks.ways_back, coils({"tickler": FED}, **none, **throttle)) == []


def test_wire_is_asked_of_every_wound_part() -> None:
    """Of each section of a coil, of a link, of a tickler by its turns; of no other."""
    bare = {"turns": 5}
    data = coils(
        {"winding": {"kind": "sections", "sections": [{**bare, "gauge": 26}, bare]}, "link": bare},
        {"winding": {"kind": "solenoid", **bare}, "tickler": bare},
        {"winding": RING, "tickler": FED},
    )
    assert keys(coil_checks.wires, data) == [
        "bands[0].coil.winding.sections[1].wire", "bands[0].coil.link.wire",
        "bands[1].coil.winding.wire", "bands[1].coil.tickler.wire",
    ]  # fmt: skip


def test_a_pitch_holds_wire_and_covering_of_any_part() -> None:
    """No. 26 of the American gauge: 0.0159 in (wire table), 0.405 mm, and 0.05 mm of enamel: 0.455 mm."""
    for pitch, due in (("0.45 mm", ["bands[0].coil.link.pitch"]), ("0.46 mm", [])):
        link = {"turns": 3, "gauge": 26, "covering": "0.05 mm", "pitch": pitch}
        assert keys(coil_checks.wires, coils({"link": link})) == due


def test_the_tap_of_a_coil_in_sections_lies_below_half_of_all_turns() -> None:
    """6.5 and 3.5 turns: at most the fifth; where a section's turns are not known, nothing is said."""
    parts: list[dict[str, Any]] = [{"turns": 6.5}, {"turns": 3.5}]
    for tap, due in ((5.0, []), (5.05, ["bands[0].coil.winding.tap"])):
        data = coils({"winding": {"kind": "sections", "sections": parts, "tap": tap}})
        assert keys(coil_checks.taps, data) == due
    assert found(coil_checks.taps, data)[0][1] == "at most half of the 10 turns"
    blind = {"kind": "sections", "sections": [*parts, {"turns": "many"}], "tap": 9.0}
    assert keys(coil_checks.taps, coils({"winding": blind})) == []


def test_an_aerial_of_a_kind_has_the_keys_of_that_kind() -> None:
    """A wire has a vertical part; a kind that is not covered is another message's business."""
    assert found(coil_checks.aerials, {"aerial": {"kind": "wire", "wire": {"height": "0 m"}}}) == [
        ("aerial.wire.height", "a height above 0", "give the length of the vertical part", False)
    ]
    assert keys(coil_checks.aerials, {"aerial": {"kind": "wire", "wire": {"height": "0.1 m"}}}) == []
    assert keys(coil_checks.aerials, {"aerial": {"kind": "kite", "resistance": "70 ohm"}}) == []
    series = {"kind": "series", "resistance": "70 ohm", "capacitance": "90 pF", "inductance": "3 uH"}
    assert keys(coil_checks.aerials, {"aerial": series}) == []
    assert keys(coil_checks.aerials, {"aerial": {**series, "kind": "dummy"}}) == [
        "aerial.resistance", "aerial.capacitance", "aerial.inductance"
    ]  # fmt: skip


LINKED = {"plate": {"kind": "link"}, "decoupling": {"resistor": "1 kohm", "capacitor": "22 nF"}}


@pytest.mark.parametrize("kind", ["choke", "resistor"])
def test_a_fed_plate_reaches_the_tank_through_a_capacitor(kind: str) -> None:
    due = [("rf_stage.coupling", f"a capacitor to the detector's tank, since the plate is fed by a {kind}",
            "add a line such as 'coupling: 4 pF'", True)]  # fmt: skip
    assert found(rf_stage_checks.rf_coupling, {"rf_stage": {"plate": {"kind": kind}}}) == due
    fed = {"rf_stage": {"plate": {"kind": kind}, "coupling": "3 pF"}}
    assert found(rf_stage_checks.rf_coupling, fed) == []


def test_a_plate_on_a_link_needs_link_and_decoupling_and_no_capacitor() -> None:
    """The link carries the signal; of coils whose figures are not known at all nothing is said."""
    fine = coils({"link": {"turns": 2}}, rf_stage=LINKED)
    assert found(rf_stage_checks.rf_coupling, fine) == []
    bare = {"plate": {"kind": "link"}}
    assert keys(rf_stage_checks.rf_coupling, {**fine, "rf_stage": bare}) == ["rf_stage.decoupling"]
    both = {**LINKED, "coupling": "3 pF"}
    assert keys(rf_stage_checks.rf_coupling, {**fine, "rf_stage": both}) == ["rf_stage.coupling"]
    lacking = {"rf_stage": LINKED, "bands": [{"name": "80 m"}, {"coil": {"q": 120}}]}
    assert keys(rf_stage_checks.rf_coupling, lacking) == ["bands[1].coil.link"]


def test_a_link_in_the_plate_lead_beside_a_tickler_is_not_covered() -> None:
    """Said once, for all bands."""
    data = coils({"tickler": FED}, {"tickler": FED}, rf_stage=LINKED)
    assert found(rf_stage_checks.rf_coupling, data) == [
        ("rf_stage.plate.kind",
         "'choke' or 'resistor', since a link in its plate lead beside a tickler is not covered yet",
         "write 'kind: choke' with its 'inductance', and 'coupling: 4 pF'", False),
    ]  # fmt: skip


def test_a_tuned_stage_has_a_coil_on_every_band_that_there_is() -> None:
    coil = {"inductance": "5.4 uH", "q": 120}
    tuned = {"input": {"kind": "tuned"}}
    data = {"rf_stage": tuned, "bands": [{"rf_coil": coil}, {"name": "40 m"}, None]}
    assert keys(rf_stage_checks.rf_coils, data) == ["bands[1].rf_coil"]
    plain = {"rf_stage": {"input": {"kind": "choke"}}, "bands": data["bands"]}
    assert keys(rf_stage_checks.rf_coils, plain) == ["bands[0].rf_coil"]
    assert keys(rf_stage_checks.rf_coils, {"bands": data["bands"]}) == ["bands[0].rf_coil"]
