"""Tables of many sets: in how many each verdict holds, where onset lies, which parts decide."""

from __future__ import annotations

from receiver_sim.results.cautions import PLATE_SUPPLY
from receiver_sim.results.spread import BandSpread, Held, Sets, Spread
from receiver_sim.views import control_words
from receiver_sim.views.numbers import fixed
from receiver_sim.views.sheet import Column, Grid, Note, Section, Sheet

SHOWN = 8
"""Parts listed for each band."""

WORDS = {
    "onset": "has an onset on the control",
    "onset_rotation": "onset in the useful part of the control",
    "onset_screen": "screen voltage of a working detector",
    "approach_min": "gentle approach",
    "all": "every verdict above, on every band",
}


def spread_sheet(report: Spread) -> Sheet:
    """Return the whole answer, cautions first."""
    return Sheet(
        f"{report.title}: {report.sets} sets",
        (_verdicts(report), *(_onsets(sets) for sets in _states(report)), _parts(report), _how(report)),
    )


def _states(report: Spread) -> list[Sets]:
    return [report.before, *([] if report.after is None else [report.after])]


def share_of(held: Held) -> str:
    """Return a share of a hundred sets with its interval: '87 (79 to 92)'."""
    ends = f"{fixed(held.share_low, 1, 100.0)} to {fixed(held.share_high, 1, 100.0)}"
    return f"{fixed(held.share, 1, 100.0)} ({ends})"


def _verdicts(report: Spread) -> Section:
    states = _states(report)
    columns = (
        Column("band", "left"),
        Column("verdict", "left"),
        *(Column(f"{sets.label}\nof 100 sets") for sets in states),
    )
    rows = [
        (one.subject, WORDS.get(one.rule, one.rule), *(share_of(sets.held[i]) for sets in states))
        for i, one in enumerate(report.before.held)
    ]
    styles = ["bold" if row[0] == report.before.whole.subject else "" for row in rows]
    notes = [Note("In brackets: 95 % confidence interval of the share.")]
    if report.after is not None:
        notes.append(Note(f"Measured: {', '.join(report.after.measured)}."))
    return Section(
        "In how many of a hundred sets each verdict holds",
        (Grid(columns, tuple(rows), tuple(styles)), *notes),
        PLATE_SUPPLY,
    )


def _span(low: float | None, high: float | None, decimals: int, scale: float = 1.0) -> str:
    if low is None or high is None:
        return "-"
    return f"{fixed(low, decimals, scale)} to {fixed(high, decimals, scale)}"


def _onsets(sets: Sets) -> Section:
    how = control_words.words(sets.bands[0].quantity, sets.bands[0].unit)
    columns = (
        Column("band", "left"), Column("oscillate\nof 100"), Column("knob, middle\n%"),
        Column("80 % within\n%"),
        Column(f"{how.name}, middle\n{how.unit}"), Column(f"80 % within\n{how.unit}"),
        Column("approach, middle\ndeg"),
        Column("80 % within\ndeg"), Column("never"), Column("always"), Column("failed"),
    )  # fmt: skip
    rows = tuple(_row(band) for band in sets.bands)
    note = Note(
        "Onset at the middle of the dial, of the sets that have one; eight of ten lie within the two "
        "figures. "
        "Never: sets that don't oscillate at any setting; always: at every setting."
    )
    return Section(f"Onset {sets.label}", (Grid(columns, rows), note))


def _row(band: BandSpread) -> tuple[str, ...]:
    how = control_words.words(band.quantity, band.unit)
    return (
        band.band,
        fixed(band.oscillating / band.sets, 1, 100.0),
        fixed(band.knob_middle, 0, 100.0),
        _span(band.knob_low, band.knob_high, 0, 100.0),
        how.shown(band.figure_middle, 0),
        _span(band.figure_low, band.figure_high, 0, how.scale),
        fixed(band.approach_middle_deg, 0),
        _span(band.approach_low_deg, band.approach_high_deg, 0),
        str(band.silent),
        str(band.always),
        str(band.failed),
    )


def _parts(report: Spread) -> Section:
    columns = (
        Column("band", "left"),
        Column("share of variance\n%"),
        Column("part", "left"),
        Column("key", "left"),
    )
    rows: list[tuple[str, ...]] = []
    for band in report.before.bands:
        mine = [one for one in report.shares if one.band == band.band][:SHOWN]
        rows += [
            (band.band if i == 0 else "", fixed(one.share, 1, 100.0), one.word, one.key)
            for i, one in enumerate(mine)
        ]
    notes = []
    if report.worth is not None:
        text = f"The part worth selecting: {report.worth_word} ({report.worth})."
        if report.gain is not None:
            text += (
                " Measured first, and one taken that is what the build says, "
                f"the share of sets good in everything changes by {100.0 * report.gain:+.1f} of a hundred."
            )
        notes.append(Note(text))
    return Section("Parts that decide where onset lies", (Grid(columns, tuple(rows)), *notes))


def _how(report: Spread) -> Section:
    last = Note(f"Seed {report.seed}; the same numbers for any number of workers.")
    return Section("How to read it", (*(Note(text) for text in report.notes), last))
