"""Formulas on the return ratio of a feedback loop near the resonance of its tank."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from receiver_sim.errors import NoAnswer


def return_ratio(control_voltage: npt.ArrayLike, *, injected: complex = 1.0) -> npt.NDArray[np.complex128]:
    """Return T = (V - Vinj)/V from the voltage V of the control node whose drive is cut by an injected Vinj.

    With the space current driven by V = V(g,k) + Vinj the loop returns V(g,k) = T V, so T is Bode's return
    ratio, positive for regeneration; oscillation starts where T = 1 (Bode 1945, ch. IV).
    control_voltage: complex volts, any shape. Same shape is returned, dimensionless.
    """
    volts = np.asarray(control_voltage, dtype=np.complex128)
    return (volts - injected) / volts


def zero_phase(frequency: npt.ArrayLike, *, ratio: npt.ArrayLike) -> tuple[float, float]:
    """Return (frequency in Hz, real loop gain) where the return ratio is real, from three neighbouring
    points.

    Near the resonance of a single tank 1/T is proportional to the tank's admittance and so very nearly linear
    in frequency; a parabola through three points of 1/T is solved for a zero imaginary part, at the root
    nearest to the middle point. frequency: 3 rising values (Hz); ratio: 3 complex values.

    Raises ValueError if a ratio is zero or the imaginary part never changes with frequency.
    """
    f = np.asarray(frequency, dtype=np.float64)
    t = np.asarray(ratio, dtype=np.complex128)
    if f.shape != (3,) or t.shape != (3,):
        raise ValueError("zero_phase takes three points")
    points = t.tolist()
    if not all(abs(one) > 0.0 for one in points):
        raise NoAnswer("the return ratio is zero: the tube is cut off or the loop is open")
    low, middle, high = f.tolist()
    span = high - low
    if not span > 0.0:
        raise ValueError("zero_phase takes rising frequencies")
    x = (low - middle) / span, (high - middle) / span
    inverse = [1.0 / one for one in points]
    # 1/T = at + x (slope + x bend); a few plain numbers are many times faster than arrays of three
    at = inverse[1]
    first, last = (inverse[0] - at) / x[0], (inverse[2] - at) / x[1]
    bend = (last - first) / (x[1] - x[0])
    slope = first - bend * x[0]
    root = _smaller_root(bend.imag, slope.imag, at.imag)
    return middle + span * root, 1.0 / (at.real + root * (slope.real + root * bend.real))


def _smaller_root(a: float, b: float, c: float) -> float:
    """Return the real root of a x^2 + b x + c that is nearer to zero. Raises NoAnswer if there is none."""
    inside = b * b - 4.0 * a * c
    q = b + math.copysign(math.sqrt(inside), b) if inside >= 0.0 else 0.0
    if q == 0.0:
        raise NoAnswer("the phase of the return ratio has no zero near these frequencies")
    return -2.0 * c / q


def strongest_zero_phase(frequency: npt.ArrayLike, *, ratio: npt.ArrayLike) -> float | None:
    """Return the frequency (Hz) of the largest positive real return ratio in a sweep, None if there is none.

    Where the imaginary part changes its sign between neighbouring points the real part is interpolated
    linearly. frequency: rising values (Hz); ratio: complex, of equal length. The error is a part of the step.
    """
    f = np.asarray(frequency, dtype=np.float64)
    t = np.asarray(ratio, dtype=np.complex128)
    y = t.imag
    at = np.flatnonzero((y[:-1] < 0.0) != (y[1:] < 0.0))
    if not at.size:
        return None
    share = y[at] / (y[at] - y[at + 1])
    real = t.real[at] + share * (t.real[at + 1] - t.real[at])
    best = int(np.argmax(real))
    if real[best] <= 0.0:
        return None
    return float(f[at[best]] + share[best] * (f[at[best] + 1] - f[at[best]]))


def half_power_width(frequency: npt.ArrayLike, *, magnitude: npt.ArrayLike) -> tuple[float, float]:
    """Return (peak value, width in Hz) between the points 1/sqrt(2) below the peak of a resonance curve.

    1/|H|^2 of a single resonance is a parabola in frequency; each flank is interpolated linearly in 1/|H|^2
    between the points that enclose its half-power value. frequency (Hz) rises; both arrays of equal length.

    Raises ValueError if a flank does not fall below half power within the range.
    """
    f = np.asarray(frequency, dtype=np.float64)
    power = np.asarray(magnitude, dtype=np.float64) ** 2
    top = int(np.argmax(power))
    if not 0 < top < f.size - 1:
        raise NoAnswer("the peak of the resonance lies at the end of the range")
    inverse = 1.0 / power
    # vertex of the parabola through the three points around the largest one
    a, b, c = np.polynomial.polynomial.polyfit(f[top - 1 : top + 2] - f[top], inverse[top - 1 : top + 2], 2)
    least = float(a - b * b / (4.0 * c)) if c > 0.0 else float(inverse[top])
    threshold = 2.0 * least
    edges = []
    for flank in (range(top, -1, -1), range(top, f.size)):
        inside = top
        for index in flank:
            if inverse[index] > threshold:
                share = (threshold - inverse[inside]) / (inverse[index] - inverse[inside])
                edges.append(float(f[inside] + share * (f[index] - f[inside])))
                break
            inside = index
        else:
            raise NoAnswer("the resonance does not fall to half power within the range")
    return float(least**-0.5), edges[1] - edges[0]
