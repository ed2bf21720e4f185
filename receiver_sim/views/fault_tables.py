"""What the readings say: what can hurt first, then the suspects."""

from __future__ import annotations

from receiver_sim.results.cautions import PLATE_SUPPLY
from receiver_sim.results.faults import FaultReport
from receiver_sim.views.failed import failed_sections
from receiver_sim.views.numbers import NOTHING, fixed, percent
from receiver_sim.views.sheet import Column, Grid, Note, Section, Sheet


def faults_sheet(found: FaultReport) -> Sheet:
    """Return the whole answer."""
    sections = [hazards(found)] if found.hazards else []
    sections += [verdict(found), suspects(found)]
    if found.next_reading is not None:
        sections.append(next_reading(found))
    sections += [readings(found), *failed_sections(found.failed)]
    hurting = tuple(
        f"{'DANGER' if one.probability >= 0.05 else 'CAUTION'}, {one.name} is not ruled out: {one.why}."
        for one in found.hazards
        if one.tested
    )
    return Sheet(f"Faults: {found.title}", tuple(sections), (*hurting, *found.cautions))


LEAST_SHOWN = 5e-4
"""Suspects below this probability are left to the document: they would be shown with 0.0 %."""

POORLY = 2.5
"""Off by more (r.m.s. of the readings, in standard deviations) even the likeliest explains them poorly:
one reading is so far off in one of eighty sets, several together far more seldom (normal distribution)."""


def hazards(found: FaultReport) -> Section:
    """Return the faults that can hurt and are not ruled out, whatever their rank."""
    notes = tuple(
        Note(f"{one.name} ({percent(one.probability, 1)}): {one.why}.", mark=" ! ", style="bold red")
        if one.tested
        else Note(f"{one.name}, which no reading here tests: {one.why}.", mark=" ! ")
        for one in found.hazards
    )
    return Section("Rule these out first", notes, PLATE_SUPPLY)


def verdict(found: FaultReport) -> Section:
    """Return the answer in a sentence."""
    if found.healthy:
        said = f"These readings are those of a sound set ({percent(found.healthy_probability)})."
        said += _poorly(found.healthy_deviation)
    elif found.suspects:
        one = found.suspects[0]
        size = "" if one.names[0].endswith(f": {one.size}") else f" ({one.size})"
        said = f"Most likely {' or '.join(one.names[:4])}{size}, {percent(one.probability)}."
        if len(one.names) > 1:
            said += " These readings can't separate them."
        said += _poorly(one.deviation)
    else:
        said = "No single fault that was tried explains these readings."
    notes = [Note(said)]
    if found.healthy and found.not_shown:
        notes.append(Note(f"They can't show, and so don't exclude: {'; '.join(found.not_shown)}."))
    return Section("What the readings say", tuple(notes))


def _poorly(deviation: float) -> str:
    """Return a sentence where the leading answer explains the readings poorly, else ''."""
    if deviation <= POORLY:
        return ""
    return (
        f" That explains them poorly (off by {deviation:.1f} standard deviations): think of two faults at "
        "once, a wrong joint, a reading on another range or of another pin."
    )


def suspects(found: FaultReport) -> Section:
    """Return the suspects in their order."""
    columns = (
        Column("", "right"), Column("suspect", "left"), Column("as", "left"), Column("%"),
        Column("off by\nsigma"),
    )  # fmt: skip
    shown = [one for one in found.suspects if one.probability >= LEAST_SHOWN] or found.suspects[:1]
    rows = tuple(
        (
            str(number),
            "; ".join(one.names[:6]) + (f"; and {len(one.names) - 6} more" if len(one.names) > 6 else ""),
            one.size,
            fixed(one.probability, 1, 100.0),
            fixed(one.deviation, 1),
        )
        for number, one in enumerate(shown, start=1)
    )
    legend = (
        f"{found.tried} single faults tried, each in ngspice with these meters. How often parts fail is "
        "common practice, no source. These readings can't separate faults on one "
        "line. Off by: readings "
        "against the suspect, in standard deviations of readings and parts."
    )
    return Section("Suspects", (Grid(columns, rows), Note(legend)), PLATE_SUPPLY)


def next_reading(found: FaultReport) -> Section:
    """Return the reading that would separate the leading suspects best."""
    one = found.next_reading
    assert one is not None
    columns = (Column("if it is", "left"), Column("V"))
    rows = tuple((name, fixed(volts, 2)) for name, volts in one.expected_v.items())
    return Section(
        "What to measure next",
        (Note(f"{one.where}, {one.meter} meter. {one.how}"), Grid(columns, rows)),
        PLATE_SUPPLY,
    )


def readings(found: FaultReport) -> Section:
    """Return each reading beside what it should be."""
    columns = (
        Column("reading", "left"), Column("yours"), Column("should be"), Column("with the\nfirst suspect"),
        Column("unit", "left"),
    )  # fmt: skip
    rows = []
    for one in found.readings:
        scale, unit = (100.0, "% of knob") if one.unit == "of the knob" else (1.0, one.unit)
        none = "none" if unit != "V" else NOTHING
        cells = (none if v is None else fixed(v, 2, scale) for v in (one.seen, one.should, one.suspect))
        rows.append((one.where, *cells, unit))
    return Section("Readings", (Grid(columns, tuple(rows)),), PLATE_SUPPLY)
