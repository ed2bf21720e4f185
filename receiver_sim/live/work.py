"""What the live page is answered with: texts of builds in, plain data out. Knows nothing of HTTP."""

from __future__ import annotations

import hashlib
import threading
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from receiver_sim import api
from receiver_sim.engine import Bench
from receiver_sim.errors import ReceiverSimError, fault_in_words
from receiver_sim.schema import Build, BuildFaults
from receiver_sim.schema.leaves import differences, leaves, with_value
from receiver_sim.schema.loading import load_build_text
from receiver_sim.views.page import live as views

Event = tuple[str, dict[str, Any]]
_KEPT, _KEPT_SOUNDS = 12, 6
"""Builds whose deeper answers, and bands of builds whose sounds, are kept: undoing a change shows them at
once."""


_KEPT_BENCHES = 3
"""The same of tables of faults, which are larger."""


class Work:
    """One build as built, and what is asked about changed ones. Threads may share it.

    A fault of the program is told as such where the answer was to stand, is not kept, and is raised again,
    for the terminal to show where it was.
    """

    def __init__(self, path: Path, *, quick: Bench, deep: Bench) -> None:
        """Read the build. Raises BuildFaults."""
        self.build = api.load_build(path)
        self.path = path
        self.text = path.read_text(encoding="utf-8-sig")
        self._quick, self._deep = quick, deep
        self._drawing = threading.Lock()
        self._known: OrderedDict[str, list[Event]] = OrderedDict()
        self._benches: OrderedDict[str, dict[str, Any]] = OrderedDict()
        self._sounds: OrderedDict[tuple[str, str], list[Event]] = OrderedDict()
        self._lock = threading.Lock()

    def loaded(self, text: str) -> Build:
        """Return the build of a text. Raises BuildFaults."""
        build = load_build_text(text, self.path.name)
        api.cards_for(build)
        return build

    def answer(self, text: str, change: tuple[tuple[str | int, ...], str] | None) -> dict[str, Any]:
        """Return the fast answers on a build, one value of it changed first. Raises BuildFaults."""
        if change is not None:
            text = with_value(text, *change, name=self.path.name)
        build = self.loaded(text)
        with ThreadPoolExecutor(max_workers=1) as beside:
            asked = beside.submit(api.quick, build, bench=self._quick)
            # while ngspice computes
            fields = self.fields(text)
            differs = differences(self.text, text, self.path.name)
            found = asked.result()
        return {
            "text": text,
            "digest": digest(text),
            "fields": fields,
            "differs": differs,
            **views.quick(build.title, found),
        }

    def fields(self, text: str) -> list[dict[str, Any]]:
        """Return the values of a build as fields of a form."""
        return [
            {
                "path": list(one.path), "key": one.key, "line": one.line, "text": one.text,
                "expected": one.expected, "meaning": one.meaning, "choices": one.choices,
            }
            for one in leaves(text, self.path.name)
        ]  # fmt: skip

    def drawing(self, text: str, band: str | None) -> dict[str, Any]:
        """Return the schematic as SVG. Raises BuildFaults."""
        build = self.loaded(text)
        names = [one.name for one in build.bands]
        with self._drawing:  # the drawing library keeps some of its state in its module
            drawn = api.draw(build, band=band if band in names else names[0])
            svg = drawn.rendered("svg").decode("utf-8")
        return {"digest": digest(text), "svg": svg[svg.index("<svg") :]}

    def deeper(self, text: str, tell: Callable[[Event], None], wanted: Callable[[], bool]) -> None:
        """Send the deeper answers on a build as they come in, at once if they are known."""
        mark = digest(text)
        with self._lock:
            known = self._known.get(mark)
        if known is not None:
            for event in known:
                tell(event)
            return
        told: list[Event] = []

        def give(kind: str, data: dict[str, Any]) -> None:
            event = (kind, {"digest": mark, **data})
            if kind != "stage":
                told.append(event)
            tell(event)

        try:
            build = self.loaded(text)
            failed = api.deeper(
                build,
                bench=self._deep,
                band_found=lambda one: give("band", {"band": views.table(one)}),
                checked=lambda report: give("checked", views.checked(report, build)),
                wanted=wanted,
                progress=lambda what, done, total: give(
                    "stage", {"what": what, "done": done, "total": total}
                ),
            )
            for one in failed:
                give("failed", {"what": one.stage, "why": one.reason})
        except api.Superseded:
            return
        except ReceiverSimError as error:
            give("failed", {"what": "deeper answers", "why": str(error)})
        except Exception as fault:
            give("failed", {"what": "deeper answers", "why": fault_in_words(fault)})
            raise
        give("done", {})
        with self._lock:
            self._known[mark] = told
            while len(self._known) > _KEPT:
                self._known.popitem(last=False)

    def bench(self, text: str, tell: Callable[[Event], None], wanted: Callable[[], bool]) -> None:
        """Send the sheet and the table of faults of a build, at once if they are known."""
        mark = digest(text)
        with self._lock:
            known = self._benches.get(mark)

        def give(kind: str, data: dict[str, Any]) -> None:
            tell((kind, {"digest": mark, **data}))

        try:
            if known is None:
                sheet, table = api.for_the_bench(
                    self.loaded(text),
                    bench=self._deep,
                    wanted=wanted,
                    progress=lambda what, done, total: give(
                        "bench-stage", {"what": what, "done": done, "total": total}
                    ),
                )
                known = views.bench(sheet, table)
        except api.Superseded:
            return
        except ReceiverSimError as error:
            give("bench-failed", {"why": str(error)})
            return
        except Exception as fault:
            give("bench-failed", {"why": fault_in_words(fault)})
            raise
        give("bench", known)
        with self._lock:
            self._benches[mark] = known
            while len(self._benches) > _KEPT_BENCHES:
                self._benches.popitem(last=False)

    def sounds(self, text: str, band: str, tell: Callable[[Event], None], wanted: Callable[[], bool]) -> None:
        """Send the sounds of a build on one band as they come in, at once if they are known."""
        mark = digest(text)
        with self._lock:
            known = self._sounds.get((mark, band))
        if known is not None:
            for event in known:
                tell(event)
            return
        told: list[Event] = []

        def give(kind: str, data: dict[str, Any]) -> None:
            event = (kind, {"digest": mark, "band": band, **data})
            if kind != "sounding":
                told.append(event)
            tell(event)

        try:
            failed = api.sounds(
                self.loaded(text),
                band=band,
                bench=self._deep,
                heard=lambda one, cost: give("heard", {"piece": views.heard(one), "cost": round(cost, 2)}),
                wanted=wanted,
                progress=lambda _what, done, total: give("sounding", {"done": done, "total": total}),
            )
            for one in failed:
                give("mute", {"why": f"{one.stage}: {one.reason}"})
        except api.Superseded:
            return
        except ReceiverSimError as error:
            give("mute", {"why": str(error)})
        except Exception as fault:
            give("mute", {"why": fault_in_words(fault)})
            raise
        give("sounded", {})
        with self._lock:
            self._sounds[mark, band] = told
            while len(self._sounds) > _KEPT_SOUNDS:
                self._sounds.popitem(last=False)


def digest(text: str) -> str:
    """Return what answers on one text are known by."""
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def words_of(error: BuildFaults) -> list[dict[str, Any]]:
    """Return the faults of a build: line, key and the words of the build's own checks."""
    return [
        {"line": fault.line, "key": fault.key, "text": str(fault).partition(": ")[2] or str(fault)}
        for fault in error.faults
    ]
