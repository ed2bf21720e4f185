"""Result of a calibration: what readings of a set say of its parts and tubes, and what follows."""

from __future__ import annotations

from dataclasses import dataclass

from receiver_sim.results.answer import Answer
from receiver_sim.results.base import FailedStage

PINNED = 0.95
"""Readings say something of a value if they leave less than this share of its spread."""


@dataclass(frozen=True)
class Pulled:
    """One thing that differs from set to set.

    key: of the build, where its value stands; '' for what stands nowhere in it; word: what the trade calls
    it; kind: its class of tolerance; stated: its value in the build, None without a key; found: as the
    readings have it; moved: deviation that was found; before, after: one standard deviation. These three are
    relative, in volts for a contact potential (`unit` V), in deviations for what print leaves open ('sigma').
    """

    key: str
    word: str
    kind: str
    unit: str
    stated: float | None
    found: float | None
    moved: float
    before: float
    after: float

    @property
    def pinned(self) -> bool:
        """Whether the readings say something of it."""
        return self.after < PINNED * self.before


@dataclass(frozen=True)
class OnsetBefore:
    """Onset of one band on the knob (0..1, None: not found) as built and as calibrated, each with one
    standard deviation; seen: what was read, None if the band was not tried.
    """

    band: str
    before: float | None
    before_spread: float | None
    after: float | None
    after_spread: float | None
    seen: float | None


@dataclass(frozen=True)
class ReadingBefore:
    """One reading beside what the build gives before and after."""

    where: str
    seen_v: float
    before_v: float
    after_v: float


@dataclass(frozen=True, repr=False)
class Calibration(Answer):
    """What a calibration gives.

    tap_before, tap_after: of the first band, the tap (share of the turns) for onset where it stands
    in the build; None for a coil without a tap; hum_before_v, hum_after_v: least hum at the first phones, and
    hum_pot_before, hum_pot_after the place of its null; None without a pot. What could not be found is None,
    too, and named in `failed`.
    """

    title: str
    pulled: tuple[Pulled, ...]
    readings: tuple[ReadingBefore, ...]
    onsets: tuple[OnsetBefore, ...]
    tap_before: float | None
    tap_after: float | None
    hum_before_v: float | None
    hum_after_v: float | None
    hum_pot_before: float | None
    hum_pot_after: float | None
    misfit: float
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    failed: tuple[FailedStage, ...] = ()

    @property
    def headline(self) -> str:
        """The answer in a line."""
        most = max(self.pulled, key=lambda one: abs(one.moved) / one.before)
        return f"{len(self.readings)} readings; moved most: {most.word}"
