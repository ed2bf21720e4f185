"""Cards of rectifiers, and what a type fills in of a supply."""

import re
from pathlib import Path

import pytest

from receiver_sim import api, guide
from receiver_sim.data import folder
from receiver_sim.engine import Bench
from receiver_sim.errors import UnknownName
from receiver_sim.results.bands import Grade
from receiver_sim.schema import Build, BuildFaults, changed_build
from receiver_sim.schema.card import CardFaults
from receiver_sim.schema.rectifier_card import figures, load_rectifier, rectifier_for, rectifier_types
from receiver_sim.schema.supply import Vacuum

WANTED = {"80", "5Y3GT", "6X5GT", "6X4", "84"}
RECTIFIER = "supply.rectifier"


@pytest.fixture(scope="module")
def mains() -> Build:
    return api.shipped_build("mains_set")


def vacuum(build: Build) -> Vacuum:
    assert build.supply.kind == "rectifier" and build.supply.rectifier.kind == "vacuum"
    return build.supply.rectifier


def test_the_usual_types_are_there() -> None:
    assert set(rectifier_types()) >= WANTED
    text = guide.page("audio")
    (listed,) = re.findall(r"or by its `type`: ([^)]+)\)", text)
    assert set(listed.split(", ")) == set(rectifier_types())


@pytest.mark.parametrize("name", rectifier_types())
def test_every_card_is_complete(name: str) -> None:
    card = rectifier_for(name)
    assert card.type == name
    words = [word for pin in card.pins.values() for word in re.split(r"[ +]", pin)]
    assert words.count("p") == card.plates
    assert card.heater.direct == ("filament" in words) == ("k" not in words)
    # the drop is printed at the d.c. of a plate, far below its peak; a peak is 2.5 to 5 times the whole d.c.
    for drop in card.drops:
        assert drop.current < card.ratings.peak_current
    assert 2.5 <= card.ratings.peak_current / card.ratings.current <= 6.1
    assert card.warm_up.time < 5.0 if card.heater.direct else card.warm_up.time > 5.0


def test_figures_as_printed() -> None:
    """RCA receiving tube manual, recalled (flags on the cards): asymmetric figures in SI."""
    assert figures("5Y3GT") == {
        "drop": 60.0, "current": 0.125, "warm_up": 2.0, "peak_inverse": 1400.0, "peak_current": 0.4,
        "output_current": 0.125,
    }  # fmt: skip
    assert figures("6X4")["drop"] == 22.0 and figures("6X4")["current"] == pytest.approx(0.07)
    assert figures("84")["drop"] == 20.0 and figures("84")["current"] == pytest.approx(0.06)
    assert figures("no such type") == {}


def test_a_type_fills_in_what_is_left_out_and_nothing_else(mains: Build) -> None:
    """Guards against a stated figure that a type's print takes the place of."""
    own = vacuum(mains)
    assert (own.type, own.drop, own.current, own.warm_up) == ("6X5GT", 22.0, 0.07, 11.0)
    assert (own.peak_inverse, own.peak_current, own.output_current) == (1250.0, 0.21, 0.07)
    slow = vacuum(changed_build(mains, {RECTIFIER: {"kind": "vacuum", "type": "5y3", "warm_up": 7.0}}))
    assert (slow.drop, slow.current, slow.warm_up) == (60.0, 0.125, 7.0)
    measured = {"kind": "vacuum", "type": "80", "drop": 41.0, "current": 0.08}
    stated = vacuum(changed_build(mains, {RECTIFIER: measured}))
    assert (stated.drop, stated.current, stated.warm_up, stated.peak_inverse) == (41.0, 0.08, 2.0, 1400.0)
    plain = vacuum(changed_build(mains, {RECTIFIER: {"kind": "vacuum", "drop": 22.0, "current": 0.07}}))
    assert (plain.warm_up, plain.peak_inverse, plain.output_current) == (11.0, None, None)


@pytest.mark.parametrize(
    ("rectifier", "fault"),
    [
        (
            {"kind": "vacuum", "type": "6X5GTX"},
            "supply.rectifier.type: value '6X5GTX': expected LIST; did you mean '6X5GT'?",
        ),
        (
            {"kind": "vacuum", "current": 0.07},
            "supply.rectifier.drop: missing: expected a voltage from 0.2 V to 150 V such as '22 V'; add a "
            "line such as 'drop: 22 V', or the key 'type'",
        ),
        (
            {"kind": "vacuum", "type": "80", "drop": 50.0},
            "supply.rectifier.current: missing: expected drop and current together; state both or neither",
        ),
    ],
)
def test_faults_are_told(mains: Build, rectifier: dict[str, object], fault: str) -> None:
    with pytest.raises(BuildFaults) as caught:
        changed_build(mains, {RECTIFIER: rectifier})  # type: ignore[dict-item]
    (found,) = [str(f) for f in caught.value.faults]
    names = [f"'{name}'" for name in rectifier_types()]
    listed = f"{', '.join(names[:-1])} or {names[-1]}"
    assert found.partition(": ")[2] == fault.replace("LIST", listed) or found.endswith(
        fault.replace("LIST", listed)
    )


def test_a_type_the_set_is_too_much_for_is_bad(bench: Bench, mains: Build) -> None:
    """The set takes some 25 mA with its bleeder: a rectifier for 20 mA is too small, one for 70 mA is not."""
    study = api.supply_in_depth(mains, bench=bench)
    assert study.rectified is not None
    drawn = study.rectified.load_a + study.rectified.bleeder_a
    (good,) = [v for v in study.verdicts if v.subject == "rectifier" and v.limit == 0.07]
    assert good.grade is Grade.GOOD and good.value == pytest.approx(drawn, rel=1e-9) and good.unit == "A"
    assert 0.01 < drawn < 0.07
    small = changed_build(mains, {f"{RECTIFIER}.output_current": 0.9 * drawn})
    (bad,) = [v for v in api.supply_in_depth(small, bench=bench).verdicts if v.limit == 0.9 * drawn]
    assert (bad.subject, bad.grade) == ("rectifier", Grade.BAD)
    assert bad.text == "d.c. that receiver and bleeder take above the rating"


def test_faults_of_a_card_are_told_with_their_line(tmp_path: Path) -> None:
    text = (folder("models") / "rectifiers" / "80.yaml").read_text(encoding="utf-8")
    path = tmp_path / "80.yaml"
    path.write_text(
        text.replace("plates: 2", "plates: 3").replace("drop: 60 V", "drop: 60"), encoding="utf-8"
    )
    with pytest.raises(CardFaults) as caught:
        load_rectifier(path)
    assert [fault.key for fault in caught.value.faults] == ["plates", "drops[0].drop"]
    with pytest.raises(UnknownName, match="no card for rectifier '6X'; nearest is '6X4'"):
        rectifier_for("6X")
