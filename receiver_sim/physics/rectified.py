"""Formulas of plate supplies: capacitor-input ripple, discharge, dropper of a shunt regulator."""

from __future__ import annotations

import math
from dataclasses import dataclass

from receiver_sim.physics.checks import require_not_negative, require_positive


def discharge_time(volts: float, *, to: float, resistance: float, capacitance: float) -> float:
    """Return the time (s) in which R (ohm) takes C (F) from `volts` to `to`: R C ln(V/V1)."""
    require_positive(volts=volts, to=to, resistance=resistance, capacitance=capacitance)
    return resistance * capacitance * math.log(max(volts / to, 1.0))


@dataclass(frozen=True)
class DropperLimits:
    """Least and greatest dropper (ohm): by the regulator's greatest current at the highest supply, and by its
    least current at the lowest.
    """

    lowest: float
    highest: float


def dropper_limits(
    held: float,
    *,
    lowest_supply: float,
    highest_supply: float,
    minimum_current: float,
    maximum_current: float,
    least_load: float,
    greatest_load: float,
) -> DropperLimits:
    """Return the limits of the dropper of a shunt regulator that holds `held` volts (Kirchhoff; textbook).

    Supply in V, currents in A. A regulator whose lowest supply does not exceed `held` has no dropper:
    `highest` is 0 then.
    """
    require_positive(held=held, maximum_current=maximum_current)
    require_not_negative(minimum_current=minimum_current, least_load=least_load, greatest_load=greatest_load)
    lowest = (highest_supply - held) / (maximum_current + least_load)
    highest = (lowest_supply - held) / max(minimum_current + greatest_load, 1e-9)
    return DropperLimits(max(lowest, 0.0), max(highest, 0.0))
