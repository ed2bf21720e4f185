"""Energy stores of a deck, and the natural modes ngspice's answers give, against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from receiver_sim.engine import Deck
from receiver_sim.netlist.reactances import in_words, measure, probes, stores
from receiver_sim.physics.natural_modes import natural_modes

TWO_TANKS = """L1 a 0 2.5e-3
C1 a 0 4e-9
L2 b 0 1e-3
C2 b 0 10e-9
K1 L1 L2 0.3
Rleak a b 1e12
"""


def modes(bench, text, shift_hz):
    found = stores(text)
    with bench.session(Deck(title="stores", text=f"{text}\n{probes(found)}")) as session:
        answers = measure(session, found, shift_hz=shift_hz)
    return natural_modes(answers.response, weight=answers.weight, shift=answers.shift)


def test_stores_of_a_deck_are_found_and_put_together():
    found = stores(
        "* Cnot a 0 1\nCgrid grid 0 1e-10\nCgstray 0 grid 3e-12\nLload a b 240 ic=0.1\nCacross0 p 0 0\n"
        ".subckt aud p g k\nRx p g 1\n.ends\nRa a 0 1\n"
    )
    assert [(s.name, s.left, s.right, s.farad, s.branch) for s in found] == [
        ("cgrid", "0", "grid", pytest.approx(1.03e-10), None),
        ("lload", "a", "b", None, "lload#branch"),
    ]
    assert probes(found).splitlines() == ["istore0 0 grid dc 0 ac 0", "istore1 a b dc 0 ac 0"]


def test_a_store_that_would_be_missed_is_refused():
    with pytest.raises(ValueError, match=r"an energy store inside a subcircuit: cx p 0 1e-12"):
        stores(".subckt aud p g k\nCx p 0 1e-12\n.ends")
    with pytest.raises(ValueError, match="could not convert string to float: '10p'"):
        stores("Cx p 0 10p")


@pytest.mark.parametrize("shift_hz", [300.0, 41e3])
def test_two_coupled_tanks(bench, shift_hz):
    """Equal tanks without loss, coupled by k, ring at w0/sqrt(1 -+ k) (any textbook of radio; derived by
    hand).
    """
    w0 = 1.0 / math.sqrt(2.5e-3 * 4e-9)
    found = modes(bench, TWO_TANKS, shift_hz)
    rings = sorted(abs(s.imag) for s in found.s)
    # the teraohm between them is all that damps: a part in 1e8 or less
    expected = [w0 / math.sqrt(1.3)] * 2 + [w0 / math.sqrt(0.7)] * 2
    assert rings == pytest.approx(expected, rel=1e-6)
    assert np.all(np.abs(found.s.real) < 1e-6 * w0)


def test_three_capacitors_in_a_loop_have_two_modes(bench):
    text = "C1 a 0 1e-9\nC2 b 0 2e-9\nC3 a b 3e-9\nR1 a 0 1e3\nR2 b 0 5e3\n"
    capacitance = np.array([[4e-9, -3e-9], [-3e-9, 5e-9]])
    exact = np.sort(np.linalg.eigvals(-np.linalg.solve(capacitance, np.diag([1e-3, 2e-4]))))
    assert np.sort(modes(bench, text, 300.0).s.real) == pytest.approx(exact, rel=1e-9)


def test_every_store_of_a_receiver_has_a_word_of_the_trade():
    for name in ("cgrid", "lload", "cacath", "cadec", "ccouple", "cpsec2", "ltank1x0", "tank", "cfcath"):
        assert " " not in name and in_words(name) != f"strays at {name}"
    assert in_words("cxyz") == "strays at cxyz"
