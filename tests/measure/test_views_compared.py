"""When loop gain and amplitudes are said to differ, and where a plate rests in two ways: limits and words."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from receiver_sim.measure import rest_states, views_compared
from receiver_sim.measure.imposed_amplitude import Surplus
from receiver_sim.measure.rest_states import TwoStates
from receiver_sim.results.base import Status
from receiver_sim.results.onset import ControlSetting, Onset
from tests.helpers.filling import filled

REASON = (
    ": something beside the tank counts, such as a plate that no plate_capacitor bypasses or that has next "
    "to no volts; trust the loop gain, and amplitudes only roughly"
)


def _onset(rotation: float | None, status: Status = Status.OSCILLATES) -> Onset:
    there = None if rotation is None else ControlSetting(rotation, 20.0)
    return filled(Onset, onset=there, status=status)


def _said(amplitudes: float | None, loop_gain: float | None) -> str | None:
    there = None if amplitudes is None else ControlSetting(amplitudes, 20.0)
    found: Any = SimpleNamespace(onset=there)
    return views_compared.onsets(found, _onset(loop_gain))


@pytest.mark.parametrize("by", [0.0099, -0.0099])
def test_onsets_within_a_hundredth_of_the_knob_agree(by: float) -> None:
    """A hand's setting of it."""
    assert _said(0.42 + by, 0.42) is None


@pytest.mark.parametrize(("at", "said"), [(0.4301, "43 %"), (0.4099, "41 %"), (0.57, "57 %")])
def test_onsets_further_apart_are_both_told(at: float, said: str) -> None:
    assert _said(at, 0.42) == (
        "by its loop gain the set starts at 42 % of the knob, but with the tank taken as one resonance small "
        f"amplitudes are sustained from {said}{REASON}"
    )


def test_an_onset_that_no_amplitude_has_is_told_and_one_that_is_none_is_not() -> None:
    assert _said(None, 0.42) == (
        "by its loop gain the set starts at 42 % of the knob, but with the tank taken as one resonance no "
        f"setting of the control sustains a small amplitude{REASON}"
    )
    assert _said(0.3, None) is _said(None, None) is None


def _at_stop(surplus: float, status: Status) -> str | None:
    pays = Surplus(np.array([1e-3, 1e-2]), np.array([surplus, -surplus]))
    looked: Any = SimpleNamespace(pays=pays)
    return views_compared.stops(looked, _onset(None, status))


@pytest.mark.parametrize(
    ("status", "surplus", "words"),
    [
        (Status.DOES_NOT, 0.051, "nothing starts the set| the top of the control sustains a small amplitude"),
        (Status.DOES_NOT, 0.049, None),
        (Status.DOES_NOT, -0.3, None),
        (
            Status.NOT_IN_RANGE, -0.051,
            "the set starts at every setting| the lower stop sustains no small amplitude",
        ),
        (Status.NOT_IN_RANGE, -0.049, None),
        (Status.NOT_IN_RANGE, 0.3, None),
        (Status.OSCILLATES, 0.3, None),
        (Status.FAILED, -0.3, None),
    ],
)  # fmt: skip
def test_a_stop_counts_from_a_twentieth_of_the_losses(
    status: Status, surplus: float, words: str | None
) -> None:
    """Of the smallest amplitude."""
    found = _at_stop(surplus, status)
    if words is None:
        assert found is None
        return
    first, second = words.split("|")
    assert found == (f"by its loop gain {first}, but with the tank taken as one resonance{second}{REASON}")


# ---------------------------------------------------------------------------- two states of rest


def test_two_states_of_rest_are_told_with_where_and_which_way() -> None:
    assert str(TwoStates(0.31, 0.44, 137.2, 41.66)) == (
        "from 31 to 44 % of the control the detector's plate can rest at two voltages (at 44 % at 137 V or "
        "41.7 V), as that of a tetrode on a high resistance does: turned up it falls at the upper end of "
        "that stretch, turned back it rises at the lower; figures in between belong to one of the two"
    )


def _two_ways(monkeypatch: pytest.MonkeyPatch, up: list[float], back: list[float]) -> TwoStates | None:
    """Turned up and back over five settings."""
    places = np.linspace(0.2, 0.6, 5)

    def volts(_: object, __: object, way: np.ndarray) -> np.ndarray:
        return np.array(up if way[0] < way[-1] else back[::-1])

    monkeypatch.setattr(rest_states, "_plate_volts", volts)
    nothing: Any = None
    return rest_states._stretch(nothing, nothing, places)


def test_the_stretch_is_where_both_ways_differ(monkeypatch: pytest.MonkeyPatch) -> None:
    found = _two_ways(monkeypatch, [150.0, 140.0, 130.0, 120.0, 30.0], [150.0, 60.0, 50.0, 40.0, 30.0])
    assert found == TwoStates(pytest.approx(0.3), pytest.approx(0.5), 120.0, 40.0)


@pytest.mark.parametrize(("lower", "differ"), [(94.9, True), (95.1, False)])
def test_states_differ_by_a_twentieth_of_the_higher_volts(
    monkeypatch: pytest.MonkeyPatch, lower: float, differ: bool
) -> None:
    found = _two_ways(monkeypatch, [150.0, 100.0, 80.0, 60.0, 30.0], [150.0, lower, 80.0, 60.0, 30.0])
    assert (found is not None) is differ
