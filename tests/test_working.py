"""The working setting: one policy for every verb, whatever the searches for an onset gave."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest

from receiver_sim import api, working
from receiver_sim.engine import Bench, EngineError
from receiver_sim.measure import onset
from receiver_sim.receiver import Receiver, Tuned
from receiver_sim.results.base import Status
from receiver_sim.results.onset import ControlSetting, Onset
from receiver_sim.schema import Build
from receiver_sim.studies import operating_point
from receiver_sim.views.audio_tables import supply_sheet
from receiver_sim.views.sheet import as_text
from tests.helpers.filling import filled

PLACE, NEAR = ControlSetting(0.47, 26.0), ControlSetting(0.38, 22.0)


def searched(build: Build, index: int, status: Status, **other: Any) -> Onset:
    found = status is Status.OSCILLATES
    given = {"onset": PLACE if found else None, "at_nine_tenths": NEAR if found else None, **other}
    band = build.bands[index]
    return filled(Onset, band=band.name, dial_hz=7.1e6, status=status, warnings=("no solution",), **given)


def test_the_first_band_with_an_onset_where_the_loop_gain_is_nine_tenths(demo: Build) -> None:
    asked = []

    def one_by_one() -> Iterator[Onset]:
        for index, status in enumerate(
            (Status.FAILED, Status.DOES_NOT, Status.OSCILLATES, Status.OSCILLATES)
        ):
            asked.append(index)
            yield searched(demo, index, status)

    setting = working.choose(demo, one_by_one())
    assert (setting.band.name, setting.rotation, setting.note) == (demo.bands[2].name, 0.38, None)
    assert asked == [0, 1, 2]


def test_a_setting_that_is_named_holds_whatever_was_found(demo: Build) -> None:
    found = searched(demo, 1, Status.OSCILLATES)
    assert working.choose(demo, [found], rotation=0.12).rotation == 0.12
    assert working.choose(demo, [found], rotation=0.0).rotation == 0.0


def test_the_meter_is_read_at_both_stops_and_the_working_setting(
    demo: Build, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At the dial that was searched; without a working setting at the two stops and the middle of a band."""
    asked: list[Any] = []

    def run(tuned: Tuned, *, settings: Any) -> tuple[()]:
        asked.append((tuned.band.name, tuned.dial_hz, settings))
        return ()

    monkeypatch.setattr(operating_point, "run", run)
    setting = working.choose(demo, [searched(demo, 2, Status.OSCILLATES)])
    bench: Any = None
    working._points(Receiver(demo, bench), setting)
    working._ends(Receiver(demo, bench))
    first = demo.bands[0]
    assert asked == [
        (demo.bands[2].name, 7.1e6, [("lowest", 0.0), ("working", 0.38), ("highest", 1.0)]),
        (first.name, pytest.approx(math.sqrt(first.from_ * first.to)), [("lowest", 0.0), ("highest", 1.0)]),
    ]


def test_an_onset_without_an_approach_is_the_setting_itself(demo: Build) -> None:
    found = searched(demo, 1, Status.OSCILLATES, at_nine_tenths=None)
    assert working.choose(demo, [found]).rotation == 0.47


def test_half_way_is_said(demo: Build) -> None:
    dead = [searched(demo, 3, Status.NOT_IN_RANGE), searched(demo, 1, Status.DOES_NOT)]
    setting = working.choose(demo, dead)
    assert (setting.band.name, setting.rotation) == (demo.bands[3].name, 0.5)
    assert setting.note == (
        "no band has an onset on the control; operating point, audio and hum are those with the control half "
        f"way, coil of {demo.bands[3].name}"
    )
    assert working.choose(demo, dead[1:]).note == (
        f"{demo.bands[1].name}: does not oscillate; operating point, audio and hum are those with the "
        f"control half way, coil of {demo.bands[1].name}"
    )


def test_a_failed_search_is_no_setting_but_a_named_one_is(demo: Build) -> None:
    those = [searched(demo, 0, Status.DOES_NOT), searched(demo, 2, Status.FAILED)]
    with pytest.raises(EngineError, match=rf"^{demo.bands[2].name} at 7\.1 MHz: no solution$"):
        working.choose(demo, those)
    setting = working.choose(demo, those, rotation=0.12)
    assert (setting.band.name, setting.rotation, setting.note) == (demo.bands[0].name, 0.12, None)


@pytest.fixture
def lost(monkeypatch: pytest.MonkeyPatch) -> None:
    """No search for an onset finds a solution."""

    def run(tuned: Tuned, **_also: Any) -> Onset:
        return onset.failed(tuned.band, tuned.dial_hz, "no solution")

    monkeypatch.setattr(onset, "run", run)


def test_check_and_the_single_verbs_agree_where_every_search_failed(
    bench: Bench, cabin: Build, lost: None
) -> None:
    """Guards against a page that reports audio and hum at a setting which the single verbs refuse."""
    report = api.check(cabin, bench=bench)
    assert (report.audio, report.hum, report.hum_paths, report.regulator) == (None, None, None, None)
    # the meter reads the same at the ends of the control whatever oscillates
    assert [(p.label, p.setting.rotation) for p in report.operating_points] == [
        ("lowest", 0.0), ("highest", 1.0)
    ]  # fmt: skip
    (failed,) = report.failed
    assert failed.stage == "working setting"
    for verb in (api.audio, api.hum_study, api.supply, api.audio_in_depth, api.hum_in_depth):
        with pytest.raises(EngineError) as error:
            verb(cabin, bench=bench)
        assert str(error.value) == failed.reason
    assert api.audio(cabin, rotation=0.3, bench=bench).setting.rotation == 0.3


def test_swap_takes_no_setting_for_a_candidate_whose_search_failed(
    bench: Bench, cabin: Build, lost: None
) -> None:
    (found,) = api.swap_tubes(cabin, tubes=[cabin.detector.tube], bench=bench).detectors
    assert found.failed == "no solution" and found.working is None and found.ratings == ()


def test_check_and_the_single_verbs_agree_where_no_band_oscillates(bench: Bench, cabin: Build) -> None:
    dead = api.changed_build(cabin, {"regeneration.top": "10 Mohm"})
    dead = dead.model_copy(update={"bands": dead.bands[:2]})
    report = api.check(dead, bench=bench)
    study = api.audio_in_depth(dead, bench=bench)
    assert report.audio is not None and study.response is not None
    assert report.audio.setting == study.response.setting and study.response.setting.rotation == 0.5
    note = next(text for text in report.warnings if "half way" in text)
    assert study.notes[0] == f"{note[0].upper()}{note[1:]}."
    supplied = api.supply_in_depth(dead, bench=bench)
    assert supplied.report.notes == (note,)
    assert f"{note[:30]}"[1:] in " ".join(as_text(supply_sheet("a set", supplied)).split())


def test_a_search_says_where_its_band_is_used(demo: Build) -> None:
    found = searched(demo, 0, Status.OSCILLATES)
    assert found.working_rotation == 0.38
    assert replace(found, at_nine_tenths=None).working_rotation == 0.47
    assert searched(demo, 0, Status.DOES_NOT).working_rotation == 0.5
    assert searched(demo, 0, Status.FAILED).working_rotation is None
