"""A study names no node or element; only reader and writer know netlist text. Breaches of both are caught."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from receiver_sim import api
from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import NoSuchPart
from receiver_sim.circuit.mode import Mode
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.circuit.views.envelope import balance_circuit, envelope_circuit, imposed_circuit
from receiver_sim.schema import Build
from receiver_sim.schema.supply import DcSupply

PACKAGE = Path(api.__file__).parent.parent
ASKING = sorted(
    [
        *(PACKAGE / "studies").rglob("*.py"),
        *(PACKAGE / "measure").rglob("*.py"),
        *(PACKAGE / "views").rglob("*.py"),
        *(PACKAGE / "results").rglob("*.py"),
        *(PACKAGE / "judge").rglob("*.py"),
        *(PACKAGE / "design").rglob("*.py"),
        *(PACKAGE / "api").rglob("*.py"),
        *(PACKAGE / "cli").rglob("*.py"),
        *(PACKAGE / "live").rglob("*.py"),
        *PACKAGE.glob("*.py"),
    ]
)
SESSION = {"alter", "ac", "op", "dc", "tran", "noise", "set", "drive", "driven", "course", "part", "node"}
IDEAL = Mode(
    reference_hz=7e6, decay=2e5, offset_rad=0.0, residue=4e9, grid=0.9, cathode=0.05, plate=0.0, screen=0.0,
    aerial=None, misfit=0.0,
)  # fmt: skip


@cache
def names() -> frozenset[str]:
    """All names of nodes and elements in the three views of the shipped builds."""
    out: set[str] = set()
    for name in api.shipped_builds():
        build = api.shipped_build(name)
        if build.supply.kind == "rectifier":
            plain = DcSupply.model_construct(kind="dc", volts=200.0, resistance=1.0, ripple=0.0, bleeder=None)
            build = build.model_copy(update={"supply": plain})
        cards, band = api.cards_for(build), build.bands[0]
        for circuit in (
            receiver_circuit(build, cards, band=band, dial_hz=band.to, rotation=0.3),
            envelope_circuit(build, cards, IDEAL, rotation=0.3, reference_hz=7e6),
            imposed_circuit(build, cards, IDEAL, rotation=0.3, amplitude=0.1),
            balance_circuit(build, cards, IDEAL, guess=0.3),
        ):
            out |= {element.name for element in circuit.elements} | set(circuit.nodes)
    return frozenset(out - {"0"})


def vector_words(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Strings that ngspice would be asked with: arguments of a session's or circuit's calls, keys."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in SESSION:
            for one in ast.walk(node):
                if isinstance(one, ast.Constant) and isinstance(one.value, str):
                    yield one.lineno, one.value
        if isinstance(node, ast.Subscript) and isinstance(node.slice, ast.Constant):
            yield node.lineno, str(node.slice.value)


def breaches(source: str) -> list[str]:
    """Names of nodes or elements that a module asks ngspice or a circuit for."""
    known = names()
    found = [
        f"{line}: {word}"
        for line, word in vector_words(ast.parse(source))
        if word.split("#")[0].split(".")[0].lower() in known
    ]
    found += [
        f"{node.lineno}: {node.value}"
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
        and re.fullmatch(r"[a-z0-9_.]+#branch", node.value)
    ]  # fmt: skip
    return found


# pins of sockets by their word; the jig is a bench of its own and gives its names out itself
ALLOWED = {"tube_jig.py"}
PINS = {"grid", "plate", "screen", "cathode", "leakage"}


def real(found: list[str]) -> list[str]:
    return [one for one in found if one.split(": ")[1] not in PINS]


@pytest.mark.parametrize("path", ASKING, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_no_study_result_or_view_names_a_node_or_an_element(path: Path) -> None:
    if path.name in ALLOWED:
        return
    assert real(breaches(path.read_text())) == []


@pytest.mark.parametrize(
    "line",
    [
        'session.alter("ctune", 1e-12)',
        'session.ac(1.0, 2.0, 3, vectors=["frequency", "scr"])',
        'run["vsupply#branch"]',
        'volts["bplus"] - volts["vreg"]',
        'on.set("rctop", 1.0)',
        'here = "lrfc#branch"',
    ],
)
def test_a_name_is_caught(line: str) -> None:
    assert real(breaches(line))


def readers(source: str) -> list[str]:
    """Places that take netlist text apart or put it together."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Attribute) and node.attr == "text":
            owner = node.value.id if isinstance(node.value, ast.Name) else ""
            if owner in ("deck", "circuit", "law", "netlist"):
                found.append(f"{node.lineno}: {owner}.text")
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Deck":
            found.append(f"{node.lineno}: Deck(...)")
        words = str(node.value) if isinstance(node, ast.Constant) else ""
        if re.match(r"\.(subckt|model|options|nodeset|ic)\b", words):
            found.append(f"{node.lineno}: {words[:20]}")
    return found


DOOR = {"circuit/writer.py", "circuit/reader.py"}


@pytest.mark.parametrize(
    "path",
    [p for p in sorted(PACKAGE.rglob("*.py")) if "engine" not in p.parts],
    ids=lambda p: str(p.relative_to(PACKAGE)),
)
def test_nothing_but_reader_and_writer_knows_netlist_text(path: Path) -> None:
    if str(path.relative_to(PACKAGE)) in DOOR:
        return
    assert readers(path.read_text()) == []


@pytest.mark.parametrize(
    "line",
    ["for line in deck.text.splitlines(): pass", 'Deck(title="x", text="R1 a 0 1")', 'x = ".ic v(a)=1"'],
)
def test_a_reader_of_text_is_caught(line: str) -> None:
    assert readers(line)


# ------------------------------------------------------------------ asking


def test_a_circuit_is_asked_by_roles(demo: Build) -> None:
    band = demo.bands[2]
    circuit = receiver_circuit(demo, api.cards_for(demo), band=band, dial_hz=7.1e6, rotation=0.3)
    assert circuit[circuit.part(Role.GRID_CAPACITOR)].value == 130e-12
    assert circuit.node(Place.HOT_END) in circuit[circuit.part(Role.TUNING)].nodes
    # the demo has a regulator: ripple comes to the screen by its feed, not by the control's own
    assert circuit[circuit.part(Role.SCREEN_FEED)].about.block == "regulator"
    detector, audio = circuit.sockets["detector"], circuit.sockets["audio"]
    assert detector.pins["screen"] == circuit.node(Place.SCREEN)
    assert "screen" not in audio.pins and set(audio.meters) == {"plate", "grid"}  # a 6C5 has none
    assert circuit[audio.parts["cathode resistor"]].value == 1300.0
    assert circuit.meter["plate"] == "detector plate"
    assert circuit.control.quantity == "screen voltage"
    field = circuit.part(Role.OUTPUT_FIELD)
    with pytest.raises(NoSuchPart, match="the circuit has no field in the output"):
        circuit.without([field]).part(Role.OUTPUT_FIELD)


def test_currents_are_read_by_what_carries_them(demo: Build) -> None:
    band = demo.bands[2]
    circuit = receiver_circuit(demo, api.cards_for(demo), band=band, dial_hz=7.1e6, rotation=0.3)
    socket = circuit.sockets["detector"]
    volts = {"wiper": 40.0, "scr": 38.0, "dout": 90.0, "gx": -0.54, "top": 0.0, "lrfc#branch": -2e-3}
    # by Ohm's law at the stopper of 4.7 kohm and the leak of 2.7 Mohm of the build
    assert circuit.into(socket, "screen", volts) == pytest.approx(2.0 / 4700.0)
    assert circuit.into(socket, "grid", volts) == pytest.approx(0.54 / 2.7e6)
    assert circuit.into(socket, "plate", volts) == pytest.approx(2e-3)
    with pytest.raises(NoSuchPart, match="the detector has no suppressor"):
        circuit.into(socket, "suppressor", volts)
