"""What the tank passes about a frequency, on one grid of offsets: read off sweeps of a loaded circuit."""

from __future__ import annotations

import numpy as np

from receiver_sim.engine import Vectors
from receiver_sim.measure.loaded import Loaded
from receiver_sim.results.base import FloatArray

SPAN_HZ = 20e3
"""Shown to either side of the dial: where a listener looks for stations."""

POINTS = 81


def offsets() -> FloatArray:
    """Return the offsets (Hz) of a curve: closer together near the middle."""
    share = np.linspace(-1.0, 1.0, POINTS)
    return np.asarray(np.sign(share) * SPAN_HZ * np.abs(share) ** 2.5, dtype=np.float64)


def curve(on: Loaded, node: str, *, middle_hz: float, narrow: Vectors) -> FloatArray:
    """Return the magnitude at a node against `offsets` from middle_hz, for a current of 1 A into the tank.

    narrow: a sweep about the peak that is there already; a wide one is run beside it. Raises EngineError.
    """
    wide = on.session.ac(middle_hz - SPAN_HZ, middle_hz + SPAN_HZ, 401, vectors=["frequency", node])
    x = np.concatenate([wide["frequency"].real, narrow["frequency"].real]) - middle_hz
    y = np.abs(np.concatenate([wide[node], narrow[node]]))
    order = np.argsort(x)
    return np.asarray(np.interp(offsets(), x[order], y[order]), dtype=np.float64)
