"""Calls the program in this process and keeps what it says, in a form that can be written and compared."""

from __future__ import annotations

import contextlib
import io
import json
import os
import re
import tempfile
from collections.abc import Callable, Iterator
from functools import cache, wraps
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from receiver_sim import api
from receiver_sim.cli import main
from receiver_sim.views.plots import saving
from tests.frozen.cases import Case
from tests.frozen.plots import axes_of

BUILDS = Path(api.__file__).parent.parent / "schema" / "builds"
KEPT = Path(__file__).parent / "kept"

LEFT_OUT = {
    "provenance": "hashes of decks and cards, versions of programs",
    "receiver_sim": "the version",
    "units": "one table for every document, held by its own test",
    "cautions": "words that every document holds, as its page does",
    "files": "names of what was drawn: the plots stand here by name",
    "sha256": "a hash",
    "build_sha256": "a hash",
    "netlist": "the page of `deck` is the netlist",
    "evaluations": "how often ngspice was asked: the last digit of a figure may decide",
    "engine_seconds": "of the clock",
    "seconds": "of the clock in some results",
    "deck": "name of a kept file",
    "date": "when a card was last changed",
}
"""Keys of a document that no other machine would repeat, or that stand elsewhere, with the reason."""

DIGITS = 7
LONG = 12
"""Rows of more numbers than this are thinned to about as many."""

_MEMORY = (
    "loop", "onset", "detect", "check", "audio_in_depth", "hum_in_depth", "supply_in_depth", "coils",
    "swap_tubes", "find_taps", "sheet", "faults", "calibrate", "spread_of_sets", "listen", "curves",
    "check_tubes", "deck_text", "leave_one_out", "draw", "page",
)  # fmt: skip


@contextlib.contextmanager
def _looked_on(plots: dict[str, Any]) -> Iterator[None]:
    """Keep what is drawn instead of rendering it, and what a verb computed for its second call."""
    known: dict[str, Any] = {}

    def contents(figure: Any, stem: str) -> dict[str, bytes]:
        plots[stem] = [axes_of(ax) for ax in figure.axes]
        return {f"{stem}.png": b"png", f"{stem}.svg": b"svg"}

    def remembered(name: str, run: Callable[..., Any]) -> Callable[..., Any]:
        @wraps(run)
        def once(*args: Any, **how: Any) -> Any:
            if name not in known:
                known[name] = run(*args, **how)
            return known[name]

        return once

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(saving, "contents", contents)
        for name in _MEMORY:
            patch.setattr(api, name, remembered(name, getattr(api, name)))
        yield


@contextlib.contextmanager
def _within(folder: str) -> Iterator[None]:
    before = os.getcwd()
    os.chdir(folder)
    try:
        yield
    finally:
        os.chdir(before)


def _call(words: list[str]) -> tuple[int, str, str]:
    """Return exit code and what was printed on both streams."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            main.main(words, prog_name="receiver-sim")
            code = 0
        except SystemExit as end:
            code = int(end.code or 0)
    return code, out.getvalue(), err.getvalue()


def record(case: Case) -> dict[str, Any]:
    """Run a case and return all that is kept of it. What `few_sets` and `few_runs` cut stays cut."""
    plots: dict[str, Any] = {}
    with tempfile.TemporaryDirectory() as folder, _within(folder), _looked_on(plots):
        words = list(case.words)
        if case.build:
            text = (BUILDS / f"{case.build}.yaml").read_bytes()
            Path("set.yaml").write_bytes(text)
            words = ["set.yaml" if word == "BUILD" else word for word in words]
        for name, content in case.files:
            Path(name).write_text(content, encoding="utf-8")
        code, page, complaints = _call(words)
        written = Path("out", f"{'-'.join(case.words[: 1 + (case.words[0] == 'tubes')])}.json")
        document = written.read_text(encoding="utf-8") if written.exists() else _call([*words, "--json"])[1]
        found = {
            "exit": code,
            "page": without_marks(page.splitlines()),
            "complaints": complaints.splitlines(),
            "document": reduced(json.loads(document)) if document else None,
            "plots": reduced(plots),
        }
        if case.writes:
            path = Path(case.writes)
            found["file"] = reduced(_of_sound(path) if path.suffix == ".wav" else words_of_page(path))
    return found


def without_marks(lines: list[str]) -> list[str]:
    """Return printed lines without the sentences that say which versions, when, and after how many runs."""
    out, skipped = [], False
    for line in lines:
        skipped = bool(_MARK.match(line)) or (skipped and bool(line.strip()))
        out += [] if skipped else [line]
    return out


_MARK = re.compile(r"\s*(receiver-sim \d|Analyses by how their|Made 20\d\d-)")


def reduced(value: Any) -> Any:
    """Return a document without what is left out, rounded, long rows of numbers thinned."""
    if isinstance(value, dict):
        return {key: reduced(held) for key, held in value.items() if key not in LEFT_OUT}
    if isinstance(value, (list, tuple)):
        if len(value) > LONG and all(_numeric(one) for one in value):
            places = sorted({round(p) for p in np.linspace(0, len(value) - 1, LONG)})
            return {"length": len(value), "some": [reduced(value[p]) for p in places]}
        return [reduced(one) for one in value]
    if isinstance(value, float):
        return float(f"{value:.{DIGITS}g}")
    return "a digest" if isinstance(value, str) and _DIGEST.fullmatch(value) else value


_DIGEST = re.compile(r"[0-9a-f]{64}")


def _numeric(value: Any) -> bool:
    """Whether there is nothing but numbers in a value, however deep."""
    if isinstance(value, dict):
        return all(_numeric(one) for one in value.values())
    if isinstance(value, (list, tuple)):
        return all(_numeric(one) for one in value)
    return value is None or (isinstance(value, (int, float)) and not isinstance(value, bool))


def _of_sound(path: Path) -> dict[str, Any]:
    """Return what there is of a sound without its samples: its levels, by stretches of its spectrum, too."""
    samples, rate = soundfile.read(path)
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples)))) / len(samples)
    tones = np.fft.rfftfreq(len(samples), 1.0 / rate)
    edges = (50, 200, 400, 600, 1000, 1500, 2500, 4000)
    parts = [spectrum[(tones >= a) & (tones < b)].max() for a, b in pairwise(edges)]
    return {
        "rate": rate,
        "length": len(samples),
        "rms": float(np.sqrt(np.mean(samples**2))),
        "peak": float(np.max(np.abs(samples))),
        "strongest": [float(one) for one in parts],
    }


class _Words(HTMLParser):
    """Gathers the words of a page and the data in it."""

    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []
        self.data: dict[str, Any] = {}
        self._inside: list[tuple[str, str]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in ("script", "style"):
            self._inside.append((tag, dict(attrs).get("id") or ""))

    def handle_endtag(self, tag: str) -> None:
        if self._inside and tag == self._inside[-1][0]:
            self._inside.pop()

    def handle_data(self, data: str) -> None:
        if not self._inside:
            self.words += [" ".join(line.split()) for line in data.splitlines() if line.strip()]
        elif self._inside[-1][1].endswith("data"):
            self.data[self._inside[-1][1]] = json.loads(data)


def words_of_page(path: Path) -> dict[str, Any]:
    """Return what a reader sees of a page, and the figures that its script draws on; no script, no style."""
    reader = _Words()
    reader.feed(path.read_text(encoding="utf-8"))
    return {"words": without_marks(reader.words), "data": _short(reader.data)}


def _short(value: Any) -> Any:
    """Return data without what is long and no figure: pictures and sounds as text."""
    if isinstance(value, dict):
        return {key: _short(held) for key, held in value.items()}
    if isinstance(value, list):
        return [_short(one) for one in value]
    return (
        f"text of {len(value) // 1000} kB" if isinstance(value, str) and len(value) > MOST_LETTERS else value
    )


MOST_LETTERS = 2000


def file_of(case: Case) -> Path:
    """Return where a case is kept."""
    return KEPT / f"{case.name}.json"


def as_text(found: dict[str, Any]) -> str:
    """Return what is kept as text: a line for each part of it, so that a change shows where it is."""
    text = json.dumps(found, indent=0, ensure_ascii=False)
    # rows of plain numbers on one line
    return re.sub(r"\[\s*(-?[\d.e+-]+(?:,\s*(?:-?[\d.e+-]+|null))*)\s*\]", _one_line, text) + "\n"


def _one_line(row: re.Match[str]) -> str:
    return "[" + re.sub(r",\s+", ",", row[1]) + "]"


@cache
def kept(name: str) -> dict[str, Any]:
    """Return what is kept of a case, by its name."""
    found: dict[str, Any] = json.loads((KEPT / f"{name}.json").read_text(encoding="utf-8"))
    return found
