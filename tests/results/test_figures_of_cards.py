"""Figures that results work out of their own fields, each by hand."""

from __future__ import annotations

import numpy as np
import pytest

from receiver_sim.results import tubes
from receiver_sim.results.bands import BandReport, failures
from receiver_sim.results.envelope import AmplitudeMap
from receiver_sim.results.onset import Onset
from receiver_sim.results.tubes import LeaveOneOut, LeftOut, PointError, point_errors
from receiver_sim.schema.card import card_for
from tests.helpers.filling import Source, filled


def test_errors_count_from_print() -> None:
    """8.0 mA printed, 8.4 of the model: 5 % high, the limit just kept; 1900 umho for 2000: 5 % low."""
    card = card_for("6C5")
    model = {"plate_current": 8.4e-3, "gm": 1.9e-3, "mu": 21.2, "rp": 8.4e3, "screen_current": 0.0}
    rows = {row.quantity: row for row in point_errors(card, 0, model)}
    assert {name: round(row.error, 9) for name, row in rows.items()} == {
        "plate_current": 0.05, "gm": -0.05, "mu": 0.06, "rp": -0.16,
    }  # fmt: skip
    assert (rows["plate_current"].printed, rows["plate_current"].model) == (8.0e-3, 8.4e-3)
    # limits of the trade's sheets as this project sets them: 5 % and, for rp of triodes, 15 %
    assert [rows[q].holds for q in ("mu", "rp")] == [False, False]
    assert rows["plate_current"].limit == 0.05 and rows["rp"].limit == 0.15


def test_the_median_is_of_sizes_of_the_counted() -> None:
    """2, 4 and 9 %, of both signs, and one of 80 % that is not counted: the middle is 4 %."""
    source = Source()
    errors = ((0.02, True), (-0.04, True), (-0.09, True), (0.8, False))
    rows = tuple(
        filled(PointError, source, quantity="gm", error=error, gated=gated, limit=0.05)
        for error, gated in errors
    )
    table = tubes.TubeTable(rows, 1.0, 4)
    assert table.median_error("gm") == 0.04
    assert [row.error for row in table.failures()] == [-0.09]
    left = LeaveOneOut("X", (LeftOut("X", 0, rows, (0.1,) * 4),))
    # there every figure with a limit counts: 2, 4, 9 and 80 %
    assert left.median("gm") == pytest.approx(0.065) and left.median("mu") is None


def test_the_middle_of_a_dial_is_the_second_of_three() -> None:
    source = Source()
    onsets = tuple(filled(Onset, source) for _ in range(3))
    report = filled(BandReport, source, onsets=onsets)
    assert report.middle is onsets[1]
    assert failures([filled(BandReport, source, onsets=(), failed=())]) == ()


def test_of_two_amplitudes_at_one_setting_the_larger_counts() -> None:
    """A hard onset: 45 % of the knob sustains 0.3 V, on the way down, and 2.25 V, a quarter on from 2 to 3 V;
    15 % sustains nothing."""
    volts, knob = np.array([0.1, 0.9, 2.0, 3.0]), np.array([0.5, 0.3, 0.4, 0.6])
    nothing = np.zeros(4)
    curve = AmplitudeMap(volts, knob, nothing, nothing, nothing, nothing, nothing, nothing)
    assert curve.place(0.45) == pytest.approx(2.25)
    assert curve.strongest(0.45) == pytest.approx(2.25)
    assert curve.read(np.array([7.0, 5.0, 8.0, 4.0]), 0.45) == pytest.approx(7.0)
    assert curve.strongest(0.15) is None
