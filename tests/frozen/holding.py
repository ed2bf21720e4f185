"""A case held against what is kept of it."""

from __future__ import annotations

from tests.frozen.cases import CASES, Case
from tests.frozen.comparing import differences, tolerance_of
from tests.frozen.recording import kept, record

CURE = "if that is meant: `python -m tests.frozen {name}` writes it anew, and the commit says why"


def of(group: str) -> list[Case]:
    """Return the cases of one file of tests."""
    return [case for case in CASES if case.group == group]


def hold(case: Case) -> None:
    """Fail with the largest differences."""
    found = differences(kept(case.name), record(case), rel=tolerance_of(case.words[0]))
    lines = [f"{one.place}: {one.was} -> {one.now} ({one.size:.2g})" for one in found[:6]]
    assert not found, "\n".join([f"{case.name}: {len(found)} differ", *lines, CURE.format(name=case.name)])
