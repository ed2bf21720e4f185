"""`live`: the fast answers on a changed build, and the deeper ones as they come in."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress

import numpy as np

from receiver_sim.api._check import check
from receiver_sim.api._common import hazards
from receiver_sim.api._fault_table import fault_table
from receiver_sim.api._found import find
from receiver_sim.api._page import pieces_of, turned
from receiver_sim.api._sheet import sheet
from receiver_sim.builds import band_named, opened
from receiver_sim.engine import Bench, EngineError
from receiver_sim.errors import NoAnswer, Superseded
from receiver_sim.failing_stages import Stages
from receiver_sim.measure import onset
from receiver_sim.measure.loaded import Loaded, loaded
from receiver_sim.receiver import Receiver
from receiver_sim.results.base import FailedStage
from receiver_sim.results.bench_sheet import BenchSheet
from receiver_sim.results.check import CheckReport
from receiver_sim.results.fault_table import FaultTable
from receiver_sim.results.live import QuickAnswer, QuickBand
from receiver_sim.results.onset import Onset
from receiver_sim.results.page import HeardPiece, Turned
from receiver_sim.schema import Band, Build
from receiver_sim.studies import loop_gain

QUICK = np.linspace(0.0, 1.0, 21)
"""Settings of the control in a fast answer; the deeper one has more."""


def for_the_bench(
    build: Build,
    *,
    bench: Bench,
    wanted: Callable[[], bool] = lambda: True,
    progress: Callable[[str, int, int], None] = lambda _what, _done, _total: None,
) -> tuple[BenchSheet, FaultTable]:
    """Return what goes to the bench, and what every fault would read there.

    wanted is asked between the steps; once it says no, Superseded is raised. Raises BuildFaults, EngineError.
    """

    def go_on(what: str, done: int, total: int) -> None:
        if not wanted():
            raise Superseded
        progress(what, done, total)

    found = sheet(build, bench=bench, progress=go_on)
    return found, fault_table(build, bench=bench, progress=lambda d, t: go_on("faults", d, t))


def quick(build: Build, *, bench: Bench | None = None) -> QuickAnswer:
    """Return onset and loop gain against the control for the middle of each band, loaded once a band.

    A band whose simulation fails says so in its status. Raises BuildFaults, EngineMissing.
    """
    with opened(bench) as open_bench:
        receiver = Receiver(build, open_bench)
        settled = receiver.build
        bands = open_bench.map(lambda _, band: _quick_band(receiver, band), list(settled.bands))
        return QuickAnswer(tuple(bands), hazards(build, settled))


def _quick_band(receiver: Receiver, band: Band) -> QuickBand:
    dial = band.middle_hz
    circuit = onset.plan(receiver.build, receiver.cards, band=band, dial_hz=dial)

    def curve(on: Loaded, found: Onset, *, at_once: bool) -> QuickBand:
        if found.tuning_farad is None:
            return QuickBand(found, None)
        at = () if found.onset is None else (found.onset.rotation,)
        drawn, _ = loop_gain.measured(
            on, band=band, dial_hz=dial, tuning=found.tuning_farad,
            rotations=np.unique([*QUICK, *at]), at_once=at_once,
        )  # fmt: skip
        return QuickBand(found, drawn)

    try:
        with loaded(receiver.bench, circuit) as on:
            found = onset.measured(on, band=band, dial_hz=dial)
            with suppress(EngineError):
                return curve(on, found, at_once=True)
        # a setting among them has no solution at once: by small steps, on the circuit loaded anew
        with loaded(receiver.bench, circuit) as on:
            return curve(on, found, at_once=False)
    except (EngineError, NoAnswer) as error:
        return QuickBand(onset.failed(band, dial, str(error)), None)


def deeper(
    build: Build,
    *,
    bench: Bench,
    band_found: Callable[[Turned], None],
    checked: Callable[[CheckReport], None],
    wanted: Callable[[], bool] = lambda: True,
    progress: Callable[[str, int, int], None] = lambda _what, _done, _total: None,
) -> tuple[FailedStage, ...]:
    """Give the table of settings of each band as soon as it is known, then what `check` finds.

    wanted is asked between the steps; once it says no, Superseded is raised. Returns the stages that failed.
    Raises BuildFaults, EngineMissing.
    """

    def go_on(what: str, done: int, total: int) -> None:
        if not wanted():
            raise Superseded
        progress(what, done, total)

    receiver = Receiver(build, bench)
    stages = Stages()

    def one(_: Bench, band: Band) -> None:
        if not wanted():
            return
        found = find(receiver, band=band)
        if found.search.tuning_farad is not None:
            band_found(turned(receiver, found.search, found.oscillation))

    named = [(f"settings of {band.name}", band) for band in receiver.build.bands]
    stages.map(bench, one, named, lambda done, total: go_on("settings of the bands", done, total))
    go_on("check", 0, 1)
    checked(check(build, bench=bench, progress=go_on))
    return stages.failed


def sounds(
    build: Build,
    *,
    band: str,
    bench: Bench,
    heard: Callable[[HeardPiece, float], None],
    wanted: Callable[[], bool] = lambda: True,
    progress: Callable[[str, int, int], None] = lambda _what, _done, _total: None,
) -> tuple[FailedStage, ...]:
    """Give the sounds of a band as `page` has them, each as soon as it is there with the seconds that
    ngspice took for a second of it; none where the band has no onset or the set no aerial.

    wanted is asked between the steps; once it says no, Superseded is raised. Returns the stages that failed.
    Raises BuildFaults, UnknownName for a band that the build lacks, EngineMissing.
    """

    def go_on(done: int, total: int) -> None:
        if not wanted():
            raise Superseded
        progress(f"sound of {band}", done, total)

    chosen = band_named(build, band)
    stages = Stages()
    go_on(0, 1)

    def found_pieces() -> None:
        found = find(Receiver(build, bench), band=chosen)
        pieces_of(found.tuned, found.oscillation, 0, stages, go_on, heard)

    stages.run(f"sound of {band}", found_pieces)
    return stages.failed
