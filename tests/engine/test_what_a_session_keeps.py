"""What goes along where a circuit is loaded anew, what a session remembers, what it says of a failure."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from receiver_sim.engine import Bench, Deck, EngineError, EngineMissing, Rung, library, process
from receiver_sim.engine.errors import DeckRefused, EngineFailed, EngineLost, EngineTimeout, NoSolution
from receiver_sim.engine.messages import Kind, Message, read, summary
from receiver_sim.engine.process import WorkerProcess
from receiver_sim.engine.protocol import Plot, Run
from receiver_sim.engine.rungs import (
    Way,
    begun_at,
    carried_by_shunts,
    has_shunts,
    no_solution,
    own_rung,
    shunted,
    widened,
)
from receiver_sim.engine.starts import Starts, chosen

# A steep exponential behind a resistor, which Newton's method does not solve at 100 V within its iterations,
# and beside it a source over time on a resistor of its own.
BESIDE = """.options {options}
V1 a 0 dc 100
R1 a b 1k
B1 b 0 I=1e-9*(exp(min(20*V(b),200))-1)
V2 c 0 dc 0 sin(0 0 1k)
R2 c 0 1k
R3 d 0 2k
I3 0 d dc 0
"""
GMIN = "reltol=1e-6 itl1=10"
"""Ten iterations are too few, so that ngspice steps conductances."""
BARE = "reltol=1e-6 itl1=10 gminsteps=0 srcsteps=0 itl4=1"
"""It has no way of its own."""
TONE = (0.0, 0.7, 2e3)


def sine(run: object) -> None:
    """Hold that the tone is there, 0.7 V at 2 kHz, and what was altered besides, 3 mA in 2 kohm."""
    time, volts = run["time"], run["c"]  # type: ignore[index]
    assert np.max(volts) > 0.6
    # a source is worth its function at each step; times are printed to some 1e-9 of a turn
    assert volts == pytest.approx(0.7 * np.sin(2.0 * math.pi * 2e3 * time), abs=1e-6)
    assert run["d"] == pytest.approx(6.0, abs=1e-6)  # type: ignore[index]


@pytest.mark.parametrize("way", ["astray", "following", "small steps"])
def test_a_signal_goes_along_where_a_circuit_is_loaded_anew(bench: Bench, way: str) -> None:
    """By the point of its settings, by the nearest solution, and in small steps from what is easy."""
    options, easy = (BARE, {"v1": (1.0, 100.0)}) if way == "small steps" else (GMIN, None)
    with bench.session(Deck("beside", BESIDE.format(options=options)), easy=easy) as session:
        if way != "small steps":
            assert session.op().rung is Rung.GMIN
        if way == "following":
            session.follow()
        session.alter("v2", TONE, "sin")
        session.alter("i3", 3e-3)
        run = session.tran(1e-5, 1e-3, 0.0, 1e-5, vectors=["c", "d"])
    sine(run)
    assert (run.rung is Rung.SMALL_STEPS) is (way == "small steps")


# ---------------------------------------------------------------------------- solutions remembered


def test_a_session_remembers_the_latest_solutions_and_forgets_the_first() -> None:
    """A circuit that is followed in small steps begins from the last of them: 24 are kept, no more."""
    starts = Starts()
    for number in range(1, 31):
        data = np.array([float(number)]).tobytes()
        starts.keep({("vknob", "dc"): float(number)}, Plot("", (("out", False, data),)))

    def at(knob: float) -> float:
        plot, _ = starts.nearest({("vknob", "dc"): knob})
        assert plot is not None
        return float(np.frombuffer(plot.vectors[0][2])[0])

    assert [at(30.0), at(29.1), at(7.2), at(1.0)] == [30.0, 29.0, 7.0, 7.0]


def test_of_equally_near_solutions_the_latest_counts_and_a_c_does_not() -> None:
    starts = Starts()
    for number, ac in ((1.0, 0.0), (2.0, 1.0)):
        settings = {("v1", "dc"): 5.0, ("v1", "acmag"): ac}
        starts.keep(settings, Plot("", (("out", False, np.array([number]).tobytes()),)))
    plot, same = starts.nearest({("v1", "dc"): 5.0, ("v1", "acmag"): 0.0})
    assert plot is not None and same and np.frombuffer(plot.vectors[0][2])[0] == 2.0
    # a setting that one of the two lacks is a whole difference
    assert starts.nearest({("v1", "dc"): 5.0, ("r1", None): 1e3})[1] is False


def test_a_point_is_kept_with_its_own_volts_without_the_scale() -> None:
    starts = Starts()
    sweep = np.array([1.0, 2.0, 3.0]).tobytes()
    volts = np.array([7.0, 8.0, 9.0]).tobytes()
    starts.keep({}, Plot("v-sweep", (("v-sweep", False, sweep), ("b", False, volts))), -1)
    plot, _ = starts.nearest({})
    assert plot is not None and [(n, np.frombuffer(d).tolist()) for n, _, d in plot.vectors] == [("b", [9.0])]


def test_vectors_that_were_asked_for_come_in_their_order_behind_the_scale() -> None:
    one = np.array([1.0]).tobytes()
    plot = Plot("time", tuple((name, False, one) for name in ("a", "time", "b", "c")))
    found, absent = chosen(plot, Run((), "tran", "tran", ("c", "a")))
    assert found is not None and [name for name, _, _ in found.vectors] == ["time", "c", "a"] and absent == []
    assert chosen(plot, Run((), "tran", "tran", ("c", "x", "y"))) == (None, ["x", "y"])
    assert chosen(plot, Run((), "tran", "tran", None)) == (plot, [])


# ---------------------------------------------------------------------------- rungs


def said(*lines: str) -> list[Message]:
    return [Message("stderr", line, Kind.NOTE) for line in lines]


def test_the_highest_of_ngspices_rungs_that_its_lines_tell_of_counts() -> None:
    """Lines of ngspice 39; gmin stepping comes first and failed where sources were stepped."""
    assert own_rung(said("Doing analysis at TEMP = 27.000000")) is Rung.NEWTON
    assert own_rung(said("Note: Dynamic gmin stepping completed")) is Rung.GMIN
    assert own_rung(said("Note: True gmin stepping completed")) is Rung.GMIN
    both = said("Warning: Dynamic gmin stepping failed", "Note: Source stepping completed")
    assert own_rung(both) is Rung.SOURCES
    assert list(Rung) == [Rung.NEWTON, Rung.GMIN, Rung.SOURCES, Rung.SMALL_STEPS, Rung.SHUNTED, Rung.WIDER]


@pytest.mark.parametrize(
    "reason",
    ["Warning: singular matrix:  check node b", "Timestep too small", "no convergence",
     "iteration limit reached",
     "Error: -6.9e-30 out of range for sqrt", "source stepping failed", "operating point failed",
     "v(a) is not finite", "the op analysis gave no result", "the plot holds no data"],
)  # fmt: skip
def test_each_way_of_saying_no_solution_is_climbed_for(reason: str) -> None:
    assert no_solution(reason)


def test_tolerances_that_a_deck_does_not_state_are_widened_from_ngspices_own() -> None:
    """1e-3, 1 pA and 1 uV (its manual), each ten times."""
    plain = widened(Deck("plain", "V1 a 0 1\nR1 a 0 1k\n")).text.splitlines()[0]
    assert dict(word.split("=") for word in plain.split()[1:]) == {
        "reltol": "0.01", "abstol": "1e-11", "vntol": "1e-05",
    }  # fmt: skip


@pytest.mark.parametrize(("volts", "carried"), [(0.99e8, False), (1.01e8, True), (-1.01e8, True)])
def test_a_tenth_of_a_milliampere_through_a_tera_ohm_is_no_solution(volts: float, carried: bool) -> None:
    deck = shunted(Deck("shunts", "V1 a 0 1\nR1 a 0 1k\n"))
    assert has_shunts(deck) and "rshunt=1e+12" in deck.text
    point = Plot("", (("a", False, np.array([1.0, volts]).tobytes()),
                      ("v1#branch", False, np.array([1e9]).tobytes())))  # fmt: skip
    assert carried_by_shunts(point) is carried


def test_a_way_across_zero_goes_by_difference_and_begins_where_it_is() -> None:
    way = Way({("v1", "dc"): 0.0, ("r1", None): 4.0}, {("v1", "dc"): 8.0, ("r1", None): 9.0})
    assert way.at(0.25)[("v1", "dc")] == pytest.approx(2.0)
    assert way.at(0.5)[("r1", None)] == pytest.approx(6.0)
    assert way.at(0.0) == pytest.approx({("v1", "dc"): 0.0, ("r1", None): 4.0})


def test_starting_values_take_the_place_of_those_of_the_deck_and_hold_every_node() -> None:
    """Nine nodes need two lines; currents of branches are none."""
    deck = Deck("start", ".nodeset v(n1)=3\nV1 n1 0 1\n" + "".join(f"R{i} n{i} 0 1k\n" for i in range(1, 10)))
    point = Plot("", (*((f"n{i}", False, np.array([i / 8.0]).tobytes()) for i in range(1, 10)),
                      ("v1#branch", False, np.array([5.0]).tobytes())))  # fmt: skip
    lines = [line for line in begun_at(deck, point).text.splitlines() if line.startswith(".nodeset")]
    assert " ".join(lines).replace(".nodeset ", "").split() == [f"v(n{i})={i / 8.0:g}" for i in range(1, 10)]


# ---------------------------------------------------------------------------- words on a failure


def test_an_error_on_a_line_comes_with_both_lines_that_explain_it() -> None:
    """The line itself, then what is wrong with it, neither of which need be an error by its words."""
    lines = ["stderr Error on line 4 or its substitute:", "stderr r1 a 0 2k", "stderr number expected here",
             "stderr Doing something else"]  # fmt: skip
    assert summary(read(lines)) == "Error on line 4 or its substitute:; r1 a 0 2k; number expected here"


def test_of_many_failures_the_first_four_and_the_last_are_told() -> None:
    lines = [f"stderr Error: cause {number}" for number in range(1, 8)]
    assert summary(read(lines)) == (
        "Error: cause 1; Error: cause 2; Error: cause 3; Error: cause 4; Error: cause 7"
    )
    assert summary(read(lines[:5])).count(";") == 4


DECK = Path("failed") / "a.cir"


def test_errors_say_where_the_deck_is_or_why_there_is_none() -> None:
    assert str(EngineFailed("no convergence", DECK)) == (
        f"simulation failed: no convergence; the deck is kept in {DECK}"
    )
    assert str(EngineLost("it is gone", None, "No space left on device")) == (
        "simulation failed: it is gone; its deck could not be kept: No space left on device"
    )
    assert str(EngineTimeout(1.5, "op", DECK)) == (
        f"'op' took longer than the limit of 1.5 s and was stopped; the deck is kept in {DECK}"
    )
    assert str(EngineFailed("broken off")) == "simulation failed: broken off"
    assert (EngineTimeout(1.5, "op", DECK).limit_s, EngineLost("x", DECK).deck_path) == (1.5, DECK)
    # a lost worker says nothing of the circuit
    assert issubclass(EngineFailed, NoSolution) and issubclass(EngineTimeout, NoSolution)
    assert not any(issubclass(kind, NoSolution) for kind in (EngineLost, EngineMissing, DeckRefused))


def test_a_refused_line_is_shown_in_part_if_it_is_long() -> None:
    assert str(DeckRefused("no", 3, "R1 a 0 1")) == "deck refused: line 3 ('R1 a 0 1'): no"
    assert str(DeckRefused("no", 0, "a title")) == "deck refused: title ('a title'): no"
    assert str(DeckRefused("no")) == "deck refused: deck: no"
    assert str(DeckRefused("no", 3, 120 * "x")) == f"deck refused: line 3 ('{120 * 'x'}'): no"
    assert str(DeckRefused("no", 3, 121 * "x")) == f"deck refused: line 3 ('{117 * 'x'}...'): no"


# ---------------------------------------------------------------------------- versions and limits


def test_the_oldest_ngspice_that_serves_is_36() -> None:
    assert library.check_version(36, "lib") == 36
    with pytest.raises(EngineMissing) as refused:
        library.check_version(35, "lib")
    assert str(refused.value) == (
        f"lib is ngspice 35; version 36 or newer is needed; {library.HOW_TO_INSTALL}"
    )


@pytest.mark.parametrize(("limit_s", "start_s"), [(0.5, 60.0), (59.0, 60.0), (61.0, 61.0), (900.0, 900.0)])
def test_loading_ngspice_has_a_minute_at_least(
    monkeypatch: pytest.MonkeyPatch, limit_s: float, start_s: float
) -> None:
    """A cold disk takes its time, whatever an analysis may take."""
    asked: list[list[str]] = []
    monkeypatch.setattr(process.subprocess, "Popen", lambda command, **_: asked.append(command))
    worker = WorkerProcess(limit_s)
    worker._stderr.close()
    assert (worker.time_limit_s, worker.start_limit_s) == (limit_s, start_s)
    # the analysis' own limit is told to the child, which ends by itself if its parent is gone
    assert asked[0][3] == repr(limit_s)


def test_a_worker_that_can_not_be_started_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    def none(*_: object, **__: object) -> None:
        raise OSError(12, "Cannot allocate memory")

    monkeypatch.setattr(process.subprocess, "Popen", none)
    with pytest.raises(EngineError) as refused:
        WorkerProcess(1.0)
    assert str(refused.value) == ("no ngspice process could be started: [Errno 12] Cannot allocate memory")
