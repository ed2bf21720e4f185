"""Every element of every template is described, and no description names what its template does not have."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from receiver_sim.circuit.description import Description, DescriptionFault, described
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.circuit.templates import fill
from receiver_sim.data import folder

TEMPLATES = sorted(path.stem for path in folder("netlists").glob("*.cir"))
SAYS = tuple(
    {
        "x": "a", "behind": "aud", "socket": "audio", "stage": "audio stage", "key": "audio", "band": "0",
        "name": "pota", "cathode": "tap", "cathode_is": "tap of the coil", "plate": "hplate",
    }.items()
)  # fmt: skip


FILLED_IN = {"hplate", "tap", "ha", "hb", "bstage", "bplus", "vreg", "top", "ant", "link", "linkc"}
"""Nodes that a template is given, so that they do not stand in it."""


def names_of(template: str) -> set[str]:
    """Names of all elements in the text of a template, whatever its conditions, 0 for what a loop counts."""
    text = (folder("netlists") / f"{template}.cir").read_text()
    text = re.sub(r"{%.*?%}", "", text).replace("{{ x }}", "a").replace("{{ name }}", "pota")
    # a heater on volts of its own is named after its node
    text = re.sub(r"{{ feed\.node }}", "hdet", text)
    text = re.sub(r"{{ [a-z.]*index0? }}", "0", text)
    lines = [line.split() for line in text.splitlines() if line[:1].isalpha()]
    return {words[0].lower() for words in lines}


def unlike(names: set[str], said: Description) -> tuple[set[str], set[str]]:
    """Elements that are not described, and descriptions of elements there are not."""
    missing, used, patterns = set(), set(), set(map(str, said.data["elements"]))
    for name in names:
        try:
            said.about(name)
        except DescriptionFault:
            missing.add(name)
        used |= {p for p in patterns if re.fullmatch("[0-9]+".join(map(re.escape, p.split("*"))), name)}
    return missing, patterns - used


@pytest.mark.parametrize("template", TEMPLATES)
def test_elements_and_descriptions_are_the_same(template: str) -> None:
    missing, idle = unlike(names_of(template), described(folder("netlists"), template, SAYS))
    # the heaters of the other sockets are made by the same line
    assert missing == set() and idle - {"ehrf", "ehaud", "ehfst"} == set()


def test_what_is_not_described_and_what_there_is_not_is_told(tmp_path: Path) -> None:
    """The comparison above, and the filling itself, fail on a deliberate breach."""
    (tmp_path / "one.cir").write_text("* --- two\nRone a 0 {{ ohm }}\nCtwo a 0 1e-9\n")
    (tmp_path / "one.yaml").write_text(
        "block: one\nelements:\n  rone: {is: resistor, nature: part}\n  lthree: {is: coil, nature: part}\n"
    )
    said = described(tmp_path, "one")
    assert unlike({"rone", "ctwo"}, said) == ({"ctwo"}, {"lthree"})
    with pytest.raises(DescriptionFault, match=r"one\.yaml does not describe the element ctwo"):
        fill(tmp_path, "one.cir", {"ohm": 1e3})


def test_every_template_has_a_description_and_none_is_left_alone() -> None:
    assert sorted(path.stem for path in folder("netlists").glob("*.yaml")) == TEMPLATES


@pytest.mark.parametrize("template", TEMPLATES)
def test_roles_places_sockets_and_control_name_what_is_there(template: str) -> None:
    said = described(folder("netlists"), template, SAYS)
    names = names_of(template)
    assert set(said.roles.values()) <= names and set(said.roles) <= set(Role)
    assert set(said.places) <= set(Place)
    text = (folder("netlists") / f"{template}.cir").read_text().replace("{{ x }}", "a")
    for node in {n for n in (*said.places.values(), *said.data.get("ports", {})) if "." not in n} - FILLED_IN:
        assert re.search(rf"\b{node}\b", text), node
    for one in said.sockets.values():
        heater = {name for where in one["heater"].values() for name in where}
        assert {one["tube"], one["probe"], *heater, *one.get("parts", {}).values()} <= names
    if said.control is not None:
        assert set(said.control["follows"]) <= names


def test_a_key_nobody_knows_is_refused(tmp_path: Path) -> None:
    (tmp_path / "one.yaml").write_text("block: one\nelement: {}\n")
    with pytest.raises(DescriptionFault, match=r"one\.yaml: unknown keys \['element'\]"):
        described(tmp_path, "one")


def test_numbers_of_a_name_reach_its_key() -> None:
    said = described(folder("netlists"), "supply_filtered")
    assert said.about("cpsec2").key == "supply.filter[1].capacitor"
    phones = described(folder("netlists"), "phones")
    assert phones.about("ltank1x0").key == "phones[1].impedance"
