"""The outcomes of a search for oscillation in words, the same in every table and on every picture."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from receiver_sim.results.base import Status
from receiver_sim.views.control_words import words, words_of
from receiver_sim.views.numbers import NOTHING, fixed

if TYPE_CHECKING:
    from receiver_sim.results.envelope import Oscillation

IN_SHORT = {
    Status.OSCILLATES: "oscillates",
    Status.DOES_NOT: "does not oscillate",
    Status.NOT_IN_RANGE: "oscillates at the lowest setting already",
    Status.FAILED: "simulation failed",
}
"""Behind the name of a band."""


def told_once(said: Iterable[tuple[str, str]]) -> list[str]:
    """Return what is said of bands (name, text), what is the same of several once behind all their names."""
    bands: dict[str, list[str]] = {}
    for band, text in said:
        bands.setdefault(text, []).append(band)
    return [f"{', '.join(dict.fromkeys(names))}: {text}" for text, names in bands.items()]


def onset_beyond(found: Oscillation) -> str | None:
    """Return where onset would lie beyond the control, None if that is not known."""
    if found.onset_beyond_v is None:
        return None
    known = found.amplitudes
    sets = words(found.quantity) if known is None else words_of([known])
    place = "below the bottom" if found.status is Status.NOT_IN_RANGE else "above the top"
    return f"onset would be at {fixed(found.onset_beyond_v, 2)} V {sets.name}, {place} of the control"


def on_picture(found: Oscillation) -> list[str]:
    """Return what a picture of the strength says of a band without onset on its control, a line each."""
    if found.status is Status.OSCILLATES:
        return []
    lines = [IN_SHORT[found.status], *found.warnings]
    beyond = onset_beyond(found)
    return lines if beyond is None else [*lines, beyond]


def in_a_word(status: Status) -> str:
    """Return what stands in a column of settings where there is no onset."""
    return {Status.DOES_NOT: "none", Status.NOT_IN_RANGE: "always", Status.FAILED: "failed"}.get(
        status, NOTHING
    )
