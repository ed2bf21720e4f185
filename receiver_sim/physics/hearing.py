"""Sound pressure from power in a phone, and the threshold of hearing."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from receiver_sim.physics.checks import require_positive

ISO_226_2003 = (
    (20.0, 78.5), (25.0, 68.7), (31.5, 59.5), (40.0, 51.1), (50.0, 44.0), (63.0, 37.5), (80.0, 31.5),
    (100.0, 26.5), (125.0, 22.1), (160.0, 17.9), (200.0, 14.4), (250.0, 11.4), (315.0, 8.6), (400.0, 6.2),
    (500.0, 4.4), (630.0, 3.0), (800.0, 2.2), (1000.0, 2.4), (1250.0, 3.5), (1600.0, 1.7), (2000.0, -1.3),
    (2500.0, -4.2), (3150.0, -6.0), (4000.0, -5.4), (5000.0, -1.5), (6300.0, 6.0), (8000.0, 12.6),
    (10000.0, 13.9), (12500.0, 12.3),
)  # fmt: skip
"""Frequency (Hz) and threshold (dB SPL), ISO 226:2003, table 1; 50, 100, 125, 250, 500, 1000 and 3150 Hz
seen, the rest from memory, high."""


def threshold_db(frequency: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Return the threshold of hearing (dB SPL, binaural, free field) at `frequency` (Hz; scalar or array).

    ISO 226:2003, interpolated linearly in log frequency; held at the ends beyond 20 Hz and 12.5 kHz.
    Deviation: phones are no free field; the difference is some dB and left out.
    """
    points = np.array(ISO_226_2003)
    at = np.log(np.asarray(frequency, dtype=float))
    return np.asarray(np.interp(at, np.log(points[:, 0]), points[:, 1]))


def sound_level_db(power: float, *, sensitivity_db: float) -> float | None:
    """Return dB SPL for a power (W) in a phone of so many dB SPL for 1 mW; None for no power at all.

    The phone is taken as equally sensitive at all frequencies.
    """
    if power <= 0.0:
        return None
    require_positive(power=power)
    return sensitivity_db + 10.0 * math.log10(power / 1e-3)
