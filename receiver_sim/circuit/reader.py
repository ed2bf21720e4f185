"""Reads the text of templates; nothing else in the package reads netlist text (and `writer` alone writes
it).
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import NamedTuple

from receiver_sim.circuit.element import Law

_NODESET = re.compile(r"v\(([^)]+)\)\s*=\s*(\S+)", re.IGNORECASE)
_PARAMETER = re.compile(r"(\w+)\s*=\s*(\S+)")
_TWO_NODES = frozenset("rlcvibd")


class Row(NamedTuple):
    """An element's line taken apart; value and tail as they stand."""

    name: str
    nodes: tuple[str, ...]
    value: str | None
    tail: str
    links: tuple[str, ...]
    note: str


class Body(NamedTuple):
    """What a template's text holds: elements, models (name, kind, parameters), starting volts."""

    rows: tuple[Row, ...]
    models: tuple[tuple[str, str, tuple[tuple[str, str], ...]], ...]
    start: tuple[tuple[str, str], ...]


def read(text: str) -> Body:
    """Take the text of a filled template apart. Raises ValueError for a line it can't read."""
    rows: list[Row] = []
    models, start, notes = [], [], []
    for line in _logical(text):
        if line.startswith("*"):
            notes.append(line[1:].strip())
        elif line.lower().startswith(".nodeset"):
            start += _NODESET.findall(line)
        elif line.lower().startswith(".model"):
            models.append(_model(line))
        elif line.startswith("."):
            raise ValueError(f"a template may not hold this line: {line}")
        else:
            rows.append(_row(line, "\n".join(notes)))
            notes = []
    return Body(tuple(rows), tuple(models), tuple(start))


def law(text: str) -> Law:
    """Return the subcircuit in the text of a filled law. Raises ValueError if it holds none."""
    lines = list(_logical(text))
    head = next((line.split() for line in lines if line.lower().startswith(".subckt")), None)
    if head is None:
        raise ValueError("no subcircuit in the text of a law")
    stores = any(line[0].lower() in "cl" for line in lines)
    return Law(head[1], tuple(head[2:]), text.strip(), stores)


def _logical(text: str) -> list[str]:
    out: list[str] = []
    for raw in text.splitlines():
        line = raw.strip()
        if not line:
            continue
        if line.startswith("+"):
            # continuation lines stay lines of their own: ngspice's are limited in length
            out[-1] += "\n" + line
        else:
            out.append(line)
    return out


def _row(line: str, note: str) -> Row:
    words = line.split(" ")
    words = [word for word in words if word]
    name, kind = words[0].lower(), words[0][0].lower()
    if kind in _TWO_NODES:
        return _two_nodes(name, kind, words, note)
    maker = _OTHERS.get(kind)
    if maker is None:
        raise ValueError(f"no kind of element known by its letter: {line}")
    return maker(name, words, note)


def _two_nodes(name: str, kind: str, words: list[str], note: str) -> Row:
    nodes = (words[1], words[2])
    if kind in "vi":
        if words[3].lower() == "dc":
            return Row(name, nodes, words[4], " ".join(words[5:]), (), note)
        return Row(name, nodes, None, " ".join(words[3:]), (), note)
    if kind in "bd":
        return Row(name, nodes, None, " ".join(words[3:]), (), note)
    return Row(name, nodes, words[3], " ".join(words[4:]), (), note)


def _controlled(name: str, words: list[str], note: str) -> Row:
    return Row(name, tuple(words[1:5]), words[5], "", (), note)


def _by_source(name: str, words: list[str], note: str) -> Row:
    return Row(name, tuple(words[1:3]), words[4], "", (words[3].lower(),), note)


def _coupling(name: str, words: list[str], note: str) -> Row:
    return Row(name, (), words[3], "", (words[1].lower(), words[2].lower()), note)


def _call(name: str, words: list[str], note: str) -> Row:
    return Row(name, tuple(words[1:-1]), None, words[-1], (), note)


_OTHERS: dict[str, Callable[[str, list[str], str], Row]] = {
    "e": _controlled,
    "g": _controlled,
    "f": _by_source,
    "h": _by_source,
    "k": _coupling,
    "x": _call,
}


def _model(line: str) -> tuple[str, str, tuple[tuple[str, str], ...]]:
    words = line.replace("(", " ").replace(")", " ").split(None, 3)
    return words[1].lower(), words[2], tuple(_PARAMETER.findall(words[3]))
