"""The values of a build file one by one, each with its place and what belongs there; one of them replaced.

A change is made in the text itself, so that comments, order and spelling of all else stay as they are.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import yaml

from receiver_sim.schema.build import Build
from receiver_sim.schema.faults import BuildFaults, Fault, KeyPath, dotted
from receiver_sim.schema.located_yaml import Located, located_text
from receiver_sim.schema.validated import Shape, _chosen, _within, keys_of


@dataclass(frozen=True)
class Leaf:
    """A value of a build file: its key path, line and text, what is expected there and what it means."""

    path: KeyPath
    line: int
    text: str
    expected: str
    meaning: str
    choices: tuple[str, ...]

    @property
    def key(self) -> str:
        """Its key path as text: 'bands[0].coil.q'."""
        return dotted(self.path)


def _located(text: str, name: str) -> Located:
    return located_text(text, name, BuildFaults)


@lru_cache(maxsize=16)
def leaves(text: str, name: str = "text") -> tuple[Leaf, ...]:
    """Return the values that stand in the text of a build, in its order. Raises BuildFaults for no YAML."""
    located = _located(text, name)
    return tuple(_leaf(located, path) for path, _ in _scalars(located.data, ()))


def with_value(text: str, path: KeyPath, value: str, name: str = "text") -> str:
    """Return the text with the value at a key path replaced, all else as it was.

    Raises BuildFaults where no single value stands at that place, or where it can't be written there.
    """
    before = _located(text, name)
    span = _span(text, path)
    if span is None or before.text(path) is None:
        cure = "check the key path"
        expected = "a value of this build"
        raise BuildFaults([Fault(name, before.line(path), dotted(path), expected, cure=cure)])
    known = [key for key, _ in _scalars(before.data, ())]
    for written in (value, json.dumps(value, ensure_ascii=False)):
        tried = text[: span[0]] + written + text[span[1] :]
        try:
            after = _located(tried, name)
        except BuildFaults:
            continue
        same = [key for key, _ in _scalars(after.data, ())] == known
        others = all(after.text(key) == before.text(key) for key in known if key != path)
        if same and others and after.text(path) == value and not after.faults:
            return tried
    raise BuildFaults([before.fault(path, "printable text in one line", cure="write the value alone")])


def differences(
    before: str, after: str, name: str = "text"
) -> tuple[tuple[str, str | None, str | None], ...]:
    """Return what differs between two texts: key, value before, value after; None: not there."""
    first, second = ({leaf.key: leaf.text for leaf in leaves(text, name)} for text in (before, after))
    keys = [*first, *(key for key in second if key not in first)]
    return tuple((k, first.get(k), second.get(k)) for k in keys if first.get(k) != second.get(k))


def _scalars(data: Any, path: KeyPath) -> Iterator[tuple[KeyPath, Any]]:
    if isinstance(data, dict | list):
        for step, inside in data.items() if isinstance(data, dict) else enumerate(data):
            yield from _scalars(inside, (*path, step))
    else:
        yield path, data


def _leaf(located: Located, path: KeyPath) -> Leaf:
    shape: Shape | None = Shape(models=(Build,))
    data, meaning = located.data, ""
    for step in path:
        model = None if shape is None or isinstance(step, int) else _chosen(shape, data)
        info = None if model is None else keys_of(model).get(str(step))
        if info is not None:
            meaning = info.description or ""
        if shape is None:
            break
        shape, data = _within(shape, data, step)
    tags = path[-1] == "kind" and shape is not None and not shape.choices
    return Leaf(
        path=path,
        line=located.line(path),
        text=located.text(path) or "",
        expected="" if shape is None or tags else shape.expected(),
        meaning=meaning,
        choices=() if shape is None else tuple(str(choice) for choice in shape.choices),
    )


def _span(text: str, path: KeyPath) -> tuple[int, int] | None:
    """Return where the scalar at a key path begins and ends in the text, None if there is none."""
    # in C where PyYAML has it: a tenth of the time; `with_value` reads the result anew by our own reader
    node = yaml.compose(text, Loader=getattr(yaml, "CSafeLoader", yaml.SafeLoader))
    for step in path:
        if isinstance(node, yaml.MappingNode):
            node = next((value for key, value in node.value if key.value == step), None)
        elif isinstance(node, yaml.SequenceNode) and isinstance(step, int) and 0 <= step < len(node.value):
            node = node.value[step]
        else:
            return None
    if not isinstance(node, yaml.ScalarNode) or node.style in ("|", ">"):
        return None
    return node.start_mark.index, node.end_mark.index
