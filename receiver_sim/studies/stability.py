"""Does the oscillation hold still, or does it howl at the threshold or squegg? (envelope view)"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from receiver_sim.engine import Bench
from receiver_sim.netlist.envelope import envelope_deck, imposed_deck
from receiver_sim.netlist.mode import Mode
from receiver_sim.netlist.receiver import Cards
from receiver_sim.physics.rational import poles
from receiver_sim.results.base import ComplexArray, FloatArray
from receiver_sim.results.envelope import AmplitudeMap, EnvelopeModes, Oscillation, Stability
from receiver_sim.results.onset import ControlSetting
from receiver_sim.schema import Band, Build

POINTS = 12
"""Settings looked at, from just above onset to the top of the control."""

SLOW_HZ = 20e3
"""Modes above are those of the tank itself and of RF filters, which decay at once."""

_SWEEP = (0.2, 200e3, 12)
_MOTION = 0.02
"""Relative peak-to-peak motion of the amplitude that counts as such."""


def slow_modes(
    build: Build, cards: Cards, bench: Bench, mode: Mode, *, amplitude: float, rotation: float
) -> tuple[ComplexArray, int]:
    """Return the eigenvalues (1/s) of the linearised envelope at an amplitude (V) and its setting (0..1).

    With the amplitude imposed and wobbled a little, the circuit answers with a drive D(s) (a.c. analysis).
    Set free, the amplitude obeys C s = -G + D(s); the zeros of C s + G - D(s) are its modes, found as poles
    of the inverse by a rational fit to its samples on the frequency axis.
    """
    capacitance = 1.0 / abs(mode.residue)
    conductance = mode.decay * capacitance
    deck = imposed_deck(build, cards, mode, amplitude=amplitude, rotation=rotation)
    start, stop, points = _SWEEP
    with bench.session(deck) as session:
        run = session.ac(start, stop, points, "dec", vectors=["frequency", "drive"])
    s = 2j * np.pi * run["frequency"]
    answer = 1.0 / (capacitance * s + conductance - 1e-3 * run["drive"])
    both = np.concatenate([s, s.conj()])
    found = poles(both, values=np.concatenate([answer, answer.conj()]))
    slow = found[np.abs(found.imag) < 2.0 * np.pi * SLOW_HZ]
    margin = 1.0 - 1e-3 * run["drive"] / (capacitance * s + conductance)
    return slow[np.argsort(-slow.real)], encirclements(margin)


def encirclements(margin: ComplexArray) -> int:
    """Return how many times 1 - loop gain, sampled from low to high frequency, goes round the origin (both
    halves)."""
    turned = float(np.unwrap(np.angle(margin))[-1] - np.angle(margin[0]))
    return round(-turned / math.pi)


def settings(amplitudes: AmplitudeMap, *, points: int = POINTS) -> list[int]:
    """Return the indices of the map to look at: on its rising parts, where the amplitude stays if it is let
    alone."""
    rising = np.gradient(amplitudes.rotation, np.log(amplitudes.amplitude_v)) > 0.0
    # nearer to onset than this the mode is the slow growth itself
    candidates = np.flatnonzero(rising & (amplitudes.rotation > amplitudes.rotation[0] * 1.002))
    if candidates.size <= points:
        return [int(i) for i in candidates]
    return [int(candidates[round(k)]) for k in np.linspace(0, candidates.size - 1, points)]


def motion(time: FloatArray, amplitude: FloatArray) -> tuple[float | None, float | None]:
    """Return (frequency in Hz, peak-to-peak volts) of a lasting motion in the last third of a run; None,
    None at rest."""
    grid = np.linspace(time[-1] * 2.0 / 3.0, time[-1], 4000)
    values = np.interp(grid, time, amplitude)
    swing = float(np.ptp(values))
    halves = [float(np.ptp(half)) for half in np.split(values, 2)]
    if swing < _MOTION * float(values.mean()) or halves[1] < 0.7 * halves[0]:
        return None, None
    level = 0.5 * (values.max() + values.min())
    up = np.flatnonzero((values[:-1] < level) & (values[1:] >= level))
    if up.size < 2:
        return None, swing
    return float((up.size - 1) / (grid[up[-1]] - grid[up[0]])), swing


def watch(
    build: Build, cards: Cards, bench: Bench, mode: Mode, *, rotation: float, frequency: float, seconds: float
) -> tuple[float | None, float | None]:
    """Let oscillation start by itself at a setting and return the motion of its amplitude once it has
    settled."""
    deck = envelope_deck(build, cards, mode, rotation=rotation, reference_hz=frequency)
    kick = 1e-3 / abs(mode.residue) / 1.1e-6
    with bench.session(deck) as session:
        session.alter("isigi", [0.0, 0.0, 1e-6, 0.0, 1.1e-6, kick, 2.1e-6, kick, 2.2e-6, 0.0], "pwl")
        run_ = session.tran(5e-5, seconds, 0.0, 5e-5, vectors=["amp"])
    return motion(run_["time"], run_["amp"])


def _rate(modes: ComplexArray) -> float:
    return float(modes[0].real) if modes.size else -math.inf


def run(
    build: Build,
    cards: Cards,
    bench: Bench,
    mode: Mode,
    *,
    band: Band,
    found: Oscillation,
    what: str = "as built",
    points: int = POINTS,
    seconds: float = 0.3,
) -> Stability:
    """Look for growing modes over the control, and watch one of them (else the least damped) in a time run
    of `seconds` (0: not).

    Raises EngineError when a simulation fails, ValueError without an amplitude map.
    """
    amplitudes = found.amplitudes
    if amplitudes is None:
        raise ValueError("without oscillation there is nothing to be unstable")
    chosen = settings(amplitudes, points=points)
    modes = [
        slow_modes(
            build,
            cards,
            bench,
            mode,
            amplitude=float(amplitudes.amplitude_v[i]),
            rotation=float(amplitudes.rotation[i]),
        )
        for i in chosen
    ]
    growing = [row for row, (_, count) in enumerate(modes) if count > 0]
    # in the middle of what is unstable it moves fast; at its edge it would take long to be seen
    watched = growing[len(growing) // 2] if growing else int(np.argmax([_rate(m) for m, _ in modes]))
    rows = []
    for row, (i, (values, count)) in enumerate(zip(chosen, modes, strict=True)):
        rotation = float(amplitudes.rotation[i])
        seen: tuple[float | None, float | None] = (None, None)
        if row == watched and seconds > 0.0:
            seen = watch(
                build,
                cards,
                bench,
                mode,
                rotation=rotation,
                frequency=float(amplitudes.frame_hz[i]),
                seconds=seconds,
            )
        above = values[values.imag >= 0.0]
        rows.append(
            EnvelopeModes(
                setting=ControlSetting(rotation, float(amplitudes.rest_screen_v[i])),
                amplitude_v=float(amplitudes.amplitude_v[i]),
                rate=above.real,
                frequency_hz=above.imag / (2.0 * math.pi),
                growing=count,
                motion_hz=seen[0],
                motion_v=seen[1],
            )
        )
    return Stability(
        band=band.name,
        dial_hz=found.dial_hz,
        what=what,
        points=tuple(rows),
        unstable=any(r.growing > 0 for r in rows),
    )


def remedies(build: Build) -> list[tuple[str, Build]]:
    """Return what a constructor would try against howl and squegging: (what it is, changed build), mildest
    first."""
    detector, load = build.detector, build.detector.load
    out: list[tuple[str, dict[str, Any]]] = []
    if load.kind != "resistor":
        for ohm in (220e3, 100e3):
            if load.shunt is None or load.shunt > ohm:
                changed = load.model_copy(update={"shunt": ohm})
                out.append((f"{ohm / 1e3:.0f} kohm across the plate load", {"load": changed}))
    for part in (0.3, 0.1):
        leak = detector.grid_leak * part
        out.append((f"grid leak of {leak / 1e6:.2g} Mohm", {"grid_leak": leak}))
    leak, capacitor = detector.grid_leak * 0.1, max(detector.grid_capacitor * 0.1, 50e-12)
    both: dict[str, Any] = {"grid_leak": leak, "grid_capacitor": capacitor}
    out.append((f"grid leak of {leak / 1e6:.2g} Mohm and grid capacitor of {capacitor * 1e12:.0f} pF", both))
    return [
        (what, build.model_copy(update={"detector": detector.model_copy(update=update)}))
        for what, update in out
    ]
