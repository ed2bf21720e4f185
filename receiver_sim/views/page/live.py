"""The live page: its frame, and the answers as its script takes them."""

from __future__ import annotations

import base64
import hashlib
from pathlib import Path
from typing import Any

from markupsafe import Markup

from receiver_sim.physics.hearing import ISO_226_2003
from receiver_sim.results import cautions
from receiver_sim.results.base import Status
from receiver_sim.results.bench_sheet import BenchSheet
from receiver_sim.results.check import CheckReport
from receiver_sim.results.fault_table import FaultTable
from receiver_sim.results.live import QuickAnswer, QuickBand
from receiver_sim.results.page import PageReport
from receiver_sim.schema import Build
from receiver_sim.views import control_words
from receiver_sim.views.numbers import engineering, percent
from receiver_sim.views.page import bench as bench_views
from receiver_sim.views.page import words
from receiver_sim.views.page.page import as_json, frame, heard, table
from receiver_sim.views.states import IN_SHORT

__all__ = ["POLICY", "bench", "checked", "heard", "quick", "shell", "table"]

_HERE = Path(__file__).parent


def _script(name: str) -> str:
    return (_HERE / name).read_text(encoding="utf-8")


def _hash(script: str) -> str:
    return base64.b64encode(hashlib.sha256(script.encode("utf-8")).digest()).decode("ascii")


_SCRIPTS = " ".join(f"'sha256-{_hash(_script(name))}'" for name in ("page.js", "bench.js", "live.js"))
POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; connect-src 'self'; img-src data:; base-uri 'none'; "
    f"form-action 'none'; frame-ancestors 'none'; script-src {_SCRIPTS}"
)


def shell(build: Build, text: str, fields: list[dict[str, Any]], file: str) -> str:
    """Return the page before any answer: the values, their places, and where the answers will stand."""
    data = {
        "bands": [_nothing_yet(band.name) for band in build.bands],
        "heard": [], "hearing": [list(point) for point in ISO_226_2003], "hum": [], "before": [],
    }  # fmt: skip
    return frame().get_template("live.html.j2").render(
        title=build.title,
        file=file,
        dangers=cautions.ALL,
        bands=[band.name for band in build.bands],
        heard=True,
        build_text=text,
        style=Markup(_script("page.css") + _script("live.css")),
        script=Markup(_script("page.js")),
        live=Markup(_script("live.js")),
        bench_script=Markup(_script("bench.js")),
        bench_cautions=bench_views.bench_cautions(),
        waiting=True,
        data=Markup(as_json(data)),
        start=Markup(as_json({"text": text, "fields": fields, "file": file})),
    )  # fmt: skip


def _nothing_yet(name: str) -> dict[str, Any]:
    return {
        "name": name, "onset": None, "gone": None, "dial": 0.0, "rotation": [0.0], "figure": [None],
        "sets": "control", "unit": "V",
        "gain": [0.0], "width": [None], "up": [0.0], "down": [0.0], "offset": [], "level": [None],
        "quick": True, "state": "being computed", "told": "",
    }  # fmt: skip


def quick(title: str, found: QuickAnswer) -> dict[str, Any]:
    """Return the fast answers: all bands, a sentence on them, dangers."""
    return {
        "title": title,
        "says": _sentence(found),
        "dangers": list(found.dangers),
        "bands": [_quick_band(one) for one in found.bands],
    }


def _sentence(found: QuickAnswer) -> str:
    places = [one.onset.onset.rotation for one in found.bands if one.onset.onset is not None]
    count, total = len(places), len(found.bands)
    if not places:
        return "No band has its onset of regeneration on the knob."
    low, high = percent(min(places)), percent(max(places))
    where = f"at {low}" if low == high else f"between {low.rstrip(' %')} and {high}"
    who = (
        "On its one band"
        if total == 1
        else "On every band"
        if count == total
        else f"On {count} of {total} bands"
    )
    return f"{who} regeneration begins {where} of the knob."


def _quick_band(one: QuickBand) -> dict[str, Any]:
    found, curve = one.onset, one.gain
    told = "" if found.onset is None else (
        f"{percent(found.onset.rotation, 1)}, {engineering(found.onset.figure, found.onset.unit, 3)}"
    )  # fmt: skip
    state = IN_SHORT[found.status]
    if found.status is Status.FAILED:
        state = f"{state}: {'; '.join(found.warnings)}"
    out = {**_nothing_yet(found.band), "state": state, "told": told, "dial": found.dial_hz}
    if curve is None:
        return out
    size, how = curve.rotation.size, control_words.words(curve.quantity, curve.unit)
    at = None if found.onset is None else found.onset.rotation
    return {
        **out,
        "onset": at,
        "gone": at,
        "rotation": [float(f"{v:.6g}") for v in curve.rotation],
        "figure": [float(f"{v * how.scale:.4g}") for v in curve.figure],
        "sets": how.name,
        "unit": how.unit,
        "gain": [float(f"{v:.5g}") for v in curve.gain],
        "width": [None] * size,
        "up": [0.0] * size,
        "down": [0.0] * size,
        "level": [None] * size,
    }


def bench(sheet: BenchSheet, table: FaultTable) -> dict[str, Any]:
    """Return what goes to the bench: the sheet as HTML, the table of faults."""
    section = bench_views.sheet_section(sheet)
    return {
        "html": frame().get_template("sections.html.j2").render(sections=[section]),
        "table": bench_views.fault_data(table),
    }


def checked(report: CheckReport, build: Build) -> dict[str, Any]:
    """Return what `check` found: the verdict in a sentence, dangers, the folded sections as HTML."""
    whole = PageReport(build.title, report, (), (), 0.0)
    html = frame().get_template("sections.html.j2").render(sections=words.sections(whole, build))
    return {
        "verdict": " ".join(filter(None, (words.in_one_sentence(whole), words.how_sure(whole)))),
        "ranges": _ranges(report),
        "dangers": list(report.cautions[: -len(cautions.ALL)]),
        "html": html,
    }


def _ranges(report: CheckReport) -> dict[str, tuple[float, float]]:
    """Return where onset lies on the knob (0 to 1) in eight of ten sets, of each band that has it in them."""
    bands = () if report.sure is None else report.sure.bands
    return {
        one.band: (one.knob_low, one.knob_high)
        for one in bands
        if one.knob_low is not None and one.knob_high is not None
    }
