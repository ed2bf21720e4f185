"""Readings taken on the bench: volts at pins with a stated meter, onset on the knob, what is heard."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from receiver_sim.schema import parts as p
from receiver_sim.schema.base import Part, given, optional
from receiver_sim.schema.faults import FileFaults
from receiver_sim.schema.located_yaml import read_located
from receiver_sim.schema.quantity import PERCENTAGE, VOLTAGE, Quantity
from receiver_sim.schema.validated import validated

MeterName = Literal["1 kohm/V", "20 kohm/V", "10 Mohm"]
Heard = Literal["nothing", "weak", "normal", "loud hum"]
"""What is heard in the phones below onset: against what the set should give."""


MeterVolts = Annotated[float, Quantity(VOLTAGE, "-1000 V", "1000 V", example="87 V")]
MeterRange = Annotated[float, Quantity(VOLTAGE, "0.1 V", "2000 V", example="250 V")]
ReadingError = Annotated[float, Quantity(PERCENTAGE, "0.1 %", "30 %", example="3 %")]


class ReadingsFaults(FileFaults):
    """A file of readings has faults; `faults` holds all of them."""


class VoltReading(Part):
    """One reading of a voltmeter to chassis."""

    pin: p.Name = Field(description="Where: 'V1 plate', 'V1 pin 8', or a test point such as 'plate supply'.")
    volts: MeterVolts = Field(description="What the meter showed; negative below chassis.")
    meter: MeterName | None = optional("The meter of this reading; default: that of the file.")
    range: MeterRange | None = optional("Range it was on; default: the one that one would choose.")
    tube: Literal["in", "out"] = given("in", "'out' if the tube of that socket was pulled.")


class OnsetReading(Part):
    """Where one band began to oscillate."""

    band: p.Name = Field(description="Name of the band.")
    at: p.Setting | None = optional("Setting of the control; default: no oscillation anywhere on it.")


class Readings(Part):
    """A file of readings of one set."""

    receiver_sim_readings: Literal[1]
    meter: MeterName = given("10 Mohm", "Voltmeter used.")
    control: p.Setting | None = optional(
        "Where the control stood while volts were read; default: just below onset as it should be."
    )
    error: ReadingError = given("3 %", "Error of the readings (one standard deviation).")
    volts: tuple[VoltReading, ...] = Field(default=(), description="Readings in volts.")
    onset: tuple[OnsetReading, ...] = Field(default=(), description="Onset by band.")
    heard: Heard | None = optional("What is heard below onset with a signal on the dial.")


def load_readings(path: str | Path) -> Readings:
    """Read and check a file of readings. Raises ReadingsFaults with every fault found."""
    located = read_located(path, faults=ReadingsFaults, what="a file of readings")
    return validated(Readings, located, checks=(), faults=ReadingsFaults, like="the one that `sheet` gives")


__all__ = ["Heard", "OnsetReading", "Readings", "ReadingsFaults", "VoltReading", "load_readings"]
