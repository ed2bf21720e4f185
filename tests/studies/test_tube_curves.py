"""Curves of tubes: the law behind them, the floating grid's own balance, the published points' places."""

from __future__ import annotations

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.engine import Bench
from receiver_sim.physics.tube_law import currents, grid_current
from receiver_sim.results.tube_curves import TubeCurves
from receiver_sim.schema.card import card_for
from receiver_sim.studies import tube_curves


@pytest.fixture(scope="module")
def pentode(bench: Bench) -> TubeCurves:
    return api.curves(card_for("6SJ7"), bench=bench)


def test_plate_lines_are_the_cards_law(pentode: TubeCurves) -> None:
    law = card_for("6SJ7").law()
    assert pentode.family_screen_v == 100.0
    for line in pentode.plate_lines:
        want = currents(law, grid_v=line.grid_v, plate_v=line.plate_v, screen_v=100.0)
        # 1e-9 A: the solver's floor beside currents of milliamperes
        np.testing.assert_allclose(line.plate_a, want.plate, rtol=1e-4, atol=1e-9)
        assert line.screen_a is not None
        np.testing.assert_allclose(line.screen_a, want.screen, rtol=1e-4, atol=1e-9)


def test_every_published_bias_of_the_family_has_a_line(pentode: TubeCurves) -> None:
    biases = [line.grid_v for line in pentode.plate_lines]
    assert biases == sorted(biases, reverse=True)
    for mark in pentode.marks:
        if mark.screen_v == pentode.family_screen_v:
            assert mark.grid_v in biases


def test_floating_grid_balances_its_leak(pentode: TubeCurves) -> None:
    """Kirchhoff: what the grid collects flows through the leak."""
    line = next(k for k in pentode.gm_lines if k.bias_v is None)
    law = card_for("6SJ7").law()
    collected = grid_current(law, grid_v=line.grid_v)
    np.testing.assert_allclose(collected * pentode.leak_ohm, -line.grid_v, rtol=1e-4)
    assert np.all(line.gk_siemens > line.gm_siemens)
    assert np.all(np.diff(line.gm_siemens) > 0.0)


def test_gm_at_a_published_bias_meets_print(pentode: TubeCurves) -> None:
    line = next(k for k in pentode.gm_lines if (k.plate_v, k.bias_v) == (250.0, -3.0))
    at = float(np.interp(100.0, line.screen_v, line.gm_siemens))
    # RCA sheet 1948 (seen): 1650 umho at 250/100/-3 V; 5 % is the gate of `tubes check`
    assert at == pytest.approx(1650e-6, rel=0.05)


def test_self_biased_points_stand_where_their_printed_currents_put_them() -> None:
    card = card_for("6AU6")
    number, point = next((i, p) for i, p in enumerate(card.points) if p.cathode_resistor == 68.0)
    mark = tube_curves.marks(card, "pentode")[number]
    assert point.plate_current is not None
    assert point.screen_current is not None
    lift = 68.0 * (point.plate_current + point.screen_current)
    assert mark.grid_v == pytest.approx(-lift)
    assert mark.plate_v == pytest.approx(point.plate - lift)


def test_triode_connection_and_triodes_have_no_screen_curves(bench: Bench) -> None:
    tied = api.curves(card_for("6SJ7"), as_triode=True, bench=bench)
    own = api.curves(card_for("6J5"), bench=bench)
    for curves in (tied, own):
        assert (curves.family_screen_v, curves.gm_lines, curves.screen_range) == (None, (), None)
        assert all(line.screen_a is None for line in curves.plate_lines)
    assert (tied.tied, own.tied) == (True, False)


def test_a_card_without_a_fit_is_refused(bench: Bench) -> None:
    card = card_for("6SJ7").model_copy(update={"fit": None})
    with pytest.raises(
        ValueError, match=r"^the card of 6SJ7 holds no fit; run 'receiver-sim tubes fit 6SJ7'$"
    ):
        api.curves(card, bench=bench)
