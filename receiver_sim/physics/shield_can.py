"""What a coaxial shield can does to a coil: less inductance, more loss.

The can is a closed round cylinder, the coil a current sheet on its axis. A square can: take the mean of
inscribed and circumscribed circles (common practice, no source). SI throughout.
"""

from typing import NamedTuple

import numpy as np

from receiver_sim.errors import NoAnswer
from receiver_sim.physics.checks import require_positive
from receiver_sim.physics.constants import MU_0
from receiver_sim.physics.inductance import current_sheet_inductance
from receiver_sim.physics.wire import COPPER_RESISTIVITY, skin_depth


class CanEffect(NamedTuple):
    """Effect of a can on a coil of unit inductance: remaining share, and the series loss it couples in."""

    inductance_ratio: float  # shielded over unshielded
    resistance_per_henry: float  # ohm per henry of the unshielded coil


def reflected_ratio(
    radius: float, *, length: float, can_radius: float, can_length: float, rise: float
) -> float:
    """Return the share of a coil's inductance that a perfectly conducting can takes away (0 to 1).

    `rise` is the height of the coil's middle above the can's floor; all lengths in m. Exact for a current
    sheet in a closed cylinder: the vector potential of a ring as a series of sin(m pi z/H) with modified
    Bessel functions of the first order (Smythe, Static and Dynamic Electricity, ch. 7, from memory, medium;
    re-derived), against Nagaoka's sheet in free space. For a long coil in a long can it is (a/b)^2.

    ValueError unless all lengths are above zero and the coil fits inside.
    """
    from scipy.special import ive, kve  # noqa: PLC0415 - it takes long to load

    require_positive(radius=radius, length=length, can_radius=can_radius, can_length=can_length, rise=rise)
    if radius >= can_radius or rise <= length / 2 or rise + length / 2 >= can_length:
        raise NoAnswer(
            "the coil does not fit inside the can: its ends and sides must keep clear of the walls"
        )
    # terms fall as m^-3 once a half wave is short against the coil: the rest is below 1e-6 of the whole
    terms = int(1000 * can_length / min(length, radius)) + 1
    k = np.arange(1, terms + 1) * np.pi / can_length
    along = np.sin(k * rise) * np.sinc(k * length / (2 * np.pi))
    a, b = k * radius, k * can_radius
    # scaled functions, so that neither I nor K over- or underflows; the exponents are put back where they
    # remain
    across = ive(1, a) * kve(1, a) - ive(1, a) ** 2 * kve(1, b) / ive(1, b) * np.exp(2 * (a - b))
    inside = 4 * np.pi * MU_0 * radius**2 / can_length * float(np.sum(along**2 * across))
    return 1 - inside / float(current_sheet_inductance(1.0, radius=radius, length=length))


def can_effect(
    radius: float,
    *,
    length: float,
    can_radius: float,
    can_length: float,
    rise: float,
    frequency: float,
    resistivity: float = COPPER_RESISTIVITY,
) -> CanEffect:
    """Return how a closed can changes a coil's inductance and what resistance it adds.

    Inductance by `reflected_ratio`; loss by Wheeler's incremental inductance rule (Proc. IRE 30, 1942, p.
    412; from memory, high): R = 2 pi f (delta/2) dL/dn, dL/dn the change of inductance when all walls recede
    by a unit length. `resistivity` (ohm m) is the can's, non-magnetic (aluminium about 2.8e-8). Walls
    thicker than two skin depths. Lengths in m, `frequency` in Hz. ValueError unless the coil fits and the
    rest is above zero.
    """
    taken = reflected_ratio(radius, length=length, can_radius=can_radius, can_length=can_length, rise=rise)
    depth = skin_depth(frequency, resistivity=resistivity)
    room = min(can_radius - radius, rise - length / 2, can_length - rise - length / 2)
    step = 1e-3 * room

    def recessed(by: float) -> float:
        return reflected_ratio(
            radius, length=length, can_radius=can_radius + by, can_length=can_length + 2 * by, rise=rise + by
        )

    slope = (recessed(-step) - recessed(step)) / (2 * step)
    return CanEffect(1 - taken, float(np.pi * frequency * depth * slope))
