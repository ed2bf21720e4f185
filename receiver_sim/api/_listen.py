"""The sound at an output."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from receiver_sim.api._common import Progress, quiet
from receiver_sim.api._found import Found, first_found, no_onset
from receiver_sim.builds import opened, output_index
from receiver_sim.circuit.signals import DialPath, Signal
from receiver_sim.circuit.views.envelope import LOWEST_V
from receiver_sim.engine import Bench
from receiver_sim.errors import WrongValue
from receiver_sim.measure.imposed_amplitude import HIGHEST_V
from receiver_sim.measure.linear_envelope import unrest_hz
from receiver_sim.measure.over_time import relaxation
from receiver_sim.measure.set_noise import set_noise
from receiver_sim.physics.band_noise import PLACES
from receiver_sim.receiver import Receiver
from receiver_sim.results.base import Status
from receiver_sim.results.envelope import (
    Oscillation,
    Sound,
)
from receiver_sim.results.onset import HALF_WAY
from receiver_sim.schema import Build
from receiver_sim.studies import listening


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


class _Restless(NamedTuple):
    """Why a set does not hold still, in words, and the length of single runs (s) that suits it."""

    note: str
    stretch_s: float


def _moves_by_itself(
    receiver: Receiver, found: Found, path: Sequence[tuple[float, float]]
) -> _Restless | None:
    """Say at which end of a path the set does not hold still, by its natural modes there or, where they all
    decay, by a start from rest; None if it does."""
    known = found.oscillation.amplitudes
    settings = [rotation for _, rotation in path]
    for rotation in sorted({max(settings), min(settings)}, reverse=True):
        held = None if known is None else known.strongest(rotation)
        if held is None and known is not None and found.oscillation.onset is None:
            # it oscillates all over the control, of which the map leaves out the very ends
            held = float(np.interp(rotation, known.rotation, known.amplitude_v))
        volts = held or LOWEST_V
        hertz = unrest_hz(
            receiver, found.mode, amplitude=volts, rotation=rotation, oscillates=held is not None
        )
        if hertz is not None:
            pitch = f", at {hertz:.0f} Hz to begin with" if hertz else ""
            stretch = listening.SQUEGGING_S if hertz > listening.FAST_HZ else listening.RESTLESS_S
            return _Restless(_does_not_hold(rotation, f"howl or squegging{pitch}"), stretch)
        if held is None and (known is not None or found.oscillation.status is Status.DOES_NOT):
            continue
        # one that oscillates without a map of its amplitudes does so near the tank's own resonance
        frame = found.mode.resonance_hz
        if known is not None:
            frame = float(np.interp(rotation, known.rotation, known.frame_hz))
        squegs = relaxation(receiver, found.mode, rotation=rotation, frequency=frame, amplitude=volts)
        if squegs is not None:
            what = f"from rest it squegs at {squegs.hertz / 1e3:.3g} kHz"
            return _Restless(_does_not_hold(rotation, what), listening.SQUEGGING_S)
    return None


def _does_not_hold(rotation: float, what: str) -> str:
    return (
        f"at {100.0 * rotation:.4g} % of the control the set does not hold still ({what}): that is heard, "
        "too; 'receiver-sim onset' tells where it holds still"
    )


def _bursts(sound: Sound) -> tuple[str, ...]:
    """Say what is rough in a sound whose oscillation comes in bursts beyond all that a grid holds at rest."""
    if sound.highest_v is None or sound.highest_v <= HIGHEST_V:
        return ()
    return (
        f"bursts reach {sound.highest_v:.0f} V at the hot end: where they grow within a few cycles "
        "of the carrier the envelope is rough, and their height may be several times too large",
    )


def _ended(sound: Sound) -> tuple[str, ...]:
    """Say that a sound is shorter than was asked for."""
    if sound.asked_s is None or sound.steps is None:
        return ()
    there = sound.volts.size / sound.rate
    longer = sound.asked_s / there
    return (
        f"{there:.3g} s of the {sound.asked_s:.3g} s asked for: squegging took ngspice {sound.steps} time "
        f"steps so far, and all of it would take {longer:.{0 if longer >= 10.0 else 1}f} times as long; "
        "--whole computes it",
    )


def listen(
    build: Build,
    *,
    signals: Sequence[Signal],
    seconds: float,
    band: str | None = None,
    output: int | str = 0,
    path: Sequence[tuple[float, float]] | None = None,
    relative: float | None = None,
    tune: Sequence[tuple[float, float]] | None = None,
    place: str | None = "residential",
    seed: int = 1,
    whole: bool = False,
    bench: Bench | None = None,
    progress: Progress = quiet,
) -> Sound:
    """Return the sound at one output for signals at the aerial while the control follows a path.

    path: (s, rotation 0..1) at rising times; relative: instead, stand still at this multiple of the onset's
    rotation; neither: go through onset and back. tune: (s, Hz) at rising times, how far the dial stands off
    its own setting; None: it stands still. place: whose noise comes in at the aerial, a category of ITU-R
    P.372 (physics.band_noise.PLACES), the set's own beside it; None: a clean sound; seed: names the noise.
    whole: compute all of it, however long it takes, of a set that squegs so fast that a second takes many
    minutes; else the sound ends after `listening.MOST_STEPS`, and `Sound.asked_s` says what was asked. Of
    a band without onset on its control the sound is that of the set as it is, with a note. Errors as for
    `detect`, and WrongValue for a place that is none.
    """
    if place is not None and place not in PLACES:
        raise WrongValue(f"place '{place}': expected one of {', '.join(PLACES)}, or None for a clean sound")
    with opened(bench) as open_bench:
        receiver = Receiver(build, open_bench)
        settled = receiver.build
        found = first_found(receiver, band)
        oscillation, mode = found.oscillation, found.mode
        if relative is not None:
            path = [(0.0, _standing(oscillation, relative))]
        elif path is None:
            path = onset_path(oscillation, seconds=seconds)
        known = oscillation.amplitudes
        frequency = "the resonance of the tank" if known is None else "the oscillation at its weakest"
        at = float(np.mean([rotation for _, rotation in path])) if path else HALF_WAY
        restless = _moves_by_itself(receiver, found, path) if path else None
        noise = (
            None
            if place is None
            else set_noise(
                receiver,
                mode,
                band=found.band,
                place=place,
                rotation=at,
                output=output_index(settled, output),
            )
        )
        sound = listening.run(
            receiver,
            mode,
            band=found.band,
            reference_hz=mode.resonance_hz if known is None else float(known.frame_hz[0]),
            path=path,
            signals=signals,
            seconds=seconds,
            output=output_index(settled, output),
            dial=None if tune is None else DialPath(tuple(tune)),
            noise=noise,
            seed=seed,
            place=place or "",
            stretch_s=None if restless is None else restless.stretch_s,
            most_steps=None if whole else listening.MOST_STEPS,
            progress=lambda done, total: progress("listening", done, total),
        )
        notes = _heard_without(oscillation, relative=relative is not None, frequency=frequency)
        notes += () if restless is None else (restless.note,)
        notes += (*_bursts(sound), *_ended(sound))
        return replace(sound, warnings=build.warnings, status=oscillation.status, notes=notes)
