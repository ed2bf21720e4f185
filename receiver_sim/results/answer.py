"""What an answer does of itself: a short repr, its plot, its rows as a pandas table."""

from __future__ import annotations

import dataclasses
import enum
import importlib
from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from receiver_sim.errors import UserError

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Item = TypeVar("Item")

_SHORT = 72


class Answer:
    """Base of what a verb gives: a frozen dataclass that knows how to show itself.

    Drawing and tables are fetched when they are asked for, so that a result needs neither library.
    """

    def __repr__(self) -> str:
        return f"<{type(self).__name__}: {summary(self)}>"

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw it and return the Axes; neither simulates nor shows. Raises UserError if it has no picture."""
        drawn: Axes = importlib.import_module("receiver_sim.views.of_results").plot_of(self, ax)
        return drawn

    def to_dataframe(self) -> Any:
        """Return its rows as a pandas table, SI units by the end of each column's name.

        Raises UserError without pandas, or for an answer that is no table.
        """
        return frame(self)


class Answers(tuple[Item, ...], Answer):
    """Several answers of one kind, in order: a tuple that draws itself and becomes one table."""

    __slots__ = ()

    def __new__(cls, items: Iterable[Item] = ()) -> Answers[Item]:
        """Return the items as answers."""
        return super().__new__(cls, tuple(items))

    def __repr__(self) -> str:
        return f"<{len(self)} answers: {'; '.join(summary(one) for one in self)}>"


def summary(one: Any) -> str:
    """Return an answer in a few words: its headline, or its plain fields as far as a line holds them."""
    said = getattr(one, "headline", None)
    if said is not None:
        return str(said)
    if not dataclasses.is_dataclass(one):
        return str(one)
    parts = []
    for field in dataclasses.fields(one):
        value = getattr(one, field.name)
        if isinstance(value, enum.Enum):
            parts.append(str(value.value))
        elif isinstance(value, str):
            parts.append(value)
        elif isinstance(value, bool):
            parts.append(f"{field.name} {value}")
        elif isinstance(value, int | float):
            parts.append(f"{field.name} {value:g}")
        elif isinstance(value, tuple) and value:
            parts.append(f"{len(value)} {field.name}")
    text = ", ".join(parts)
    return text if len(text) <= _SHORT else text[: _SHORT - 1].rstrip(", ") + "…"


def frame(answer: Any) -> Any:
    """Return the rows of an answer as a pandas table; see `Answer.to_dataframe`."""
    try:
        pandas = importlib.import_module("pandas")  # an optional library
    except ImportError:
        raise UserError("to_dataframe needs pandas: pip install pandas") from None
    return pandas.DataFrame(list(rows(answer)))


def rows(answer: Any) -> Iterator[dict[str, Any]]:
    """Yield the rows of an answer: one for each item of its main table, nested figures by dotted names.

    The main table of an answer is the first of its fields that holds answers or arrays of one length.
    Raises UserError if there is none.
    """
    if isinstance(answer, tuple):
        for one in answer:
            yield from rows(one)
        return
    if not dataclasses.is_dataclass(answer) or isinstance(answer, type):
        raise UserError(f"{answer!r} is no table")
    named = {f.name: getattr(answer, f.name) for f in dataclasses.fields(answer)}
    plain = {name: _plain(v) for name, v in named.items() if isinstance(v, str | enum.Enum)}
    arrays = {name: v for name, v in named.items() if isinstance(v, np.ndarray) and v.ndim == 1}
    if arrays:
        length = len(next(iter(arrays.values())))
        columns = {name: v for name, v in arrays.items() if len(v) == length}
        for i in range(length):
            yield {**plain, **{name: v[i].item() for name, v in columns.items()}}
        return
    for value in named.values():
        if isinstance(value, tuple) and value and dataclasses.is_dataclass(value[0]):
            for one in value:
                yield {**plain, **dict(_flat(one))}
            return
    raise UserError(f"{type(answer).__name__} is no table")


def _flat(one: Any, prefix: str = "") -> Iterator[tuple[str, Any]]:
    """Yield the single figures of a result and of the results within it, by dotted names."""
    fields: Mapping[str, Any] = {f.name: getattr(one, f.name) for f in dataclasses.fields(one)}
    for name, value in fields.items():
        if dataclasses.is_dataclass(value):
            yield from _flat(value, f"{prefix}{name}.")
        elif value is None or isinstance(value, str | enum.Enum | bool | int | float):
            yield prefix + name, _plain(value)


def _plain(value: Any) -> Any:
    return value.value if isinstance(value, enum.Enum) else value
