"""Onset with backlash, strength and steadiness, and the run over every cycle beside it."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from receiver_sim.api._common import Progress, quiet
from receiver_sim.api._found import Found, find, first_found, no_onset
from receiver_sim.builds import bands_named, opened
from receiver_sim.circuit.registry import Cards
from receiver_sim.engine import Bench
from receiver_sim.errors import NoOnset
from receiver_sim.failing_stages import Stages
from receiver_sim.oscillating import POINTS
from receiver_sim.receiver import Receiver
from receiver_sim.results import cautions
from receiver_sim.results.base import FailedStage, Status
from receiver_sim.results.envelope import (
    BandOscillation,
    Oscillation,
    OscillationReport,
    Stability,
    Verification,
)
from receiver_sim.schema import Band, Build
from receiver_sim.schema.card import outside_range
from receiver_sim.studies import reference_transient, stability

_SECONDS = 0.1
"""Time for which the worst of the modes is watched."""


def onset(
    build: Build,
    *,
    bands: Sequence[str] | None = None,
    screen_ohms: Sequence[float] = (),
    modes: bool = True,
    bench: Bench | None = None,
    progress: Progress = quiet,
) -> OscillationReport:
    """Say for the middle of each band how oscillation comes in, how strong it grows and whether it holds
    still.

    bands: names, all bands if None. screen_ohms: resistances (ohm) put between control and screen for
    comparison. modes: also look for growing modes (squegging, howl) and, where there are any, try remedies.
    A band whose simulation fails has the status FAILED; the others continue. A search for modes or a remedy
    that fails is named in the report's `failed`. Raises BuildFaults, UnknownName for an unknown band,
    EngineMissing.
    """
    chosen = bands_named(build, bands)
    with opened(bench) as open_bench:
        receiver = Receiver(build, open_bench)

        def one(_: Bench, band: Band) -> tuple[BandOscillation, tuple[FailedStage, ...]]:
            stages = Stages()
            found = find(receiver, band=band, time_runs=True)
            overlays = tuple(
                find(receiver, band=band, extra_screen_ohm=ohm).oscillation for ohm in screen_ohms
            )
            steady = _steadiness(found, stages) if modes else ()
            return BandOscillation(found.oscillation, overlays, steady, None), stages.failed

        found = open_bench.map(one, chosen, lambda done, total: progress("onset", done, total))
    results = tuple(band for band, _ in found)
    return OscillationReport(
        title=build.title,
        bands=results,
        cautions=cautions.ALL,
        warnings=(*build.warnings, *_extrapolated(receiver.cards, results)),
        failed=tuple(one for _, failed in found for one in failed),
    )


def _steadiness(found: Found, stages: Stages) -> tuple[Stability, ...]:
    """Return the stability of the build, and of each remedy in turn until one works; what fails is left
    out."""
    if found.oscillation.amplitudes is None:
        return ()
    band = found.band.name
    first = stages.run(f"modes on {band}", lambda: _modes(found, what="as built", seconds=_SECONDS))
    if first is None:
        return ()
    out = [first]
    for what, changed in stability.remedies(found.build, first.kind) if first.unstable else ():
        tried = stages.run(f"{what} on {band}", partial(_remedy, found, first, what, changed))
        if tried is None:
            continue
        out.append(tried)
        if not tried.unstable:
            break
    return tuple(out)


def _modes(found: Found, *, what: str, seconds: float) -> Stability:
    return stability.run(
        found.tuned.receiver,
        found.mode,
        band=found.band,
        found=found.oscillation,
        what=what,
        points=POINTS,
        seconds=seconds,
    )


def _remedy(found: Found, first: Stability, what: str, changed: Build) -> Stability | None:
    """Return the stability of a changed build, None if it does not oscillate at all; `first`: as built."""
    tried = find(found.tuned.receiver.changed(changed), band=found.band)
    if tried.oscillation.amplitudes is None:
        return None
    return stability.became(first, _modes(tried, what=what, seconds=0.0))


def _extrapolated(cards: Cards, bands: Sequence[BandOscillation]) -> tuple[str, ...]:
    """Say once for which screen volts the detector's card has no published points."""
    maps = [b.oscillation.amplitudes for b in bands if b.oscillation.amplitudes is not None]
    screens = [float(m.screen_v.min()) for m in maps if m.screen_v is not None]
    if not screens:
        return ()
    lowest = min(screens)
    said = outside_range(cards.detector, plate_v=100.0, grid_v=-2.0, screen_v=lowest)
    return tuple(text for text in said if " screen " in text)


def verify(
    build: Build, *, band: str | None = None, cycles: int | None = None, bench: Bench | None = None
) -> Verification:
    """Run the reference transient of a band (the first that has an onset if None) beside the envelope.
    Takes minutes.

    cycles: length of the ramp in cycles of the carrier; None: as slow as the circuit needs. Raises
    BuildFaults, UnknownName for an unknown band, NoOnset (a ValueError) without an onset, EngineError.
    """
    with opened(bench) as open_bench:
        found = first_found(Receiver(build, open_bench), band)
        if found.oscillation.onset is None:
            raise NoOnset(no_onset(found.oscillation))
        return reference_transient.run(
            found.tuned,
            found=found.oscillation,
            cycles=cycles,
        )


def failed(report: OscillationReport) -> list[Oscillation]:
    """Return the bands whose simulation failed."""
    return [b.oscillation for b in report.bands if b.oscillation.status is Status.FAILED]
