"""`page`: everything that the page of a set shows, turns and plays."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timezone

import numpy as np

from receiver_sim.api._check import check
from receiver_sim.api._common import Progress, quiet
from receiver_sim.api._fault_table import fault_table
from receiver_sim.api._sheet import sheet as bench_sheet
from receiver_sim.builds import band_named, opened
from receiver_sim.circuit.signals import DialPath, Signal
from receiver_sim.engine import Bench
from receiver_sim.errors import NoAnswer
from receiver_sim.failing_stages import Stages
from receiver_sim.measure import resonance_curve
from receiver_sim.measure.set_noise import set_noise
from receiver_sim.oscillating import mode_at
from receiver_sim.receiver import Receiver, Tuned
from receiver_sim.results.base import FloatArray, Status
from receiver_sim.results.bench_sheet import BenchSheet
from receiver_sim.results.check import CheckReport
from receiver_sim.results.envelope import AmplitudeMap, Oscillation
from receiver_sim.results.fault_table import FaultTable
from receiver_sim.results.onset import Onset
from receiver_sim.results.page import HeardPiece, PageReport, Turned
from receiver_sim.schema import Build
from receiver_sim.studies import listening, loop_gain, resonance
from receiver_sim.views.page import page as html
from receiver_sim.views.page import words
from receiver_sim.views.schematic.drawing import Schematic

EVERYWHERE = np.linspace(0.0, 1.0, 81)
"""Settings of the control over its whole travel."""

NEAR = (
    0.85,
    0.9,
    0.93,
    0.95,
    0.965,
    0.975,
    0.985,
    0.99,
    0.995,
    0.998,
    1.0,
    1.002,
    1.005,
    1.01,
    1.02,
    1.04,
    1.07,
)
"""More of them about onset, as parts of its rotation."""

CARRIER_V = 50e-6
"""E.m.f. of the stations that are heard: a signal of middling strength (common practice, no source)."""

PLACE = "residential"
"""Where the aerial stands, for the band's noise in the sounds (physics.band_noise.PLACES)."""

GLIDE_HZ, GLIDE_S, LEAD_S = 1200.0, 1.6, 0.3
"""The dial moves from so far below a carrier to so far above it, in this time, after a time to settle."""


@dataclass(frozen=True)
class _Tune:
    station: str
    relative: float
    seconds: float
    signal: Signal
    dial: DialPath | None
    from_hz: float
    to_hz: float


def halved(volts: FloatArray) -> FloatArray:
    """Return every other sample, after a low pass at a quarter of the rate: a sinc under a Kaiser window.

    As scipy's `resample_poly(volts, 1, 2)`, whose import takes longer than all the sounds' filtering.
    """
    place = np.arange(-20, 21)
    taps = np.sinc(place / 2.0) * np.kaiser(place.size, 5.0)
    return np.convolve(volts, taps / taps.sum(), mode="full")[20:-20:2]


def _tunes() -> list[_Tune]:
    """Return what is listened to: a carrier the dial is moved across, code, and an AM tone."""
    carrier = Signal(CARRIER_V, 0.0, start_s=0.02)
    glide = DialPath(((0.0, GLIDE_HZ), (LEAD_S, GLIDE_HZ), (LEAD_S + GLIDE_S, -GLIDE_HZ)))
    code = Signal(CARRIER_V, 700.0, text="TEST", words_per_minute=22.0, start_s=LEAD_S)
    tone = Signal(CARRIER_V, 0.0, kind="am", start_s=0.02)
    out = [_Tune("carrier", at, GLIDE_S, carrier, glide, -GLIDE_HZ, GLIDE_HZ) for at in (0.985, 1.01, 1.06)]
    out += [_Tune("code", at, 1.4, code, None, 700.0, 700.0) for at in (1.01, 1.2)]
    out += [_Tune("tone", at, 0.4, tone, None, 0.0, 0.0) for at in (0.85, 0.93, 0.985)]
    return out


def page(
    build: Build,
    *,
    sounds: bool = True,
    faults: bool = True,
    output: int = 0,
    bench: Bench | None = None,
    progress: Progress = quiet,
) -> PageReport:
    """Return what the page of a set holds: `check`, the table of settings of each band, sounds of one band.

    sounds: False leaves them out, and half the time; faults: False leaves out what goes to the bench and the
    search for a fault there. output: index of the phones they are heard in. Errors as for `check`.
    """
    with opened(bench) as open_bench:
        report = check(build, bench=open_bench, progress=progress)
        receiver = Receiver(build, open_bench)
        strengths = {one.oscillation.band: one.oscillation for one in report.oscillation}
        jobs = [
            one
            for one in report.bands
            if one.middle.tuning_farad is not None and one.against_screen is not None
        ]
        stages = Stages()
        tables = stages.map(
            open_bench,
            lambda _, one: turned(receiver, one.middle, strengths.get(one.band)),
            [(f"settings of {one.band}", one) for one in jobs],
            lambda done, total: progress("settings", done, total),
        )
        heard = _heard(receiver, report, output, progress, stages) if sounds else ()
        known = tuple(one for one in tables if one is not None)
        sheet, table = (None, None) if not faults else _for_the_bench(build, open_bench, progress, stages)
        return PageReport(
            build.title, report, known, heard, open_bench.engine_seconds, stages.failed,
            bench=sheet, faults=table,
        )  # fmt: skip


def _for_the_bench(
    build: Build, bench: Bench, progress: Progress, stages: Stages
) -> tuple[BenchSheet | None, FaultTable | None]:
    """Return the sheet and the table of faults; of what fails, None."""
    sheet = stages.run("sheet for the bench", lambda: bench_sheet(build, bench=bench, progress=progress))
    if sheet is not None:
        stages.add(sheet.failed)
    table = stages.run(
        "faults",
        lambda: fault_table(build, bench=bench, progress=lambda done, total: progress("faults", done, total)),
    )
    if table is not None:
        stages.add(table.failed)
    return sheet, table


def page_html(report: PageReport, build: Build, drawing: Schematic) -> bytes:
    """Return the page of a set as the bytes of one HTML file. drawing: as `draw` gives it."""
    made = datetime.now(timezone.utc).strftime("%Y-%m-%d %H:%M UTC")
    return html.page(report, build, drawing, made=made)


def page_verdict(report: PageReport) -> str:
    """Return the verdict on a set in one sentence."""
    return words.in_one_sentence(report)


def turned(receiver: Receiver, found: Onset, strength: Oscillation | None) -> Turned:
    """Return the table of settings of a band, from its onset search and its amplitudes.

    Raises EngineError when a simulation fails.
    """
    band = band_named(receiver.build, found.band)
    at = None if found.onset is None else found.onset.rotation
    near = () if at is None else tuple(at * part for part in NEAR if at * part <= 1.0)
    rotation = np.unique(np.concatenate([EVERYWHERE, near]))
    tuning = found.tuning_farad
    assert tuning is not None
    tuned = receiver.at(band, search=found)
    curve, _ = loop_gain.run(tuned, tuning=tuning, rotations=rotation)
    below = [i for i in range(rotation.size) if curve.gain[i] < 1.0 and (at is None or rotation[i] <= at)]
    curves, widths = resonance.run(
        tuned, tuning=tuning,
        settings=[(float(rotation[i]), float(curve.frequency_hz[i])) for i in below],
        gains=[float(curve.gain[i]) for i in below],
    )  # fmt: skip
    peak = max((float(c.max()) for c in curves[:1]), default=1.0)
    rows = {i: tuple(20.0 * np.log10(c / peak)) for i, c in zip(below, curves, strict=True)}
    width = dict(zip(below, widths, strict=True))
    up, down = _strength(rotation, strength)
    jump = None if strength is None else strength.jump
    return Turned(
        band=band.name,
        dial_hz=found.dial_hz,
        status=found.status,
        onset=found.onset,
        gone=found.onset if jump is None or found.onset is None else jump.down,
        rotation=rotation,
        figure=curve.figure,
        gain=curve.gain,
        width_hz=tuple(width.get(i) for i in range(rotation.size)),
        up_v=up,
        down_v=down,
        offset_hz=resonance_curve.offsets(),
        level_db=tuple(rows.get(i) for i in range(rotation.size)),
        quantity=curve.quantity,
        unit=curve.unit,
    )


def _strength(rotation: FloatArray, found: Oscillation | None) -> tuple[FloatArray, FloatArray]:
    """Return the amplitude (V) at each rotation with the control coming from below, and from above.

    Linear between points of the map, which lie 6 % of amplitude apart.
    """
    up, down = np.zeros(rotation.size), np.zeros(rotation.size)
    known: AmplitudeMap | None = None if found is None else found.amplitudes
    if found is None or known is None:
        return up, down
    top = float(known.rotation.max())
    strongest = float(known.amplitude_v[int(np.argmax(known.rotation))])
    for i, r in enumerate(rotation):
        value = known.strongest(float(r))
        held = (strongest if r > top else 0.0) if value is None else value
        down[i] = held
        if found.onset is not None and r >= (found.jump.up if found.jump else found.onset).rotation - 1e-12:
            up[i] = held
    return up, down


def _heard(
    receiver: Receiver,
    report: CheckReport,
    output: int,
    progress: Progress,
    stages: Stages,
) -> tuple[HeardPiece, ...]:
    """Return the sounds of the reference band, none where it has no onset or no aerial."""
    name = report.reference_band
    found = next((o.oscillation for o in report.oscillation if o.oscillation.band == name), None)
    search = next(one.middle for one in report.bands if one.band == name)
    if found is None or found.onset is None or found.amplitudes is None or search.status is Status.FAILED:
        return ()
    band = band_named(receiver.build, name)
    tuned = receiver.at(band, search=search)
    return pieces_of(tuned, found, output, stages, lambda done, total: progress("listening", done, total))


def pieces_of(
    tuned: Tuned,
    found: Oscillation,
    output: int,
    stages: Stages,
    told: Callable[[int, int], None],
    each: Callable[[HeardPiece, float], None] = lambda _piece, _cost: None,
) -> tuple[HeardPiece, ...]:
    """Return the sounds of a band with an onset, none without an aerial; `each` is given one as soon as it
    is there, and the seconds that ngspice took for a second of it."""
    bench, band, mode = tuned.bench, tuned.band, mode_at(tuned, found)
    if mode.aerial is None or found.onset is None or found.amplitudes is None:
        return ()
    at, frame = found.onset.rotation, float(found.amplitudes.frame_hz[0])

    def one(_: Bench, tune: _Tune) -> HeardPiece:
        rotation = min(at * tune.relative, 1.0)
        noise = set_noise(tuned, mode, band=band, place=PLACE, rotation=rotation, output=output)
        sound = listening.run(
            tuned.receiver, mode, band=band, reference_hz=frame, path=[(0.0, rotation)],
            signals=[tune.signal], seconds=LEAD_S + tune.seconds, output=output, dial=tune.dial,
            noise=noise, place=PLACE,
        )  # fmt: skip
        if sound.asked_s is not None:
            there = sound.volts.size / sound.rate
            raise NoAnswer(
                f"the set squegs so fast that {sound.steps} time steps led to {there:.2g} s only; "
                "'receiver-sim listen --whole' takes the time"
            )
        spl = None
        if sound.level_db is not None and sound.rms_v > 0.0:
            spl = sound.level_db - 20.0 * float(np.log10(sound.rms_v))
        volts = halved(sound.volts[round(LEAD_S * sound.rate) :])
        rms = float(np.sqrt(np.mean(volts**2)))
        level = None if spl is None or rms <= 0.0 else spl + 20.0 * float(np.log10(rms))
        piece = HeardPiece(
            band.name, tune.station, rotation, tune.from_hz, tune.to_hz, tune.signal.level_v, sound.output,
            sound.rate / 2.0, volts, level, spl,
        )  # fmt: skip
        each(piece, sound.engine_seconds / (LEAD_S + tune.seconds))
        return piece

    named = [(f"{tune.station} at {100.0 * tune.relative:.3g} % of onset", tune) for tune in _tunes()]
    pieces = stages.map(bench, one, named, told)
    return tuple(piece for piece in pieces if piece is not None)
