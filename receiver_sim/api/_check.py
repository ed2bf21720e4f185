"""The public functions: each loads nothing but a build, runs one verb and returns a frozen result.

    >>> build = load_build("my-set.yaml")
    >>> report = check(build)

A Bench (the pool of ngspice workers) is opened and closed by each call unless one is given.
"""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from receiver_sim import __version__
from receiver_sim.builds import (
    band_named,
    bands_named,
    cards_for,
    dial_frequencies,
    opened,
    settle,
    shipped_build,
    shipped_builds,
)
from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.circuit.writer import deck
from receiver_sim.engine import Bench, Deck
from receiver_sim.errors import WrongValue
from receiver_sim.judge import coil_verdicts, heater_verdicts, verdicts
from receiver_sim.oscillating import comes_in, loudness
from receiver_sim.physics.tube_law import small_signal
from receiver_sim.results import cautions
from receiver_sim.results.audio import AudioResponse, Hum, Loudness
from receiver_sim.results.base import DeckRun, Provenance, Status
from receiver_sim.results.bias import OperatingPoint
from receiver_sim.results.check import BandReport, CheckReport, SupplyReport
from receiver_sim.results.envelope import BandOscillation
from receiver_sim.results.onset import HALF_WAY, Onset
from receiver_sim.schema import Band, Build, BuildFaults, changed_build, load_build
from receiver_sim.stages import Stages
from receiver_sim.studies import audio_response, hum, loop_gain, onset, operating_point, selectivity
from receiver_sim.working import LookedAt, Setting, choose, dc_stages, look_at

__all__ = [
    "Bench",
    "BuildFaults",
    "audio",
    "band_named",
    "bands_named",
    "cards_for",
    "cathode_transconductance",
    "changed_build",
    "check",
    "deck_text",
    "dial_frequencies",
    "hum_study",
    "load_build",
    "loop",
    "operating_points",
    "provenance",
    "settle",
    "shipped_build",
    "shipped_builds",
    "supply",
]

Progress = Callable[[str, int, int], None]
"""Called with what is going on, steps done and steps in all."""

SWEEP = np.linspace(0.0, 1.0, 61)
"""Rotations of the control at which the loop gain is drawn."""


def _quiet(_what: str, _done: int, _total: int) -> None:
    return None


def loop(
    build: Build,
    *,
    bands: Sequence[str] | None = None,
    bench: Bench | None = None,
    progress: Progress = _quiet,
) -> tuple[BandReport, ...]:
    """Find onset at three dial settings of each band, and draw loop gain and selectivity for the middle one.

    bands: names, all bands if None. A band whose simulation fails has the status FAILED; the others go on.
    Raises BuildFaults, KeyError for an unknown band, EngineMissing.
    """
    chosen = bands_named(build, bands)
    cards = cards_for(build)
    with opened(bench) as open_bench:
        build = settle(build, open_bench)
        jobs = [(band, dial) for band in chosen for dial in dial_frequencies(band)]
        onsets = open_bench.map(
            lambda b, job: onset.run(build, cards, b, band=job[0], dial_hz=job[1]),
            jobs,
            lambda done, total: progress("onset", done, total),
        )
        grouped = [tuple(onsets[3 * i : 3 * i + 3]) for i in range(len(chosen))]
        return tuple(
            open_bench.map(
                lambda b, job: _curves(build, cards, b, band=job[0], onsets=job[1]),
                list(zip(chosen, grouped, strict=True)),
                lambda done, total: progress("loop gain", done, total),
            )
        )


def _curves(build: Build, cards: Cards, bench: Bench, *, band: Band, onsets: tuple[Onset, ...]) -> BandReport:
    """Add the curves of the middle dial setting; a band that failed has none."""
    middle = onsets[len(onsets) // 2]
    tuning = middle.tuning_farad
    if middle.status is Status.FAILED or tuning is None:
        return BandReport(band.name, onsets, None, (), None)
    where: dict[str, Any] = {"band": band, "dial_hz": middle.dial_hz, "tuning": tuning}
    stages = Stages()
    curves = stages.run(
        f"loop gain on {band.name}",
        lambda: loop_gain.run(build, cards, bench, **where, rotations=SWEEP, nyquist=_three_settings(middle)),
    )
    if curves is None:
        return BandReport(band.name, onsets, None, (), None, stages.failed)
    curve, nyquist = curves
    narrow = stages.run(
        f"selectivity on {band.name}",
        lambda: selectivity.run(build, cards, bench, **where, curve=curve),
    )
    return BandReport(band.name, onsets, curve, nyquist, narrow, stages.failed)


def _three_settings(found: Onset) -> tuple[tuple[str, float], ...]:
    """Return three labelled rotations for the Nyquist plot: below, at and above onset where there is one."""
    if found.onset is None:
        return (("lowest", 0.0), ("half way", HALF_WAY), ("highest", 1.0))
    at = found.onset.rotation
    below = found.at_nine_tenths.rotation if found.at_nine_tenths else at / 2.0
    # as far above as the T = 0.9 setting lies below
    return (("below onset", below), ("onset", at), ("above onset", min(2.0 * at - below, 1.0)))


def operating_points(
    build: Build,
    *,
    rotations: Sequence[float],
    band: str | None = None,
    bench: Bench | None = None,
) -> tuple[OperatingPoint, ...]:
    """Return what a meter should read with the control at each of `rotations` (0..1), not oscillating.

    band: the coil that is in, the first one if None. Raises BuildFaults, KeyError for an unknown band,
    ValueError for a rotation outside 0..1, EngineError.
    """
    if not all(0.0 <= rotation <= 1.0 for rotation in rotations):
        raise WrongValue(f"rotations lie from 0 to 1, not {list(rotations)}")
    cards, one = cards_for(build), band_named(build, band)
    settings = [(f"{100.0 * rotation:.4g} %", float(rotation)) for rotation in rotations]
    with opened(bench) as open_bench:
        build = settle(build, open_bench)
        return operating_point.run(
            build, cards, open_bench, band=one, dial_hz=dial_frequencies(one)[1], settings=settings
        )


def cathode_transconductance(build: Build, point: OperatingPoint) -> float:
    """Return g_k of the detector (S) at a d.c. condition: change of its cathode current with its grid volts.

    From the law of the tube's card at the volts of `point`, as ngspice uses it.
    """
    tube = next(t for t in point.tubes if t.socket == "detector")
    figures = small_signal(
        cards_for(build).detector.law(),
        grid_v=tube.grid_v - tube.cathode_v,
        plate_v=tube.plate_v - tube.cathode_v,
        screen_v=(tube.screen_v or 0.0) - tube.cathode_v,
    )
    return float(figures.gk)


def prepare(
    build: Build, band: str | None, bench: Bench, *, rotation: float | None = None
) -> tuple[Cards, Setting]:
    """Find the working setting for a single verb: of the named band, else of the first that oscillates.

    rotation: of the control, 0..1, to hold instead. Raises EngineError, see `working.choose`.
    """
    cards = cards_for(build)
    chosen = list(build.bands) if band is None else [band_named(build, band)]
    searched = (onset.run(build, cards, bench, band=one, dial_hz=dial_frequencies(one)[1]) for one in chosen)
    return cards, choose(build, searched, rotation=rotation)


def audio(
    build: Build, *, band: str | None = None, rotation: float | None = None, bench: Bench | None = None
) -> AudioResponse:
    """Return the audio response of each output, at `rotation` (0..1) or where the loop gain is 0.9.

    Raises BuildFaults, KeyError for an unknown band, EngineError.
    """
    with opened(bench) as open_bench:
        build = settle(build, open_bench)
        cards, at = prepare(build, band, open_bench, rotation=rotation)
        return audio_response.run(
            build, cards, open_bench, band=at.band, dial_hz=at.onset.dial_hz, rotation=at.rotation
        )


def hum_study(
    build: Build, *, band: str | None = None, rotation: float | None = None, bench: Bench | None = None
) -> Hum:
    """Return the hum at each output against the hum pot; arguments and errors as for `audio`."""
    with opened(bench) as open_bench:
        build = settle(build, open_bench)
        cards, at = prepare(build, band, open_bench, rotation=rotation)
        return hum.run(build, cards, open_bench, band=at.band, dial_hz=at.onset.dial_hz, rotation=at.rotation)


def supply(build: Build, *, band: str | None = None, bench: Bench | None = None) -> SupplyReport:
    """Return d.c. conditions, ratings and the drift with the mains; errors as for `audio`.

    A stage whose simulation fails is named in `failed` and does not stop the rest.
    """
    with opened(bench) as open_bench:
        build = settle(build, open_bench)
        cards, setting = prepare(build, band, open_bench)
        stages = Stages()
        points, drift = dc_stages(stages, build, cards, open_bench, setting)
    judged = (
        *verdicts.judge_safety(build),
        *heater_verdicts.judge_heaters(build, cards),
        *verdicts.judge_bias(points),
        *([] if drift is None else verdicts.judge_regulator(drift, setting.onset, build.verdicts)),
    )
    return SupplyReport(
        points,
        drift,
        judged,
        (*verdicts.dangers(judged), *cautions.ALL),
        stages.failed,
        notes=() if setting.note is None else (setting.note,),
    )


def check(build: Build, *, bench: Bench | None = None, progress: Progress = _quiet) -> CheckReport:
    """Run every study on a build and judge it by the build's thresholds.

    Errors as for `audio`; a band or a stage whose simulation fails is reported as such and does not stop the
    rest.
    """
    cards = cards_for(build)
    with opened(bench) as open_bench:
        before, ran = open_bench.loaded, open_bench.evaluations
        given, build = build, settle(build, open_bench)
        reports = loop(build, bench=open_bench, progress=progress)
        stages = Stages()
        strengths = _strengths(stages, build, cards, open_bench, reports, progress)
        there = look_at(stages, build, cards, open_bench, reports, progress)
        loud = stages.run("loudness", lambda: _loudness(build, cards, open_bench, there, strengths))
        origin = provenance(build, open_bench, before=before)
        evaluations = open_bench.evaluations - ran
    limits = build.verdicts
    judged = (
        *verdicts.judge_safety(build),
        *heater_verdicts.judge_heaters(build, cards),
        *verdicts.judge_filter(given, build),
        *coil_verdicts.judge_coils(build),
        *verdicts.judge_bands(reports, limits, feedback=verdicts.feedback_of(build)),
        *verdicts.judge_oscillation(strengths, limits, feedback=verdicts.feedback_of(build)),
        *verdicts.judge_bias(there.points),
        *there.judged(build),
        *verdicts.judge_loudness(loud or (), limits),
    )
    return CheckReport(
        title=build.title,
        reference_band=there.band.name,
        bands=reports,
        oscillation=strengths,
        operating_points=there.points,
        audio=there.audio,
        hum=there.hum,
        hum_paths=there.paths,
        regulator=there.drift,
        verdicts=judged,
        provenance=origin,
        cautions=(*verdicts.dangers(judged), *cautions.ALL),
        warnings=_warnings(build, there),
        evaluations=evaluations,
        failed=stages.failed,
        loudness=loud or (),
    )


def _loudness(
    build: Build, cards: Cards, bench: Bench, there: LookedAt, strengths: Sequence[BandOscillation]
) -> tuple[Loudness, ...]:
    """Return how loud a weak station is on the reference band, empty if that does not oscillate."""
    setting = there.setting
    for one in strengths:
        if setting is not None and one.oscillation.band == setting.band.name:
            found = one.oscillation
            return loudness(build, cards, bench, band=setting.band, search=setting.onset, found=found)
    return ()


def _strengths(
    stages: Stages,
    build: Build,
    cards: Cards,
    bench: Bench,
    reports: Sequence[BandReport],
    progress: Progress,
) -> tuple[BandOscillation, ...]:
    """Return how oscillation comes in at the middle of each band whose loop gain was found."""
    searched = [
        (f"how oscillation comes in on {r.band}", (band_named(build, r.band), r.middle))
        for r in reports
        if r.middle.status is not Status.FAILED
    ]
    found = stages.map(
        bench,
        lambda b, one: comes_in(build, cards, b, band=one[0], search=one[1]),
        searched,
        lambda done, total: progress("how oscillation comes in", done, total),
    )
    return tuple(one for one in found if one is not None)


def _warnings(build: Build, there: LookedAt) -> tuple[str, ...]:
    """Collect what the results rest on that may be doubted: the build's own warnings, a setting that is not
    the working one, extrapolated tubes.
    """
    working = [tube for point in there.points if point.label == "working" for tube in point.tubes]
    place = () if there.setting is None or there.setting.note is None else (there.setting.note,)
    return (*build.warnings, *place, *(text for tube in working for text in tube.outside))


def provenance(build: Build, bench: Bench, *, before: Counter[tuple[str, str]] | None = None) -> Provenance:
    """Return where results on this build come from: digests of build, cards and decks, versions.

    The decks are those that were run on the bench, since it had `before` (its `loaded` then) if given.
    """
    cards = cards_for(build)
    ran = bench.loaded - (before or Counter())
    return Provenance(
        build=build.sha256,
        decks=tuple(DeckRun(title, digest) for title, digest in sorted(ran)),
        receiver_sim=__version__,
        ngspice=str(bench.ngspice_version),
        cards={c.type: c.sha256 for c in (cards.detector, cards.audio, cards.first) if c is not None},
    )


def deck_text(
    build: Build,
    *,
    study: str,
    band: str | None = None,
    dial_hz: float | None = None,
    rotation: float = 0.5,
    tuning: float | None = None,
    bench: Bench | None = None,
) -> str:
    """Return a netlist with its analysis that stock ngspice runs in batch mode (`ngspice -b FILE`).

    study: 'loop' (control node of the detector for 1 V injected: T = (V - 1)/V), 'bias', 'audio' (outputs for
    1 V at the detector's grid) or 'hum' (outputs at the line frequency). dial_hz: middle of the band if None;
    tuning: capacitor (F) instead of the computed one. Raises BuildFaults, KeyError for an unknown band,
    ValueError for an unknown study.
    """
    cards, one = cards_for(build), band_named(build, band)
    if build.supply.kind == "rectifier":
        with opened(bench) as open_bench:
            build = settle(build, open_bench)
    dial = dial_frequencies(one)[1] if dial_hz is None else dial_hz
    circuit = receiver_circuit(build, cards, band=one, dial_hz=dial, rotation=rotation)
    if tuning is not None:
        circuit = circuit.replace({circuit.part(Role.TUNING): tuning})
    node = circuit.node(Place.CONTROL_NODE)
    half = dial / (4.0 * one.coil.q)
    hum_volts = build.heater.volts if build.heater.supply == "ac" else 0.0
    mains = build.mains.frequency
    outputs = [f"vm({one})" for one in circuit.outputs]
    studies: dict[str, tuple[dict[Role, float], list[str], list[str]]] = {
        "loop": (
            {Role.LOOP_GAIN: 1.0},
            [f".ac lin 3 {dial - half:.9g} {dial + half:.9g}"],
            [f"vr({node})", f"vi({node})"],
        ),
        "bias": ({}, [".op"], _pins(circuit)),
        "audio": ({Role.LOOP_GAIN: 1.0}, [".ac dec 30 10 100k"], outputs),
        "hum": (
            {Role.HEATER: hum_volts},
            [f".ac lin 1 {mains:.9g} {mains:.9g}"],
            outputs,
        ),
    }
    if study not in studies:
        raise WrongValue(f"no study '{study}'; there are: {', '.join(studies)}")
    ac, lines, prints = studies[study]
    driven = circuit.driven({circuit.part(role): volts for role, volts in ac.items()})
    return export(deck(driven), lines, prints)


def _pins(circuit: Circuit) -> list[str]:
    """Return the nodes at the pins of the sockets, each once, and the plate supply."""
    pins = [node for socket in circuit.sockets.values() for node in socket.pins.values() if node != "0"]
    return list(dict.fromkeys([*pins, circuit.node(Place.SUPPLY)]))


def export(written: Deck, lines: Sequence[str], prints: Sequence[str]) -> str:
    """Return a deck with analyses and printed vectors as batch ngspice takes them, cautions on top as
    comments.
    """
    text = written.export(lines, prints)
    title, _, rest = text.partition("\n")
    folded = [line for caution in cautions.PLATE_SUPPLY for line in textwrap.wrap(f"! {caution}", 98)]
    notes = "\n".join(f"* {line}" for line in folded)
    return f"{title}\n{notes}\n{rest}"
