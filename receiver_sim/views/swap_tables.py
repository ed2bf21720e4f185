"""Tables of a substitution: ranked candidates, why, onset on every band, what to change."""

from __future__ import annotations

from collections.abc import Sequence

from receiver_sim.results.base import Status
from receiver_sim.results.cautions import PLATE_SUPPLY, RADIATION
from receiver_sim.results.swap import (
    Adjustment,
    BandOutcome,
    Candidate,
    DetectorCandidate,
    Fitting,
    SwapReport,
)
from receiver_sim.views.control_words import Words, words, words_of
from receiver_sim.views.numbers import engineering, fixed, percent, shorten
from receiver_sim.views.sheet import Column, Grid, Note, Section, Sheet
from receiver_sim.views.sure_tables import span
from receiver_sim.views.swap_rf_tables import name_of, rf_bands, rf_rank

_SHORT = {
    Status.DOES_NOT: "no onset",
    Status.NOT_IN_RANGE: "below range",
    Status.FAILED: "failed",
}


def swap_sheet(report: SwapReport) -> Sheet:
    """Return the whole answer, cautions first: rank, reasons, bands, changes."""
    if report.socket == "detector":
        sections: tuple[Section, ...] = (
            _detector_rank(report),
            _reasons(report.detectors),
            _bands(report.detectors),
            _remedies(report.detectors, report),
            *_onset_ranges(report.detectors),
        )
        candidates: Sequence[Candidate] = report.detectors
    elif report.socket == "rf":
        sections = (rf_rank(report), _reasons(report.rf_stages), *rf_bands(report))
        candidates = report.rf_stages
    else:
        sections = (_audio_rank(report), _reasons(report.audios))
        candidates = report.audios
    notes = [Note(text) for text in report.notes]
    if report.left_out:
        notes.append(Note(f"Not tried: {'; '.join(report.left_out)}."))
    return Sheet(
        f"{report.title}: tubes for the {'r.f.' if report.socket == 'rf' else report.socket} socket",
        (*sections, _practical(candidates, report.reference), Section("How to read it", tuple(notes))),
    )


def _sets(candidates: Sequence[DetectorCandidate]) -> Words:
    """Return how the figures of the control are shown."""
    return words_of(o.onset.onset for c in candidates for o in c.bands)


def _backlash(bands: Sequence[BandOutcome], sets: Words) -> str:
    known = [o.backlash_v for o in bands if o.backlash_v is not None]
    return "-" if not known else sets.shown(max(known), 2)


def _detector_rank(report: SwapReport) -> Section:
    sets = _sets(report.detectors)
    columns = (
        Column("#"), Column("tube", "left"), Column("bands"), Column("knob\n%"),
        Column(f"{sets.name}\n{sets.unit}"), Column(f"slope\nper {sets.unit}"), Column("approach\ndeg"),
        Column(f"backlash\n{sets.unit}"), Column("detection\n1/V"), Column("as used\n1/V"),
        Column("8 of 10\n1/V"), Column("noise\nkohm"),
        Column("weakest\n500 Hz\nuV"), Column("weakest\n3 kHz\nuV"),
    )  # fmt: skip
    rows, styles = [], []
    for c in report.detectors:
        mine = next((o.onset for o in c.bands if o.onset.band == report.band), None)
        at = None if mine is None else mine.onset
        with_onset = sum(o.onset.onset is not None for o in c.bands)
        signals = [None, None] if c.noise is None else [_weakest(w) for w in c.noise.weakest]
        rows.append(
            (
                f"{'=' if c.alike else ''}{c.rank}",
                name_of(c),
                f"{with_onset}/{len(c.bands)}",
                fixed(None if at is None else at.rotation, 1, 100.0),
                sets.shown(None if at is None else at.figure, 2),
                sets.per(None if mine is None else mine.slope, 4),
                fixed(None if mine is None else mine.approach_deg, 1),
                _backlash(c.bands, sets),
                "-" if c.detection is None else f"{c.detection.total_per_v:.0f}",
                "-" if c.fitted is None else f"{c.fitted.detection.total_per_v:.0f}",
                _eight_of_ten(c),
                fixed(None if c.noise is None else c.noise.tube_ohm, 1, 1e-3),
                *(fixed(v, 2, 1e6) for v in signals),
            )
        )
        styles.append("bold" if c.in_place else "")
    where = "e.m.f. in the aerial" if _has_aerial(report) else "at the grid"
    notes = [
        Note(
            f"> the tube in place. Knob, {sets.name}, slope of the loop gain, approach (loop gain 0.9 to 1), "
            f"detection and noise: {report.band}, middle of the band; backlash: the largest of all bands. As "
            "used: detection with onset brought to the place of the tube in place, and what eight of ten "
            "tubes lie within. "
            "Noise: the tube's equivalent resistance. "
            f"Weakest: {where}, r.m.s., 10 dB above the set's noise."
        )
    ]
    if any(c.extrapolated for c in report.detectors):
        notes.append(Note("* works outside the published points its model was fitted on."))
    return Section(
        "Candidates, best first",
        (Grid(columns, tuple(rows), tuple(styles), 2), *notes),
        (*PLATE_SUPPLY, *RADIATION),
    )


def _eight_of_ten(c: DetectorCandidate) -> str:
    one = c.fitted
    return "-" if one is None else f"{one.detection_low_per_v:.0f} to {one.detection_high_per_v:.0f}"


def _has_aerial(report: SwapReport) -> bool:
    return any(w.aerial_v is not None for c in report.detectors if c.noise for w in c.noise.weakest)


def _weakest(signal: object) -> float | None:
    aerial = getattr(signal, "aerial_v", None)
    return aerial if aerial is not None else getattr(signal, "grid_v", None)


def _reasons(candidates: Sequence[Candidate]) -> Section:
    notes = tuple(Note("; ".join(c.reasons), mark=f"{c.rank:>3} {c.tube:<6} ") for c in candidates)
    return Section("Why", notes)


def _bands(candidates: Sequence[DetectorCandidate]) -> Section:
    sets = _sets(candidates)
    names = next((tuple(o.onset.band for o in c.bands) for c in candidates if c.bands), ())
    columns = (Column("tube", "left"), *(Column(f"{name}\n{sets.unit}  knob") for name in names))
    rows = tuple((c.tube, *(_outcome(o) for o in c.bands)) for c in candidates if c.bands)
    note = Note(
        f"{sets.plural.capitalize()} and knob at onset, the set otherwise as built; h: a hard onset, j: it "
        "jumps on its way. 'Below range': it oscillates at the lowest setting already."
    )
    unknown = [
        Note(f"{c.tube} on {o.onset.band}: backlash not known: {shorten(o.note or '', 120)}", mark=" - ")
        for c in candidates
        for o in c.bands
        if o.onset.onset is not None and o.kind is None
    ]
    return Section("Onset on every band", (Grid(columns, rows), note, *unknown), (*PLATE_SUPPLY, *RADIATION))


def _outcome(o: BandOutcome) -> str:
    if o.onset.onset is None:
        return _SHORT.get(o.onset.status, o.onset.status.value)
    mark = "" if o.kind is None else {"soft": "", "hard": " h"}.get(o.kind.value, " j")
    return (
        f"{words_of([o.onset.onset]).shown(o.onset.onset.figure, 1)}  {percent(o.onset.onset.rotation)}{mark}"
    )


def _remedies(candidates: Sequence[DetectorCandidate], report: SwapReport) -> Section:
    """Return for each other tube the end resistor or the taps that bring onset to the place of the tube in
    place.
    """
    taps = next(
        ([m.band for m in c.remedies if m.key != "regeneration.top"] for c in candidates if c.remedies), []
    )
    columns = (
        Column("tube", "left"),
        Column(f"end resistor\n({report.band})"),
        *(Column(f"tap\n{band}") for band in taps),
    )
    rows = []
    reasons: dict[str, list[str]] = {}
    for c in candidates:
        if not c.remedies:
            continue
        by_band = {(m.key == "regeneration.top", m.band): m for m in c.remedies}
        rows.append(
            (
                c.tube,
                _change(by_band.get((True, report.band))),
                *(_change(by_band.get((False, band))) for band in taps),
            )
        )
        for m in c.remedies:
            if m.reason is not None:
                where = "" if m.key == "regeneration.top" else f" on {m.band}"
                reasons.setdefault(f"{m.what}{where}: {m.reason}", []).append(c.tube)
    if not rows:
        text = (
            "No change was tried: no tube here needs one, or the set has neither a resistor above the "
            "control nor a tap to make it with. A tickler's turns and place are changed in the build."
        )
        return Section("What brings it to the same onset", (Note(text),))
    text = (
        "Either the resistor above the control (all bands, sought on one) or the taps bring oscillation to "
        "the place of the knob where the tube in place begins; in brackets where the knob then is, by a "
        "search with the change made. X: it misses that place."
    )
    why = [Note(f"{text} ({', '.join(tubes)})", mark=" - ") for text, tubes in reasons.items()]
    parts: tuple[Grid | Note, ...] = (Grid(columns, tuple(rows)), Note(text), *why)
    return Section(f"What brings it to the onset of the {report.reference}", parts, PLATE_SUPPLY)


def _onset_ranges(candidates: Sequence[DetectorCandidate]) -> tuple[Section, ...]:
    """Return where eight of ten tubes of each type begin to oscillate, in the set as it would be used."""
    used = [(c, c.fitted.range) for c in candidates if c.fitted is not None]
    if not used:
        return ()
    sets = words(used[0][1].quantity, used[0][1].unit)
    columns = (
        Column("\ntube", "left"), Column(f"onset\nof {used[0][1].drawn}"), Column("knob\n%"),
        Column(f"{sets.name}\n{sets.unit}"), Column("approach\ndeg"), Column("detection\n1/V"),
    )  # fmt: skip
    rows = [
        (
            name_of(c),
            str(one.with_onset),
            span(one.knob_low, one.knob_high, 100.0),
            span(one.figure_low, one.figure_high, sets.scale, decimals=1),
            span(one.approach_low_deg, one.approach_high_deg),
            _eight_of_ten(c),
        )
        for c, one in used
    ]
    note = Note(
        "Eight of ten tubes of a type lie within, parts as stated: what print leaves open of it, and the "
        "spread from tube to tube, from the tubes drawn. Two types whose ranges overlap may change places "
        "from one specimen to the next."
    )
    return (Section("How far tubes of one type differ, as used", (Grid(columns, tuple(rows)), note)),)


def _change(m: Adjustment | None) -> str:
    if m is None or m.after is None:
        return "-"
    if m.what == "tap":
        value = f"{100.0 * m.after:.4g} %"
    elif m.what == "tap (turns)":
        value = f"{m.after:.4g} turns"
    else:
        value = "none" if m.after == 0.0 else engineering(m.after, "ohm", 2)
    found = "no onset" if m.found is None else percent(m.found)
    return f"{'' if m.works else 'X '}{value} ({found})"


def _audio_rank(report: SwapReport) -> Section:
    columns = (
        Column("#"), Column("tube", "left"), Column("as", "left"), Column("gain"), Column("plate\nmA"),
        Column("cathode\nV"), Column("noise\nkohm"), Column("cathode resistor"), Column("draws\nmA"),
    )  # fmt: skip
    rows, styles = [], []
    for c in report.audios:
        remedy = c.remedies[0] if c.remedies else None
        after = None if remedy is None else remedy.after
        found = None if remedy is None else remedy.found
        rows.append(
            (
                str(c.rank),
                name_of(c),
                "triode" if c.tied else "own",
                fixed(c.gain, 2),
                fixed(c.plate_a, 2, 1e3),
                fixed(c.cathode_v, 2),
                fixed(c.noise_ohm, 2, 1e-3),
                engineering(after, "ohm", 2),
                fixed(found, 2, 1e3),
            )
        )
        styles.append("bold" if c.in_place else "")
    reasons = [
        f"{c.tube}, {m.what}: {m.reason}" for c in report.audios for m in c.remedies if m.reason is not None
    ]
    notes = [
        Note(
            "> the tube in place. Gain: from its grid to the first phones, 1 kHz. Cathode resistor: draws "
            "the current of the tube in place."
        ),
        *(Note(r, mark=" - ") for r in reasons),
    ]
    if any(c.extrapolated for c in report.audios):
        notes.append(Note("* works outside the published points its model was fitted on."))
    return Section(
        "Candidates, best first", (Grid(columns, tuple(rows), tuple(styles), 2), *notes), PLATE_SUPPLY
    )


def _practical(candidates: Sequence[Candidate], reference: str) -> Section:
    notes = tuple(
        Note(_words(c.fitting, reference), mark=f"{c.tube:<7}") for c in candidates if not c.in_place
    )
    return Section(f"In the socket of the {reference}", notes, PLATE_SUPPLY)


def _words(fitting: Fitting, reference: str) -> str:
    heater = f"heater {fitting.heater}"
    if fitting.drop_in:
        return f"plugs in; {heater}; {fitting.shield}"
    if fitting.other_base:
        wiring = f"another socket: {fitting.pins[0]}"
    elif fitting.pins:
        wiring = f"same {fitting.base} socket rewired: {', '.join(fitting.pins)}"
    else:
        wiring = f"same socket and pins as the {reference}"
    return f"{heater}; {wiring}; {fitting.shield}"
