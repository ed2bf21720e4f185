"""Each change that hum is tried with, the choice of a dropper, and the limits and words of both, by hand."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from types import SimpleNamespace
from typing import Any

import pytest

from receiver_sim import api
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.design import dropper, hum_remedies
from receiver_sim.results.supply import DropperChoice
from receiver_sim.schema import Build, changed_build

HALVE = "halve the heater-to-grid capacitance at the {} (lead dress, shielded socket)"
SECTION = "add a filter section of 2.2 kohm and 22 uF"


def _with(build: Build, path: str, **changes: Any) -> Build:
    """The build with keys of a part changed, one step of its path after the other."""
    if not path:
        return build.model_copy(update=changes)
    head, _, rest = path.partition(".")
    return build.model_copy(update={head: _with(getattr(build, head), rest, **changes)})


def _moved(before: Any, after: Any, path: str = "") -> dict[str, Any]:
    """What differs between two builds, by its place: the new values."""
    if before == after:
        return {}
    if hasattr(after, "model_fields_set") and type(before) is type(after):
        found: dict[str, Any] = {}
        for name in type(after).model_fields:
            inner = f"{path}.{name}" if path else name
            found |= _moved(getattr(before, name), getattr(after, name), inner)
        return found
    if isinstance(before, tuple) and isinstance(after, tuple) and len(before) == len(after):
        found = {}
        for i, (one, other) in enumerate(zip(before, after, strict=True)):
            found |= _moved(one, other, f"{path}[{i}]")
        return found
    return {path: after}


def _tried(build: Build, null: float | None) -> dict[str, dict[str, Any]]:
    """Every change in words, with the keys that it moves."""
    return {text: _moved(build, one) for text, one in hum_remedies.changes(build, null)}


# ---------------------------------------------------------------------------- hum: heaters


@pytest.mark.parametrize("wiring", ["centre_tap", "one_side"])
def test_a_hum_pot_is_fitted_where_there_is_none(demo: Build, wiring: str) -> None:
    """A pot that is set and not wired would do nothing."""
    tried = _tried(_with(demo, "heater", wiring=wiring), 0.31)
    assert tried["fit a hum pot and set it to 31 %"] == {
        "heater.wiring": "hum_pot",
        "heater.hum_pot_position": 0.31,
    }
    assert not any(text.startswith("set the hum pot") for text in tried)


def test_a_hum_pot_that_is_there_is_set(demo: Build) -> None:
    tried = _tried(demo, 0.31)
    assert tried["set the hum pot to 31 %"] == {"heater.hum_pot_position": 0.31}
    assert not any(text.startswith("fit a hum pot") for text in tried)


@pytest.mark.parametrize(
    ("null", "offered"), [(0.5049, False), (0.5051, True), (0.4951, False), (0.4949, True)]
)
def test_a_hum_pot_that_stands_at_the_null_is_no_remedy(demo: Build, null: float, offered: bool) -> None:
    """Half a per cent of its travel, which nobody sets nearer; it stands at 50 %."""
    assert any(text.startswith("set the hum pot") for text in _tried(demo, null)) is offered


def test_without_a_known_null_no_hum_pot_is_advised(demo: Build) -> None:
    for wiring in ("hum_pot", "centre_tap", "one_side"):
        assert not any("hum pot" in text for text in _tried(_with(demo, "heater", wiring=wiring), None))


def test_a_centre_tap_is_advised_where_one_side_is_grounded(demo: Build) -> None:
    text = "ground a centre tap instead of one side"
    assert _tried(_with(demo, "heater", wiring="one_side"), None)[text] == {"heater.wiring": "centre_tap"}
    for wiring in ("hum_pot", "centre_tap"):
        assert text not in _tried(_with(demo, "heater", wiring=wiring), None)


def test_smooth_direct_current_is_advised_for_alternating_current_alone(demo: Build) -> None:
    """Smooth: without the ripple of the build."""
    text = "heat with smooth d.c."
    humming = _with(demo, "heater", ripple=0.2)
    assert _tried(humming, None)[text] == {"heater.supply": "dc", "heater.ripple": 0.0}
    direct = _tried(_with(demo, "heater", supply="dc", wiring="one_side"), 0.31)
    assert text not in direct and "ground a centre tap instead of one side" not in direct
    assert not any("hum pot" in one for one in direct)


def test_heater_capacitances_are_halved_at_each_tube_alone(demo: Build) -> None:
    tried = _tried(demo, None)
    for stage, where in (("detector", "detector"), ("audio", "audio stage")):
        couple = getattr(demo, stage).heater_coupling
        assert couple.grid_a > 0.0 and couple.grid_b > 0.0
        assert tried[HALVE.format(where)] == {
            f"{stage}.heater_coupling.grid_a": pytest.approx(couple.grid_a / 2.0),
            f"{stage}.heater_coupling.grid_b": pytest.approx(couple.grid_b / 2.0),
        }


# ---------------------------------------------------------------------------- hum: supply, fields, stages


def test_a_supply_with_ripple_is_given_a_filter_section(demo: Build) -> None:
    """Of the volts, resistance, ripple and bleeder that it has; without ripple none is advised."""
    changed = dict(hum_remedies.changes(demo, None))[SECTION].supply
    before = demo.supply
    assert (changed.volts, changed.resistance, changed.ripple) == (190.0, 560.0, before.ripple)
    assert (changed.ripple_frequency, changed.bleeder) == (100.0, 82e3)
    (section,) = changed.sections  # type: ignore[union-attr]
    assert (section.resistance, section.capacitor) == (2.2e3, 22e-6)
    assert (section.inductance, section.series_resistance) == (0.0, 0.0)
    assert SECTION not in _tried(_with(demo, "supply", ripple=0.0), None)


def test_a_rectifier_is_given_a_larger_last_capacitor_or_a_section_more() -> None:
    build = api.shipped_build("mains_set")
    changed = dict(hum_remedies.changes(build, None))
    old, last = build.supply.filter, len(build.supply.filter) - 1  # type: ignore[union-attr]
    assert last > 0
    doubled = changed["double the last filter capacitor"].supply.filter  # type: ignore[union-attr]
    assert [one.capacitor for one in doubled[:-1]] == [one.capacitor for one in old[:-1]]
    assert doubled[-1].capacitor == pytest.approx(2.0 * old[-1].capacitor)
    longer = changed[SECTION].supply.filter  # type: ignore[union-attr]
    assert longer[:-1] == old
    assert (longer[-1].resistor, longer[-1].choke, longer[-1].capacitor) == (2.2e3, None, 22e-6)
    # what follows the last capacitor stands its volts
    assert longer[-1].rating == old[-1].rating


@pytest.mark.parametrize(("sections", "offered"), [(4, True), (5, False)])
def test_a_filter_grows_to_five_sections(sections: int, offered: bool) -> None:
    """As many as a build may have."""
    build = api.shipped_build("mains_set")
    last = build.supply.filter[-1]  # type: ignore[union-attr]
    long = _with(build, "supply", filter=(last,) * sections)
    assert (SECTION in dict(hum_remedies.changes(long, None))) is offered


def test_each_field_is_shielded_where_it_enters_and_only_what_is_there() -> None:
    build = api.shipped_build("mains_set")
    words = "turn, move or shield {} until a tenth of its pick-up is left"
    tried = _tried(build, None)
    # a tenth: what turning or moving may leave (common practice, no source)
    assert tried[words.format("the detector's choke or transformer")] == {
        "pickup.detector_load": pytest.approx(3e-5)
    }
    assert tried[words.format("the output winding")] == {"pickup.output": pytest.approx(2e-5)}
    still = _with(build, "pickup", detector_load=0.0, output=0.0)
    assert not any("pick-up" in text for text in _tried(still, None))


@pytest.mark.parametrize(
    ("acts_on", "text"),
    [
        ("screen", "double the screen's by-pass capacitor"),
        ("plate", "double the by-pass of the plate feed"),
        ("throttle", None),
    ],
)
def test_the_by_pass_of_the_control_is_doubled_by_its_own_name(
    demo: Build, acts_on: str, text: str | None
) -> None:
    tried = _tried(_with(demo, "regeneration", acts_on=acts_on), None)
    found = {words: moved for words, moved in tried.items() if "regeneration.bypass" in moved}
    assert found == ({} if text is None else {text: {"regeneration.bypass": pytest.approx(0.66e-6)}})


def test_a_fixed_screen_has_its_own_by_pass_doubled(demo: Build) -> None:
    """Of a pentode whose plate the control feeds."""
    fed = changed_build(
        demo,
        {
            "regeneration.acts_on": "plate",
            "regeneration.stopper": None,
            "detector.screen": {"resistor": "1 Mohm", "bypass": "0.1 uF"},
        },
    )
    assert _tried(fed, None)["double the screen's by-pass capacitor"] == {
        "detector.screen.bypass": pytest.approx(0.2e-6)
    }


def test_an_audio_stage_is_decoupled_or_its_decoupling_doubled(demo: Build) -> None:
    assert demo.audio is not None and demo.audio.decoupling is not None
    decouple, double = (
        "decouple the audio stage with 2.2 kohm and 22 uF",
        "double the decoupling capacitor of the audio stage",
    )
    tried = _tried(demo, None)
    assert tried[double] == {"audio.decoupling.capacitor": pytest.approx(32e-6)} and decouple not in tried
    bare = _with(demo, "audio", decoupling=None)
    added = dict(hum_remedies.changes(bare, None))[decouple]
    assert added.audio is not None and added.audio.decoupling is not None
    assert (added.audio.decoupling.resistor, added.audio.decoupling.capacitor) == (2.2e3, 22e-6)
    assert double not in _tried(bare, None)


def test_a_cathode_is_by_passed_where_it_is_not(demo: Build) -> None:
    text = "by-pass the audio cathode with 22 uF"
    open_ = _with(demo, "audio", cathode_bypass=None)
    assert _tried(open_, None)[text] == {"audio.cathode_bypass": 22e-6}
    assert text not in _tried(demo, None)
    assert text not in _tried(_with(open_, "audio", bias="grid_leak"), None)


def test_every_change_moves_something_and_says_what_once(demo: Build) -> None:
    for build in (demo, api.shipped_build("mains_set")):
        texts = [text for text, _ in hum_remedies.changes(build, 0.31)]
        assert len(texts) == len(set(texts)) >= 7
        assert all(_tried(build, 0.31).values())


# ---------------------------------------------------------------------------- hum: what it gains


def test_what_fails_is_left_out_and_what_makes_it_worse_comes_last(demo: Build) -> None:
    """20 dB before; silence counts from the threshold on which the table has its floor."""

    def measure(what: str, _: Build) -> list[float | None] | None:
        if what == "hum to hold remedies against":
            return [20.0]
        if what == "remedy: heat with smooth d.c.":
            return None
        return [24.0] if "decoupling" in what else [15.0] if "filter" in what else [20.0]

    found = hum_remedies.run(demo, measure=measure, nulls=None)
    assert "heat with smooth d.c." not in {one.change for one in found}
    assert (found[0].change, found[0].gain_db) == (SECTION, 5.0)
    assert (found[-1].after_db, found[-1].gain_db) == (24.0, -4.0)


def test_a_silent_set_needs_no_remedy_and_a_failed_one_gets_none(demo: Build) -> None:
    asked: list[str] = []

    def measure(what: str, _: Build) -> list[float | None] | None:
        asked.append(what)
        return [None, None]

    assert hum_remedies.run(demo, measure=measure, nulls=None) == ()
    assert hum_remedies.run(demo, measure=lambda *_: None, nulls=None) == ()
    assert asked == ["hum to hold remedies against"]


# ---------------------------------------------------------------------------- dropper


def _regulated(build: Build, **changes: Any) -> Build:
    return _with(build, "regulator", **changes)


def _choice(
    build: Build, supply: list[float], control: list[float], *, hottest: float = 1.0
) -> DropperChoice:
    return dropper.reduce(build, supply, control, hottest=hottest)


LOADS = [1.0e-3, 1.4e-3, 1.2e-3, 1.3e-3]
SUPPLY = [172.0, 211.0, 171.0, 209.0]
"""At both mains and both ends of the control, in no order."""


def _held(build: Build) -> tuple[float, float, float]:
    """Volts of the regulator, least and greatest dropper by Kirchhoff's law: 5 and 30 mA of the tube."""
    assert build.regulator is not None
    volts = build.regulator.held_volts
    return volts, (211.0 - volts) / (30e-3 + 1.0e-3), (171.0 - volts) / (5e-3 + 1.4e-3)


def test_the_limits_of_a_dropper_come_from_the_worst_of_both_mains_and_both_ends(demo: Build) -> None:
    _, low, high = _held(demo)
    found = _choice(demo, SUPPLY, LOADS)
    assert (found.lowest_ohm, found.highest_ohm) == pytest.approx((low, high))
    assert found.fitted_ohm == 4.7e3
    # the value of E24 nearest in ratio to their geometric mean
    middle = (low * high) ** 0.5
    assert found.chosen_ohm is not None and abs(found.chosen_ohm / middle - 1.0) < 0.05
    assert low < found.chosen_ohm < high


@pytest.mark.parametrize("share", [0.99, 1.01])
@pytest.mark.parametrize("end", ["least", "greatest"])
def test_a_dropper_fits_between_its_limits_alone(demo: Build, end: str, share: float) -> None:
    _, low, high = _held(demo)
    ohm = share * (low if end == "least" else high)
    found = _choice(_regulated(demo, dropper=ohm), SUPPLY, LOADS)
    inside = (share > 1.0) is (end == "least")
    kept = "the dropper fitted keeps the regulator within its limits"
    other = f"fit {found.chosen_ohm:.3g} ohm: the dropper fitted leaves the regulator's limits"
    assert found.text == (kept if inside else other)


def test_a_supply_too_low_for_a_regulator_has_no_dropper(demo: Build) -> None:
    """At 108 V of the lowest supply nothing is left for the dropper."""
    found = _choice(demo, [120.0, 211.0], LOADS)
    assert (found.chosen_ohm, found.chosen_w, found.advised_w) == (None, None, None)
    assert found.text == "no dropper keeps the regulator within its limits from 90 to 110 % of the mains"


@pytest.mark.parametrize(("watts", "over"), [(1.98, False), (2.02, True)])
def test_a_dropper_that_is_overloaded_is_shouted(demo: Build, watts: float, over: bool) -> None:
    """Beside whether it regulates; a rating that is not stated is not judged."""
    kept = "the dropper fitted keeps the regulator within its limits"
    rated = _regulated(demo, dropper_power=2.0)
    found = _choice(rated, SUPPLY, LOADS, hottest=watts)
    assert found.text == (f"{kept}; IT IS OVERLOADED: 2 W in a resistor of 2 W" if over else kept)
    assert found.fitted_w == watts
    assert _choice(_regulated(demo, dropper_power=None), SUPPLY, LOADS, hottest=50.0).text == kept


def test_a_dropper_is_looked_at_at_both_mains_with_the_control_at_both_stops(
    monkeypatch: pytest.MonkeyPatch, demo: Build, demo_cards: Cards
) -> None:
    """90 and 110 % of the mains; its heat is that of the largest drop, U^2/R."""
    seen: list[tuple[float, float]] = []
    state = {"mains": 1.0, "rotation": 0.0}
    places = {Place.SUPPLY: "b", Place.REGULATED: "r"}

    def volts() -> dict[str, float]:
        seen.append((state["mains"], state["rotation"]))
        top = 200.0 * state["mains"] - 3.0 * state["rotation"]
        return {"b": top, "r": 108.0}

    @contextmanager
    def made(*_: object) -> Iterator[SimpleNamespace]:
        yield SimpleNamespace(
            mains=lambda share: state.update(mains=share),
            turn=lambda rotation: state.update(rotation=rotation),
            volts=volts,
            node=lambda place: places[place],
        )

    circuit = SimpleNamespace(
        part=lambda role: role, current=lambda part, _: 1e-3 if part is Role.CONTROL_TOP else 9.0
    )
    monkeypatch.setattr(dropper, "loaded", made)
    monkeypatch.setattr(dropper, "plan", lambda *_, **__: circuit)
    tuned: Any = SimpleNamespace(build=demo, cards=demo_cards, band=demo.bands[0], dial_hz=1.9e6, bench=None)
    found = dropper.run(tuned)
    assert found is not None
    assert sorted(seen) == [(0.9, 0.0), (0.9, 1.0), (1.1, 0.0), (1.1, 1.0)]
    assert found.fitted_w == pytest.approx((220.0 - 108.0) ** 2 / 4.7e3)
    assert found.control_a == 1e-3
    bare: Any = SimpleNamespace(**{**vars(tuned), "build": demo.model_copy(update={"regulator": None})})
    assert dropper.run(bare) is None
