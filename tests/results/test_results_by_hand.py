"""What a result says of itself: places, ends and differences of its own figures, by hand."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from receiver_sim.results.base import Figure, Status
from receiver_sim.results.bias import RatingLine
from receiver_sim.results.envelope import UNCOVERED, UNSETTLED, AmplitudeMap, Jump, Oscillation, Verification
from receiver_sim.results.onset import ControlSetting, Onset
from tests.helpers.filling import filled


def at(rotation: float, volts: float = 31.0) -> ControlSetting:
    return ControlSetting(rotation, volts)


def found(**given: object) -> Onset:
    plain = {
        "status": Status.OSCILLATES,
        "onset": at(0.4, 24.0),
        "at_nine_tenths": at(0.36, 21.5),
        "approach_v": 2.5,
    }
    return filled(Onset, **{**plain, **given})


def test_a_band_is_used_where_the_loop_gain_is_nine_tenths() -> None:
    """Else at onset; half way where there is none on the control; nowhere where nothing is known."""
    assert found().working_rotation == 0.36
    assert found(at_nine_tenths=None).working_rotation == 0.4
    gone = {"onset": None, "at_nine_tenths": None}
    assert found(status=Status.DOES_NOT, **gone).working_rotation == 0.5
    assert found(status=Status.NOT_IN_RANGE, **gone).working_rotation == 0.5
    assert found(status=Status.FAILED, **gone).working_rotation is None


def test_the_end_nearest_to_onset() -> None:
    """Fully down if it always oscillates, fully up if it never does."""
    assert found(status=Status.NOT_IN_RANGE, onset=None).nearest_end == 0.0
    assert found(status=Status.DOES_NOT, onset=None).nearest_end == 1.0


def test_approach_and_slope_are_in_the_unit_of_the_control() -> None:
    assert found().approach == 2.5
    throttle = {"quantity": "throttle capacitance", "unit": "F"}
    one = found(
        onset=ControlSetting(0.4, None, 80e-12, throttle["unit"], throttle["quantity"]),
        at_nine_tenths=ControlSetting(0.36, None, 92e-12, throttle["unit"], throttle["quantity"]),
        approach_v=None, slope_per_v=None, slope_in=Figure(-3.1e9, "1/F"),
    )  # fmt: skip
    assert one.approach == pytest.approx(-12e-12, abs=1e-15) and one.slope == -3.1e9
    assert found(slope_per_v=0.07).slope == 0.07


def test_a_folded_map_gives_the_upper_of_two_amplitudes() -> None:
    """A knob of which oscillation holds 0.40 to 0.50 twice: what stands there is what the way back has."""
    map_ = filled(
        AmplitudeMap, amplitude_v=np.array([0.001, 1.0, 2.0, 3.0]), rotation=np.array([0.5, 0.4, 0.5, 0.7])
    )
    for rotation, volts in ((0.45, 1.5), (0.5, 2.0), (0.6, 2.5), (0.4, 1.0), (0.7, 3.0)):
        assert map_.strongest(rotation) == pytest.approx(volts), rotation
    assert map_.strongest(0.39) is None and map_.strongest(0.71) is None
    assert map_.read(np.array([7.0, 8.0, 9.0, 11.0]), 0.6) == pytest.approx(10.0)


def test_backlash_is_up_less_down() -> None:
    jump = filled(Jump, up=at(0.5, 30.0), down=at(0.4, 23.0), backlash_v=None)
    assert jump.backlash == pytest.approx(7.0)
    assert dataclasses.replace(jump, backlash_v=6.5).backlash == 6.5


@pytest.mark.parametrize(("value", "over"), [(0.99, False), (1.0, False), (1.01, True)])
def test_a_rating_is_kept_at_its_limit(value: float, over: bool) -> None:
    assert RatingLine("audio 6C5", "plate dissipation", value, 1.0, "W").exceeded is over


@pytest.mark.parametrize("part", ["unsettled", "onset_lag"])
def test_a_ramp_too_quick_is_no_check_of_the_map(part: str) -> None:
    """To either side, and the halts as well as the onset count."""
    calm = filled(Verification, unsettled=0.0, onset_lag=0.0)
    assert calm.at_rest
    for sign in (1.0, -1.0):
        assert dataclasses.replace(calm, **{part: sign * 0.99 * UNSETTLED}).at_rest
        assert not dataclasses.replace(calm, **{part: sign * 1.01 * UNSETTLED}).at_rest


def test_a_ramp_that_ends_before_the_map_says_how_far_that_goes() -> None:
    map_ = filled(AmplitudeMap, rotation=np.array([0.4, 0.6, 0.9]), amplitude_v=np.array([0.1, 1.0, 2.0]))
    whole = filled(Verification, oscillation=filled(Oscillation, amplitudes=map_))
    near, short = (dataclasses.replace(whole, covered_to=at(0.9 - k * UNCOVERED)) for k in (0.9, 1.1))
    assert near.map_goes_on_to is None and short.map_goes_on_to == 0.9
