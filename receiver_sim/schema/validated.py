"""From located YAML to a pydantic model, or every fault of the file at once.

pydantic names a fault by a trail that holds the tags of unions; here it becomes a key path of the file, with
the line, the value as written, what was expected, the nearest key and the cure. `Glimpse` lets checks between
keys work although other keys are at fault.
"""

from __future__ import annotations

import types
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Annotated, Any, Literal, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from receiver_sim.schema import not_covered
from receiver_sim.schema.faults import Fault, FileFaults, KeyPath, dotted, listed, nearest
from receiver_sim.schema.located_yaml import Located
from receiver_sim.schema.parts import Word
from receiver_sim.schema.quantity import Quantity, QuantityError

Model = TypeVar("Model", bound=BaseModel)


@dataclass(frozen=True)
class Shape:
    """What a place in the file may hold: one of some models, or a marked or literal value; a list of those
    (`many`), or a mapping from names to those (`keyed`).
    """

    models: tuple[type[BaseModel], ...] = ()
    many: bool = False
    keyed: bool = False
    mark: Any = None
    choices: tuple[Any, ...] = ()
    default: Any = None

    def expected(self) -> str:
        """Return what a message says was expected here."""
        if self.keyed:
            return "a mapping from names to values"
        if self.many and not self.models:
            return "a list"
        if self.models:
            keys = [key for model in self.models[:1] for key in keys_of(model)]
            word = "a list (lines that start with '- '), each" if self.many else "a mapping"
            if len(self.models) > 1:
                return f"a mapping with the key 'kind' ({listed(tags_of(self.models))})"
            return f"{word} with the keys {', '.join(keys)}"
        if self.choices:
            return listed(self.choices)
        return str(self.mark.expected()) if self.mark is not None else "another value"


def keys_of(model: type[BaseModel]) -> dict[str, FieldInfo]:
    """Return the fields of a model by their keys in the file."""
    return {info.alias or name: info for name, info in model.model_fields.items()}


def tags_of(models: Iterable[type[BaseModel]]) -> list[str]:
    """Return the values of `kind` that tell the models of a union apart."""
    return [get_args(model.model_fields["kind"].annotation)[0] for model in models]


def shape_of(  # noqa: PLR0911 - one return a kind of annotation
    annotation: Any, metadata: Sequence[Any] = (), default: Any = None
) -> Shape:
    """Return the Shape of a field from its annotation."""
    mark = next((m for m in metadata if hasattr(m, "expected")), None)
    origin = get_origin(annotation)
    if origin is Annotated:
        inner, *more = get_args(annotation)
        return shape_of(inner, [*metadata, *more], default)
    if origin in (Union, types.UnionType):
        options = [shape_of(a, metadata, default) for a in get_args(annotation) if a is not type(None)]
        if len(options) == 1:
            return options[0]
        return Shape(models=tuple(model for option in options for model in option.models), default=default)
    if origin is tuple:
        return replace(shape_of(get_args(annotation)[0]), many=True)
    if origin is dict:
        return replace(shape_of(get_args(annotation)[1]), keyed=True)
    if origin is Literal:
        return Shape(choices=get_args(annotation), default=default)
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return Shape(models=(annotation,), default=default)
    return Shape(mark=mark, default=default)


@cache
def _key_shapes(model: type[BaseModel]) -> dict[str, Shape]:
    """Return the shapes of a model's fields by their keys; models don't change."""
    return {
        key: shape_of(info.annotation, info.metadata, info.default) for key, info in keys_of(model).items()
    }


def _chosen(shape: Shape, data: Any) -> type[BaseModel] | None:
    """Return the model that the data at a place means, by its `kind` if there are several."""
    if len(shape.models) == 1:
        return shape.models[0]
    kind = data.get("kind") if isinstance(data, Mapping) else None
    return next((m for m, tag in zip(shape.models, tags_of(shape.models), strict=True) if tag == kind), None)


def _within(shape: Shape, data: Any, step: str | int) -> tuple[Shape | None, Any]:
    """Return shape and data one step further down."""
    if isinstance(step, int):
        inside = data[step] if isinstance(data, list) and step < len(data) else None
        return replace(shape, many=False), inside
    inside = data.get(step) if isinstance(data, Mapping) else None
    if shape.keyed:
        return replace(shape, keyed=False), inside
    model = _chosen(shape, data)
    return (None if model is None else _key_shapes(model).get(step)), inside


class Glimpse:
    """Read access to a file that may be faulty: values that are sound by themselves, None for all else."""

    def __init__(self, model: type[BaseModel], data: Any, si: bool = False) -> None:
        self._shape = Shape(models=(model,))
        self._data = data
        self._si = si

    def _at(self, path: Sequence[str | int]) -> tuple[Shape | None, Any]:
        shape: Shape | None = self._shape
        data = self._data
        for step in path:
            if shape is None:
                return None, None
            shape, data = _within(shape, data, step)
        return shape, data

    def number(self, *path: str | int) -> float | None:
        """Return the SI value of a quantity (its default if it is left out), None if unknown or faulty."""
        shape, value = self._at(path)
        if shape is None or not isinstance(shape.mark, Quantity):
            return None
        value = shape.default if value is None else value
        try:
            return None if value is None else shape.mark.read(value, si=self._si)
        except QuantityError:
            return None

    def word(self, *path: str | int) -> str | None:
        """Return a checked word or choice (its default if it is left out), None if unknown or faulty."""
        shape, value = self._at(path)
        if shape is None:
            return None
        value = shape.default if value is None else value
        if shape.choices:
            return value if value in shape.choices else None
        try:
            return shape.mark.read(value) if isinstance(shape.mark, Word) else None
        except ValueError:
            return None

    def given(self, *path: str | int) -> bool:
        """Return whether the key stands in the file with a value."""
        return self._at(path)[1] is not None

    def count(self, *path: str | int) -> int:
        """Return the number of entries of a list (0 if it is none)."""
        value = self._at(path)[1]
        return len(value) if isinstance(value, list) else 0


@dataclass(frozen=True)
class Finding:
    """What a check between keys found: the key path at fault, what was expected there, the cure."""

    path: KeyPath
    expected: str
    cure: str | None = None
    missing: bool = False


def validated(
    model: type[Model],
    located: Located,
    *,
    checks: Iterable[Callable[[Glimpse], Iterator[Finding]]] = (),
    faults: type[FileFaults] = FileFaults,
    si: bool = False,
    like: str = "the starter build",
) -> Model:
    """Return the model of the file; raises `faults` with every fault of file, keys, values and `checks`.

    `like` names a sound file that cures refer to; `si` lets bare numbers pass as SI values (for data that
    come from code rather than from a file).
    """
    found = list(located.faults)
    result: Model | None = None
    try:
        result = model.model_validate(located.data, context={"si": si})
    except ValidationError as error:
        for detail in error.errors(include_url=False):
            fault = _fault(model, located, detail, like)
            if fault is not None:
                found.append(fault)
    glimpse = Glimpse(model, located.data, si)
    for check in checks:
        for f in check(glimpse):
            found.append(located.fault(f.path, f.expected, missing=f.missing, cure=f.cure))
    if found or result is None:
        raise faults(found)
    return result


def _fault(model: type[BaseModel], located: Located, detail: Any, like: str) -> Fault | None:
    """Return the Fault for one error of pydantic, None if it only follows from another."""
    shape: Shape | None = Shape(models=(model,))
    parent, data, above = shape, located.data, located.data
    path: list[str | int] = []
    tagged = False  # whether the tag of the union at hand has been passed over
    for step in detail["loc"]:
        if step == "[key]":  # the name itself of an entry of a mapping; pydantic's mark, no key of a file
            return _unfit_name(located, tuple(path), detail)
        if shape is not None and len(shape.models) > 1 and not shape.many and not tagged:
            tagged = True
            continue
        parent, above, tagged = shape, data, False
        shape, data = _within(shape, data, step) if shape is not None else (None, None)
        path.append(step)
    if detail["type"] == "extra_forbidden":
        return _unknown_key(located, tuple(path), _chosen(parent, above) if parent is not None else None)
    if detail["type"] == "too_short" and isinstance(data, list) and len(data) >= detail["ctx"]["min_length"]:
        return None  # pydantic counts the sound entries only; the faulty ones are reported by themselves
    return _worded(located, tuple(path), shape or Shape(), data, detail, like)


def _unfit_name(located: Located, path: KeyPath, detail: Any) -> Fault:
    form = detail.get("ctx", {}).get("pattern")
    expected = f"a key of the form {form}" if form else "another key"
    return located.fault(path, expected, cure="rename or remove it")


def _unknown_key(located: Located, path: KeyPath, model: type[BaseModel] | None) -> Fault:
    known = list(keys_of(model)) if model is not None else []
    form = not_covered.form_of(path[-1])
    near = None if form else nearest(str(path[-1]), known)
    cure = "rename or remove it" if near else "remove it"
    if form is not None:
        cure = f"{not_covered.told(form)}: {cure}"
    where = f"'{dotted(path[:-1])}'" if path[:-1] else "the file"
    expected = f"a key of {where}" if near else f"one of the keys {', '.join(known)}"
    return located.fault(path, expected, near=near, cure=cure)


_LIMITS = {
    "greater_than": ("above", "gt"), "greater_than_equal": ("of at least", "ge"),
    "less_than": ("below", "lt"), "less_than_equal": ("of at most", "le"),
}  # fmt: skip


def _plain_expected(kind: str, context: Mapping[str, Any]) -> str | None:
    """Return what is expected of a plain value by the kind of pydantic's error, None for any other kind."""
    if kind in _LIMITS:
        word, key = _LIMITS[kind]
        return f"a number {word} {context[key]:g}"
    if kind.startswith("int_"):
        return "a whole number"
    if kind.startswith("float_") or kind == "finite_number":
        return "a finite number without a unit"
    if kind.startswith("bool_"):
        return "'true' or 'false'"
    if kind == "string_pattern_mismatch":
        return f"text of the form {context['pattern']}"
    return "text" if kind.startswith("string_") else None


def _worded(located: Located, path: KeyPath, shape: Shape, data: Any, detail: Any, like: str) -> Fault:
    """Return the Fault at `path`, where `data` stands and `shape` belongs, in the words for its kind."""
    kind, missing, context = detail["type"], False, detail.get("ctx", {})
    expected, cure = shape.expected(), f"write it as {like} shows"
    plain = _plain_expected(kind, context)
    if plain is not None:
        expected, cure = plain, "correct it"
    elif kind == "fault":
        expected, cure = detail["ctx"]["expected"], detail["ctx"]["cure"]
    elif kind == "missing" and isinstance(last := path[-1], int):
        path, expected, cure = path[:-1], f"at least {last + 1} values", "add what is missing"
    elif kind == "missing":
        missing, cure = True, _addition(str(path[-1]), shape)
    elif kind in ("union_tag_invalid", "union_tag_not_found") and isinstance(data, Mapping):
        tags = tags_of(shape.models)
        path, missing, expected = (*path, "kind"), "kind" not in data, listed(tags)
        cure = _meant(data.get("kind"), tags, f"add a line such as 'kind: {tags[0]}'" if missing else None)
    elif kind == "literal_error" and shape.choices:
        cure = _meant(data, shape.choices, None if len(shape.choices) > 1 else f"write {shape.choices[0]}")
    elif kind == "too_short":
        expected = f"at least {detail['ctx']['min_length']} entry"
    elif kind == "too_long":
        expected, cure = f"at most {detail['ctx']['max_length']} entries", "remove some"
    return located.fault(path, expected, missing=missing, cure=cure)


def _meant(value: Any, choices: Sequence[Any], otherwise: str | None) -> str:
    form = not_covered.form_of(value)
    if form is not None:
        return f"{not_covered.told(form)}: choose one of them"
    near = nearest(value, [str(c) for c in choices]) if isinstance(value, str) else None
    return (otherwise or "choose one of them") if near is None else f"did you mean '{near}'?"


def _addition(key: str, shape: Shape) -> str:
    if isinstance(shape.mark, Quantity):
        return f"add a line such as '{key}: {shape.mark.example or shape.mark.dimension.example}'"
    if shape.choices:
        return f"add a line such as '{key}: {shape.choices[0]}'"
    return f"add the key '{key}'"
