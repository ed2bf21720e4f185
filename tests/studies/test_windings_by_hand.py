"""The sheet of a coil against a drawing of its windings, by hand: formers, pitches, wire; and its electrical
values in their places.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from receiver_sim.builds import shipped_build
from receiver_sim.results.coils import CoilSheet, WindingPart
from receiver_sim.schema.coil import Coil
from receiver_sim.schema.coil_figures import LinkFigures, TicklerFigures, coil_figures, filled_in
from receiver_sim.studies import coil_sheet

SOLENOID = {
    "kind": "solenoid", "former": "34 mm", "turns": 11.5, "wire": "0.5 mm", "covering": "0.06 mm",
    "pitch": "1 mm",
}  # fmt: skip
LINK = {"turns": 2, "wire": "0.3 mm", "covering": "0.2 mm", "gap": "1.5 mm", "capacitance": "3 pF"}
TICKLER = {"turns": 3, "wire": "0.25 mm", "covering": "0.1 mm", "gap": "2.5 mm", "capacitance": "4 pF"}


def sheet_of(**coil: Any) -> CoilSheet:
    band = shipped_build("tickler").bands[1]
    return coil_sheet.sheet(
        band.model_copy(update={"coil": filled_in(Coil.model_validate(coil), band.middle_hz)})
    )


def part(found: CoilSheet, name: str) -> WindingPart:
    (one,) = [one for one in found.parts if one.part == name]
    return one


def metres(turns: float, *, former: float, wire: float, covering: float, pitch: float) -> float:
    """A helix: each turn is the hypotenuse of its circumference and its pitch."""
    return turns * math.hypot(math.pi * (former + wire + covering), pitch)


def test_the_coil_is_wound_on_its_own_former() -> None:
    one = part(sheet_of(winding=SOLENOID, tickler=TICKLER), "coil")
    assert one.former_m == pytest.approx(34e-3)
    assert (one.turns, one.wire_m, one.pitch_m) == (11.5, pytest.approx(0.5e-3), pytest.approx(1e-3))
    assert one.length_m == pytest.approx(11.5e-3)
    due = metres(11.5, former=34e-3, wire=0.5e-3, covering=0.06e-3, pitch=1e-3)
    assert one.wire_length_m == pytest.approx(due, rel=1e-6)


@pytest.mark.parametrize(("stated", "former"), [({}, 34e-3), ({"former": "31 mm"}, 31e-3)])
def test_a_tickler_below_the_coil_is_wound_on_what_the_build_says(
    stated: dict[str, str], former: float
) -> None:
    """On the former of the coil, or one of its own; turns of a covered wire that touch lie a wire and its
    covering apart.
    """
    one = part(sheet_of(winding=SOLENOID, tickler={**TICKLER, **stated, "place": "below"}), "tickler")
    assert one.former_m == pytest.approx(former)
    assert (one.turns, one.wire_m, one.pitch_m) == (3.0, pytest.approx(0.25e-3), pytest.approx(0.35e-3))
    assert one.length_m == pytest.approx(3 * 0.35e-3)
    due = metres(3, former=former, wire=0.25e-3, covering=0.1e-3, pitch=0.35e-3)
    assert one.wire_length_m == pytest.approx(due, rel=1e-6)


@pytest.mark.parametrize("name", ["link", "tickler"])
def test_a_winding_over_the_coil_is_wound_on_the_sleeve(name: str) -> None:
    """Its former is the outside of the coil and a sleeve on it: two wires and two walls wider than the
    coil's former, whatever the winding's own wire and covering. Bare wire, so that no covering counts.
    """
    bare = {**SOLENOID, "covering": "0 mm"}
    said = {**(LINK if name == "link" else TICKLER), "place": "over"}
    coil = {"winding": bare, name: said} | ({"tickler": TICKLER} if name == "link" else {})
    one = part(sheet_of(**coil), name)
    gap, wire = (1.5e-3, 0.3e-3) if name == "link" else (2.5e-3, 0.25e-3)
    assert one.former_m == pytest.approx(34e-3 + 2 * 0.5e-3 + 2 * gap)
    assert one.wire_m == pytest.approx(wire)


def test_a_link_below_the_coil_is_wound_on_its_former() -> None:
    one = part(
        sheet_of(winding=SOLENOID, tickler=TICKLER, link={**LINK, "place": "below", "gap": "6 mm"}), "link"
    )
    assert one.former_m == pytest.approx(34e-3)
    assert (one.turns, one.wire_m, one.pitch_m) == (2.0, pytest.approx(0.3e-3), pytest.approx(0.5e-3))


def test_sections_are_numbered_from_the_grounded_end_each_with_its_own_former() -> None:
    sections = [
        {"former": "20 mm", "turns": 12, "wire": "0.4 mm", "pitch": "0.6 mm"},
        {"former": "24 mm", "turns": 7, "wire": "0.3 mm", "pitch": "0.5 mm", "gap": "4 mm"},
    ]
    found = sheet_of(winding={"kind": "sections", "sections": sections, "tap": 2})
    assert found.kind == "sections"
    assert [(one.part, one.turns) for one in found.parts] == [("section 1", 12.0), ("section 2", 7.0)]
    assert [one.former_m for one in found.parts] == pytest.approx([20e-3, 24e-3])
    assert [one.pitch_m for one in found.parts] == pytest.approx([0.6e-3, 0.5e-3])
    assert (found.turns, found.tap_turns, found.tap_share) == (19.0, 2.0, pytest.approx(2.0 / 19.0))


def test_place_and_gap_of_link_and_tickler_are_told_each_of_its_own() -> None:
    both = {
        "link": {**LINK, "place": "over", "gap": "1.5 mm"},
        "tickler": {**TICKLER, "place": "below", "gap": "2.5 mm"},
    }
    found = sheet_of(winding=SOLENOID, **both)
    assert (found.link_place, found.link_gap_m) == ("over", pytest.approx(1.5e-3))
    assert (found.tickler_place, found.tickler_gap_m) == ("below", pytest.approx(2.5e-3))
    assert [one.part for one in found.parts] == ["coil", "link", "tickler"]
    # of a tickler there is no tap to tell
    assert (found.tap_share, found.tap_ratio, found.coupling, found.tap_turns) == (None, None, None, None)
    bare = sheet_of(winding={**SOLENOID, "tap": 1})
    assert (bare.link_place, bare.link_gap_m, bare.link_henry, bare.link_coupling, bare.link_farad) == (
        None,
    ) * 5
    assert (bare.tickler_place, bare.tickler_gap_m, bare.tickler_henry, bare.tickler_reversed) == (None,) * 4


def test_electrical_values_of_a_coil_with_link_and_tickler_stand_in_their_places(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """k = M/sqrt(L1 L2), M of a link to both sections; what a shield leaves is told beside what was there."""
    coil = Coil.model_validate({"winding": SOLENOID, "link": {**LINK, "place": "over"}, "tickler": TICKLER})
    real = coil_figures(coil)
    assert real.link is not None and real.tickler is not None
    link = LinkFigures(0.4e-6, 0.31e-6, 0.07e-6, 5.1e-12, 1.3e-12, real.link.winding, False)
    fed = TicklerFigures(0.9e-6, 0.62e-6, 0.23, 4e-12, True, real.tickler.winding)
    sections = replace_sections(real.sections, upper=4.1e-6, lower=0.5e-6, mutual=0.35e-6)
    made = replace(real, sections=sections, link=link, tickler=fed, self_capacitance=2.2e-12, can_ratio=0.81)
    monkeypatch.setattr(coil_sheet, "coil_figures", lambda _: made)
    found = coil_sheet.sheet(shipped_build("tickler").bands[1].model_copy(update={"coil": coil}))
    assert found.inductance_henry == pytest.approx(4.1e-6 + 0.5e-6 + 2 * 0.35e-6)
    assert (found.upper_henry, found.lower_henry, found.mutual_henry) == (4.1e-6, 0.5e-6, 0.35e-6)
    assert (found.self_farad, found.can_ratio) == (2.2e-12, 0.81)
    assert found.link_henry == 0.4e-6
    assert found.link_coupling == pytest.approx(0.38e-6 / math.sqrt(0.4e-6 * 5.3e-6))
    assert (found.link_farad, found.link_unshielded_farad) == (1.3e-12, 5.1e-12)
    assert (found.tickler_henry, found.tickler_mutual_henry) == (0.9e-6, 0.62e-6)
    assert (found.tickler_coupling, found.tickler_reversed) == (0.23, True)


def replace_sections(sections: Any, **values: float) -> Any:
    return type(sections)(**values)


@pytest.mark.parametrize(
    ("direction", "end", "against"),
    [("same", "far", False), ("opposite", "far", True), ("same", "near", True), ("opposite", "near", False)],
)
def test_a_tickler_is_reversed_by_one_of_direction_and_end_not_by_both(
    direction: str, end: str, against: bool
) -> None:
    """Windings in one direction aid with grid and plate at the ends farthest apart: Lenz, any textbook."""
    found = sheet_of(winding=SOLENOID, tickler={**TICKLER, "direction": direction, "plate_end": end})
    assert found.tickler_reversed is against


def test_a_coil_by_its_figures_has_no_windings() -> None:
    found = sheet_of(inductance="5.7 uH", q=160, tap="7 %")
    assert (found.kind, found.parts, found.turns, found.tap_turns) == ("figures", (), None, None)
    assert found.tap_share == pytest.approx(0.07)
    # the lower section is linked by itself and by the upper one: not the share of turns
    assert found.tap_ratio == pytest.approx((found.lower_henry + found.mutual_henry) / found.inductance_henry)
    assert found.tap_ratio != pytest.approx(0.07, rel=0.01)
    ring = sheet_of(
        winding={"kind": "toroid", "factor": "6 nH", "turns": 30, "tap": 3},
        measured={"coupling": 0.9, "q": 180},
    )
    assert (ring.kind, ring.parts) == (
        "toroid",
        (WindingPart("ring core", None, 30.0, None, None, None, None),),
    )
