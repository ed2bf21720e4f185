"""A ramp of the control against a map, on courses made by hand: where it goes, what is read, what is told."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from receiver_sim.builds import cards_for, shipped_build
from receiver_sim.circuit.assemble import regeneration_control
from receiver_sim.circuit.control import Control
from receiver_sim.errors import NoAnswer
from receiver_sim.results.envelope import AmplitudeMap, Jump, Oscillation, RampReading
from receiver_sim.results.onset import ControlSetting
from receiver_sim.schema import changed_build
from receiver_sim.studies import reference_transient
from receiver_sim.studies.reference_transient import Path
from tests.helpers.filling import filled

# ---------------------------------------------------------------------------- reference against map

ROTATION = np.linspace(0.4, 0.9, 51)
AMPLITUDE = 20.0 * (ROTATION - 0.4)
"""A map that rises by 2 V for a tenth of the knob, from nothing at 40 %."""

PATH = Path((0.0, 1.0, 2.0), (0.0, 1.0, 0.0), 0.0, (0.4, 0.7), 0.3)
TIME = np.linspace(0.0, 1.0, 1001)


def found_map(**given: Any) -> Oscillation:
    known = filled(
        AmplitudeMap, rotation=ROTATION, amplitude_v=AMPLITUDE, rest_screen_v=60.0 * ROTATION, rest_value=None
    )
    plain = {"onset": ControlSetting(0.4, 24.0), "jump": None, "amplitudes": known, "dial_hz": 7.1e6}
    return filled(Oscillation, **{**plain, **given})


def reading(halts: tuple[float, float] = (1.0, 1.0), onset_v: float = 24.0, **given: Any) -> RampReading:
    """An observer's reading: at rest at 70 % of the knob until 0.5 s, at 80 % after that; at each halt a
    share of what the map has there, 6 V and 8 V.
    """
    first = TIME < 0.55
    amplitude = np.where(first, 6.0 * halts[0], 8.0 * halts[1])
    plain = {
        "time_s": TIME, "amplitude_v": amplitude, "rotation": np.where(first, 0.7, 0.8),
        "onset": ControlSetting(0.4, onset_v), "gone": None, "backlash_v": None,
    }  # fmt: skip
    return filled(RampReading, **{**plain, **given})


@pytest.mark.parametrize(
    ("halts", "due"),
    [((1.02, 1.05), 0.05), ((1.05, 1.02), 0.05), ((0.93, 1.04), -0.07), ((1.04, 0.93), -0.07),
     ((0.98, 0.90), -0.10), ((0.90, 0.98), -0.10)],
)  # fmt: skip
def test_the_worse_of_two_halts_counts_to_whichever_side_it_lies(
    halts: tuple[float, float], due: float
) -> None:
    """Reference over map less one: a map that is too strong is as wrong as one too weak."""
    found = reference_transient.compare(found_map(), PATH, reading(halts), reading())
    assert found[1] == pytest.approx(due, rel=1e-9)


@pytest.mark.parametrize("onset_v", [22.8, 25.2])
def test_the_onset_of_the_reference_stands_over_that_of_the_map(onset_v: float) -> None:
    found = reference_transient.compare(found_map(), PATH, reading(onset_v=onset_v), reading())
    assert found[0] == pytest.approx(onset_v / 24.0 - 1.0)


@pytest.mark.parametrize("halts", [(1.0, 0.94), (0.96, 1.03), (1.06, 1.0)])
def test_two_ramps_differ_by_their_farthest_point_in_the_upper_half(halts: tuple[float, float]) -> None:
    found = reference_transient.compare(found_map(), PATH, reading(halts), reading())
    assert found[2] == pytest.approx(max(abs(one - 1.0) for one in halts))
    # what is weak is not held against each other: here the first halt, below half of the second
    weak = reading(amplitude_v=np.where(TIME < 0.55, 3.0, 8.0))
    other = reading(amplitude_v=np.where(TIME < 0.55, 3.9, 8.0))
    assert reference_transient.compare(found_map(), PATH, other, weak)[2] == pytest.approx(0.0, abs=1e-9)


def test_backlash_is_compared_where_both_have_one() -> None:
    pairs = ((1.4, 1.1, 0.3), (1.1, 1.4, -0.3), (None, 1.1, None), (1.4, None, None))
    for reference, envelope, due in pairs:
        got = reference_transient.compare(
            found_map(), PATH, reading(backlash_v=reference), reading(backlash_v=envelope)
        )[3]
        assert got == (None if due is None else pytest.approx(due))


# ---------------------------------------------------------------------------- where a ramp goes


@pytest.fixture(scope="module")
def linear() -> Control:
    build = changed_build(shipped_build("demo"), {"regeneration.law": "linear"})
    return regeneration_control(build, cards_for(build))


def test_a_ramp_through_a_smooth_onset_begins_below_it_and_goes_to_the_top(linear: Control) -> None:
    """From 3 % below onset at 40 %, slowly past it by a tenth, a halt at six tenths of the top amplitude
    (10 V at 90 %, so 6 V at 70 %), one at the top, and back.
    """
    path = reference_transient.plan_path(linear, found_map(), cycles=14_200.0)
    assert path.wiper == pytest.approx((0.388, 0.44, 0.7, 0.7, 0.9, 0.9, 0.388))
    assert path.duration == pytest.approx(14_200.0 / 7.1e6)
    assert path.gone_below_v == 0.0
    whole = path.duration
    # each halt is over before the next move begins
    assert path.rests == pytest.approx((path.time_s[3], path.time_s[5]))
    assert path.rests == pytest.approx((0.52 * whole, 0.8 * whole))
    assert (path.rising, path.turned) == pytest.approx((0.32 * whole, 0.8 * whole))
    assert list(path.time_s) == sorted(set(path.time_s))


def test_a_ramp_through_a_hard_onset_turns_back_below_where_it_lets_go(linear: Control) -> None:
    """It jumps from 40 % to 7 V and lets go at 35 % with 5 V: the ramp begins 3 % below that and ends 12 %
    below; the halt lies a little above the amplitude jumped to; gone is half of what it lets go with.
    """
    jump = filled(
        Jump, up=ControlSetting(0.4, 24.0), down=ControlSetting(0.35, 21.0), to_v=7.0, falls_from_v=5.0
    )
    path = reference_transient.plan_path(linear, found_map(jump=jump), cycles=14_200.0)
    halt = 0.4 + 1.05 * 7.0 / 20.0
    assert path.wiper == pytest.approx((0.97 * 0.35, 0.44, 0.9, 0.9, halt, halt, 0.88 * 0.35))
    assert path.gone_below_v == pytest.approx(2.5)
    assert path.rests == pytest.approx((path.time_s[3], path.time_s[5]))
    slow = reference_transient.slow_way_back(linear, found_map(jump=jump), path)
    # through the fold at four hundredths of the track a second
    assert slow.wiper[-2:] == pytest.approx((1.003 * 0.35, 0.96 * 0.35))
    rate = (slow.wiper[-2] - slow.wiper[-1]) / (slow.time_s[-1] - slow.time_s[-2])
    assert rate == pytest.approx(0.04)


def test_without_an_onset_or_a_map_there_is_no_ramp(linear: Control) -> None:
    for lacking in ({"onset": None}, {"amplitudes": None}):
        with pytest.raises(NoAnswer, match=r"^without an onset there is nothing to ramp through$"):
            reference_transient.plan_path(linear, found_map(**lacking), cycles=14_200.0)


def test_ramps_are_tried_longer_by_half_each_up_to_the_longest() -> None:
    tried = reference_transient.lengths()
    assert (tried[0], tried[-1]) == (12_000.0, 140_000.0)
    ratios = np.array(tried[1:]) / np.array(tried[:-1])
    assert ratios[:-1] == pytest.approx(1.5) and 1.0 < ratios[-1] <= 1.5


# ---------------------------------------------------------------------------- what is read off a ramp


def test_onset_and_disappearance_are_read_off_the_amplitude(linear: Control) -> None:
    """An amplitude whose rate of growth rises through nothing with the knob at 40 %: ln a = a parabola about
    that moment. On the way down it falls through 1.5 V with the knob at 35 %.
    """
    path = Path((0.0, 1.0, 1.2, 2.0), (0.3, 0.5, 0.5, 0.1), 1.5, (1.1, 1.2), 1.0)
    time = np.linspace(0.0, 2.0, 20_001)
    small = 1e-3 * np.exp(40.0 * (time - 0.5) ** 2)
    knob = np.interp(time, path.time_s, path.wiper)
    amplitude = np.where(time < 1.0, np.minimum(small, 6.0), np.where(knob > 0.35, 6.0, 0.1))
    screen = 60.0 * knob - 0.9  # lags behind
    read = reference_transient.read_ramp(
        linear, found_map(), path, time_s=time, amplitude=amplitude, screen=screen, seconds=2.5
    )
    # 2000 points of 2 s: a thousandth, of which the knob turns a fifth
    assert read.onset.rotation == pytest.approx(0.4, abs=1e-3)
    assert read.onset.screen_v == pytest.approx(60.0 * 0.4 - 0.9, abs=0.06)
    assert read.gone is not None and read.gone.rotation == pytest.approx(0.35, abs=1e-3)
    # volts at rest, which the map has, not those of the screen on its way down
    assert read.gone.screen_v == pytest.approx(60.0 * 0.35, abs=0.06)
    assert read.backlash_v == pytest.approx((60.0 * 0.4 - 0.9) - 60.0 * 0.35, abs=0.12)
    assert (read.gone_below_v, read.engine_seconds) == (1.5, 2.5)
    stays = replace(path, gone_below_v=0.05)
    held = reference_transient.read_ramp(
        linear, found_map(), stays, time_s=time, amplitude=amplitude, screen=screen, seconds=2.5
    )
    assert (held.gone, held.backlash_v) == (None, None)


@pytest.mark.parametrize(("name", "load"), [("demo", "inductance"), ("cabin", "inductance")])
def test_a_ramp_has_its_slow_parts_made_fast(name: str, load: str) -> None:
    """A hundredth of the plate load's inductance, by-passes of 3 nF or less; nothing else moves."""
    build = shipped_build(name)
    quick = reference_transient.quick_build(build)
    assert quick.regeneration.bypass == pytest.approx(3e-9)
    before, after = build.detector.load, quick.detector.load
    field = load if before.kind == "choke" else "primary_inductance"
    if before.kind in ("choke", "transformer"):
        assert getattr(after, field) == pytest.approx(0.01 * getattr(before, field))
    assert quick.detector.grid_leak == build.detector.grid_leak
    small = changed_build(build, {"regeneration.bypass": "1 nF"})
    assert reference_transient.quick_build(small).regeneration.bypass == pytest.approx(1e-9)
