"""What the pool does with workers and decks, on workers made up for it: no process is started."""

from __future__ import annotations

import io
import threading
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from receiver_sim.engine import Bench
from receiver_sim.engine.process import WorkerProcess


class Worker:
    """What the pool asks of a worker, and what became of it."""

    def __init__(self) -> None:
        self.alive, self.busy, self.timed_out = True, False, False
        self.deadline: float | None = None
        self.ended: list[str] = []

    def close(self) -> None:
        self.ended.append("closed")

    def kill(self) -> None:
        self.ended.append("killed")


def test_no_more_workers_are_kept_than_were_asked_for() -> None:
    bench = Bench(workers=2)
    several = [Worker() for _ in range(3)]
    for one in several:
        bench._release(one)  # type: ignore[arg-type]
    assert [one.ended for one in several] == [[], [], ["closed"]]


@pytest.mark.parametrize("state", ["dead", "busy"])
def test_a_worker_that_owes_an_answer_or_is_dead_is_not_used_again(state: str) -> None:
    bench, one = Bench(workers=2), Worker()
    one.alive, one.busy = state != "dead", state == "busy"
    bench._release(one)
    assert one.ended == ["closed"]
    bench._idle.append(one)
    one.alive = False
    live = Worker()
    bench._idle.insert(0, live)  # type: ignore[arg-type]
    assert bench._acquire() is live


@pytest.mark.parametrize(("limit_s", "pause_s"), [(0.5, 0.05), (8.0, 0.8), (60.0, 1.0), (1800.0, 1.0)])
def test_a_limit_is_watched_ten_times_within_it_and_once_a_second(limit_s: float, pause_s: float) -> None:
    bench, pauses = Bench(time_limit_s=limit_s), []
    late, soon = Worker(), Worker()
    late.deadline, soon.deadline = 0.0, float("inf")
    bench._all = {late, soon}  # type: ignore[assignment]

    def wait(pause: float) -> bool:
        pauses.append(pause)
        return len(pauses) > 1

    bench._wake.wait = wait  # type: ignore[assignment,method-assign]
    bench._watch()
    assert pauses == [pytest.approx(pause_s)] * 2
    assert (late.ended, late.timed_out) == (["killed"], True)
    assert (soon.ended, soon.timed_out) == ([], False)


def test_decks_that_a_message_names_stay_and_others_go(tmp_path: Path) -> None:
    bench = Bench()
    named, other = (tmp_path / "failed" / name for name in ("a-1.cir", "b-2.cir"))
    named.parent.mkdir()
    for path in (named, other):
        path.write_text("* deck\n")
        bench._kept.append(path)
    bench.forget_unnamed(f"the netlist is kept in {named}")
    assert bench.kept == (named,)
    assert named.exists() and not other.exists()
    bench.forget_unnamed("nothing")
    assert bench.kept == () and not named.parent.exists()


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (b"", ""),
        (b"a warning\n\nlibrary is missing\n", ": library is missing"),
        (b"\xff\xfe\n", ": \ufffd\ufffd"),
    ],
)
def test_of_what_a_dead_worker_said_the_last_line_is_told(said: bytes, words: str) -> None:
    one: Any = object.__new__(WorkerProcess)
    one._process, one._stderr = SimpleNamespace(poll=lambda: -11), io.BytesIO(said)
    assert one._last_words() == f"the ngspice process ended with code -11{words}"


def test_of_several_failures_the_first_item_s_is_raised() -> None:
    """Whichever came first in time: two items that fail together, and the outcome must not hang on luck."""
    together = threading.Barrier(2, timeout=30.0)

    def fails(_bench: Bench, item: int) -> None:
        together.wait()
        raise RuntimeError(f"item {item}")

    with Bench(workers=2) as bench, pytest.raises(RuntimeError, match=r"^item 0$"):
        bench.map(fails, [0, 1])
