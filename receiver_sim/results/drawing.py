"""What a schematic shows, as figures and words: parts, connections, volts."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class DrawnPin:
    """One terminal: its name, the net it is on, its number at the socket ('' where it has none)."""

    name: str
    net: str
    number: str


@dataclass(frozen=True)
class DrawnPart:
    """One part of the drawing: designation, what it is, the words beside it, key of the build, terminals."""

    designation: str
    word: str
    words: tuple[str, ...]
    key: str | None
    pins: tuple[DrawnPin, ...]


@dataclass(frozen=True)
class DrawnVolts:
    """D.c. volts to ground at a net, the control at `rotation` (0..1), not oscillating."""

    net: str
    rotation: float
    value_v: float


@dataclass(frozen=True)
class SchematicReport:
    """The schematic of a set with the coil of one band.

    connections: the terminals on each net, as 'V1.plate'. file: where the drawing was written, None if it was
    not.
    """

    title: str
    band: str
    parts: tuple[DrawnPart, ...]
    connections: dict[str, tuple[str, ...]]
    volts: tuple[DrawnVolts, ...]
    file: str | None
