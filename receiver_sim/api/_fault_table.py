"""What every fault of a set would read, for a page that ranks suspects by itself."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from receiver_sim.api._common import prepare
from receiver_sim.api._faults import scatter_of, spoken_points
from receiver_sim.api._spread import plan_for
from receiver_sim.builds import opened
from receiver_sim.circuit.element import GROUND
from receiver_sim.circuit.possible_faults import PossibleFault, possible_faults
from receiver_sim.engine import Bench
from receiver_sim.judge import fault_table as judged
from receiver_sim.judge.fault_finder import Scatter
from receiver_sim.judge.fault_onset import Key
from receiver_sim.judge.fault_predictions import Prediction, Stand, Volt, predict
from receiver_sim.physics.meters import METERS
from receiver_sim.receiver import Receiver
from receiver_sim.results.base import FailedStage
from receiver_sim.results.fault_table import FaultTable
from receiver_sim.schema import Band, Build
from receiver_sim.studies.pin_chart import points_of
from receiver_sim.views.numbers import percent

METER = METERS[2]
"""The meter of the table: what it loads is the same on every range, so that one run stands for all."""

MOST_BANDS = 3
"""Bands on which onset is tried: the first, the middle and the last."""

Step = Callable[[int, int], None]


@dataclass(frozen=True)
class Looked:
    """What was looked up of a set: where it stood, its faults, points to read, predictions, spread."""

    stand: Stand
    faults: tuple[PossibleFault, ...]
    volts: tuple[Volt, ...]
    points: dict[str, str]
    found: dict[Key, Prediction]
    scatter: Scatter
    missing: list[str]


def fault_table(build: Build, *, bench: Bench | None = None, progress: Step | None = None) -> FaultTable:
    """Return what a 10 Mohm meter reads at every pin and point, and where onset lies, under every fault.

    progress: called with how many pieces of a step are done, of how many. Raises BuildFaults, EngineError.
    """
    with opened(bench) as b:
        return tabled(looked_up(build, b, progress=progress))


def some_bands(bands: tuple[Band, ...]) -> tuple[Band, ...]:
    """Return the bands on which onset is tried."""
    if len(bands) <= MOST_BANDS:
        return bands
    return bands[0], bands[len(bands) // 2], bands[-1]


def looked_up(
    build: Build,
    bench: Bench,
    *,
    tried: Callable[[tuple[Band, ...]], tuple[Band, ...]] = some_bands,
    progress: Step | None = None,
) -> Looked:
    """Return the predictions of every fault of a build; tried: picks the bands on which onset is tried.

    Raises EngineError.
    """
    plan = plan_for(build, bench)
    setting = prepare(Receiver(plan.build, bench, cards=plan.cards), None)
    bands = tried(plan.bands)
    stand = Stand(plan, setting.band, setting.onset.dial_hz, setting.rotation, bands)
    circuit = stand.sound
    names: dict[str, str] = {}
    for point, words in spoken_points(circuit, points_of(circuit, plan.build, plan.cards)):
        if point.node is not None and point.node != GROUND and point.words != "heater":
            names.setdefault(point.node, words)
    volts = tuple(
        Volt(words, node, METER.name, METER.resistance(0.0), METER.ranges[-1], 0.0)
        for node, words in names.items()
    )
    faults = possible_faults(circuit)
    found, missing = predict(stand, faults, volts, bench, heard=True, progress=progress)
    return Looked(stand, faults, volts, names, found, scatter_of(stand, bench), missing)


def tabled(one: Looked) -> FaultTable:
    """Return what was looked up as a table."""
    stand = one.stand
    said = f"control at {percent(stand.rotation)} of the knob, just below onset, {stand.band.name} coil"
    made = judged.table(
        one.faults, one.found, one.volts, [band.name for band in stand.bands], one.scatter,
        title=stand.build.title, rotation=stand.rotation, setting=said, ranges=METER.ranges,
    )  # fmt: skip
    failed = tuple(FailedStage(name, "it could not be simulated", None) for name in one.missing)
    return replace(made, failed=failed)


__all__ = ["Looked", "fault_table", "looked_up", "some_bands", "tabled"]
