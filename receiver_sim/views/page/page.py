"""The page made: template, drawing and data, and a content security policy that allows no more."""

from __future__ import annotations

import base64
import hashlib
import json
from pathlib import Path
from typing import Any

import numpy as np
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from receiver_sim.physics.hearing import ISO_226_2003
from receiver_sim.results import cautions
from receiver_sim.results.bench_chart import PartNeeds
from receiver_sim.results.page import HeardPiece, PageReport, Turned
from receiver_sim.results.spread import BandSpread
from receiver_sim.schema import Build
from receiver_sim.views import control_words
from receiver_sim.views.numbers import engineering
from receiver_sim.views.page import bench, words
from receiver_sim.views.schematic.drawing import Schematic
from receiver_sim.views.states import IN_SHORT

_HERE = Path(__file__).parent


def page(report: PageReport, build: Build, drawing: Schematic, *, made: str) -> bytes:
    """Return the page as HTML. made: the date it was made, as it is shown."""
    script, bench_script = script_of("page.js"), script_of("bench.js")
    allowed = " ".join(digest_of(one) for one in (script, bench_script))
    sections = words.sections(report, build)
    if report.bench is not None:
        sections.insert(0, bench.sheet_section(report.bench))
    svg = drawing.rendered("svg").decode("utf-8")
    sure = report.check.sure
    ranges = {} if sure is None else {one.band: one for one in sure.bands}
    text = (
        frame()
        .get_template("page.html.j2")
        .render(
            title=report.title,
            about=words.what_it_is(build),
            verdict=words.in_one_sentence(report),
            sure=words.how_sure(report),
            dangers=report.check.cautions[: -len(cautions.ALL)],
            cautions=cautions.ALL,
            strip=[_strip(one, ranges.get(one.band)) for one in report.turned],
            drawing=Markup(svg[svg.index("<svg") :]),  # our own, made by the drawing library
            sections=sections,
            terms=words.glossary(),
            build_text=_text_of(build),
            bands=[one.band for one in report.turned],
            heard=bool(report.heard),
            origin=report.check.provenance,
            made=made,
            policy=f"default-src 'none'; style-src 'unsafe-inline'; script-src {allowed}",
            style=Markup((_HERE / "page.css").read_text(encoding="utf-8")),
            script=Markup(script),
            data=Markup(as_json(_data(report))),
            has_bench=report.faults is not None,
            waiting=False,
            bench_cautions=bench.bench_cautions(report.check.cautions[: -len(cautions.ALL)]),
            bench_script=Markup(bench_script),
            bench_data=Markup("" if report.faults is None else as_json(bench.fault_data(report.faults))),
        )
    )
    return text.encode("utf-8")


def script_of(name: str) -> str:
    """Return a script of the page."""
    return (_HERE / name).read_text(encoding="utf-8")


def digest_of(script: str) -> str:
    """Return what the policy of a page knows a script by."""
    digest = hashlib.sha256(script.encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"


def frame() -> Environment:
    """Return the templates of the page; what they are filled with is text, never markup."""
    return Environment(
        loader=FileSystemLoader(_HERE), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True, keep_trailing_newline=True,
    )  # fmt: skip


def as_json(data: Any) -> str:
    """Return JSON that can stand inside a script element."""
    text = json.dumps(data, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _text_of(build: Build) -> str:
    return build.written or "(this build was not read from a file)"


def _strip(one: Turned, sets: BandSpread | None) -> dict[str, Any]:
    """Return what the strip shows of one band, in per cent of the knob; sets: onset over many sets."""
    onset = None if one.onset is None else 100.0 * one.onset.rotation
    gone = None if one.gone is None else 100.0 * one.gone.rotation
    return {
        "band": one.band,
        "onset": onset,
        "gone": gone if gone is not None and onset is not None and gone < onset - 0.05 else None,
        "below": "below onset" if onset is not None else "",
        "above": "oscillates" if onset is not None else IN_SHORT[one.status],
        "low": None if sets is None or sets.knob_low is None else 100.0 * sets.knob_low,
        "high": None if sets is None or sets.knob_high is None else 100.0 * sets.knob_high,
    }


def _round(values: Any, digits: int) -> list[float | None]:
    return [None if v is None else float(f"{float(v):.{digits}g}") for v in values]


def _data(report: PageReport) -> dict[str, Any]:
    """Return what the script turns and plays."""
    hum = report.check.hum_paths
    tones = [] if hum is None or not hum.outputs else [
        (t.frequency_hz, round(t.level_db, 1)) for t in hum.outputs[0].tones if t.level_db is not None
    ]  # fmt: skip
    return {
        "bands": [table(one) for one in report.turned],
        "heard": [heard(one) for one in report.heard],
        "hearing": [list(point) for point in ISO_226_2003],
        "hum": tones,
        "stands": {} if report.bench is None else {p.designator: _stands(p) for p in report.bench.parts},
    }


def _stands(part: PartNeeds) -> str:
    """Return what a part must stand, and what it meets, as a sentence; '' where nothing is known."""
    volts, watts = part.buy_v, part.buy_w
    said = [f"Must stand {engineering(volts, 'V')}"] if volts is not None else []
    if part.highest_v is not None and volts is not None:
        said[-1] += f" (it meets {engineering(part.highest_v, 'V')})"
    if watts is not None:
        said.append(f"{'needs' if said else 'Needs'} {watts:g} W")
    return "; ".join(said) + "." if said else ""


def table(one: Turned) -> dict[str, Any]:
    """Return what the script turns of one band."""
    how = control_words.words(one.quantity, one.unit)
    return {
        "name": one.band,
        "onset": None if one.onset is None else one.onset.rotation,
        "gone": None if one.gone is None else one.gone.rotation,
        "dial": one.dial_hz,
        "rotation": _round(one.rotation, 6),
        "figure": _round(one.figure * how.scale, 4),
        "sets": how.name,
        "unit": how.unit,
        "gain": _round(one.gain, 5),
        "width": _round(one.width_hz, 4),
        "up": _round(one.up_v, 4),
        "down": _round(one.down_v, 4),
        "offset": _round(one.offset_hz, 5),
        "level": [None if row is None else [round(v, 1) for v in row] for row in one.level_db],
    }


def heard(one: HeardPiece) -> dict[str, Any]:
    """Return a sound as 16-bit samples in base 64, with the volts of the largest sample that fits."""
    peak = max(float(np.abs(one.volts).max()), 1e-12)
    samples = np.round(one.volts / peak * 32767.0).astype("<i2")
    return {
        "band": one.band,
        "station": one.station,
        "rotation": float(f"{one.rotation:.6g}"),
        "from": one.from_hz,
        "to": one.to_hz,
        "output": one.output,
        "rate": one.rate,
        "volt": float(f"{peak:.6g}"),
        "spl": None if one.spl_of_volt_db is None else round(one.spl_of_volt_db, 2),
        "level": None if one.level_db is None else round(one.level_db, 1),
        "samples": base64.b64encode(samples.tobytes()).decode("ascii"),
    }
