"""Checks between the keys of supply, regulator, audio stages and phones."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from receiver_sim.schema import rectifier_card, regulator_types
from receiver_sim.schema.faults import KeyPath, listed, nearest, show
from receiver_sim.schema.tube_names import type_of
from receiver_sim.schema.validated import Finding, Glimpse


def coupling_capacitor(g: Glimpse) -> Iterator[Finding]:
    """Without a coupling capacitor the detector's plate voltage would reach the audio grid."""
    kind = g.word("detector", "load", "kind")
    if kind in ("choke", "resistor", "phones") and not g.given("audio", "coupling") and g.given("audio"):
        yield Finding(("audio", "coupling"), f"a capacitor, since the detector's load is a {kind}",
                      "add a line such as 'coupling: 10 nF'", missing=True)  # fmt: skip


def regulator_figures(g: Glimpse) -> Iterator[Finding]:
    """A regulator is known by its printed figures: stated, or those of a type in the table."""
    if not g.given("regulator", "kind"):
        return
    kind, name = g.word("regulator", "kind"), g.word("regulator", "type")
    if kind is None:
        return
    row = regulator_types.row_of(name or "")
    if name is not None and row is None:
        near = nearest(name, regulator_types.names())
        cure = f"did you mean '{near}'?" if near else "leave 'type' out; state volts, current, impedance"
        yield Finding(("regulator", "type"), regulator_types.listing(), cure)
    if row is not None and row["kind"] != kind:
        yield Finding(("regulator", "type"), f"a type of the kind '{kind}'", f"write 'kind: {row['kind']}'")
    needed = ["volts", "current", "impedance"] + (["strike"] if kind == "gas_tube" else [])
    for key in needed:
        # a type that is not in the table is one fault, not five
        unknown = name is not None and row is None
        if not unknown and not g.given("regulator", key) and not (row or {}).get(key):
            cure = f"add a line such as '{key}: {regulator_types.EXAMPLE[key]}'"
            yield Finding(("regulator", key), regulator_types.NEEDED[key], cure, missing=True)


def rectifier_figures(g: Glimpse) -> Iterator[Finding]:
    """A vacuum rectifier is known by the drop its sheet prints: stated, or that of a type with a card."""
    place: KeyPath = ("supply", "rectifier")
    if g.word("supply", "kind") != "rectifier" or g.word(*place, "kind") != "vacuum":
        return
    name, known = g.word(*place, "type"), rectifier_card.rectifier_types()
    if name is not None and type_of(name) not in known:
        near = nearest(name, known)
        cure = f"did you mean '{near}'?" if near else "leave 'type' out; state drop and current"
        yield Finding((*place, "type"), listed(known), cure)
        return
    for key, needed, example in (
        ("drop", "a voltage from 0.2 V to 150 V such as '22 V'", "22 V"),
        ("current", "a current from 1 uA to 1 A such as '70 mA'", "70 mA"),
    ):
        if name is None and not g.given(*place, key):
            cure = f"add a line such as '{key}: {example}', or the key 'type'"
            yield Finding((*place, key), needed, cure, missing=True)
    if name is not None and g.given(*place, "drop") != g.given(*place, "current"):
        lone = "current" if g.given(*place, "drop") else "drop"
        yield Finding((*place, lone), "drop and current together", "state both or neither", missing=True)


def filter_sections(g: Glimpse) -> Iterator[Finding]:
    """A section of the filter has a resistor or a choke in series; only the first may have neither."""
    if g.word("supply", "kind") != "rectifier":
        return
    for i in range(g.count("supply", "filter")):
        both = [k for k in ("resistor", "choke") if g.given("supply", "filter", i, k)]
        place: KeyPath = ("supply", "filter", i)
        if len(both) == 2:
            yield Finding((*place, "choke"), "either a resistor or a choke", "make two sections of it")
        elif not both and i > 0:
            yield Finding(
                (*place, "resistor"), "a resistor or a choke ahead of this capacitor",
                "add a line such as 'resistor: 2.2 kohm'", missing=True,
            )  # fmt: skip


def battery_end(g: Glimpse) -> Iterator[Finding]:
    """A spent battery has fewer volts than a fresh one."""
    fresh, spent = g.number("supply", "volts"), g.number("supply", "end_volts")
    if g.word("supply", "kind") == "battery" and fresh is not None and spent is not None and spent >= fresh:
        yield Finding(("supply", "end_volts"), "fewer volts than 'volts'", "swap the two or correct one")


def stage_bias(g: Glimpse) -> Iterator[Finding]:
    """A stage has the parts that its way of bias needs."""
    for stage in (("audio",), ("audio", "first")):
        if not g.given(*stage):
            continue
        bias = g.word(*stage, "bias")
        needed = {
            "cathode": (("cathode_resistor", "a cathode resistor", "cathode_resistor: 1.2 kohm"),),
            "grid_leak": (
                ("grid_leak", "a grid leak", "grid_leak: 4.7 Mohm"),
                ("grid_capacitor", "a capacitor ahead of the grid leak", "grid_capacitor: 10 nF"),
            ),
        }
        for key, what, line in needed.get(bias or "", ()):
            if not g.given(*stage, key):
                yield Finding(
                    (*stage, key), f"{what}, since the bias is '{bias}'", f"add a line such as '{line}'",
                    missing=True,
                )  # fmt: skip


def grid_resistors(g: Glimpse) -> Iterator[Finding]:
    """Without a volume control a grid behind a capacitor needs a resistor."""
    if not g.given("audio", "tube") or g.given("audio", "volume"):
        return
    two = g.given("audio", "first")
    wanted: list[tuple[KeyPath, KeyPath]] = [(("audio", "grid_resistor"), ("audio",))] if two else []
    if g.given("audio", "coupling"):
        first: KeyPath = ("audio", "first") if two else ("audio",)
        wanted.append(((*first, "grid_resistor"), first))
    for key, stage in wanted:
        if not g.given(*key) and g.word(*stage, "bias") != "grid_leak":
            yield Finding(
                key, "a grid resistor, since no volume control stands at that grid",
                "add a line such as 'grid_resistor: 470 kohm', or the key 'volume'", missing=True,
            )  # fmt: skip


def volume_place(g: Glimpse) -> Iterator[Finding]:
    """Where the volume control does not stand at a grid, that grid needs a resistor."""
    if not g.given("audio", "volume"):
        return
    place, two = g.word("audio", "volume", "place"), g.given("audio", "first")
    if (place == "after" or two) and not g.given("audio", "grid_resistor"):
        yield Finding(
            ("audio", "grid_resistor"), "a grid resistor where the volume control does not stand",
            "add a line such as 'grid_resistor: 470 kohm'", missing=True,
        )  # fmt: skip
    if place == "after" and not two and not g.given("audio", "volume", "capacitor"):
        yield Finding(
            ("audio", "volume", "capacitor"), "a blocking capacitor: the plate carries the supply",
            "add a line such as 'capacitor: 0.47 uF'", missing=True,
        )  # fmt: skip


def phone_figures(g: Glimpse) -> Iterator[Finding]:
    """A load is known by its resistance, its kind or its measured impedance."""
    for i in range(g.count("phones")):
        if any(g.given("phones", i, key) for key in ("resistance", "kind", "impedance")):
            continue
        if not g.given("phones", i):
            continue
        yield Finding(
            ("phones", i, "resistance"), "a resistance from 0.1 ohm to 1 Mohm such as '1.8 kohm'",
            "add a line such as 'resistance: 1.8 kohm'", missing=True,
        )  # fmt: skip


def phones_places(g: Glimpse) -> Iterator[Finding]:
    """Phones hang on a winding that exists, on the plate through a capacitor, or stand in the plate lead."""
    yield from _phones_in_the_lead(g)
    kind = g.word("audio", "output", "kind")
    windings: KeyPath = ("audio", "output", "secondaries")
    known = [g.word(*windings, i, "name") or "" for i in range(g.count(*windings))]
    for i in range(g.count("phones")):
        at = g.word("phones", i, "at")
        if at == "load":
            continue
        if at == "plate" and not g.given("phones", i, "capacitor"):
            yield Finding(("phones", i, "capacitor"), "a blocking capacitor: the plate carries the supply",
                          "add a line such as 'capacitor: 0.47 uF'", missing=True)  # fmt: skip
        elif at is not None and at != "plate" and not g.given("audio"):
            cure = "write 'at: plate' with a capacitor, or 'at: load' with 'detector.load.kind: phones'"
            yield Finding(("phones", i, "at"), "'plate' or 'load', since there is no audio stage", cure)
        elif at is not None and at != "plate" and kind in ("choke", "transformer", "resistor"):
            after = g.word("audio", "volume", "place") == "after" and not g.given("audio", "first")
            places = ["plate", *(known if kind == "transformer" else []), *(["volume"] if after else [])]
            if at not in places:
                near = nearest(at, places)
                cure = f"did you mean '{show(near)}'?" if near else "name a secondary of 'audio.output'"
                yield Finding(("phones", i, "at"), listed([show(place) for place in places]), cure)


def _phones_in_the_lead(g: Glimpse) -> Iterator[Finding]:
    """The load of kind 'phones' is one pair of phones, and no other phones stand in the plate lead."""
    lead = [i for i in range(g.count("phones")) if g.word("phones", i, "at") == "load"]
    if g.word("detector", "load", "kind") != "phones":
        for i in lead:
            yield Finding(
                ("phones", i, "at"), "another place, since the detector's load is not of kind 'phones'",
                "write 'kind: phones' under 'detector.load', or hang them elsewhere",
            )  # fmt: skip
        return
    if len(lead) != 1 and g.count("phones"):
        yield Finding(
            ("detector", "load", "kind"), "one pair of phones with 'at: load'",
            "write 'at: load' for the pair in the plate lead", missing=False,
        )  # fmt: skip
    for i in lead:
        for key in ("capacitor", "drain"):
            if g.given("phones", i, key):
                cure = "take the line out: these phones carry the plate current"
                yield Finding(("phones", i, key), f"no {key} with 'at: load'", cure)


SUPPLY_AND_AUDIO_CHECKS: tuple[Callable[[Glimpse], Iterator[Finding]], ...] = (
    coupling_capacitor,
    regulator_figures,
    rectifier_figures,
    filter_sections,
    battery_end,
    stage_bias,
    grid_resistors,
    volume_place,
    phone_figures,
    phones_places,
)
