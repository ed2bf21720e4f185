"""What stands on the sheet around the symbols: volts, values, title, cautions; what the SVG says of parts.

One small set, drawn once with volts made up by hand.
"""

from __future__ import annotations

from xml.etree import ElementTree

import pytest

from receiver_sim import api
from receiver_sim.schema import Build
from receiver_sim.views.schematic.drawing import CAUTION, Schematic, schematic
from receiver_sim.views.schematic.parts import Part, _single, heater_pins
from receiver_sim.views.schematic.purposes import does
from receiver_sim.views.schematic.render import VOLTS_COLOUR
from receiver_sim.views.schematic.values import value_of
from receiver_sim.views.schematic.whole import parts_of_set

VOLTS = {
    ("detector", "plate"): 131.4, ("detector", "screen"): 23.6, ("detector", "cathode"): 0.0123,
    ("audio", "plate"): -9.44, ("audio", "cathode"): 1.53, ("audio", "grid"): 9.94,
    ("", "plate supply"): 10.04, ("", "detector screen"): 77.0,
}  # fmt: skip


@pytest.fixture(scope="module")
def howling() -> Build:
    return api.shipped_build("howling")


@pytest.fixture(scope="module")
def sheet(howling: Build) -> Schematic:
    return schematic(howling, api.cards_for(howling), howling.bands[0], volts=VOLTS, rotation=0.3725)


@pytest.fixture(scope="module")
def svg(sheet: Schematic) -> ElementTree.Element:
    return ElementTree.fromstring(sheet.rendered("svg"))


def said(sheet: Schematic, kind: str) -> list[str]:
    return [line for text in sheet.texts if text.kind == kind for line in text.lines]


# ---------------------------------------------------------------------------- volts


def test_volts_below_ten_have_two_digits_and_the_others_none_behind_the_point(sheet: Schematic) -> None:
    """As a meter of 2 or 3 % is read: 1.53 V as 1.5, 131.4 as 131 (common practice, no source)."""
    read = {text.split(" ", 1)[1] if text[0].isalpha() else text for text in said(sheet, "volts")}
    assert read == {"131 V", "24 V", "0.012 V", "-9.4 V", "1.5 V", "9.9 V", "10 V"}


def test_each_net_is_read_once_and_at_its_tube(sheet: Schematic) -> None:
    """The screen has a figure at its socket; the test point of the same net says nothing then."""
    by_part = {part.id: part for part in sheet.parts}
    nets = [by_part[part].net(pin) for part, pin in sheet.volts]
    assert len(nets) == len(set(nets)) == 7
    sockets = {part.also["socket"]: part.id for part in sheet.parts if part.symbol == "tube"}
    at = {(by_part[part].word, pin): value for (part, pin), value in sheet.volts.items()}
    for (socket, pin), value in VOLTS.items():
        if socket:
            assert sheet.volts[sockets[socket], pin] == value
            assert at[socket, pin] == value
    assert 77.0 not in sheet.volts.values()


def test_ground_has_no_volts() -> None:
    """The filament of this set's tube is its cathode, one end of it grounded."""
    lone = api.shipped_build("one_tube")
    grounded = {("detector", "cathode"): 3.3, ("detector", "plate"): 55.0}
    drawn = schematic(lone, api.cards_for(lone), lone.bands[0], volts=grounded)
    assert list(drawn.volts.values()) == [55.0]


def test_volts_say_at_which_setting_they_were_taken(sheet: Schematic, howling: Build) -> None:
    assert sheet.subtitle == (
        f"drawn with the coil for {howling.bands[0].name}; d.c. volts to ground, control at 37.25 %, "
        "not oscillating"
    )
    bare = schematic(howling, api.cards_for(howling), howling.bands[0])
    assert bare.subtitle == f"drawn with the coil for {howling.bands[0].name}"
    assert said(bare, "volts") == [] and bare.report().volts == ()


def test_report_gives_the_volts_of_its_nets_and_what_it_shows(sheet: Schematic, howling: Build) -> None:
    report = sheet.report(file="set.svg")
    (audio,) = (p for p in sheet.parts if p.symbol == "tube" and p.also["socket"] == "audio")
    by_net = {one.net: one for one in report.volts}
    assert by_net[audio.net("cathode")].value_v == 1.53 and by_net[audio.net("plate")].value_v == -9.44
    assert {one.rotation for one in report.volts} == {0.3725}
    assert [one.net for one in report.volts] == sorted(by_net)
    assert (report.title, report.band, report.file) == (howling.title, howling.bands[0].name, "set.svg")
    assert [p.designation for p in report.parts] == [p.ref for p in sheet.parts]
    for one, part in zip(report.parts, sheet.parts, strict=True):
        due = [(p.name, "ground" if p.net == "0" else p.net, p.number) for p in part.pins]
        assert [(p.name, p.net, p.number) for p in one.pins] == due


def test_connections_name_parts_by_their_designation(sheet: Schematic) -> None:
    found = sheet.connections()
    for part in sheet.parts:
        for pin in part.pins:
            there = found["ground" if pin.net == "0" else pin.net]
            assert f"{part.ref}.{pin.name}" in there
    assert "ground" in found and "0" not in found
    assert all(list(pins) == sorted(pins) for pins in found.values()) and list(found) == sorted(found)


# ---------------------------------------------------------------------------- title, cautions, sheet


def test_hazards_stand_below_the_drawing(sheet: Schematic) -> None:
    """Common practice, no source: what to do before a hand goes in, and what else kills or annoys."""
    text = " ".join(said(sheet, "caution"))
    assert said(sheet, "caution") == list(CAUTION)
    order = ("Plate supplies kill", "unplug", "bleeder discharge", "meter", "before a hand goes in")
    places = [text.index(words) for words in order]
    assert places == sorted(places)
    for words in (
        "Fuse", "isolating transformer", "covered terminals", "no headphone lead at plate potential",
        "oscillating detector on an aerial transmits",
    ):  # fmt: skip
        assert words in text
    (foot,) = [one for one in sheet.texts if one.kind == "caution"]
    assert foot.box[3] <= min(one.box[1] for one in sheet.placed)


def test_title_stands_over_what_is_said_of_the_drawing_and_both_over_it(
    sheet: Schematic, howling: Build
) -> None:
    head, under = [one for one in sheet.texts if one.kind == "title"]
    assert head.lines == (howling.title,) and under.lines == (sheet.subtitle,)
    assert head.size > under.size and head.box[1] >= under.box[3]
    assert under.box[1] >= max(one.box[3] for one in sheet.placed)


def test_the_sheet_holds_all_that_is_on_it(sheet: Schematic) -> None:
    left, low, right, high = sheet.box
    boxes = [one.box for one in sheet.texts] + [one.box for one in sheet.placed]
    for a, b, c, d in boxes:
        assert left < a and low < b and c < right and d < high
    for _, *ends in sheet.wiring.runs:
        assert all(left < x < right and low < y < high for x, y in ends)


def test_the_svg_is_as_large_as_its_sheet(svg: ElementTree.Element, sheet: Schematic) -> None:
    """A step of the grid is a quarter of an inch: 18 points, in the units of the file."""
    left, low, right, high = sheet.box
    x, y, width, height = map(float, svg.get("viewBox", "").split())
    assert (x, y) == pytest.approx((18.0 * left, -18.0 * high), abs=0.01)
    assert (width, height) == pytest.approx((18.0 * (right - left), 18.0 * (high - low)), abs=0.01)
    assert (float(svg.get("width", "")), float(svg.get("height", ""))) == pytest.approx(
        (width, height), abs=0.51
    )


def test_volts_have_a_colour_of_their_own(svg: ElementTree.Element, sheet: Schematic) -> None:
    coloured = {
        "".join(one.itertext()).strip()
        for one in svg.iter()
        if one.tag.endswith("}text") and VOLTS_COLOUR in (one.get("fill", "") + one.get("style", ""))
    }
    assert coloured == set(said(sheet, "volts"))


def test_pins_signs_and_title_of_the_svg_are_those_of_the_sheet(
    svg: ElementTree.Element, sheet: Schematic
) -> None:
    assert svg[0].text == f"Schematic of {sheet.title}" and svg.get("role") == "group"
    groups = {g.get("data-part"): g for g in svg.iter() if g.get("class") == "part"}
    for one in sheet.placed:
        group = groups[one.part.id]
        assert group.get("data-ref") == one.part.ref and group.get("role") == "img"
        seen = dict(word.rsplit(":", 1) for word in group.get("data-pins", "").split())
        for name, (x, y) in one.pins.items():
            assert [float(v) for v in seen[name].split(",")] == pytest.approx([18.0 * x, -18.0 * y], abs=0.06)
    signs = [g.get("data-net") for g in svg.iter() if g.get("class") == "sign"]
    assert signs.count("ground") == len(sheet.wiring.grounds)
    assert sorted(s for s in signs if s != "ground") == sorted(t.text for t in sheet.wiring.tags)


def test_a_part_is_named_with_its_value_and_purpose(svg: ElementTree.Element, sheet: Schematic) -> None:
    names = {g.get("data-part"): g.get("aria-label", "") for g in svg.iter() if g.get("class") == "part"}
    for part in sheet.parts:
        head = ", ".join([f"{part.ref} {part.word}".strip(), *part.lines])
        assert names[part.id] == f"{head}. {does(part.key, part.symbol)}"


# ---------------------------------------------------------------------------- values


@pytest.mark.parametrize(
    ("value", "unit", "words"),
    [
        (999.4, "ohm", "999 Ω"), (999.6, "ohm", "1 kΩ"), (1010.0, "ohm", "1.01 kΩ"), (0.47, "ohm", "470 mΩ"),
        (47.0, "ohm", "47 Ω"), (2.7e6, "ohm", "2.7 MΩ"), (999.4e3, "ohm", "999 kΩ"), (33e6, "ohm", "33 MΩ"),
        (1.2e9, "ohm", "1200 MΩ"),
        (4.7e-12, "F", "4.7 pF"), (0.47e-12, "F", "0.47 pF"), (990e-12, "F", "990 pF"),
        (1.01e-9, "F", "0.00101 µF"), (47e-9, "F", "0.047 µF"), (8e-6, "F", "8 µF"), (1e-3, "F", "1000 µF"),
        (420.0, "H", "420 H"), (5.6e-6, "H", "5.6 µH"), (0.62e-6, "H", "620 nH"), (999.6e-6, "H", "1 mH"),
        (1.4, "V", "1.4 V"), (0.55, "V", "0.55 V"), (2500.0, "V", "2500 V"), (-12.34, "V", "-12.3 V"),
        (0.0, "F", "0 F"),
    ],
)  # fmt: skip
def test_values_in_the_units_of_print(value: float, unit: str, words: str) -> None:
    """pF below a thousandth of a microfarad and µF above (print of the time), three digits at most."""
    assert value_of(value, unit) == words


def test_an_electrolytic_stands_with_its_first_pin_off_ground_however_a_deck_has_it(
    howling: Build, sheet: Schematic
) -> None:
    element = sheet.circuit["cacath"]
    (hot,) = [node for node in element.nodes if node != "0"]
    for nodes in ((hot, "0"), ("0", hot)):
        part = _single(element._replace(nodes=nodes))
        assert part.symbol == "electrolytic" and (part.net("a"), part.net("b")) == (hot, "0")
    plain = _single(sheet.circuit["cgrid"]._replace(nodes=("0", "x")))
    assert (plain.symbol, plain.net("a"), plain.net("b")) == ("capacitor", "0", "x")


# ---------------------------------------------------------------------------- what the build says of parts


def shown(build: Build, changes: dict[str, object]) -> dict[str, Part]:
    """Return the parts of a changed set by their ids, not placed."""
    changed = api.changed_build(build, changes)  # type: ignore[arg-type]
    return {p.id: p for p in parts_of_set(changed, api.cards_for(changed), changed.bands[0])[1]}


def test_a_heater_behind_a_dropper_is_drawn_with_what_drops_its_volts() -> None:
    """Ohm's law: 6.3 V less 5.8 V at 0.3 A (6C5, 6SJ7: 6.3 V, 0.3 A, RCA sheets) take 1.67 ohm."""
    build = api.shipped_build("demo")
    parts = shown(build, {"detector.heater_feed": {"volts": "5.8 V"}})
    dropper = parts["heater.detector.dropper"]
    assert (dropper.symbol, dropper.lines, dropper.letter) == ("resistor", ("1.67 Ω",), "R")
    assert (dropper.net("a"), dropper.net("b")) == ("ha", parts["heater.detector"].net("a"))
    assert parts["heater.detector"].net("b") == "hb"
    assert (parts["heater.audio"].net("a"), parts["heater.audio"].net("b")) == ("ha", "hb")
    assert "heater.audio.dropper" not in parts


@pytest.mark.parametrize(
    ("source", "symbol", "letter"), [("winding", "winding", "T"), ("cell", "battery", "BT")]
)
def test_a_heater_of_its_own_source_hangs_on_nothing_else(source: str, symbol: str, letter: str) -> None:
    build = api.shipped_build("demo")
    parts = shown(build, {"audio.heater_feed": {"source": source, "volts": "6.1 V"}})
    own, heater = parts["heater.audio.source"], parts["heater.audio"]
    assert (own.symbol, own.letter, own.lines) == (symbol, letter, ("6.1 V", "audio alone"))
    assert (own.net("a"), own.net("b")) == (heater.net("a"), heater.net("b"))
    others = {pin.net for name, p in parts.items() if p not in (own, heater) for pin in p.pins}
    assert not {own.net("a"), own.net("b")} & others
    assert (parts["heater.detector"].net("a"), parts["heater.detector"].net("b")) == ("ha", "hb")


@pytest.mark.parametrize(
    ("wiring", "supply", "symbol", "words"),
    [("hum_pot", "ac", "winding", "6.3 V a.c."), ("centre_tap", "ac", "winding", "6.3 V a.c."),
     ("one_side", "ac", "winding", "6.3 V a.c."), ("centre_tap", "dc", "battery", "6.3 V d.c.")],
)  # fmt: skip
def test_what_grounds_the_heater_line(wiring: str, supply: str, symbol: str, words: str) -> None:
    build = api.shipped_build("demo")
    parts = shown(build, {"heater.wiring": wiring, "heater.supply": supply})
    line = parts["heater.line"]
    assert line.symbol == symbol and line.lines == (words,)
    grounded = {pin.name for pin in line.pins if pin.net == "0"}
    assert grounded == {"hum_pot": set(), "centre_tap": {"tap"}, "one_side": {"b"}}[wiring]
    assert ("heater.pot" in parts) == (wiring == "hum_pot")
    if wiring == "hum_pot":
        pot = parts["heater.pot"]
        assert [(p.name, p.net) for p in pot.pins] == [("top", "ha"), ("wiper", "0"), ("bottom", "hb")]
    cold = "0" if wiring == "one_side" else "hb"
    assert {parts[f"heater.{name}"].net("b") for name in ("detector", "audio")} == {cold}


def test_a_heater_has_the_pins_of_its_socket() -> None:
    """6SJ7: heater 2 and 7; 6C5: 2 and 7 (RCA sheets). 1T4: filament 1 (negative, with 5) and 7."""
    build = api.shipped_build("demo")
    parts = shown(build, {})
    for name in ("detector", "audio"):
        assert {p.number for p in parts[f"heater.{name}"].pins} == {"2", "7"}
    lone = api.shipped_build("one_tube")
    (filament,) = (p for p in shown(lone, {}).values() if p.symbol == "heater")
    assert [(p.name, p.number) for p in filament.pins] == [("a", "7"), ("b", "1")]
    assert filament.lines == ("1T4 filament", "1.4 V")
    card = api.cards_for(lone).of("detector")
    assert heater_pins(card)[-1] == "1"


def test_a_heater_has_the_designation_of_its_tube(sheet: Schematic) -> None:
    heaters = {p.also["socket"]: p.ref for p in sheet.parts if p.symbol == "heater"}
    tubes = {p.also["socket"]: p.ref for p in sheet.parts if p.symbol == "tube"}
    assert heaters == tubes and set(tubes.values()) == {"V1", "V2"}
