"""What the live page keeps and what it tells: no simulator; answers are counted, not computed."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from receiver_sim import api
from receiver_sim.live import work
from receiver_sim.live.work import Work
from receiver_sim.results.base import FailedStage
from receiver_sim.schema import BuildFaults
from receiver_sim.schema.loading import load_build_text
from tests.conftest import BUILDS

DEMO = BUILDS / "demo.yaml"
NOBODY: Any = None
"""In the place of a bench: nothing is simulated."""


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """What was computed, in order; each kind of answer names what it was computed for."""
    found: list[Any] = []

    def deeper(build: Any, *, band_found: Any, wanted: Any, **_: Any) -> tuple[FailedStage, ...]:
        found.append(build.title)
        if not wanted():
            raise api.Superseded
        band_found(build.title)
        return (FailedStage("modes", "no convergence", None),)

    def sounds(build: Any, *, band: str, heard: Any, **_: Any) -> tuple[FailedStage, ...]:
        found.append((build.title, band))
        heard(f"{build.title} on {band}", 3.14159)
        return (FailedStage(f"sound of {band}", "no convergence", None),)

    def for_the_bench(build: Any, **_: Any) -> tuple[str, str]:
        found.append(build.title)
        return build.title, "table"

    monkeypatch.setattr(work.api, "deeper", deeper)
    monkeypatch.setattr(work.api, "sounds", sounds)
    monkeypatch.setattr(work.api, "for_the_bench", for_the_bench)
    shown = SimpleNamespace(
        table=lambda one: one,
        heard=lambda one: one,
        bench=lambda sheet, table: {"sheet": sheet, "table": table},
    )
    monkeypatch.setattr(work, "views", shown)
    return found


def text(title: str) -> str:
    lines = DEMO.read_text(encoding="utf-8").splitlines(keepends=True)
    (number,) = (n for n, line in enumerate(lines) if line.startswith("title:"))
    return "".join([*lines[:number], f"title: {title}\n", *lines[number + 1 :]])


def told(ask: Any, *args: Any, wanted: bool = True) -> list[tuple[str, dict[str, Any]]]:
    events: list[tuple[str, dict[str, Any]]] = []
    ask(*args, events.append, lambda: wanted)
    return events


def made() -> Work:
    return Work(DEMO, quick=NOBODY, deep=NOBODY)


def test_sounds_are_those_of_their_build_and_band(asked: list[Any]) -> None:
    one = made()
    first = told(one.sounds, text("a"), "40 m")
    assert [kind for kind, _ in first] == ["heard", "mute", "sounded"]
    assert first[0][1]["piece"] == "a on 40 m" and first[0][1]["cost"] == 3.14
    assert first[1][1]["why"] == "sound of 40 m: no convergence"
    assert told(one.sounds, text("a"), "80 m")[0][1]["piece"] == "a on 80 m"
    assert told(one.sounds, text("b"), "40 m")[0][1]["piece"] == "b on 40 m"
    # known: the same words again, and nothing is computed
    assert told(one.sounds, text("a"), "40 m") == first
    assert asked == [("a", "40 m"), ("a", "80 m"), ("b", "40 m")]


@pytest.mark.parametrize(
    ("ask", "kept"), [("deeper", work._KEPT), ("bench", work._KEPT_BENCHES), ("sounds", work._KEPT_SOUNDS)]
)
def test_the_newest_answers_are_kept_and_the_oldest_forgotten(asked: list[Any], ask: str, kept: int) -> None:
    """Undoing a change shows what was known: the last so many texts, not the first."""
    one = made()
    more = ("40 m",) if ask == "sounds" else ()
    for number in range(kept + 1):
        told(getattr(one, ask), text(f"t{number}"), *more)
    assert len(asked) == kept + 1
    for number in range(1, kept + 1):
        told(getattr(one, ask), text(f"t{number}"), *more)
    assert len(asked) == kept + 1  # all known
    told(getattr(one, ask), text("t0"), *more)
    assert len(asked) == kept + 2


def test_what_was_superseded_is_not_kept_as_an_answer(asked: list[Any]) -> None:
    one = made()
    assert told(one.deeper, text("a"), wanted=False) == []
    assert [kind for kind, _ in told(one.deeper, text("a"))] == ["band", "failed", "done"]
    assert asked == ["a", "a"]


def test_answers_say_which_text_they_are_of(asked: list[Any]) -> None:
    one = made()
    marks = {title: {data["digest"] for _, data in told(one.deeper, text(title))} for title in "ab"}
    assert marks == {title: {work.digest(text(title))} for title in "ab"}
    assert marks["a"] != marks["b"]
    (failed,) = [data for kind, data in told(one.deeper, text("a")) if kind == "failed"]
    assert (failed["what"], failed["why"]) == ("modes", "no convergence")


def test_faults_have_their_line_key_and_words() -> None:
    lines = DEMO.read_text(encoding="utf-8").splitlines(keepends=True)
    (number,) = (n for n, line in enumerate(lines) if line.strip().startswith("grid_leak:"))
    lines[number] = lines[number].partition(":")[0] + ": 2.7 furlong\n"
    with pytest.raises(BuildFaults) as raised:
        load_build_text("".join(lines), "demo.yaml")
    (found,) = work.words_of(raised.value)
    assert (found["line"], found["key"]) == (number + 1, "detector.grid_leak")
    assert "2.7 furlong" in found["text"] and "demo.yaml" not in found["text"]


def test_the_build_is_the_file(tmp_path: Path) -> None:
    file = tmp_path / "x.yaml"
    file.write_text(text("of this file"), encoding="utf-8")
    one = Work(file, quick=NOBODY, deep=NOBODY)
    assert (one.build.title, one.text) == ("of this file", text("of this file"))
