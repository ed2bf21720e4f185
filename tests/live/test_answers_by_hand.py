"""What an answer of the live page consists of, and what of a deeper one is told and kept: no simulator.

What `api` would find is made up; texts, changes and digests are the program's own.
"""

from __future__ import annotations

import hashlib
from types import SimpleNamespace
from typing import Any

import pytest

from receiver_sim import api
from receiver_sim.errors import ReceiverSimError
from receiver_sim.live import work
from receiver_sim.live.work import Work
from receiver_sim.schema import BuildFaults
from tests.conftest import BUILDS

DEMO = BUILDS / "demo.yaml"
NOBODY: Any = None

Event = tuple[str, dict[str, Any]]


@pytest.fixture
def one(monkeypatch: pytest.MonkeyPatch) -> Work:
    """The demo, its fast answers made up of the build that was asked about."""
    monkeypatch.setattr(work.api, "quick", lambda build, bench: (build.detector.grid_leak, bench))
    shown = SimpleNamespace(quick=lambda title, found: {"title": title, "found": found})
    monkeypatch.setattr(work, "views", shown)
    return Work(DEMO, quick="the quick bench", deep="the deep bench")  # type: ignore[arg-type]


LEAK = ("detector", "grid_leak")


def test_a_change_is_told_as_what_was_built_and_what_is_now(one: Work) -> None:
    """2.7 Mohm stands in the file of the demo."""
    found = one.answer(one.text, (LEAK, "3.3 Mohm"))
    assert list(found["differs"]) == [("detector.grid_leak", "2.7 Mohm", "3.3 Mohm")]
    again = one.answer(found["text"], (LEAK, "1.8 Mohm"))
    # against the file, not against the change before
    assert list(again["differs"]) == [("detector.grid_leak", "2.7 Mohm", "1.8 Mohm")]
    back = one.answer(again["text"], (LEAK, "2.7 Mohm"))
    assert list(back["differs"]) == [] and back["text"] == one.text


def test_an_answer_is_that_of_the_changed_text(one: Work) -> None:
    found = one.answer(one.text, (LEAK, "3.3 Mohm"))
    assert found["found"] == (3.3e6, "the quick bench") and found["title"] == one.build.title
    assert "grid_leak: 3.3 Mohm" in found["text"]
    assert found["digest"] == hashlib.sha256(found["text"].encode("utf-8")).hexdigest()
    plain = one.answer(one.text, None)
    assert plain["text"] == one.text and plain["found"][0] == 2.7e6


def test_each_field_says_where_it_stands_and_what_belongs_there(one: Work) -> None:
    """By the text of the shipped file: line, value; its meaning is the schema's."""
    fields = {f["key"]: f for f in one.answer(one.text, None)["fields"]}
    field = fields["detector.grid_leak"]
    (line,) = (
        n for n, text in enumerate(one.text.splitlines(), 1) if text.strip().startswith("grid_leak: 2.7")
    )
    assert (field["path"], field["line"], field["text"]) == (list(LEAK), line, "2.7 Mohm")
    assert field["meaning"] == "Grid leak resistor." and field["expected"].startswith("a resistance from")
    assert tuple(field["choices"]) == ()
    assert tuple(fields["regeneration.law"]["choices"]) == ("linear", "log", "antilog")


@pytest.mark.parametrize("value", ["2.7 furlong", "", "1 ohm"])
def test_a_bad_value_is_refused_before_anything_is_computed(
    one: Work, value: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[Any] = []
    monkeypatch.setattr(work.api, "quick", lambda *a, **k: asked.append(a))
    with pytest.raises(BuildFaults):
        one.answer(one.text, (LEAK, value))
    assert asked == []


@pytest.mark.parametrize(("band", "drawn"), [("40 m", "40 m"), ("17 m", None), (None, None)])
def test_the_drawing_is_of_the_band_asked_for_or_the_first(
    one: Work, band: str | None, drawn: str | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []

    def draw(build: Any, *, band: str) -> Any:
        asked.append(band)
        return SimpleNamespace(
            rendered=lambda form: b"<?xml version='1.0'?>\n<svg>a " + form.encode() + b"</svg>"
        )

    monkeypatch.setattr(work.api, "draw", draw)
    found = one.drawing(one.text, band)
    assert asked == [drawn or one.build.bands[0].name]
    # what stands before the element can't stand inside a page
    assert found == {"digest": work.digest(one.text), "svg": "<svg>a svg</svg>"}


# ---------------------------------------------------------------------------- deeper answers


def told(ask: Any, *args: Any) -> list[Event]:
    events: list[Event] = []
    ask(*args, events.append, lambda: True)
    return events


@pytest.fixture
def deep(one: Work, monkeypatch: pytest.MonkeyPatch) -> Work:
    """Deeper answers that come in by steps; a sheet that takes two; both say by which bench."""

    def deeper(
        build: Any, *, bench: Any, band_found: Any, checked: Any, progress: Any, **_: Any
    ) -> tuple[()]:
        progress("band", 1, 7)
        band_found(f"a band by {bench}")
        checked("report")
        return ()

    def for_the_bench(build: Any, *, bench: Any, progress: Any, **_: Any) -> tuple[str, str]:
        progress("faults", 3, 9)
        return f"sheet by {bench}", "table"

    def sounds(build: Any, *, band: str, progress: Any, **_: Any) -> tuple[()]:
        progress("sound", 2, 5)
        return ()

    for name, made in (("deeper", deeper), ("for_the_bench", for_the_bench), ("sounds", sounds)):
        monkeypatch.setattr(work.api, name, made)
    shown = SimpleNamespace(
        table=lambda band: f"table of {band}",
        checked=lambda report, build: {"of": report, "title": build.title},
        bench=lambda sheet, table: {"html": sheet, "table": table},
    )  # fmt: skip
    monkeypatch.setattr(work, "views", shown)
    return one


def without_digest(events: list[Event]) -> list[Event]:
    return [(kind, {k: v for k, v in data.items() if k != "digest"}) for kind, data in events]


def test_deeper_answers_come_in_order_with_their_progress(deep: Work) -> None:
    first = told(deep.deeper, deep.text)
    assert without_digest(first) == [
        ("stage", {"what": "band", "done": 1, "total": 7}),
        ("band", {"band": "table of a band by the deep bench"}),
        ("checked", {"of": "report", "title": deep.build.title}),
        ("done", {}),
    ]
    # known: at once, and no progress of work that is not done
    assert told(deep.deeper, deep.text) == first[1:]


def test_the_sheet_comes_with_its_progress_and_at_once_when_it_is_known(deep: Work) -> None:
    first = told(deep.bench, deep.text)
    assert without_digest(first) == [
        ("bench-stage", {"what": "faults", "done": 3, "total": 9}),
        ("bench", {"html": "sheet by the deep bench", "table": "table"}),
    ]
    assert told(deep.bench, deep.text) == first[1:]


def test_sounds_tell_their_progress_and_their_end(deep: Work) -> None:
    first = told(deep.sounds, deep.text, "40 m")
    assert without_digest(first) == [
        ("sounding", {"band": "40 m", "done": 2, "total": 5}), ("sounded", {"band": "40 m"}),
    ]  # fmt: skip
    assert told(deep.sounds, deep.text, "40 m") == first[1:]


@pytest.mark.parametrize(
    ("ask", "more", "events"),
    [
        ("deeper", (), [("failed", {"what": "deeper answers", "why": "no solution"}), ("done", {})]),
        ("bench", (), [("bench-failed", {"why": "no solution"})]),
        ("sounds", ("40 m",),
         [("mute", {"band": "40 m", "why": "no solution"}), ("sounded", {"band": "40 m"})]),
    ],
)  # fmt: skip
def test_what_could_not_be_worked_out_is_told_with_its_reason(
    deep: Work, ask: str, more: tuple[str, ...], events: list[Event], monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_: Any, **__: Any) -> None:
        raise ReceiverSimError("no solution")

    for name in ("deeper", "for_the_bench", "sounds"):
        monkeypatch.setattr(work.api, name, fails)
    assert without_digest(told(getattr(deep, ask), deep.text, *more)) == events


def test_a_sheet_that_failed_is_tried_again(deep: Work, monkeypatch: pytest.MonkeyPatch) -> None:
    works = work.api.for_the_bench

    def fails(*_: Any, **__: Any) -> None:
        raise ReceiverSimError("no solution")

    monkeypatch.setattr(work.api, "for_the_bench", fails)
    told(deep.bench, deep.text)
    monkeypatch.setattr(work.api, "for_the_bench", works)
    assert [kind for kind, _ in told(deep.bench, deep.text)] == ["bench-stage", "bench"]


@pytest.mark.parametrize(("ask", "more"), [("deeper", ()), ("bench", ()), ("sounds", ("40 m",))])
def test_what_was_superseded_tells_no_end_and_is_not_kept(
    deep: Work, ask: str, more: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    def superseded(*_: Any, **__: Any) -> None:
        raise api.Superseded

    kept = {name: getattr(work.api, name) for name in ("deeper", "for_the_bench", "sounds")}
    for name in kept:
        monkeypatch.setattr(work.api, name, superseded)
    assert told(getattr(deep, ask), deep.text, *more) == []
    for name, real in kept.items():
        monkeypatch.setattr(work.api, name, real)
    assert told(getattr(deep, ask), deep.text, *more)


@pytest.mark.parametrize(
    ("ask", "more", "kind"),
    [("deeper", (), "failed"), ("bench", (), "bench-failed"), ("sounds", ("40 m",), "mute")],
)
def test_a_fault_of_the_program_is_told_as_such_and_not_kept(
    deep: Work, ask: str, more: tuple[str, ...], kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A page that is told nothing waits for ever. The terminal has where it was: it is raised again."""
    kept = {name: getattr(work.api, name) for name in ("deeper", "for_the_bench", "sounds")}

    def faulty(*_: Any, **__: Any) -> None:
        raise TypeError("two shapes")

    for name in kept:
        monkeypatch.setattr(work.api, name, faulty)
    events: list[Event] = []
    with pytest.raises(TypeError):
        getattr(deep, ask)(deep.text, *more, events.append, lambda: True)
    ((told_as, data),) = events
    assert (
        told_as == kind and data["why"] == "a fault of the program, not of your build: TypeError: two shapes"
    )
    for name, real in kept.items():
        monkeypatch.setattr(work.api, name, real)
    assert kind not in [one for one, _ in told(getattr(deep, ask), deep.text, *more)]
