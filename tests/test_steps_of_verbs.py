"""What the functions behind the verbs do between their simulations, on results made up by hand."""

from __future__ import annotations

import dataclasses
import re
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.api import _coils, _found, _judged, _onset, _sheet, _supply
from receiver_sim.cli import common
from receiver_sim.data import folder
from receiver_sim.engine import EngineError
from receiver_sim.errors import UserError, WrongValue
from receiver_sim.failing_stages import Stages
from receiver_sim.results.bands import BandReport
from receiver_sim.results.base import Status
from receiver_sim.results.bias import OperatingPoint, RatingLine
from receiver_sim.results.coils import CoilRange
from receiver_sim.results.envelope import AmplitudeMap, BandOscillation, Oscillation, Stability, Steadiness
from receiver_sim.results.onset import ControlSetting, Onset
from receiver_sim.schema import Build
from receiver_sim.working import LookedAt
from tests.helpers.filling import filled

ANY: Any = None

# ---------------------------------------------------------------------------- bench sheet


@pytest.mark.parametrize(
    ("base", "said"),
    [
        ("octal (intermediate shell)", "from the key clockwise, seen from below"),
        ("loctal", "from the key clockwise, seen from below"),
        ("7-pin miniature", "from the gap clockwise, seen from below"),
        ("noval (9-pin miniature)", "from the gap clockwise, seen from below"),
        ("small 6-pin", "clockwise seen from below, beginning at the left of the two thick heater pins"),
        ("rimlock", "seen from below"),
    ],
)
def test_pins_are_counted_from_below(base: str, said: str) -> None:
    """As whoever wires sockets sees them (common practice, no source); from above all is mirrored."""
    assert _sheet._counting(base) == said


def test_the_usual_bases_of_the_cards_say_where_counting_begins() -> None:
    """Only a base that the table does not know says no more than from where it is seen."""
    texts = [path.read_text(encoding="utf-8") for path in folder("models").glob("*.yaml")]
    bases = {re.search(r"^base: *(.+)$", text, re.MULTILINE)[1] for text in texts}  # type: ignore[index]
    usual = [base for base in bases if re.search(r"octal|loctal|miniature|pin", base)]
    assert len(usual) > 5
    for base in usual:
        assert re.search("key|gap|left of the two thick", _sheet._counting(base)), base


def test_an_onset_to_check_is_told_in_degrees_of_the_knob() -> None:
    """0.37 of 270 degrees; without an onset its status alone."""
    control: Any = SimpleNamespace(degrees=270.0, sets={"quantity": "screen voltage", "unit": "V"})
    found = filled(
        Onset, band="40 m", dial_hz=7.1e6, status=Status.OSCILLATES, onset=ControlSetting(0.37, 27.4)
    )
    seen = _sheet._to_check(found, control)
    assert (seen.band, seen.dial_hz, seen.status) == ("40 m", 7.1e6, Status.OSCILLATES.value)
    assert (seen.rotation, seen.degrees_deg, seen.figure) == (0.37, pytest.approx(99.9), 27.4)
    assert (seen.quantity, seen.unit) == ("screen voltage", "V")
    none = _sheet._to_check(dataclasses.replace(found, onset=None, status=Status.DOES_NOT), control)
    assert (none.rotation, none.degrees_deg, none.figure) == (None, None, None)
    assert none.status == Status.DOES_NOT.value


def test_drift_falls_with_what_warms_up() -> None:
    """More inductance or capacitance tunes lower, by half of its share: of 7 MHz at 100 pF 1 pF of the tube's
    takes 35 kHz; 10 K take 1.4 kHz by 20 ppm each of coil and capacitor, 4.9 kHz by 80 and 60."""
    one = filled(CoilRange, band="40 m", middle_hz=7e6, total_farad=100e-12)
    seen = _sheet._drift(one)
    assert (seen.band, seen.dial_hz, seen.rise_k) == ("40 m", 7e6, 10.0)
    assert (seen.tube_hz, seen.lowest_hz, seen.highest_hz) == pytest.approx((-35e3, -4900.0, -1400.0))


# ---------------------------------------------------------------------------- coils


def test_coils_say_what_the_input_loading_rests_on(demo: Build) -> None:
    """0.3 uS per MHz are 0.3e-12 S/Hz, 0.05 uS per MHz squared 0.05e-18 S/Hz^2."""
    cards = api.cards_for(demo)
    loading = SimpleNamespace(kc=0.3e-12, kh=0.05e-18, source="a chart", flag="memory-low")
    detector: Any = SimpleNamespace(type="6SJ7", input_loading=loading)
    assert _coils._loading(dataclasses.replace(cards, detector=detector)) == (
        "input loading of the 6SJ7: 0.3 uS per MHz and 0.05 uS per MHz squared; a chart (memory-low); the "
        "figures towards 28 MHz rest on it"
    )


def onset_at(rotation: float | None) -> Onset:
    return filled(Onset, onset=None if rotation is None else ControlSetting(rotation, 30.0))


def test_sweeps_share_the_middle_one_of_the_onsets() -> None:
    """Of three that of the middle, of two half way between, without any the middle of the travel."""
    assert _coils._common([onset_at(0.7), onset_at(0.3), onset_at(None), onset_at(0.4)]) == 0.4
    assert _coils._common([onset_at(0.7), onset_at(0.3)]) == pytest.approx(0.5)
    assert _coils._common([onset_at(0.9), onset_at(0.3), onset_at(0.1), onset_at(0.2)]) == pytest.approx(0.25)
    assert _coils._common([onset_at(None)]) == 0.5
    assert (_coils.ERA, _coils.REGION) == (2020, 1)


# ---------------------------------------------------------------------------- the first band that oscillates


def test_resistance_in_the_screen_comes_on_top_of_what_is_there(demo: Build) -> None:
    control = demo.regeneration.model_copy(update={"stopper": 4.7e3})
    build = demo.model_copy(update={"regeneration": control})
    more = _found.with_screen_resistance(build, 33e3)
    assert more.regeneration.stopper == pytest.approx(37.7e3)
    assert more.model_copy(update={"regeneration": control}) == build
    with pytest.raises(WrongValue) as refused:
        _found.with_screen_resistance(api.shipped_build("throttle"), 33e3)
    assert str(refused.value) == "the control of this set does not feed a screen: no resistance goes there"


def oscillation(band: str, status: Status, *warnings: str) -> Oscillation:
    there = ControlSetting(0.4, 30.0) if status is Status.OSCILLATES else None
    return filled(Oscillation, band=band, status=status, onset=there, warnings=warnings)


def asked(monkeypatch: pytest.MonkeyPatch, *states: Status) -> tuple[Any, list[str]]:
    """Let each band of a set have a state; return a receiver of it and the bands that were looked at."""
    seen: list[str] = []
    bands = [SimpleNamespace(name=f"band {number}") for number in range(len(states))]

    def find(_receiver: Any, *, band: Any) -> Any:
        seen.append(band.name)
        state = states[bands.index(band)]
        return SimpleNamespace(oscillation=oscillation(band.name, state, "no end", "in sight"))

    monkeypatch.setattr(_found, "find", find)
    return SimpleNamespace(build=SimpleNamespace(bands=tuple(bands))), seen


def test_the_first_band_with_an_onset_is_taken_and_no_other_looked_at(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    receiver, seen = asked(monkeypatch, Status.DOES_NOT, Status.FAILED, Status.OSCILLATES, Status.OSCILLATES)
    assert _found.first_found(receiver, None).oscillation.band == "band 2"
    assert seen == ["band 0", "band 1", "band 2"]


def test_without_an_onset_the_first_band_is_taken_unless_a_simulation_failed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    receiver, _ = asked(monkeypatch, Status.DOES_NOT, Status.NOT_IN_RANGE)
    assert _found.first_found(receiver, None).oscillation.band == "band 0"
    receiver, _ = asked(monkeypatch, Status.DOES_NOT, Status.FAILED)
    with pytest.raises(EngineError) as refused:
        _found.first_found(receiver, None)
    assert str(refused.value) == f"band 1: {Status.FAILED.value}: no end; in sight"
    assert _found.no_onset(oscillation("40 m", Status.DOES_NOT)) == f"40 m: {Status.DOES_NOT.value}"


# ---------------------------------------------------------------------------- remedies


def steady(what: str, unstable: bool) -> Stability:
    kind = Steadiness.HOWL if unstable else Steadiness.HOLDS_STILL
    return filled(Stability, what=what, unstable=unstable, kind=kind)


@pytest.mark.parametrize(
    ("works", "tried"),
    [("second", ["first", "second"]), ("first", ["first"]), ("none", ["first", "second", "third"])],
)
def test_remedies_are_tried_until_one_works(
    monkeypatch: pytest.MonkeyPatch, works: str, tried: list[str]
) -> None:
    found: Any = SimpleNamespace(
        oscillation=filled(Oscillation), band=SimpleNamespace(name="40 m"), build="the set"
    )
    asked_for: list[Any] = []

    def remedies(build: Any, kind: Steadiness) -> list[tuple[str, str]]:
        asked_for.append((build, kind))
        return [(what, f"changed {what}") for what in ("first", "second", "third")]

    monkeypatch.setattr(_onset, "_modes", lambda _found, *, what, seconds: steady(what, unstable=True))
    monkeypatch.setattr(_onset.stability, "remedies", remedies)
    monkeypatch.setattr(
        _onset, "_remedy", lambda _found, _first, what, _changed: steady(what, unstable=what != works)
    )
    stages = Stages()
    assert [one.what for one in _onset._steadiness(found, stages)] == ["as built", *tried]
    assert asked_for == [("the set", Steadiness.HOWL)] and stages.failed == ()


def test_a_remedy_that_can_not_be_simulated_is_passed_over_and_told(monkeypatch: pytest.MonkeyPatch) -> None:
    found: Any = SimpleNamespace(
        oscillation=filled(Oscillation), band=SimpleNamespace(name="40 m"), build="the set"
    )

    def remedy(_found: Any, _first: Any, what: str, _changed: Any) -> Stability | None:
        if what == "first":
            raise EngineError("no convergence")
        return None if what == "second" else steady(what, unstable=False)

    monkeypatch.setattr(_onset, "_modes", lambda _found, *, what, seconds: steady(what, unstable=True))
    monkeypatch.setattr(
        _onset.stability, "remedies", lambda *_: [(what, what) for what in ("first", "second", "third")]
    )
    monkeypatch.setattr(_onset, "_remedy", remedy)
    stages = Stages()
    assert [one.what for one in _onset._steadiness(found, stages)] == ["as built", "third"]
    assert [(one.stage, one.reason) for one in stages.failed] == [("first on 40 m", "no convergence")]


def test_a_set_that_holds_still_needs_no_remedy_and_a_silent_one_no_look(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(_onset, "_modes", lambda _found, *, what, seconds: steady(what, unstable=False))
    monkeypatch.setattr(_onset.stability, "remedies", lambda *_: pytest.fail("none is wanted"))
    found: Any = SimpleNamespace(
        oscillation=filled(Oscillation), band=SimpleNamespace(name="40 m"), build=ANY
    )
    assert [one.what for one in _onset._steadiness(found, Stages())] == ["as built"]
    silent: Any = SimpleNamespace(oscillation=filled(Oscillation, amplitudes=None), band=found.band)
    assert _onset._steadiness(silent, Stages()) == ()


def test_screen_volts_below_print_are_told_by_the_lowest_of_all_bands(demo: Build) -> None:
    """Half of the volts at which the card's points begin, on the second band, are extrapolated."""
    cards = api.cards_for(demo)
    assert cards.detector.fit is not None and cards.detector.fit.range.screen is not None
    least = cards.detector.fit.range.screen[0]

    def band(*volts: float) -> BandOscillation:
        map_ = filled(AmplitudeMap, screen_v=np.array(volts))
        return filled(BandOscillation, oscillation=filled(Oscillation, amplitudes=map_))

    above, below = band(1.1 * least, 1.2 * least), band(1.2 * least, 0.5 * least)
    assert _onset._extrapolated(cards, [above]) == ()
    (text,) = _onset._extrapolated(cards, [above, below])
    assert " screen " in text


# ---------------------------------------------------------------------------- check


def test_ratings_are_judged_at_both_stops_and_between(demo: Build) -> None:
    """The screen draws most fully up: what is exceeded there alone is bad."""

    def point(label: str, watts: float) -> OperatingPoint:
        line = RatingLine("detector 6SJ7", "screen dissipation", watts, 0.7, "W")
        return filled(OperatingPoint, label=label, tubes=(), ratings=(line,))

    cards = api.cards_for(demo)
    for where in range(3):
        points = tuple(
            point(label, 0.9 if number == where else 0.3)
            for number, label in enumerate(("lowest", "working", "highest"))
        )
        there = LookedAt(demo.bands[0], None, points)
        found = _judged.judged_of(Stages(), demo, demo, cards, (), (), there, ())
        rated = [one for one in found if one.rule == "rating"]
        assert [one.grade.value for one in rated].count("bad") == 1, where


def test_strength_is_asked_of_every_band_whose_search_did_not_fail(demo: Build) -> None:
    """At the middle of its dial."""
    asked_at: list[Any] = []

    class Receiver:
        build = demo

        def at(self, band: Any, *, search: Onset) -> str:
            asked_at.append((band.name, search.dial_hz))
            return "tuned"

    def report(band: str, status: Status) -> BandReport:
        onsets = tuple(filled(Onset, status=status, dial_hz=hz) for hz in (1.0, 2.0, 3.0))
        return filled(BandReport, band=band, onsets=onsets)

    names = [band.name for band in demo.bands[:3]]
    states = (Status.DOES_NOT, Status.FAILED, Status.OSCILLATES)
    reports = [report(name, state) for name, state in zip(names, states, strict=True)]
    receiver: Any = Receiver()
    jobs = _judged.strength_jobs(receiver, reports, loud_on=None)
    assert [job.stage for job in jobs] == [f"how oscillation comes in on {n}" for n in (names[0], names[2])]
    assert asked_at == [(names[0], 2.0), (names[2], 2.0)]


# ---------------------------------------------------------------------------- batteries


@pytest.mark.parametrize(
    ("capacity", "load", "hours"), [(3600.0, 2e-3, 500.0), (None, 2e-3, None), (3600.0, 0.0, None)]
)
def test_a_battery_lasts_its_charge_over_its_current(
    monkeypatch: pytest.MonkeyPatch, capacity: float | None, load: float, hours: float | None
) -> None:
    """1 Ah at 2 mA: 500 h; onset is looked for at the share that is left of the fresh volts, 63 of 90."""
    asked_at: list[float] = []
    monkeypatch.setattr(_supply.onset, "run", lambda _tuned, *, mains: asked_at.append(mains))
    supply = SimpleNamespace(kind="battery", volts=90.0, end_volts=63.0, capacity=capacity)
    tuned: Any = SimpleNamespace(build=SimpleNamespace(supply=supply))
    found = _supply._battery(tuned, 88.0, load)
    assert found is not None and asked_at == [pytest.approx(0.7)]
    assert (found.load_a, found.loaded_v, found.end_v) == (load, 88.0, 63.0)
    assert found.hours == (None if hours is None else pytest.approx(hours))
    supply.kind = "dc"
    assert _supply._battery(tuned, 88.0, load) is None


# ---------------------------------------------------------------------------- options


OPTIONS = {
    "rotation": (
        common.rotation_of,
        "--at '101%': expected a setting of the control from 0% to 100%, such as 45%; ",
    ),
    "frequency": (
        common.frequency_of,
        "--dial '9kHz': expected a frequency from 10kHz to 300MHz, such as 7.05MHz; ",
    ),
    "seconds": (
        common.seconds_of,
        "--time-limit '0.9us': expected a time from 1us to 1000min, such as 90s; ",
    ),
}


@pytest.mark.parametrize(
    ("what", "good", "bad"),
    [("rotation", {"0%": 0.0, "100 %": 1.0, "37.5%": 0.375}, ("101%", "45", "-1%")),
     ("frequency", {"10kHz": 1e4, "300MHz": 3e8, "7.05 MHz": 7.05e6}, ("9kHz", "301MHz", "7.05")),
     ("seconds", {"1us": 1e-6, "1000min": 6e4, "2 min": 120.0}, ("0.9us", "1001min", "90"))],
)  # fmt: skip
def test_options_take_what_their_words_say_and_no_more(
    what: str, good: dict[str, float], bad: tuple[str, ...]
) -> None:
    read, words = OPTIONS[what]
    for text, value in good.items():
        assert read(text) == pytest.approx(value, abs=1e-12), text
    for text in bad:
        with pytest.raises(UserError) as refused:
            read(text)
        assert words.split(": ")[1] in str(refused.value), text
    with pytest.raises(UserError) as refused:
        read(bad[0])
    assert str(refused.value).startswith(words)
