"""What many sets cost beside ngspice, and what it costs `check` to say how sure it is."""

from __future__ import annotations

import gc
import time
from typing import Any

import pytest

from receiver_sim import api
from receiver_sim.api import _check
from receiver_sim.api._sets import Kept, block, close_own, run_sets
from receiver_sim.api._spread import plan_for
from receiver_sim.engine import Bench
from receiver_sim.schema import Build
from tests.benchmarks.conftest import Tell


def test_sets_beside_raw_ngspice(timed: bool, tell: Tell, bench: Bench, demo: Build) -> None:
    """1,000 sets of 5 bands: wall at most 2.0 times the engine's seconds over the workers.

    Two workers at least 1.7 times one; linear in the number of sets.
    """
    plan = plan_for(demo, bench)
    if not timed:
        assert len(run_sets(plan, count=3, workers=1, kept=Kept(None))[0]) == 5
        close_own()
        return

    def seconds(count: int, workers: int) -> float:
        start = time.perf_counter()
        run_sets(plan, count=count, workers=workers, kept=Kept(None))
        return time.perf_counter() - start

    start = time.perf_counter()
    _, engine, ran = block(plan, range(200), 60.0)
    one = time.perf_counter() - start
    close_own()
    two, short = seconds(1000, 2), seconds(500, 2)
    raw = 5.0 * engine
    tell("1,000 sets x 5 bands on 2 workers", f"{two:.1f} s", "aim: 15 s")
    tell("  wall over engine seconds / 2", f"{two / (raw / 2.0):.2f}", "at most 2.0")
    tell("  of one worker over two, a set", f"{5.0 * one / two:.2f}", "at least 1.7")
    tell("  500 sets over 1,000", f"{short / two:.2f}", "0.5 +- 0.1")
    tell("  analyses a set", f"{ran / 200:.1f}", "at most 20")
    assert two <= 2.0 * raw / 2.0
    assert 5.0 * one / two >= 1.7
    assert ran <= 20 * 200  # four a band: a guess, one beside the onset, one at 0.9; a search where it fails


def test_how_sure_beside_the_rest_of_check(
    timed: bool, tell: Tell, bench: Bench, demo: Build, all_sets: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Told only: what ranges may cost is measured against the `check` that had none, another checkout."""
    if not timed:
        pytest.skip("only a time")

    def once() -> float:
        gc.collect()
        start = time.perf_counter()
        api.check(demo, bench=bench)
        return time.perf_counter() - start

    once()
    whole = min(once() for _ in range(3))
    with monkeypatch.context() as patch:
        patch.setattr(_check, "how_sure", lambda *_args, **_named: None)
        before = min(once() for _ in range(3))
    tell("`check` with and without how sure it is", f"{whole / before:.2f}", "")


def test_memory_is_flat(timed: bool, tell: Tell, bench: Bench, demo: Build) -> None:
    """20,000 analyses in one process: the worker's memory must not grow with them."""
    if not timed:
        pytest.skip("takes a while")
    plan = plan_for(demo, bench)

    def resident() -> list[int]:
        from receiver_sim.api import _sets

        workers: list[Any] = [w for own in _sets._OWN.values() for w in own._all]
        return [_kilobytes(worker.pid) for worker in workers]

    block(plan, range(60), 60.0)
    first = sum(resident())
    ran = 0
    while ran < 20_000:
        ran += block(plan, range(60), 60.0)[2]
    last = sum(resident())
    close_own()
    tell(
        "memory of a worker after 20,000 analyses over that after 1,700", f"{last / first:.2f}", "at most 1.1"
    )
    assert last <= 1.1 * first


def _kilobytes(pid: int) -> int:
    with open(f"/proc/{pid}/statm", encoding="ascii") as stream:
        return int(stream.read().split()[1]) * 4
