"""Results of many sets of one build: shares in which a verdict holds, onsets, and the parts that decide."""

from __future__ import annotations

from dataclasses import dataclass

from receiver_sim.results.answer import Answer
from receiver_sim.results.base import FloatArray, Status
from receiver_sim.results.onset import SCREEN


@dataclass(frozen=True)
class SetOnset:
    """Onset of one set on one band; figures are None where there is none. See `results.onset.Onset`.

    figure: what the control sets there (V, or F of a throttle); approach: of the same, from loop gain 0.9 on.
    """

    status: Status
    rotation: float | None = None
    figure: float | None = None
    approach: float | None = None
    approach_deg: float | None = None
    oscillation_hz: float | None = None


@dataclass(frozen=True)
class Held:
    """In how many sets a verdict holds.

    subject: band, or what else is judged; 'the whole set' for all verdicts at once. share (0..1) with the
    95 % confidence interval of Wilson (1927) from `share_low` to `share_high`.
    """

    subject: str
    rule: str
    held: int
    of: int
    share: float
    share_low: float
    share_high: float


@dataclass(frozen=True)
class BandSpread:
    """Onset of one band over the sets.

    rotation (0..1 of the knob) and figure (what the control sets: its quantity, in unit): of the sets that
    oscillate, in the order of their numbers. knob_low, knob_middle, knob_high, and the same of that figure
    and of the approach: what a tenth, half and nine tenths of these sets lie below, None where no set
    oscillates. The others by what they do instead.
    """

    band: str
    sets: int
    oscillating: int
    silent: int
    always: int
    failed: int
    rotation: FloatArray
    figure: FloatArray
    knob_low: float | None
    knob_middle: float | None
    knob_high: float | None
    figure_low: float | None
    figure_middle: float | None
    figure_high: float | None
    approach_low_deg: float | None
    approach_middle_deg: float | None
    approach_high_deg: float | None
    quantity: str = SCREEN
    unit: str = "V"


@dataclass(frozen=True)
class Sets:
    """The sets under one state of knowledge: label, in words; measured: keys of what was measured."""

    label: str
    measured: tuple[str, ...]
    held: tuple[Held, ...]
    bands: tuple[BandSpread, ...]

    @property
    def whole(self) -> Held:
        """In how many sets all verdicts hold."""
        return self.held[-1]


@dataclass(frozen=True)
class Share:
    """Share of the variance of a band's onset on the knob that one part brings by itself (0..1).

    key: of the build, or the type whose print leaves something open; word: what the trade calls it.
    """

    band: str
    key: str
    word: str
    share: float


@dataclass(frozen=True, repr=False)
class Spread(Answer):
    """What `spread` finds. before: as nobody has measured anything; after: with some parts measured.

    shares: largest first, band by band. worth: key of the part that is worth selecting, None if none is;
    gain: by how much the share of good sets rises if it is (0..1), None if that was not asked. limits: what
    each part may be off, in words; notes: how to read it.
    """

    title: str
    sets: int
    seed: int
    before: Sets
    after: Sets | None
    shares: tuple[Share, ...]
    worth: str | None
    worth_word: str | None
    gain: float | None
    notes: tuple[str, ...]
    seconds: float

    @property
    def headline(self) -> str:
        """The share of good sets in a few words."""
        whole = self.before.whole
        return f"{100.0 * whole.share:.0f} of a hundred sets good in every verdict, {self.sets} tried"
