"""A wire aerial of any length: a line over ground, open at its end, that loses what it radiates.

A vertical part with an optional horizontal run at its top. SI throughout. Ground is a perfect plane; what
real soil and the earth connection lose enters as one resistance in series with the foot.
"""

from functools import lru_cache
from typing import NamedTuple

import numpy as np

from receiver_sim.errors import NoAnswer
from receiver_sim.physics.checks import Real, require_not_negative, require_positive
from receiver_sim.physics.constants import EPSILON_0, LIGHT_SPEED

QUARTER_WAVE_OHM = 21.25
"""Reactance of a thin vertical of exactly a quarter wave, ohm: half of the 42.5 of the half-wave dipole,
30 Si(2 pi) by the induced-e.m.f. method (textbook). The open end's stray field is worth that much line.
"""

_ETA = 120.0 * np.pi  # 376.73 to 0.07 %, as every formula for aerials has it


class Line(NamedTuple):
    """The wire as a line: characteristic impedances (ohm) of both parts, static capacitance (F), and the
    reactance (ohm) of the end effect at a quarter wave.
    """

    vertical: float
    horizontal: float
    capacitance: float
    end: float


def vertical_wire_capacitance(length: Real, *, radius: Real, foot_height: Real = 0.0) -> Real:
    """Return the static capacitance, F, to ground of a vertical wire with its foot at `foot_height`.

    Lengths in m. Howe's average potential (Wireless World 1914; from memory, medium; re-derived): uniform
    charge on the wire and its image. With the foot at the ground it is 2 pi eps l/(ln(l/a) - 1). Low by some
    per cent against the true charge distribution. Floats or arrays. ValueError unless length > 2.72 radius >
    0, foot_height >= 0.
    """
    require_positive(length=length, radius=radius)
    require_not_negative(foot_height=foot_height)
    h = np.asarray(foot_height) / length
    image = (1 + h) * np.log(2 * (1 + h)) - (1 + 2 * h) * np.log(1 + 2 * h)
    image = image + np.where(h > 0, h * np.log(2 * np.where(h > 0, h, 1.0)), 0.0)
    return _howe(length, radius, image)


def horizontal_wire_capacitance(length: Real, *, radius: Real, height: Real) -> Real:
    """Return the static capacitance, F, to ground of a horizontal wire at `height`; lengths in m.

    Howe's average potential as `vertical_wire_capacitance`; tends to 2 pi eps l/ln(2 h/a) for a long wire.
    Floats or arrays. ValueError for lengths not above zero or a height not above the radius.
    """
    require_positive(length=length, radius=radius)
    if np.any(np.asarray(height) <= np.asarray(radius)):
        raise ValueError(f"height {height} must be above the wire's radius {radius}")
    d = 2 * height / length
    return _howe(length, radius, np.arcsinh(1 / d) - np.sqrt(1 + d**2) + d)


def _howe(length: Real, radius: Real, image: Real) -> Real:
    own = np.log(2 * length / radius) - 1
    if np.any(own - image <= 0):
        raise NoAnswer(f"the wire is too thick for its length: {radius} m radius, {length} m long")
    return 2 * np.pi * EPSILON_0 * length / (own - image)


def wire_capacitance(height: float, *, radius: float, flat: float = 0.0) -> float:
    """Return the static capacitance, F, of a vertical wire with an optional horizontal run at its top.

    Lengths in m. Howe's average potential of the whole wire, the potentials that its two parts lend each
    other included (the double integral of 1/distance over two perpendicular wires, less that of the image).
    A uniform charge makes it some per cent low. ValueError as in the functions for the parts.
    """
    return _line(height, radius, flat).capacitance


def _crossed(flat: float, rise: float) -> float:
    """Return the integral of 1/distance over x = 0..flat and z = 0..rise, m."""
    return float(flat * np.arcsinh(rise / flat) + rise * np.arcsinh(flat / rise))


def _line(height: float, radius: float, flat: float) -> Line:
    require_positive(height=height)
    require_not_negative(flat=flat)
    up = float(vertical_wire_capacitance(height, radius=radius))
    alone = height / (LIGHT_SPEED * up)
    # a run shorter than a few radii is the round end of the vertical
    if flat <= 6.0 * radius:
        return Line(alone, alone, up, QUARTER_WAVE_OHM)
    out = float(horizontal_wire_capacitance(flat, radius=radius, height=height))
    own = height**2 / up + flat**2 / out
    lent = 2.0 * (2.0 * _crossed(flat, height) - _crossed(flat, 2.0 * height)) / (4.0 * np.pi * EPSILON_0)
    whole = (height + flat) ** 2 / (own + lent)
    share = (up + out) / whole
    # close to its image the end of a horizontal run has little stray field that Howe's formula leaves out
    end = QUARTER_WAVE_OHM * height / (height + flat)
    return Line(share * alone, share * flat / (LIGHT_SPEED * out), whole, end)


def free_line(frequency: Real, *, height: float, radius: float, flat: float = 0.0) -> tuple[Real, Real]:
    """Return (volts, amperes) at the foot of the line of `wire_impedance` without its losses, for one end.

    Volts by the impedance of the last part, amperes as they are, both real: where the volts change sign the
    wire is in resonance (odd quarter waves), where the amperes do its impedance is high. `frequency` in Hz,
    float or array; sizes as there.
    """
    line = _line(height, radius, flat)
    k = 2.0 * np.pi * np.asarray(frequency, dtype=float) / LIGHT_SPEED
    turn = k * flat + _end(line, k, height + flat)
    volts, amperes, turn_up = line.horizontal * np.cos(turn), np.sin(turn), k * height
    return (
        volts * np.cos(turn_up) - line.vertical * amperes * np.sin(turn_up),
        amperes * np.cos(turn_up) + volts / line.vertical * np.sin(turn_up),
    )


def _end(line: Line, k: Real, length: float) -> Real:
    """Return the phase (rad) of the end effect: as the square of frequency up to a quarter wave, the same
    above. At low frequency Howe's capacitance has all there is.

    It is the phase of a capacitance at the end of a line of the wire's mean impedance; on a last part of
    another impedance the same capacitance makes more or less.
    """
    mean = length / (LIGHT_SPEED * line.capacitance)
    phase = line.end / mean * np.minimum(k * length / (np.pi / 2.0), 1.0) ** 2
    return np.arctan(line.horizontal / mean * np.tan(phase))


class _Wave(NamedTuple):
    """The wire at one frequency: its line, phase and loss constants (1/m), and the end's phase (rad)."""

    line: Line
    height: float
    flat: float
    phase: float
    loss: float
    end: float

    def impedance(self) -> complex:
        """Return the impedance at the foot, ohm."""
        upper, length = self.line.horizontal, self.flat
        g = self.loss + 1j * self.phase
        beyond = upper / np.tanh(g * length + 1j * self.end)
        if self.line.vertical == upper:
            return complex(upper / np.tanh(g * (length + self.height) + 1j * self.end))
        t = np.tanh(g * self.height)
        low = self.line.vertical
        return complex(low * (beyond + low * t) / (low + beyond * t))


@lru_cache(maxsize=64)
def _gauss(points: int) -> tuple[np.ndarray, np.ndarray]:
    return np.polynomial.legendre.leggauss(points)


def _radiation(line: Line, k: float, height: float, flat: float, end: float) -> float:
    """Return the attenuation (1/m) by which the line loses what its loss-free standing wave radiates.

    The power is that of the far field over the half sphere, of wire and image: no part of the wire is taken
    as not radiating. Gauss's rule in the elevation, equal steps in azimuth; nodes follow the wavelength.
    """
    x, weight = _gauss(20 + 8 * int(k * (2.0 * height + flat) / 8.0))
    up, weight = 0.5 * (x + 1.0), 0.5 * weight  # sine of the elevation, and places on the vertical part
    level = np.sqrt(1.0 - up**2)
    turn = k * flat + end
    slope, top = line.horizontal * np.cos(turn) / line.vertical, np.sin(turn)
    angle = k * height * (1.0 - up)
    current = slope * np.sin(angle) + top * np.cos(angle)
    rise = 2.0 * np.cos(k * height * np.outer(up, up)) @ (weight * height * current)
    if flat <= 0.0:
        power = 2.0 * np.pi * float(weight @ (level * rise) ** 2)
    else:
        steps = 20 + int(2.0 * k * flat)
        azimuth = np.cos((np.arange(steps) + 0.5) * np.pi / steps)
        run = _run(k, flat, end, level[:, None] * azimuth) * (2j * np.sin(k * height * up))[:, None]
        density = np.abs(up[:, None] * azimuth * run - (level * rise)[:, None]) ** 2
        density += (1.0 - azimuth**2) * np.abs(run) ** 2
        power = float(weight @ density.sum(axis=1)) * 2.0 * np.pi / steps
    radiated = _ETA * k**2 / (16.0 * np.pi**2) * power
    # a line of real impedance loses as much to its currents as to its voltages: a Z0 I^2 per metre
    stored = line.vertical * (slope**2 + top**2) * height + line.horizontal * flat
    return float(radiated / stored)


def _run(k: float, flat: float, end: float, direction: np.ndarray) -> np.ndarray:
    """Return the integral of sin(k (flat - x) + end) exp(j k x direction) over the horizontal run, m.

    By the two travelling waves of the standing one; sin(x)/x takes the end-fire directions without a quotient
    of zeros.
    """
    there, back = k * flat * (direction - 1.0) / 2.0, k * flat * (direction + 1.0) / 2.0
    forward = np.exp(1j * (k * flat + end + there)) * np.sinc(there / np.pi)
    backward = np.exp(1j * (back - k * flat - end)) * np.sinc(back / np.pi)
    total: np.ndarray = flat * (forward - backward) / 2j
    return total


def _wave(frequency: float, height: float, radius: float, flat: float) -> _Wave:
    require_positive(frequency=frequency)
    line = _line(height, radius, flat)
    k = 2.0 * np.pi * frequency / LIGHT_SPEED
    end = float(_end(line, k, height + flat))
    return _Wave(line, height, flat, k, _radiation(line, k, height, flat, end), end)


def wire_impedance(
    frequency: float,
    *,
    height: float,
    radius: float,
    flat: float = 0.0,
    ground_resistance: float = 0.0,
) -> complex:
    """Return the complex impedance, ohm, between the foot of a wire aerial of any length and ground.

    An open line of two parts, each with the mean characteristic impedance length/(c C) of Howe's
    capacitances, whose attenuation is such that the line loses what the standing wave on it radiates (Siegel
    and Labus 1932, from memory, medium): of one part Z0 coth(R_m/Z0 + j b l), R_m the radiation resistance at
    the current maximum. The power is integrated over the far field of wire and image. The open end's stray
    field counts as `QUARTER_WAVE_OHM` (for a horizontal run less, in proportion to the height). In series
    with the foot comes `ground_resistance` (ohm); it stands for the wire's own, too (1 to 5 ohm of 1 mm
    copper at the current maximum). Sizes in m, `frequency` in Hz, all floats; for thin wire (length/radius
    above 100).

    Against the moment method (tests): low-frequency capacitance within 2 %; the first resonance within
    1.5 %, its resistance within 3 %; later ones of odd quarter waves within 4 % and 16 %. The
    high-resistance points lie up to 5 % lower in truth than here; the first has this resistance within 10 %,
    later ones up to 40 % less. Surroundings and soil move a real wire as much. Continuous in length and
    frequency. ValueError for sizes not above zero, a wire too thick for its length, negative resistances.
    """
    require_not_negative(ground_resistance=ground_resistance)
    return _wave(frequency, height, radius, flat).impedance() + ground_resistance


def radiation_resistance(frequency: float, *, height: float, radius: float, flat: float = 0.0) -> float:
    """Return the radiation resistance at the foot, ohm: the real part of `wire_impedance` without losses.

    160 pi^2 (effective height/wavelength)^2 when short (textbook), 36.6 ohm at a quarter wave (from memory,
    high), some kilohms at a half wave. Arguments and errors as there.
    """
    return wire_impedance(frequency, height=height, radius=radius, flat=flat).real


def effective_height(frequency: float, *, height: float, radius: float, flat: float = 0.0) -> float:
    """Return the effective height, m, for waves along the ground, of a wire of `height` with a run `flat`.

    Mean current on the vertical part over the current at the foot, times height, on the line of
    `wire_impedance` (textbook definition): half the height when short and plain, near the whole height under
    a long top. Where half a wave stands on the wire the foot carries next to nothing and the figure is large,
    but finite, as the line loses. Arguments and errors as `wire_impedance`.
    """
    wave = _wave(frequency, height, radius, flat)
    g, ratio = wave.loss + 1j * wave.phase, wave.impedance() / wave.line.vertical
    return float(abs((np.sinh(g * height) - ratio * (np.cosh(g * height) - 1.0)) / g))
