"""Strict filling of templates: nothing but numbers and checked node names gets in, nothing is left over.

A template of `netlists/` becomes elements. Its structure (which elements, on which nodes) depends on node
names, counts and on what is left out, almost never on the numbers: so it is rendered and read once for each
structure, with a mark in the place of every number, and the numbers are put in afterwards.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import jinja2
import jinja2.meta
import jinja2.sandbox

from receiver_sim.circuit import reader
from receiver_sim.circuit.description import Description, described
from receiver_sim.circuit.element import About, Element, Model

_NODE = re.compile(r"[a-z][a-z0-9_]{0,30}|0")
_MARK = re.compile("\x02([0-9]+)\x03")


class TemplateFault(Exception):  # noqa: N818 - the project's word for what is wrong with data
    """A template and its parameters do not fit: a fault of this program, not of a build."""


class _Place(float):
    """A number of a template's parameters, rendered as a mark."""

    index: int


def _checked(value: Any) -> Any:
    """Let only finite numbers and plain node names through to the deck."""
    if isinstance(value, _Place):
        return f"\x02{value.index}\x03"
    if isinstance(value, bool):
        raise TemplateFault(f"a truth value cannot stand in a deck: {value!r}")
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        if not math.isfinite(value):
            raise TemplateFault(f"a deck takes finite numbers only, not {value!r}")
        return format(value, ".12g")
    if isinstance(value, str) and _NODE.fullmatch(value):
        return value
    raise TemplateFault(f"neither a number nor a node name: {value!r}")


@cache
def _environment(folder: Path) -> jinja2.Environment:
    return jinja2.sandbox.ImmutableSandboxedEnvironment(
        loader=jinja2.FileSystemLoader(folder),
        undefined=jinja2.StrictUndefined,
        finalize=_checked,
        autoescape=False,
        trim_blocks=False,
        keep_trailing_newline=False,
        auto_reload=False,  # a template does not change under a running program, and a look costs a fill
    )


@cache
def _template(folder: Path, name: str) -> tuple[jinja2.Template, frozenset[str]]:
    """Return a template and the names it uses, parsed once for both."""
    environment = _environment(folder)
    if environment.loader is None:
        raise TemplateFault("templates need a folder")
    source, path, _ = environment.loader.get_source(environment, name)
    parsed = environment.parse(source, name, path)
    names = frozenset(jinja2.meta.find_undeclared_variables(parsed))
    code = environment.compile(parsed, name, path)
    return environment.template_class.from_code(environment, code, environment.make_globals(None)), names


def render(folder: Path, name: str, values: Mapping[str, Any]) -> str:
    """Fill template `name` of `folder` with `values` (SI numbers, node names, None, lists of mappings of
    these).

    Raises TemplateFault when the template needs a name that is not given, when a given name is not used, or
    when a value is neither a finite number nor a plain node name.
    """
    template, wanted = _template(folder, name)
    missing, unused = sorted(wanted - values.keys()), sorted(values.keys() - wanted)
    if missing or unused:
        raise TemplateFault(f"{name}: missing parameters {missing}, unused parameters {unused}")
    try:
        return template.render(values)
    except jinja2.UndefinedError as error:
        raise TemplateFault(f"{name}: {error.message}") from error


@dataclass(frozen=True)
class Filled:
    """A template with its values: elements, models, starting volts."""

    elements: tuple[Element, ...]
    models: tuple[Model, ...]
    start: Mapping[str, float]
    description: Description


@dataclass(frozen=True)
class _Row:
    name: str
    nodes: tuple[str, ...]
    constant: float | None
    place: int | None
    tail: str | None
    pieces: tuple[str | int, ...]
    links: tuple[str, ...]
    about: About
    note: str


@dataclass(frozen=True)
class _Skeleton:
    rows: tuple[_Row, ...]
    models: tuple[tuple[str, str, tuple[tuple[str, float | int], ...]], ...]
    start: tuple[tuple[str, float | int], ...]
    description: Description


_SKELETONS: dict[Any, _Skeleton] = {}
_MOST = 500


def fill(
    folder: Path, name: str, values: Mapping[str, Any], *, says: Mapping[str, str] | None = None
) -> Filled:
    """Return the elements of a template filled with `values`; see `render`.

    says: words that the description beside the template leaves open (`{stage}`, say). Lists of bare numbers
    (tables over time) are written out as they are, so each fill of such a template is read anew.
    """
    numbers: list[float] = []
    tables = False
    key: list[Any] = [folder, name, tuple((says or {}).items())]
    for parameter, value in values.items():
        tables = _shape(value, numbers, key, parameter) or tables
    whole = None if tables else tuple(key)
    skeleton = None if whole is None else _SKELETONS.get(whole)
    if skeleton is None:
        skeleton = _skeleton(folder, name, values, dict(says or {}))
        if whole is not None:
            if len(_SKELETONS) >= _MOST:
                _SKELETONS.clear()
            _SKELETONS[whole] = skeleton
    return _put(skeleton, numbers)


def _shape(value: Any, numbers: list[float], key: list[Any], name: Any) -> bool:
    """Append numbers and what of a value is structure; tell whether it holds a table."""
    key.append(name)
    if isinstance(value, float):
        if not math.isfinite(value):
            raise TemplateFault(f"a deck takes finite numbers only, not {value!r}")
        numbers.append(value)
        # a template may leave out what is zero
        key.append(value != 0.0)
        return False
    if isinstance(value, Mapping):
        tables = [_shape(inner, numbers, key, part) for part, inner in value.items()]
        key.append(len(tables))
        return any(tables)
    if isinstance(value, Sequence) and not isinstance(value, str):
        if value and isinstance(value[0], (float, list)):
            return True
        tables = [_shape(inner, numbers, key, None) for inner in value]
        key.append(-len(tables) - 1)
        return any(tables)
    key.append(value)
    return False


def _marked(value: Any, count: Iterator[int]) -> Any:
    """Return a value with its numbers as places, counted in the order of `_shape`."""
    if isinstance(value, float):
        place = _Place(value)
        place.index = next(count)
        return place
    if isinstance(value, Mapping):
        return {part: _marked(inner, count) for part, inner in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, str):
        if value and isinstance(value[0], (float, list)):
            return value
        return [_marked(inner, count) for inner in value]
    return value


def _skeleton(folder: Path, name: str, values: Mapping[str, Any], says: dict[str, str]) -> _Skeleton:
    count = iter(range(1_000_000))
    text = render(folder, name, {key: _marked(value, count) for key, value in values.items()})
    try:
        body = reader.read(text)
    except (ValueError, IndexError, KeyError) as error:
        raise TemplateFault(f"{name}: {error}") from error
    description = described(folder, name.removesuffix(".cir"), tuple(says.items()))
    rows = []
    for row in body.rows:
        if "\x02" in row.name or any("\x02" in node for node in row.nodes):
            raise TemplateFault(f"{name}: a number stands for a name at {row.name}")
        constant, place = (None, None) if row.value is None else _number(row.value, name)
        pieces = _pieces(row.tail)
        rows.append(
            _Row(
                row.name, row.nodes, constant, place, row.tail if len(pieces) == 1 else None, pieces,
                row.links, description.about(row.name), row.note,
            )
        )  # fmt: skip
    models = tuple(
        (model, kind, tuple((p, _either(text, name)) for p, text in inside))
        for model, kind, inside in body.models
    )
    start = tuple((node, _either(text, name)) for node, text in body.start)
    return _Skeleton(tuple(rows), models, start, description)


def _number(text: str, name: str) -> tuple[float | None, int | None]:
    mark = _MARK.fullmatch(text)
    if mark:
        return None, int(mark[1])
    try:
        return float(text), None
    except ValueError:
        raise TemplateFault(f"{name}: no number: {text}") from None


def _either(text: str, name: str) -> float | int:
    """Return the constant (float) or the place of a number (int)."""
    constant, place = _number(text, name)
    return place if place is not None else float(constant or 0.0)


def _pieces(text: str) -> tuple[str | int, ...]:
    parts = _MARK.split(text)
    return tuple(int(part) if i % 2 else part for i, part in enumerate(parts))


def _put(skeleton: _Skeleton, numbers: list[float]) -> Filled:
    elements = []
    for row in skeleton.rows:
        tail = row.tail
        if tail is None:
            tail = "".join(
                format(numbers[piece], ".12g") if isinstance(piece, int) else piece for piece in row.pieces
            )
        value = row.constant if row.place is None else numbers[row.place]
        elements.append(Element(row.name, row.nodes, value, tail, row.links, row.about, row.note))
    models = tuple(
        Model(model, kind, {p: numbers[v] if isinstance(v, int) else v for p, v in inside})
        for model, kind, inside in skeleton.models
    )
    start = {node: numbers[v] if isinstance(v, int) else v for node, v in skeleton.start}
    return Filled(tuple(elements), models, start, skeleton.description)
