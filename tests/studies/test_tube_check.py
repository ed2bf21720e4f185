"""The published points of every card against ngspice runs of the shipped model.

Sources and flags stand beside each point in the cards; the limits are those promised: plate current, gm
and mu 5 %, screen current 10 %, rp of triodes 15 %, cut-off bias 20 %. Points flagged memory-low do not
count.
"""

import pytest

from receiver_sim.design import tube_fit
from receiver_sim.engine import Bench
from receiver_sim.results.tubes import TubeTable
from receiver_sim.schema.card import card_for, card_types
from receiver_sim.studies import tube_check

FIRST_EIGHT = ("6SJ7", "6SK7", "6J7", "6K7", "6J5", "6C5", "6SN7", "6AU6")


@pytest.fixture(scope="module")
def table(bench: Bench) -> TubeTable:
    return tube_check.run([card_for(name) for name in card_types()], bench)


@pytest.mark.parametrize("name", FIRST_EIGHT)
def test_every_published_figure_of_the_first_eight_cards(table: TubeTable, name: str) -> None:
    rows = [r for r in table.rows if r.type == name and r.gated]
    assert len(rows) >= 4
    assert [(r.bias, r.quantity, r.error) for r in rows if not r.holds] == []


def test_plate_current_and_gm_of_all_cards(table: TubeTable) -> None:
    rows = [r for r in table.rows if r.gated and r.quantity in ("plate_current", "gm")]
    assert len(rows) > 120
    assert table.median_error("plate_current", "gm") <= 0.02
    assert [(r.type, r.bias, r.quantity, r.error) for r in rows if abs(r.error) > 0.05] == []


def test_screen_current_triode_rp_and_cut_off_of_all_cards(table: TubeTable) -> None:
    kinds = ("screen_current", "rp", "bias")
    assert [r for r in table.failures() if r.quantity in kinds] == []


def test_the_numpy_figures_of_the_fit_are_those_of_ngspice(table: TubeTable) -> None:
    """The fit's residuals and the ngspice rows come by separate paths: differences in a.c., differences of
    the formula.
    """
    for name in ("6AU6", "24A", "6SN7"):
        card = card_for(name)
        numpy_rows = {(r.index, r.quantity): r.error for r in tube_fit.residual_table(card, card.law())}
        for row in (r for r in table.rows if r.type == name and r.quantity != "bias"):
            # derivatives by differences are good to 1e-6; self-bias roots to 1e-8
            assert row.error == pytest.approx(numpy_rows[row.index, row.quantity], abs=1e-4)


def test_twelve_volt_twins_equal_their_six_volt_types() -> None:
    for twin, type_ in (("12SJ7", "6SJ7"), ("12SK7", "6SK7")):
        assert card_for(twin).law() == card_for(type_).law()
