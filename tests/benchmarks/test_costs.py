"""What the work costs, as ratios where ratios can be had: `pytest tests/benchmarks --benchmark-enable`.

In the normal test run each benchmark runs once, untimed; only what depends on no clock is asserted then.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from receiver_sim import api
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.writer import deck as written
from receiver_sim.engine import Bench
from receiver_sim.measure import onset
from receiver_sim.measure.loaded import loaded
from receiver_sim.receiver import Receiver
from receiver_sim.results.base import Status
from receiver_sim.schema import Build
from receiver_sim.views import check_plots
from tests.benchmarks.conftest import Tell
from tests.conftest import BUILDS

COMMAND = [sys.executable, "-m", "receiver_sim.cli"]


def fastest(benchmark: Any) -> float:
    """Return the least time of the rounds, s: what the machine disturbed least."""
    return float(benchmark.stats.stats.min)


def once(*args: str | Path) -> float:
    """Run the program in a process of its own and return its wall-clock time, s."""
    start = time.perf_counter()
    subprocess.run([*COMMAND, *map(str, args)], check=True, capture_output=True)
    return time.perf_counter() - start


def busy(*args: str | Path) -> float:
    """Run the program and return the processor time of all its processes, s: what else the machine does
    hardly counts in it."""
    before = os.times()
    once(*args)
    after = os.times()
    return after.children_user + after.children_system - before.children_user - before.children_system


def python(script: str) -> float:
    """Run a script in a Python of its own and return its wall-clock time, s."""
    start = time.perf_counter()
    subprocess.run([sys.executable, "-c", script], check=True)
    return time.perf_counter() - start


def turn_and_measure(session: Any, circuit: Circuit, rotation: float) -> Any:
    for element, value in circuit.control.at(rotation).items():
        session.alter(element, value)
    return session.ac(7.05e6, 7.15e6, 3, vectors=["frequency", "xdet.gk"])


def test_turning_the_control_costs_less_than_loading_anew(
    benchmark: Any, timed: bool, tell: Tell, bench: Bench, demo: Build, demo_cards: Cards
) -> None:
    """The ground of every sweep: alter on a loaded circuit against a load for each setting."""
    circuit = onset.plan(demo, demo_cards, band=demo.bands[2], dial_hz=7.1e6)
    deck = written(circuit)

    def anew(rotation: float) -> Any:
        with bench.session(deck) as session:
            session.alter("vinj", 1.0, "acmag")
            return turn_and_measure(session, circuit, rotation)

    settings = [0.2, 0.7, 0.35]
    with bench.session(deck) as session:
        session.alter("vinj", 1.0, "acmag")
        swept = [turn_and_measure(session, circuit, rotation) for rotation in settings]
        loaded = [anew(rotation) for rotation in settings]
        for one, other in zip(swept, loaded, strict=True):
            # same circuit, same setting: within the solver's tolerance of 1e-6, some ten times at |V| near 1
            assert abs(one["xdet.gk"] / other["xdet.gk"] - 1).max() < 1e-5
        benchmark(lambda: [turn_and_measure(session, circuit, rotation) for rotation in settings])
    if timed:
        rounds = []
        for _ in range(20):
            start = time.perf_counter()
            for rotation in settings:
                anew(rotation)
            rounds.append(time.perf_counter() - start)
        each, reload = fastest(benchmark) / len(settings), min(rounds) / len(settings)
        tell("alter and ac of 3 points, circuit left loaded", f"{1e3 * each:.2f} ms", "")
        tell("load, ac of 3 points, remove", f"{1e3 * reload:.2f} ms", "")
        tell("  the former over the latter", f"{each / reload:.2f}", "below 1")
        assert each < reload


def test_onset_of_a_band(benchmark: Any, timed: bool, tell: Tell, bench: Bench, demo: Build) -> None:
    """One band at one dial frequency in at most ten evaluations."""
    band = demo.bands[1]
    found = benchmark(lambda: onset.run(Receiver(demo, bench).at(band, band.from_)))
    assert found.status is Status.OSCILLATES
    assert found.evaluations <= 10
    if timed:
        tell("onset of one band, evaluations", f"{found.evaluations}", "at most 10")
        tell("onset of one band", f"{1e3 * fastest(benchmark):.1f} ms", "")


def test_onset_in_a_kept_session(
    benchmark: Any, timed: bool, tell: Tell, bench: Bench, demo: Build, demo_cards: Cards
) -> None:
    """The same search on a circuit left loaded, as a live control asks for it: at most 4 ms."""
    band = demo.bands[1]
    with loaded(bench, onset.plan(demo, demo_cards, band=band, dial_hz=band.from_)) as on:
        first = onset.measured(on, band=band, dial_hz=band.from_)
        found = benchmark(lambda: onset.measured(on, band=band, dial_hz=band.from_))
        before = on.session.engine_seconds
        start = time.perf_counter()
        onset.measured(on, band=band, dial_hz=band.from_)
        inside, whole = on.session.engine_seconds - before, time.perf_counter() - start
    assert first.onset is not None and found.onset is not None
    # same circuit, same search: within what the search stops at
    assert abs(found.onset.rotation / first.onset.rotation - 1.0) < 1e-4
    if timed:
        tell("onset of one band, circuit left loaded", f"{1e3 * fastest(benchmark):.1f} ms", "at most 4 ms")
        tell("  share of it inside ngspice", f"{inside / whole:.0%}", "")
        assert fastest(benchmark) <= 4e-3


def test_importing_the_package(benchmark: Any, timed: bool, tell: Tell) -> None:
    """`import receiver_sim` in at most 0.1 s, Python's own start included."""
    benchmark.pedantic(lambda: python("import receiver_sim"), rounds=5 if timed else 1)
    if timed:
        tell("import receiver_sim", f"{fastest(benchmark):.3f} s", "at most 0.1 s")
        assert fastest(benchmark) <= 0.1


def test_a_cold_loop_of_one_band(benchmark: Any, timed: bool, tell: Tell) -> None:
    """`loop --band` from the shell, the workers' start and all, in at most 1.0 s."""
    benchmark.pedantic(lambda: once("loop", BUILDS / "demo.yaml", "--band", "40m"), rounds=5 if timed else 1)
    if timed:
        empty = min(python("pass") for _ in range(5))
        tell("loop of one band, from the shell", f"{fastest(benchmark):.2f} s", "at most 1.0 s")
        tell("  over an empty Python", f"{fastest(benchmark) / empty:.0f}", "")
        took = min(busy("loop", BUILDS / "demo.yaml", "--band", "40m") for _ in range(3))
        tell("  processor time of its processes", f"{took:.2f} s", "")
        assert fastest(benchmark) <= 1.0


def test_whole_check_against_its_parts(
    request: pytest.FixtureRequest, benchmark: Any, timed: bool, tell: Tell, demo: Build, tmp_path: Path
) -> None:
    """`check` from the shell within 1.3 times its ngspice time on two workers, and 1.5 s for drawing."""
    if timed:
        request.getfixturevalue("all_sets")
    with Bench() as own:
        report = api.check(demo, bench=own)
        raw, evaluations = own.engine_seconds, own.evaluations
    assert report.evaluations == evaluations
    assert raw > 0.0
    drawn: list[float] = []

    def draw() -> None:
        start = time.perf_counter()
        check_plots.write(report, tmp_path / "plots")
        drawn.append(time.perf_counter() - start)

    benchmark.pedantic(draw, rounds=3 if timed else 1)
    if timed:
        whole = min(once("check", BUILDS / "demo.yaml", "--out", tmp_path / "whole") for _ in range(3))
        bare = min(
            once("check", BUILDS / "demo.yaml", "--out", tmp_path / "bare", "--no-plots") for _ in range(3)
        )
        limit = 1.3 * raw / 2.0 + 1.5
        tell(f"check of the demo: inside ngspice, {evaluations} analyses", f"{raw:.2f} s", "")
        tell("check of the demo: drawing 20 files", f"{min(drawn):.2f} s", "")
        tell("check of the demo, from the shell", f"{whole:.2f} s", f"at most {limit:.2f} s")
        tell("check of the demo without plots", f"{bare:.2f} s", "")
        took = busy("check", BUILDS / "demo.yaml", "--out", tmp_path / "whole")
        tell("  with plots, processor time of its processes", f"{took:.2f} s", "")
        tell("    over that inside ngspice", f"{took / raw:.1f}", "")
        assert whole <= limit


def test_help_starts_at_once(benchmark: Any, timed: bool, tell: Tell) -> None:
    """`receiver-sim --help` in under 0.5 s, beside Python's own start."""
    benchmark.pedantic(lambda: once("--help"), rounds=5 if timed else 1)
    if timed:
        rounds = [python("pass") for _ in range(5)]
        tell("receiver-sim --help", f"{fastest(benchmark):.2f} s", "below 0.5 s")
        tell("  over an empty Python", f"{fastest(benchmark) / min(rounds):.1f}", "")
        assert fastest(benchmark) < 0.5
