"""The guard in front of ngspice, and a deck's text."""

import hashlib
import re

import pytest

from receiver_sim.engine import Deck, DeckRefused
from receiver_sim.engine import deck as deck_module

GOOD = "R1 a 0 1k\nV1 a 0 dc 1\n"

# Each would make ngspice do something else than simulate a circuit, or hide that it does.
SMUGGLED = {
    "control block": ".control\nshell touch seen\n.endc",
    "upper case": ".CONTROL\nshell touch seen\n.ENDC",
    "leading blanks": "   \t .control\nshell touch seen\n.endc",
    "after a continued line": "R2 a 0\n+ 1k\n.control\nshell touch seen\n.endc",
    "within a continuation": "R2 a 0 1k\n+ .control\n+ shell touch seen",
    "within a continuation, glued": "R2 a 0 1k\n+.control",
    "inside a line": "R2 a 0 1k .include secret",
    "carriage returns": "R2 a 0 1k\r.control\rshell touch seen\r.endc\r",
    "CR LF": "R2 a 0 1k\r\n.control\r\nshell touch seen\r\n.endc\r\n",
    "vertical tab": "R2 a 0 1k\x0b.control",
    "form feed": "R2 a 0 1k\x0c.control",
    "line separator": "R2 a 0 1k\u2028.control",
    "next line": "R2 a 0 1k\x85.control",
    "NUL": "R2 a 0 1k\x00.control",
    "command comment": "*# shell touch seen",
    "command comment, glued": "*#shell touch seen",
    "command comment, blank": "* # shell touch seen",
    "script mark": "*ng_script",
    "comment without blank": "*.control",
    "semicolon": "R2 a 0 1k ; shell touch seen",
    "dollar": "R2 a 0 1k $ shell touch seen",
    "double slash": "R2 a 0 1k // shell touch seen",
    "backquotes": "R2 a 0 `touch seen`",
    "backslash": "R2 a 0 1k \\\\\n.control",
    "double quotes": 'R2 a 0 "1k"',
    "include": ".include secret",
    "inc": ".inc secret",
    "lib": ".lib secret tt",
    "csparam": ".csparam x=1",
    "exec": ".exec touch seen",
    "shell": ".shell touch seen",
    "func": ".func f(x) {x}",
    "global": ".global a",
    "end": ".end\n.control\nshell touch seen\n.endc",
    "title": ".title x",
    "if": ".if (1)",
    "analysis": ".tran 1 10",
    "print": ".print tran v(a)",
    "measure": ".meas tran x find v(a) at=1",
    "code model element": "A1 [a] [b] adc",
    "code model": ".model m filesource (file=secret amploffset=[0] amplscale=[1])",
    "code model by type": ".model m d_source (input_file=secret)",
    "file parameter": "V2 b 0 pwl file = secret",
    "option that is a variable": ".options sourcepath=secret",
    "option with a word": ".options reltol=secret",
    "option method": ".options method=secret",
    "plain command": "shell touch seen",
    "plain command that begins like an element": "run",
    "exclamation mark": "!touch seen",
    "continuation of nothing": "+ shell touch seen",
    "full-width letters": "．control",
    "em dash": "R2 a 0 1k — stopper",
}


@pytest.mark.parametrize("text", SMUGGLED.values(), ids=SMUGGLED.keys())
@pytest.mark.parametrize("place", ["alone", "before", "after", "within a subcircuit"])
def test_smuggled_text_is_refused(text, place):
    whole = {
        "alone": text,
        "before": f"{text}\n{GOOD}",
        "after": f"{GOOD}{text}\n",
        "within a subcircuit": f"{GOOD}.subckt s 1 2\nR9 1 2 1k\n{text}\n.ends\n",
    }[place]
    if text.startswith("+") and place in ("after", "within a subcircuit"):
        # Here it continues an element's line: no command, and ngspice itself refuses the words.
        assert Deck("t", whole).lines
        return
    with pytest.raises(DeckRefused):
        Deck("t", whole)


@pytest.mark.parametrize(
    "title",
    [
        "",
        "*ng_script",
        ".control",
        " .control",
        "+ x",
        "* #",
        "a\n.control",
        "a\r.control",
        "a\x0b.control",
        "a\u2028.control",
        "a `touch seen`",
        'a "b"',
        "a $HOME",
        "a \\",
        "a; b;\x00",
        "Käfer",
        "x" * 201,
    ],
)
def test_title_smuggles_nothing(title):
    with pytest.raises(DeckRefused):
        Deck(title, GOOD)


def test_plain_titles_pass():
    for title in ("Attic bench set: 40 m, onset (run 3)", "7 MHz", "x" * 200):
        assert Deck(title, GOOD).netlist().startswith(title + "\n")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "R1 a 0 1k\n.control\n",
            "deck refused: line 2 ('.control'): '.control' is not one of .ends, .ic, .model, .nodeset, "
            ".option, .options, .param, .save, .subckt, .temp",
        ),
        ("R1 a 0 1k\n.end", "deck refused: line 2 ('.end'): leave out .end; the engine adds it"),
        (
            "\n\nM1 d g s b nm",
            "deck refused: line 3 ('M1 d g s b nm'): 'm1' is no element; its letter must be one of "
            "B C D E F G H I J K L Q R S T V X, then letters, digits or '_'",
        ),
        (
            "R1 a 0",
            "deck refused: line 1 ('R1 a 0'): 'r1' is not complete: it needs its nodes and then a value, "
            "a model or an expression",
        ),
        (
            "R1 a 0 1k ; stopper",
            "deck refused: line 1 ('R1 a 0 1k ; stopper'): the character ';' is not allowed: write "
            "comments on lines of their own, begun by '* '",
        ),
        (
            "R1 a 0 1k\N{OHM SIGN}",
            "deck refused: line 1 ('R1 a 0 1k\\u2126'): the character U+2126 is not printable ASCII; "
            "remove it or spell it out",
        ),
        (
            "*# echo",
            "deck refused: line 1 ('*# echo'): a comment must begin with '* ' (star, blank)",
        ),
        (".subckt s 1 2\nR1 1 2 1k", "deck refused: line 1 ('.subckt s 1 2'): its .ends is missing"),
        ("R1 a 0 1k\n.ends", "deck refused: line 2 ('.ends'): there is no .subckt for it to end"),
        ("* nothing\n", "deck refused: deck: a deck needs at least one element"),
    ],
)
def test_whole_message(text, message):
    with pytest.raises(DeckRefused) as caught:
        Deck("t", text)
    assert str(caught.value) == message


def test_long_line_is_refused_but_may_be_continued():
    values = " ".join(f"{n} {n % 3}" for n in range(600))
    with pytest.raises(DeckRefused, match=r"it has \d+ characters; 2000 are allowed"):
        Deck("t", f"V1 a 0 pwl({values})\nR1 a 0 1")
    lines = "\n".join(f"+ {n} {n % 3}" for n in range(600))
    assert len(Deck("t", f"V1 a 0 pwl(\n{lines})\nR1 a 0 1").lines[0]) > 2000


@pytest.mark.parametrize(
    "short", ["C1 a 0", "L1 a 0", "V1 a 0", "K1 l1 l2", "E1 a 0", "B1 a 0", "D1 a 0", "X1 a"]
)
def test_elements_without_a_value_are_refused(short):
    """ngspice 39 takes a capacitor or an inductor without a value as zero and says nothing."""
    with pytest.raises(DeckRefused, match="is not complete"):
        Deck("t", f"{GOOD}{short}\n")


def test_everything_a_receiver_needs_passes():
    text = """
    * a comment; with a semicolon and a $ sign
    .param gm=2m
    .options reltol=1e-7 abstol = 1e-13 method=trap keepopinfo
    .subckt tube p s g k inj mu=20
    Bgk gk k v = v(g,k) + v(inj)
    Bk p k i = 1m * pwr(ln(1+exp(min(v(gk,k)*{mu}, 80))), 1.5) ? 0 : 1
    .ends tube
    X1 p s g k inj tube mu=17
    V1 p 0 dc 90 ac 1 sin(0 1 1k)
    + 0 0
    L1 g 0 4.2u ic=0
    L2 k 0 1u
    K1 L1 L2 0.6
    G1 a 0 p 0 {gm}
    E1 e 0 a 0 2
    D1 a 0 dm
    .model dm d(is=1e-14 n=1.1)
    S1 a 0 p 0 sm
    .model sm sw(vt=1 vh=0.1 ron=1 roff=1meg)
    .ic v(g)=0.5
    .nodeset v(p)=80
    .temp 27
    .save v(p)
    """
    deck = Deck("whole", text)
    assert deck.lines[7].endswith("sin(0 1 1k) 0 0")
    assert deck.netlist().endswith(".save v(p)\n.end\n")


def test_hash_is_of_the_netlist_and_line_ends_do_not_matter():
    deck = Deck("t", GOOD)
    assert deck.sha256 == hashlib.sha256(deck.netlist().encode()).hexdigest()
    assert Deck("t", GOOD.replace("\n", "\r\n")).sha256 == deck.sha256
    assert Deck("t", GOOD.replace("1k", "2k")).sha256 != deck.sha256


def test_export_refuses_what_is_no_analysis():
    deck = Deck("t", GOOD)
    for line in ("", ".control", "op", ".op\n.control", ".ac lin 3 1 2 .include x", ".tran 1 2 `x`"):
        with pytest.raises(DeckRefused):
            deck.export([line])
    with pytest.raises(DeckRefused):
        deck.export([".op"], ["v(a) > file"])


def test_plain_lines_pass_every_check(monkeypatch):
    """Elements with nothing but a number are not looked at closely: whatever counts as one must pass all
    checks. Guards against a way past them.
    """
    plain = [
        "R1 a b 1e-3",
        "Rleak gx top 2914949.05584",
        "Vh ha 0 dc -6.3",
        "C_2 n1 0 1.5e+2",
        "L9 a b 1.e.2",
    ]
    for line in plain:
        assert deck_module._PLAIN.fullmatch(line), line
    other = ["R1 a b", "R1 a b 1 .include x", "V1 a 0 dc 0 ac 1", "R1 a b {x}", "R1 a b r=1", "X1 a b 1",
             "R1 a b .5", "R1 a b 1;quit", "R1 a b 1 $x", "* R1 a b 1", "+ 1", "B1 a b 1",
             "R1 A b 1"]  # fmt: skip
    assert not [line for line in other if deck_module._PLAIN.fullmatch(line)]
    quick = Deck("x", "\n".join(plain)).lines
    monkeypatch.setattr(deck_module, "_PLAIN", re.compile("(?!)"))
    assert Deck("x", "\n".join(plain)).lines == quick == tuple(plain)
