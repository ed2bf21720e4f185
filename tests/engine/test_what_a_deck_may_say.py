"""What a deck may say, written down once more: whoever allows a word has to allow it here, too."""

from __future__ import annotations

import pytest

from receiver_sim.engine import Deck
from receiver_sim.engine.deck import DOT_WORDS, ELEMENT_LETTERS, MODEL_TYPES, OPTION_NAMES
from receiver_sim.engine.errors import DeckRefused

PLAIN = "r1 a 0 1k"

SOLVER = frozenset(
    (
        # tolerances, iterations, steps of the solver; none names a file, a folder or a command
        *(
            "reltol",
            "abstol",
            "vntol",
            "chgtol",
            "trtol",
            "pivtol",
            "pivrel",
            "gmin",
            "gminsteps",
            "srcsteps",
        ),
        *("itl1", "itl2", "itl3", "itl4", "itl5", "itl6", "method", "maxord", "xmu", "rshunt", "cshunt"),
        *("noopiter", "trytocompact", "ramptime", "sparse", "klu", "minbreak", "convstep", "convabsstep"),
        # temperatures
        *("temp", "tnom"),
        # what is kept and how it is printed
        *("keepopinfo", "savecurrents", "numdgt", "noinit", "interp", "noopac", "noacct"),
        # of random numbers
        "seed",
    )
)


def test_options_are_those_of_the_solver() -> None:
    assert OPTION_NAMES == SOLVER


def test_words_and_letters_are_those_of_circuits() -> None:
    assert {
        ".subckt", ".ends", ".model", ".param", ".options", ".option", ".save", ".ic", ".nodeset", ".temp",
    } == DOT_WORDS  # fmt: skip
    # no a (code models, which open files), no p, o, m, n, u, w, y, z: not needed
    assert set("rclkviefghbdxsqjt") == ELEMENT_LETTERS
    assert {
        "r", "c", "l", "d", "npn", "pnp", "njf", "pjf", "sw", "csw", "vswitch", "iswitch", "ltra",
    } == MODEL_TYPES  # fmt: skip


# each of them makes ngspice 39 read, write or run something, or changes how it reads what follows
HARMFUL = [
    ".options sourcepath=/tmp", ".option inputdir=/tmp", ".options ngbehavior=ps", ".options filetype=ascii",
    ".options rawfile=x", ".options modelcard=x", ".options editor=x", ".options nutmeg=x", ".include x",
    ".inc x", ".lib x tt", ".control", ".endc", ".csparam x=1", ".func f(x) {x}", ".global a", ".end",
    ".width out=80", ".probe v(a)", ".meas tran x avg v(a)", ".plot v(a)",
    "* # shell id", "*# shell id", "*  #shell id", "*#x", "*ng_script", "*! x",
    "a1 [a] [b] filesource", "a1 a b model", "b1 a 0 v=1 file=x", "v1 a 0 dc 0 pwl file=x",
    "v1 a 0 pwl FILE = x",
    "r1 a 0 1k ; shell id", "r1 a 0 1k $ x", 'r1 a 0 "x"', "r1 a 0 `id`", "r1 a 0 \\", "r1 a 0 1k // x",
    "r1 a 0 1k .include x", ".model x xspice_file(file=1)", ".model x d_source(input_file=1)",
    "r1 a 0", "c1 a 0", "v1 a", "q1 a b", "x1 a", "r a 0 1k", "m1 a b c d x", "o1 a b c d x", "u1 a b x",
]  # fmt: skip


@pytest.mark.parametrize("line", HARMFUL)
def test_what_is_no_circuit_is_refused(line: str) -> None:
    for text in (f"{PLAIN}\n{line}", line.upper() if not line.startswith("*") else f"{PLAIN}\n{line}\n"):
        with pytest.raises(DeckRefused):
            Deck(title="a deck", text=text)


@pytest.mark.parametrize(
    "title", ["*ng_script", "", ".control", "*# shell id", "x\n.control", "a" * 201, "$x"]
)
def test_a_title_is_a_title(title: str) -> None:
    with pytest.raises(DeckRefused):
        Deck(title=title, text=PLAIN)


def test_a_digest_tells_decks_apart() -> None:
    """By title, by text; not by blanks around lines, which ngspice does not see."""
    one = Deck(title="one", text=PLAIN)
    assert one.sha256 != Deck(title="another", text=PLAIN).sha256
    assert one.sha256 != Deck(title="one", text="r1 a 0 2k").sha256
    assert one.sha256 == Deck(title="one", text=f"  {PLAIN}\t\n\n").sha256
