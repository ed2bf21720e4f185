"""What the live page asks for: onset and loop gain of all bands at once, the address it is served at."""

from __future__ import annotations

from dataclasses import dataclass

from receiver_sim.results.onset import GainAgainstScreen, Onset


@dataclass(frozen=True)
class QuickBand:
    """One band in the middle of its dial: its onset, and the loop gain against the control.

    gain: None where the search failed, which `onset.status` says.
    """

    onset: Onset
    gain: GainAgainstScreen | None


@dataclass(frozen=True)
class QuickAnswer:
    """All bands of a build, as fast as they can be had; dangers: what must be said ahead of any figure."""

    bands: tuple[QuickBand, ...]
    dangers: tuple[str, ...]


@dataclass(frozen=True)
class LiveAddress:
    """Where the live page of a build is served, on this machine alone.

    folder: where changed builds are saved.
    """

    address: str
    build: str
    folder: str
