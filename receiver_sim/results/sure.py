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
class StrengthRange:
    """How oscillation comes in on a band in a few of the sets: ranges from the lowest to the highest.

    sets: with an onset on the control; found: of these, whose amplitudes a quick sweep found; soft: of those,
    without a backlash; top_v: amplitude (V at the hot
    end) at the highest setting there is; backlash_deg: 0 in a soft set. None without a set.
    """

    band: str
    sets: int
    found: int
    soft: int
    top_low_v: float | None
    top_high_v: float | None
    backlash_low_deg: float | None
    backlash_high_deg: float | None


@dataclass(frozen=True)
class HowSure:
    """What a hundred sets say of the answers of `check`.

    sets: how many were drawn, with their seed; held: in how many each verdict holds, all of them last.
    bands: onset over the sets, the middle of each dial; deciding: the parts that bring most of its scatter,
    largest first, band by band. figures: readings of a meter, gain and hum with the control where `check`
    looks at them. strengths: how oscillation comes in, of the first `looked` of the sets, band by band.
    notes: what these figures don't cover.
    """

    sets: int
    seed: int
    held: tuple[Held, ...]
    bands: tuple[BandSpread, ...]
    deciding: tuple[Share, ...]
    figures: tuple[FigureRange, ...]
    notes: tuple[str, ...]
    strengths: tuple[StrengthRange, ...] = ()
    looked: int = 0
