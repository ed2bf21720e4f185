"""Every figure of the section 'How sure' of `check`: value, unit, place."""

from __future__ import annotations

import dataclasses

import pytest

from receiver_sim.results import spread, sure
from receiver_sim.views.sheet import Sheet
from receiver_sim.views.sure_tables import sure_section
from tests.helpers import reading
from tests.helpers.cells import Column, free, hold, note_with, the, words
from tests.helpers.filling import Source, filled

RULES = ("onset", "onset_rotation", "onset_screen", "approach_min")


@pytest.fixture(scope="module")
def found() -> sure.HowSure:
    source = Source()
    of = {"quantity": "screen voltage", "unit": "V"}
    bands = tuple(filled(spread.BandSpread, source, band=name, **of) for name in ("80 m", "40 m"))
    held = tuple(
        spread.Held(band, rule, 90 - 10 * i - j, 100, (90 - 10 * i - j) / 100.0, 0.1, 0.99)
        for i, band in enumerate(("80 m", "40 m"))
        for j, rule in enumerate(RULES)
    )
    rating = spread.Held("detector 6SJ7", "rating", 83, 100, 0.83, 0.7, 0.9)
    whole = spread.Held("the whole set", "all", 61, 100, 0.61, 0.5, 0.7)
    deciding = (
        spread.Share("80 m", "detector.tube", "detector tube", 0.37),
        spread.Share("80 m", "bands[0].coil.q", "Q of the coil", 0.21),
        spread.Share("40 m", "mains", "mains", 0.46),
    )
    figures = (
        sure.FigureRange("detector plate", "V", 173.1, 158.2, 189.3),
        sure.FigureRange("plate current of the audio tube", "A", 4.13e-3, 3.57e-3, 4.81e-3),
        sure.FigureRange("gain to the cans", "1", 931.0, 702.0, 1180.0),
        sure.FigureRange("cathode on ground", "V", 0.0, 0.0, 0.0),
    )
    return sure.HowSure(100, 1, (*held, rating, whole), bands, deciding, figures, ("one note",))


def test_bands(found: sure.HowSure) -> None:
    page = Sheet("t", (sure_section(found),))
    columns: list[Column] = [
        ("band", words("band")), ("onset of 100", free), ("place of 100", free), ("screen of 100", free),
        ("approach of 100", free), ("knob %", free), ("screen V", free), ("approach deg", free),
    ]  # fmt: skip
    table = the(page, "How sure")
    hold(table, found.bands, columns)
    for i, (row, band) in enumerate(zip(table.rows, found.bands, strict=True)):
        assert [int(cell) for cell in row[1:5]] == [90 - 10 * i - j for j in range(4)]
        for cell, ends, scale in (
            (row[5], (band.knob_low, band.knob_high), 100.0),
            (row[6], (band.figure_low, band.figure_high), 1.0),
            (row[7], (band.approach_low_deg, band.approach_high_deg), 1.0),
        ):
            first, last = (float(text) for text in cell.split(" to "))
            assert (first, last) == pytest.approx([e * scale for e in ends if e is not None], abs=0.51)


def test_a_control_that_sets_no_screen(found: sure.HowSure) -> None:
    """Guards against plate volts or farads of a throttle shown, and judged, as volts of a screen."""
    bands = tuple(
        dataclasses.replace(
            band, quantity="throttle capacitance", unit="F", figure_low=41e-12, figure_high=67e-12
        )
        for band in found.bands
    )
    held = tuple(one for one in found.held if one.rule != "onset_screen")
    table = the(Sheet("t", (sure_section(dataclasses.replace(found, bands=bands, held=held)),)), "How sure")
    assert table.headings == (
        "band", "onset of 100", "place of 100", "approach of 100", "knob %", "throttle pF", "approach deg",
    )  # fmt: skip
    assert [row[5] for row in table.rows] == ["41 to 67"] * 2


def test_sentences(found: sure.HowSure) -> None:
    page = Sheet("t", (sure_section(found),))
    assert "Of 100 sets" in note_with(page, "good in every verdict") and "61 are good" in note_with(
        page, "Of 100"
    )
    assert note_with(page, "on 80 m") == "What decides on 80 m: detector tube (37 %), Q of the coil (21 %)."
    assert note_with(page, "on 40 m") == "What decides on 40 m: mains (46 %)."
    assert note_with(page, "ratings") == "detector 6SJ7: ratings kept in 83 of 100 sets."
    assert note_with(page, "one note")


def test_figures_with_their_ranges(found: sure.HowSure) -> None:
    """A figure that can't differ is left out."""
    table = the(Sheet("t", (sure_section(found),)), "How sure", 1)
    columns: list[Column] = [
        ("figure", words("name")), ("as stated", free), ("eight of ten sets", free),
    ]  # fmt: skip
    assert [row[0] for row in table.rows] == [one.name for one in found.figures[:3]]
    assert table.headings == tuple(heading for heading, _ in columns)
    for row, one in zip(table.rows, found.figures, strict=False):
        unit = "" if one.unit == "1" else one.unit
        assert reading.read(row[1]).value == pytest.approx(one.stated, rel=6e-3), unit
        low, high = row[2].split(" to ")
        assert reading.read(low).value == pytest.approx(one.low, rel=6e-3)
        assert reading.read(high).value == pytest.approx(one.high, rel=6e-3)
        assert row[1].endswith(unit) and low.endswith(unit) and high.endswith(unit)


def test_how_oscillation_comes_in(found: sure.HowSure) -> None:
    """Of the sets with an onset those whose amplitudes were found, of these the soft ones."""
    strengths = (
        sure.StrengthRange("80 m", 9, 8, 5, 3.14, 7.28, 0.0, 2.46),
        sure.StrengthRange("40 m", 7, 6, 6, 1.92, 4.37, 0.0, 0.0),
    )
    section = sure_section(dataclasses.replace(found, strengths=strengths, looked=10))
    table = the(Sheet("t", (section,)), "How sure", 1)
    assert table.headings == (
        "band",
        "onset of 10",
        "found in",
        "soft of these",
        "backlash deg",
        "top V peak",
    )
    assert table.rows == (
        ("80 m", "9", "8", "5", "0.0 to 2.5", "3.1 to 7.3"),
        ("40 m", "7", "6", "6", "0", "1.9 to 4.4"),
    )
