"""Readable tables of every result, each with the cautions its volts ask for. Made from results only.

Every function returns a Section or a Sheet of them: print it with `show`, or let rich print it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from typing import TYPE_CHECKING

from receiver_sim.results.bands import BandReport, Grade, Verdict, failures
from receiver_sim.results.base import Provenance, Status
from receiver_sim.results.cautions import PLATE_SUPPLY, RADIATION
from receiver_sim.results.onset import ControlSetting
from receiver_sim.views.control_words import named, words_of
from receiver_sim.views.failed import failed_sections
from receiver_sim.views.numbers import NOTHING, decibel, engineering, fixed, percent, shorten
from receiver_sim.views.sheet import Column, Grid, Note, Section, Sheet, show
from receiver_sim.views.states import told_once

if TYPE_CHECKING:
    from receiver_sim.results.audio import AudioResponse, Hum
    from receiver_sim.results.bias import OperatingPoint, RatingLine, RegulatorDrift, TubePoint
    from receiver_sim.results.check import CheckReport

__all__ = [
    "audio_table",
    "band_table",
    "check_report",
    "failed_sections",
    "hum_table",
    "loop_sheet",
    "operating_table",
    "provenance_note",
    "ratings_table",
    "regulator_table",
    "selectivity_table",
    "sheet",
    "show",
    "verdict_table",
]

_OPEN_OHM = 1e8
"""Load from which on nothing is plugged in."""

_NAME = 14
"""Characters a name may take in a table of many columns."""

_GRADES = {
    Grade.GOOD: (" +  good      ", "green"),
    Grade.DOUBTFUL: (" ?  doubtful  ", "yellow"),
    Grade.BAD: (" X  BAD       ", "bold red"),
}
_WORST_FIRST = (Grade.BAD, Grade.DOUBTFUL, Grade.GOOD)


def sheet(title: str, *sections: Section) -> Sheet:
    """Return several sections as one sheet under a title, the cautions of all of them once at its head."""
    return Sheet(title, sections)


def band_table(bands: Sequence[BandReport]) -> Section:
    """Return a row for each band and dial point: status, onset, slope, approach; notes where none is."""
    onsets = [onset for band in bands for onset in band.onsets]
    sets = words_of(onset.onset for onset in onsets)
    columns = (
        Column("\nband", "left"), Column("dial\nMHz"), Column("\nstatus", "left"), Column("knob\n%"),
        Column(f"{sets.name}\n{sets.unit}"), Column("frequency\nMHz"), Column(f"slope\nper {sets.unit}"),
        Column(f"approach\n{sets.unit}"),
        Column("approach\ndeg"),
    )  # fmt: skip
    said = Counter(text for band in bands for text in {t for o in band.onsets for t in o.warnings})
    shared = {text for text, count in said.items() if count > 1}
    of_several = told_once((o.band, t) for o in onsets for t in o.warnings if t in shared)
    texts = [*(text for band in bands for text in _band_notes(band, shared)), *of_several]
    notes = [Note(text, mark="   ") for text in texts]
    rows = []
    previous = None
    for item in onsets:
        at = item.onset
        rows.append(
            (
                "" if item.band == previous else shorten(item.band, _NAME),
                fixed(item.dial_hz, 3, 1e-6),
                item.status.value,
                fixed(at.rotation if at else None, 0, 100.0),
                sets.shown(at.figure if at else None, 1),
                fixed(item.oscillation_hz, 4, 1e-6),
                engineering(None if item.slope is None else item.slope / sets.scale, ""),
                sets.shown(item.approach, 1),
                fixed(item.approach_deg, 0),
            )
        )
        previous = item.band
    styles = tuple("" if item.status is Status.OSCILLATES else "yellow" for item in onsets)
    legend = Note(
        "Knob: share of the control's electrical travel at onset. Slope: rise of the loop gain T there, per "
        f"{'volt' if sets.unit == 'V' else 'picofarad'} of the {sets.name}. "
        f"Approach: {sets.plural} and degrees of knob from loop gain 0.9 to onset. Parts and tubes leave "
        "more open than the last digit shown: `receiver-sim spread` says how much.",
        mark="   ",
    )
    grid = Grid(columns, tuple(rows), styles, repeat=2)
    return Section("Onset of oscillation", (grid, legend, *notes), PLATE_SUPPLY + RADIATION)


def _band_notes(band: BandReport, shared: Collection[str]) -> list[str]:
    """Return what keeps a band from an onset, once for all dial settings alike; then what else is to say,
    but for what it shares with other bands.
    """
    notes = []
    for status in dict.fromkeys(onset.status for onset in band.onsets if onset.status in _ABSENT):
        those = [onset for onset in band.onsets if onset.status is status]
        where = band.band
        if len(those) < len(band.onsets):
            where += f" at {' and '.join(fixed(o.dial_hz, 3, 1e-6) for o in those)} MHz"
        low = _span(onset.gain_lowest for onset in those)
        high = _span(onset.gain_highest for onset in those)
        notes.append(f"{where}: {_ABSENT[status].format(low=low, high=high)}")
    alike = {onset.warnings for onset in band.onsets}
    everywhere = alike.pop() if len(alike) == 1 and len(band.onsets) > 1 else ()
    notes += [f"{band.band}: {warning}" for warning in everywhere if warning not in shared]
    for onset in band.onsets:
        where = f"{onset.band} at {fixed(onset.dial_hz, 3, 1e-6)} MHz: "
        if onset.stops_at is not None:
            notes.append(f"{where}stops oscillating again at {_setting(onset.stops_at)}.")
        own = (warning for warning in onset.warnings if warning not in {*everywhere, *shared})
        notes += [where + warning for warning in own]
    return notes


_ABSENT = {
    Status.DOES_NOT: (
        "does not oscillate anywhere on the control; the loop gain is {low} at its lowest setting, {high} at "
        "its highest, and 1 is needed."
    ),
    Status.NOT_IN_RANGE: (
        "oscillates already at the lowest setting of the control, with a loop gain of {low}; the onset lies "
        "below its range."
    ),
    Status.FAILED: "the simulation failed and gives no answer.",
}


def _span(gains: Iterable[float | None]) -> str:
    """Return the least and the greatest of some loop gains, or the one they all come to."""
    known = sorted(gain for gain in gains if gain is not None)
    ends = [engineering(gain, "") for gain in (known[0], known[-1])] if known else [NOTHING]
    return " to ".join(dict.fromkeys(ends))


def selectivity_table(bands: Sequence[BandReport]) -> Section:
    """Return the bandwidth (kHz) of each band against the loop gain; bands without the study are left out."""
    studied = [(band.band, band.selectivity) for band in bands if band.selectivity is not None]
    gains = sorted({round(float(gain), 4) for _, result in studied for gain in result.gain})
    parts: list[Grid | Note] = []
    # eight columns a grid keep it within the width of a sheet
    for start in range(0, len(gains), 8):
        group = gains[start : start + 8]
        heads = [Column(f"{gain:g}") for gain in group]
        columns = (Column("band", "left"), Column("dial MHz"), Column("T = 0"), *heads)
        rows = []
        for name, result in studied:
            widths = {
                round(float(t), 4): float(w) for t, w in zip(result.gain, result.bandwidth_hz, strict=True)
            }
            cells = (_kilohertz(widths.get(gain)) for gain in group)
            first = (shorten(name, _NAME), fixed(result.dial_hz, 3, 1e-6))
            rows.append((*first, _kilohertz(result.unloaded_bandwidth_hz), *cells))
        parts.append(Grid(columns, tuple(rows)))
    text = "Bandwidth in kHz between -3 dB points at loop gain T; T = 0 extrapolated. '-': not reached."
    return Section("Selectivity", (*parts, Note(text if parts else "Not measured on any band.", mark="   ")))


def _kilohertz(hertz: float | None) -> str:
    if hertz is None:
        return NOTHING
    # three digits, but never a power of ten
    return engineering(hertz / 1e3, "")


def _setting(setting: ControlSetting) -> str:
    return f"knob {percent(setting.rotation)}, {named(setting)}"


def operating_table(points: Sequence[OperatingPoint], band: str | None = None) -> Section:
    """Return what a meter should read at the sockets and test points, at each setting of the control.

    band: the band whose coil was in, to be named.
    """
    coil = "" if band is None else f" Coil of {band}."
    parts: list[Grid | Note] = [
        Note(f"Volts to ground, no signal, not oscillating, read with a meter that draws no current.{coil}")
    ]
    settings: dict[tuple[tuple[str, ...], ...], list[str]] = {}
    for point in points:
        rows = tuple(_tube_row(tube) for tube in point.tubes)
        settings.setdefault(rows, []).append(f"{point.label}: {_setting(point.setting)}")
    for rows, names in settings.items():  # what a throttle leaves alike is shown once
        parts += [Note(""), Note(f"Control {'; '.join(names)}", style="bold"), _tube_grid(rows)]
    parts += _extrapolated(points)
    parts += [Note(""), *_test_points(points)]
    return Section("What a meter should read", tuple(parts), PLATE_SUPPLY)


def _tube_grid(rows: tuple[tuple[str, ...], ...]) -> Grid:
    """Return the readings at the sockets, without the columns of a screen where no tube has one."""
    columns = (
        Column("\nsocket", "left"), Column("\ntube", "left"), Column("plate\nV"), Column("screen\nV"),
        Column("grid\nV"), Column("cathode\nV"), Column("plate\nmA"), Column("screen\nmA"),
        Column("grid\nuA"), Column("plate\nW"), Column("screen\nW"),
    )  # fmt: skip
    bare = bool(rows) and all(row[3] == NOTHING for row in rows)
    kept = [i for i, one in enumerate(columns) if not (bare and one.heading.startswith("screen"))]
    return Grid(tuple(columns[i] for i in kept), tuple(tuple(row[i] for i in kept) for row in rows), repeat=2)


def _tube_row(tube: TubePoint) -> tuple[str, ...]:
    return (
        shorten(tube.socket, _NAME),
        shorten(tube.tube, 10) + ("*" if tube.outside else ""),
        fixed(tube.plate_v, 1),
        fixed(tube.screen_v, 2),
        fixed(tube.grid_v, 2),
        fixed(tube.cathode_v, 2),
        fixed(tube.plate_a, 3, 1e3),
        fixed(tube.screen_a, 3, 1e3),
        fixed(tube.grid_a, 2, 1e6),
        fixed(tube.plate_w, 3),
        fixed(tube.screen_w, 3),
    )


def _extrapolated(points: Sequence[OperatingPoint]) -> list[Note]:
    """Explain the star at a tube, once for each, in the words of the middle setting if it has any."""
    middle = len(points) // 2
    order = [points[middle], *points[:middle], *points[middle + 1 :]] if points else []
    words: dict[str, str] = {}
    for point in order:
        for tube in point.tubes:
            if tube.outside:
                places = "; ".join(text.removeprefix(f"{tube.tube}: ") for text in tube.outside)
                text = f"{tube.socket} {tube.tube}, control {point.label}: {places}."
                words.setdefault(tube.socket, text)
    if not words:
        return []
    head = Note(
        "* works outside the published points its card was fitted on; figures extrapolated.", mark="   "
    )
    return [Note(""), head, *(Note(text, mark="     ") for text in words.values())]


def _test_points(points: Sequence[OperatingPoint]) -> list[Grid | Note]:
    """Return the named test points, a row each, a column a setting; four settings a grid keep it narrow."""
    parts: list[Grid | Note] = []
    for start in range(0, len(points), 4):
        group = points[start : start + 4]
        # A line break at each blank keeps the columns narrow.
        heads = [Column(shorten(p.label, 40).replace(" ", "\n") + "\nV") for p in group]
        depth = max(head.heading.count("\n") for head in heads)
        heads = [Column("\n" * (depth - h.heading.count("\n")) + h.heading) for h in heads]
        names = list(dict.fromkeys(name for p in group for name in p.volts))
        rows = [(shorten(n, 36), *(fixed(p.volts.get(n), 2) for p in group)) for n in names]
        parts.append(Grid((Column("\n" * depth + "test point", "left"), *heads), tuple(rows)))
        currents = [engineering(p.regulator_a, "A") for p in group]
        if any(current != NOTHING for current in currents):
            parts.append(Note(f"Current of the regulator, same order: {', '.join(currents)}."))
    return parts


def ratings_table(points: Sequence[OperatingPoint]) -> Section:
    """Return each rating against the highest value met at any of the settings, the tightest first."""
    worst: dict[tuple[str, str], tuple[RatingLine, str]] = {}
    for point in points:
        for line in point.ratings:
            key = line.part, line.quantity
            if key not in worst or line.value > worst[key][0].value:
                worst[key] = line, point.label
    ordered = sorted(worst.values(), key=lambda entry: -_load(entry[0]))
    columns = (
        Column("part", "left"), Column("rating", "left"), Column("value"), Column("limit"), Column("share"),
        Column("", "left"), Column("highest at", "left"),
    )  # fmt: skip
    rows = tuple(
        (
            shorten(line.part, 22),
            shorten(line.quantity, 22),
            engineering(line.value, line.unit),
            engineering(line.limit, line.unit),
            percent(_load(line)) if line.limit > 0.0 else NOTHING,
            "X EXCEEDED" if line.exceeded else "within",
            shorten(label, 22),
        )
        for line, label in ordered
    )
    styles = tuple("bold red" if line.exceeded else "" for line, _ in ordered)
    return Section("Ratings", (Grid(columns, rows, styles),), PLATE_SUPPLY)


def _load(line: RatingLine) -> float:
    return line.value / line.limit if line.limit > 0.0 else 0.0


def audio_table(audio: AudioResponse) -> Section:
    """Return gain, -3 dB points and impedances of each output."""
    columns = (
        Column("\noutput", "left"), Column("gain at 1 kHz\nV per V"), Column("\ndB"), Column("-3 dB\nbelow"),
        Column("-3 dB\nabove"), Column("source\nat 1 kHz"), Column("load\nat 1 kHz"),
    )  # fmt: skip
    rows = tuple(
        (
            shorten(output.output, 24),
            engineering(output.gain_1khz, ""),
            decibel(output.gain_1khz),
            engineering(output.low_hz, "Hz"),
            engineering(output.high_hz, "Hz"),
            engineering(output.source_ohm, "ohm"),
            "open" if output.load_ohm >= _OPEN_OHM else engineering(output.load_ohm, "ohm"),
        )
        for output in audio.outputs
    )
    note = Note(
        f"With {_setting(audio.setting)}. Gain from the detector's grid to the output; the -3 dB points "
        "include the grid leak's own corner. '-' there: not reached in the range swept.",
        mark="   ",
    )
    return Section("Audio response", (Grid(columns, rows), note), PLATE_SUPPLY)


def hum_table(hum: Hum) -> Section:
    """Return the hum voltage of each output, and at the null of the hum pot if there is one to turn."""
    pot = hum.pot
    columns = [
        Column("\noutput", "left"),
        Column(f"pot at {percent(hum.build_position)}\nV rms" if pot else "together\nV rms"),
        Column("\ndBV"),
    ]
    if pot:
        columns += [Column("null\nat pot %"), Column("there\nV rms"), Column("\ndBV")]
    columns.append(Column("ripple alone\nV rms"))
    rows = []
    for output in hum.outputs:
        row = [
            shorten(output.output, 24),
            engineering(output.at_build_v, "V"),
            decibel(output.at_build_v),
        ]
        if pot:
            row += [
                fixed(output.best_position, 1, 100.0),
                engineering(output.best_v, "V"),
                decibel(output.best_v),
            ]
        rows.append((*row, engineering(output.ripple_v, "V")))
    text = f"With {_setting(hum.setting)}. "
    if any(output.at_build_v > 0.0 or output.ripple_v > 0.0 for output in hum.outputs):
        text += f"Heater hum at {engineering(hum.mains_hz, 'Hz')} and supply ripple at "
        text += f"{engineering(hum.ripple_hz, 'Hz')}, added as root of squares"
        text += "; the pot cannot change the ripple." if pot else "; no hum pot to turn."
    else:
        text += "No a.c. on the heaters and no ripple of the supply: nothing hums."
    return Section("Hum", (Grid(tuple(columns), tuple(rows)), Note(text, mark="   ")), PLATE_SUPPLY)


def regulator_table(drift: RegulatorDrift) -> Section:
    """Return regulator, screen and onset at each volts of the supply, the knob left alone."""
    fitted = any(point.holds is not None for point in drift.points)
    sets = words_of(drift.points)
    columns = [Column("supply\nat %"), Column("supply\nV")]
    if fitted:
        columns += [Column("regulated\nV"), Column("regulator\nmA")]
    columns += [Column(f"knob left:\n{sets.name} {sets.unit}"), Column("onset at\nknob %")]
    columns += [Column(f"onset at\n{sets.name} {sets.unit}")]
    if fitted:
        columns.append(Column("\nregulator", "left"))
    rows, notes = [], []
    for point in drift.points:
        at = point.onset
        row = [fixed(point.mains, 0, 100.0), fixed(point.supply_v, 1)]
        if fitted:
            row += [fixed(point.regulated_v, 2), fixed(point.regulator_a, 2, 1e3)]
        row += [
            sets.shown(point.figure, 2),
            fixed(at.rotation if at else None, 1, 100.0),
            sets.shown(at.figure if at else None, 2),
        ]
        if fitted:
            row.append({True: "holds", False: "X DOES NOT HOLD", None: "none fitted"}[point.holds])
        rows.append(tuple(row))
        where = f"Supply at {percent(point.mains)}: "
        if point.holds is False:
            notes.append(Note(f"{where}{point.reason}.", mark="   "))
        if point.onset_status is not Status.OSCILLATES:
            notes.append(Note(f"{where}onset {_outcome(point.onset_status)}.", mark="   "))
    styles = tuple("bold red" if point.holds is False else "" for point in drift.points)
    dial = f"{drift.band}, {fixed(drift.dial_hz, 3, 1e-6)} MHz"
    text = f"{dial}; {sets.plural} with the knob left at {percent(drift.rotation, 1)}."
    text += " Supply: of what it gives without load, as the mains or the batteries make it."
    if drift.dropper_w is not None and drift.regulator_w is not None:
        text += (
            f" At the highest the dropper turns {engineering(drift.dropper_w, 'W')} into heat, "
            f"the regulator {engineering(drift.regulator_w, 'W')}."
        )
    grid = Grid(tuple(columns), tuple(rows), styles)
    parts: list[Grid | Note] = [grid, Note(text, mark="   "), *notes]
    heading = "Regulator and supply" if fitted else "Onset and the supply, without a regulator"
    return Section(heading, tuple(parts), PLATE_SUPPLY)


def _outcome(status: Status) -> str:
    return {
        Status.DOES_NOT: "not reached: it does not oscillate",
        Status.NOT_IN_RANGE: "not found in range: it oscillates already at the lowest setting",
        Status.FAILED: "unknown: the simulation failed",
    }.get(status, status.value)


def verdict_table(verdicts: Sequence[Verdict]) -> Section:
    """Return what is bad, then what is doubtful, a sentence each; then what is good, a line a subject.

    Grades show as sign, word and colour.
    """
    counts = [f"{sum(v.grade is g for v in verdicts)} {g.value}" for g in _WORST_FIRST]
    parts: list[Grid | Note] = [Note(", ".join(counts) + ".")]
    wanting = [v for v in verdicts if v.grade is not Grade.GOOD]
    wanting.sort(key=lambda v: _WORST_FIRST.index(v.grade))
    # what is true of several outputs or bands is said once
    for key in dict.fromkeys((v.grade, v.rule, v.text) for v in wanting):
        same = [v for v in wanting if (v.grade, v.rule, v.text) == key]
        mark, style = _GRADES[same[0].grade]
        subjects = ", ".join(v.subject for v in same)
        parts.append(Note(f"{subjects}: {same[0].text} {_reason(same)}", mark=mark, style=style))
    good = [verdict for verdict in verdicts if verdict.grade is Grade.GOOD]
    mark, style = _GRADES[Grade.GOOD]
    for subject in dict.fromkeys(verdict.subject for verdict in good):
        missed = {verdict.rule for verdict in wanting if verdict.subject == subject}
        kept = dict.fromkeys(verdict.rule for verdict in good if verdict.subject == subject)
        rules = [f"{rule} (the rest)" if rule in missed else rule for rule in kept]
        parts.append(Note(f"{subject}: {', '.join(rules)}", mark=mark, style=style))
    return Section("Verdicts", tuple(parts), PLATE_SUPPLY)


def _reason(same: Sequence[Verdict]) -> str:
    """Return rule, figures and limit of verdicts that say the same of several subjects."""
    first = same[0]
    unit = "" if first.unit == "1" else first.unit
    words = [first.rule, *(_figure(v.value, unit) for v in same if v.value is not None)]
    if first.limit is not None:
        words.append(f"limit {_figure(first.limit, unit)}")
    return f"[{', '.join(words)}]"


def _figure(value: float, unit: str) -> str:
    """Return a figure with its unit; decibels take no prefix."""
    return f"{value:.1f} dB" if unit == "dB" else engineering(value, unit)


def provenance_note(provenance: Provenance, *, evaluations: int) -> Note:
    """Return the line that says what the figures were made from and with."""
    cards = ", ".join(f"{tube} {digest[:12]}" for tube, digest in sorted(provenance.cards.items()))
    return Note(
        f"receiver-sim {provenance.receiver_sim}, ngspice {provenance.ngspice}; "
        f"build {provenance.build[:12]}; cards {cards}; "
        f"{len(provenance.decks)} decks, {evaluations} evaluations."
    )


def loop_sheet(title: str, bands: Sequence[BandReport]) -> Sheet:
    """Return the printed answer of `loop`."""
    return sheet(title, band_table(bands), *failed_sections(failures(bands)), selectivity_table(bands))


def check_report(report: CheckReport) -> Sheet:
    """Return the printed answer of `check`: cautions, bands, verdicts, the stages, warnings, provenance."""
    # `loop`, too, prints from this module, and needs neither
    from receiver_sim.views.envelope_tables import comes_in_table  # noqa: PLC0415 - for start-up's sake
    from receiver_sim.views.sure_tables import sure_section  # noqa: PLC0415 - likewise

    sections = [band_table(report.bands)]
    sections += failed_sections(failures(report.bands, report.failed))
    if report.verdicts:
        sections.append(verdict_table(report.verdicts))
    if report.oscillation:
        told = {text for band in report.bands for onset in band.onsets for text in onset.warnings}
        sections.append(comes_in_table(report.oscillation, told=told))
    if any(band.selectivity for band in report.bands):
        sections.append(selectivity_table(report.bands))
    if report.operating_points:
        sections += [
            operating_table(report.operating_points, report.reference_band),
            ratings_table(report.operating_points),
        ]
    if report.audio is not None:
        sections.append(audio_table(report.audio))
    if report.hum is not None:
        sections.append(hum_table(report.hum))
    if report.regulator is not None:
        sections.append(regulator_table(report.regulator))
    if report.sure is not None:
        sections.append(sure_section(report.sure))
    # what stands under the table of meter readings is not said again
    told = {text for p in report.operating_points for tube in p.tubes for text in tube.outside}
    warnings = [text for text in report.warnings if text not in told]
    if warnings:
        sections.append(Section("Warnings", tuple(Note(text, mark=" -  ") for text in warnings)))
    source = provenance_note(report.provenance, evaluations=report.evaluations)
    sections.append(Section("Made from", (source,)))
    return Sheet(report.title, tuple(sections), report.cautions)
