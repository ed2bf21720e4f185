"""What the forms of the set do at rest, soft and hard, against every cycle of the carrier in ngspice.

Those of the shipped cathode tap are in test_reference_transient.py, of the throttle in test_throttle.py, of a
triode with tickler in test_triode.py; here are the others: a pentode's tickler, a triode's tap, the set of
one tube, and the detector behind an r.f. stage.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from receiver_sim import api
from receiver_sim.builds import shipped_build
from receiver_sim.engine import Bench
from receiver_sim.measure import onset
from receiver_sim.receiver import Receiver
from receiver_sim.results.envelope import OnsetKind
from tests.helpers import cycles

pytestmark = pytest.mark.long

HARD = [
    ("tickler", 1, {"detector.grid_leak": "200 kohm"}),
    ("triode_tap", 0, {"detector.grid_leak": "50 kohm"}),
    ("rf_stage", 1, {"detector.grid_leak": "100 kohm"}),
]
"""Build, number of its band, and the change that makes its onset hard: a leak so low that grid current loads
the tank until the swing itself biases the grid off."""


@pytest.fixture(scope="module")
def patient() -> Iterator[Bench]:
    """Give a bench whose runs may take long: those of the r.f. stage with its wire took two minutes."""
    with Bench(workers=1, time_limit_s=600.0) as bench:
        yield bench


@pytest.mark.parametrize(("name", "band"), [("triode_tap", 0), ("one_tube", 0), ("rf_stage", 1)])
def test_amplitude_at_rest_is_that_of_every_cycle(patient: Bench, name: str, band: int) -> None:
    """In the middle of the map, within 5 % of a run over every cycle that has come to rest."""
    build = shipped_build(name)
    one = build.bands[band]
    found = api.onset(build, bands=[one.name], modes=False, bench=patient).bands[0].oscillation
    tuned = Receiver(build, patient).at(one, found.dial_hz)
    search = onset.run(tuned)
    assert found.kind is OnsetKind.SOFT
    assert found.amplitudes is not None and search.tuning_farad is not None
    rotation = 0.5 * float(found.amplitudes.rotation[0] + found.amplitudes.rotation[-1])
    expected = found.amplitudes.strongest(rotation)
    assert expected is not None and expected > 0.3
    # from a swing 15 % off: what holds on is the set's own
    holds, last = cycles.holds(tuned, tuning=search.tuning_farad, rotation=rotation, start_v=1.15 * expected)
    assert holds and last == pytest.approx(expected, rel=0.05)


@pytest.mark.parametrize(("name", "band", "change"), HARD)
def test_backlash_of_a_hard_onset_is_that_of_every_cycle(
    patient: Bench, name: str, band: int, change: dict[str, str]
) -> None:
    """Between the two settings of the map a strong swing holds on and a weak one dies; below them both die.

    Looked at 5 % of the backlash inside and outside of its ends; the swing that it jumps to is the map's
    within 5 %.
    """
    build = api.changed_build(shipped_build(name), change)
    one = build.bands[band]
    found = api.onset(build, bands=[one.name], modes=False, bench=patient).bands[0].oscillation
    tuned = Receiver(build, patient).at(one, found.dial_hz)
    search = onset.run(tuned)
    jump = found.jump
    assert found.kind is OnsetKind.HARD and jump is not None and search.tuning_farad is not None
    assert found.amplitudes is not None and jump.to_v is not None
    up, down = jump.up.rotation, jump.down.rotation
    span = up - down
    assert span > 0.01
    strong, weak = 1.3 * jump.falls_from_v, 2e-3
    seen = {}
    for rotation, start, lasts in (
        (down + 0.05 * span, strong, True),
        (down - 0.05 * span, strong, False),
        (up - 0.05 * span, weak, False),
        (up + 0.05 * span, weak, True),
        (up, jump.to_v, True),
    ):
        held, last = cycles.holds(tuned, tuning=search.tuning_farad, rotation=rotation, start_v=start)
        seen[rotation, start] = held, lasts, last
    assert [held for held, _, _ in seen.values()] == [lasts for _, lasts, _ in seen.values()], seen
    # next to the fold the amplitude is as good as upright over the setting
    assert seen[up, jump.to_v][2] == pytest.approx(found.amplitudes.strongest(up), rel=0.05)
