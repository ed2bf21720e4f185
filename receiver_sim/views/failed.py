"""What failed while the rest of an answer was found."""

from __future__ import annotations

from collections.abc import Sequence

from receiver_sim.results.base import FailedStage, Status
from receiver_sim.views.sheet import Note, Section


def failed_sections(failed: Sequence[FailedStage]) -> list[Section]:
    """Return a section that names what failed while the rest was found; none if nothing did."""
    if not failed:
        return []
    mark, style = f" X  {Status.FAILED.value.upper()}    ", "bold red"
    notes = [Note(f"{one.stage}: {one.reason}", mark=mark, style=style) for one in failed]
    return [Section("Not found", tuple(notes))]
