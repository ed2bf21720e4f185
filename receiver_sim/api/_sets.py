"""Runs many sets on as many processes as there are, here or in a cluster; stopped and resumed without loss.

The sets go out in blocks of fixed numbers; each gives the same figures whoever runs it. What is done is kept
in a file that is replaced whole every few seconds.
"""

from __future__ import annotations

import atexit
import importlib
import json
import pickle
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import lru_cache, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from receiver_sim import outputs
from receiver_sim.circuit.sets import SetPlan, draws, moved_by
from receiver_sim.engine import Bench
from receiver_sim.errors import UserError
from receiver_sim.results.base import Status
from receiver_sim.results.spread import SetOnset
from receiver_sim.schema import Build
from receiver_sim.studies.drawn_sets import look_at_set

if TYPE_CHECKING:
    from receiver_sim.api._asked import Answers

BLOCK = 20
"""Sets that a process takes at a time: some tenths of a second of work."""

EVERY_S = 2.0
"""Seconds after which what is done is kept again."""

REACH_S = 10.0
"""Seconds within which a cluster's scheduler must answer."""

Row = tuple[SetOnset, ...]
Progress = Callable[[str, int, int], None]

_OWN: dict[float, Bench] = {}


def _own_bench(time_limit_s: float) -> Bench:
    """Return the bench of this process, which has one worker and lasts as long as the process."""
    if time_limit_s not in _OWN:
        if not _OWN:
            atexit.register(close_own)
        _OWN[time_limit_s] = Bench(workers=1, time_limit_s=time_limit_s)
    return _OWN[time_limit_s]


def close_own() -> None:
    """Close the benches of this process; the next set opens another."""
    while _OWN:
        _OWN.popitem()[1].close()


def asked_block(
    given: Build, plan: SetPlan, rules: Sequence[str], numbers: Sequence[int], time_limit_s: float
) -> tuple[list[Answers], float, int]:
    """Return what some sets come to in the verdicts asked for; as `block`."""
    # a process that looks for onsets alone would take a third of a second to load what judges all else
    from receiver_sim.api._asked import answers_of  # noqa: PLC0415

    bench = _own_bench(time_limit_s)
    seconds, ran = bench.engine_seconds, bench.evaluations
    found = [answers_of(bench, given, plan, number, rules) for number in numbers]
    return found, bench.engine_seconds - seconds, bench.evaluations - ran


def block(plan: SetPlan, numbers: Sequence[int], time_limit_s: float) -> tuple[list[Row], float, int]:
    """Return the onsets of some sets, the seconds spent in ngspice and the analyses; for any process."""
    bench = _own_bench(time_limit_s)
    seconds, ran = bench.engine_seconds, bench.evaluations
    rows = draws(plan.factors, seed=plan.seed, start=numbers[0], stop=numbers[-1] + 1)
    found = [
        look_at_set(bench, plan, moved_by(plan.factors, rows[number - numbers[0]])) for number in numbers
    ]
    return found, bench.engine_seconds - seconds, bench.evaluations - ran


def packed_block(packed: bytes, numbers: Sequence[int], time_limit_s: float) -> tuple[list[Row], float, int]:
    """Return what `block` does, of a pickled plan: a process unpacks it once, and what is worked out from it
    is worked out once.
    """
    return block(_unpacked(packed), numbers, time_limit_s)


@lru_cache(maxsize=2)
def _unpacked(packed: bytes) -> SetPlan:
    plan: SetPlan = pickle.loads(packed)
    return plan


class Kept:
    """What is done of a run, in a file; `path` None keeps nothing."""

    def __init__(self, path: Path | None) -> None:
        self.path = path
        self._told = time.monotonic()
        self._runs: dict[str, dict[str, Any]] = {}
        if path is not None:
            with suppress(OSError, ValueError, TypeError, KeyError):
                runs = json.loads(path.read_text(encoding="utf-8"))["runs"]
                # a file of that name that holds something else holds no sets
                self._runs = {key: run for key, run in dict(runs).items() if isinstance(run, dict)}

    def rows(self, key: str, read: Callable[[Any], Any] | None = None) -> dict[int, Any]:
        """Return the sets that are done of the run with a plan's key; read: a row, of onsets if None."""
        with suppress(KeyError, TypeError, ValueError):
            return {int(n): (read or _read)(row) for n, row in self._runs.get(key, {}).items()}
        return {}

    def add(
        self,
        key: str,
        rows: dict[int, Any],
        *,
        now: bool = False,
        written: Callable[[Any], Any] | None = None,
    ) -> None:
        """Take up what is done so far, and write it if the time has come. Raises OutputFailed."""
        if self.path is None or not (now or time.monotonic() - self._told > EVERY_S):
            return
        self._runs[key] = {str(n): (written or _written)(row) for n, row in rows.items()}
        self.path.parent.mkdir(parents=True, exist_ok=True)
        outputs.write(self.path, json.dumps({"runs": self._runs}).encode())
        self._told = time.monotonic()

    def done(self) -> None:
        """Take the file away: the answer is given."""
        if self.path is not None:
            self.path.unlink(missing_ok=True)


def _written(row: Row) -> list[list[Any]]:
    return [[one.status.value, *_figures(one)] for one in row]


def _figures(one: SetOnset) -> tuple[float | None, ...]:
    return one.rotation, one.figure, one.approach, one.approach_deg, one.oscillation_hz


def _read(row: list[list[Any]]) -> Row:
    return tuple(SetOnset(Status(status), *figures) for status, *figures in row)


def run_sets(
    plan: SetPlan,
    *,
    count: int,
    workers: int,
    kept: Kept,
    time_limit_s: float = 60.0,
    cluster: str | None = None,
    progress: Progress | None = None,
    what: str = "sets",
) -> list[Row]:
    """Return the onsets of the first `count` sets, in order.

    cluster: address of a scheduler; else `workers` processes here. Raises UserError for a cluster that can't
    be reached, OutputFailed.
    """
    work = partial(packed_block, pickle.dumps(plan))
    job = _Job(plan.key, work, _read, _written, BLOCK, time_limit_s, what)
    found: list[Row] = _run(job, count, workers, kept, cluster, progress)
    return found


def run_asked(
    given: Build,
    plan: SetPlan,
    rules: Sequence[str],
    *,
    count: int,
    workers: int,
    kept: Kept,
    time_limit_s: float = 60.0,
    cluster: str | None = None,
    progress: Progress | None = None,
) -> list[Answers]:
    """Return what the first `count` sets come to in the verdicts asked for, in order; as `run_sets`."""
    work = partial(asked_block, given, plan, tuple(rules))
    key = f"{plan.key} {' '.join(rules)}"
    job = _Job(key, work, _answers_read, list, 1, time_limit_s, "verdicts")
    found: list[Answers] = _run(job, count, workers, kept, cluster, progress)
    return found


def _answers_read(row: list[list[Any]]) -> Answers:
    return tuple((str(subject), str(rule), bool(holds)) for subject, rule, holds in row)


@dataclass(frozen=True)
class _Job:
    """A kind of work on sets: its key, who does it, how a row is read and written, sets at a time."""

    key: str
    work: Callable[[Sequence[int], float], Any]
    read: Callable[[Any], Any]
    written: Callable[[Any], Any]
    block: int
    time_limit_s: float
    what: str


def _run(
    job: _Job, count: int, workers: int, kept: Kept, cluster: str | None, progress: Progress | None
) -> list[Any]:
    from joblib import Parallel, delayed  # noqa: PLC0415 - slow to load, and needed by one verb

    rows = {n: row for n, row in kept.rows(job.key, job.read).items() if n < count}
    blocks = _blocks([n for n in range(count) if n not in rows], job.block)
    if progress is not None:
        progress(job.what, len(rows), count)
    with _executor(workers, cluster) as options:
        jobs = (delayed(job.work)(numbers, job.time_limit_s) for numbers in blocks)
        # in order, so that each answer belongs to its block
        answers = Parallel(return_as="generator", pre_dispatch="3*n_jobs", **options)(jobs)
        try:
            for numbers, (found, _, _) in zip(blocks, answers, strict=True):
                rows |= dict(zip(numbers, found, strict=True))
                kept.add(job.key, rows, written=job.written)
                if progress is not None:
                    progress(job.what, len(rows), count)
        finally:
            kept.add(job.key, rows, now=True, written=job.written)
    return [rows[n] for n in range(count)]


def _blocks(numbers: Sequence[int], size: int) -> list[list[int]]:
    """Return the numbers in blocks that do not cross a multiple of `size`."""
    out: dict[int, list[int]] = {}
    for number in numbers:
        out.setdefault(number // size, []).append(number)
    return list(out.values())


_HELD: list[bool] = []
_LEFT: list[bool] = []
"""Whether processes are to be held, and whether a run has left some."""


@contextmanager
def processes_held() -> Iterator[None]:
    """Keep the processes from one run to the next within the block: they take seconds to start."""
    _HELD.append(True)
    try:
        yield
    finally:
        _HELD.pop()
        if not _HELD:
            _end_processes()


def _end_processes() -> None:
    if not _LEFT:
        return
    _LEFT.clear()
    from joblib.externals.loky import get_reusable_executor  # noqa: PLC0415 - as joblib itself

    get_reusable_executor().shutdown(wait=True, kill_workers=True)


@contextmanager
def _executor(workers: int, cluster: str | None) -> Iterator[dict[str, Any]]:
    """Give the options of joblib for processes here or in a cluster, and clear up after them."""
    if cluster is None:
        try:
            yield {"n_jobs": workers, "backend": "loky"} if workers > 1 else {"n_jobs": 1}
        finally:
            close_own()
            if workers > 1:
                _LEFT.append(True)
                if not _HELD:
                    _end_processes()
        return
    with _client(cluster):
        from joblib import parallel_config  # noqa: PLC0415 - as joblib itself

        with parallel_config(backend="dask", wait_for_workers_timeout=30):
            yield {"n_jobs": -1}


def _client(address: str) -> Any:
    """Return the client of a cluster's scheduler. Raises UserError."""
    try:
        distributed = importlib.import_module("distributed")  # an optional library
    except ImportError:
        raise UserError("--cluster needs the extra 'cluster': pip install 'receiver_sim[cluster]'") from None
    try:
        client: Any = distributed.Client
        return client(address, timeout=REACH_S)
    except (OSError, ValueError) as error:
        raise UserError(f"--cluster {address}: no scheduler answers there ({error})") from None


__all__ = ["BLOCK", "Kept", "block", "close_own", "processes_held", "run_asked", "run_sets"]
