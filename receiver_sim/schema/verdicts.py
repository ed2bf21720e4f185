"""Thresholds of the verdicts, each with a default that a build may override under `verdicts`.

Common practice, no source. A study that judges reads its threshold here; a new verdict is one more field.
"""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, Field

from receiver_sim.schema import parts as p


def _threshold(default: str, description: str) -> Any:
    return Field(default=default, description=description)


class Verdicts(BaseModel):
    """Thresholds that tell a pass from a fail."""

    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=True)

    onset_rotation_min: p.Setting = _threshold(
        "15 %", "Least rotation of the regeneration control at which onset may lie, in every band."
    )
    onset_rotation_max: p.Setting = _threshold(
        "85 %", "Greatest rotation of the regeneration control at which onset may lie, in every band."
    )
