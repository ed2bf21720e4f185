"""Mutual inductance of coaxial circles and coils, and the sections of a tapped coil.

SI throughout; `radius` is that of the wire's centre line; axial distances along the common axis.
"""

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from receiver_sim.physics.checks import OutsideFormula, Real, require_not_negative, require_positive
from receiver_sim.physics.constants import MU_0
from receiver_sim.physics.inductance import current_sheet_inductance, solenoid_inductance


class Sections(NamedTuple):
    """Section inductances of a tapped coil, H; upper + lower + 2 mutual is the whole coil's inductance."""

    upper: float
    lower: float
    mutual: float

    @property
    def coupling(self) -> float:
        """Coupling coefficient of the two sections."""
        return float(self.mutual / np.sqrt(self.upper * self.lower))

    @property
    def tap_ratio(self) -> float:
        """Voltage at the unloaded tap over the whole coil's: (lower + M)/L."""
        return (self.lower + self.mutual) / (self.upper + self.lower + 2 * self.mutual)


class Winding(NamedTuple):
    """One single-layer winding on the common axis: turns, radius, pitch and wire diameter (m), start (m)."""

    turns: float
    radius: float
    pitch: float
    wire_diameter: float
    start: float

    @property
    def length(self) -> float:
        """Length of its current sheet, m."""
        return self.turns * self.pitch


def maxwell_filaments(radius: Real, *, other_radius: Real, distance: Real) -> Real:
    """Return the mutual inductance, H, of two coaxial circular filaments.

    mu0 sqrt(a b) [(2/k - k) F - (2/k) E], k^2 = 4 a b/((a + b)^2 + z^2): Maxwell, Treatise, art. 701. Radii
    and axial distance in m; floats or arrays. Loses digits where the circles are far apart: right to 1e-8
    at k = 0.015, to 3e-5 at 0.003. ValueError for radii not above zero, a negative distance, or circles that
    coincide.
    """
    from scipy.special import ellipe, ellipkm1  # noqa: PLC0415 - it takes long to load

    require_positive(radius=radius, other_radius=other_radius)
    require_not_negative(distance=distance)
    far = (radius + other_radius) ** 2 + distance**2
    m1 = ((radius - other_radius) ** 2 + distance**2) / far
    if np.any(m1 == 0):
        raise OutsideFormula("the two circles coincide: a filament has no finite self-inductance")
    k = np.sqrt(4 * radius * other_radius / far)
    first, second = ellipkm1(m1), ellipe(k**2)
    return MU_0 * np.sqrt(radius * other_radius) * ((2 / k - k) * first - 2 / k * second)


def coaxial_sheets(
    turns: float,
    *,
    radius: float,
    length: float,
    other_turns: float,
    other_radius: float,
    other_length: float,
    distance: float,
) -> float:
    """Return the mutual inductance, H, of two coaxial cylindrical current sheets.

    `distance` (m) is the axial distance between their middles, any sign; coils may overlap or lie inside
    each other. Equal radii: exact, by the self-inductances of the enclosing sheets (Maxwell's method,
    Treatise art. 693 ff.). Unequal: Maxwell's filaments integrated along both sheets, which reduces to one
    integral with a trapezoidal weight, done to 1e-10. ValueError unless turns, radii and lengths are above
    zero.
    """
    from scipy.integrate import quad  # noqa: PLC0415 - it takes long to load

    require_positive(turns=turns, radius=radius, length=length)
    require_positive(other_turns=other_turns, other_radius=other_radius, other_length=other_length)
    gap = abs(distance)
    if abs(radius - other_radius) <= 1e-9 * radius:
        return turns * other_turns * _equal_radii(radius, length, other_length, gap)
    flat, reach = abs(length - other_length) / 2, (length + other_length) / 2

    def weighted(s: float) -> float:
        # share of filament pairs a distance s apart: the correlation of the two uniform windings
        weight = min(length, other_length, reach - abs(s - gap))
        return weight * float(maxwell_filaments(radius, other_radius=other_radius, distance=abs(s)))

    # kinks of the weight, and the peak of the filament pair where the two lie closest
    kinks = {gap - flat, gap + flat, 0.0}
    marks = sorted({gap - reach, gap + reach} | {s for s in kinks if gap - reach < s < gap + reach})
    total = 0.0
    for a, b in pairwise(marks):
        if b - a > 1e-12 * reach:
            total += quad(weighted, a, b, epsrel=1e-11, epsabs=0.0, limit=200)[0]
    return turns * other_turns * total / (length * other_length)


def _equal_radii(radius: float, length: float, other_length: float, distance: float) -> float:
    """Return M per turn and turn of two sheets of the same radius, distance between their middles."""

    def energy(extent: float) -> float:
        # self-inductance of a sheet of one turn per metre; even in its length, 0 at 0
        x = abs(extent)
        return float(current_sheet_inductance(x, radius=radius, length=x)) if x > 1e-15 * radius else 0.0

    near, far = distance - (length + other_length) / 2, distance + (length + other_length) / 2
    inner, outer = distance - (length - other_length) / 2, distance + (length - other_length) / 2
    return (energy(far) + energy(near) - energy(inner) - energy(outer)) / (2 * length * other_length)


def sheet_sections(inductance: float, *, turns_fraction: float, shape: float) -> Sections:
    """Return the sections of a single-layer coil known by its inductance (H), its tap and its shape alone.

    turns_fraction: turns below the tap over all turns; shape: length of the winding over its diameter. Each
    section and the whole are current sheets on one cylinder (`inductance.current_sheet_inductance`, exact at
    any length), scaled to `inductance`; the mutual inductance is what is left, so that they add up to the
    last bit. Rosa's correction for round wire, which needs the turns, is neglected. OutsideFormula unless
    inductance and shape are above zero and 0 < turns_fraction < 1.
    """
    require_positive(inductance=inductance, shape=shape, turns_fraction=turns_fraction)
    if turns_fraction >= 1.0:
        raise OutsideFormula(f"turns_fraction must be below 1, got {turns_fraction}")

    def part(share: float) -> float:
        return float(current_sheet_inductance(share, radius=0.5, length=share * shape))

    whole, lower, upper = part(1.0), part(turns_fraction), part(1.0 - turns_fraction)
    scale = inductance / whole
    return Sections(upper=upper * scale, lower=lower * scale, mutual=(whole - lower - upper) / 2.0 * scale)


def winding_pair(winding: Winding, *, other: Winding) -> float:
    """Return the mutual inductance, H, of two windings as current sheets placed by their `start`."""
    return coaxial_sheets(
        winding.turns,
        radius=winding.radius,
        length=winding.length,
        other_turns=other.turns,
        other_radius=other.radius,
        other_length=other.length,
        distance=(other.start + other.length / 2) - (winding.start + winding.length / 2),
    )


def inductance_matrix(windings: Sequence[Winding], *, surface_current: bool = False) -> np.ndarray:
    """Return the symmetric matrix, H, of self and mutual inductances of coaxial windings (n by n).

    Sections of one coil in series aiding have the sum of all entries as their inductance. Selfs by
    `solenoid_inductance`, mutuals by `winding_pair` (sheets; no round-wire correction between windings).
    """
    matrix = np.zeros((len(windings), len(windings)))
    for i, one in enumerate(windings):
        matrix[i, i] = solenoid_inductance(
            one.turns,
            radius=one.radius,
            pitch=one.pitch,
            wire_diameter=one.wire_diameter,
            surface_current=surface_current,
        )
        for j in range(i):
            matrix[i, j] = matrix[j, i] = winding_pair(one, other=windings[j])
    return matrix
