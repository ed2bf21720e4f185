"""Processes of the program leave the processor to ngspice: linear algebra has no threads of its own."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from receiver_sim import one_thread
from receiver_sim.engine import Bench, Deck

linux = pytest.mark.skipif(not Path("/proc/self/task").is_dir(), reason="threads are counted in /proc")

AFTER_A_VERB = """
import os
from receiver_sim.cli import main
try:
    main(["--version"])
except SystemExit:
    pass
import numpy as np
np.linalg.eigvals(np.random.default_rng(1).normal(size=(300, 300)))
print(len(os.listdir("/proc/self/task")))
"""


def bare() -> dict[str, str]:
    """Return this environment without any number of threads."""
    return {name: value for name, value in os.environ.items() if not name.endswith("_NUM_THREADS")}


@linux
def test_the_command_line_computes_on_one_thread() -> None:
    """Guards against threads of OpenBLAS that wait without rest: 3 s of processor time in a `check`."""
    said = subprocess.run(
        [sys.executable, "-c", AFTER_A_VERB], env=bare(), check=True, capture_output=True, text=True
    )
    assert said.stdout.split()[-1] == "1"


@linux
def test_a_worker_has_its_own_two_threads_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in [n for n in os.environ if n.endswith("_NUM_THREADS")]:
        monkeypatch.delenv(name)
    with Bench(workers=1) as bench, bench.session(Deck("one resistor", "v1 a 0 1\nr1 a 0 1k")) as session:
        threads = list(Path(f"/proc/{session.worker.pid}/task").iterdir())
    assert len(threads) == 2  # it serves, and watches that its caller lives
    assert not any(name.endswith("_NUM_THREADS") for name in os.environ)  # the caller's is left alone


def test_a_number_that_the_user_asked_for_stays() -> None:
    asked = {"OMP_NUM_THREADS": "4"}
    one_thread.ask_for_one(asked)
    assert asked == {"OMP_NUM_THREADS": "4"}
