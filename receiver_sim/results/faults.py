"""Result of the search for a fault."""

from __future__ import annotations

from dataclasses import dataclass

from receiver_sim.results.answer import Answer
from receiver_sim.results.base import FailedStage


@dataclass(frozen=True)
class Suspect:
    """One fault, or a group that these readings can't separate.

    names: 'C7 (coupling capacitor): leaky', the likeliest first; size: of that one, in words; probability: of
    the whole group; deviation: of the readings from it, in standard deviations a reading.
    """

    names: tuple[str, ...]
    size: str
    probability: float
    deviation: float


@dataclass(frozen=True)
class Hazard:
    """A fault that can hurt and that the readings don't rule out; tested: whether any of them shows it."""

    name: str
    why: str
    probability: float
    tested: bool = True


@dataclass(frozen=True)
class NextReading:
    """The reading that would separate the leading suspects best.

    where: words; expected: volts under each of the leading suspects, by their first name; meter: to take.
    """

    where: str
    meter: str
    expected_v: dict[str, float]
    how: str


@dataclass(frozen=True)
class ReadingAgainst:
    """One reading beside what the set should show and what the leading suspect would show."""

    where: str
    unit: str
    seen: float | None
    should: float | None
    suspect: float | None


@dataclass(frozen=True, repr=False)
class FaultReport(Answer):
    """What the readings say.

    healthy: whether a sound set explains them best; healthy_probability: of a sound set or of faults that no
    reading shows (`not_shown`); healthy_deviation: of the readings from a sound set, r.m.s., in standard
    deviations; suspects in the order of their probability.
    """

    title: str
    healthy: bool
    healthy_probability: float
    hazards: tuple[Hazard, ...]
    suspects: tuple[Suspect, ...]
    next_reading: NextReading | None
    readings: tuple[ReadingAgainst, ...]
    tried: int
    not_shown: tuple[str, ...]
    cautions: tuple[str, ...]
    failed: tuple[FailedStage, ...] = ()
    healthy_deviation: float = 0.0

    @property
    def headline(self) -> str:
        """The answer in a line."""
        if self.healthy:
            return "the readings are those of a sound set"
        return (
            f"most likely {self.suspects[0].names[0]}" if self.suspects else "nothing explains the readings"
        )
