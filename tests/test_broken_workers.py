"""A worker killed or stopped while `check` runs: a true sentence, what else was found, nothing left."""

from __future__ import annotations

import contextlib
import json
import os
import re
import signal
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from receiver_sim.api import _sure
from receiver_sim.api._spread import plan_for
from receiver_sim.cli import common as cli_common
from receiver_sim.engine import Bench, EngineLost, process
from receiver_sim.engine.protocol import Run
from receiver_sim.engine.session import Session
from receiver_sim.schema import Build
from receiver_sim.studies.drawn_sets import look_at_set
from tests.conftest import BUILDS
from tests.test_cli import call

pytestmark = [
    pytest.mark.skipif(os.name != "posix", reason="signals as on POSIX systems"),
    pytest.mark.slow,
]

MOMENTS = (("onset", 0), ("how oscillation comes in", 0), ("how oscillation comes in", 4))
"""What `check` reports as going on, and how much of it is done: its beginning, how oscillation comes in, and
after that d.c., audio and hum.
"""

LIMIT_S = 10.0


def one_band(place: Path) -> Path:
    """Write a build of one band, so that the six runs take no longer than need be."""
    head, _, rest = (BUILDS / "cabin.yaml").read_text(encoding="utf-8").partition("\nbands:\n")
    bands = re.split(r"(?m)^(?=  - name)", rest)[1:]
    path = place / "set.yaml"
    path.write_text(f"{head}\nbands:\n{bands[1]}", encoding="utf-8")
    return path


class Hand:
    """Sends a signal to a worker that is at work when a moment has come."""

    def __init__(self, moment: tuple[str, int], number: signal.Signals) -> None:
        self.moment, self.number, self.now = moment, number, False
        self.bench: Bench | None = None
        self.pids: set[int] = set()
        self.hit: int | None = None
        self.asked = 0
        self.spared = threading.local()

    def ask(self, worker: process.WorkerProcess, request: Any) -> None:
        """Called before each request of a worker."""
        self.pids.add(worker.pid)
        if self.hit is None and self.now and not getattr(self.spared, "here", False):
            self.asked += 1
            # in the midst of a session, not at its beginning, nor where it only says goodbye
            if self.asked >= 3 and isinstance(request, Run):
                self.hit = worker.pid
                os.kill(worker.pid, self.number)


def checked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, hand: Hand) -> Any:
    """Return what `check` says when a worker is stopped or killed at a moment."""
    monkeypatch.chdir(tmp_path)
    bars, real = cli_common.progress_bars, process.WorkerProcess.ask

    @contextlib.contextmanager
    def progress(quiet: bool) -> Iterator[Any]:
        with bars(quiet) as show:

            def told(what: str, done: int, total: int) -> None:
                hand.now = hand.now or (what == hand.moment[0] and done >= hand.moment[1])
                show(what, done, total)

            yield told

    def ask(worker: process.WorkerProcess, request: Any) -> Any:
        hand.ask(worker, request)
        return real(worker, request)

    drawn = _sure.look_at_bands

    def look_at_bands(*args: Any, **more: Any) -> Any:
        # a drawn set is looked at anew in another worker, and nothing fails: another test's matter
        hand.spared.here = hand.moment[0] != "sets"
        try:
            return drawn(*args, **more)
        finally:
            hand.spared.here = False

    monkeypatch.setattr(_sure, "look_at_bands", look_at_bands)
    for module in ("check", "common"):
        monkeypatch.setattr(f"receiver_sim.cli.{module}.progress_bars", progress)
    monkeypatch.setattr(process.WorkerProcess, "ask", ask)
    began = time.monotonic()
    answer = call("check", one_band(tmp_path), "--no-plots", "--time-limit", f"{LIMIT_S:g}s")
    assert hand.hit is not None, "no worker was at work then"
    assert time.monotonic() - began < 300.0
    return answer


@pytest.mark.parametrize("moment", MOMENTS)
@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGSTOP])
def test_check_without_one_of_its_workers(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: signal.Signals, moment: tuple[str, int]
) -> None:
    hand = Hand(moment, number)
    answer = checked(tmp_path, monkeypatch, hand)
    words = " ".join(answer.err.split())
    assert answer.code == 3, words
    killed = number == signal.SIGKILL
    why = "the ngspice process ended with code -9 during" if killed else "took longer than the limit"
    assert why in words
    # the page: what failed on it, and what else was found
    page = " ".join(answer.out.split())
    assert "FAILED" in page and "written to set-results: check.json" in page
    headings = ("Onset of oscillation", "What a meter should read", "Selectivity", "Hum", "Verdicts")
    assert sum(heading in page for heading in headings) >= 3
    # the deck of what failed, and no other
    named = set(re.findall(r"the deck is kept in (\S+?\.cir)", words))
    kept = {str(path) for path in Path("set-results").rglob("*.cir")}
    assert len(named) >= 1 and kept == named
    for pid in hand.pids:
        with pytest.raises(ProcessLookupError):
            os.kill(pid, 0)


def test_a_worker_killed_within_a_drawn_set(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The set is looked at anew in another worker: it says nothing about the set."""
    monkeypatch.setattr(_sure, "SETS", 4)
    monkeypatch.setattr(_sure, "STRENGTHS", 1)
    answer = checked(tmp_path, monkeypatch, Hand(("sets", 1), signal.SIGKILL))
    assert answer.code == 0, answer.err
    report = json.loads(Path("set-results/check.json").read_text(encoding="utf-8"))
    assert [(one["sets"], one["failed"]) for one in report["result"]["sure"]["bands"]] == [(4, 0)]


def test_a_drawn_set_whose_workers_are_lost_says_so(
    cabin: Build, bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Guards against a lost worker that counts as a set without solution."""
    plan = plan_for(cabin, bench, bands=[cabin.bands[0].name])

    def gone(*_: Any, **__: Any) -> Any:
        raise EngineLost("the ngspice process ended with code -9")

    monkeypatch.setattr(Session, "ac", gone)
    monkeypatch.setattr(Session, "ac_each", gone)
    with pytest.raises(EngineLost):
        look_at_set(bench, plan, {})


def test_a_worker_stopped_as_it_starts(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(process, "_START_LIMIT_S", LIMIT_S)
    begun = []

    class Stopped(process.subprocess.Popen[bytes]):
        def __init__(self, *args: Any, **more: Any) -> None:
            super().__init__(*args, **more)
            if not begun:
                self.send_signal(signal.SIGSTOP)
            begun.append(self.pid)

    monkeypatch.setattr(process.subprocess, "Popen", Stopped)
    answer = call("loop", one_band(tmp_path), "--time-limit", f"{LIMIT_S:g}s")
    assert answer.code == 3
    assert "ngspice could not be started: it took longer than 10 s and was stopped" in " ".join(
        answer.err.split()
    )
    with pytest.raises(ProcessLookupError):
        os.kill(begun[0], 0)
