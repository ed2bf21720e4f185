"""How sure an answer is: what parts, tubes and mains leave open of it, from a hundred sets of the build."""

from __future__ import annotations

from dataclasses import dataclass

from receiver_sim.results.spread import BandSpread, Held, Share


@dataclass(frozen=True)
class FigureRange:
    """A figure of the build as stated, and what eight of ten sets lie between.

    name: in words; unit: of stated, low and high ('1' for a plain number).
    """

    name: str
    unit: str
    stated: float
    low: float
    high: float


@dataclass(frozen=True)
class HowSure:
    """What a hundred sets say of the answers of `check`.

    sets: how many were drawn, with their seed; held: in how many each verdict holds, all of them last.
    bands: onset over the sets, the middle of each dial; deciding: the parts that bring most of its scatter,
    largest first, band by band. figures: readings of a meter, gain and hum with the control where `check`
    looks at them. notes: what these figures don't cover.
    """

    sets: int
    seed: int
    held: tuple[Held, ...]
    bands: tuple[BandSpread, ...]
    deciding: tuple[Share, ...]
    figures: tuple[FigureRange, ...]
    notes: tuple[str, ...]
