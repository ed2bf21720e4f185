"""Self-inductance of single-layer coils: the exact current sheet, round-wire correction, Wheeler's formula.

A coil of `turns` at a uniform `pitch` is treated as a current sheet of the length turns times pitch; `radius`
is that of the wire's centre line. SI throughout.
"""

import numpy as np

from receiver_sim.errors import NoAnswer
from receiver_sim.physics.checks import Real, require_positive
from receiver_sim.physics.constants import MU_0


def nagaoka_coefficient(diameter: Real, *, length: Real) -> Real:
    """Return Nagaoka's K: inductance of a cylindrical current sheet over that of an infinitely long one.

    Exact closed form in complete elliptic integrals (Lorenz 1879; Nagaoka 1909, J. Coll. Sci. Tokyo 27, art.
    6; form from memory, checked against his table): with k^2 = D^2/(D^2 + l^2), k' the complement,
    K = 4/(3 pi k') [(k'^2/k^2)(F - E) + E - k]. Lengths in m, any ratio above zero; below D/l = 1e-3 rounding
    costs digits (1e-9 there). Floats or arrays. ValueError unless both are above zero.
    """
    require_positive(diameter=diameter, length=length)
    squared = diameter**2 + length**2
    m1 = length**2 / squared
    m = diameter**2 / squared
    first, short = elliptic(m1)
    return 4 / (3 * np.pi * np.sqrt(m1)) * (m1 / m * short + first - short - np.sqrt(m))


def elliptic(m1: Real) -> tuple[Real, Real]:
    """Return the complete elliptic integral F of the first kind, and by how much that of the second, E, is
    less, for the complement m1 = 1 - k^2 (0 < m1 < 1).

    Arithmetic-geometric mean (Gauss; Abramowitz and Stegun 17.6, from memory): F = pi/(2 M), F - E = F sum of
    2^(n-1) c_n^2. Twelve steps are more than double precision needs down to m1 = 1e-300; scipy has the same
    integrals, but takes half a second to load.
    """
    a, b = np.ones_like(np.asarray(m1, dtype=float)), np.sqrt(m1)
    total, weight = 0.5 * (1.0 - np.asarray(m1, dtype=float)), 0.5
    for _ in range(12):
        weight *= 2.0
        total = total + weight * (0.5 * (a - b)) ** 2
        a, b = 0.5 * (a + b), np.sqrt(a * b)
    first = np.pi / (2.0 * a)
    return first, first * total


def current_sheet_inductance(turns: Real, *, radius: Real, length: Real) -> Real:
    """Return mu0 pi r^2 N^2 K/l, H: a cylindrical current sheet of `turns`, `radius` (m) and `length` (m).

    K by `nagaoka_coefficient`. Exact for a uniform sheet; a wire coil differs by `rosa_correction`. Floats or
    arrays. ValueError unless all are above zero.
    """
    require_positive(turns=turns, radius=radius, length=length)
    k = nagaoka_coefficient(2 * radius, length=length)
    return MU_0 * np.pi * radius**2 * turns**2 * k / length


def rosa_a(pitch: Real, *, wire_diameter: Real, surface_current: bool = False) -> Real:
    """Return Rosa's A, the self part of the round-wire correction, for a wire pitch and diameter (both m).

    A = 5/4 - ln(2 p/d) (Rosa 1906, Bull. Bur. Stand. 2 p. 161; form from memory): strip of width p against a
    wire of uniform current. With `surface_current` the wire's internal inductance is left out (skin depth far
    below the diameter): A = 3/2 - ln(2 p/d). Floats or arrays. ValueError unless pitch >= diameter > 0.
    """
    require_positive(pitch=pitch, wire_diameter=wire_diameter)
    if np.any(np.asarray(wire_diameter) > np.asarray(pitch) * (1 + 1e-9)):
        raise NoAnswer(f"turns overlap: wire diameter {wire_diameter} m is above the pitch {pitch} m")
    return (1.5 if surface_current else 1.25) - np.log(2 * pitch / wire_diameter)


def rosa_b(turns: float) -> float:
    """Return Rosa's B, the mutual part of the round-wire correction, for a number of turns (above zero).

    For whole N: B = (2/N) sum_{n<N} (N - n) [ln n - ln g_n], g_n the geometric mean distance of two strips
    one pitch wide, n pitches apart (Rosa 1906; form re-derived). Between whole numbers N B(N) runs straight,
    a choice of ours for taps at part turns; it is 0 up to one turn.
    """
    require_positive(turns=turns)
    below = int(np.floor(turns))
    share = turns - below
    total = (1 - share) * _rosa_nb(below) + (share * _rosa_nb(below + 1) if share else 0.0)
    return total / turns


def _rosa_nb(turns: int) -> float:
    """Return N B(N) for a whole number of turns."""
    if turns < 2:
        return 0.0
    n = np.arange(1, turns, dtype=float)
    lower = np.where(n > 1, 0.5 * (n - 1) ** 2 * np.log(np.maximum(n - 1, 1.0)), 0.0)
    log_distance = 0.5 * (n + 1) ** 2 * np.log(n + 1) + lower - n**2 * np.log(n) - 1.5
    return float(2 * np.sum((turns - n) * (np.log(n) - log_distance)))


def rosa_correction(
    turns: float, *, radius: float, pitch: float, wire_diameter: float, surface_current: bool = False
) -> float:
    """Return -mu0 r N (A + B), H: what a round-wire coil has more than its current sheet (mostly less).

    Rosa 1906 (form from memory): A by `rosa_a`, B by `rosa_b`; lengths in m. Left out: the helix's own pitch
    (an axial current), and at high frequency the shift of current to the coil's inside. Good for
    a pitch well below the radius. ValueError as in the two functions.
    """
    require_positive(turns=turns, radius=radius)
    a = float(rosa_a(pitch, wire_diameter=wire_diameter, surface_current=surface_current))
    return float(-MU_0 * radius * turns * (a + rosa_b(turns)))


def solenoid_inductance(
    turns: float, *, radius: float, pitch: float, wire_diameter: float, surface_current: bool = False
) -> float:
    """Return the inductance, H, of a single-layer coil of round wire: current sheet with Rosa's correction.

    `turns` may be fractional; `radius` to the wire's centre; `pitch` centre to centre; lengths in m. Use
    `surface_current` where the wire is many skin depths thick: it is the rule above 1 MHz. The error left
    against a sum of wire rings is about (p/r)^2/32 of the whole, since Rosa takes a turn as straight (from
    Maxwell's series for near circles): 0.1 % at a pitch of r/6. ValueError for lengths not above zero or
    overlapping turns.
    """
    require_positive(pitch=pitch)
    sheet = float(current_sheet_inductance(turns, radius=radius, length=turns * pitch))
    correction = rosa_correction(
        turns, radius=radius, pitch=pitch, wire_diameter=wire_diameter, surface_current=surface_current
    )
    return sheet + correction
