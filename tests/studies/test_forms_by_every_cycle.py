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
    build = shipped_build(name)
    cycles.hold_amplitude(patient, build, build.bands[band])


@pytest.mark.parametrize(("name", "band", "change"), HARD)
def test_backlash_of_a_hard_onset_is_that_of_every_cycle(
    patient: Bench, name: str, band: int, change: dict[str, str]
) -> None:
    build = api.changed_build(shipped_build(name), change)
    cycles.hold_backlash(patient, build, build.bands[band], least=0.01)
