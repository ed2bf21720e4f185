"""What many sets come to, counted by hand; and where a plate can rest in two ways. Nothing is simulated."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from receiver_sim.api import _spread, _sure
from receiver_sim.builds import cards_for
from receiver_sim.measure import rest_states
from receiver_sim.results.base import Status
from receiver_sim.results.bias import OperatingPoint, RatingLine, TubePoint
from receiver_sim.results.onset import SCREEN, ControlSetting, Onset
from receiver_sim.results.spread import SetOnset
from receiver_sim.schema import Build, changed_build
from receiver_sim.studies import set_figures
from tests.helpers.filling import filled

NOBODY: Any = None


def test_strength_over_some_sets() -> None:
    """Of six sets five have an onset, four were run; of these one slides in."""
    short = _sure.amplitude.InShort
    looked = [
        (True, short(4.0, 1.5)), (True, short(2.5, 0.0)), (False, None), (True, None),
        (True, short(3.0, 0.5)), (True, short(6.0, 3.0)),
    ]  # fmt: skip
    found = _sure._strength("40 m", looked)
    assert (found.band, found.sets, found.found, found.soft) == ("40 m", 5, 4, 1)
    assert (found.top_low_v, found.top_high_v) == (2.5, 6.0)
    assert (found.backlash_low_deg, found.backlash_high_deg) == (0.0, 3.0)
    none = _sure._strength("20 m", [(True, None), (False, None)])
    assert (none.sets, none.found, none.top_low_v, none.backlash_high_deg) == (1, 0, None, None)


def point(*lines: RatingLine, **given: Any) -> OperatingPoint:
    return filled(OperatingPoint, ratings=list(lines), **given)


def test_ratings_that_not_all_sets_keep() -> None:
    """A part counts once a set, by its worst line; what every set keeps is not told."""

    def lines(watts: float, volts: float, other: float) -> tuple[RatingLine, ...]:
        return (
            RatingLine("audio 6C5", "plate dissipation", watts, 2.5, "W"),
            RatingLine("audio 6C5", "plate volts", volts, 300.0, "V"),
            RatingLine("detector 6SJ7", "screen volts", other, 125.0, "V"),
        )

    points = [
        point(*lines(*each)) for each in ((2.4, 290, 60), (2.6, 290, 60), (2.4, 301, 60), (2.5, 300, 125))
    ]
    (held,) = _sure._ratings(points)
    assert (held.subject, held.rule, held.held, held.of) == ("audio 6C5", "rating", 2, 4)


def test_ranges_of_meter_readings_gain_and_hum(demo: Any) -> None:
    """The first is the build as stated; of the rest the tenth and the ninetieth of a hundred."""
    stated = filled(OperatingPoint, volts={"plate supply": 180.0}, tubes=(filled(TubePoint, socket="audio"),))
    tube = stated.tubes[0]
    plates = [1e-3 * n for n in range(1, 12)]
    points = [stated] + [
        filled(
            OperatingPoint, volts={"plate supply": 170.0 + n},
            tubes=(filled(TubePoint, socket="audio", plate_a=a, screen_a=None),),
        )
        for n, a in enumerate(plates)
    ]  # fmt: skip
    figures = [
        filled(set_figures.SetFigures, gain=[float(n + 1)], hum_here_v=[1e-3 * n], hum_best_v=[1e-4 * n],
               hum_position=[0.01 * n], volts={}, circuit=NOBODY)
        for n in range(12)
    ]  # fmt: skip
    found = {one.name: one for one in _sure._ranges(demo, figures, points)}
    current = found["plate current of the audio tube"]
    assert (current.unit, current.stated) == ("A", tube.plate_a)
    assert (current.low, current.high) == pytest.approx((2e-3, 10e-3))
    assert "screen current of the audio tube" not in found
    supply = found["plate supply"]
    assert (supply.unit, supply.stated, supply.low, supply.high) == ("V", 180.0, 171.0, 179.0)
    name = demo.phones[0].name
    units = {
        f"gain to {name}": ("1", 1.0, 3.0, 11.0),
        f"hum pot at that null, {name}": ("1", 0.0, 0.02, 0.10),
    }
    units[f"heater hum at {name}"] = ("V", 0.0, 2e-3, 10e-3)
    units[f"heater hum left at the pot's null, {name}"] = ("V", 0.0, 2e-4, 10e-4)
    for words, (unit, *due) in units.items():
        one = found[words]
        assert one.unit == unit and [one.stated, one.low, one.high] == pytest.approx(due), words


def test_two_states_of_a_plate(monkeypatch: pytest.MonkeyPatch) -> None:
    """Turned up, the plate falls from 90 V to 30 V beyond 0.6; turned back it rises below 0.4.

    From 0.4 to 0.6 both are there, and at 0.6 they are these two.
    """

    def volts(_: Any, __: Any, way: np.ndarray) -> np.ndarray:
        up = way[0] < way[-1]
        edge = 0.601 if up else 0.399
        return np.where(way < edge, 90.0, 30.0)

    monkeypatch.setattr(rest_states, "_plate_volts", volts)
    found = rest_states._stretch(NOBODY, NOBODY, np.linspace(0.0, 1.0, 41))
    assert found is not None
    assert (found.low, found.high, found.upper_v, found.lower_v) == pytest.approx((0.4, 0.6, 90.0, 30.0))
    assert str(found).startswith(
        "from 40 to 60 % of the control the detector's plate can rest at two voltages"
    )
    assert "(at 60 % at 90 V or 30 V)" in str(found)
    monkeypatch.setattr(rest_states, "_plate_volts", lambda _, __, way: 90.0 - 10.0 * way)
    assert rest_states._stretch(NOBODY, NOBODY, np.linspace(0.0, 1.0, 41)) is None


def onset_of(demo: Build, **given: Any) -> Onset:
    band = demo.bands[1]
    plain = {
        "band": band.name, "dial_hz": band.middle_hz, "status": Status.OSCILLATES, "tuning_farad": 70e-12,
        "onset": ControlSetting(0.40, 24.0), "at_nine_tenths": ControlSetting(0.36, 21.0),
    }  # fmt: skip
    return filled(Onset, **{**plain, **given})


def test_where_the_search_in_the_sets_begins(demo: Build) -> None:
    """A tenth of loop gain over the travel from 0.9 to 1: here 0.04 of it, so 2.5 for the whole."""
    build = changed_build(demo, {"regeneration.law": "linear"})
    cards, band = cards_for(build), build.bands[1]
    start = _spread.start_of(build, cards, band, onset_of(build))
    assert (start.share, start.slope, start.tuning) == (pytest.approx(0.40), pytest.approx(2.5), 70e-12)
    assert _spread.start_of(build, cards, band, onset_of(build, at_nine_tenths=None)).share == pytest.approx(
        0.4
    )
    gone = onset_of(build, onset=None, status=Status.DOES_NOT)
    assert _spread.start_of(build, cards, band, gone).share is None


def test_a_set_is_judged_by_the_limits_of_its_build(demo: Build) -> None:
    """Onset at 40 % and 24 V with 12 degrees of approach, then each limit drawn so that one verdict falls."""
    band, sets = demo.bands[1], {"quantity": SCREEN, "unit": "V"}
    one = SetOnset(Status.OSCILLATES, 0.40, 24.0, 3.0, 12.0, band.middle_hz)
    rules = set(_spread.RULES)
    wide = {"verdicts.onset_rotation_min": "10 %", "verdicts.onset_rotation_max": "90 %",
            "verdicts.onset_screen_min": "5 V", "verdicts.onset_screen_max": "60 V",
            "verdicts.approach_min": "5 deg"}  # fmt: skip
    assert _spread.good_rules(one, band, changed_build(demo, wide), sets) >= rules
    for key, limit, lost in (
        ("onset_rotation_min", "41 %", "onset_rotation"), ("onset_rotation_max", "39 %", "onset_rotation"),
        ("onset_screen_min", "25 V", "onset_screen"), ("onset_screen_max", "23 V", "onset_screen"),
        ("approach_min", "13 deg", "approach_min"),
    ):  # fmt: skip
        build = changed_build(demo, {**wide, f"verdicts.{key}": limit})
        assert rules - _spread.good_rules(one, band, build, sets) == {lost}, key
    dead = SetOnset(Status.DOES_NOT, None, None, None, None, None)
    assert _spread.good_rules(dead, band, demo, sets) == set()
