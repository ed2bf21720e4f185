"""What the answers of the live page do in which order, and what ends them: no simulator.

Studies are stand-ins that note who asked; the bench does one thing after the other.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.api import _live, _page
from receiver_sim.circuit.signals import Signal
from receiver_sim.engine import EngineError
from receiver_sim.errors import NoAnswer, UnknownName
from receiver_sim.failing_stages import Stages
from receiver_sim.schema import Build
from tests.helpers.filling import filled


class InTurn:
    """A bench that does one thing after the other in this thread; sessions it has none."""

    def map(self, work: Callable[..., Any], items: Sequence[Any], told: Any = None) -> list[Any]:
        found = []
        for number, item in enumerate(items):
            found.append(work(self, item))
            if told is not None:
                told(number + 1, len(items))
        return found


BENCH: Any = InTurn()


def until(steps: int) -> Callable[[], bool]:
    """Return a `wanted` that says yes so many times, then no."""
    left = iter([True] * steps)
    return lambda: next(left, False)


def test_what_nobody_waits_for_is_no_fault_of_a_stage() -> None:
    """Told in the midst of a stage, it ends the verb: a stage marked as failed would be kept as an answer."""

    def nobody_waits() -> None:
        raise api.Superseded

    stages = Stages()
    with pytest.raises(api.Superseded):
        stages.run("how sure", nobody_waits)
    with pytest.raises(api.Superseded):
        stages.map(BENCH, lambda _b, _n: nobody_waits(), [("one", 1)])
    assert stages.failed == ()


# ---------------------------------------------------------------------------- deeper answers


@pytest.fixture
def steps(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """What was done, in order: a search of the envelope, a table, check, the sheet, the table of faults."""
    done: list[Any] = []

    def find(_: Any, *, band: Any) -> Any:
        done.append(("find", band.name))
        if band.name == "20 m":
            raise EngineError("no convergence")
        return SimpleNamespace(search=SimpleNamespace(tuning_farad=50e-12), oscillation=None)

    def check(_build: Any, *, bench: Any, progress: Any) -> str:
        assert bench is BENCH
        for number in (1, 2):
            progress("sets", number, 2)
            done.append(("set", number))
        return "checked"

    def sheet(_build: Any, *, bench: Any, progress: Any) -> str:
        assert bench is BENCH
        progress("bench sheet", 1, 6)
        done.append("sheet")
        return "a sheet"

    def fault_table(_build: Any, *, bench: Any, progress: Any) -> str:
        assert bench is BENCH
        progress(1, 3)
        done.append("faults")
        return "a table"

    monkeypatch.setattr(_live, "find", find)
    monkeypatch.setattr(_live, "turned", lambda _r, _s, _o: "table")
    monkeypatch.setattr(_live, "check", check)
    monkeypatch.setattr(_live, "sheet", sheet)
    monkeypatch.setattr(_live, "fault_table", fault_table)
    return done


def deeper(build: Build, wanted: Callable[[], bool] = lambda: True) -> tuple[list[Any], Any]:
    given: list[Any] = []
    failed = api.deeper(
        build, bench=BENCH, band_found=given.append, checked=given.append,
        wanted=wanted, progress=lambda *step: given.append(step),
    )  # fmt: skip
    return given, failed


def test_bands_come_first_then_what_check_finds(demo: Build, steps: list[Any]) -> None:
    """A band whose simulation fails is named, and the others are given all the same."""
    names = [band.name for band in demo.bands]
    assert "20 m" in names
    given, failed = deeper(demo)
    assert [one.stage for one in failed] == ["settings of 20 m"] and failed[0].reason == "no convergence"
    assert given.count("table") == len(names) - 1
    settings = [one for one in given if one[0] == "settings of the bands"]
    assert settings == [("settings of the bands", n + 1, len(names)) for n in range(len(names))]
    after = given[given.index(settings[-1]) + 1 :]
    assert after == [("check", 0, 1), ("sets", 1, 2), ("sets", 2, 2), "checked"]
    assert steps == [*(("find", name) for name in names), ("set", 1), ("set", 2)]


def test_a_band_without_a_tuned_place_has_no_table(
    demo: Build, steps: list[Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    nowhere = SimpleNamespace(search=SimpleNamespace(tuning_farad=None), oscillation=None)
    monkeypatch.setattr(_live, "find", lambda *_, **__: nowhere)
    given, failed = deeper(demo)
    assert "table" not in given and failed == () and given[-1] == "checked"


def test_deeper_answers_end_when_nobody_waits(demo: Build, steps: list[Any]) -> None:
    """Before a band is begun, between bands, and in the midst of `check`: nothing is given from then on."""
    bands = len(demo.bands)
    with pytest.raises(api.Superseded):
        deeper(demo, until(0))
    assert steps == []
    with pytest.raises(api.Superseded):
        deeper(demo, until(1))  # asked before the first band, and again after it
    assert steps == [("find", demo.bands[0].name)]
    steps.clear()
    # twice a band, once before `check`, once at its first step
    with pytest.raises(api.Superseded):
        deeper(demo, until(2 * bands + 2))
    assert steps[bands:] == [("set", 1)]


def test_for_the_bench_the_sheet_comes_first(demo: Build, steps: list[Any]) -> None:
    told: list[Any] = []
    found = api.for_the_bench(demo, bench=BENCH, progress=lambda *one: told.append(one))
    assert found == ("a sheet", "a table") and steps == ["sheet", "faults"]
    assert told == [("bench sheet", 1, 6), ("faults", 1, 3)]
    steps.clear()
    with pytest.raises(api.Superseded):
        api.for_the_bench(demo, bench=BENCH, wanted=until(1))
    assert steps == ["sheet"]


# ---------------------------------------------------------------------------- sounds


RATE = 16e3
LOUD_V, LEAD_V = 0.2, 2.0
"""Peak of the tone that is heard, and of what comes before it, which is left out."""
SPL_DB = 94.0
"""Of the whole run, as the study tells it."""


def run_of(seconds: float) -> Any:
    """Return what `listening.run` finds: 400 Hz, ten times as loud while the set settles."""
    time = np.arange(round(seconds * RATE)) / RATE
    peak = np.where(time < _page.LEAD_S, LEAD_V, LOUD_V)
    volts = peak * np.sin(2.0 * np.pi * 400.0 * time)
    rms = float(np.sqrt(np.mean(volts**2)))
    return SimpleNamespace(volts=volts, rate=RATE, rms_v=rms, level_db=SPL_DB, output="phones", asked_s=None,
                           steps=7, engine_seconds=3.0 * seconds)  # fmt: skip


@pytest.fixture
def listened(monkeypatch: pytest.MonkeyPatch, demo: Build) -> Iterator[list[Any]]:
    """The band of `found` as the studies ask for it: onset at 40 %; what was asked of `listening.run`."""
    asked: list[Any] = []
    mode = SimpleNamespace(aerial="a wire")

    def run(_receiver: Any, given: Any, *, seconds: float, **also: Any) -> Any:
        assert given is mode
        asked.append({"seconds": seconds, **also})
        return run_of(seconds)

    def noise(_tuned: Any, given: Any, **also: Any) -> Any:
        assert given is mode
        return SimpleNamespace(**also)

    monkeypatch.setattr(_page.listening, "run", run)
    monkeypatch.setattr(_page, "set_noise", noise)
    monkeypatch.setattr(_page, "mode_at", lambda _tuned, _found: mode)
    yield asked


def tuned_and_found(build: Build, onset: float | None = 0.4) -> tuple[Any, Any]:
    place = None if onset is None else SimpleNamespace(rotation=onset)
    found = SimpleNamespace(onset=place, amplitudes=SimpleNamespace(frame_hz=np.array([7.05e6, 7.04e6])))
    return SimpleNamespace(bench=BENCH, band=build.bands[1], receiver="receiver"), found


def test_a_piece_is_what_comes_after_the_set_has_settled(demo: Build, listened: list[Any]) -> None:
    """Half the rate; its level is that of the whole run less what the loud beginning lends it."""
    costs: list[float] = []
    pieces = _page.pieces_of(
        *tuned_and_found(demo), 1, Stages(), lambda *_: None, lambda _piece, cost: costs.append(cost)
    )
    assert [one.station for one in pieces] == ["carrier"] * 3 + ["code"] * 2 + ["tone"] * 3
    assert costs == pytest.approx([3.0] * 8)  # seconds of ngspice for one of sound
    whole = {piece.station: run_of(asked["seconds"]) for piece, asked in zip(pieces, listened, strict=True)}
    for piece, asked in zip(pieces, listened, strict=True):
        heard = asked["seconds"] - _page.LEAD_S
        assert piece.rate == RATE / 2.0 and piece.volts.size == round(heard * piece.rate)
        assert piece.carrier_v == 50e-6 and piece.output == "phones" and piece.band == demo.bands[1].name
        # 400 Hz lie far within the pass band; the ends of a piece lack half of what is averaged
        rms = LOUD_V / np.sqrt(2.0)
        assert np.sqrt(np.mean(piece.volts**2)) == pytest.approx(rms, rel=3e-3)
        of_one_volt = SPL_DB - 20.0 * np.log10(whole[piece.station].rms_v)
        assert piece.spl_of_volt_db == pytest.approx(of_one_volt, abs=1e-9)
        # what rms is off by 3e-3 is off by 0.026 dB
        assert piece.level_db == pytest.approx(of_one_volt + 20.0 * np.log10(rms), abs=0.03)


def test_where_the_knob_stands_and_what_is_asked_of_the_study(demo: Build, listened: list[Any]) -> None:
    pieces = _page.pieces_of(*tuned_and_found(demo), 1, Stages(), lambda *_: None)
    due = [0.985, 1.01, 1.06, 1.01, 1.2, 0.85, 0.93, 0.985]
    assert [one.rotation for one in pieces] == pytest.approx([0.4 * part for part in due])
    for piece, asked in zip(pieces, listened, strict=True):
        assert asked["path"] == [(0.0, piece.rotation)] and asked["noise"].rotation == piece.rotation
        assert asked["reference_hz"] == 7.05e6 and asked["place"] == asked["noise"].place == "residential"
        assert asked["output"] == asked["noise"].output == 1
        (signal,) = asked["signals"]
        assert isinstance(signal, Signal) and signal.level_v == piece.carrier_v
        assert (asked["dial"] is not None) == (piece.station == "carrier")
    # near the end of its travel a knob goes no further
    late = _page.pieces_of(*tuned_and_found(demo, 0.97), 1, Stages(), lambda *_: None)
    assert [one.rotation for one in late][2:5] == pytest.approx([1.0, 0.97 * 1.01, 1.0])


def test_a_set_without_aerial_or_onset_plays_nothing(
    demo: Build, listened: list[Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert _page.pieces_of(*tuned_and_found(demo, None), 0, Stages(), lambda *_: None) == ()
    monkeypatch.setattr(_page, "mode_at", lambda _tuned, _found: SimpleNamespace(aerial=None))
    assert _page.pieces_of(*tuned_and_found(demo), 0, Stages(), lambda *_: None) == ()
    assert listened == []


def test_a_piece_that_squegs_too_fast_is_named_and_the_others_play(
    demo: Build, listened: list[Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What it says: how far the run came in how many steps, and how to hear the whole."""

    def run(_receiver: Any, _mode: Any, *, seconds: float, path: Any, **_: Any) -> Any:
        one = run_of(seconds)
        if path[0][1] == pytest.approx(0.4 * 1.2):
            one.volts, one.asked_s = one.volts[: round(0.05 * RATE)], seconds
        return one

    monkeypatch.setattr(_page.listening, "run", run)
    stages = Stages()
    pieces = _page.pieces_of(*tuned_and_found(demo), 0, stages, lambda *_: None)
    assert len(pieces) == 7 and [one.station for one in pieces].count("code") == 1
    (failed,) = stages.failed
    assert failed.stage == "code at 120 % of onset"
    assert "7 time steps led to 0.05 s only" in failed.reason and "--whole" in failed.reason


def test_phones_of_no_known_sensitivity_have_no_level(
    demo: Build, listened: list[Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    def run(_receiver: Any, _mode: Any, *, seconds: float, **_: Any) -> Any:
        return SimpleNamespace(**{**run_of(seconds).__dict__, "level_db": None})

    monkeypatch.setattr(_page.listening, "run", run)
    for piece in _page.pieces_of(*tuned_and_found(demo), 0, Stages(), lambda *_: None):
        assert piece.level_db is None and piece.spl_of_volt_db is None and piece.volts.any()


def test_half_the_rate_keeps_what_lies_below_a_quarter_of_it_and_nothing_above() -> None:
    """Against closed forms: a tone well below stays as it is, one well above is gone (a Kaiser window of
    beta 5 stops by 50 dB: Kaiser's formula, as `scipy.signal.kaiser_atten` has it)."""
    time = np.arange(1600) / RATE
    inner = slice(20, -20)
    for hertz in (300.0, 1000.0, 2500.0):
        tone = np.cos(2.0 * np.pi * hertz * time)
        assert _page.halved(tone)[inner] == pytest.approx(tone[::2][inner], abs=4e-3)
    for hertz in (5500.0, 7000.0):
        assert np.abs(_page.halved(np.cos(2.0 * np.pi * hertz * time))[inner]).max() < 4e-3


@pytest.fixture
def sounding(demo: Build, listened: list[Any], monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    def find(receiver: Any, *, band: Any) -> Any:
        assert receiver.given is demo and band is demo.bands[1]
        tuned, found = tuned_and_found(demo)
        return SimpleNamespace(tuned=tuned, oscillation=found)

    monkeypatch.setattr(_live, "find", find)
    return listened


def sounds(build: Build, wanted: Callable[[], bool] = lambda: True) -> tuple[list[Any], list[Any], Any]:
    heard: list[Any] = []
    told: list[Any] = []
    failed = api.sounds(
        build, band=build.bands[1].name, bench=BENCH, heard=lambda piece, cost: heard.append((piece, cost)),
        wanted=wanted, progress=lambda *one: told.append(one),
    )  # fmt: skip
    return heard, told, failed


def test_sounds_of_a_band_come_one_by_one(demo: Build, sounding: list[Any]) -> None:
    heard, told, failed = sounds(demo)
    assert len(heard) == 8 and failed == ()
    assert {asked["output"] for asked in sounding} == {0}  # the first phones
    name = f"sound of {demo.bands[1].name}"
    assert told == [(name, 0, 1), *((name, n, 8) for n in range(1, 9))]


def test_sounds_end_when_nobody_waits(demo: Build, sounding: list[Any]) -> None:
    with pytest.raises(api.Superseded):
        sounds(demo, until(0))
    assert sounding == []
    with pytest.raises(api.Superseded):
        sounds(demo, until(3))  # before the search, after the first and after the second piece
    assert len(sounding) == 3


def test_a_band_that_cannot_be_searched_says_why_it_plays_nothing(
    demo: Build, sounding: list[Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    def find(*_: Any, **__: Any) -> Any:
        raise NoAnswer("no resonance within the dial")

    monkeypatch.setattr(_live, "find", find)
    heard, _, (failed,) = sounds(demo)
    assert heard == [] and failed.stage == f"sound of {demo.bands[1].name}"
    assert failed.reason == "no resonance within the dial"
    with pytest.raises(UnknownName):
        api.sounds(demo, band="nowhere", bench=BENCH, heard=lambda *_: None)


# ---------------------------------------------------------------------------- fast answers


class OneBand:
    """Stands in for a band's circuit, its search and its curve; `at_once` fails as often as asked."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, *, onset: float | None = 0.41) -> None:
        place = None if onset is None else SimpleNamespace(rotation=onset)
        self.found = filled(_live.Onset, onset=place, tuning_farad=50e-12)
        self.refuses: list[bool] = []
        self.asked: list[tuple[bool, list[float]]] = []
        self.loads = 0
        monkeypatch.setattr(_live.onset, "plan", lambda *_, **__: "circuit")
        monkeypatch.setattr(_live, "loaded", self.loaded)
        monkeypatch.setattr(_live.onset, "measured", lambda _on, **_: self.found)
        monkeypatch.setattr(_live.loop_gain, "measured", self.measured)

    def loaded(self, bench: Any, circuit: Any) -> Any:
        assert bench is BENCH and circuit == "circuit"
        self.loads += 1
        number = self.loads

        class On:
            def __enter__(self) -> str:
                return f"load {number}"

            def __exit__(self, *_: object) -> None:
                return None

        return On()

    def measured(self, on: Any, *, at_once: bool, rotations: Any, tuning: float, **_: Any) -> Any:
        assert tuning == self.found.tuning_farad and on == f"load {self.loads}"
        self.asked.append((at_once, list(rotations)))
        if at_once in self.refuses:
            raise EngineError("singular matrix")
        return f"curve of {on}", None


def test_a_fast_curve_has_its_onset_among_its_settings(demo: Build, monkeypatch: pytest.MonkeyPatch) -> None:
    one = OneBand(monkeypatch)
    found = api.quick(demo, bench=BENCH)
    assert len(found.bands) == len(demo.bands) == one.loads  # loaded once a band
    assert all(band.gain is not None and band.onset is one.found for band in found.bands)
    for at_once, rotations in one.asked:
        assert at_once
        assert rotations == pytest.approx(sorted([*(n / 20.0 for n in range(21)), 0.41]))
    one.found, one.asked = filled(_live.Onset, onset=None, tuning_farad=50e-12), []
    api.quick(demo, bench=BENCH)
    assert all(rotations == pytest.approx([n / 20.0 for n in range(21)]) for _, rotations in one.asked)


def test_a_curve_that_fails_at_once_is_gone_through_by_small_steps(
    demo: Build, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = OneBand(monkeypatch)
    one.refuses = [True]
    found = api.quick(demo, bench=BENCH)
    assert [at_once for at_once, _ in one.asked] == [True, False] * len(demo.bands)
    second = [f"curve of load {2 * n + 2}" for n in range(len(demo.bands))]
    assert [band.gain for band in found.bands] == second
    # if that fails too, the band says so, and keeps none of the figures
    one.refuses = [True, False]
    for band, stated in zip(api.quick(demo, bench=BENCH).bands, demo.bands, strict=True):
        assert band.gain is None and band.onset.band == stated.name and band.onset.onset is None
        assert band.onset.warnings == ("singular matrix",) and band.onset.dial_hz == stated.middle_hz


def test_a_band_that_was_not_tuned_has_no_curve(demo: Build, monkeypatch: pytest.MonkeyPatch) -> None:
    one = OneBand(monkeypatch)
    one.found = filled(_live.Onset, onset=None, tuning_farad=None)
    found = api.quick(demo, bench=BENCH)
    assert all(band.gain is None and band.onset is one.found for band in found.bands) and one.asked == []
