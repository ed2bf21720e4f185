"""The sheet for the bench: parts, windings, wiring, order of switching on, readings, dial, drift."""

from __future__ import annotations

from dataclasses import dataclass

from receiver_sim.results.answer import Answer
from receiver_sim.results.base import FailedStage
from receiver_sim.results.bench_chart import PartNeeds, PinChart
from receiver_sim.results.coils import CoilSheet, DialMark
from receiver_sim.results.onset import SCREEN


@dataclass(frozen=True)
class WiringLine:
    """One pin of a socket, or a joint that hangs on none, and what it goes to."""

    designator: str
    socket: str
    tube: str
    pin: str
    words: str
    to: tuple[str, ...]


@dataclass(frozen=True)
class SocketNote:
    """How the pins of a socket are counted.

    base: of the tube's card; pins_flag: how sure its pins are; socket: as the constructor says, '' in the
    supply.
    """

    designator: str
    tube: str
    base: str
    counting: str
    pins_flag: str
    socket: str = ""


@dataclass(frozen=True)
class OtherValue:
    """What the nearest preferred value in the place of a stated one changes.

    onset: on the control, 0..1, with it and as stated, None where it is not found; volts_v: the largest
    change at any point of the chart, at `point`, the control where it stands for the chart.
    """

    designator: str
    stated: float
    preferred: float
    unit: str
    onset: float | None
    onset_as_stated: float | None
    volts_v: float
    point: str


@dataclass(frozen=True)
class BringUpStep:
    """One step of switching on for the first time. live: whether plate volts are on while it is done."""

    live: bool
    do: str
    expect: str
    stop: str


@dataclass(frozen=True)
class OnsetToCheck:
    """Where a band should break into oscillation: rotation 0..1 and what the control sets there (V or F)."""

    band: str
    dial_hz: float
    status: str
    rotation: float | None
    degrees_deg: float | None
    figure: float | None
    quantity: str = SCREEN
    unit: str = "V"


@dataclass(frozen=True)
class DialScale:
    """A scale to print for the dial: frequency against rotation (0 open, 1 meshed) of travel_deg degrees."""

    band: str
    capacitor: str
    travel_deg: float
    marks: tuple[DialMark, ...]


@dataclass(frozen=True)
class WarmUpDrift:
    """How far a band's frequency falls from switching on to warm, as far as common figures allow.

    tube_hz: the tube's input capacitance growing as its space charge forms; lowest_hz, highest_hz: coil and
    tuning capacitor, for a rise of `rise_k` in the cabinet. All negative.
    """

    band: str
    dial_hz: float
    tube_hz: float
    lowest_hz: float
    highest_hz: float
    rise_k: float


@dataclass(frozen=True, repr=False)
class BenchSheet(Answer):
    """What a constructor takes to the bench.

    charts: with the control fully down and at the working setting; hum_pot: its best position (0..1 from
    heater end a) for the first phones, None without a pot. What could not be found is named in `failed`.
    """

    title: str
    parts: tuple[PartNeeds, ...]
    others: tuple[OtherValue, ...]
    coils: tuple[CoilSheet, ...]
    sockets: tuple[SocketNote, ...]
    wiring: tuple[WiringLine, ...]
    steps: tuple[BringUpStep, ...]
    charts: tuple[PinChart, ...]
    onsets: tuple[OnsetToCheck, ...]
    hum_pot: float | None
    scales: tuple[DialScale, ...]
    drift: tuple[WarmUpDrift, ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    failed: tuple[FailedStage, ...] = ()

    @property
    def headline(self) -> str:
        """The sheet in a line."""
        short = [part.designator for part in self.parts if not part.enough]
        return f"{len(self.parts)} parts" + (f", under-rated: {', '.join(short)}" if short else "")
