"""How sure the answers are: verdicts in a hundred sets, ranges of figures, parts that decide."""

from __future__ import annotations

from receiver_sim.results.spread import BandSpread
from receiver_sim.results.sure import FigureRange, HowSure
from receiver_sim.views.numbers import engineering, fixed
from receiver_sim.views.sheet import Column, Grid, Note, Section
from receiver_sim.views.spread_tables import WORDS

_RULES = ("onset", "onset_rotation", "onset_screen", "approach_min")


def sure_section(sure: HowSure) -> Section:
    """Return the section 'How sure' of a check."""
    parts: list[Grid | Note] = [
        Note(
            f"Of {sure.sets} sets, each with its own parts, tubes and mains, {sure.held[-1].held} are good "
            "in every verdict below.",
            style="bold",
        ),
        _bands(sure),
        Note(
            "Onset: sets with one on the control; place: in its useful part; screen, approach: as judged "
            "above. Ranges: eight of ten sets lie within; knob in %, screen in V, approach in deg.",
            mark="   ",
        ),
        *(Note(text, mark=" -  ") for text in _deciding(sure)),
        *(
            Note(f"{one.subject}: ratings kept in {one.held} of {one.of} sets.", mark=" -  ")
            for one in sure.held
            if one.rule == "rating"
        ),
    ]
    if sure.figures:
        parts += [Note(""), _figures(sure.figures)]
    parts += [Note(text, mark="   ") for text in sure.notes]
    return Section("How sure", tuple(parts))


def _bands(sure: HowSure) -> Grid:
    columns = (
        Column("\nband", "left"), Column("onset\nof 100"), Column("place\nof 100"), Column("screen\nof 100"),
        Column("approach\nof 100"), Column("knob\n%"), Column("screen\nV"), Column("approach\ndeg"),
    )  # fmt: skip
    count = {(one.subject, one.rule): one for one in sure.held}
    rows = []
    for band in sure.bands:
        shares = (fixed(count[band.band, rule].share, 0, 100.0) for rule in _RULES)
        rows.append((band.band, *shares, *_spans(band)))
    return Grid(columns, tuple(rows))


def _spans(band: BandSpread) -> tuple[str, str, str]:
    return (
        span(band.knob_low, band.knob_high, 100.0),
        span(band.low_v, band.high_v),
        span(band.approach_low_deg, band.approach_high_deg),
    )


def span(low: float | None, high: float | None, scale: float = 1.0) -> str:
    """Return a range in whole units: '27 to 68'."""
    if low is None or high is None:
        return "-"
    return f"{fixed(low, 0, scale)} to {fixed(high, 0, scale)}"


def _deciding(sure: HowSure) -> list[str]:
    """Return what decides where onset lies, bands of one order of parts together."""
    told: dict[tuple[str, ...], list[str]] = {}
    for band in sure.bands:
        mine = [one for one in sure.deciding if one.band == band.band]
        if mine:
            words = tuple(f"{one.word} ({fixed(one.share, 0, 100.0)} %)" for one in mine)
            told.setdefault(words, []).append(band.band)
    return [f"What decides on {', '.join(bands)}: {', '.join(words)}." for words, bands in told.items()]


def _figures(figures: tuple[FigureRange, ...]) -> Grid:
    columns = (Column("figure", "left"), Column("as stated"), Column("eight of ten sets"))
    rows = []
    for one in figures:
        if one.low == one.high == one.stated:
            continue
        unit = "" if one.unit == "1" else one.unit
        ends = f"{engineering(one.low, unit)} to {engineering(one.high, unit)}"
        rows.append((one.name, engineering(one.stated, unit), ends))
    return Grid(columns, tuple(rows))


__all__ = ["WORDS", "span", "sure_section"]
