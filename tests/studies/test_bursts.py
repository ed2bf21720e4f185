"""Squegging from rest: bursts held against every cycle of the carrier, and what they may cost."""

from __future__ import annotations

import functools
from pathlib import Path

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.api import _listen
from receiver_sim.api._found import first_found
from receiver_sim.circuit.views.envelope import FURTHEST_V
from receiver_sim.engine import Bench
from receiver_sim.failing_stages import Stages
from receiver_sim.measure import over_time
from receiver_sim.receiver import Receiver, Tuned
from receiver_sim.results.envelope import Steadiness
from receiver_sim.schema import Build, load_build
from receiver_sim.studies import listening
from receiver_sim.views import envelope_tables
from tests.helpers import cycles

HARD = Path(__file__).parents[1] / "hard_builds"


def hard(name: str) -> Build:
    return load_build(HARD / f"{name}.yaml")


def every_cycle(bench: Bench, build: Build, *, rotation: float, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Return times (s) and heights (V) of the carrier's peaks on the first band from 0.2 V in the tank."""
    band = build.bands[0]
    found = api.onset(build, bands=[band.name], modes=False, bench=bench).bands[0].oscillation
    tuned: Tuned = Receiver(build, bench).at(band, found.dial_hz)
    tuning = tuned.onset.tuning_farad
    assert tuning is not None
    return cycles.run(tuned, tuning=tuning, rotation=rotation, start_v=0.2, cycles=count)


def envelope_of(bench: Bench, build: Build, *, rotation: float, seconds: float) -> over_time.Course:
    receiver = Receiver(build, bench)
    found = first_found(receiver, None)
    known = found.oscillation.amplitudes
    assert known is not None
    return over_time.kicked(receiver, found.mode, rotation, float(known.frame_hz[0]), seconds, volts=0.2)


def pitch(time: np.ndarray, height: np.ndarray) -> float:
    middle = 0.5 * (height.max() + height.min())
    up = time[1:][(height[:-1] < middle) & (height[1:] >= middle)]
    return float((up.size - 1) / (up[-1] - up[0]))


def test_a_burst_is_as_high_as_by_every_cycle(bench):
    """From 0.2 V the swing of this set grows to 3.4 V within 90 cycles and quenches itself.

    3 %: the envelope leaves out what the harmonics of the cathode's current do on their way through the tap.
    """
    build = hard("bursts")
    _, heights = every_cycle(bench, build, rotation=0.05, count=300)
    course = envelope_of(bench, build, rotation=0.05, seconds=1e-4)
    assert heights.max() > 3.0
    assert course.amplitude.max() == pytest.approx(heights.max(), rel=0.03)


def test_squegging_above_hearing_is_that_of_every_cycle(bench):
    """Pitch within 10 %, height within 20 %: a burst grows within few cycles, for which no envelope is made.

    Small disturbances die away there, so the natural modes say nothing of it.
    """
    build = hard("squegs_above_hearing")
    band = build.bands[0]
    found = api.onset(build, bands=[band.name], bench=bench)
    assert not found.failed
    steady = found.bands[0].stability[0]
    seen = next(point for point in steady.points if point.motion_hz is not None)
    assert steady.kind is Steadiness.HOLDS_STILL and not seen.growing
    assert seen.motion_hz is not None and seen.motion_v is not None
    times, heights = every_cycle(bench, build, rotation=seen.setting.rotation, count=900)
    late = times > times[0] + 10e-6
    assert seen.motion_hz == pytest.approx(pitch(times[late], heights[late]), rel=0.1)
    assert seen.motion_v == pytest.approx(np.ptp(heights[late]), rel=0.2)
    sheet = envelope_tables.oscillation_sheet(found)
    text = " ".join(str(section) for section in sheet.sections)
    assert envelope_tables.NOT_FROM_REST in text and "a start from rest ends in squegging" in text


def test_a_short_step_finds_no_false_solution(bench):
    """Its bursts reach 61 V by every cycle; without a bound the swing came to 4e10 V, the phones to 4 kV.

    The envelope is rough here: 20 V a cycle are no envelope any more. It stays below where the bound is, and
    the sound is as loud as the supply of 240 V and the resistor at the plate allow.
    """
    build = hard("steep_bursts")
    sound = api.listen(build, signals=[], seconds=0.12, bench=bench)
    assert sound.highest_v is not None and 60.0 < sound.highest_v < FURTHEST_V
    assert any(f"bursts reach {sound.highest_v:.0f} V" in note for note in sound.notes)
    assert 1.0 < sound.peak_v < 120.0
    assert any("does not hold still" in note for note in sound.notes)


def test_a_sound_that_takes_too_long_is_ended_and_says_so(bench, monkeypatch):
    monkeypatch.setattr(listening, "MOST_STEPS", 300)
    monkeypatch.setattr(listening, "SQUEGGING_S", 0.5e-3)
    build = hard("squegs_above_hearing")
    sound = api.listen(build, signals=[], seconds=0.03, bench=bench)  # noise starts it
    there = sound.volts.size / sound.rate
    assert there == pytest.approx(listening.SQUEGGING_S)
    assert sound.asked_s == 0.03
    assert sound.steps is not None and sound.steps > 10 * sound.volts.size
    assert sound.path_s[-1] < listening.SQUEGGING_S
    last = sound.notes[-1]
    assert last.startswith("0.0005 s of the 0.03 s asked for")
    assert "60 times as long" in last and "--whole" in last
    assert any("from rest it squegs at" in note for note in sound.notes)


@pytest.mark.parametrize(("hertz", "stretch_s"), [(82e3, 0.005), (9.9e3, 0.02)])
def test_what_moves_fast_is_run_in_short_stretches(bench, demo, monkeypatch, hertz, stretch_s):
    """One of 82 kHz took ngspice more than a minute for 20 ms, the default limit of time."""
    found = first_found(Receiver(demo, bench), None)
    monkeypatch.setattr(_listen, "unrest_hz", lambda *_, **__: hertz)
    restless = _listen._moves_by_itself(found.tuned.receiver, found, [(0.0, 0.5)])
    assert restless.stretch_s == stretch_s
    assert f"at {hertz:.0f} Hz to begin with" in restless.note


@pytest.mark.long
def test_the_whole_of_it_is_computed_when_asked_for(bench, monkeypatch):
    monkeypatch.setattr(listening, "MOST_STEPS", 300)
    monkeypatch.setattr(listening, "SQUEGGING_S", 0.5e-3)
    build = hard("squegs_above_hearing")
    sound = api.listen(build, signals=[], seconds=0.0012, whole=True, bench=bench)
    assert sound.volts.size == round(0.0012 * sound.rate)
    assert (sound.asked_s, sound.steps) == (None, None)


def test_a_sound_of_the_page_that_was_ended_is_told(bench, demo, monkeypatch):
    """What the page plays has a beginning that is cut off: nothing of an ended sound may be left."""
    from receiver_sim.api import _page

    found = first_found(Receiver(demo, bench), demo.bands[0].name)
    monkeypatch.setattr(listening, "CHUNK_S", 0.05)
    monkeypatch.setattr(listening, "DENSE", 0.0)
    monkeypatch.setattr(listening, "run", functools.partial(listening.run, most_steps=0))
    stages = Stages()
    pieces = _page.pieces_of(found.tuned, found.oscillation, 0, stages, lambda _done, _total: None)
    assert pieces == ()
    assert stages.failed and all("--whole" in one.reason for one in stages.failed)
