"""The words on a page: the verdict in one sentence, what happens on each band, terms, tables."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from receiver_sim.guide import page as guide_page
from receiver_sim.results import cautions
from receiver_sim.results.bands import Grade
from receiver_sim.results.check import CheckReport
from receiver_sim.results.envelope import OnsetKind, Oscillation
from receiver_sim.results.page import PageReport, Turned
from receiver_sim.schema import Build
from receiver_sim.views import control_words
from receiver_sim.views.numbers import engineering, fixed, percent
from receiver_sim.views.states import IN_SHORT, onset_beyond

_COUNT = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
_KIND = {
    OnsetKind.SOFT: "comes in smoothly",
    OnsetKind.HARD: "comes in with a jump",
    OnsetKind.JUMPS: "comes in smoothly, then jumps",
}


def _count(n: int) -> str:
    return _COUNT[n] if n < len(_COUNT) else str(n)


def in_one_sentence(report: PageReport) -> str:
    """Return the verdict: how regeneration comes in, on how many bands, and where on the knob."""
    bands = report.check.bands
    kinds = {one.oscillation.band: one.oscillation.kind for one in report.check.oscillation}
    places = [b.middle.onset.rotation for b in bands if b.middle.onset is not None]
    soft = [b for b in bands if b.middle.onset is not None and kinds.get(b.band) is OnsetKind.SOFT]
    if not places:
        return f"No band of this set has its onset of regeneration on the knob ({_count(len(bands))} tried)."
    low, high = percent(min(places)), percent(max(places))
    where = f"at {low} of the knob" if low == high else f"between {low.rstrip(' %')} and {high} of the knob"
    every = len(bands) == len(soft)
    if every:
        who = "on its one band" if len(bands) == 1 else f"on all {_count(len(bands))} bands"
        return f"Regeneration comes in smoothly {who}, {where}."
    rest = len(bands) - len(places)
    text = f"Regeneration comes in {where} on {_count(len(places))} of {_count(len(bands))} bands"
    text += (
        f", smoothly on {_count(len(soft)) if soft else 'none'}" if len(soft) < len(places) else ", smoothly"
    )
    return text + (f"; {_count(rest)} {'has' if rest == 1 else 'have'} no onset on it." if rest else ".")


def what_it_is(build: Build) -> str:
    """Return what the set is: its tubes and what each does, its coils, its control, in short sentences."""
    stages = [
        *((f"an r.f. stage ({build.rf_stage.tube})",) if build.rf_stage is not None else ()),
        f"a regenerative detector ({build.detector.tube})",
        *((f"an audio stage ({build.audio.tube})",) if build.audio is not None else ()),
    ]
    tubes = len(stages)
    joined = stages[0] if tubes == 1 else f"{', '.join(stages[:-1])} and {stages[-1]}"
    coils = len(build.bands)
    reach = "one band, one coil" if coils == 1 else f"{_count(coils)} bands, a plug-in coil for each"
    sets = {
        "screen": "the screen voltage of the detector",
        "plate": "the plate voltage of the detector",
        "throttle": "a variable capacitor behind the feedback winding",
    }[build.regeneration.acts_on]
    return (
        f"A radio receiver with {_count(tubes)} tube{'' if tubes == 1 else 's'}: {joined}. It has {reach}. "
        "Regeneration feeds part of the signal back, so that weak stations are heard. "
        f"The knob for it sets {sets}."
    )


def how_sure(report: PageReport) -> str:
    """Return in how many of the sets drawn every verdict holds, '' where none were drawn."""
    sure = report.check.sure
    if sure is None or not sure.held or not sure.held[-1].of:
        return ""
    whole = sure.held[-1]
    return (
        f"Of {whole.of} sets built like this one, each with its own parts and tubes, {whole.held} are good "
        "in every verdict."
    )


def what_happens(one: Turned, found: Oscillation | None) -> str:
    """Return a sentence on one band."""
    if one.onset is None:
        beyond = None if found is None else onset_beyond(found)
        return f"{IN_SHORT[one.status].capitalize()}{'; ' + beyond if beyond else ''}."
    kind = None if found is None else found.kind
    how = _KIND.get(kind, "comes in") if kind is not None else "comes in"
    text = f"Regeneration {how} at {percent(one.onset.rotation, 1)} of the knob"
    if one.gone is not None and one.gone.rotation < one.onset.rotation - 1e-4:
        text += f" and holds on down to {percent(one.gone.rotation, 1)} (backlash)"
    return f"{text}. At the top of the knob it oscillates with {engineering(float(one.up_v[-1]), 'V', 2)}."


def glossary() -> list[tuple[str, str]]:
    """Return the terms of the glossary with their explanations."""
    found = re.findall(r"^- \*\*(.+?)\*\*: (.+(?:\n  .+)*)", guide_page("glossary"), re.MULTILINE)
    return [(term, re.sub(r"\s+", " ", text)) for term, text in found]


def sections(report: PageReport, build: Build) -> list[dict[str, Any]]:
    """Return the folded sections: title, one line, tables (heads and rows), sentences, cautions before."""
    check = report.check
    return [
        _bands(report), _hearing(check), _change(check), _audio(check), _supply(check), _coils(build),
        _sure(report),
    ]  # fmt: skip


def _table(heads: tuple[str, ...], rows: Sequence[tuple[str, ...]], **more: Any) -> dict[str, Any]:
    return {"heads": heads, "rows": rows, **more}


def _spl(level: float | None) -> str:
    return "-" if level is None else f"{level:.0f} dB SPL"


def _bands(report: PageReport) -> dict[str, Any]:
    strengths = {one.oscillation.band: one.oscillation for one in report.check.oscillation}
    rows = [
        (one.band, engineering(one.dial_hz, "Hz", 4), what_happens(one, strengths.get(one.band)))
        for one in report.turned
    ]
    seen = {one.band for one in report.turned}
    rows += [
        (b.band, engineering(b.middle.dial_hz, "Hz", 4), f"{IN_SHORT[b.middle.status].capitalize()}.")
        for b in report.check.bands
        if b.band not in seen
    ]
    return {
        "title": "Each band",
        "line": "Where regeneration begins, how it comes in, how strong it grows.",
        "tables": [_table(("band", "dial", "what happens"), rows), *(_settings(t) for t in report.turned)],
    }


def _settings(one: Turned) -> dict[str, Any]:
    how = control_words.words(one.quantity, one.unit)
    heads = ("knob", how.name, "loop gain", "passes", "strength, turned up", "strength, turned down")
    rows = [
        (
            percent(float(one.rotation[i]), 1),
            f"{how.shown(float(one.figure[i]), 1)} {how.unit}",
            f"{one.gain[i]:.3f}",
            engineering(one.width_hz[i], "Hz", 3),
            engineering(float(one.up_v[i]), "V", 2),
            engineering(float(one.down_v[i]), "V", 2),
        )
        for i in range(one.rotation.size)
    ]
    return _table(heads, rows, title=f"{one.band}: all settings", folded=True, long=True)


def _hearing(check: CheckReport) -> dict[str, Any]:
    rows = [
        (one.output, engineering(one.carrier_v, "V", 2), _spl(one.level_db), _spl(one.threshold_db))
        for one in check.loudness
    ]
    return {
        "title": "What will be heard",
        "line": "A weak AM station just below onset, in each of the phones, and the threshold of hearing.",
        "tables": [_table(("phones", "carrier in the aerial", "level", "threshold of hearing"), rows)],
    }


def _change(check: CheckReport) -> dict[str, Any]:
    order = {Grade.BAD: 0, Grade.DOUBTFUL: 1}
    found = sorted((v for v in check.verdicts if v.grade in order), key=lambda v: order[v.grade])
    rows = [(v.grade.value, v.subject, f"{v.text}.") for v in found]
    line = "Nothing: every rule is kept." if not rows else "Faults first, then what is worth a look."
    return {"title": "What to change", "line": line, "tables": [_table(("grade", "where", "what"), rows)]}


def _audio(check: CheckReport) -> dict[str, Any]:
    outputs = () if check.audio is None else check.audio.outputs
    rows = [
        (o.output, f"{o.gain_1khz:.3g}", engineering(o.low_hz, "Hz", 2), engineering(o.high_hz, "Hz", 2))
        for o in outputs
    ]
    paths = () if check.hum_paths is None else check.hum_paths.outputs
    tones = [
        (o.output, engineering(t.frequency_hz, "Hz", 3), _spl(t.level_db), _spl(t.threshold_db))
        for o in paths
        for t in o.tones[:4]
    ]
    return {
        "title": "Audio and hum",
        "line": "What the audio stage passes, and how loud the hum is, tone by tone.",
        "tables": [
            _table(("phones", "gain at 1 kHz", "from (-3 dB)", "to (-3 dB)"), rows),
            _table(("phones", "hum at", "level", "threshold of hearing"), tones),
        ],
    }


def _supply(check: CheckReport) -> dict[str, Any]:
    rows = [
        (
            p.label,
            percent(p.setting.rotation),
            t.socket,
            t.tube,
            f"{t.plate_v:.0f} V",
            "-" if t.screen_v is None else f"{t.screen_v:.1f} V",
            f"{t.cathode_v:.2f} V",
            "",
        )
        for p in check.operating_points
        for t in p.tubes
    ]
    heads = ("setting", "knob", "socket", "tube", "plate", "screen", "cathode", "mine")
    return {
        "title": "Supply and safety, readings on the bench",
        "line": "D.c. volts to ground, the set not oscillating; the last column is for your own readings.",
        "cautions": cautions.PLATE_SUPPLY,
        "tables": [_table(heads, rows)],
    }


def _coils(build: Build) -> dict[str, Any]:
    rows = []
    for band in build.bands:
        coil = band.coil
        turns = getattr(coil.winding, "turns", None)
        rows.append(
            (
                band.name,
                f"{band.from_ / 1e6:.4g} to {band.to / 1e6:.4g} MHz",
                engineering(coil.inductance, "H", 3),
                fixed(coil.q, 0),
                "-" if turns is None else f"{turns:.4g}",
                "tickler" if coil.tickler is not None else percent(coil.tap, 2),
            )
        )
    heads = ("band", "covers", "inductance", "Q", "turns", "tap from ground")
    return {
        "title": "Coils to wind",
        "line": "One plug-in coil a band; receiver-sim coils and receiver-sim tap say more.",
        "tables": [_table(heads, rows)],
    }


def _sure(report: PageReport) -> dict[str, Any]:
    check = report.check
    says = [
        "Every figure of the circuit is from ngspice, run on the netlist of this build with typical tubes.",
        "Tubes at screen voltages of 10 to 60 V are extrapolated from print where print is silent.",
        *cautions.NO_WARRANTY,
        *(f"{text[:1].upper()}{text[1:]}{'' if text.endswith('.') else '.'}" for text in check.warnings),
        *(f"Could not be computed: {one.stage}: {one.reason}" for one in (*check.failed, *report.failed)),
    ]
    return {
        "title": "How sure, and from what",
        "line": "What the figures rest on.",
        "says": says,
        "tables": [],
    }
