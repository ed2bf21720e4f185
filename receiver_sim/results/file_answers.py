"""What the verbs that only write a file answer under `--json`."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class StarterBuild:
    """The file that `new` wrote."""

    file: str


@dataclass(frozen=True)
class GuidePage:
    """A reference page as Markdown; topic and text are None if only the topics are listed."""

    topic: str | None
    text: str | None
    topics: tuple[str, ...]


@dataclass(frozen=True)
class DeckExport:
    """A netlist for stock ngspice in batch mode.

    build: SHA-256 digest of the build; rotation: setting of the control, 0..1; file: where it was written,
    None if nowhere; netlist: the text itself.
    """

    build: str
    study: str
    band: str
    dial_hz: float
    rotation: float
    file: str | None
    netlist: str
