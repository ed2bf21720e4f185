"""An exported deck gives the same figures in stock ngspice in batch mode."""

import os
import re
import shutil
import subprocess

import numpy as np
import pytest

from receiver_sim.engine import Deck

# A detector-like network: behavioural source, coupled coils, subcircuit, comment, continuation, options.
DECK = Deck(
    "batch: triode, tapped coil (7 MHz)",
    "* a comment\n"
    ".subckt tri p g k mu=20\n"
    "B1 p k i = 1e-3*pwr(max(0,\n* a comment within a continued line\n"
    "+ v(g,k)+v(p,k)/{mu}), 1.5)\n"
    ".ends\n"
    "Vb b 0 dc 90\nRp b p 22k\nCp p 0 100p\n"
    "Vg g 0 dc -1 ac 1 sin(-1 0.2 1e5)\n"
    "X1 p g k tri mu=17\nRk k 0 680\nCk k 0 10n\n"
    "L1 k t 4.2u\nL2 t2 0 1u\nK1 L1 L2 0.6\nRt t 0 100k\nCt t 0 120p\nRt2 t2 0 1k\n"
    ".options reltol=1e-6 keepopinfo\n",
)


@pytest.fixture
def batch(tmp_path):
    """Run a netlist in the stock program; return what it printed and the ASCII raw file's vectors."""
    program = shutil.which("ngspice")
    if program is None:
        pytest.fail("the program 'ngspice' is not on the PATH; on Debian or Ubuntu: apt install ngspice")

    def run(text, raw):
        netlist = tmp_path / "deck.cir"
        netlist.write_text(text)
        command = [program, "-b", *(["-r", "out.raw"] if raw else []), netlist.name]
        done = subprocess.run(
            command,
            cwd=tmp_path,
            env={**os.environ, "SPICE_ASCIIRAWFILE": "1", "HOME": str(tmp_path)},
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
        assert done.returncode == 0, done.stdout + done.stderr
        return _read_raw((tmp_path / "out.raw").read_text()) if raw else done.stdout

    return run


def _read_raw(text):
    """Return the last plot of an ASCII raw file, by ngspice's names without v() and i()."""
    plot = text.split("Title:")[-1]
    head, values = plot.split("Values:")
    names = [row.split()[1].lower() for row in head.split("\nVariables:")[1].strip().splitlines()]
    names = [re.sub(r"^v\((.*)\)$", r"\1", re.sub(r"^i\((.*)\)$", r"\1#branch", name)) for name in names]
    complex_numbers = "complex" in head.split("Flags:")[1].splitlines()[0]
    words = [word for row in values.strip().splitlines() if row.strip() for word in row.split()[-1:]]
    numbers = [complex(*map(float, w.split(","))) if complex_numbers else float(w) for w in words]
    return dict(zip(names, np.array(numbers).reshape(-1, len(names)).T, strict=True))


@pytest.mark.parametrize(
    ("line", "call"),
    [
        (".op", lambda s: s.op()),
        (".ac dec 7 1e3 1e8", lambda s: s.ac(1e3, 1e8, 7, "dec")),
        (".dc vg -4 0 0.25", lambda s: s.dc("vg", -4, 0, 0.25)),
        (".tran 0.1u 30u 0 0.1u", lambda s: s.tran(1e-7, 3e-5, max_step=1e-7)),
    ],
)
def test_same_figures_in_stock_ngspice(bench, batch, line, call):
    """Same program, same matrix: the ASCII raw file's 15 digits are the tolerance, and the solver's own.

    In a transient both runs take the same steps, or the lengths would differ.
    """
    with bench.session(DECK) as session:
        ours = call(session)
    stock = batch(DECK.export([line]), raw=True)
    assert {"p", "k", "t", "vb#branch"} <= set(stock)
    for name in ours:
        # ngspice 39 leaves the imaginary part of a raw file's frequency unset.
        theirs = stock[name].real if name == "frequency" else stock[name]
        np.testing.assert_allclose(ours[name], theirs, rtol=1e-6, atol=1e-9, err_msg=name)


def test_prints(bench, batch):
    with bench.session(DECK) as session:
        ac = session.ac(1e6, 2e6, 3)
    said = batch(DECK.export([".ac lin 3 1e6 2e6"], ["vr(p)", "vi(p)", "vm(t)"]), raw=False)
    rows = np.array(
        [
            [float(w) for w in row.split()[1:]]
            for row in said.splitlines()
            if re.match(r"^\d+\s+\d\.\d+e", row)
        ]
    )
    np.testing.assert_allclose(rows[:, 0], [1e6, 1.5e6, 2e6])
    expected = np.column_stack([ac["p"].real, ac["p"].imag, np.abs(ac["t"])])
    np.testing.assert_allclose(rows[:, 1:], expected, rtol=6e-6)  # six digits are printed


def test_prints_of_plain_names(bench, batch):
    with bench.session(DECK) as session:
        dc = session.dc("vg", -3, -1, 1)
    said = batch(DECK.export([".dc vg -3 -1 1"], ["p", "Vb#branch"]), raw=False)
    rows = np.array(
        [
            [float(w) for w in row.split()[2:]]
            for row in said.splitlines()
            if re.match(r"^\d+\s+-\d\.\d+e", row)
        ]
    )
    np.testing.assert_allclose(rows, np.column_stack([dc["p"], dc["vb#branch"]]), rtol=6e-6)  # six digits
