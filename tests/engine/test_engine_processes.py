"""Workers as processes: independence of their number, of the caller's script, and nothing left behind."""

import os
import signal
import subprocess
import sys
import threading
import time

import numpy as np
import pytest

from receiver_sim.engine import Bench, Deck, EngineError, EngineFailed

RC = Deck("RC", "V1 a 0 dc 1 ac 1\nR1 a b 1k\nC1 b 0 1n\nB1 c 0 v=v(b)*v(b)\nR2 c 0 1k\n")

posix = pytest.mark.skipif(os.name != "posix", reason="signals as on POSIX systems")


def _evaluate(bench, value):
    with bench.session(RC) as session:
        session.alter("r1", 1e3 + value)
        session.alter("v1", 1 + 0.1 * value)
        ac = session.ac(1e3, 1e6, 3, "dec", vectors=["b", "c"])
        tran = session.tran(1e-7, 3e-6, vectors=["b"])
        return ac["b"], ac["c"], tran["b"]


def test_two_workers_give_the_same_as_one_in_any_order():
    items = list(range(12))
    with Bench(1) as one, Bench(2) as two:
        alone = one.map(_evaluate, items)
        shared = two.map(_evaluate, items)
        backwards = two.map(_evaluate, items[::-1])[::-1]
        assert one.evaluations == 24 and two.evaluations == 48
        assert one.engine_seconds > 0
        assert one.ngspice_version >= 36
    for first, second, third in zip(alone, shared, backwards, strict=True):
        for a, b, c in zip(first, second, third, strict=True):
            np.testing.assert_array_equal(a, b)
            np.testing.assert_array_equal(a, c)


def test_map_reports_progress_and_uses_both_workers():
    seen = []
    pids = set()

    def work(bench, item):
        with bench.session(RC) as session:
            pids.add(session.worker.pid)
            both.wait(timeout=30)  # only passes when two sessions are open at a time
            return item * session.op()["a"][0]

    both = threading.Barrier(2)
    with Bench(2) as bench:
        assert bench.map(work, [3, 1, 2, 5], progress=lambda done, total: seen.append((done, total))) == [
            3,
            1,
            2,
            5,
        ]
        assert bench.map(work, []) == []
    assert seen[-1] == (4, 4) and seen == sorted(seen)
    assert len(pids) == 2


def test_map_raises_the_first_failure_in_order():
    bad = Deck("bad", "X1 a 0 nosuch")
    begun = []

    def work(bench, item):
        begun.append(item)
        with bench.session(bad if item in (2, 3) else RC) as session:
            return session.op()["a"][0]

    for workers in (1, 2):
        begun.clear()
        with Bench(workers) as bench:
            with pytest.raises(
                EngineFailed, match=r"unknown subckt: x1 a 0 nosuch; the deck is kept in .*-[12]\.cir"
            ):
                bench.map(work, range(40))
            assert len(begun) < 40
            assert bench.map(lambda b, item: item, [1, 2]) == [1, 2]


def test_sessions_within_sessions_do_not_wait_for_each_other():
    with Bench(1) as bench, bench.session(RC) as outer, bench.session(RC) as inner:
        assert outer.worker.pid != inner.worker.pid
        assert outer.op()["a"] == inner.op()["a"]


def test_closed_bench_is_refused_and_leaves_no_process():
    bench = Bench(2)
    with bench, bench.session(RC) as session:
        pid = session.worker.pid
    with pytest.raises(EngineError, match=r"^this bench is closed$"), bench.session(RC):
        pass
    assert not _runs(pid)
    bench.close()  # twice does no harm


def test_arguments():
    with pytest.raises(ValueError, match=r"^a bench needs at least one worker, not 0$"):
        Bench(0)
    with pytest.raises(ValueError, match=r"^time_limit_s must be positive, not 0$"):
        Bench(time_limit_s=0)


def _script(tmp_path, text):
    path = tmp_path / "script.py"
    path.write_text(text)
    return [sys.executable, str(path)]


SIMPLE = """
from receiver_sim.engine import Bench, Deck
print("begin", flush=True)
with Bench(2) as bench:
    deck = Deck("t", "V1 a 0 1\\nR1 a b 1k\\nR2 b 0 3k\\n")
    def work(bench, item):
        with bench.session(deck) as session:
            session.alter("r2", item)
            return session.op()["b"][0]
    print(bench.map(work, [1e3, 3e3]))
"""


def test_script_without_main_guard_and_clean_output(tmp_path):
    """Workers must not run the caller's script again, nor print ngspice's chatter."""
    done = subprocess.run(
        _script(tmp_path, SIMPLE), capture_output=True, text=True, timeout=60, cwd=tmp_path, check=False
    )
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert lines[0] == "begin" and len(lines) == 2
    assert [float(w.strip("np.float64()[] ")) for w in lines[1].split(",")] == pytest.approx([0.5, 0.75])
    assert done.stderr == ""


def test_files_in_the_folder_at_hand_are_not_obeyed(tmp_path):
    """Neither ngspice's start-up file nor a module that shadows one of ours may act on a worker."""
    seen = tmp_path / "seen"
    (tmp_path / ".spiceinit").write_text(f"shell touch {seen}\n")
    (tmp_path / "spice.rc").write_text(f"shell touch {seen}\n")
    for module in ("json", "pickle", "numpy", "cffi"):
        (tmp_path / f"{module}.py").write_text(f"open({str(seen)!r}, 'w')\n")
    script = tmp_path / "bin"
    script.mkdir()
    done = subprocess.run(
        _script(script, SIMPLE),
        capture_output=True,
        text=True,
        timeout=60,
        cwd=tmp_path,
        env={**os.environ, "HOME": str(tmp_path)},
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert not seen.exists()


def test_import_is_light():
    """Importing the engine loads neither ngspice's binding nor numpy, and a worker never loads matplotlib."""
    code = (
        "import sys, receiver_sim.engine; "
        "print([m for m in ('PySpice', 'numpy', 'matplotlib') if m in sys.modules])"
    )
    assert subprocess.check_output([sys.executable, "-c", code], text=True) == "[]\n"
    code = (
        "import sys, receiver_sim.engine.simulator; "
        "print([m for m in ('matplotlib', 'scipy', 'pandas') if m in sys.modules])"
    )
    assert subprocess.check_output([sys.executable, "-c", code], text=True) == "[]\n"


LONG = """
import signal, sys
from receiver_sim.engine import Bench, Deck
# a shell that starts the tests in its background has them ignore the interrupt, and this script after them
signal.signal(signal.SIGINT, signal.default_int_handler)
endless = Deck("t", "V1 a 0 sin(0 1 1e9)\\nR1 a b 1k\\nC1 b 0 1p\\n")
def work(bench, item):
    with bench.session(endless) as session:
        sys.stdout.write(f"{session.worker.pid}\\n")  # at once: two threads write here
        sys.stdout.flush()
        session.tran(1e-12, 1.0, vectors=["b"])
try:
    with Bench(2, keep_failed=sys.argv[1]) as bench:
        MAP
except KeyboardInterrupt:
    print("interrupted", flush=True)
"""


@posix
@pytest.mark.parametrize("call", ["bench.map(work, [1, 2, 3])", "work(bench, 1)"])
def test_interrupt_ends_the_workers(tmp_path, call):
    kept = tmp_path / "kept"
    parent, pids = _start_long(tmp_path, call, kept)
    os.kill(parent.pid, signal.SIGINT)
    rest, errors = parent.communicate(timeout=20)
    assert rest.splitlines()[-1] == "interrupted", errors
    assert parent.returncode == 0
    assert not any(_runs(pid) for pid in pids)
    assert not kept.exists()  # what was broken off is no failed deck


@posix
def test_workers_end_when_the_parent_is_killed(tmp_path):
    """Even a worker deep within an analysis: it looks for its parent once a second."""
    parent, pids = _start_long(tmp_path, "bench.map(work, [1, 2])", tmp_path / "kept")
    parent.kill()
    parent.communicate(timeout=20)
    until = time.monotonic() + 10
    while any(_runs(pid) for pid in pids) and time.monotonic() < until:
        time.sleep(0.1)
    assert not any(_runs(pid) for pid in pids)


@posix
def test_terminal_interrupt_is_left_to_the_parent(bench):
    """Ctrl-C reaches the whole process group; a worker must not die of it before its parent decides."""
    with bench.session(RC) as session:
        session.op()
        os.kill(session.worker.pid, signal.SIGINT)
        time.sleep(0.2)
        assert session.op()["a"] == pytest.approx([1.0])


def _start_long(tmp_path, call, kept):
    command = [*_script(tmp_path, LONG.replace("MAP", call)), str(kept)]
    parent = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    pids = [int(parent.stdout.readline()) for _ in range(2 if "map" in call else 1)]
    time.sleep(0.3)  # well into the analysis
    return parent, pids


def _runs(pid):
    """Whether a process runs; one that only waits to be reaped by the system does not."""
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    if os.path.isdir("/proc"):
        try:
            with open(f"/proc/{pid}/stat") as stat:
                return stat.read().rpartition(")")[2].split()[0] != "Z"
        except FileNotFoundError:
            return False
    return True


def test_workers_get_ready_side_by_side():
    """They were started one after another, each when it was first needed."""
    with Bench(workers=2, time_limit_s=30) as bench:
        bench.warm()
        bench.warm()
        ready = set(bench._all)
        assert len(ready) == 2 and all(worker.alive for worker in ready)
        with bench.session(RC) as one, bench.session(RC) as other:
            assert {one.worker, other.worker} == ready
        bench.warm()
        assert bench._all == ready
    assert not any(worker.alive for worker in ready)


def test_workers_that_nobody_asked_end_with_the_bench():
    bench = Bench(workers=2, time_limit_s=30)
    bench.warm()
    started = set(bench._all)
    bench.close()
    assert len(started) == 2 and not any(worker.alive for worker in started)
    bench.warm()
    assert bench._all == set()
