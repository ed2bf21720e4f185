"""What the page of a set turns and plays: a table of settings for each band, and sounds."""

from __future__ import annotations

from dataclasses import dataclass

from receiver_sim.results.answer import Answer
from receiver_sim.results.base import FailedStage, FloatArray, Status
from receiver_sim.results.bench_sheet import BenchSheet
from receiver_sim.results.check import CheckReport
from receiver_sim.results.fault_table import FaultTable
from receiver_sim.results.onset import SCREEN, ControlSetting


@dataclass(frozen=True)
class Turned:
    """What one band does at each setting of the control: arrays of equal length, settings rising.

    onset: where oscillation begins, gone: where it stops on the way back (both None without an onset);
    rotation (0..1); figure: what the control sets there (its quantity, in unit), without oscillation; gain:
    loop gain at the frequency of zero phase; width_hz: between the half-power points of the tank below
    onset, None where it was not found or the set oscillates; up_v, down_v: strength (V peak at the hot
    end) with the control coming from below and from above; level_db: rows of the resonance curve against
    offset_hz, in dB above the peak at the lowest setting, None where the set oscillates.
    """

    band: str
    dial_hz: float
    status: Status
    onset: ControlSetting | None
    gone: ControlSetting | None
    rotation: FloatArray
    figure: FloatArray
    gain: FloatArray
    width_hz: tuple[float | None, ...]
    up_v: FloatArray
    down_v: FloatArray
    offset_hz: FloatArray
    level_db: tuple[tuple[float, ...] | None, ...]
    quantity: str = SCREEN
    unit: str = "V"


@dataclass(frozen=True)
class HeardPiece:
    """A stretch of sound at one setting of the control, as the phones give it.

    station: 'carrier', 'code' or 'tone'; rotation (0..1); from_hz, to_hz: offset of the carrier from the
    oscillation, moving evenly from one to the other (equal: it stands still); carrier_v: e.m.f. in the
    aerial, r.m.s.; rate: samples a second; volts: across the phones; level_db: SPL of all of it, None without
    a sensitivity; spl_of_volt_db: SPL of 1 V r.m.s., by which any part of it is put in dB.
    """

    band: str
    station: str
    rotation: float
    from_hz: float
    to_hz: float
    carrier_v: float
    output: str
    rate: float
    volts: FloatArray
    level_db: float | None
    spl_of_volt_db: float | None


@dataclass(frozen=True, repr=False)
class PageReport(Answer):
    """Everything on the page: what `check` found, the table of settings, the sounds, what of them failed.

    bench, faults: what goes to the bench, and what every fault would read there; None where left out. file:
    where the page was written, None if it was not.
    """

    title: str
    check: CheckReport
    turned: tuple[Turned, ...]
    heard: tuple[HeardPiece, ...]
    engine_seconds: float
    failed: tuple[FailedStage, ...] = ()
    file: str | None = None
    bench: BenchSheet | None = None
    faults: FaultTable | None = None
