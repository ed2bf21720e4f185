"""Noise that a band brings along at the aerial: ITU-R P.372.

Levels are the external noise figure Fa: decibels above the thermal noise kT0b of a lossless aerial (T0 = 290
K). P.372's categories of man-made noise are words of that open recommendation.
"""

from __future__ import annotations

import math

from receiver_sim.physics.checks import OutsideFormula, require_not_negative, require_positive
from receiver_sim.physics.noise import BOLTZMANN

REFERENCE_K = 290.0
"""T0, to which noise figures refer."""

PLACES = {
    "city": (76.8, 27.7),
    "residential": (72.5, 27.7),
    "rural": (67.2, 27.7),
    "quiet-rural": (53.6, 28.6),
}
"""Category -> c and d of Fam = c - d log10(f in MHz), medians, 0.3 to 250 MHz (quiet rural to 30 MHz): ITU-R
P.372, table of man-made noise; the figures were seen in the program that its study group publishes."""

GALACTIC = (52.0, 23.0)
"""The same for galactic noise (source as above)."""

GALACTIC_FROM_HZ = 10e6
"""Below some 10 MHz the ionosphere keeps the galaxy's noise out (P.372)."""

ATMOSPHERIC = (60.0, 30.0)
"""The same for atmospheric noise at mid latitudes after dark: one example of P.372's maps (January, 40 N,
60.7 dB at 1 MHz, seen) and a slope that follows its curves between 1 and 20 MHz (memory-low). Hours, seasons
and places differ by 20 dB and more either way, and thunder near by by far more."""


def man_made_noise(frequency: float, *, place: str) -> float:
    """Return the median Fam (dB) of man-made noise at a frequency (Hz) in a `place` of PLACES.

    Raises OutsideFormula for a place that is none of them.
    """
    if place not in PLACES:
        raise OutsideFormula(f"place must be one of {', '.join(PLACES)}, got '{place}'")
    return _falling(frequency, *PLACES[place])


def atmospheric_noise(frequency: float) -> float:
    """Return Fam (dB) of atmospheric noise at a frequency (Hz): ATMOSPHERIC, a rough middle."""
    return _falling(frequency, *ATMOSPHERIC)


def galactic_noise(frequency: float) -> float | None:
    """Return Fam (dB) of galactic noise at a frequency (Hz), None where the ionosphere keeps it out."""
    return _falling(frequency, *GALACTIC) if frequency >= GALACTIC_FROM_HZ else None


def _falling(frequency: float, c: float, d: float) -> float:
    require_positive(frequency=frequency)
    return c - d * math.log10(frequency / 1e6)


def together(*figures: float | None) -> float:
    """Return the figure (dB) of independent noises together: their powers add. None stands for none."""
    power = sum(math.pow(10.0, 0.1 * one) for one in figures if one is not None)
    require_positive(power=power)
    return 10.0 * math.log10(power)


def aerial_noise_density(figure_db: float, *, radiation_resistance: float) -> float:
    """Return the density (V/sqrt(Hz)) of the e.m.f. that noise of Fa = `figure_db` makes in an aerial.

    sqrt(4 k T0 (f - 1) R) with f = 10^(Fa/10) and R the aerial's radiation resistance (ohm): P.372's
    available power k T0 f b of a lossless aerial. The 1 is what R makes by itself as a resistor of the
    circuit. Zero where the noise is below that.
    """
    require_not_negative(radiation_resistance=radiation_resistance)
    above = max(math.pow(10.0, 0.1 * figure_db) - 1.0, 0.0)
    return math.sqrt(4.0 * BOLTZMANN * REFERENCE_K * above * radiation_resistance)
