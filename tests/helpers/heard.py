"""One band of a set, found once, and sound of it."""

from __future__ import annotations

import math
from typing import Any

from receiver_sim.circuit.registry import Cards
from receiver_sim.engine import Bench
from receiver_sim.receiver import Receiver
from receiver_sim.results.envelope import Sound
from receiver_sim.schema import Build
from receiver_sim.studies import amplitude, listening


class Heard:
    """The third band of a build: its mode, its onset, its amplitudes, and sound of it."""

    def __init__(self, build: Build, cards: Cards, bench: Bench) -> None:
        self.build, self.cards, self.bench, self.band = build, cards, bench, build.bands[2]
        self.dial = math.sqrt(self.band.from_ * self.band.to)
        self.receiver = Receiver(build, bench, cards=cards)
        self.tuned = self.receiver.at(self.band, self.dial)
        self.search = self.tuned.onset
        assert self.search.onset is not None and self.search.tuning_farad is not None
        found = amplitude.run(self.tuned, time_runs=False)
        assert found.onset is not None and found.amplitudes is not None
        self.amplitudes = found.amplitudes
        self.at, self.frame = found.onset.rotation, float(found.amplitudes.frame_hz[0])
        self.mode = self.tuned.mode(self.at)

    def sound(
        self, signals: Any, *, part: float, seconds: float, noise: Any = None, dial: Any = None
    ) -> Sound:
        """Return what is heard with the control at a part of the onset's rotation."""
        return listening.run(
            self.receiver,
            self.mode,
            band=self.band,
            reference_hz=self.frame,
            path=[(0.0, part * self.at)],
            signals=signals,
            seconds=seconds,
            noise=noise,
            dial=dial,
        )
