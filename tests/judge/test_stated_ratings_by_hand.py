"""What a build or a card states of a part, held against what the part meets: every cell of the parts list.

No two figures are alike, so that one in another's place shows.
"""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest

from receiver_sim.builds import cards_for, shipped_build
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.designators import parts_of
from receiver_sim.circuit.registry import Cards
from receiver_sim.judge import part_needs
from receiver_sim.judge.part_needs import needs
from receiver_sim.results.bench_chart import Beside, PartNeeds
from receiver_sim.results.bias import TubePoint
from receiver_sim.results.supply import Capacitor, Rectified
from receiver_sim.schema import Build, changed_build
from receiver_sim.schema.card import TubeCard
from receiver_sim.schema.rating import Rating
from receiver_sim.studies import operating_point
from receiver_sim.studies.part_stress import CATHODE_A, HEATER_V, RECTIFIER, SCREEN_V, SCREEN_W, Stress
from tests.helpers.filling import filled
from tests.helpers.supplied import supplied


def limited(card: TubeCard) -> TubeCard:
    """The card with ratings of which no two are alike."""
    ratings = card.ratings.model_copy(update={
        "plate": 310.0, "plate_power": 2.3, "screen": 117.0, "screen_power": 0.61, "cathode_current": 19e-3,
        "heater_cathode": 87.0,
    })  # fmt: skip
    return card.model_copy(update={"ratings": ratings})


def cards_of(build: Build) -> Cards:
    cards = cards_for(build)
    return replace(cards, detector=limited(cards.detector))


RECTIFIED = filled(
    Rectified, load_a=31e-3, bleeder_a=4.7e-3, inverse_v=640.0, peak_a=0.21, winding_a=83e-3,
    capacitors=tuple(filled(Capacitor, section=n, ripple_a=amps) for n, amps in ((1, 61e-3), (2, 3e-3),
                                                                                (3, 0.2e-3))),
)  # fmt: skip


def circuit_of(build: Build) -> Circuit:
    return supplied(build, RECTIFIED, rotation=0.5)


def lines_of(
    build: Build, stress: dict[str, Stress] | None = None, rectified: Rectified | None = None
) -> dict[str, PartNeeds]:
    return {one.key: one for one in needs(build, circuit_of(build), stress, rectified, cards_of(build))}


def stressed(build: Build, key: str, stress: Stress) -> dict[str, Stress]:
    """All elements of one part meet the same."""
    return {name: stress for part in parts_of(circuit_of(build)) if part.key == key for name in part.elements}


# ---------------------------------------------------------------------------- meter and sheet of a tube

POINT = filled(
    TubePoint, socket="detector", tube="X", plate_v=183.0, screen_v=61.0, cathode_v=7.0, plate_w=1.7,
    screen_w=0.43,
)  # fmt: skip


def test_each_figure_of_a_tube_is_held_against_its_own_limit(demo: Build) -> None:
    """Volts count from the cathode; dissipation of plate and screen have a limit each."""
    found = operating_point._ratings(POINT, limited(cards_for(demo).detector))
    assert [(one.quantity, one.value, one.limit, one.unit) for one in found] == [
        ("plate volts", 176.0, 310.0, "V"), ("plate dissipation", 1.7, 2.3, "W"),
        ("screen volts", 54.0, 117.0, "V"), ("screen dissipation", 0.43, 0.61, "W"),
    ]  # fmt: skip
    assert {one.part for one in found} == {"detector X"}


@pytest.mark.parametrize("missing", ["plate_power", "screen", "screen_power"])
def test_what_the_sheet_does_not_limit_is_not_judged(demo: Build, missing: str) -> None:
    card = limited(cards_for(demo).detector)
    bare = card.model_copy(update={"ratings": card.ratings.model_copy(update={missing: None})})
    words = {
        "plate_power": "plate dissipation",
        "screen": "screen volts",
        "screen_power": "screen dissipation",
    }
    whole = {one.quantity for one in operating_point._ratings(POINT, card)}
    assert whole - {one.quantity for one in operating_point._ratings(POINT, bare)} == {words[missing]}


def test_a_triode_has_no_screen_to_judge(demo: Build) -> None:
    triode = replace(POINT, screen_v=None, screen_w=None)
    found = operating_point._ratings(triode, limited(cards_for(demo).detector))
    assert [one.quantity for one in found] == ["plate volts", "plate dissipation"]


# ---------------------------------------------------------------------------- the parts list

OTHERS = {SCREEN_V: 53.0, SCREEN_W: 0.37, CATHODE_A: 11e-3, HEATER_V: 41.0}
LIMITS = {SCREEN_V: (117.0, "V"), SCREEN_W: (0.61, "W"), CATHODE_A: (19e-3, "A"), HEATER_V: (87.0, "V")}


def tube_line(demo: Build, **changed: float) -> PartNeeds:
    met = {**OTHERS, **{k: v for k, v in changed.items() if k in OTHERS}}
    stress = Stress(
        highest_v=changed.get("v", 201.0), volts_when="cold", watts_when="warm",
        watts_w=changed.get("w", 1.9),
        highest_a=9e-3, besides={words: (value, f"while {words}") for words, value in met.items()},
    )  # fmt: skip
    return lines_of(demo, stressed(demo, "detector.tube", stress))["detector.tube"]


def test_a_tube_is_held_against_its_whole_card(demo: Build) -> None:
    line = tube_line(demo)
    assert (line.highest_v, line.stated_v, line.volts_when) == (201.0, 310.0, "cold")
    assert (line.watts_w, line.stated_w, line.watts_when) == (1.9, 2.3, "warm")
    assert line.besides == tuple(
        Beside(words, OTHERS[words], limit, unit, f"while {words}") for words, (limit, unit) in LIMITS.items()
    )
    assert line.enough and (line.buy_v, line.buy_w) == (None, None)


@pytest.mark.parametrize(
    ("what", "limit"), [("v", 310.0), ("w", 2.3), *((words, limit) for words, (limit, _) in LIMITS.items())]
)
def test_each_limit_of_a_tube_by_itself_makes_it_too_weak(demo: Build, what: str, limit: float) -> None:
    assert tube_line(demo, **{what: 0.99 * limit}).enough
    assert not tube_line(demo, **{what: 1.01 * limit}).enough


MAINS: dict[str, Any] = {
    "supply.filter[0].rating": "310 V", "supply.filter[1].rating": "320 V", "supply.filter[2].rating": "330 V"
}  # fmt: skip


def test_each_filter_capacitor_has_its_own_rating_and_ripple() -> None:
    build = changed_build(shipped_build("mains_set"), MAINS)
    found = lines_of(build, rectified=RECTIFIED)
    lines = [found[f"supply.filter[{n}].capacitor"] for n in range(3)]
    assert [one.stated_v for one in lines] == pytest.approx([310.0, 320.0, 330.0])
    assert [one.ripple_a for one in lines] == [61e-3, 3e-3, 0.2e-3]
    # nothing but the filter has a ripple that was found
    assert {key for key, one in found.items() if one.ripple_a is not None} == {one.key for one in lines}


@pytest.mark.parametrize(("volts", "enough"), [(306.9, True), (313.1, False)])
def test_a_filter_capacitor_above_its_rating_is_too_weak(volts: float, enough: bool) -> None:
    build = changed_build(shipped_build("mains_set"), MAINS)
    key = "supply.filter[0].capacitor"
    assert lines_of(build, stressed(build, key, Stress(volts, "cold")))[key].enough is enough


@pytest.mark.parametrize(("share", "enough"), [(0.99, True), (1.01, False)])
def test_dropper_blocking_capacitor_and_regulator_are_held_against_what_is_stated(
    demo: Build, share: float, enough: bool
) -> None:
    build = changed_build(
        demo, {"regulator.dropper_power": "1.7 W", "regulator.maximum_current": "29 mA",
               "phones[0].capacitor_rating": "410 V"}
    )  # fmt: skip
    regulator = next(one.key for one in parts_of(circuit_of(build)) if one.letters == "VR")
    met = {
        "regulator.dropper": Stress(watts_w=1.7 * share, watts_when="warm"),
        "phones[0].capacitor": Stress(highest_v=410.0 * share, volts_when="cold"),
        regulator: Stress(highest_a=29e-3 * share),
    }
    stated = {
        "regulator.dropper": (None, 1.7, None), "phones[0].capacitor": (410.0, None, None),
        regulator: (None, None, 29e-3),
    }  # fmt: skip
    for key, stress in met.items():
        line = lines_of(build, stressed(build, key, stress))[key]
        assert line.enough is enough, key
        assert (line.stated_v, line.stated_w, line.stated_a) == tuple(
            None if one is None else pytest.approx(one) for one in stated[key]
        )


@pytest.mark.parametrize(
    ("watts", "buy"), [(0.1237, 0.25), (0.1263, 0.5), (0.99, 2.0), (1.01, 3.0), (2.6, 10.0), (26.0, None)]
)
def test_a_resistor_is_bought_for_twice_its_watts(demo: Build, watts: float, buy: float | None) -> None:
    """The usual ratings are 1/4, 1/2, 1, 2, 3, 5, 10, 20, 50 W (common practice, no source)."""
    line = lines_of(demo, stressed(demo, "supply.bleeder", Stress(watts_w=watts)))["supply.bleeder"]
    assert (line.watts_w, line.buy_w, line.buy_v) == (watts, buy, None)


@pytest.mark.parametrize(("volts", "buy"), [(206.0, 250.0), (210.0, 350.0), (330.0, 400.0), (337.0, 450.0)])
def test_a_capacitor_is_bought_for_a_fifth_more_than_its_volts(demo: Build, volts: float, buy: float) -> None:
    """1.2 times 208.3 V is 250 V, 1.2 times 333.3 V is 400 V."""
    key = "audio.coupling"
    line = lines_of(demo, stressed(demo, key, Stress(highest_v=volts)))[key]
    assert (line.highest_v, line.buy_v, line.buy_w) == (volts, buy, None)


@pytest.mark.parametrize(("what", "column", "met", "limit"), [
    ("withstands", "stated_v", Stress(highest_v=100.0), "{:.4g} V"),
    ("dissipates", "stated_w", Stress(watts_w=1.0), "{:.4g} W"),
    ("carries", "stated_a", Stress(highest_a=10e-3), "{:.4g} A"),
])  # fmt: skip
def test_a_rating_in_the_list_of_the_build_counts_in_its_column(
    demo: Build, what: str, column: str, met: Stress, limit: str
) -> None:
    """By the key or by the designator, however it is written."""
    size = max(met.highest_v, met.watts_w, met.highest_a)
    key = "detector.load.inductance" if what == "carries" else "supply.bleeder"
    (part,) = [one for one in parts_of(circuit_of(demo)) if one.key == key]
    for name in (key, part.designator, f" {part.designator.lower()} "):
        for share, enough in ((0.99, False), (1.01, True)):
            one = Rating(part=name.strip(), **{what: limit.format(share * size)})
            build = demo.model_copy(update={"ratings": (one,)})
            line = lines_of(build, stressed(demo, key, met))[key]
            assert getattr(line, column) == pytest.approx(share * size)
            assert line.enough is enough
            others = {"stated_v", "stated_w", "stated_a"} - {column}
            assert all(getattr(line, other) is None for other in others)


@pytest.mark.parametrize(("surge", "due"), [(0.20, 1.1 * 0.21), (0.26, 0.26)])
def test_a_rectifier_meets_the_larger_of_its_first_and_its_steady_pulse(surge: float, due: float) -> None:
    """Steady pulses grow with the mains, 10 % high; volts are the inverse ones, d.c. that of receiver and
    bleeder.
    """
    silicon = {"kind": "solid_state", "peak_inverse": "700 V", "peak_current": "0.9 A"}
    build = changed_build(shipped_build("mains_set"), {"supply.rectifier": silicon})
    line = lines_of(build, {RECTIFIER: Stress(highest_a=surge)}, RECTIFIED)["supply.rectifier"]
    assert (line.highest_v, line.stated_v) == (640.0, pytest.approx(700.0))
    assert (line.highest_a, line.stated_a) == (pytest.approx(due), pytest.approx(0.9))
    (direct,) = line.besides
    assert (direct.worst, direct.unit) == (pytest.approx(35.7e-3), "A")
    assert line.enough
    for key, value in (("peak_inverse", "633 V"), ("peak_current", f"{0.99 * due:.4g} A")):
        weak = changed_build(build, {f"supply.rectifier.{key}": value})
        assert not lines_of(weak, {RECTIFIER: Stress(highest_a=surge)}, RECTIFIED)["supply.rectifier"].enough


def test_the_windings_carry_their_own_currents() -> None:
    """The plate winding the r.m.s. of its pulses, the heater winding all heaters: RCA sheets of the tubes."""
    build = shipped_build("mains_set")
    found = lines_of(build, rectified=RECTIFIED)
    assert found[part_needs.WINDING].highest_a == 83e-3
    cards = cards_for(build)
    known = [one.heater.amps for one in (cards.detector, cards.first, cards.audio) if one is not None]
    assert found[part_needs.HEATERS].highest_a == pytest.approx(sum(known))
    # volts and watts are none of a winding's
    assert (found[part_needs.WINDING].highest_v, found[part_needs.WINDING].watts_w) == (None, None)


@pytest.mark.parametrize(
    ("key", "word", "words"),
    [
        ("heater.volts", "heater winding", "current is that of all heaters on it"),
        ("supply.secondary.volts", "winding", "current is r.m.s. of the plate winding"),
        (
            "phones[0].capacitor",
            "capacitor",
            "blocks the plate voltage from the phones: film or paper, no electrolytic",
        ),
        ("bands[0].coil", "plug-in coil", "one for each band: see the winding table"),
        ("audio.coupling", "capacitor", ""),
    ],
)
def test_what_is_said_beside_a_part(key: str, word: str, words: str) -> None:
    """A blocking capacitor that leaks puts the plate voltage on the phones: never an electrolytic."""
    said = part_needs._note_by_key(key, word)
    assert said.startswith(words) and bool(said) is bool(words)


def test_a_throttle_is_told_with_both_ends_and_where_it_is_hot() -> None:
    build = changed_build(
        shipped_build("throttle"), {"regeneration.minimum": "9 pF", "regeneration.maximum": "137 pF"}
    )
    said = lines_of(build)["regeneration.maximum"].note
    assert said == "variable, 9 to 137 pF; rotor to chassis, the stator is at plate potential"


def test_tube_and_regulator_are_told_by_their_type(demo: Build) -> None:
    """6SJ7: octal, 6.3 V and 0.3 A (RCA sheet)."""
    note = lines_of(demo)["detector.tube"].note
    assert note.startswith("6SJ7, ") and note.endswith("heater 6.3 V, 0.3 A")
    regulator = next(one for one in lines_of(demo).values() if one.designator.startswith("VR"))
    assert demo.regulator is not None and regulator.note.endswith(f", {demo.regulator.held_volts:g} V")


def test_a_vacuum_rectifier_is_numbered_behind_the_tubes() -> None:
    lines = needs(
        shipped_build("mains_set"), SimpleNamespace(elements=(), sockets={}), None, RECTIFIED,  # type: ignore[arg-type]
        cards_for(shipped_build("mains_set")),
    )  # fmt: skip
    (line,) = [one for one in lines if one.key == "supply.rectifier"]
    assert line.designator.startswith("V") and line.designator == "V1"


def test_a_regulator_is_told_with_its_own_heat(demo: Build) -> None:
    key = "regulator.volts"
    line = lines_of(demo, stressed(demo, key, Stress(watts_w=1.3, watts_when="warm")))[key]
    assert (line.watts_w, line.watts_when, line.buy_w) == (1.3, "warm", None)
