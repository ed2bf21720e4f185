"""Broken builds: every file in tests/bad_builds gives the whole message in the .expected file beside it."""

from pathlib import Path

import pytest

from receiver_sim.schema import BuildFaults, load_build

FOLDER = Path(__file__).parent.parent / "bad_builds"
TUBES = ("6SJ7", "6SK7", "6J7", "6K7", "6J5", "6C5", "6SN7", "6AU6")
BUILDS = sorted(FOLDER.glob("*.yaml"))


def test_there_are_enough():
    assert len(BUILDS) >= 36
    assert {p.stem for p in BUILDS} == {p.stem for p in FOLDER.glob("*.expected")}


@pytest.mark.parametrize("build", BUILDS, ids=lambda p: p.stem)
def test_the_whole_message(build):
    with pytest.raises(BuildFaults) as caught:
        load_build(build, known_tubes=lambda: TUBES)
    expected = build.with_suffix(".expected").read_text(encoding="utf-8")
    assert str(caught.value).replace(str(build), build.name) + "\n" == expected
    lines = [fault.line for fault in caught.value.faults]
    assert lines == sorted(lines)
