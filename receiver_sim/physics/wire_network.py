"""A passive network of constant elements with the impedance of a wire aerial over a range of frequencies.

A simulator of circuits needs elements that do not change with frequency if one deck is to be swept over a
band, run over time, and looked at from audio to the top of short wave. SI throughout.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from receiver_sim.physics.checks import Real, require_positive
from receiver_sim.physics.constants import LIGHT_SPEED
from receiver_sim.physics.wire_aerial import free_line, wire_capacitance, wire_impedance

LEAST_EARTH_OHM = 5.0
"""Deviations count against an impedance with at least this resistance in it."""

HOLD = 0.003
"""Weight of the pull towards the start of the fit, against deviations of 1."""

ROUNDS = 200
"""Steps of the fit at most; it settles in 20 to 150."""


class Branch(NamedTuple):
    """One resonance: `capacitance` (F) and `inductance` (H) in series, and in series with them a
    `resistance` (ohm) with a coil (`shunt_inductance`, H) and a capacitor (`shunt_capacitance`, F) across it:
    what the resonance radiates falls off to longer waves, as w^2, and to shorter ones.
    """

    capacitance: float
    inductance: float
    resistance: float
    shunt_inductance: float
    shunt_capacitance: float


_PER_RESONANCE = 10
_VALUES = len(Branch._fields)
_LEAST_SHARE = 1e-9
_REAL_WEIGHT = 0.05

Complex = npt.NDArray[np.complex128]
Float = npt.NDArray[np.float64]


class WireNetwork(NamedTuple):
    """Branches side by side with a capacitance (F), all in series with `foot` (ohm): passive, whatever the
    figures. top_hz: highest frequency it was made for; error: largest deviation of the impedance from the
    line's up to there, relative.
    """

    branches: tuple[Branch, ...]
    rest: float
    foot: float
    top_hz: float
    error: float

    @property
    def capacitance(self) -> float:
        """Static capacitance, F."""
        return self.rest + sum(one.capacitance for one in self.branches)

    def impedance(self, frequency: Real) -> Real:
        """Return the complex impedance, ohm, at a frequency (Hz, float or array)."""
        s = 2j * np.pi * np.asarray(frequency, dtype=float)
        table = np.array(self.branches)
        around = s[..., None]
        c, inductance, r, m, d = table.T
        loss = 1.0 / (1.0 / r + 1.0 / (around * m) + around * d)
        each = 1.0 / (around * inductance + 1.0 / (around * c) + loss)
        return 1.0 / (each.sum(axis=-1) + s * self.rest) + self.foot

    def swung(self, factor: float) -> "WireNetwork":
        """Return the network of the wire with `factor` times the capacitance: velocity, and with it
        resonances, stay, and inductances go the other way.
        """
        require_positive(factor=factor)
        branches = tuple(
            b._replace(capacitance=b.capacitance * factor, inductance=b.inductance / factor)
            for b in self.branches
        )
        return self._replace(branches=branches, rest=self.rest * factor)


def wire_network(
    height: float,
    *,
    radius: float,
    top_hz: float,
    flat: float = 0.0,
    ground_resistance: float = 0.0,
) -> WireNetwork:
    """Return the network for a wire aerial from direct current to `top_hz`.

    The form is Foster's of an open line (textbook): a series circuit for each resonance of odd quarter
    waves, one branch more than there are resonances below `top_hz`, and a capacitance for all above. The
    resistances with L and C across them, which Foster's loss-free form does not have, were found to serve:
    a plain resistance misses the line by 20 %, this one by 1 to 5 % (`error`; more at the high-resistance
    points of wires beyond a hundred metres). The figures are those that come nearest to
    `wire_aerial.wire_impedance` in relative deviation, by damped least squares on their logarithms: none can
    become negative, so the network is passive at every frequency. Sizes in m; ValueError as there.
    """
    require_positive(top_hz=top_hz)
    size = {"height": height, "radius": radius, "flat": flat}
    quarter = LIGHT_SPEED / (4.0 * (height + flat))
    step = 2.0 * quarter / _PER_RESONANCE
    low = min(quarter, top_hz) * np.array([0.02, 0.05, 0.1, 0.2, 0.35, 0.5, 0.7, 0.85])
    frequency = np.unique(np.concatenate([low, np.arange(step, top_hz, step), [top_hz]]))
    target = np.array([wire_impedance(float(f), **size) for f in frequency])
    start = _start(size, top_hz=top_hz, quarter=quarter)
    # an earth better than this is none of a wire's
    foot = max(ground_resistance, LEAST_EARTH_OHM)
    values = _fitted(start, frequency, target, foot)
    branches = tuple(Branch(*(float(v) for v in row)) for row in values[:-1].reshape(-1, _VALUES))
    bare = WireNetwork(branches, float(values[-1]), 0.0, top_hz, 0.0)
    error = float(np.max(np.abs((bare.impedance(frequency) - target) / (target + foot))))
    return bare._replace(foot=ground_resistance, error=error)


def _start(size: dict[str, float], *, top_hz: float, quarter: float) -> Float:
    """Return the figures of the loss-free line, resonance by resonance, one beyond `top_hz` the last.

    At a resonance L is half the slope of the reactance against w; the resistance is the line's own.
    """
    grid = np.arange(0.02 * quarter, top_hz + 3.0 * quarter, 0.04 * quarter)
    volts = free_line(grid, **size)[0]
    rows: list[list[float]] = []
    for i in np.flatnonzero(volts[:-1] * volts[1:] <= 0.0):
        if rows and grid[i] > top_hz + 2.0 * quarter:
            break
        resonance = float(grid[i] + (grid[i + 1] - grid[i]) * volts[i] / (volts[i] - volts[i + 1]))
        near = resonance * np.array([1.0 - 1e-4, 1.0 + 1e-4])
        v, current = free_line(near, **size)
        inductance = float(np.diff(-v / current)[0] / (2.0 * np.pi * np.diff(near)[0])) / 2.0
        w = 2.0 * np.pi * resonance
        loss = wire_impedance(resonance, **size).real
        # a parallel circuit of Q 2 tuned to 1.25 w has 0.55 (1 + 0.9j) of its resistance at w
        resistance, above = loss / 0.55, 1.25 * w
        rows.append(
            [
                1.0 / (w**2 * inductance),
                max(inductance - 0.9 * loss / w, 0.5 * inductance),
                resistance,
                resistance / (2.0 * above),
                2.0 / (above * resistance),
            ]
        )
    left = wire_capacitance(**size) - sum(row[0] for row in rows)
    return np.append(np.array(rows).ravel(), max(left, 1e-3 * rows[-1][0]))


def _admittance(values: Float, s: Complex) -> tuple[Complex, Complex]:
    """Return admittance (points,) and its derivatives by the logarithm of each value (points, values)."""
    c, inductance, r, m, d = values[:-1].reshape(-1, _VALUES).T
    w = s[:, None]
    loss = 1.0 / (1.0 / r + 1.0 / (w * m) + w * d)
    each = 1.0 / (w * inductance + 1.0 / (w * c) + loss)
    squared = -(each**2)
    slopes = np.stack(
        [
            squared * (-1.0 / (w * c)),
            squared * w * inductance,
            squared * loss**2 / r,
            squared * loss**2 / (w * m),
            -squared * loss**2 * w * d,
        ],
        axis=2,
    ).reshape(len(s), -1)
    rest = (s * values[-1])[:, None]
    return each.sum(axis=1) + rest[:, 0], np.concatenate([slopes, rest], axis=1)


def _residual(values: Float, s: Complex, target: Complex, foot: float) -> tuple[Float, Float]:
    """Return deviations (relative to the whole impedance with the foot's resistance, in two parts, and
    lightly of the real part's logarithm) and their slopes.
    """
    y, slopes = _admittance(values, s)
    z = 1.0 / y
    by = -(z**2)[:, None] * slopes
    whole = np.abs(target + foot)
    off = (z - target) / whole
    real = np.maximum(z.real, _LEAST_SHARE * np.abs(z))
    return (
        np.concatenate([off.real, off.imag, _REAL_WEIGHT * np.log(real / target.real)]),
        np.concatenate(
            [by.real / whole[:, None], by.imag / whole[:, None], _REAL_WEIGHT * by.real / real[:, None]]
        ),
    )


def _fitted(start: Float, frequency: Float, target: Complex, foot: float) -> Float:
    """Return the values that come nearest, by Levenberg's and Marquardt's damped steps.

    A light pull towards the start keeps values that the frequencies looked at leave open where they are.
    """
    s: Complex = (2j * np.pi * frequency).astype(np.complex128)
    first = np.log(start)
    hold = HOLD * np.eye(len(first))

    def around(logs: Float) -> tuple[Float, Float]:
        off, slopes = _residual(np.exp(logs), s, target, foot)
        return np.concatenate([off, HOLD * (logs - first)]), np.concatenate([slopes, hold])

    logs, damping = first, 1e-2
    off, slopes = around(logs)
    for _ in range(ROUNDS):
        normal, pull = slopes.T @ slopes, slopes.T @ off
        step = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), pull)
        trial = logs - np.clip(step, -1.0, 1.0)
        new_off, new_slopes = around(trial)
        before, after = float(off @ off), float(new_off @ new_off)
        if after < before:
            logs, off, slopes, damping = trial, new_off, new_slopes, max(damping / 5.0, 1e-9)
            if before - after < 1e-4 * before:
                break
        elif damping > 1e8:
            break
        else:
            damping *= 4.0
    return np.exp(logs)
