"""Onset of drawn sets: the fast way against the study on the build of that set, and draws by number."""

from __future__ import annotations

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.api._spread import plan_for
from receiver_sim.circuit.factors import drawn
from receiver_sim.circuit.sets import draws, moved_by
from receiver_sim.measure import onset
from receiver_sim.receiver import Receiver
from receiver_sim.results.base import Status
from receiver_sim.schema import Build
from receiver_sim.studies.drawn_sets import look_at_set


@pytest.mark.parametrize("name", ["demo", "tickler", "mains_set"])
def test_a_set_by_alter_and_by_the_study(name: str, bench: api.Bench) -> None:
    """The study assembles the circuit of the drawn build, trims and searches from nothing.

    Two places of the control may differ by what each search leaves (3e-4 of the loop gain, most of which
    is interpolated away) and by what the map leaves of the coil's sections (1e-3 of a tap).
    """
    given = api.shipped_build(name)
    plan = plan_for(given, bench, bands=[b.name for b in given.bands[-2:]], seed=3)
    rows = draws(plan.factors, seed=3, start=0, stop=2)
    for row in rows:
        moved = moved_by(plan.factors, row)
        build, cards = drawn(plan.build, plan.cards, plan.factors, moved)
        for band, quick in zip(plan.bands, look_at_set(bench, plan, moved), strict=True):
            own = build.bands[[b.name for b in build.bands].index(band.name)]
            slow = onset.run(Receiver(build, bench, cards=cards).at(own, (band.from_ * band.to) ** 0.5))
            assert quick.status is slow.status
            if slow.onset is not None:
                assert quick.rotation == pytest.approx(slow.onset.rotation, abs=5e-4)
                assert quick.figure == pytest.approx(slow.onset.figure, abs=0.04)
                # the study trims the dial with the control half way, a set is trimmed near its onset: between
                # them lies what the control pulls the frequency
                assert quick.oscillation_hz == pytest.approx(slow.oscillation_hz, rel=1e-3)
                if slow.approach_deg is not None:
                    assert quick.approach_deg == pytest.approx(slow.approach_deg, rel=5e-3)


def test_a_set_that_newton_does_not_solve_is_measured_as_it_stands(bench: api.Bench) -> None:
    """Guards against a set looked at with another band's coil: where an analysis needs more than Newton's
    method the bands are measured one by one, and what was not sent has to be sent.
    """
    plan = plan_for(api.shipped_build("rf_stage"), bench, seed=3)
    moved = moved_by(plan.factors, draws(plan.factors, seed=3, start=1, stop=2)[0])
    build, cards = drawn(plan.build, plan.cards, plan.factors, moved)
    for band, quick in zip(build.bands, look_at_set(bench, plan, moved), strict=True):
        slow = onset.run(Receiver(build, bench, cards=cards).at(band))
        assert slow.onset is not None and quick.rotation == pytest.approx(slow.onset.rotation, abs=5e-4)
        assert quick.oscillation_hz == pytest.approx(slow.oscillation_hz, rel=1e-3)


def test_a_set_is_the_same_whatever_ran_before(demo: Build, bench: api.Bench) -> None:
    plan = plan_for(demo, bench, bands=["40 m", "20 m"], seed=8)
    row = draws(plan.factors, seed=8, start=6, stop=7)[0]
    first = look_at_set(bench, plan, moved_by(plan.factors, row))
    look_at_set(bench, plan, moved_by(plan.factors, draws(plan.factors, seed=8, start=2, stop=3)[0]))
    assert look_at_set(bench, plan, moved_by(plan.factors, row)) == first
    assert first[0].status is Status.OSCILLATES


def test_a_set_costs_few_analyses(demo: Build, bench: api.Bench) -> None:
    """Three to four a band where there is an onset: a guess, one beside the onset, one at loop gain 0.9. It
    was five.
    """
    plan = plan_for(demo, bench, bands=["40 m", "30 m", "20 m"], seed=3)
    assert all(len(start.gains) > 10 for start in plan.starts)
    costs = []
    for row in draws(plan.factors, seed=3, start=0, stop=10):
        before = bench.evaluations
        found = look_at_set(bench, plan, moved_by(plan.factors, row))
        if all(one.status is Status.OSCILLATES for one in found):
            costs.append(bench.evaluations - before)
    assert len(costs) > 4 and np.mean(costs) <= 4.0 * 3


def test_draws_hang_on_seed_name_and_number_alone(demo: Build, bench: api.Bench) -> None:
    plan = plan_for(demo, bench, bands=["40 m"], seed=8)
    whole = draws(plan.factors, seed=8, start=0, stop=50)
    assert np.array_equal(draws(plan.factors, seed=8, start=20, stop=50), whole[20:])
    assert np.array_equal(draws(plan.factors[5:9], seed=8, start=0, stop=50), whole[:, 5:9])
    assert not np.array_equal(draws(plan.factors, seed=9, start=0, stop=50), whole)
    assert (whole > 0.0).all() and (whole < 1.0).all()
    # even and apart from each other: mean 1/2 +- 4 deviations of a mean, correlations below 4/sqrt(n)
    many = draws(plan.factors, seed=1, start=0, stop=2000)
    assert abs(many.mean(axis=0) - 0.5).max() < 4.0 / np.sqrt(12.0 * 2000)
    assert abs(np.corrcoef(many.T) - np.eye(many.shape[1])).max() < 5.0 / np.sqrt(2000)
