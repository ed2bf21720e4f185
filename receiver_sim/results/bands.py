"""What `loop` finds on each band, and how a rule judges: what most verbs need of a `check`, no more."""

from __future__ import annotations

import enum
from collections.abc import Iterable
from dataclasses import dataclass

from receiver_sim.results.answer import Answer
from receiver_sim.results.base import FailedStage, Status
from receiver_sim.results.onset import GainAgainstScreen, NyquistCurve, Onset, Selectivity


class Grade(str, enum.Enum):
    """How a rule judged: fine, worth a look, or a fault that `--strict` fails on."""

    GOOD = "good"
    DOUBTFUL = "doubtful"
    BAD = "bad"


@dataclass(frozen=True)
class Verdict:
    """One rule applied to one thing.

    subject: band or stage; rule: key of the documented rule; value and limit in `unit` (None where the rule
    is not about a number); text: one sentence a constructor can act on.
    """

    subject: str
    rule: str
    grade: Grade
    value: float | None
    limit: float | None
    unit: str
    text: str


@dataclass(frozen=True, repr=False)
class BandReport(Answer):
    """One band: onset at the low end, the middle and the high end of its dial; curves of the middle.

    failed: curves whose simulation failed; an onset says by its own status that it did.
    """

    band: str
    onsets: tuple[Onset, ...]
    against_screen: GainAgainstScreen | None
    nyquist: tuple[NyquistCurve, ...]
    selectivity: Selectivity | None
    failed: tuple[FailedStage, ...] = ()

    @property
    def middle(self) -> Onset:
        """Onset at the middle of the dial."""
        return self.onsets[len(self.onsets) // 2]

    @property
    def headline(self) -> str:
        """The band and its onset in a few words."""
        found = self.middle.onset
        if found is None:
            return f"{self.band} {self.middle.status.value}"
        shown = f"{found.figure:.1f} V" if found.unit == "V" else f"{1e12 * found.figure:.1f} pF"
        share = f"{100.0 * found.rotation:.1f} % of the knob"
        return f"{self.band} oscillates from {share}, {shown}"


def onset_stage(band: str, dial_hz: float) -> str:
    """Return what the search for an onset is called as a stage."""
    return f"onset on {band} at {dial_hz / 1e6:.4g} MHz"


def failures(bands: Iterable[BandReport], stages: Iterable[FailedStage] = ()) -> tuple[FailedStage, ...]:
    """Return everything that failed, in one form: onsets and curves of the bands, then the given stages."""
    found = []
    for band in bands:
        named = {one.stage for one in band.failed}
        for onset in band.onsets:
            stage = onset_stage(onset.band, onset.dial_hz)
            if onset.status is Status.FAILED and stage not in named:
                found.append(FailedStage(stage, "; ".join(onset.warnings), None))
        found += band.failed
    return (*found, *stages)
