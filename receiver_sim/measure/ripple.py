"""The ripple that a build's supply has: as stated (a sine), or as its rectifier gave it when it was run."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from receiver_sim.results.base import ComplexArray
from receiver_sim.schema import Build
from receiver_sim.schema.supply import SettledSupply


@dataclass(frozen=True)
class Ripple:
    """Lines of the ripple: (Hz, V r.m.s., phase in rad), the phase as the rectifier's run gave it.

    phase None: not known, of a stated ripple. at_receiver: they are known at the receiver's side of the
    supply, else as its e.m.f. frequency_hz: that of the line that counts as the ripple's first.
    """

    lines: tuple[tuple[float, float, float | None], ...]
    at_receiver: bool
    frequency_hz: float

    @property
    def first_v(self) -> float:
        """The first line, V r.m.s."""
        return next(volts for hertz, volts, _ in self.lines if abs(hertz / self.frequency_hz - 1.0) < 1e-6)

    def phasors(self, mains_hz: float, *, count: int) -> ComplexArray:
        """Return complex V r.m.s. at the orders 1..count of the mains, in phase with the heaters' volts.

        A rectifier's lines keep their phase against the heaters, both from one mains transformer; the phase
        of a stated ripple is not known and taken as 0.
        """
        found = np.zeros(count, dtype=complex)
        for hertz, volts, phase in self.lines:
            order = round(hertz / mains_hz)
            if 1 <= order <= count:
                # the winding's e.m.f. is a sine of time, the heater's phasor a cosine: a quarter period
                turned = 0.0 if phase is None else (phase + order * math.pi / 2.0)
                found[order - 1] = volts * np.exp(1j * turned)
        return found


def ripple_of(build: Build) -> Ripple:
    """Return the ripple of the build's supply; without a stated frequency twice the mains (full wave)."""
    supply = build.supply
    frequency = float(supply.ripple_frequency or 2.0 * build.mains.frequency)
    if isinstance(supply, SettledSupply) and supply.harmonics:
        return Ripple(tuple(supply.harmonics), True, frequency)
    # stated from peak to peak
    return Ripple(((frequency, supply.ripple / (2.0 * math.sqrt(2.0)), None),), False, frequency)
