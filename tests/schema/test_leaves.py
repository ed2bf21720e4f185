"""Values of a build one by one: every one is found, and one is replaced with nothing else touched."""

from __future__ import annotations

import pytest

from receiver_sim.schema import BuildFaults, load_build_text
from receiver_sim.schema.leaves import differences, leaves, with_value
from tests.conftest import BUILDS

SHORT = (BUILDS / "one_tube.yaml").read_text(encoding="utf-8")
ALL = sorted(BUILDS.glob("*.yaml"))


@pytest.mark.parametrize("file", ALL, ids=lambda p: p.stem)
def test_every_value_of_a_shipped_build_says_what_belongs_there(file) -> None:
    text = file.read_text(encoding="utf-8")
    found = leaves(text)
    assert len({one.key for one in found}) == len(found) > 20
    lines = text.splitlines()
    for one in found:
        assert one.text in lines[one.line - 1]
        assert one.meaning, one.key
        assert one.expected or one.path[-1] in ("kind", "receiver_sim"), one.key


@pytest.mark.parametrize("name", ["one_tube", "cabin"])
def test_each_value_can_be_written_again_in_its_place(name: str) -> None:
    """In block and flow style, quoted and bare: the file stays the same but for the value."""
    text = (BUILDS / f"{name}.yaml").read_text(encoding="utf-8")
    for one in leaves(text)[::3]:
        changed = with_value(text, one.path, "0.125 zz")
        assert changed.count("0.125 zz") == text.count("0.125 zz") + 1
        assert differences(text, changed) == ((one.key, one.text, "0.125 zz"),)
        assert [a for a, b in zip(text.splitlines(), changed.splitlines(), strict=True) if a != b] == [
            text.splitlines()[one.line - 1]
        ]


@pytest.mark.parametrize(
    "value",
    ["a, b: c", "}", "# not a comment", "'", '"', "*x", "!!python/object:os.system", "- a", "  led", "null",
     "é µ", "1: 2", "&a x", "|"],
)  # fmt: skip
def test_a_value_stays_a_value_whatever_signs_it_has(value: str) -> None:
    """What would be markup of YAML is put in quotes; no key comes in by a value."""
    for path in (("title",), ("supply", "volts")):  # block and flow style
        changed = with_value(SHORT, path, value)
        found = {one.path: one.text for one in leaves(changed)}
        assert found.pop(path) == value
        before = {one.path: one.text for one in leaves(SHORT)}
        before.pop(path)
        assert found == before


@pytest.mark.parametrize("path", [("nothing",), ("bands", 9, "name"), ("bands",), ("bands", "0"), ()])
def test_a_place_without_a_value_is_refused(path) -> None:
    with pytest.raises(BuildFaults, match="expected a value of this build; check the key path"):
        with_value(SHORT, path, "x")


def test_a_control_character_is_refused() -> None:
    with pytest.raises(BuildFaults):
        load_build_text(with_value(SHORT, ("title",), "a\x00b"))
