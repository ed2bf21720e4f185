"""What is kept from one question to the next belongs to its inputs: another input asks anew. Nothing runs."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path
from typing import Any

import pytest

from receiver_sim import api, receiver
from receiver_sim.api import _sets
from receiver_sim.circuit.factors import factors_of
from receiver_sim.circuit.sets import SetPlan, Start
from receiver_sim.measure import rectifier
from receiver_sim.receiver import Receiver
from receiver_sim.schema import Build
from receiver_sim.schema.card import card_for
from receiver_sim.studies import stability

NOBODY: Any = None


def plan_of(build: Build) -> SetPlan:
    cards = api.cards_for(build)
    bands = build.bands[:2]
    starts = tuple(Start(0.4, 2.5, 70e-12) for _ in bands)
    return SetPlan(build, cards, factors_of(build, build, cards), bands, (), starts, 7)


def test_sets_that_are_kept_are_those_of_everything_that_makes_them(demo: Build) -> None:
    plan = plan_of(demo)
    assert plan.key == plan_of(demo).key
    others = {
        "a value": dataclasses.replace(
            plan, build=demo.model_copy(update={"supply": demo.supply.model_copy(update={"volts": 191.0})})
        ),
        "a card": dataclasses.replace(
            plan, cards=dataclasses.replace(plan.cards, detector=card_for("6SK7"))
        ),
        "a tolerance": dataclasses.replace(plan, factors=(dataclasses.replace(plan.factors[0], high=0.01),
                                                          *plan.factors[1:])),
        "a factor": dataclasses.replace(plan, factors=plan.factors[1:]),
        "the bands": dataclasses.replace(plan, bands=demo.bands[1:3]),
        "where it starts": dataclasses.replace(plan, starts=(Start(0.41, 2.5, 70e-12), plan.starts[1])),
        "the seed": dataclasses.replace(plan, seed=8),
    }  # fmt: skip
    keys = {what: other.key for what, other in others.items()}
    assert plan.key not in keys.values() and len(set(keys.values())) == len(keys), keys


def test_verdicts_that_are_kept_are_those_that_were_asked(
    demo: Build, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A run that was stopped is taken up for the same verdicts of the same sets alone."""
    seen: list[str] = []

    def noted(job: Any, *_: Any) -> list[Any]:
        seen.append(job.key)
        return []

    monkeypatch.setattr(_sets, "_run", noted)
    for plan in (plan_of(demo), dataclasses.replace(plan_of(demo), seed=8)):
        for rules in (("holds_still",), ("hum_power_max",), ("holds_still", "hum_power_max")):
            _sets.run_asked(demo, plan, rules, count=3, workers=1, kept=_sets.Kept(None))
    assert len(set(seen)) == 6


@pytest.mark.parametrize(
    "text", ["", "{", "[1, 2]", "7", "null", '{"runs": 7}', '{"runs": ["ab"]}', '{"runs": {"k": [1]}}',
             '{"runs": {"k": {"0": 7}}}', '{"runs": {"k": {"x": []}}}', '{"walks": {}}'],
)  # fmt: skip
def test_a_file_that_holds_no_sets_is_as_none(tmp_path: Path, text: str) -> None:
    """Its name is the program's own, but anything may stand under it: cut short, or of another make."""
    path = tmp_path / "so-far.json"
    path.write_text(text, encoding="utf-8")
    assert _sets.Kept(path).rows("k") == {}
    _sets.Kept(path).add("k", {}, now=True)
    assert json.loads(path.read_text(encoding="utf-8"))["runs"]["k"] == {}


def test_a_supply_is_run_for_each_build_of_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    """Builds that were changed in memory have the digest of their file: the change itself counts."""
    ran: list[Build] = []

    def run(build: Build, *_: Any, **__: Any) -> tuple[None, str]:
        ran.append(build)
        return None, f"supply {len(ran)}"

    monkeypatch.setattr(rectifier, "run", run)
    monkeypatch.setattr(receiver, "_SETTLED", {})
    mains = api.shipped_build("mains_set")
    less = mains.model_copy(update={"supply": mains.supply.model_copy(update={"bleeder": None})})
    other = mains.model_copy(update={"detector": mains.detector.model_copy(update={"grid_leak": 1e6})})
    found = [receiver.settle(one, NOBODY).supply for one in (mains, less, other, mains, less)]
    assert found == ["supply 1", "supply 2", "supply 3", "supply 1", "supply 2"]
    assert len(ran) == 3


def test_a_changed_set_has_the_cards_that_it_was_given(demo: Build) -> None:
    """Drawn or calibrated tubes stay with their set; without others it keeps those it had."""
    cards = api.cards_for(demo)
    drawn = dataclasses.replace(cards, detector=cards.detector.model_copy(update={"type": "drawn"}))
    one = Receiver(demo, NOBODY, cards=drawn)
    assert one.changed(demo).cards is drawn
    assert Receiver(demo, NOBODY, cards=cards).changed(demo, drawn).cards is drawn


def test_a_band_of_the_same_name_but_another_coil_begins_anew(demo: Build) -> None:
    one, band = Receiver(demo, NOBODY), demo.bands[0]
    coil = band.coil.model_copy(update={"q": 1.1 * band.coil.q})
    same, other = band.model_copy(), band.model_copy(update={"coil": coil})
    first = one.at(band)
    assert one.at(same) is first
    assert one.at(other) is not first and one.at(other).band.coil.q == coil.q
    assert one.at(band, 1.01 * band.middle_hz) is not one.at(band)


def test_remedies_do_what_their_words_say(demo: Build) -> None:
    """Ohms, megohms and farads of the words are those of the changed build, and nothing else is changed."""
    plain = demo.detector.load.model_copy(update={"shunt": None})
    update = {"detector": demo.detector.model_copy(update={"load": plain})}
    assert demo.audio is not None
    update["audio"] = demo.audio.model_copy(update={"decoupling": None})
    build = demo.model_copy(update=update)
    found = dict(stability.remedies(build, stability.Steadiness.HOWL))
    assert list(found)[:2] == ["load shunt of 220 kohm", "load shunt of 100 kohm"]
    for kilohms in (220, 100):
        changed = found[f"load shunt of {kilohms} kohm"]
        assert changed.detector.load.shunt == 1e3 * kilohms  # type: ignore[union-attr]
        assert changed.audio == build.audio
    fed = found["audio fed by 4.7 kohm, 16 uF"]
    assert fed.audio is not None and fed.audio.decoupling is not None
    assert (fed.audio.decoupling.resistor, fed.audio.decoupling.capacitor) == (4.7e3, 16e-6)
    assert fed.detector == build.detector
    # 2.7 Mohm: three tenths, then a tenth; with a tenth of the capacitor, but 50 pF at least
    leaks = {what: one.detector for what, one in found.items() if "leak" in what}
    assert list(leaks) == ["grid leak of 0.81 Mohm", "grid leak of 0.27 Mohm", "leak 0.27 Mohm, 50 pF"]
    assert [d.grid_leak for d in leaks.values()] == pytest.approx([0.81e6, 0.27e6, 0.27e6])
    assert [d.grid_capacitor for d in leaks.values()] == pytest.approx([130e-12, 130e-12, 50e-12])
    first, _ = stability.remedies(build, stability.Steadiness.SQUEGGING)[0]
    assert first == "grid leak of 0.81 Mohm"
