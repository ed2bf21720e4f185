"""Workers of ngspice that go from one call of the program to the next, as a test's own bench keeps them.

A verb opens a Bench, which starts its workers anew; where hundreds of verbs are called in one process that is
most of
the time. A LentBench is a Bench like any other, with its own counts and failed decks, but takes the idle
workers that
another has left, and leaves its own.
"""

from __future__ import annotations

import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import ClassVar

import pytest

from receiver_sim.api import _coils, _swap, _tubes  # noqa: F401 - modules that open benches
from receiver_sim.engine import Bench
from receiver_sim.engine.process import WorkerProcess


class LentBench(Bench):
    """A Bench that begins with idle workers of the same time limit, and hands its own on when closed."""

    idle: ClassVar[list[WorkerProcess]] = []

    def __init__(self, workers: int = 2, time_limit_s: float = 60.0, keep_failed: Path | None = None) -> None:
        super().__init__(workers, time_limit_s, keep_failed)
        while self.idle and len(self._idle) < workers and self.idle[-1].time_limit_s == time_limit_s:
            worker = self.idle.pop()
            if worker.alive:
                self._idle.append(worker)
                self._all.add(worker)
                self._version = worker.version
        if self._idle:  # past their limit they are ended, too
            self._monitor = threading.Thread(target=self._watch, name="bench-watch", daemon=True)
            self._monitor.start()

    def warm(self) -> None:
        """Start none ahead: there may be one to borrow."""

    def close(self) -> None:
        """Leave the idle workers to the next bench, end the others."""
        with self._lock:
            kept = [w for w in self._idle if w.alive and not w.busy and self.time_limit_s == 60.0]
            self._idle = []
            self._all.difference_update(kept)
        super().close()
        self.idle.extend(kept)


@contextmanager
def lending() -> Iterator[None]:
    """Let the verbs and the functions behind them work on lent workers; end these at last."""
    with pytest.MonkeyPatch.context() as patch:
        for name, module in list(sys.modules.items()):
            if name.startswith("receiver_sim") and getattr(module, "Bench", None) is Bench:
                patch.setattr(module, "Bench", LentBench)
        try:
            yield
        finally:
            while LentBench.idle:
                LentBench.idle.pop().close()


def cut(build: str, place: Path, bands: int) -> Path:
    """Write a shipped build with its first bands alone, under its own name; return the file."""
    text = Path(build).read_text(encoding="utf-8")
    head, mark, rest = text.partition("\nbands:\n")
    entries = rest.split("\n  - name:")
    path = place / Path(build).name
    path.write_text(head + mark + "\n  - name:".join(entries[:bands]) + "\n", encoding="utf-8")
    return path
