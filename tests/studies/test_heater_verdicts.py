"""Heater volts against the card, filaments as cathodes, and what a dropper or a source of its own changes."""

import math
from dataclasses import replace
from pathlib import Path

import pytest

from receiver_sim import api, guide
from receiver_sim.circuit.registry import Cards
from receiver_sim.engine import Bench
from receiver_sim.judge import heater_verdicts, verdicts
from receiver_sim.results.bands import Grade, Verdict
from receiver_sim.schema import Build, changed_build
from receiver_sim.schema.card import TubeCard, card_for
from receiver_sim.schema.coil_figures import coil_figures

TUBES_25 = {"detector.tube": "24A", "audio.tube": "56"}
"""Both rated 2.5 V: 1.75 A and 1.0 A (their cards)."""


def judged(build: Build, rule: str = "heater_") -> list[Verdict]:
    found = heater_verdicts.judge_heaters(build, api.cards_for(build))
    return [v for v in found if v.rule.startswith(rule)]


def test_rated_volts_are_good(demo: Build) -> None:
    assert [(v.subject, v.rule, v.grade, v.value, v.limit, v.unit) for v in judged(demo)] == [
        ("detector 6SJ7", "heater_volts", Grade.GOOD, 6.3, 6.3, "V"),
        ("audio 6C5", "heater_volts", Grade.GOOD, 6.3, 6.3, "V"),
    ]


def test_6_3_volts_on_tubes_of_2_5_is_bad_and_said_first(bench: Bench, demo: Build) -> None:
    """Guards against heater volts that nobody compares with the card: this got 'good'."""
    build = changed_build(demo, TUBES_25)
    report = api.supply(build, bench=bench)
    bad = [v for v in report.verdicts if v.rule == "heater_over_max"]
    assert [(v.subject, v.grade, v.value) for v in bad] == [
        ("detector 24A", Grade.BAD, 6.3),
        ("audio 56", Grade.BAD, 6.3),
    ]
    assert bad[0].limit == pytest.approx(2.75, rel=1e-12) and bad[0].unit == "V"
    text = "6.3 V on a heater rated 2.5 V: it wears out fast or burns out; run the heater line at 2.5 V"
    assert bad[0].text == text
    assert report.cautions[0] == f"DANGER, detector 24A: {text}."


def test_the_page_of_check_has_it(bench: Bench, demo: Build) -> None:
    build = changed_build(demo, {**TUBES_25, "bands": [{"name": "80 m", "from": 3.5e6, "to": 3.8e6, "coil": {
        "inductance": 15e-6, "q": 135, "tap": 0.03}}]})  # fmt: skip
    report = api.check(build, bench=bench)
    assert [v.grade for v in report.verdicts if v.rule == "heater_over_max"] == [Grade.BAD, Grade.BAD]
    assert report.cautions[0].startswith("DANGER, detector 24A: 6.3 V on a heater rated 2.5 V")


@pytest.mark.parametrize(
    ("volts", "rule", "grade"),
    [
        (5.66, "heater_under_max", Grade.BAD),  # 0.9 times 6.3 V is 5.67 V
        (5.68, "heater_volts", Grade.GOOD),
        (6.92, "heater_volts", Grade.GOOD),
        (6.94, "heater_over_max", Grade.BAD),  # 1.1 times 6.3 V is 6.93 V
    ],
)
def test_a_tenth_either_way(demo: Build, volts: float, rule: str, grade: Grade) -> None:
    found = judged(changed_build(demo, {"heater.volts": f"{volts} V"}))
    assert [(v.rule, v.grade) for v in found] == [(rule, grade)] * 2


def test_thresholds_of_the_build_count(demo: Build) -> None:
    seven = {"heater.volts": "7 V"}  # 11 % above
    assert {v.grade for v in judged(changed_build(demo, seven))} == {Grade.BAD}
    wide = changed_build(demo, {**seven, "verdicts.heater_over_max": "12 %"})
    assert {v.grade for v in judged(wide)} == {Grade.GOOD}
    low = {"heater.volts": "5.5 V"}  # 13 % below
    assert {v.rule for v in judged(changed_build(demo, low))} == {"heater_under_max"}
    wide = changed_build(demo, {**low, "verdicts.heater_under_max": "13 %"})
    assert {v.grade for v in judged(wide)} == {Grade.GOOD}


def test_starved_heater_says_so(demo: Build) -> None:
    found = judged(changed_build(demo, {"heater.volts": "2.5 V"}))
    assert found[0].text == (
        "2.5 V on a heater rated 6.3 V: the cathode stays too cool to emit what its card says; run the "
        "heater line at 6.3 V"
    )


def test_different_tubes_on_one_line_get_a_winding_or_a_dropper(demo: Build) -> None:
    """Ohm's law: (6.3 - 2.5) V at 1 A of the 56 is 3.8 ohm and 3.8 W."""
    mixed = changed_build(demo, {"audio.tube": "56"})
    good, bad = judged(mixed)
    assert (good.subject, good.grade) == ("detector 6SJ7", Grade.GOOD)
    assert bad.text == (
        "6.3 V on a heater rated 2.5 V: it wears out fast or burns out; the tubes on this line want "
        "different volts (6SJ7 6.3 V, 56 2.5 V): give it a winding of 2.5 V, or drop it through 3.8 ohm, "
        "3.8 W of heat "
        "(key 'heater_feed')"
    )
    for feed in ({"volts": "2.5 V"}, {"source": "winding", "volts": "2.5 V"}):
        assert {v.grade for v in judged(changed_build(mixed, {"audio.heater_feed": feed}))} == {Grade.GOOD}
    wrong = judged(changed_build(mixed, {"audio.heater_feed": {"source": "winding", "volts": "5 V"}}))[1]
    assert wrong.text.endswith("its own feed has to give 2.5 V")


def test_a_heater_of_two_halves_runs_in_series_too(demo: Build) -> None:
    """12AU7: 12.6 V across both ends, 6.3 V with the halves in parallel (its sheet)."""
    for volts, grade in (("6.3 V", Grade.GOOD), ("12.6 V", Grade.GOOD), ("9 V", Grade.BAD)):
        found = judged(changed_build(demo, {"audio.tube": "12AU7", "heater.volts": volts}))
        assert found[1].grade is grade, volts


def test_a_first_stage_is_looked_at(demo: Build) -> None:
    first = {"tube": "56", "cathode_resistor": 2700.0, "plate_resistor": 1e5, "coupling": 1e-8}
    build = changed_build(demo, {"audio.first": first, "audio.grid_resistor": 470e3})
    assert [(v.subject, v.grade) for v in judged(build)] == [
        ("detector 6SJ7", Grade.GOOD),
        ("first audio 56", Grade.BAD),
        ("audio 6C5", Grade.GOOD),
    ]


BATTERY = {"detector.tube": "1T4", "heater.volts": "1.4 V", "heater.supply": "dc"}


def test_a_filament_on_the_coil_tap_wants_chokes(demo: Build) -> None:
    """1T4: 1.4 V, 50 mA, so 10 % are 1.4 ohm in each lead. The chokes in parallel shunt the tap by 1 %."""
    build = changed_build(demo, BATTERY)
    (bad,) = judged(build, "filament_tap")
    seen = []
    for band in build.bands:
        s = coil_figures(band.coil).sections
        seen.append((s.lower + s.mutual) ** 2 / (s.lower + s.upper + 2 * s.mutual))
    needed = 200 * max(seen)
    assert (bad.subject, bad.grade, bad.value, bad.unit) == ("detector 1T4", Grade.BAD, None, "H")
    assert bad.limit == pytest.approx(needed, rel=1e-9)
    assert 1e-6 < needed < 20e-6
    assert bad.text == (
        "the cathode of a 1T4 is its filament: on the coil tap the heater line shorts it to ground. Put an "
        f"r.f. choke in each filament lead, each {needed * 1e6:.2g} uH or more and at most 1.4 ohm, with a "
        "capacitor across the filament, or heat it from a winding or cell of its own (key 'heater_feed')"
    )
    for share, grade in ((0.99, Grade.DOUBTFUL), (1.01, Grade.GOOD)):
        choked = changed_build(build, {"detector.heater_feed": {"chokes": needed * share}})
        assert [v.grade for v in judged(choked, "filament_tap")] == [grade]
    own = changed_build(build, {"detector.heater_feed": {"source": "cell"}})
    assert [v.grade for v in judged(own, "filament_")] == [Grade.GOOD]


def test_the_drop_in_the_chokes_counts(demo: Build) -> None:
    """1T4, 50 mA: 2 ohm in each lead take 0.2 V of 1.4 V, more than a tenth; 1 ohm takes 0.1 V."""
    build = changed_build(
        demo, {**BATTERY, "detector.heater_feed": {"chokes": 1e-3, "choke_resistance": 2.0}}
    )
    found = judged(build)[0]
    assert (found.rule, found.grade) == ("heater_under_max", Grade.BAD)
    assert found.value == pytest.approx(1.2, rel=1e-9) and found.limit == pytest.approx(1.26, rel=1e-9)
    less = changed_build(build, {"detector.heater_feed.choke_resistance": 1.0})
    assert judged(less)[0].grade is Grade.GOOD


def test_a_c_in_the_filament_of_a_detector_is_bad(demo: Build) -> None:
    build = changed_build(demo, {**BATTERY, "heater.supply": "ac"})
    assert [(v.grade, v.subject) for v in judged(build, "filament_hum")] == [(Grade.BAD, "detector 1T4")]
    winding = changed_build(build, {"heater.supply": "dc", "detector.heater_feed": {"source": "winding"}})
    assert len(judged(winding, "filament_hum")) == 1
    for fine in (
        {"heater.supply": "dc"},
        {"detector.heater_feed": {"source": "cell"}},
    ):
        assert judged(changed_build(build, fine), "filament_hum") == []


def filament_audio(build: Build) -> tuple[Build, Cards]:
    """The demo with a filament as the cathode of its audio tube: only the card's word on it is changed."""
    cards = api.cards_for(build)
    card: TubeCard = cards.audio.model_copy(
        update={"heater": cards.audio.heater.model_copy(update={"direct": True})}
    )
    return build, replace(cards, audio=card)


def test_a_filament_in_the_audio_stage(demo: Build) -> None:
    build, cards = filament_audio(demo)
    found = {v.rule: v for v in heater_verdicts.judge_heaters(build, cards) if v.subject == "audio 6C5"}
    assert found["filament_bias"].grade is Grade.BAD
    assert "a cathode resistor cannot bias it" in found["filament_bias"].text
    assert found["filament_hum"].grade is Grade.DOUBTFUL
    one_side = changed_build(demo, {"heater.wiring": "one_side"})
    hum = [v for v in heater_verdicts.judge_heaters(one_side, cards) if v.rule == "filament_hum"]
    assert [v.grade for v in hum] == [Grade.BAD]
    own = changed_build(demo, {"audio.heater_feed": {"source": "cell"}})
    leak = {"bias": "grid_leak", "cathode_resistor": None, "grid_leak": 4.7e6, "grid_capacitor": 1e-8}
    leaking = changed_build(demo, {"heater.supply": "dc", **{f"audio.{k}": v for k, v in leak.items()}})
    for fine in (own, leaking):
        rules = [v.rule for v in heater_verdicts.judge_heaters(fine, cards)]
        assert not [r for r in rules if r.startswith("filament_")]


def test_hum_by_the_heater_follows_the_volts_at_that_heater(bench: Bench, demo: Build) -> None:
    """With one side grounded, all hum of the heaters comes through end a of the two tubes: linear in the
    volts there. Two thirds of the volts at both tubes are two thirds of the hum, a cell brings none.
    """
    one_side = changed_build(demo, {"heater.wiring": "one_side", "supply.ripple": "0 V"})

    def hum(changes: dict[str, object]) -> float:
        build = changed_build(one_side, changes)  # type: ignore[arg-type]
        return float(api.hum_study(build, bench=bench, rotation=0.3).outputs[0].at_build_v)

    whole = hum({})
    less = {"volts": "4.2 V"}
    assert whole > 1e-7
    both = hum({"detector.heater_feed": less, "audio.heater_feed": less})
    assert both == pytest.approx(whole * 4.2 / 6.3, rel=1e-6)
    quiet = {"source": "cell"}
    alone = hum({"detector.heater_feed": quiet})
    assert hum({"detector.heater_feed": quiet, "audio.heater_feed": less}) == pytest.approx(
        alone * 4.2 / 6.3, rel=1e-6
    )
    cell = hum({"detector.heater_feed": {"source": "cell"}, "audio.heater_feed": {"source": "cell"}})
    assert cell < 1e-9 * whole or math.isclose(cell, 0.0, abs_tol=1e-15)


CASES = ("24A", "57", "1T4", "12SJ7", "12AU7", "6SJ7")


@pytest.mark.parametrize("kind", CASES)
def test_every_kind_of_heater_is_good_at_its_rated_volts(demo: Build, kind: str) -> None:
    card = card_for(kind)
    build = changed_build(demo, {"heater.volts": f"{card.heater.volts} V"})
    cards = Cards(card, card)
    found = heater_verdicts.judge_heaters(build, cards)
    assert [v.grade for v in found if v.rule == "heater_volts"] == [Grade.GOOD, Grade.GOOD]


def test_phones_at_the_plate_are_judged_with_the_plug_pulled(demo: Build) -> None:
    """Guards against a lead that is dead only as long as the phones are in. 1.1 times the demo's 190 V."""
    bare = changed_build(demo, {"phones[0].drain": None, "phones[0].capacitor_rating": None})
    open_lead, unknown = verdicts.judge_safety(bare)
    assert (open_lead.rule, open_lead.grade, open_lead.subject) == (
        "plate_potential", Grade.BAD, "magnetic headset",
    )  # fmt: skip
    assert open_lead.value == pytest.approx(209.0, rel=1e-12) and open_lead.unit == "V"
    assert open_lead.text == (
        "plate potential on the lead once its plug is pulled: fit a drain resistor behind the capacitor"
    )
    assert (unknown.rule, unknown.grade) == ("capacitor_rating", Grade.DOUBTFUL)
    assert unknown.limit == pytest.approx(209.0, rel=1e-12)
    assert "it needs 209 V or more" in unknown.text
    assert [text.split(":")[0] for text in verdicts.dangers(verdicts.judge_safety(bare))] == [
        "DANGER, magnetic headset",
        "CAUTION, magnetic headset",
    ]
    assert any("once the plug is pulled" in text and "PLATE POTENTIAL" in text for text in bare.warnings)
    drained = changed_build(bare, {"phones[0].drain": "220 kohm", "phones[0].capacitor_rating": "210 V"})
    assert verdicts.judge_safety(drained) == []
    assert not any("PLATE POTENTIAL" in text for text in drained.warnings)


def test_what_is_bad_stands_before_what_asks_for_caution() -> None:
    """Whatever the order of the rules."""
    order = verdicts.dangers([
        Verdict("phones", "capacitor_rating", Grade.DOUBTFUL, None, 200.0, "V", "unknown"),
        Verdict("supply", "bleeder", Grade.BAD, None, None, "", "none"),
    ])  # fmt: skip
    assert order == ("DANGER, supply: none.", "CAUTION, phones: unknown.")


def test_the_rules_are_in_the_guide() -> None:
    table = guide.page("verdicts")
    source = Path(heater_verdicts.__file__).read_text(encoding="utf-8")
    rules = (
        "heater_over_max",
        "heater_under_max",
        "heater_volts",
        "filament_tap",
        "filament_bias",
        "filament_hum",
    )
    for rule in rules:
        assert f'"{rule}"' in source and f"`{rule}`" in table
