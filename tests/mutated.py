"""Build files and tube cards with something changed at random: each gets an answer or a sentence, in time.

    python -m tests.mutated --builds 10000 --cards 2000 --seed 1

A build goes through `receiver-sim deck FILE -o DECK`, a card through `receiver-sim tubes fit FILE`, both
within this process. Held: exit code 0 or 2 (3 where a supply was run by ngspice), no traceback, at most two
seconds of processor time, and no half-written file: the deck is whole or what stood there before, the card
holds a whole fit or not a byte of it is changed. tests/test_mutated.py runs a slice of it.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import random
import re
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from receiver_sim import api
from receiver_sim.cli import main
from receiver_sim.data import folder
from receiver_sim.schema.card import load_card

BUILDS = sorted((Path(api.__file__).parent.parent / "schema" / "builds").glob("*.yaml"))
CARDS = sorted(folder("models").glob("*.yaml"))
LIMIT_S = 2.0
OLD = b"* what stood here before\n"

FRAGMENTS = [
    "1e999",
    "-0",
    "V",
    "nan",
    ".inf",
    "~",
    "'",
    '"',
    "\t",
    "☃",
    "<<:",
    "*x",
    "?\t",
    "-",
    "{",
    "}",
    "[",
    "]",
    "#",
    ":",
    "\r\n",
    "\x85",
    "\u2028",
    "\\",
    "../../etc/passwd",
    "9" * 400,
    "{{ 7*7 }}",
    "!!python/object/apply:os.getcwd []",
    "&a [*a]",
    "\x00",
    "\ufeff",
    "|\n",
    ">-\n",
    "\n.control\nshell id\n.endc\n",
    "%YAML 1.3\n---\n",
    "...\n---\n",
]

VALUES = Path(__file__).with_name("odd_values.txt").read_text(encoding="utf-8").splitlines()

_KEY = re.compile(r"^(\s*(?:- )?)([A-Za-z_][A-Za-z0-9_]*)(\s*:)(.*)$")
_INLINE = re.compile(r"([A-Za-z_][A-Za-z0-9_]*): ([^,{}\[\]]+)")
_NUMBER = re.compile(r"(?<![A-Za-z0-9_.])-?\d+(?:\.\d+)?(?:e-?\d+)?")


def _fragment(text: str, dice: random.Random) -> str:
    """Put something odd in the place of some characters."""
    at = dice.randrange(len(text))
    return text[:at] + dice.choice(FRAGMENTS) + text[min(len(text), at + dice.randrange(40)) :]


def _cut(text: str, dice: random.Random) -> str:
    """Leave out, repeat or break off at some place."""
    at = dice.randrange(len(text))
    end = min(len(text), at + dice.randrange(200))
    return dice.choice([text[:at] + text[end:], text[:end] + text[at:], text[:at]])


def _lines(text: str, dice: random.Random) -> str:
    """Swap, repeat, leave out or move a line sideways."""
    lines = text.splitlines(keepends=True)
    one, two = dice.randrange(len(lines)), dice.randrange(len(lines))
    kind = dice.randrange(4)
    if kind == 0:
        lines[one], lines[two] = lines[two], lines[one]
    elif kind == 1:
        lines.insert(two, lines[one])
    elif kind == 2:
        del lines[one]
    else:
        lines[one] = (
            dice.choice(["  ", " ", "    "]) + lines[one] if dice.random() < 0.5 else lines[one].lstrip()
        )
    return "".join(lines)


def _value(text: str, dice: random.Random) -> str:
    """Give a key another value."""
    chosen = dice.choice(list(_INLINE.finditer(text)))
    return text[: chosen.start(2)] + dice.choice(VALUES) + text[chosen.end(2) :]


def _number(text: str, dice: random.Random) -> str:
    """Scale a number, or change its sign: such a file often stays sound, and is worked out to the end."""
    chosen = dice.choice(list(_NUMBER.finditer(text)))
    number = float(chosen[0]) * dice.choice([-1.0, 0.0, 1e-6, 1e-3, 0.1, 0.5, 0.9, 1.1, 2.0, 10.0, 1e3, 1e6])
    return text[: chosen.start()] + f"{number:g}" + text[chosen.end() :]


def _key(text: str, dice: random.Random) -> str:
    """Rename a key, or take it out with what is in its line."""
    lines = text.splitlines(keepends=True)
    places = [i for i, line in enumerate(lines) if _KEY.match(line)]
    at = dice.choice(places)
    before, name, colon, rest = _KEY.match(lines[at]).groups()  # type: ignore[union-attr]
    other = _KEY.match(lines[dice.choice(places)])[2]  # type: ignore[index]
    new = dice.choice([name[:-1], name.upper(), other, name + "_", "", f"'{name}'"])
    lines[at] = "" if dice.random() < 0.3 else f"{before}{new}{colon}{rest}\n"
    return "".join(lines)


def mutated(text: str, dice: random.Random) -> bytes:
    """Return a text with one to three changes of the kinds above, now and then of single bytes, too."""
    for _ in range(dice.choice([1, 1, 1, 2, 3])):
        if text.strip():
            with contextlib.suppress(IndexError):  # nothing of that kind is left in it
                text = dice.choice(
                    [_fragment, _cut, _lines, _value, _value, _number, _number, _number, _key]
                )(text, dice)
    raw = text.encode("utf-8", "surrogatepass")
    if raw and dice.random() < 0.05:
        at = dice.randrange(len(raw))
        raw = raw[:at] + bytes([dice.randrange(256)]) + raw[at + 1 :]
    return raw


@dataclass(frozen=True)
class Outcome:
    """What became of one file: number of its draw, exit code, seconds of processor time, what is wrong."""

    number: int
    code: int
    seconds: float
    wrong: str | None


def call(*args: str | Path) -> tuple[int, str, str, float]:
    """Run a verb in this process; return its exit code, what it printed, and the seconds it took."""
    out, err = io.StringIO(), io.StringIO()
    code: Any = 0
    began = time.process_time()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            main([str(a) for a in args], prog_name="receiver-sim")
        except SystemExit as end:
            code = end.code
    return int(code or 0), out.getvalue(), err.getvalue(), time.process_time() - began


def _wrong(code: int, allowed: tuple[int, ...], told: str, seconds: float) -> str | None:
    if "Traceback" in told:
        return "a traceback"
    if code not in allowed:
        return f"exit code {code}: {told.strip()[:600]}"
    if code and not told.strip():
        return f"exit code {code} without a word"
    return f"{seconds:.2f} s" if seconds > LIMIT_S else None


def try_build(place: Path, number: int, seed: int) -> Outcome:
    """Mutate one of the shipped builds and have its deck written."""
    dice = random.Random(f"build {seed} {number}")
    source = dice.choice(BUILDS)
    path, deck = place / "mutated.yaml", place / "mutated.cir"
    path.write_bytes(mutated(source.read_text(encoding="utf-8"), dice))
    deck.write_bytes(OLD)
    rectified = b"rectifier" in path.read_bytes()
    code, out, err, seconds = call("deck", path, "-o", deck)
    wrong = _wrong(code, (0, 2, 3) if rectified else (0, 2), out + err, seconds)
    written = deck.read_bytes()
    if wrong is None and written != OLD and not (code == 0 and written.rstrip().endswith(b".end")):
        wrong = "a deck that is neither whole nor the old one"
    if wrong is None and code == 0 and re.search(rb"(?im)^\s*(\.(control|include|lib)|shell\b)", written):
        wrong = "a deck with what no build may bring in"
    if wrong is None and {p.name for p in place.iterdir()} != {path.name, deck.name}:
        wrong = f"files left behind: {sorted(p.name for p in place.iterdir())}"
    return Outcome(number, code, seconds, wrong)


def try_card(place: Path, number: int, seed: int) -> Outcome:
    """Mutate one of the shipped cards and have it fitted."""
    dice = random.Random(f"card {seed} {number}")
    source = dice.choice(CARDS)
    path = place / source.name
    raw = mutated(source.read_text(encoding="utf-8"), dice)
    path.write_bytes(raw)
    code, out, err, seconds = call("tubes", "fit", path)
    wrong = _wrong(code, (0, 2), out + err, seconds)
    now = path.read_bytes()
    if wrong is None and code and now != raw:
        wrong = "a refused card that was changed"
    if wrong is None and code == 0:
        try:
            if load_card(path).fit is None:
                wrong = "a card without the fit that was written"
        except Exception as error:
            wrong = f"a card that can't be read any more: {error}"
    if wrong is None and [p.name for p in place.iterdir()] != [path.name]:
        wrong = f"files left behind: {sorted(p.name for p in place.iterdir())}"
    path.unlink(missing_ok=True)
    return Outcome(number, code, seconds, wrong)


def campaign(kind: str, count: int, seed: int, first: int = 0) -> Iterator[Outcome]:
    """Try `count` files of a kind ('build' or 'card'), from the draw of number `first` on."""
    attempt = {"build": try_build, "card": try_card}[kind]
    for number in range(first, first + count):
        with tempfile.TemporaryDirectory(prefix="mutated-") as place:
            yield attempt(Path(place), number, seed)


def report(kind: str, outcomes: list[Outcome]) -> str:
    """Return a campaign in a few lines."""
    codes = Counter(one.code for one in outcomes)
    slowest = max(outcomes, key=lambda one: one.seconds)
    lines = [
        f"{len(outcomes)} {kind}s: exit codes {dict(sorted(codes.items()))}, slowest {slowest.seconds:.2f} s "
        f"(number {slowest.number}), wrong {sum(one.wrong is not None for one in outcomes)}"
    ]
    lines += [f"  {kind} {one.number}: {one.wrong}" for one in outcomes if one.wrong is not None]
    return "\n".join(lines)


def run() -> int:
    """Run the campaign that the command line asks for; 1 if anything was wrong."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--builds", type=int, default=0)
    parser.add_argument("--cards", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--first", type=int, default=0, help="number of the first draw, to repeat one")
    asked = parser.parse_args()
    wrong = 0
    for kind, count in (("build", asked.builds), ("card", asked.cards)):
        if count:
            outcomes = []
            for one in campaign(kind, count, asked.seed, asked.first):
                outcomes.append(one)
                if one.wrong is not None or len(outcomes) % 500 == 0:
                    print(
                        f"{len(outcomes)} done: {kind} {one.number}: {one.wrong or 'well'}", file=sys.stderr
                    )
            print(report(kind, outcomes), flush=True)
            wrong += sum(one.wrong is not None for one in outcomes)
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(run())
