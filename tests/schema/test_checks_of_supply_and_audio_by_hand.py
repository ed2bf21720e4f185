"""Checks between the keys of supply, control and audio stages, each asked of a scrap of a build; nothing is
run. Ranges that a sentence names are held against those of the field itself.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest

from receiver_sim.builds import shipped_build
from receiver_sim.schema import Build, changed_build, checks, regulator_types
from receiver_sim.schema import parts as p
from receiver_sim.schema import supply_and_audio_checks as audio
from receiver_sim.schema.coil_figures import coil_figures
from receiver_sim.schema.faults import dotted
from receiver_sim.schema.quantity import Quantity
from receiver_sim.schema.validated import Finding, Glimpse

Check = Callable[[Glimpse], Iterator[Finding]]


def found(check: Check, data: dict[str, Any]) -> list[tuple[str, str, str | None, bool]]:
    return [(dotted(f.path), f.expected, f.cure, f.missing) for f in check(Glimpse(Build, data))]


def keys(check: Check, data: dict[str, Any]) -> list[str]:
    return [key for key, *_ in found(check, data)]


def said(field: Any) -> Quantity:
    """Return the mark of a field: its dimension, range and example."""
    return next(mark for mark in field.__metadata__ if isinstance(mark, Quantity))


def test_every_check_is_made() -> None:
    """A check that is in no list is made nowhere."""
    assert {check.__name__ for check in audio.SUPPLY_AND_AUDIO_CHECKS} == {
        "coupling_capacitor", "regulator_figures", "rectifier_figures", "filter_sections", "battery_end",
        "stage_bias", "grid_resistors", "volume_place", "phone_figures", "phones_places",
    }  # fmt: skip
    own = {"supply_order", "control_keys", "pot_laws", "tuning_order", "names"}
    assert own <= {check.__name__ for check in checks.CHECKS}
    assert set(audio.SUPPLY_AND_AUDIO_CHECKS) <= set(checks.CHECKS)


@pytest.mark.parametrize(
    ("key", "field"),
    [("volts", p.RegulatorVolts), ("current", p.RegulatorCurrent), ("impedance", p.ResistorOrLink),
     ("strike", p.StrikeVolts)],
)  # fmt: skip
def test_what_a_regulator_needs_is_what_its_field_takes(key: str, field: Any) -> None:
    """The same range as the field's own; the line that is offered can be read and lies within it."""
    mark = said(field)
    kind = mark.dimension.name
    span = f"{kind} from {mark.low} to {mark.high}" + (" (or 0)" if mark.zero else "")
    assert regulator_types.NEEDED[key].startswith(span)
    offered = regulator_types.EXAMPLE[key]
    assert mark.allows(mark.read(offered))
    data = {"regulator": {"kind": "gas_tube"}}
    assert (
        f"regulator.{key}", regulator_types.NEEDED[key], f"add a line such as '{key}: {offered}'", True
    ) in found(audio.regulator_figures, data)  # fmt: skip


def test_a_regulator_is_known_by_three_figures_a_gas_tube_by_four() -> None:
    all_of = [f"regulator.{key}" for key in ("volts", "current", "impedance")]
    assert keys(audio.regulator_figures, {"regulator": {"kind": "zener"}}) == all_of
    assert keys(audio.regulator_figures, {"regulator": {"kind": "gas_tube"}}) == [*all_of, "regulator.strike"]
    # a kind that is none is said elsewhere, and so is a regulator without one
    assert keys(audio.regulator_figures, {"regulator": {"kind": "valve"}}) == []
    assert keys(audio.regulator_figures, {"regulator": {}}) == []


def test_a_rectifier_is_asked_for_the_range_of_its_fields() -> None:
    data = {"supply": {"kind": "rectifier", "rectifier": {"kind": "vacuum"}}}
    place = "supply.rectifier"
    assert found(audio.rectifier_figures, data) == [
        (f"{place}.drop", said(p.DiodeDrop).expected().replace("'90 V'", "'22 V'"),
         "add a line such as 'drop: 22 V', or the key 'type'", True),
        (f"{place}.current", said(p.RegulatorCurrent).expected().replace("'5 mA'", "'70 mA'"),
         "add a line such as 'current: 70 mA', or the key 'type'", True),
    ]  # fmt: skip
    silicon = {"supply": {"kind": "rectifier", "rectifier": {"kind": "solid_state"}}}
    assert found(audio.rectifier_figures, silicon) == []


def test_only_batteries_are_spent() -> None:
    """60 V fresh are spent below that; where either is not known nothing is said."""
    battery = {"kind": "battery", "volts": "60 V"}
    assert keys(audio.battery_end, {"supply": {**battery, "end_volts": "60 V"}}) == ["supply.end_volts"]
    assert keys(audio.battery_end, {"supply": {**battery, "end_volts": "59 V"}}) == []
    assert keys(audio.battery_end, {"supply": battery}) == []
    assert keys(audio.battery_end, {"supply": {"kind": "battery", "end_volts": "60 V"}}) == []


def test_each_stage_has_the_parts_of_its_own_bias() -> None:
    """Cathode bias a resistor, grid leak bias the leak and the capacitor ahead of it; in either stage."""
    data = {"audio": {"bias": "cathode", "first": {"bias": "grid_leak"}}}
    add = "add a line such as '"
    leak = "since the bias is 'grid_leak'"
    assert found(audio.stage_bias, data) == [
        ("audio.cathode_resistor", "a cathode resistor, since the bias is 'cathode'",
         f"{add}cathode_resistor: 1.2 kohm'", True),
        ("audio.first.grid_leak", f"a grid leak, {leak}", f"{add}grid_leak: 4.7 Mohm'", True),
        ("audio.first.grid_capacitor", f"a capacitor ahead of the grid leak, {leak}",
         f"{add}grid_capacitor: 10 nF'", True),
    ]  # fmt: skip
    full = {"bias": "grid_leak", "grid_leak": "4.7 Mohm", "grid_capacitor": "10 nF"}
    assert found(audio.stage_bias, {"audio": {**full, "first": full}}) == []


def test_a_grid_behind_a_capacitor_has_its_resistor() -> None:
    """The output stage's own behind a first stage, the first one's behind the detector; none where the
    volume control or the leak stands."""
    one = {"tube": "6C5", "coupling": "10 nF"}
    assert keys(audio.grid_resistors, {"audio": one}) == ["audio.grid_resistor"]
    assert keys(audio.grid_resistors, {"audio": {**one, "first": {"tube": "6C5"}}}) == [
        "audio.grid_resistor", "audio.first.grid_resistor"
    ]  # fmt: skip
    assert keys(audio.grid_resistors, {"audio": {**one, "bias": "grid_leak"}}) == []
    assert keys(audio.grid_resistors, {"audio": {**one, "volume": {"pot": "470 kohm"}}}) == []
    assert keys(audio.grid_resistors, {"audio": {"tube": "6C5"}}) == []
    # what has no tube is no stage yet
    assert keys(audio.grid_resistors, {"audio": {"coupling": "10 nF"}}) == []


def test_a_control_behind_the_last_plate_is_blocked_from_it() -> None:
    """One behind the first of two stages stands at a grid, ahead of the coupling capacitor there."""
    after = {"volume": {"place": "after"}, "grid_resistor": "470 kohm"}
    assert keys(audio.volume_place, {"audio": after}) == ["audio.volume.capacitor"]
    assert keys(audio.volume_place, {"audio": {**after, "first": {"tube": "6C5"}}}) == []
    bare = {"volume": {"place": "before"}}
    assert keys(audio.volume_place, {"audio": bare}) == []
    assert keys(audio.volume_place, {"audio": {**bare, "first": {"tube": "6C5"}}}) == ["audio.grid_resistor"]
    assert keys(audio.volume_place, {"audio": {"first": {"tube": "6C5"}}}) == []


def test_a_load_is_known_by_one_of_three_and_the_range_is_that_of_its_field() -> None:
    mark = said(p.LoadResistance)
    assert found(audio.phone_figures, {"phones": [{"name": "headset"}, None]}) == [
        ("phones[0].resistance", f"a resistance from {mark.low} to {mark.high} such as '1.8 kohm'",
         "add a line such as 'resistance: 1.8 kohm'", True),
    ]  # fmt: skip
    for known in ({"resistance": "600 ohm"}, {"kind": "600_ohm"}, {"impedance": [{"frequency": "1 kHz"}]}):
        assert found(audio.phone_figures, {"phones": [known]}) == []


def test_phones_in_the_plate_lead_are_one_pair() -> None:
    """Where there are none at all, that is said of the list itself."""
    lead = {"detector": {"load": {"kind": "phones"}}}
    assert keys(audio.phones_places, {**lead, "phones": []}) == []
    assert keys(audio.phones_places, {**lead, "phones": [{"at": "load"}]}) == []
    assert keys(audio.phones_places, {**lead, "phones": [{"at": "load"}, {"at": "load"}]}) == [
        "detector.load.kind"
    ]  # fmt: skip


def test_only_the_sections_of_a_rectifier_s_filter_are_looked_at() -> None:
    parts = [{"capacitor": "8 uF"}, {"capacitor": "8 uF"}]
    assert keys(audio.filter_sections, {"supply": {"kind": "rectifier", "filter": parts}}) == [
        "supply.filter[1].resistor"
    ]  # fmt: skip
    assert keys(audio.filter_sections, {"supply": {"kind": "dc", "filter": parts}}) == []


@pytest.mark.parametrize("kind", ["choke", "resistor", "phones"])
def test_an_audio_grid_is_blocked_from_the_detector_s_plate(kind: str) -> None:
    """A transformer needs no capacitor, its winding is one; without an audio stage there is no grid."""
    data = {"detector": {"load": {"kind": kind}}, "audio": {"tube": "6C5"}}
    assert keys(audio.coupling_capacitor, data) == ["audio.coupling"]
    assert keys(audio.coupling_capacitor, {"detector": data["detector"]}) == []
    iron = {**data, "detector": {"load": {"kind": "transformer"}}}
    assert keys(audio.coupling_capacitor, iron) == []


def test_a_string_of_regulators_holds_the_volts_of_all() -> None:
    """Two of 75 V hold 150 V; of a type that states none, those of its sheet: the 0A3 75 V."""
    for supply, due in (("150 V", ["regulator.volts"]), ("151 V", [])):
        for one in ({"volts": "75 V"}, {"type": "0A3"}):
            data = {"supply": {"kind": "dc", "volts": supply}, "regulator": {"kind": "gas_tube", "count": 2}}
            data["regulator"] |= one
            assert keys(checks.supply_order, data) == due


def test_a_control_has_the_parts_of_its_kind() -> None:
    """A track has no minimum, a capacitor no track; a resistor in series has no lower end."""
    pot = {"acts_on": "screen", "pot": "50 kohm"}
    assert keys(checks.control_keys, {"regeneration": pot}) == []
    assert found(checks.control_keys, {"regeneration": {"acts_on": "screen"}}) == [
        ("regeneration.pot", said(p.Pot).expected(), "add a line such as 'pot: 50 kohm'", True)
    ]
    meshed = {**pot, "minimum": "9 pF", "maximum": "90 pF"}
    assert keys(checks.control_keys, {"regeneration": meshed}) == [
        "regeneration.minimum", "regeneration.maximum"
    ]  # fmt: skip
    plate = {"acts_on": "plate", "pot": "50 kohm", "stopper": "4.7 kohm", "bottom": "1 kohm"}
    assert keys(checks.control_keys, {"regeneration": plate}) == ["regeneration.stopper"]
    series = {**plate, "connection": "resistor"}
    assert found(checks.control_keys, {"regeneration": series}) == [
        ("regeneration.stopper", "no stopper, since this control has no screen", "take the line out", False),
        ("regeneration.bottom", "no bottom, since this control has no lower end", "take the line out", False),
    ]
    fixed = {"regeneration": {**pot, "connection": "resistor"}, "detector": {"screen": {"bypass": "0.1 uF"}}}
    assert keys(checks.control_keys, fixed) == ["regeneration.connection", "detector.screen"]
    assert keys(checks.control_keys, {"detector": fixed["detector"]}) == []


def test_a_throttle_is_a_capacitor_and_needs_no_regulator_of_its_own() -> None:
    """Every part of a track is refused; a regulator feeds a fixed screen or nothing."""
    bare = {"acts_on": "throttle"}
    span = said(p.TuningCapacitor)
    for key, example in (("minimum", "12 pF"), ("maximum", "150 pF")):
        assert (
            f"regeneration.{key}", f"the {key} of the throttle, from {span.low} to {span.high}",
            f"add a line such as '{key}: {example}'", True,
        ) in found(checks.control_keys, {"regeneration": bare})  # fmt: skip
        assert span.allows(span.read(example))
    meshed = {**bare, "minimum": "9 pF", "maximum": "90 pF"}
    track = {"pot": "50 kohm", "top": "1 kohm", "bottom": "1 kohm", "stopper": "1 kohm", "bypass": "1 uF",
             "connection": "resistor"}  # fmt: skip
    assert keys(checks.control_keys, {"regeneration": {**meshed, **track}}) == [
        f"regeneration.{key}" for key in track
    ]
    held = {"regeneration": meshed, "regulator": {"kind": "zener"}}
    assert keys(checks.control_keys, held) == ["regulator"]
    assert keys(checks.control_keys, {**held, "detector": {"screen": {"bypass": "0.1 uF"}}}) == []


def test_phones_hang_where_there_is_something_to_hang_on() -> None:
    """Without an audio stage on the detector alone; on a winding of a transformer by its name; on the volume
    control only where it stands behind the only stage."""
    assert found(audio.phones_places, {"phones": [{"at": "line"}]}) == [
        ("phones[0].at", "'plate' or 'load', since there is no audio stage",
         "write 'at: plate' with a capacitor, or 'at: load' with 'detector.load.kind: phones'", False),
    ]  # fmt: skip
    iron = {"kind": "transformer", "secondaries": [{"name": "line"}, {}]}
    stage: dict[str, Any] = {"tube": "6C5", "output": iron, "volume": {"place": "after"}}
    for at in ("line", "plate", "volume"):
        assert keys(audio.phones_places, {"audio": stage, "phones": [{"at": at, "capacitor": "1 uF"}]}) == []
    two = {**stage, "first": {"tube": "6C5"}}
    assert found(audio.phones_places, {"audio": two, "phones": [{"at": "volume"}]}) == [
        ("phones[0].at", "'plate', 'line' or ''", "name a secondary of 'audio.output'", False)
    ]
    ahead = {**stage, "volume": {"place": "before"}, "output": {"kind": "resistor"}}
    assert found(audio.phones_places, {"audio": ahead, "phones": [{"at": "volume"}, {"at": "line"}]}) == [
        (f"phones[{i}].at", "'plate'", "name a secondary of 'audio.output'", False) for i in (0, 1)
    ]
    assert keys(audio.phones_places, {"audio": ahead, "phones": [{"name": "headset"}]}) == []


def test_no_two_of_one_list_bear_one_name() -> None:
    """Whatever their capitals; what is plugged in nowhere else may not be called a place."""
    alike = [{"name": "Line"}, {"name": "line"}, {"name": "Plate"}]
    data = {
        "bands": alike[:2], "phones": alike[:2],
        "audio": {"output": {"kind": "transformer", "secondaries": alike}},
    }  # fmt: skip
    assert found(checks.names, data) == [
        ("bands[1].name", "a name that no other band has", "rename one of them", False),
        ("phones[1].name", "a name that no other load has", "rename one of them", False),
        ("audio.output.secondaries[1].name", "a name that no other secondary has", "rename one of them",
         False),
        ("audio.output.secondaries[2].name", "a name other than 'plate'", "rename it", False),
    ]  # fmt: skip


def test_every_socket_takes_a_tube_with_a_card() -> None:
    """Of a bulb with two tubes in it the one that is meant is to be named."""
    on_hand = checks.known_types(lambda: ("6J7", "6F7-P", "6F7-T"))
    data = {
        "detector": {"tube": "6J7"}, "rf_stage": {"tube": "6J7X"},
        "audio": {"tube": "6F7", "first": {"tube": "955"}},
    }  # fmt: skip
    assert found(on_hand, data) == [
        ("rf_stage.tube", "a tube with a card on hand", "did you mean '6J7'?", False),
        ("audio.tube", "'6F7-P', its pentode, or '6F7-T', its triode",
         "a bulb of two tubes has a card for each", False),
        ("audio.first.tube", "a tube with a card on hand (6F7-P, 6F7-T, 6J7)",
         "make a card for it or take another tube", False),
    ]  # fmt: skip


def test_what_lies_across_a_coil_beside_capacitor_and_strays() -> None:
    """An r.f. stage brings its coupling capacitor and has the aerial behind it; a link what its shield leaves
    (0.06 pF); a band-spread capacitor of 4 to 42 pF in series with a padder of 120 pF 3.87 to 31.1 pF."""
    stage = shipped_build("rf_stage")
    for meshed in (stage.tuning.minimum, stage.tuning.maximum):
        assert checks._extra(stage, stage.bands[0], meshed=meshed) == pytest.approx(3e-12)
    wound = shipped_build("plugin_coils")
    band = wound.bands[1]
    own = coil_figures(band.coil).self_capacitance
    assert own > 0.3e-12
    for meshed, spread in ((wound.tuning.minimum, 4.0), (wound.tuning.maximum, 42.0)):
        across = checks._extra(wound, band, meshed=meshed) - own
        assert across == pytest.approx(0.06e-12 + 1e-12 * spread * 120.0 / (spread + 120.0), rel=1e-9)
    plain = wound.model_copy(update={"aerial": None})
    padless = band.model_copy(update={"padding": None})
    assert checks._extra(plain, padless, meshed=wound.tuning.maximum) - own == pytest.approx(42e-12, rel=1e-9)


def test_what_would_kill_is_said_in_full() -> None:
    """Phones in the plate lead, a plug that is pulled, a throttle's stator: each with its remedy."""
    lead = " | ".join(shipped_build("one_tube").warnings)
    assert (
        "stand in the plate lead: cord, terminals and windings carry the PLATE SUPPLY; keep to a low-voltage "
        "battery, touch no bare metal with the set on, or feed them from a choke or resistor through a "
        "blocking capacitor and a drain"
    ) in lead
    assert (
        "regeneration: the stator of the throttle stands at PLATE POTENTIAL, and plates that touch short the "
        "plate to ground: ground its rotor, cover the stator, put some nanofarads rated for it in series"
    ) in shipped_build("throttle").warnings
    demo = shipped_build("demo")
    bare = changed_build(demo, {"phones[0].drain": None, "supply.bleeder": None, "regulator.strike": "191 V"})
    assert (
        f"phones '{demo.phones[0].name}': once the plug is pulled, with no drain behind the capacitor, the "
        "free lead floats up to PLATE POTENTIAL; add a line such as 'drain: 100 kohm'"
    ) in bare.warnings
    assert (
        "supply: no bleeder, so its capacitors stay charged when off: discharge and measure first"
    ) in bare.warnings
    assert "regulator: it strikes at 191 V, above the supply of 190 V: it will not light" in bare.warnings
