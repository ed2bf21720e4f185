"""How readings spread from set to set: what moves them is followed, whichever way it moves."""

from __future__ import annotations

import pytest

from receiver_sim.api._spread import plan_for
from receiver_sim.builds import shipped_build
from receiver_sim.circuit.roles import Role
from receiver_sim.judge.reading_spread import middles, shifts_of
from receiver_sim.studies.spread import one_deviation


def test_a_battery_that_only_falls_is_followed(bench):
    """The fault this guards: a factor whose range ends at the value as stated (a battery, fresh to 20 % down)
    counted as one that does not move, so that a sound set with a used battery was called faulty.

    An even spread of width w has the standard deviation w/sqrt(12), its middle half a width off: sqrt(3).
    """
    plan = plan_for(shipped_build("one_tube"), bench, bands=["80 m"])
    number, battery = next((n, f) for n, f in enumerate(plan.factors) if f.name == "mains")
    deviation = 0.2 / 12.0**0.5
    assert (battery.low, battery.high) == (-0.2, 0.0)
    assert one_deviation(battery) == pytest.approx((0.0, -deviation))
    (shift,) = [one for one in shifts_of(plan, plan.maps[0], 0.3) if one.number == number]
    source = plan.maps[0].circuit.part(Role.SUPPLY)
    assert shift.sense == -1.0 and shift.ratios[source] == pytest.approx(1.0 - deviation)
    assert middles(plan.factors)[number] == pytest.approx(-(3.0**0.5))
