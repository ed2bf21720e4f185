"""Every figure of the tables and the plot of `spread`: value, unit, place."""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pytest

from receiver_sim.results import spread
from receiver_sim.views import spread_tables
from receiver_sim.views.plots.spread import STEP, plot_spread
from tests.helpers.cells import Column, figure, free, hold, note_with, the, words
from tests.helpers.filling import Source, filled


def held(source: Source, subject: str, rule: str) -> spread.Held:
    return spread.Held(
        subject, rule, 7, 9, *sorted((source.mantissa(), source.mantissa(), source.mantissa()))
    )


def state(source: Source, label: str) -> spread.Sets:
    bands = tuple(
        filled(
            spread.BandSpread,
            source,
            band=name,
            sets=400,
            oscillating=372,
            rotation=at,
            figure=at,
            quantity="screen voltage",
            unit="V",
        )
        for name, at in (("80 m", np.array([0.31, 0.312, 0.52])), ("40 m", np.array([0.71, 0.74])))
    )
    rows = (
        held(source, "80 m", "onset"),
        held(source, "40 m", "approach_min"),
        held(source, "the whole set", "all"),
    )
    return spread.Sets(label, ("detector.tube",), rows, bands)


@pytest.fixture(scope="module")
def report() -> spread.Spread:
    source = Source()
    shares = tuple(filled(spread.Share, source, band=band) for band in ("80 m", "80 m", "40 m"))
    return filled(
        spread.Spread,
        source,
        before=state(source, "before building"),
        after=state(source, "after measuring"),
        shares=shares,
        worth="detector.tube",
        worth_word="detector tube",
        gain=0.137,
        sets=400,
        seed=23,
    )


def test_verdicts_held(report: spread.Spread) -> None:
    found = the(spread_tables.spread_sheet(report), "In how many of a hundred sets.*")
    assert found.headings == ("band", "verdict", "before building of 100 sets", "after measuring of 100 sets")
    for i, row in enumerate(found.rows):
        for cell, sets in ((row[2], report.before), (row[3], report.after)):
            assert sets is not None
            one = sets.held[i]
            assert row[0] == one.subject
            numbers = [float(text) / 100.0 for text in re.findall(r"[0-9.]+", cell)]
            assert numbers == pytest.approx([one.share, one.share_low, one.share_high], abs=6e-4)


@pytest.mark.parametrize("number", [0, 1])
def test_onsets(report: spread.Spread, number: int) -> None:
    sets = (report.before, report.after)[number]
    assert sets is not None
    columns: list[Column] = [
        ("band", words("band")),
        ("oscillate of 100", lambda b: "93.0"),
        ("knob, middle %", free),
        ("80 % within %", free),
        ("screen, middle V", free),
        ("80 % within V", free),
        ("approach, middle deg", free),
        ("80 % within deg", free),
        ("never", lambda b: str(b.silent)),
        ("always", lambda b: str(b.always)),
        ("failed", lambda b: str(b.failed)),
    ]
    found = the(spread_tables.spread_sheet(report), f"Onset {sets.label}")
    hold(found, sets.bands, columns)
    for row, band in zip(found.rows, sets.bands, strict=True):
        middles = (100.0 * (band.knob_middle or 0.0), band.figure_middle, band.approach_middle_deg)
        assert [float(row[i]) for i in (2, 4, 6)] == pytest.approx(middles, abs=0.51)
        for cell, ends, scale in (
            (row[3], (band.knob_low, band.knob_high), 100.0),
            (row[5], (band.figure_low, band.figure_high), 1.0),
            (row[7], (band.approach_low_deg, band.approach_high_deg), 1.0),
        ):
            first, last = (float(text) for text in cell.split(" to "))
            assert (first, last) == pytest.approx([e * scale for e in ends if e is not None], abs=0.51)


def test_onsets_of_a_throttle(report: spread.Spread) -> None:
    """Guards against farads shown as volts of a screen."""
    told = {"quantity": "throttle capacitance", "unit": "F", "figure_middle": 53e-12}
    bands = tuple(dataclasses.replace(band, **told) for band in report.before.bands)
    sets = dataclasses.replace(report.before, bands=bands)
    page = spread_tables.spread_sheet(dataclasses.replace(report, before=sets))
    found = the(page, f"Onset {sets.label}")
    assert found.headings[4:6] == ("throttle, middle pF", "80 % within pF")
    assert [row[4] for row in found.rows] == ["53", "53"]


def test_parts(report: spread.Spread) -> None:
    page = spread_tables.spread_sheet(report)
    columns: list[Column] = [
        ("band", free),
        ("share of variance %", figure("share", "1")),
        ("part", words("word")),
        ("key", words("key")),
    ]
    found = the(page, "Parts that decide.*")
    hold(found, report.shares, columns)
    assert [row[0] for row in found.rows] == ["80 m", "", "40 m"]
    assert "detector tube (detector.tube)" in note_with(page, "worth selecting")
    assert "changes by +13.7 of a hundred" in note_with(page, "worth selecting")
    assert "Seed 23" in note_with(page, "Seed")


def test_bars_of_the_histogram(report: spread.Spread) -> None:
    """Heights are shares of all sets, of one scale; edges in per cent of the knob."""
    ax = plot_spread(report)
    drawn = {patch.get_gid(): patch for patch in ax.patches if patch.get_gid()}
    assert set(drawn) == {"before-0", "before-1", "after-0", "after-1"}
    heights = {}
    for row, band in enumerate(report.before.bands):
        data = drawn[f"before-{row}"].get_data()
        assert data.edges == pytest.approx(100.0 * np.arange(0.0, 1.0 + STEP / 2, STEP))
        heights[row] = np.asarray(data.values) - float(np.asarray(data.baseline).reshape(-1)[0])
        counted = [
            int(np.sum((band.rotation >= a) & (band.rotation < b)))
            for a, b in zip(np.arange(40) * STEP, np.arange(1, 41) * STEP, strict=True)
        ]
        full = 0.82 / 2.0  # two sets share the fullest bar
        assert heights[row] == pytest.approx(full * np.array(counted))
    assert [t.get_text() for t in ax.get_yticklabels()] == ["80 m", "40 m"]
    assert "Knob at onset" in ax.get_xlabel() and "%" in ax.get_xlabel()
    assert any("7 % without onset" in t.get_text() for t in ax.texts)
