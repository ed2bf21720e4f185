"""What would quieten the hum of a set that has no audio stage; nothing is simulated."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from receiver_sim.builds import shipped_build
from receiver_sim.design import hum_remedies
from receiver_sim.schema import Build, changed_build

AT_THE_DETECTOR = "halve the heater-to-grid capacitance at the detector (lead dress, shielded socket)"


@pytest.fixture(scope="module")
def one_tube() -> Build:
    """A set of one tube, its heater on a.c.: no part of an audio stage can be changed."""
    build = changed_build(shipped_build("one_tube"), {"heater.supply": "ac"})
    assert build.audio is None
    return build


def test_a_set_of_one_tube_is_offered_no_change_of_an_audio_stage(one_tube: Build) -> None:
    """Regression: the list of changes ended with an error at the stage that is not there."""
    found = dict(hum_remedies.changes(one_tube, 0.3))
    assert AT_THE_DETECTOR in found and "heat with smooth d.c." in found
    assert not [text for text in found if "audio" in text]
    before, after = one_tube.detector.heater_coupling, found[AT_THE_DETECTOR].detector.heater_coupling
    assert (after.grid_a, after.grid_b) == (0.5 * before.grid_a, 0.5 * before.grid_b)


def test_the_hum_of_one_tube_is_ranked_by_what_each_change_gains(one_tube: Build) -> None:
    """40 dB above hearing as built; 3 dB less with half of the capacitance, 25 dB less on smooth d.c."""

    def measure(what: str, changed: Build) -> Sequence[float | None]:
        if changed.heater.supply == "dc":
            return [15.0]
        return [37.0 if what == f"remedy: {AT_THE_DETECTOR}" else 40.0]

    ranked = hum_remedies.run(one_tube, measure=measure, nulls=None)
    assert [(one.change, one.gain_db) for one in ranked[:2]] == [
        ("heat with smooth d.c.", 25.0),
        (AT_THE_DETECTOR, 3.0),
    ]
    assert all(one.gain_db == 0.0 for one in ranked[2:])
