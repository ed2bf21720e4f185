"""What counts as a motion of the amplitude, on courses in closed form: each limit from both sides."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from receiver_sim.measure import over_time
from receiver_sim.measure.over_time import Course, means_of, motion

TIME = np.linspace(0.0, 0.3, 30001)
LAST = TIME >= 0.2


def _sine(hertz: float, peak: float, *, mean: float = 0.3, time: np.ndarray = TIME) -> np.ndarray:
    return mean + peak * np.sin(2.0 * np.pi * hertz * time)


@pytest.mark.parametrize("hertz", [37.0, 170.0, 611.0])
def test_the_pitch_is_periods_over_their_time_and_not_crossings_over_it(hertz: float) -> None:
    """Of a few periods in the last tenth of a second, too; a grid of 25 us tells a pitch to 2 in 1000."""
    found, swing = motion(TIME, _sine(hertz, 0.1), least=0.01)
    assert found == pytest.approx(hertz, rel=2e-3)
    assert swing == pytest.approx(0.2, rel=1e-3)


@pytest.mark.parametrize(("peak", "seen"), [(0.0101, True), (0.0099, False)])
def test_a_swing_below_the_least_is_rest(peak: float, seen: bool) -> None:
    """Peak to peak."""
    assert (motion(TIME, _sine(170.0, peak), least=0.02)[0] is not None) is seen


@pytest.mark.parametrize(("left", "seen"), [(0.72, True), (0.68, False)])
def test_a_motion_that_dies_away_does_not_last(left: float, seen: bool) -> None:
    """The last sixth of a run against the one before: less than seven tenths left is dying away."""
    envelope = np.where(TIME < 0.25, 1.0, left)
    found = motion(TIME, 0.3 + 0.1 * envelope * np.sin(2.0 * np.pi * 400.0 * TIME), least=0.01)
    assert (found[0] is not None) is seen


def test_one_way_is_no_motion_and_one_crossing_has_no_pitch() -> None:
    assert motion(TIME, 0.3 + 0.5 * TIME, least=0.01) == (None, None)
    # one period and a bit of it: up through the middle once
    slow = 0.3 + 0.1 * np.cos(2.0 * np.pi * 11.0 * (TIME - 0.2))
    found, swing = motion(TIME, slow, least=0.01)
    assert found is None and swing == pytest.approx(0.2, rel=1e-3)


def test_means_are_those_of_the_second_and_the_last_third_of_the_time_whatever_the_steps() -> None:
    time = np.concatenate([np.linspace(0.0, 0.1, 4000), np.linspace(0.1, 0.3, 50)[1:]])
    values = np.where(time < 0.1, 9.0, np.where(time < 0.2, 2.0, 5.0))
    before, mean = means_of(time, values)
    # the step itself lies between two points of the run, a fiftieth of a third apart
    assert (before, mean) == (pytest.approx(2.0, rel=0.05), pytest.approx(5.0, rel=0.05))


def test_a_burst_more_in_one_third_is_no_change() -> None:
    """Bursts of a millisecond every seventh of a tenth of a second, first in the middle of the second third:
    four begin in one third, three in the other, and each is a tenth of its period long.
    """
    period = 0.1 / 3.5
    values = np.where((TIME + 0.4 * period) % period < 0.1 * period, 10.0, 0.5)
    # 0.1 of 10 V and 0.9 of 0.5 V; the grid of 25 us tells a burst's length to a hundredth of itself
    for mean in means_of(TIME, values):
        assert mean == pytest.approx(1.45, rel=0.02)


def _mode() -> Any:
    return SimpleNamespace()


def _playing(monkeypatch: pytest.MonkeyPatch, course: Any) -> list[tuple[float, float, float]]:
    """Let runs give a course(seconds); note rotation, seconds and kick of each."""
    asked: list[tuple[float, float, float]] = []

    def kicked(_: Any, __: Any, rotation: float, hertz: float, seconds: float, *, volts: float) -> Course:
        assert hertz == 7e6
        asked.append((rotation, seconds, volts))
        return course(seconds)

    monkeypatch.setattr(over_time, "kicked", kicked)
    return asked


def _watch(rotation: float = 0.5, seconds: float = 0.3) -> tuple[float | None, ...]:
    receiver: Any = None
    return over_time.watch(receiver, _mode(), rotation=rotation, frequency=7e6, seconds=seconds)


@pytest.mark.parametrize(("share", "seen"), [(0.0101, True), (0.0099, False)])
def test_an_amplitude_moves_from_a_fiftieth_of_itself(
    monkeypatch: pytest.MonkeyPatch, share: float, seen: bool
) -> None:
    """Peak to peak, relative to its mean; it starts by itself, from a millivolt."""
    values = _sine(400.0, share * 3.0, mean=3.0)
    asked = _playing(monkeypatch, lambda _: Course(TIME, values, 0.0 * TIME))
    hertz, swing, mean = _watch()
    assert asked == [(0.5, 0.3, 1e-3)]
    assert (hertz is not None) is (swing is not None) is (mean is not None) is seen
    if seen:
        assert mean == pytest.approx(3.0, rel=1e-3) and hertz == pytest.approx(400.0, rel=2e-3)


@pytest.mark.parametrize(
    ("step", "settled"), [(0.049, True), (0.051, False), (-0.047, True), (-0.053, False)]
)
def test_a_mean_has_settled_within_a_twentieth_from_third_to_third(
    monkeypatch: pytest.MonkeyPatch, step: float, settled: bool
) -> None:
    """Against the last third, of 3 V."""
    mean = np.where(LAST, 3.0, 3.0 * (1.0 - step))
    values = mean + 0.3 * np.sin(2.0 * np.pi * 400.0 * TIME)
    _playing(monkeypatch, lambda _: Course(TIME, values, 0.0 * TIME))
    hertz, _, found = _watch()
    assert hertz is not None and (found is not None) is settled


@pytest.mark.parametrize(("peak", "seen"), [(0.0252, True), (0.0248, False)])
def test_the_circuit_at_rest_moves_from_fifty_millivolts_at_the_output(
    monkeypatch: pytest.MonkeyPatch, peak: float, seen: bool
) -> None:
    """Peak to peak; it is watched 2 % of the knob below onset, after a kick of 0.1 V."""
    asked = _playing(monkeypatch, lambda _: Course(TIME, 0.0 * TIME, _sine(400.0, peak, mean=90.0)))
    receiver: Any = None
    hertz, swing, mean = over_time.watch_at_rest(receiver, _mode(), rotation=0.5, frequency=7e6, seconds=0.3)
    assert asked == [(pytest.approx(0.49), 0.3, 0.1)]
    assert (hertz is not None) is (swing is not None) is seen and mean is None


def _relaxation(monkeypatch: pytest.MonkeyPatch, course: Any) -> tuple[Any, list[float]]:
    """What a start runs into where the oscillation would hold still at 2 V, and how long it was looked at."""
    asked = _playing(monkeypatch, course)
    receiver: Any = None
    found = over_time.relaxation(receiver, _mode(), rotation=0.5, frequency=7e6, amplitude=2.0)
    return found, [seconds for _, seconds, _ in asked]


def test_squegging_counts_once_a_look_twice_as_long_shows_it_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """At 9 kHz a millisecond shows three periods in its last third."""

    def squegs(seconds: float) -> Course:
        time = np.linspace(0.0, seconds, 40001)
        return Course(time, _sine(9e3, 0.9, mean=1.2, time=time), 0.0 * time)

    found, looked = _relaxation(monkeypatch, squegs)
    assert looked == [1e-3, 2e-3]
    assert found.hertz == pytest.approx(9e3, rel=0.01)
    assert (found.swing, found.mean) == (pytest.approx(1.8, rel=0.01), pytest.approx(1.2, rel=0.02))

    def once(seconds: float) -> Course:
        time = np.linspace(0.0, seconds, 40001)
        return Course(time, _sine(9e3, 0.9 if seconds < 1.5e-3 else 0.01, mean=1.2, time=time), 0.0 * time)

    assert _relaxation(monkeypatch, once) == (None, [1e-3, 2e-3])


@pytest.mark.parametrize(("peak", "seen"), [(0.303, True), (0.297, False)])
def test_a_relaxation_swings_by_half_of_its_mean(
    monkeypatch: pytest.MonkeyPatch, peak: float, seen: bool
) -> None:
    """Peak to peak, of 1.2 V: each time a capacitor is charged anew."""

    def moves(seconds: float) -> Course:
        time = np.linspace(0.0, seconds, 40001)
        return Course(time, _sine(9e3, peak, mean=1.2, time=time), 0.0 * time)

    assert (_relaxation(monkeypatch, moves)[0] is not None) is seen


@pytest.mark.parametrize(("mean", "looks"), [(1.01, 1), (0.99, 6)])
def test_a_start_is_watched_until_it_comes_to_half_of_where_it_holds_still(
    monkeypatch: pytest.MonkeyPatch, mean: float, looks: int
) -> None:
    """What is still small may be building up: up to 32 ms."""
    found, looked = _relaxation(
        monkeypatch, lambda seconds: Course(TIME * seconds, 0.0 * TIME + mean, 0.0 * TIME)
    )
    assert found is None and looked == [1e-3, 2e-3, 4e-3, 8e-3, 16e-3, 32e-3][:looks]
