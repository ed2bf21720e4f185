"""What all parts of a build share: the base class and the ways to write a field."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, Field


class Part(BaseModel):
    """Base of everything in a build: frozen, unknown keys refused, defaults read like the file."""

    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=True)


def given(default: str | float, description: str) -> Any:
    """Return a field whose default is written as in the file."""
    return Field(default=default, description=description)


def optional(description: str) -> Any:
    """Return a field that may be left out and is None then."""
    return Field(default=None, description=description)


def _drop_default(schema: dict[str, Any]) -> None:
    schema.pop("default", None)


def derived(description: str) -> Any:
    """Return a field that loading fills from other keys when it is left out."""
    extra: Any = _drop_default
    return Field(default=None, validate_default=False, description=description, json_schema_extra=extra)
