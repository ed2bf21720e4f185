"""Energy stores of a deck, and the natural modes ngspice's answers give, against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from receiver_sim.circuit import reader
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.element import Element
from receiver_sim.circuit.writer import line
from receiver_sim.measure.loaded import loaded
from receiver_sim.measure.natural_modes import measure, probes, stores
from receiver_sim.physics.natural_modes import natural_modes

TWO_TANKS = """L1 a 0 2.5e-3
C1 a 0 4e-9
L2 b 0 1e-3
C2 b 0 10e-9
K1 L1 L2 0.3
Rleak a b 1e12
"""


def circuit_of(text, laws=()):
    """A circuit of lines as a template has them."""
    elements = [
        Element(row.name, row.nodes, None if row.value is None else float(row.value), row.tail, row.links)
        for row in reader.read(text).rows
    ]
    return Circuit("stores", tuple(elements), laws=tuple(reader.law(law) for law in laws))


def modes(bench, text, shift_hz):
    circuit = circuit_of(text)
    found = stores(circuit)
    with loaded(bench, circuit.plus(*probes(found, shift_hz=shift_hz))) as on:
        answers = measure(on.session, found, shift_hz=shift_hz)
    return natural_modes(answers.response, weight=answers.weight, shift=answers.shift)


def test_stores_of_a_deck_are_found_and_put_together():
    found = stores(
        circuit_of(
            "* Cnot a 0 1\nCgrid grid 0 1e-10\nCgstray 0 grid 3e-12\nLload a b 240 ic=0.1\nCacross0 p 0 0\n"
            "Xa a p 0 aud\nRa a 0 1\n",
            [".subckt aud p g k\nRx p g 1\n.ends"],
        )
    )
    assert [(s.name, s.left, s.right, s.farad, s.branch) for s in found] == [
        ("cgrid", "0", "grid", pytest.approx(1.03e-10), None),
        ("lload", "a", "b", None, "lload#branch"),
    ]
    lines = [line(one) for one in probes(found, shift_hz=300.0)]
    assert [text for text in lines if text[0] in "GV"] == [
        "Vtuned tuned 0 dc 0 ac 0",
        "Gtuned0 0 grid tuned0 0 1.94e-07",  # 2 pi 300 Hz x 103 pF
        "Gtuned1 a b tuned1 0 2.21e-06",  # 1 / (2 pi 300 Hz x 240 H)
    ]


def test_a_store_that_would_be_missed_is_refused():
    with pytest.raises(ValueError, match=r"an energy store inside a subcircuit: aud"):
        stores(circuit_of("Xa a b 0 aud", [".subckt aud p g k\nCx p 0 1e-12\n.ends"]))
    with pytest.raises(ValueError, match="an energy store without a plain value: cx"):
        stores(Circuit("x", (Element("cx", ("p", "0"), None, "'2*3'"),)))


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


def test_stores_from_picofarads_to_millifarads_keep_their_digits(bench):
    """Each answer of one run for all: RC and L/R decays of parts far apart, by their closed forms, each held
    to the part in 1e9 that its store's 12 digits and its place beside a shift 1e5 times faster leave it.
    """
    text = (
        "C1 a 0 1e-12\nR1 a 0 1e5\nC2 b 0 1e-2\nR2 b 0 50\nL3 c 0 300\nR3 c 0 2e4\nL4 d 0 1e-6\nR4 d 0 0.3\n"
    )
    expected = sorted([-1.0 / (1e5 * 1e-12), -1.0 / (50 * 1e-2), -2e4 / 300, -0.3 / 1e-6])
    assert np.sort(modes(bench, text, 300.0).s.real) == pytest.approx(expected, rel=1e-9)


def test_all_modes_of_a_circuit_take_one_analysis(bench):
    """What an analysis costs is its operating point; a set has some 24 stores."""
    circuit = circuit_of(TWO_TANKS)
    found = stores(circuit)
    with loaded(bench, circuit.plus(*probes(found, shift_hz=300.0))) as on:
        measure(on.session, found, shift_hz=300.0)
        assert on.session.evaluations == 1
