"""The amplitude of oscillation over time: does it move by itself, and how? (envelope view)"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from receiver_sim.circuit.mode import Mode
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.circuit.views.envelope import envelope_circuit, kick
from receiver_sim.measure.loaded import loaded
from receiver_sim.measure.on_bench import OnBench
from receiver_sim.results.base import FloatArray

_MOTION, _MOTION_AT_REST_V = 0.02, 0.05
"""Relative peak-to-peak motion of the amplitude, and volts at the detector's output, that count as such."""

_SETTLED = 0.05
"""Relative difference of the mean amplitude from one third of a run to the next that counts as settled."""

_RELAXES = 0.5
"""The same of a motion that small disturbances don't tell of: each time a capacitor is charged anew."""

_LOOKS_S = (1e-3, 2e-3, 4e-3, 8e-3, 16e-3, 32e-3)
"""How long a start is looked at: a relaxation takes ngspice hundreds of steps a period, so the short come
first."""

_STEP_S, _STEPS = 5e-5, 20
"""Longest step of a run, and the least number of them: what grows e-fold within a carrier's cycles is watched
for some tens of microseconds.
"""

_BELOW = 0.98
"""Of the onset's rotation: where the circuit at rest is watched."""


def motion(time: FloatArray, values: FloatArray, *, least: float) -> tuple[float | None, float | None]:
    """Return (frequency in Hz, peak-to-peak volts) of a lasting motion in the last third of a run; None,
    None at rest, which is a swing below `least` (V)."""
    grid = np.linspace(time[-1] * 2.0 / 3.0, time[-1], 4000)
    values = np.interp(grid, time, values)
    swing = float(np.ptp(values))
    halves = [float(np.ptp(half)) for half in np.split(values, 2)]
    if swing < least or halves[1] < 0.7 * halves[0]:
        return None, None
    if float(np.abs(np.diff(values)).sum()) < 1.5 * swing:
        return None, None  # one way only: it still builds up or dies away
    up = _upward(values, 0.5 * (values.max() + values.min()))
    if up.size < 2:
        return None, swing
    return float((up.size - 1) / (grid[up[-1]] - grid[up[0]])), swing


class Moving(NamedTuple):
    """A lasting motion: frequency (Hz), peak-to-peak volts, and the mean (V) about which it moves, None
    before that has settled."""

    hertz: float
    swing: float
    mean: float | None


@dataclass(frozen=True)
class Course:
    """Amplitude and the detector's output (V) over time (s)."""

    time: FloatArray
    amplitude: FloatArray
    output: FloatArray


def watch(
    receiver: OnBench, mode: Mode, *, rotation: float, frequency: float, seconds: float
) -> tuple[float | None, float | None, float | None]:
    """Let oscillation start by itself at a setting and return the motion of its amplitude, and the mean (V)
    about which it moves once that has settled; None for what is at rest, or has not settled."""
    run_ = kicked(receiver, mode, rotation, frequency, seconds, volts=1e-3)
    before, mean = means_of(run_.time, run_.amplitude)
    hertz, swing = motion(run_.time, run_.amplitude, least=_MOTION * mean)
    settled = swing is not None and _has_settled(before, mean)
    return hertz, swing, mean if settled else None


def means_of(time: FloatArray, values: FloatArray) -> tuple[float, float]:
    """Return the means over time of the second and the last third of a run, whatever its steps.

    Of a motion they are those of whole periods: else a burst more in one third looks like a change.
    """
    grid = np.linspace(time[-1] / 3.0, time[-1], 8000)
    second, last = np.split(np.interp(grid, time, values), 2)
    level = 0.5 * (last.max() + last.min())
    return _mean(second, level), _mean(last, level)


def _mean(values: FloatArray, level: float) -> float:
    up = _upward(values, level)
    return float((values[up[0] : up[-1]] if up.size > 1 else values).mean())


def _upward(values: FloatArray, level: float) -> npt.NDArray[np.intp]:
    """Return the indices after which values pass a level upwards."""
    return np.flatnonzero((values[:-1] < level) & (values[1:] >= level))


def _has_settled(before: float, mean: float) -> bool:
    return abs(mean - before) < _SETTLED * mean


def watch_at_rest(
    receiver: OnBench, mode: Mode, *, rotation: float, frequency: float, seconds: float
) -> tuple[float | None, float | None, None]:
    """Disturb the circuit a little below onset and return the motion of the detector's output."""
    run_ = kicked(receiver, mode, _BELOW * rotation, frequency, seconds, volts=0.1)
    return (*motion(run_.time, run_.output, least=_MOTION_AT_REST_V), None)


def kicked(
    receiver: OnBench,
    mode: Mode,
    rotation: float,
    frequency: float,
    seconds: float,
    *,
    volts: float,
) -> Course:
    """Run over time from a kick that gives the tank so many volts."""
    mode = mode.at(rotation)
    circuit = envelope_circuit(
        receiver.build, receiver.cards, mode, rotation=rotation, reference_hz=frequency
    )
    amplitude, output = circuit.node(Place.AMPLITUDE), circuit.node(Place.DETECTOR_OUTPUT)
    step = min(_STEP_S, seconds / _STEPS)
    with loaded(receiver.bench, circuit) as on:
        on.course(Role.IN_PHASE, "pwl", kick(volts, mode))
        run_ = on.session.tran(step, seconds, 0.0, step, vectors=[amplitude, output])
    return Course(run_["time"], run_[amplitude], run_[output])


def relaxation(
    receiver: OnBench, mode: Mode, *, rotation: float, frequency: float, amplitude: float
) -> Moving | None:
    """Return the squegging of the amplitude that a start from rest runs into where the oscillation would hold
    still at an amplitude (V) once it stood there; None where it comes to rest.

    Small disturbances don't tell of it. It counts if a look twice as long shows it again.
    """
    seen: float | None = None
    for seconds in _LOOKS_S:
        run_ = kicked(receiver, mode, rotation, frequency, seconds, volts=1e-3)
        before, mean = means_of(run_.time, run_.amplitude)
        hertz, swing = motion(run_.time, run_.amplitude, least=_RELAXES * mean)
        if hertz is not None and swing is not None and seen is not None:
            return Moving(hertz, swing, mean if _has_settled(before, mean) else None)
        seen = hertz
        if swing is None and mean > 0.5 * amplitude:
            return None
    return None
