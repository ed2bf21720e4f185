"""The pool of workers: sessions, parallel maps, time limits, failed decks kept."""

import re
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, ThreadPoolExecutor, wait
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TypeVar

from receiver_sim import outputs
from receiver_sim.engine.deck import Deck
from receiver_sim.engine.errors import EngineError, EngineLost
from receiver_sim.engine.process import WorkerGone, WorkerProcess
from receiver_sim.engine.rungs import Rung
from receiver_sim.engine.session import Session

Item = TypeVar("Item")
Result = TypeVar("Result")


class Bench:
    """ngspice in `workers` child processes, started when first needed and kept until the Bench is closed.

    Use it as a context manager. `time_limit_s`: wall-clock limit of one analysis; past it the worker is ended
    (EngineTimeout) and replaced. `keep_failed`: folder for the decks of failed runs (default: a fresh
    temporary folder, made at the first failure). May be shared between threads.
    Raises EngineMissing at the first session if there is no usable ngspice.
    """

    def __init__(self, workers: int = 2, time_limit_s: float = 60.0, keep_failed: Path | None = None) -> None:
        if workers < 1:
            raise ValueError(f"a bench needs at least one worker, not {workers}")
        if not time_limit_s > 0:
            raise ValueError(f"time_limit_s must be positive, not {time_limit_s}")
        self.workers = workers
        self.time_limit_s = time_limit_s
        self._keep_folder = None if keep_failed is None else Path(keep_failed)
        self._failures = 0
        self._kept: list[Path] = []
        self._lock = threading.Lock()
        self._idle: list[WorkerProcess] = []
        self._starting: list[WorkerProcess] = []
        self._all: set[WorkerProcess] = set()
        self._closed = False
        self._wake = threading.Event()
        self._monitor: threading.Thread | None = None
        self._engine_seconds = 0.0
        self._evaluations = 0
        self._loaded: Counter[tuple[str, str]] = Counter()
        self._rungs: Counter[Rung] = Counter()
        self._version = 0

    # ------------------------------------------------------------------ totals

    @property
    def engine_seconds(self) -> float:
        """Time spent within ngspice so far, s, summed over all sessions."""
        return self._engine_seconds

    @property
    def evaluations(self) -> int:
        """Number of analyses run so far, over all sessions."""
        return self._evaluations

    @property
    def loaded(self) -> Counter[tuple[str, str]]:
        """Title and SHA-256 of every deck given to ngspice so far, with how often; a copy."""
        with self._lock:
            return self._loaded.copy()

    @property
    def ngspice_version(self) -> int:
        """Version of the ngspice in use; starts a worker if none has run yet."""
        if not self._version:
            self._release(self._acquire())
        return self._version

    # ------------------------------------------------------------------ use

    def warm(self) -> None:
        """Begin to start all workers, side by side, and return at once: they get ready meanwhile.

        What keeps them from it is told by the first session.
        """
        with self._lock, suppress(EngineError):
            for _ in range(0 if self._closed else self.workers - len(self._all)):
                worker = WorkerProcess(self.time_limit_s)
                self._starting.append(worker)
                self._all.add(worker)

    def keep_in(self, folder: Path | None) -> None:
        """Keep the decks of failed runs in `folder` from now on; None leaves the place as it is."""
        if folder is not None:
            self._keep_folder = Path(folder)

    def __enter__(self) -> "Bench":
        return self

    def __exit__(self, *exc_info: object) -> None:
        self.close()

    @property
    def rungs(self) -> Counter[Rung]:
        """How the analyses run so far found their operating points, with how many of each; a copy."""
        with self._lock:
            return self._rungs.copy()

    @contextmanager
    def session(
        self, deck: Deck, *, easy: Mapping[str, tuple[float, float]] | None = None, climb: bool = True
    ) -> Iterator[Session]:
        """Load `deck` into a worker of its own for the length of the `with` block.

        A session within a session gets a further worker. `easy`: see Session; climb: False for a caller that
        has a rung of its own where ngspice finds no solution. Raises EngineFailed if ngspice does not take
        the deck.
        """
        worker = self._acquire()
        with self._lock:
            self._loaded[deck.title, deck.sha256] += 1
        session: Session | None = None
        try:
            renew = self._renew if climb else None
            session = Session(deck, worker, keep=self._keep, count=self._count, renew=renew, easy=easy)
            yield session
        finally:
            try:
                if session is not None:
                    session.close()
                else:
                    worker.kill()
            finally:
                self._release(worker if session is None else session.worker)

    def map(
        self,
        function: "Callable[[Bench, Item], Result]",
        items: Iterable[Item],
        progress: Callable[[int, int], None] | None = None,
    ) -> list[Result]:
        """Return `[function(bench, item) for item in items]`, with up to `workers` of them at a time.

        The functions run in threads of this process, so they may be closures and share what they only
        read; each opens its own sessions. `progress(done, total)` is called in the calling thread. The
        first item (in order) that raises ends the map: no further item is begun and its exception is raised.
        """
        work = list(items)
        pool = ThreadPoolExecutor(max_workers=self.workers, thread_name_prefix="bench")
        futures = []
        try:
            futures = [pool.submit(function, self, item) for item in work]
            pending = set(futures)
            while pending:
                finished, pending = wait(pending, return_when=FIRST_COMPLETED)
                if any(future.exception() is not None for future in finished):
                    break
                if progress is not None:
                    progress(len(work) - len(pending), len(work))
        except (KeyboardInterrupt, SystemExit):
            # A thread within ngspice returns only when its worker is gone.
            pool.shutdown(wait=False, cancel_futures=True)
            self.close()
            raise
        finally:
            pool.shutdown(wait=True, cancel_futures=True)
        # Items are begun in order, so every item before the first failure has been run.
        for future in futures:
            if not future.cancelled() and (error := future.exception()) is not None:
                raise error
        return [future.result() for future in futures]

    def close(self) -> None:
        """End all workers. The Bench cannot be used afterwards."""
        with self._lock:
            self._closed = True
            workers, self._all = self._all, set()
            self._idle, self._starting = [], []
        self._wake.set()
        for worker in workers:
            if worker.busy:
                worker.kill()  # its thread closes the pipes when it gives the worker back
            else:
                worker.close()

    # ------------------------------------------------------------------ workers

    def _acquire(self) -> WorkerProcess:
        with self._lock:
            if self._closed:
                raise EngineError("this bench is closed")
            while self._idle:
                worker = self._idle.pop()
                if worker.alive:
                    return worker
                self._all.discard(worker)
                worker.close()
            worker = self._starting.pop(0) if self._starting else WorkerProcess(self.time_limit_s)
            self._all.add(worker)
            if self._monitor is None:
                self._monitor = threading.Thread(target=self._watch, name="bench-watch", daemon=True)
                self._monitor.start()
        try:
            worker.start()
        except WorkerGone as gone:
            self._release(worker)
            late = f"it took longer than {worker.start_limit_s:g} s and was stopped"
            raise EngineLost(f"ngspice could not be started: {late if gone.timed_out else gone}") from None
        except BaseException:
            worker.kill()
            self._release(worker)
            raise
        self._version = worker.version
        return worker

    def _release(self, worker: WorkerProcess) -> None:
        with self._lock:
            if not self._closed and worker.alive and not worker.busy and len(self._idle) < self.workers:
                self._idle.append(worker)
                return
            self._all.discard(worker)
        worker.close()

    def _renew(self, worker: WorkerProcess) -> WorkerProcess:
        """Give back a worker whose analysis failed and return another."""
        worker.kill()
        another = self._acquire()
        self._release(worker)
        return another

    def _watch(self) -> None:
        """End workers past their time limit. Looks ten times within a limit, at least once a second."""
        pause = min(1.0, self.time_limit_s / 10)
        while not self._wake.wait(pause):
            now = time.monotonic()
            with self._lock:
                late = [w for w in self._all if w.deadline is not None and now > w.deadline]
            for worker in late:
                worker.timed_out = True
                worker.kill()

    def _count(self, seconds: float, evaluations: int, rung: Rung | None) -> None:
        with self._lock:
            self._engine_seconds += seconds
            self._evaluations += evaluations
            if rung is not None:
                self._rungs[rung] += 1

    # ------------------------------------------------------------------ failed decks

    @property
    def kept(self) -> tuple[Path, ...]:
        """The decks of failed runs that were kept so far."""
        with self._lock:
            return tuple(self._kept)

    def forget_unnamed(self, told: str) -> None:
        """Take away the kept decks that `told` does not name: another way led to what they were run for."""
        with self._lock:
            for path in [p for p in self._kept if p.name not in told]:
                self._kept.remove(path)
                with suppress(OSError):
                    path.unlink()
                    path.parent.rmdir()  # unless there are others

    def _keep(
        self, deck: Deck, commands: Sequence[str], lines: Sequence[str]
    ) -> tuple[Path | None, str | None]:
        """Write a failed deck with what was asked and what ngspice said; return its path or why it has none.

        Where the folder can't be written to, a temporary one is taken. Nothing is written once the bench is
        closed: the run did not fail, it was broken off.
        """
        notes = ["* commands sent, oldest first:", *(f"*   {command}" for command in commands)]
        notes += ["* answer:", *(f"*   {line}" for line in lines)]
        text = deck.netlist().removesuffix(".end\n") + "\n".join(map(_plain, notes)) + "\n.end\n"
        slug = re.sub(r"[^a-z0-9]+", "-", deck.title.lower()).strip("-")[:40] or "deck"
        reason = None
        with self._lock:
            if self._closed:
                return None, None
            self._failures += 1
            name = f"{slug}-{deck.sha256[:12]}-{self._failures}.cir"
            for asked in (self._keep_folder, None):
                fresh = None
                try:
                    if asked is None:
                        fresh = Path(tempfile.mkdtemp(prefix="receiver_sim-failed-"))
                    place = asked or fresh
                    assert place is not None
                    self._kept.append(outputs.write(place / name, text.encode("ascii")))
                    self._keep_folder = place
                    return place / name, None
                except OSError as error:
                    reason = str(error)
                    if fresh is not None:
                        fresh.rmdir()
        return None, reason


def _plain(text: str) -> str:
    """Return text as one printable ASCII line."""
    return "".join(c if " " <= c <= "~" else "?" for c in text)
