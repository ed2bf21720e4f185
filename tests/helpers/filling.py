"""Results whose every figure differs from every other, so that a view which takes the wrong one is caught.

`filled(SomeResult)` makes an instance of any result class from its type hints: floats of the right order of
magnitude for their names, no two with the same digits; two entries in a tuple; six rising values in an
array. It knows no view and no study.
"""

from __future__ import annotations

import dataclasses
import enum
import itertools
import types
import typing
from typing import Any, TypeVar

import numpy as np

T = TypeVar("T")

ARRAY = 6
"""Values in an array."""

_LENGTHS = {"carried_by": ARRAY}
"""Tuples that run along an array."""

# Least value by the name of a field, the first pattern that its end fits; the value lies up to ten times
# above.
_SCALES = (
    ("low_hz", 1.1e6), ("high_hz", 2.2e6), ("dial_hz", 2e6), ("from_hz", 2e6), ("to_hz", 3e6),
    ("middle_hz", 2e6), ("oscillation_hz", 2e6), ("station_hz", 1.3e5), ("tank_hz", 2e6),
    ("shift_hz", 100.0), ("slope_hz_per_deg", 1e3), ("frequency_hz", 110.0), ("_hz", 100.0),
    ("_ohm", 1100.0), ("_farad", 1.2e-11), ("_henry", 1.3e-5), ("_v_per_m", 1e-5),
    ("wire_length_m", 1.1), ("height_m", 1.1), ("_m", 0.011), ("_q", 11.0), ("_a", 1.1e-3), ("_w", 0.11),
    ("_deg", 11.0), ("_siemens", 1.1e-4), ("_db", 11.0), ("_per_v", 0.11), ("_s", 1.1),
    ("engine_seconds", 1.1), ("seconds", 0.011), ("_k", 11.0), ("_v", 1.1),
)  # fmt: skip


class Source:
    """Gives numbers from 0.1 to 1, no two alike in their first three digits for some four hundred of them."""

    def __init__(self) -> None:
        self._count = itertools.count(1)
        self._names = itertools.count(1)

    def mantissa(self) -> float:
        """Return the next: the golden ratio's multiples lie far from all before (Weyl's sequence)."""
        return 0.1 + 0.9 * ((next(self._count) * 0.6180339887498949) % 1.0)

    def word(self, name: str) -> str:
        """Return a text fit for a field of that name, no two alike."""
        return f"{name.replace('_', ' ')} {next(self._names)}"

    def number(self, name: str) -> float:
        """Return a figure fit for a field of that name."""
        scale = next((10.0 * least for end, least in _SCALES if f"_{name}".endswith(end)), 1.0)
        return scale * self.mantissa()


def filled(kind: type[T], source: Source | None = None, /, **given: Any) -> T:
    """Return an instance of a result class with distinct figures; `given` fields are taken as they are."""
    source = source or Source()
    hints = typing.get_type_hints(kind)
    values = {
        field.name: given[field.name]
        if field.name in given
        else _value(hints[field.name], field.name, source)
        for field in dataclasses.fields(kind)  # type: ignore[arg-type]
        if field.init
    }
    return kind(**values)


def _value(hint: Any, name: str, source: Source) -> Any:  # noqa: PLR0911 - one return a kind of field
    origin, inner = typing.get_origin(hint), typing.get_args(hint)
    if origin in (typing.Union, types.UnionType):
        return _value(next(i for i in inner if i is not type(None)), name, source)
    if origin is tuple:
        several = [inner[0]] * _LENGTHS.get(name, 2) if inner[-1] is Ellipsis else list(inner)
        return tuple(_value(i, name, source) for i in several)
    if origin is dict:
        return {f"{name} {n}": _value(inner[1], name, source) for n in ("one", "other")}
    if origin is np.ndarray:
        return _array(inner, name, source)
    if dataclasses.is_dataclass(hint):
        return filled(typing.cast("type", hint), source)
    if isinstance(hint, type) and issubclass(hint, enum.Enum):
        return next(iter(hint))
    if hint is bool:
        return True
    if hint is int:
        return round(1000.0 * source.mantissa())
    if hint is float:
        return source.number(name)
    if hint is str:
        return source.word(name)
    raise TypeError(f"no filling for {name}: {hint}")


def _array(inner: Any, name: str, source: Source) -> Any:
    start, width = source.number(name), source.mantissa()
    # rising, with steps of their own
    steps = start * (1.0 + width * np.linspace(0.0, 1.0, ARRAY) ** 1.3)
    if "complex" in str(inner[1]):
        return steps * np.exp(1j * np.linspace(0.1, 1.2, ARRAY) * (1.0 + width))
    return steps
