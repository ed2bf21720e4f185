"""A worker killed or stopped while `check` runs: a true sentence, what else was found, nothing left."""

from __future__ import annotations

import contextlib
import os
import re
import signal
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from receiver_sim.cli import common as cli_common
from receiver_sim.engine import Bench, process
from tests.conftest import BUILDS
from tests.test_cli import call

pytestmark = [
    pytest.mark.skipif(os.name != "posix", reason="signals as on POSIX systems"),
    pytest.mark.slow,
]

MOMENTS = ("onset", "how oscillation comes in", "audio")
"""What `check` reports as going on: its first, its middle and its last quarter."""

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

    def __init__(self, moment: str, number: signal.Signals) -> None:
        self.moment, self.number = moment, number
        self.bench: Bench | None = None
        self.pids: set[int] = set()
        self.hit: int | None = None
        self.asked = 0

    def ask(self, worker: process.WorkerProcess) -> None:
        """Called before each request of a worker."""
        self.pids.add(worker.pid)
        if self.hit is None and self.moment == "now":
            self.asked += 1
            if self.asked == 3:  # in the midst of a session, not at its beginning
                self.hit = worker.pid
                os.kill(worker.pid, self.number)


@pytest.mark.parametrize("moment", MOMENTS)
@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGSTOP])
def test_check_without_one_of_its_workers(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: signal.Signals, moment: str
) -> None:
    monkeypatch.chdir(tmp_path)
    hand = Hand(moment, number)
    bars, real = cli_common.progress_bars, process.WorkerProcess.ask

    @contextlib.contextmanager
    def progress(quiet: bool) -> Iterator[Any]:
        with bars(quiet) as show:

            def told(what: str, done: int, total: int) -> None:
                if what == hand.moment:
                    hand.moment = "now"
                show(what, done, total)

            yield told

    def ask(worker: process.WorkerProcess, request: Any) -> Any:
        hand.ask(worker)
        return real(worker, request)

    for module in ("check", "common"):
        monkeypatch.setattr(f"receiver_sim.cli.{module}.progress_bars", progress)
    monkeypatch.setattr(process.WorkerProcess, "ask", ask)
    began = time.monotonic()
    answer = call("check", one_band(tmp_path), "--no-plots", "--time-limit", f"{LIMIT_S:g}s")
    assert hand.hit is not None, "no worker was at work then"
    assert time.monotonic() - began < 300.0
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
