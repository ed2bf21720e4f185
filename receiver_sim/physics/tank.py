"""The tuned circuit and its tap: resonance, parallel resistance, sections, start of oscillation."""

import numpy as np

from receiver_sim.physics.checks import Real, require_fraction, require_positive


def resonant_frequency(inductance: Real, *, capacitance: Real) -> Real:
    """Return f = 1/(2 pi sqrt(L C)), Hz, of an inductance (H) with a capacitance (F) (Thomson 1853).

    Undamped resonance: losses shift the frequency of a tank by some f/(8 Q^2), left out. Floats or arrays.
    Raises ValueError unless both are above zero.
    """
    require_positive(inductance=inductance, capacitance=capacitance)
    return 1 / (2 * np.pi * np.sqrt(inductance * capacitance))


def resonant_capacitance(inductance: Real, *, frequency: Real) -> Real:
    """Return C = 1/((2 pi f)^2 L), F, that tunes an inductance (H) to a frequency (Hz).

    The inverse of `resonant_frequency`. Floats or arrays. Raises ValueError unless both are above zero.
    """
    require_positive(inductance=inductance, frequency=frequency)
    return 1 / ((2 * np.pi * frequency) ** 2 * inductance)


def parallel_resistance(inductance: Real, *, frequency: Real, q: Real) -> Real:
    """Return Rp = Q 2 pi f L, ohm, of a tank of `inductance` (H) and quality factor `q` at `frequency` (Hz).

    Textbook form for losses seen as one resistance across the tank. If the loss is a resistance in series
    with the coil the exact value is (Q + 1/Q) 2 pi f L: the form here is low by 1/Q^2, 0.01 % at Q = 100.
    Floats or arrays. Raises ValueError unless all are above zero.
    """
    require_positive(inductance=inductance, frequency=frequency, q=q)
    return q * 2 * np.pi * frequency * inductance


def tapped_sections(inductance: Real, *, turns_fraction: Real, coupling: Real) -> tuple[Real, Real, Real]:
    """Return (upper, lower, mutual), H, of a coil tapped at `turns_fraction` of its turns from ground.

    The sections are taken in the ratio of their squared turns and M = coupling sqrt(upper lower), scaled so
    that upper + lower + 2 M is `inductance` (H), exactly. With coupling 1 this is exact (every turn links
    the same flux). Below that it is an assumption: a short section of a real coil has more than its share,
    since an end section's inductance grows slower than the square of its turns; where the geometry is known
    use `schema.coil_figures`. Floats or arrays.

    Raises ValueError unless inductance > 0, 0 < turns_fraction < 1 and 0 < coupling <= 1.
    """
    require_positive(inductance=inductance, coupling=coupling)
    require_fraction(ends=False, turns_fraction=turns_fraction)
    require_fraction(ends=True, coupling=coupling)
    n = turns_fraction
    scale = inductance / ((1 - n) ** 2 + n**2 + 2 * coupling * n * (1 - n))
    return scale * (1 - n) ** 2, scale * n**2, scale * coupling * n * (1 - n)
