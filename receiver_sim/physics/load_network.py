"""Passive networks that stand for the measured impedance of headphones."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from receiver_sim.physics.checks import require_not_negative, require_positive

Array = npt.NDArray[np.float64]
Complex = npt.NDArray[np.complex128]


@dataclass(frozen=True)
class Tank:
    """Resistance (ohm), inductance (H) and capacitance (F) in parallel; a capacitance of 0 is none."""

    resistance: float
    inductance: float
    capacitance: float = 0.0


@dataclass(frozen=True)
class LoadNetwork:
    """Resistance and inductance in series, then tanks in series with them; a capacitance across it all.

    Every element is positive, so the network is passive whatever it was fitted to.
    """

    resistance: float
    inductance: float = 0.0
    capacitance: float = 0.0
    tanks: tuple[Tank, ...] = ()

    def __post_init__(self) -> None:
        require_positive(resistance=self.resistance)
        require_not_negative(inductance=self.inductance, capacitance=self.capacitance)


def impedance(network: LoadNetwork, *, frequency: npt.ArrayLike) -> Complex:
    """Return the complex impedance (ohm) of a network at `frequency` (Hz; scalar or array)."""
    s = 2j * np.pi * np.asarray(frequency, dtype=float)
    z = network.resistance + s * network.inductance
    for tank in network.tanks:
        z = z + 1.0 / (1.0 / tank.resistance + 1.0 / (s * tank.inductance) + s * tank.capacitance)
    return np.asarray(1.0 / (1.0 / z + s * network.capacitance))


@dataclass(frozen=True)
class Fit:
    """A fitted network and the largest error of its magnitude at the points, as a fraction."""

    network: LoadNetwork
    error: float


def fit_network(
    frequency: Sequence[float], *, magnitude: Sequence[float], phase_deg: Sequence[float | None]
) -> Fit:
    """Fit a LoadNetwork to measured points by least squares of log magnitude and phase, deterministically.

    frequency in Hz, magnitude in ohm, phase in degree by which current lags volts (None: not measured). The
    form, R + sL with one tank of R, L alone (the losses of a winding on iron) and one resonance (the
    diaphragm's), is the usual equivalent of electromagnetic receivers (textbook, from memory). With
    fewer than 8 figures the resonance is left out, with fewer than 4 the losses too.
    """
    from scipy.optimize import least_squares  # noqa: PLC0415 - it takes long to load

    f = np.asarray(frequency, dtype=float)
    size = np.asarray(magnitude, dtype=float)
    lag = np.array([np.nan if p is None else np.radians(p) for p in phase_deg])
    figures = f.size + int(np.isfinite(lag).sum())
    order = 2 if figures >= 8 else 1 if figures >= 4 else 0

    s = 2j * np.pi * f
    known = np.isfinite(lag)

    def residuals(x: Any, /) -> Array:
        z = _trial(x, s)
        return np.concatenate([np.log(np.abs(z) / size), np.angle(z[known]) - lag[known]])

    best: tuple[float, Array] | None = None
    for start in _starts(f, size, order):
        found = least_squares(residuals, start, xtol=1e-12, ftol=1e-12, max_nfev=_MOST_STEPS)
        if best is None or found.cost < best[0] * (1 - 1e-9):
            best = float(found.cost), found.x
    assert best is not None
    network = _network(best[1])
    error = float(np.max(np.abs(np.abs(impedance(network, frequency=f)) / size - 1.0)))
    return Fit(network, error)


_MOST_STEPS = 300
"""Points that a network suits are met in some tens of steps; those that none suits would creep on and on."""


def _starts(f: Array, size: Array, order: int) -> list[Array]:
    low, high = float(size[np.argmin(f)]), float(size[np.argmax(f)])
    top = float(f.max())
    inductance = max(high, 1.1 * low) / (2.0 * np.pi * top)
    base = [np.log(0.8 * low), np.log(0.5 * inductance)]
    if order >= 1:
        base += [np.log(2.0 * high), np.log(0.5 * inductance)]
    if order < 2:
        return [np.array(base)]
    # the resonance may lie anywhere in the sweep: a start in each third, the best is kept
    places = np.exp(np.linspace(np.log(f.min()), np.log(top), 5))[1:-1]
    return [
        np.array([*base, np.log(0.3 * low + 0.1 * high), np.log(0.3 * low / (2.0 * np.pi * p)), np.log(p)])
        for p in places
    ]


def _network(x: Array) -> LoadNetwork:
    value = np.exp(np.clip(x, -40.0, 40.0))
    tanks = []
    if x.size >= 4:
        tanks.append(Tank(float(value[2]), float(value[3])))
    if x.size >= 7:
        capacitance = 1.0 / ((2.0 * np.pi * value[6]) ** 2 * value[5])
        tanks.append(Tank(float(value[4]), float(value[5]), float(capacitance)))
    return LoadNetwork(float(value[0]), float(value[1]), 0.0, tuple(tanks))


def _trial(x: Array, s: Complex) -> Complex:
    """Return the impedance of `_network(x)` at s = jw, without making it: this runs thousands of times."""
    value = np.exp(np.clip(x, -40.0, 40.0))
    z = value[0] + s * value[1]
    if x.size >= 4:
        z = z + 1.0 / (1.0 / value[2] + 1.0 / (s * value[3]))
    if x.size >= 7:
        capacitance = 1.0 / ((2.0 * np.pi * value[6]) ** 2 * value[5])
        z = z + 1.0 / (1.0 / value[4] + 1.0 / (s * value[5]) + s * capacitance)
    return np.asarray(z)
