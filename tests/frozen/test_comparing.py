"""The comparison that holds kept answers: what it lets pass and what not."""

from __future__ import annotations

import math
import re

import pytest

from tests.frozen.cases import CASES
from tests.frozen.comparing import differences
from tests.frozen.recording import KEPT, file_of, reduced

WAS = {
    "page": ["band   onset %   V", "40 m      38   22.9", " - 6SJ7: enough"],
    "document": {"result": {"bands": [{"onset_v": 22.9134, "loss": 1e-9}, {"onset_v": 8.1, "loss": 2.0}]}},
    "plots": {"loop": [{"x": ["knob (%)", "linear"], "lines": [{"name": "T|", "y": [0.0, 1.0]}]}]},
}


def changed(old: str, new: str) -> dict:
    text = repr(WAS)
    assert text.count(old) == 1
    return eval(text.replace(old, new))


@pytest.mark.parametrize(
    ("old", "new", "place"),
    [
        ("38 ", "40 ", "page.1"),  # two of the last digit
        ("22.9'", "-22.9'", "page.1"),
        ("enough", "too little", "page.2"),
        ("onset %   V", "V   onset %", "page.0"),  # columns change places
        ("22.9134", "22.917", "document.result.bands.0.onset_v"),
        ("8.1", "-8.1", "document.result.bands.1.onset_v"),
        ("'loss': 2.0", "'lost': 2.0", "document.result.bands.1.loss"),
        ("knob (%)", "knob (deg)", "plots.loop.0.x.0"),
        ("[0.0, 1.0]", "[0.0]", "plots.loop.0.lines.0.y"),
        ("[0.0, 1.0]", "[0.0, 1000.0]", "plots.loop.0.lines.0.y.1"),
    ],
)
def test_a_change_is_seen_at_its_place(old: str, new: str, place: str) -> None:
    found = differences(WAS, changed(old, new), rel=1e-4)
    assert place in [one.place for one in found]
    assert all(one.size > 1e-4 for one in found)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("22.9134", "22.9135"),
        ("38 ", "39 "),  # a figure on the edge may be rounded either way
        ("1e-09", "3e-09"),  # of a column whose largest is 2
        ("40 m      38", "40 m     38"),
        ("' - 6SJ7: enough'", "' - 6SJ7:', '   enough'"),  # folded elsewhere
    ],
)
def test_what_another_machine_may_find_passes(old: str, new: str) -> None:
    assert differences(WAS, changed(old, new), rel=1e-4) == []


@pytest.mark.parametrize(("now", "places"), [(-3e-7, []), (3e-5, ["balance.energy_error.some.1"])])
def test_what_rounding_leaves_may_differ_below_its_bound(now: float, places: list[str]) -> None:
    was = {"balance": {"energy_error": {"some": [4e-12, 5e-10]}}}
    found = differences(was, {"balance": {"energy_error": {"some": [4e-12, now]}}}, rel=1e-4)
    assert [one.place for one in found] == places


def test_the_largest_difference_stands_first() -> None:
    now = changed("8.1", "8.2")
    now["page"][2] = "other"
    sizes = [one.size for one in differences(WAS, now, rel=1e-4)]
    assert sizes[0] == math.inf
    assert sizes[1] == pytest.approx(0.1 / 8.1)


def test_long_rows_are_thinned_with_their_ends() -> None:
    row = [float(n) for n in range(100)]
    assert reduced({"row": row, "seconds": 3.0})["row"]["length"] == 100
    some = reduced({"row": row})["row"]["some"]
    assert (some[0], some[-1], len(some)) == (0.0, 99.0, 12)
    assert reduced([["a", 1.0]] * 20) == [["a", 1.0]] * 20


def test_every_case_is_kept_and_small() -> None:
    assert {file_of(case) for case in CASES} == set(KEPT.glob("*.json"))
    assert len({case.name for case in CASES}) == len(CASES)
    assert sum(path.stat().st_size for path in KEPT.glob("*.json")) < 2_000_000


def test_nothing_of_one_machine_is_kept() -> None:
    for path in KEPT.glob("*.json"):
        text = path.read_text(encoding="utf-8")
        assert str(KEPT.parents[2]) not in text, path.name
        assert not re.search(r"/[t]mp/|/[h]ome/|[0-9a-f]{40}|20\d\d-\d\d-\d\d", text), path.name
