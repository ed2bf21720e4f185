"""Words on a schematic stand over nothing, and say what the build says."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import pytest

from receiver_sim import api
from receiver_sim.views.schematic.drawing import Schematic
from receiver_sim.views.schematic.parts import _turns_ratio
from receiver_sim.views.schematic.purposes import does
from receiver_sim.views.schematic.values import value_of
from receiver_sim.views.schematic.words import STEP_PT, boxed, overlap, size_of


def strokes(drawing: Schematic) -> list[tuple[float, float, float, float]]:
    """Every wire, lead and body as a box; bodies without the space around them."""
    out = [
        (min(a[0], b[0]), min(a[1], b[1]), max(a[0], b[0]), max(a[1], b[1]))
        for _, a, b in drawing.wiring.runs
    ]
    for one in drawing.placed:
        left, low, right, high = one.box
        out.append(one.box)
        for x, y in one.pins.values():
            u, v = min(max(x, left), right), min(max(y, low), high)
            out.append((min(x, u), min(y, v), max(x, u), max(y, v)))
    out += [(g.at[0] - 0.5, g.at[1] - 1.2, g.at[0] + 0.5, g.at[1]) for g in drawing.wiring.grounds]
    return out


def test_no_words_over_words_or_lines(picture: Schematic) -> None:
    texts = picture.texts
    for i, one in enumerate(texts):
        for other in texts[:i]:
            assert not overlap(one.box, other.box), f"{one.lines} over {other.lines}"
        for line in strokes(picture):
            assert not overlap(one.box, line), f"{one.lines} of {one.of} over a line at {line}"


def test_no_body_over_another(picture: Schematic) -> None:
    for i, one in enumerate(picture.placed):
        for other in picture.placed[:i]:
            assert not overlap(one.box, other.box), f"{one.part.id} over {other.part.id}"


def test_no_body_under_a_foreign_wire(picture: Schematic) -> None:
    for one in picture.placed:
        left, low, right, high = one.box
        own = {pin.net for pin in one.part.pins}
        for net, a, b in picture.wiring.runs:
            box = (min(a[0], b[0]), min(a[1], b[1]), max(a[0], b[0]), max(a[1], b[1]))
            inner = (left + 0.05, low + 0.05, right - 0.05, high - 0.05)
            assert net in own or not overlap(box, inner), f"a wire of {net} over {one.part.id}"


def test_boxes_hold_their_words_as_matplotlib_draws_them() -> None:
    """The width of words by an independent path: matplotlib's own layout of the font the drawing names."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import TextPath

    for line in ("V1", "2.7 MΩ", "magnetic headset", "9 pF to 160 pF"):
        path = TextPath((0, 0), line, size=11.0, prop=FontProperties(family="DejaVu Sans"))
        width, _ = size_of((line,), 11.0)
        # the box is as wide as the advance of the letters: at most a letter's side bearing wider than the ink
        assert path.get_extents().width / STEP_PT == pytest.approx(width, abs=0.15)
    assert boxed(3.0, 5.0, "right", "down", ("ab",), 9.0)[2:] == (3.0, 5.0)


def test_values_are_those_of_the_build() -> None:
    """Against the text of the shipped build, by eye: R, C and L of the demo."""
    drawn = {part.id: part.lines for part in api.draw(api.shipped_build("demo")).parts}
    assert drawn["rleak"] == ("2.7 MΩ",)
    assert drawn["cgrid"] == ("130 pF",)
    assert drawn["lrfc"] == ("2.2 mH",)
    assert drawn["cscreen"] == ("0.33 µF",)
    assert drawn["lload"] == ("420 H",)
    assert drawn["rpota"] == ("47 kΩ",)
    assert drawn["xdet"][0] == "6SJ7"


@pytest.mark.parametrize(
    ("value", "unit", "words"),
    [(4.7e3, "ohm", "4.7 kΩ"), (1e-9, "F", "0.001 µF"), (999e-12, "F", "999 pF"), (0.999e6, "ohm", "999 kΩ"),
     (1e6, "ohm", "1 MΩ"), (2.2e-3, "H", "2.2 mH"), (190.0, "V", "190 V"), (1080.0, "V", "1080 V"),
     (0.0, "ohm", "0 Ω")],
)  # fmt: skip
def test_values_in_words(value: float, unit: str, words: str) -> None:
    assert value_of(value, unit) == words


def test_turns_stand_primary_to_secondary() -> None:
    """The fault this guards: an output transformer that steps down, 0.22 and 0.029 times the primary's turns,
    was drawn as 1:4.55 and 1:34.5, as print has one that steps up."""
    (part,) = (p for p in api.draw(api.shipped_build("cabin")).parts if p.symbol == "iron transformer")
    assert [part.also[w].split()[-1] for w in ("w1", "w2")] == ["4.55:1", "34.5:1"]
    assert part.also["w1"].startswith("phones winding") and part.also["w2"].startswith("speaker winding")
    assert (_turns_ratio(3.0), _turns_ratio(1.0), _turns_ratio(0.5)) == ("1:3", "1:1", "2:1")


def test_pins_are_those_of_the_card() -> None:
    """6SJ7: plate 8, screen 6, grid 4, cathode 5, suppressor 3 (RCA sheet; the card's flag says 'seen')."""
    (tube,) = (p for p in api.draw(api.shipped_build("demo")).parts if p.id == "xdet")
    assert {pin.name: pin.number for pin in tube.pins} == {
        "plate": "8", "screen": "6", "grid": "4", "cathode": "5", "suppressor": "3",
    }  # fmt: skip


def test_a_part_that_no_description_knows_is_drawn_all_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """A new form draws completely before it has a description of its own."""
    from receiver_sim.views.schematic import layout
    from receiver_sim.views.schematic.render import rendered
    from tests.helpers.read_schematic import Read

    build = api.shipped_build("tickler")
    usual = api.draw(build)
    front = [c for c in layout.ROWS[0] if not any(s.glob in ("cgrid", "lrfc", "ltank") for s in c.spots)]
    monkeypatch.setattr(layout, "ROWS", (tuple(front), *layout.ROWS[1:]))
    bare = api.draw(build)
    assert {p.id for p in bare.parts} == {p.id for p in usual.parts}
    assert Read(rendered(bare)).nets() == Read(rendered(usual)).nets()


@pytest.mark.parametrize(("form", "head"), [("svg", b"<?xml"), ("pdf", b"%PDF"), ("png", b"\x89PNG")])
def test_files(form: str, head: bytes, tmp_path: Path) -> None:
    content = api.draw(api.shipped_build("howling")).rendered(form)
    assert content.startswith(head)


def test_no_wire_ends_nowhere(picture: Schematic) -> None:
    """Guards against a rail of the supply that goes on beyond the last wire that comes to it."""
    wiring = picture.wiring
    wanted = {one.pins[pin.name] for one in picture.placed for pin in one.part.pins}
    wanted |= {tag.at for tag in wiring.tags} | {ground.at for ground in wiring.grounds}
    for net, *ends in wiring.runs:
        for at in ends:
            others = sum(at in (a, b) for other, a, b in wiring.runs if other == net)
            inside = any(
                other == net
                and min(a, b) <= at <= max(a, b)
                and (a[0] == b[0] == at[0] or a[1] == b[1] == at[1])
                for other, a, b in wiring.runs
                if at not in (a, b)
            )
            assert others > 1 or inside or at in wanted, f"a wire of {net} ends at {at}"


def test_every_part_says_what_it_does(picture: Schematic) -> None:
    """In a sentence or two behind its name and value, for whoever points at it and whoever has it read."""
    svg = ElementTree.fromstring(picture.rendered("svg"))
    groups = [g for g in svg.iter() if g.get("class") == "part"]
    assert len(groups) == len(picture.parts)
    for group, one in zip(groups, picture.parts, strict=True):
        purpose = does(one.key, one.symbol)
        assert purpose.endswith("."), one
        assert group.get("aria-label") == group[0].text
        assert str(group[0].text).startswith(f"{one.ref} {one.word}".strip())
        assert str(group[0].text).endswith(f". {purpose}")


def test_volts_stand_at_their_pin_or_name_it(picture: Schematic) -> None:
    """The tickler set's plate had no room for three figures: `draw --volts` ended with exit 70."""
    shown = [text for text in picture.texts if text.kind == "volts"]
    assert len(shown) == len(picture.volts)
    for text in shown:
        (words,) = text.lines
        pins = [item for one in picture.placed if one.part.ref == text.of for item in one.pins.items()]
        if words != "131 V":
            assert words.removesuffix(" 131 V") in dict(pins)
            continue
        left, low, right, high = text.box
        apart = (max(left - x, x - right, low - y, y - high) for _, (x, y) in pins)
        assert min(apart) <= 1.4 + 1e-9  # the farthest place that `draw` tries
