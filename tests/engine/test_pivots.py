"""ngspice chooses its pivots anew once starting values let go of their nodes."""

from __future__ import annotations

from pathlib import Path

import pytest

from receiver_sim.engine import Bench, Deck, pivots
from tests.helpers import stock

LEAK_OHM = 1e16
LADDER = f"I1 0 x dc 1m\nRx x 0 {LEAK_OHM:g}\nL1 x z 1\nRz z y 1k\nRy y 0 1k\n"
"""1 mA into 2 kohm by way of a coil; beside it a leakage that is no pivot to eliminate by."""

PINNED = f".nodeset v(x)=3 v(y)=1\n{LADDER}"
VOLTS = 1e-3 / (1.0 / 2e3 + 1.0 / LEAK_OHM)


@pytest.mark.parametrize("options", ["", ".options rshunt=1e15\n"])
def test_a_pinned_node_costs_no_digits(bench: Bench, options: str) -> None:
    """By Ohm's law 2 V; without the lines ngspice has 2.00195 V and says nothing. 1e-8: far below what is
    lost, far above what leakage and shunts of 1e15 ohm take."""
    with bench.session(Deck("pinned", options + PINNED)) as session:
        point = session.op()
    assert point["x"][0].real == pytest.approx(VOLTS, rel=1e-8)
    assert not set(point) & set(pivots.NODES)


def test_stock_ngspice_loses_them(tmp_path: Path) -> None:
    """The reason for the lines, and that an exported deck has them: by themselves 2 mV of 2 V are wrong."""
    found = {}
    exported = Deck("exported", PINNED).export([".op"], ["x"])
    bare = f"bare\n{PINNED}.op\n.print op v(x)\n.end\n"
    for name, text in (("bare", bare), ("exported", exported)):
        file = tmp_path / f"{name}.cir"
        file.write_text(text, encoding="ascii")
        row = next(line for line in stock.said_of(file).splitlines() if line.startswith("0\t"))
        found[name] = float(row.split()[1])
    assert found["exported"] == pytest.approx(VOLTS, rel=1e-6)
    assert abs(found["bare"] - VOLTS) > 1e-3


def test_without_starting_values_nothing_is_added() -> None:
    assert pivots.chosen_anew(Deck("free", LADDER).lines) == []
    assert Deck("free", LADDER).export([".op"]).count("pivot") == 0
