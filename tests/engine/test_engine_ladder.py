"""The ladder of a search for an operating point: each rung serves where those before don't, and says so."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

from receiver_sim.engine import Bench, Deck, EngineFailed, Rung
from receiver_sim.engine.protocol import Plot
from receiver_sim.engine.rungs import Way, begun_at, no_solution, value_in, widened
from receiver_sim.engine.starts import Starts

# A steep exponential behind a resistor, to which ngspice's own limits of diodes do not apply. `itl1` is the
# number of iterations that Newton's method may take.
STEEP = """.options {options}
V1 a 0 dc {volts}
R1 a b 1k
B1 b 0 I=1e-9*(exp(min(20*V(b),200))-1)
"""
# without gmin and source stepping, and with one iteration for each step of ngspice's run over time
BARE = "reltol=1e-6 itl1=10 gminsteps=0 srcsteps=0 itl4=1"


def steep(options: str, volts: float) -> Deck:
    return Deck("steep", STEEP.format(options=options, volts=volts))


def solved(volts: float) -> float:
    """Return the volts at node b by bisection, an independent path."""
    return float(brentq(lambda b: (volts - b) / 1e3 - 1e-9 * (np.exp(min(20 * b, 200)) - 1), 0.0, volts))


@pytest.mark.parametrize(
    ("options", "volts", "rung"),
    [("reltol=1e-6 itl1=500", 1.0, Rung.NEWTON), ("reltol=1e-6 itl1=10", 100.0, Rung.GMIN),
     ("reltol=1e-6 itl1=10 gminsteps=0", 100.0, Rung.SOURCES)],
)  # fmt: skip
def test_ngspices_own_rungs_are_told(bench: Bench, options: str, volts: float, rung: Rung) -> None:
    with bench.session(steep(options, volts)) as session:
        point = session.op()
    assert point.rung is rung
    assert point["b"][0] == pytest.approx(solved(volts), rel=1e-6)


def test_small_steps_lead_from_the_last_setting_that_was_solved() -> None:
    with Bench(workers=1) as bench:
        with bench.session(steep(BARE, 1.0)) as session:
            assert session.op().rung is Rung.NEWTON
            session.alter("v1", 100.0)
            point = session.op()
            again = session.op()
        assert bench.rungs == {Rung.NEWTON: 2, Rung.SMALL_STEPS: 1}
    assert point.rung is Rung.SMALL_STEPS
    assert [p["b"][0] for p in (point, again)] == pytest.approx(2 * [solved(100.0)], rel=1e-6)


def test_small_steps_lead_from_what_is_easy_before_anything_was_solved(bench: Bench) -> None:
    with bench.session(steep(BARE, 100.0), easy={"V1": (1.0, 100.0)}) as session:
        point = session.op()
    assert point.rung is Rung.SMALL_STEPS
    assert point["b"][0] == pytest.approx(solved(100.0), rel=1e-6)


def test_a_sweep_is_made_in_eighths_of_its_step(bench: Bench) -> None:
    deck = steep("reltol=1e-6 itl1=6 itl2=6 gminsteps=0 srcsteps=0 itl4=1", 1.0)
    with bench.session(deck) as session:
        session.op()
        run = session.dc("v1", 1.0, 161.0, 80.0)
    assert run.rung is Rung.SMALL_STEPS
    assert run["v-sweep"] == pytest.approx([1.0, 81.0, 161.0])
    assert run["b"] == pytest.approx([solved(v) for v in (1.0, 81.0, 161.0)], rel=1e-5)


def test_what_no_rung_solves_fails_and_says_what_was_tried(tmp_path) -> None:
    hopeless = Deck("hopeless", f".options {BARE}\nI1 0 a dc 1\nB1 a 0 I=min(max(V(a),0),0.5)\n")
    with Bench(workers=1, keep_failed=tmp_path) as bench:
        with (
            pytest.raises(EngineFailed) as caught,
            bench.session(hopeless, easy={"i1": (0.1, 1.0)}) as session,
        ):
            session.op()
        assert not bench.rungs
    assert "; neither small steps from another setting nor wider tolerances led to a solution" in str(
        caught.value
    )
    assert caught.value.deck_path is not None and caught.value.deck_path.exists()


def test_a_caller_with_a_rung_of_its_own_need_not_wait_for_these(bench: Bench) -> None:
    with (
        pytest.raises(EngineFailed),
        bench.session(steep(BARE, 100.0), easy={"v1": (1.0, 100.0)}, climb=False) as session,
    ):
        session.op()


def test_wider_tolerances_are_ten_times_as_wide_and_stick_to_the_session() -> None:
    deck = Deck("tight", ".options reltol=1e-6 abstol=2e-14 itl1=500\nV1 a 0 1\nR1 a 0 1k\n")
    assert widened(deck).text.splitlines()[:2] == [
        ".options vntol=1e-05", ".options reltol=1e-05 abstol=2e-13 itl1=500",
    ]  # fmt: skip


def test_a_way_goes_by_ratio_where_it_can() -> None:
    way = Way(
        {("r1", None): 1.0, ("v1", "dc"): -2.0}, {("r1", None): 100.0, ("v1", "dc"): 4.0, ("c1", None): 3.0}
    )
    assert way.at(0.5) == pytest.approx({("r1", None): 10.0, ("v1", "dc"): 1.0, ("c1", None): 3.0})


def test_what_a_deck_gives_an_element() -> None:
    deck = Deck("values", "V1 a 0 dc 3.5 ac 1\nRx a b 2.5e3 noisy=0\nVp b 0 7 pwl(0 1 2 3)\nB1 a 0 I=V(b)\n")
    keys = (("v1", "dc"), ("rx", None), ("vp", "dc"), ("b1", None), ("v1", "acmag"))
    assert [value_in(deck, key) for key in keys] == [3.5, 2500.0, 7.0, None, None]


def test_only_the_want_of_a_solution_is_climbed_for() -> None:
    assert no_solution("doAnalyses: DC:  Timestep too small;  vsweep = 0")
    assert no_solution("Warning: singular matrix:  check nodes knob and free")
    assert not no_solution("the op analysis gives no xyz")
    assert not no_solution("Error: no such function 'foo'")


def test_starting_values_are_all_node_volts(bench: Bench) -> None:
    deck = Deck("start", ".nodeset v(b)=3\nV1 a 0 dc 1\nR1 a b 1k\nR2 b 0 1k\n")
    with bench.session(deck) as session:
        point = session.op()
    plot = Plot("", tuple((name, False, values.tobytes()) for name, values in point.items()))
    text = begun_at(deck, plot).text
    assert ".nodeset v(b)=3" not in text and "v(a)=1" in text and "v(b)=0.5" in text and "#" not in text


GMIN_ALONE = "reltol=1e-6 itl1=10"
"""Ten iterations from the deck's own starting values are too few at 100 V, so conductances are stepped."""


def test_after_a_climb_an_analysis_begins_with_the_nearest_solution(bench: Bench) -> None:
    """Guards against a session that steps conductances anew for each of hundreds of points."""
    with bench.session(steep(GMIN_ALONE, 100.0)) as session:
        found = []
        for volts in (100.0, 101.0, 103.0, 99.0):
            session.alter("v1", volts)
            found.append(session.op(vectors=["b"]))
    assert [point.rung for point in found] == [Rung.GMIN, Rung.GMIN, Rung.NEWTON, Rung.NEWTON]
    assert [list(point) for point in found] == 4 * [["b"]]
    assert [point["b"][0] for point in found] == pytest.approx(
        [solved(volts) for volts in (100.0, 101.0, 103.0, 99.0)], rel=1e-6
    )


def test_a_sweep_begins_with_the_nearest_solution_too(bench: Bench) -> None:
    with bench.session(steep(GMIN_ALONE + " itl2=50", 100.0)) as session:
        session.op()
        session.op()
        run = session.dc("v1", 98.0, 102.0, 2.0, vectors=["b"])
        after = session.op(vectors=["a"])
    assert (run.rung, run.scale, list(run)) == (Rung.NEWTON, "v-sweep", ["v-sweep", "b"])
    assert run["b"] == pytest.approx([solved(volts) for volts in (98.0, 100.0, 102.0)], rel=1e-6)
    # the sweep leaves its source as it was
    assert after["a"][0] == pytest.approx(100.0)


def test_a_small_signal_answer_begins_with_the_nearest_solution(bench: Bench) -> None:
    with bench.session(steep(GMIN_ALONE, 100.0)) as session:
        session.op()
        session.alter("v1", 1.0, "acmag")
        runs = [session.ac(1.0, 1.0, 1, vectors=["b"]) for _ in range(2)]
    # conductance of the exponential against 1 kohm
    slope = 20.0 * 1e-9 * np.exp(20.0 * solved(100.0))
    assert [run["b"][0].real for run in runs] == pytest.approx(2 * [1.0 / (1.0 + 1e3 * slope)], rel=1e-5)
    assert [run.rung for run in runs] == [Rung.GMIN, Rung.NEWTON]


def test_a_name_that_is_missing_is_still_refused_after_a_climb(bench: Bench) -> None:
    with (
        pytest.raises(EngineFailed, match="no nowhere"),
        bench.session(steep(GMIN_ALONE, 100.0)) as session,
    ):
        session.op()
        session.op(vectors=["nowhere"])


def test_the_nearest_solution_is_that_of_the_settings_that_differ_least() -> None:
    starts = Starts()
    assert starts.nearest({}) == (None, False)
    for number, (knob, amplitude) in enumerate([(0.5, 1.0), (0.9, 1.0), (0.9, 10.0)]):
        data = np.array([float(number), -1.0]).tobytes()
        starts.keep({("vknob", "dc"): knob, ("vamp", "dc"): amplitude}, Plot("v-sweep", (
            ("v-sweep", False, data), ("out", False, data), ("far", False, data))), 0)  # fmt: skip

    def at(knob: float, amplitude: float) -> tuple[float, bool]:
        settings = {("vknob", "dc"): knob, ("vamp", "dc"): amplitude, ("vamp", "acmag"): 1.0}
        plot, same = starts.nearest(settings)
        assert plot is not None and [name for name, _, _ in plot.vectors] == ["out", "far"]
        return float(np.frombuffer(plot.vectors[0][2])[0]), same

    assert [at(0.6, 1.1), at(0.9, 1.0), at(0.8, 7.0)] == [(0.0, False), (1.0, True), (2.0, False)]
