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
    use `mutual_inductance.tapped_solenoid`. Floats or arrays.

    Raises ValueError unless inductance > 0, 0 < turns_fraction < 1 and 0 < coupling <= 1.
    """
    require_positive(inductance=inductance, coupling=coupling)
    require_fraction(ends=False, turns_fraction=turns_fraction)
    require_fraction(ends=True, coupling=coupling)
    n = turns_fraction
    scale = inductance / ((1 - n) ** 2 + n**2 + 2 * coupling * n * (1 - n))
    return scale * (1 - n) ** 2, scale * n**2, scale * coupling * n * (1 - n)


def tap_ratio(inductance: Real, *, turns_fraction: Real, coupling: Real) -> Real:
    """Return the voltage at the tap over that of the whole tank, (lower + M)/L, with the tap unloaded.

    Arguments and errors as `tapped_sections`. It equals `turns_fraction` at coupling 1, and also at a centre
    tap; below the centre it is smaller with a smaller coupling.
    """
    _, lower, mutual = tapped_sections(inductance, turns_fraction=turns_fraction, coupling=coupling)
    return (lower + mutual) / inductance


def onset_transconductance(rp: Real, *, n: Real) -> Real:
    """Return the cathode transconductance g_k (S) at which a cathode-tap detector starts to oscillate.

    g_k = 1/(n (1 - n) Rp) with `rp` the parallel resistance of the whole tank (ohm) and `n` the voltage
    ratio of an ideal tap (`tap_ratio`). g_k counts all current leaving at the cathode: gm (Ib + Ic2)/Ib for
    a pentode whose screen is grounded for radio frequency.

    From the node equations: the cathode current g_k v(gk), v(gk) = (1 - n) v, enters at the fraction n of
    the tank (calc; it is also the limit of the return ratio for an ideal tap). Tube capacitances and
    input loading are left out. Floats or arrays. Raises ValueError unless rp > 0 and 0 < n < 1.
    """
    require_positive(rp=rp)
    require_fraction(ends=False, n=n)
    return 1 / (n * (1 - n) * rp)
