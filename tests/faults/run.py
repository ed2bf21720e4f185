"""Puts known faults into the program, one at a time, and tells which tests notice.

    python tests/faults/run.py                    every fault of the lists, against the tests named beside it
    python tests/faults/run.py --room views       those of one list
    python tests/faults/run.py drain-before-capacitor wire-shows-pitch
    python tests/faults/run.py --whole            a fault that its tests let pass goes through the whole suite

Each fault is made in a temporary copy of the tree; the working tree is not touched. The named tests are run
once without a fault before, for a test that fails anyway kills nothing. Exit code 0: all died; 1: some
survived; 2: a list is not in order. One line a fault: its name, KILLED and by which test, or SURVIVED.

The lists lie beside this file, one YAML file a room of the program. A fault has
    id      its name, unique over all lists
    file    the file that is changed
    old     text that stands exactly once in it
    new     what is put in its place
    means   what is wrong then, in a sentence
    tests   files or tests of pytest that are expected to notice, the cheapest first
"""

from __future__ import annotations

import argparse
import importlib
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from queue import Queue

import yaml

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
KEYS = ("id", "file", "old", "new", "means", "tests")
LONGEST_S = 900.0
"""Time that the tests of one fault may take; a fault that makes them hang counts as killed."""


@dataclass(frozen=True)
class Fault:
    """One fault; room: the name of its list."""

    room: str
    id: str
    file: str
    old: str
    new: str
    means: str
    tests: tuple[str, ...]


def lists() -> list[Path]:
    """Return the lists, a file each."""
    return sorted(HERE.glob("*.yaml"))


def load() -> list[Fault]:
    """Return every fault of every list. Raises ValueError for one that lacks a key or has another."""
    found = []
    for path in lists():
        for number, entry in enumerate(yaml.safe_load(path.read_text(encoding="utf-8")), start=1):
            if tuple(entry) != KEYS:
                raise ValueError(
                    f"{path.name}, fault {number}: keys {', '.join(entry)}, not {', '.join(KEYS)}"
                )
            found.append(Fault(path.stem, **{**entry, "tests": tuple(entry["tests"])}))
    return found


def misfits(faults: Sequence[Fault], root: Path = ROOT) -> list[str]:
    """Return what keeps faults from being made: names that come twice, text that is gone or not unique."""
    out = [
        f"{f.id}: the name comes twice" for n, f in enumerate(faults) if f.id in {g.id for g in faults[:n]}
    ]
    for fault in faults:
        path = root / fault.file
        count = path.read_text(encoding="utf-8").count(fault.old) if path.is_file() else 0
        if count != 1:
            out.append(f"{fault.id}: its text stands {count} times in {fault.file}")
        if fault.old == fault.new:
            out.append(f"{fault.id}: it changes nothing")
        for test in fault.tests:
            place, _, name = test.partition("::")
            bare = name.partition("[")[0]
            here = root / place
            cut_off = bare != name and not name.endswith("]")
            if (
                not here.exists()
                or cut_off
                or (bare and f"def {bare}(" not in here.read_text(encoding="utf-8"))
            ):
                out.append(f"{fault.id}: there is no test {test}")
        if not fault.tests:
            out.append(f"{fault.id}: no test is named")
    return out


def copied(place: Path) -> Path:
    """Copy what the tests need of the tree and return the copy."""
    keep = shutil.ignore_patterns(
        ".git", ".venv", "venv", "build", "dist", "mutants", "__pycache__", ".*_cache", "*.egg-info"
    )
    shutil.copytree(ROOT, place, ignore=keep, symlinks=True, dirs_exist_ok=True)
    return place


def pytest(place: Path, tests: Sequence[str], *, fork: bool = False) -> tuple[int, str]:
    """Run pytest in a copy; return its exit code and what it printed. 124: it took too long.

    fork: in a child of this process, which has loaded the libraries already: half of the time of a quick
    test.
    """
    arguments = ["-x", "-q", "--no-header", "-p", "no:cacheprovider", *tests]
    if fork and hasattr(os, "fork"):
        return _forked(place, arguments)
    environment = {**os.environ, "PYTHONPATH": str(place), "PYTHONDONTWRITEBYTECODE": "1"}
    command = [sys.executable, "-m", "pytest", *arguments]
    try:
        done = subprocess.run(
            command,
            cwd=place,
            env=environment,
            capture_output=True,
            text=True,
            check=False,
            timeout=LONGEST_S,
        )
    except subprocess.TimeoutExpired:
        return 124, ""
    return done.returncode, done.stdout + done.stderr


_LIBRARIES = (
    "numpy", "scipy.optimize", "scipy.signal", "scipy.interpolate", "matplotlib.figure", "pydantic", "pint",
    "jinja2.sandbox", "yaml", "click", "rich.table", "hypothesis", "jsonschema", "pytest",
)  # fmt: skip


def _forked(place: Path, arguments: Sequence[str]) -> tuple[int, str]:
    for name in _LIBRARIES:
        importlib.import_module(name)
    assert "receiver_sim" not in sys.modules  # it would be that of this tree
    with tempfile.TemporaryFile() as printed:
        child = os.fork()
        if child == 0:
            code = 70
            try:
                os.setsid()
                os.chdir(place)
                os.environ["PYTHONPATH"] = str(place)
                sys.dont_write_bytecode = True
                sys.path[:0] = [str(place)]
                for name in [n for n in sys.modules if n.partition(".")[0] == "tests"]:
                    del sys.modules[name]
                os.dup2(printed.fileno(), 1)
                os.dup2(printed.fileno(), 2)
                code = int(importlib.import_module("pytest").main(list(arguments)))
                sys.stdout.flush()
            finally:
                os._exit(code)
        until = time.monotonic() + LONGEST_S
        while (ended := os.waitpid(child, os.WNOHANG))[0] == 0:
            if time.monotonic() > until:
                os.killpg(child, signal.SIGKILL)
                os.waitpid(child, 0)
                return 124, ""
            time.sleep(0.02)
        printed.seek(0)
        return os.waitstatus_to_exitcode(ended[1]), printed.read().decode("utf-8", "replace")


@contextmanager
def made(fault: Fault, place: Path) -> Iterator[None]:
    """Hold a fault in a copy, and put the text right again."""
    path = place / fault.file
    sound = path.read_text(encoding="utf-8")
    if sound.count(fault.old) != 1:
        raise ValueError(f"{fault.id}: its text stands {sound.count(fault.old)} times in {fault.file}")
    path.write_text(sound.replace(fault.old, fault.new), encoding="utf-8")
    try:
        yield
    finally:
        path.write_text(sound, encoding="utf-8")


def killer(code: int, printed: str) -> str | None:
    """Return what noticed, None if nothing did. Raises RuntimeError where pytest did not run any test."""
    if code == 0:
        return None
    if code == 124:
        return "the time limit"
    found = re.search(r"^(?:FAILED|ERROR) (\S+)", printed, re.MULTILINE)
    if found:
        return found[1]
    raise RuntimeError(f"pytest ended with {code}:\n{printed[-2000:]}")


def judge(fault: Fault, place: Path, *, whole: bool, fork: bool = False) -> str | None:
    """Return which test kills a fault, None if it survives."""
    with made(fault, place):
        by = killer(*pytest(place, fault.tests, fork=fork))
        if by is None and whole:
            by = killer(*pytest(place, ["tests"]))
    return by


def run(faults: Sequence[Fault], *, whole: bool, jobs: int, trust: bool) -> int:
    """Make every fault and print what noticed it; return the exit code."""
    with tempfile.TemporaryDirectory(prefix="faults-") as folder:
        places: Queue[Path] = Queue()
        for number in range(jobs):
            places.put(copied(Path(folder) / str(number)))
        tests = sorted({test for fault in faults for test in fault.tests})
        print(
            f"{len(faults)} faults; {len(tests)} tests and files of tests, without any of them:", flush=True
        )
        code, printed = (0, "") if trust else pytest(places.queue[0], tests)
        if code != 0:
            print(f"they do not pass without a fault:\n{printed[-3000:]}")
            return 2

        def one(fault: Fault) -> tuple[Fault, str | None, float]:
            place, began = places.get(), time.perf_counter()
            try:
                found = judge(fault, place, whole=whole, fork=jobs == 1)
                return fault, found, time.perf_counter() - began
            finally:
                places.put(place)

        survivors = []
        with ThreadPoolExecutor(jobs) as pool:
            # one at a time stays in this thread: a child of a process of many threads may hang
            for fault, by, seconds in map(one, faults) if jobs == 1 else pool.map(one, faults):
                word = "SURVIVED" if by is None else "KILLED  "
                print(f"{word} {fault.room}/{fault.id} ({seconds:.0f} s) {by or fault.means}", flush=True)
                survivors += [fault] if by is None else []
    print(f"{len(faults) - len(survivors)} of {len(faults)} killed")
    return 1 if survivors else 0


def main() -> int:
    """Read the command line, run, return the exit code."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("ids", nargs="*", metavar="ID", help="faults to make; all if none is named")
    parser.add_argument("--room", help="only those of this list")
    parser.add_argument("--whole", action="store_true", help="survivors go through the whole suite")
    parser.add_argument("--jobs", type=int, default=1, help="copies of the tree that work side by side")
    parser.add_argument("--trust", action="store_true", help="do not run the tests without a fault before")
    given = parser.parse_args()
    faults = load()
    unknown = set(given.ids) - {f.id for f in faults}
    if unknown or (given.room and given.room not in {f.room for f in faults}):
        print(f"no such fault or list: {', '.join(sorted(unknown)) or given.room}")
        return 2
    chosen = [
        f for f in faults if (not given.ids or f.id in given.ids) and (not given.room or f.room == given.room)
    ]
    wrong = misfits(chosen)
    if wrong:
        print("\n".join(wrong))
        return 2
    return run(chosen, whole=given.whole, jobs=given.jobs, trust=given.trust)


if __name__ == "__main__":
    sys.exit(main())
