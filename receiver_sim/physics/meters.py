"""Voltmeters: what they load a circuit with, and the range that one would choose."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Voltmeter:
    """A d.c. voltmeter.

    ohm_per_volt: of a moving-coil meter, its resistance on a range is that times the range; input_ohm: of an
    electronic meter, the same on every range. ranges: full scale, V, rising. error: of a reading, as a share
    of the range (moving coil) or of the reading.
    """

    name: str
    ranges: tuple[float, ...]
    ohm_per_volt: float | None = None
    input_ohm: float | None = None
    error: float = 0.02

    def resistance(self, full_scale: float) -> float:
        """Return the resistance (ohm) that lies across the circuit on a range (V)."""
        if self.input_ohm is not None:
            return self.input_ohm
        assert self.ohm_per_volt is not None
        return self.ohm_per_volt * full_scale


METERS = (
    Voltmeter("1 kohm/V", (10.0, 50.0, 250.0, 500.0, 1000.0), ohm_per_volt=1e3, error=0.03),
    Voltmeter("20 kohm/V", (2.5, 10.0, 50.0, 250.0, 1000.0), ohm_per_volt=2e4, error=0.03),
    Voltmeter("10 Mohm", (2.0, 20.0, 200.0, 1000.0), input_ohm=1e7, error=0.01),
)
"""The meters of three ages, with usual ranges and accuracies (common practice, no source)."""

FULL = 0.95
"""The next lower range is chosen as long as the reading stays below this share of its full scale."""


def meter_named(name: str) -> Voltmeter:
    """Return a meter by its name, blanks and case aside. Raises KeyError that lists the names."""
    wanted = name.replace(" ", "").casefold()
    for meter in METERS:
        if meter.name.replace(" ", "").casefold() == wanted:
            return meter
    raise KeyError(f"no meter '{name}'; there are: {', '.join(m.name for m in METERS)}")


def read(meter: Voltmeter, loaded: Callable[[float], float]) -> tuple[float, float]:
    """Return the reading (V) and the range (V) as one takes it: from the highest range down.

    loaded: gives the volts of the circuit with a resistance (ohm) across it. A lower range is taken while
    the reading on the present one would stay on its scale; the lower range loads more and reads less.
    """
    chosen = meter.ranges[-1]
    volts = loaded(meter.resistance(chosen))
    for lower in reversed(meter.ranges[:-1]):
        if abs(volts) >= FULL * lower:
            break
        chosen = lower
        if meter.input_ohm is None:
            volts = loaded(meter.resistance(lower))
    return volts, chosen


__all__ = ["FULL", "METERS", "Voltmeter", "meter_named", "read"]
