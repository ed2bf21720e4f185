"""What every result carries: status, units, provenance, warnings; and how it becomes JSON."""

from __future__ import annotations

import dataclasses
import enum
import math
from typing import Annotated, Any

import numpy as np
import numpy.typing as npt
from pydantic import GetPydanticSchema, WithJsonSchema
from pydantic_core import core_schema

_NUMBERS = {"type": "array", "items": {"anyOf": [{"type": "number"}, {"type": "array"}]}}
_ANY = GetPydanticSchema(lambda _source, _handler: core_schema.any_schema())

FloatArray = Annotated[npt.NDArray[np.float64], _ANY, WithJsonSchema(_NUMBERS)]
"""An array of floats; a list (of lists) in JSON."""

ComplexArray = Annotated[
    npt.NDArray[np.complex128],
    _ANY,
    WithJsonSchema(
        {
            "type": "object",
            "properties": {"re": _NUMBERS, "im": _NUMBERS},
            "required": ["re", "im"],
            "additionalProperties": False,
        }
    ),
]
"""An array of complex numbers; {"re": [...], "im": [...]} in JSON."""


class Status(str, enum.Enum):
    """Outcome of a search for oscillation; four different states, never NaN or zero."""

    OSCILLATES = "oscillates"
    """Onset was found within the range of the control."""
    DOES_NOT = "does not oscillate"
    """The loop gain stays below one over the whole control."""
    NOT_IN_RANGE = "not found in range"
    """It oscillates already at the lowest setting: onset lies below the range of the control."""
    FAILED = "failed"
    """The simulation gave no answer; the warnings say why."""


@dataclasses.dataclass(frozen=True)
class Figure:
    """A figure whose unit depends on the set: value, in `unit` (SI without prefix)."""

    value: float
    unit: str


@dataclasses.dataclass(frozen=True)
class FailedStage:
    """A part of a verb that failed while others may have gone well: its simulation, or the program itself.

    stage: what was not found; reason: a sentence; deck: file that was kept, None if nothing reached ngspice.
    fault: Python's traceback where the program was at fault, None where the simulation failed.
    """

    stage: str
    reason: str
    deck: str | None
    status: Status = Status.FAILED
    fault: str | None = None


@dataclasses.dataclass(frozen=True)
class DeckRun:
    """A deck that ngspice was given: its title and the SHA-256 digest of its whole text."""

    title: str
    sha256: str


@dataclasses.dataclass(frozen=True)
class Provenance:
    """Where a result comes from.

    build: SHA-256 digest; decks: those that were run for it, each once, by title and then digest; the
    versions are texts; cards maps each tube type to the digest of its card. rungs: how the analyses found
    their operating points, and how many of each (`receiver_sim.engine.rungs` states the ladder).
    """

    build: str
    decks: tuple[DeckRun, ...]
    receiver_sim: str
    ngspice: str
    cards: dict[str, str]
    rungs: dict[str, int] = dataclasses.field(default_factory=dict)


def plain(value: Any) -> Any:  # noqa: PLR0911 - one return a kind of value
    """Turn a result (nested dataclasses, arrays, enums) into what `json.dump` takes.

    Complex numbers become {"re": .., "im": ..} of equal shape. Raises ValueError on NaN or infinity, which
    no result may hold: absent values are None and outcomes are a Status.
    """
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, enum.Enum):
        return value.value
    if isinstance(value, np.ndarray):
        if np.iscomplexobj(value):
            return {"re": plain(value.real), "im": plain(value.imag)}
        return [plain(v) for v in value.tolist()]
    if isinstance(value, complex):
        return {"re": plain(value.real), "im": plain(value.imag)}
    if isinstance(value, dict):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(v) for v in value]
    if isinstance(value, np.generic):
        return plain(value.item())
    if isinstance(value, float) and not math.isfinite(value):
        raise ValueError("a result holds NaN or infinity")
    return value
