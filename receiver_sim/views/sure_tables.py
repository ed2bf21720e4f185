"""How sure the answers are: verdicts in a hundred sets, ranges of figures, parts that decide."""

from __future__ import annotations

from receiver_sim.results.spread import BandSpread
from receiver_sim.results.sure import FigureRange, HowSure
from receiver_sim.views import control_words
from receiver_sim.views.numbers import engineering, fixed
from receiver_sim.views.sheet import Column, Grid, Note, Section
from receiver_sim.views.spread_tables import WORDS

_RULES = {"onset": "onset", "onset_rotation": "place", "onset_screen": "screen", "approach_min": "approach"}
"""Verdicts on a band, and the words over their columns; one that no set was judged by is left out."""


def sure_section(sure: HowSure) -> Section:
    """Return the section 'How sure' of a check."""
    how = _how(sure)
    parts: list[Grid | Note] = [
        Note(
            f"Of {sure.sets} sets, each with its own parts, tubes and mains, {sure.held[-1].held} are good "
            "in every verdict below.",
            style="bold",
        ),
        _bands(sure),
        Note(
            "Onset: sets with one on the control; place: in its useful part; the others as judged "
            f"above. Ranges: eight of ten sets lie within; knob in %, {how.name} in {how.unit}, approach "
            "in deg.",
            mark="   ",
        ),
        *(Note(text, mark=" -  ") for text in _deciding(sure)),
        *(
            Note(f"{one.subject}: ratings kept in {one.held} of {one.of} sets.", mark=" -  ")
            for one in sure.held
            if one.rule == "rating"
        ),
    ]
    if sure.strengths:
        parts += [
            Note(""),
            _strengths(sure),
            Note(
                "Onset: sets with one on the control; found: of these, whose amplitudes a quick sweep found, "
                "with backlash and the amplitude at the top of the control from the lowest to the highest.",
                mark="   ",
            ),
        ]
    if sure.figures:
        parts += [Note(""), _figures(sure.figures)]
    parts += [Note(text, mark="   ") for text in sure.notes]
    return Section("How sure", tuple(parts))


def _bands(sure: HowSure) -> Grid:
    count = {(one.subject, one.rule): one for one in sure.held}
    how, judged = _how(sure), [rule for rule in _RULES if (sure.bands[0].band, rule) in count]
    columns = (
        Column("\nband", "left"), *(Column(f"{_RULES[rule]}\nof 100") for rule in judged),
        Column("knob\n%"), Column(f"{how.name}\n{how.unit}"), Column("approach\ndeg"),
    )  # fmt: skip
    rows = []
    for band in sure.bands:
        shares = (fixed(count[band.band, rule].share, 0, 100.0) for rule in judged)
        rows.append((band.band, *shares, *_spans(band)))
    return Grid(columns, tuple(rows))


def _how(sure: HowSure) -> control_words.Words:
    return control_words.words(sure.bands[0].quantity, sure.bands[0].unit)


def _spans(band: BandSpread) -> tuple[str, str, str]:
    return (
        span(band.knob_low, band.knob_high, 100.0),
        span(band.figure_low, band.figure_high, control_words.words(band.quantity, band.unit).scale),
        span(band.approach_low_deg, band.approach_high_deg),
    )


def span(low: float | None, high: float | None, scale: float = 1.0, *, decimals: int = 0) -> str:
    """Return a range, in whole units unless more decimals are asked for: '27 to 68'."""
    if low is None or high is None:
        return "-"
    return f"{fixed(low, decimals, scale)} to {fixed(high, decimals, scale)}"


def _deciding(sure: HowSure) -> list[str]:
    """Return what decides where onset lies, bands of one order of parts together."""
    told: dict[tuple[str, ...], list[str]] = {}
    for band in sure.bands:
        mine = [one for one in sure.deciding if one.band == band.band]
        if mine:
            words = tuple(f"{one.word} ({fixed(one.share, 0, 100.0)} %)" for one in mine)
            told.setdefault(words, []).append(band.band)
    return [f"What decides on {', '.join(bands)}: {', '.join(words)}." for words, bands in told.items()]


def _strengths(sure: HowSure) -> Grid:
    columns = (
        Column("\nband", "left"), Column(f"onset\nof {sure.looked}"), Column("found\nin"),
        Column("soft\nof these"),
        Column("backlash\ndeg"), Column("top\nV peak"),
    )  # fmt: skip
    rows = []
    for one in sure.strengths:
        back = span(one.backlash_low_deg, one.backlash_high_deg, decimals=1)
        if one.found and one.soft == one.found:
            back = "0"
        top = span(one.top_low_v, one.top_high_v, decimals=1)
        rows.append((one.band, str(one.sets), str(one.found), str(one.soft), back, top))
    return Grid(columns, tuple(rows))


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
