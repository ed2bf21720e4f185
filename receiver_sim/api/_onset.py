"""Public functions of the envelope view: onset with backlash, stability, detection, sound.

>>> report = onset(build, screen_ohms=(47e3,))
>>> sound = listen(build, signals=[Signal(100e-6, 800.0, text="TEST")], seconds=5.0)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

from receiver_sim.api._check import Progress
from receiver_sim.builds import (
    band_named,
    bands_named,
    cards_for,
    dial_frequencies,
    opened,
    output_index,
    settle,
)
from receiver_sim.circuit.mode import Mode
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.signals import Sampled, Signal
from receiver_sim.engine import Bench, EngineError
from receiver_sim.errors import NoOnset
from receiver_sim.oscillating import POINTS, mode_at
from receiver_sim.results import cautions
from receiver_sim.results.base import FailedStage, Status
from receiver_sim.results.envelope import (
    BandOscillation,
    Detection,
    Oscillation,
    OscillationReport,
    Sound,
    Stability,
    Verification,
)
from receiver_sim.results.onset import HALF_WAY, Onset
from receiver_sim.schema import Band, Build
from receiver_sim.schema.card import outside_range
from receiver_sim.stages import Stages
from receiver_sim.studies import amplitude, detection, listening, reference_transient, stability
from receiver_sim.studies import onset as small_signal

__all__ = ["Sampled", "Signal", "detect", "listen", "no_onset", "onset", "onset_path", "verify"]

_SECONDS = 0.1
"""Time for which the worst of the modes is watched."""


def _quiet(_what: str, _done: int, _total: int) -> None:
    return None


@dataclass(frozen=True)
class _Found:
    """What all verbs of this module begin with: one band, its onset by loop gain, its amplitudes."""

    build: Build
    cards: Cards
    band: Band
    search: Onset
    oscillation: Oscillation


def no_onset(found: Oscillation) -> str:
    """Return a sentence on why a band has no setting to listen at."""
    reason = f": {'; '.join(found.warnings)}" if found.warnings else ""
    return f"{found.band}: {found.status.value}{reason}"


def with_screen_resistance(build: Build, extra_ohm: float) -> Build:
    """Return the build with `extra_ohm` more between the wiper of the control and the screen."""
    if extra_ohm == 0.0:
        return build
    control = build.regeneration.model_copy(update={"stopper": build.regeneration.stopper + extra_ohm})
    return build.model_copy(update={"regeneration": control})


def _find(
    build: Build,
    cards: Cards,
    bench: Bench,
    *,
    band: Band,
    extra_screen_ohm: float = 0.0,
    time_runs: bool = False,
) -> _Found:
    changed = with_screen_resistance(build, extra_screen_ohm)
    search = small_signal.run(changed, cards, bench, band=band, dial_hz=dial_frequencies(band)[1])
    found = amplitude.run(
        changed,
        cards,
        bench,
        band=band,
        onset=search,
        extra_screen_ohm=extra_screen_ohm,
        time_runs=time_runs,
    )
    return _Found(changed, cards, band, search, found)


def _mode(found: _Found, bench: Bench) -> Mode:
    return mode_at(
        found.build, found.cards, bench, band=found.band, search=found.search, found=found.oscillation
    )


def onset(
    build: Build,
    *,
    bands: Sequence[str] | None = None,
    screen_ohms: Sequence[float] = (),
    modes: bool = True,
    bench: Bench | None = None,
    progress: Progress = _quiet,
) -> OscillationReport:
    """Tell for the middle of each band how oscillation comes in, how strong it grows and whether it holds
    still.

    bands: names, all bands if None. screen_ohms: resistances (ohm) put between control and screen for
    comparison. modes: also look for growing modes (squegging, howl) and, where there are any, try remedies.
    A band whose simulation fails has the status FAILED; the others go on. A search for modes or a remedy that
    fails is named in the report's `failed`. Raises BuildFaults, KeyError for an unknown band, EngineMissing.
    """
    chosen = bands_named(build, bands)
    cards = cards_for(build)
    with opened(bench) as open_bench:
        settled = settle(build, open_bench)

        def one(b: Bench, band: Band) -> tuple[BandOscillation, tuple[FailedStage, ...]]:
            stages = Stages()
            found = _find(settled, cards, b, band=band, time_runs=True)
            overlays = tuple(
                _find(settled, cards, b, band=band, extra_screen_ohm=ohm).oscillation for ohm in screen_ohms
            )
            steady = _steadiness(found, b, stages) if modes else ()
            return BandOscillation(found.oscillation, overlays, steady, None), stages.failed

        found = open_bench.map(one, chosen, lambda done, total: progress("onset", done, total))
    results = tuple(band for band, _ in found)
    return OscillationReport(
        title=build.title,
        bands=results,
        cautions=cautions.ALL,
        warnings=(*build.warnings, *_extrapolated(cards, results)),
        failed=tuple(one for _, failed in found for one in failed),
    )


def _steadiness(found: _Found, bench: Bench, stages: Stages) -> tuple[Stability, ...]:
    """Return the stability of the build, and of each remedy in turn until one works; what fails is left
    out."""
    if found.oscillation.amplitudes is None:
        return ()
    band = found.band.name
    first = stages.run(f"modes on {band}", lambda: _modes(found, bench, what="as built", seconds=_SECONDS))
    if first is None:
        return ()
    out = [first]
    for what, changed in stability.remedies(found.build, first.kind) if first.unstable else ():
        tried = stages.run(f"{what} on {band}", partial(_remedy, found, bench, what, changed))
        if tried is None:
            continue
        out.append(tried)
        if not tried.unstable:
            break
    return tuple(out)


def _modes(found: _Found, bench: Bench, *, what: str, seconds: float) -> Stability:
    return stability.run(
        found.build,
        found.cards,
        bench,
        _mode(found, bench),
        band=found.band,
        found=found.oscillation,
        what=what,
        points=POINTS,
        seconds=seconds,
    )


def _remedy(found: _Found, bench: Bench, what: str, changed: Build) -> Stability | None:
    """Return the stability of a changed build, None if it does not oscillate at all."""
    tried = _find(changed, found.cards, bench, band=found.band)
    if tried.oscillation.amplitudes is None:
        return None
    return _modes(tried, bench, what=what, seconds=0.0)


def _extrapolated(cards: Cards, bands: Sequence[BandOscillation]) -> tuple[str, ...]:
    """Say once for which screen volts the detector's card has no published points."""
    maps = [b.oscillation.amplitudes for b in bands if b.oscillation.amplitudes is not None]
    if not maps:
        return ()
    lowest = min(float(m.screen_v.min()) for m in maps)
    said = outside_range(cards.detector, plate_v=100.0, grid_v=-2.0, screen_v=lowest)
    return tuple(text for text in said if " screen " in text)


def verify(
    build: Build, *, band: str | None = None, cycles: int | None = None, bench: Bench | None = None
) -> Verification:
    """Run the reference transient of a band (the first that has an onset if None) beside the envelope.
    Takes minutes.

    cycles: length of the ramp in cycles of the carrier; None: as slow as the circuit needs. Raises
    BuildFaults, KeyError for an unknown band, NoOnset (a ValueError) without an onset, EngineError.
    """
    cards = cards_for(build)
    with opened(bench) as open_bench:
        settled = settle(build, open_bench)
        found = _first(settled, cards, open_bench, band)
        if found.oscillation.onset is None:
            raise NoOnset(no_onset(found.oscillation))
        return reference_transient.run(
            settled,
            cards,
            open_bench,
            band=found.band,
            onset=found.search,
            found=found.oscillation,
            cycles=cycles,
        )


def _first(build: Build, cards: Cards, bench: Bench, band: str | None) -> _Found:
    """Return the named band, or the first with an onset, or the first there is where none has one.

    Raises EngineError where a simulation failed and no band has an onset: nothing is known then.
    """
    chosen = list(build.bands) if band is None else [band_named(build, band)]
    silent = []
    for one in chosen:
        found = _find(build, cards, bench, band=one)
        if found.oscillation.onset is not None:
            return found
        silent.append(found)
    for found in silent:
        if found.oscillation.status is Status.FAILED:
            raise EngineError(no_onset(found.oscillation))
    return silent[0]


def detect(
    build: Build,
    *,
    band: str | None = None,
    output: int | str = 0,
    beat_hz: float = detection.BEAT_HZ,
    bench: Bench | None = None,
) -> Detection:
    """Return sensitivity to AM below onset and to a beat note above it.

    band: the first that has an onset if None. Without one the result says what can still be told. Raises
    BuildFaults, KeyError for an unknown band, WrongValue (a ValueError) without an aerial, EngineError.
    """
    cards = cards_for(build)
    with opened(bench) as open_bench:
        settled = settle(build, open_bench)
        found = _first(settled, cards, open_bench, band)
        return detection.run(
            settled,
            cards,
            open_bench,
            _mode(found, open_bench),
            band=found.band,
            found=found.oscillation,
            output=output_index(settled, output),
            beat_hz=beat_hz,
        )


def onset_path(found: Oscillation, *, seconds: float, reach: float = 0.06) -> list[tuple[float, float]]:
    """Return a path of the control from `reach` (relative) below onset to as much above and back, as an ear
    would try it.

    Without an onset on the control: from half way to the end of it that is nearest to onset and back.
    """
    if found.onset is not None:
        at = found.onset.rotation
        start, turn = at * (1.0 - reach), min(at * (1.0 + reach), 1.0)
    else:
        start, turn = HALF_WAY, _nearest_end(found)
    return [(0.0, start), (0.45 * seconds, turn), (0.55 * seconds, turn), (seconds, start)]


def _nearest_end(found: Oscillation) -> float:
    return 0.0 if found.status is Status.NOT_IN_RANGE else 1.0


def _standing(found: Oscillation, relative: float) -> float:
    """Return the rotation at a multiple of the onset's; without one, the end of the control nearest to it."""
    return _nearest_end(found) if found.onset is None else min(found.onset.rotation * relative, 1.0)


def _heard_without(found: Oscillation, *, relative: bool, frequency: str) -> tuple[str, ...]:
    """Say what a band without onset on its control means for what is heard."""
    if found.onset is not None:
        return ()
    notes = [f"{no_onset(found)}; offsets count from {frequency}"]
    if relative:
        end = "bottom" if found.status is Status.NOT_IN_RANGE else "top"
        notes.append(f"no setting relative to onset: the control stands at its {end}, the nearest to it")
    return tuple(notes)


def listen(
    build: Build,
    *,
    signals: Sequence[Signal],
    seconds: float,
    band: str | None = None,
    output: int | str = 0,
    path: Sequence[tuple[float, float]] | None = None,
    relative: float | None = None,
    bench: Bench | None = None,
    progress: Progress = _quiet,
) -> Sound:
    """Return the sound at one output for signals at the aerial while the control follows a path.

    path: (s, rotation 0..1) at rising times; relative: instead, stand still at this multiple of the onset's
    rotation; neither: go through onset and back. Of a band without onset on its control the sound is that of
    the set as it is, with a note. Errors as for `detect`.
    """
    cards = cards_for(build)
    with opened(bench) as open_bench:
        settled = settle(build, open_bench)
        found = _first(settled, cards, open_bench, band)
        oscillation, mode = found.oscillation, _mode(found, open_bench)
        if relative is not None:
            path = [(0.0, _standing(oscillation, relative))]
        elif path is None:
            path = onset_path(oscillation, seconds=seconds)
        known = oscillation.amplitudes
        frequency = "the resonance of the tank" if known is None else "the oscillation at its weakest"
        sound = listening.run(
            settled,
            cards,
            open_bench,
            mode,
            band=found.band,
            reference_hz=mode.resonance_hz if known is None else float(known.frame_hz[0]),
            path=path,
            signals=signals,
            seconds=seconds,
            output=output_index(settled, output),
            progress=lambda done, total: progress("listening", done, total),
        )
        notes = _heard_without(oscillation, relative=relative is not None, frequency=frequency)
        return replace(sound, warnings=build.warnings, status=oscillation.status, notes=notes)


def failed(report: OscillationReport) -> list[Oscillation]:
    """Return the bands whose simulation failed."""
    return [b.oscillation for b in report.bands if b.oscillation.status is Status.FAILED]
