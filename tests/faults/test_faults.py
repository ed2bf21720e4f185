"""The lists of faults are in order, and faults that are made die.

Every fault's text must still stand in its file, so that the lists stay true as the code moves: where a change
of
the program takes a text away, give the fault the new text, or another fault of the same kind in its place.
"""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from tests.faults import run

FAULTS = run.load()
ROOMS = {"circuit", "cli", "engine", "netlists", "physics", "results", "schema", "studies", "views"}


def test_every_fault_can_be_made() -> None:
    assert run.misfits(FAULTS) == []


def test_a_hundred_faults_over_all_rooms() -> None:
    assert len(FAULTS) >= 100
    assert {fault.room for fault in FAULTS} == ROOMS
    assert all(sum(f.room == room for f in FAULTS) >= 5 for room in ROOMS)


@pytest.mark.parametrize("path", sorted({f.file for f in FAULTS if f.file.endswith(".py")}))
def test_a_fault_is_no_mere_slip_of_the_pen(path: str) -> None:
    """What does not compile is noticed by anything."""
    sound = (run.ROOT / path).read_text(encoding="utf-8")
    for fault in FAULTS:
        if fault.file == path:
            ast.parse(sound.replace(fault.old, fault.new))


def test_what_is_not_in_order_is_said(tmp_path: Path) -> None:
    one = FAULTS[0]
    gone = run.Fault(one.room, "gone", one.file, "no such text stands here", "x", "", one.tests)
    idle = run.Fault(one.room, "idle", one.file, one.old, one.old, "", ("tests/no_such_file.py",))
    assert run.misfits([gone, idle, one, one]) == [
        f"{one.id}: the name comes twice",
        f"gone: its text stands 0 times in {one.file}",
        "idle: it changes nothing",
        "idle: there is no test tests/no_such_file.py",
    ]


# cheap ones, each of another room, through the whole machinery
MADE = ("wire-shows-pitch", "per-cent-hundred-times-low", "json-says-picofarads")


def test_faults_that_are_made_die(tmp_path: Path) -> None:
    """And a copy without a fault passes the same tests, or nothing would be shown."""
    place = run.copied(tmp_path / "tree")
    chosen = [fault for fault in FAULTS if fault.id in MADE]
    assert len(chosen) == len(MADE)
    tests = sorted({test for fault in chosen for test in fault.tests})
    assert run.killer(*run.pytest(place, tests)) is None
    for fault in chosen:
        by = run.judge(fault, place, whole=False)
        assert by is not None and by.startswith("tests/"), fault.id
        assert (place / fault.file).read_bytes() == (run.ROOT / fault.file).read_bytes()
