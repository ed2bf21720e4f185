"""The sound at an output."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from receiver_sim.api._common import Progress, quiet
from receiver_sim.api._found import Found, first_found, no_onset
from receiver_sim.builds import opened, output_index
from receiver_sim.circuit.signals import DialPath, Signal
from receiver_sim.circuit.views.envelope import LOWEST_V
from receiver_sim.engine import Bench
from receiver_sim.errors import WrongValue
from receiver_sim.measure.linear_envelope import unrest_hz
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


def _moves_by_itself(receiver: Receiver, found: Found, path: Sequence[tuple[float, float]]) -> str | None:
    """Say at which end of a path the set does not hold still, by its natural modes there; None if it does."""
    known = found.oscillation.amplitudes
    settings = [rotation for _, rotation in path]
    for rotation in sorted({max(settings), min(settings)}, reverse=True):
        held = None if known is None else known.strongest(rotation)
        if held is None and known is not None and found.oscillation.onset is None:
            # it oscillates all over the control, of which the map leaves out the very ends
            held = float(np.interp(rotation, known.rotation, known.amplitude_v))
        hertz = unrest_hz(
            receiver, found.mode, amplitude=held or LOWEST_V, rotation=rotation, oscillates=held is not None
        )
        if hertz is not None:
            pitch = f", at {hertz:.0f} Hz to begin with" if hertz else ""
            return (
                f"at {100.0 * rotation:.4g} % of the control the set does not hold still (howl or squegging"
                f"{pitch}): that is heard, too; 'receiver-sim onset' tells where it holds still"
            )
    return None


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
    bench: Bench | None = None,
    progress: Progress = quiet,
) -> Sound:
    """Return the sound at one output for signals at the aerial while the control follows a path.

    path: (s, rotation 0..1) at rising times; relative: instead, stand still at this multiple of the onset's
    rotation; neither: go through onset and back. tune: (s, Hz) at rising times, how far the dial stands off
    its own setting; None: it stands still. place: whose noise comes in at the aerial, a category of ITU-R
    P.372 (physics.band_noise.PLACES), the set's own beside it; None: a clean sound; seed: names the noise. Of
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
            stretch_s=None if restless is None else listening.RESTLESS_S,
            progress=lambda done, total: progress("listening", done, total),
        )
        notes = _heard_without(oscillation, relative=relative is not None, frequency=frequency)
        notes += () if restless is None else (restless,)
        return replace(sound, warnings=build.warnings, status=oscillation.status, notes=notes)
