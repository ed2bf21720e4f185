"""The ladder that a search for an operating point climbs, and which rung served.

The first three rungs are ngspice's own and are taken within one command: Newton's method from the deck's
starting values (within a sweep from the point before), conductances to ground that are taken away step by
step, and sources that are brought up from zero. Each ends in a solution of the same equations to the same
tolerances. (A fourth of its own, a run over time, does not, and is switched off: see `simulator`.) They come
first because they mostly cost a few milliseconds; the rest needs a new worker. Where one of them beyond the
first served, the session's further analyses begin with the volts of the nearest setting that was solved
(`starts`), so that they need not climb again. Small steps: the circuit is loaded afresh at the last setting
that was solved (before any was, at one that the caller calls easy) and taken from there to the one asked for
over settings on the way, each begun with all volts of the one before, which ngspice itself forgets between
commands; a sweep is then made with an eighth of its step. It stays on the branch it began on. Before that the
circuit is given a tera-ohm from every node to ground, which its deck keeps for the session if that helps: a
node that only capacitors lead to has no other way. Last, the same with tolerances ten times as wide. These
two are the only rungs that may change a figure, the tera-ohm by a part in a hundred thousand beside 10 Mohm;
all that a session finds after them is marked with them.
"""

from __future__ import annotations

import array
import enum
import re
import struct
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from receiver_sim.engine import pivots
from receiver_sim.engine.deck import Deck
from receiver_sim.engine.messages import Message
from receiver_sim.engine.protocol import Plot

Key = tuple[str, str | None]
"""An element and which of its values (None: its main one)."""


class Rung(str, enum.Enum):
    """How the operating points of an analysis were found, from the first rung to the last."""

    NEWTON = "Newton's method"
    GMIN = "gmin stepping"
    SOURCES = "source stepping"
    SMALL_STEPS = "small steps from another setting"
    SHUNTED = "a tera-ohm from every node to ground"
    WIDER = "tolerances ten times as wide"


SHUNT_OHM = 1e12

FINER = 8
"""A sweep that is taken in small steps has so many for one."""

STEPS = (8, 48)
"""Operating points on the way from the setting that was solved: first so many, then so many."""

_OWN = (
    (Rung.SOURCES, re.compile(r"source stepping completed", re.IGNORECASE)),
    (Rung.GMIN, re.compile(r"gmin stepping completed", re.IGNORECASE)),
)

_NO_SOLUTION = re.compile(
    r"singular\s+matrix|time\s?step\s+too\s+small|no\s+convergence|without\s+convergence|iteration\s+limit"
    r"|out\s+of\s+range|stepping\s+failed|operating\s+point\s+failed|not\s+finite|gave\s+no\s+result|holds\s+no\s+data",
    re.IGNORECASE,
)

_TOLERANCE = re.compile(r"\b(reltol|abstol|vntol)=(\S+)")
_DEFAULT = {"reltol": 1e-3, "abstol": 1e-12, "vntol": 1e-6}  # ngspice's own


def own_rung(messages: Iterable[Message]) -> Rung:
    """Return the highest of ngspice's own rungs that its lines tell of."""
    lines = [message.text for message in messages]
    for rung, told in _OWN:
        if any(told.search(line) for line in lines):
            return rung
    return Rung.NEWTON


def no_solution(reason: str) -> bool:
    """Whether a failure says that no solution was found, rather than that something was asked wrongly."""
    return bool(_NO_SOLUTION.search(reason))


def widened(deck: Deck) -> Deck:
    """Return the deck with its tolerances ten times as wide."""
    stated = {name for name, _ in _TOLERANCE.findall(deck.text)}
    text = _TOLERANCE.sub(lambda m: f"{m[1]}={10.0 * float(m[2]):.6g}", deck.text)
    rest = " ".join(f"{name}={10.0 * _DEFAULT[name]:.6g}" for name in _DEFAULT if name not in stated)
    return Deck(title=deck.title, text=f".options {rest}\n{text}" if rest else text)


def shunted(deck: Deck) -> Deck:
    """Return the deck with a tera-ohm from every node to ground."""
    return Deck(title=deck.title, text=f".options rshunt={SHUNT_OHM:g}\n{deck.text}")


def has_shunts(deck: Deck) -> bool:
    """Whether a deck has resistors from every node to ground already."""
    return pivots.shunt_ohm(deck.lines) is not None


def carried_by_shunts(point: Plot) -> bool:
    """Whether tera-ohms take a tenth of a milliampere or more somewhere: a current without another way, so
    that the circuit itself has no solution.
    """
    volts = array.array("d")
    for name, is_complex, data in point.vectors:
        if "#" not in name and not is_complex:
            volts.frombytes(data)
    return any(abs(one) > SHUNT_OHM * 1e-4 for one in volts)


def value_in(deck: Deck, key: Key) -> float | None:
    """Return what a deck gives an element: the main value of a resistor, capacitor or coil, the d.c. of a
    source; None for any other."""
    name, parameter = key
    line = next((one for one in deck.lines if one.split(None, 1)[0].lower() == name), "")
    found = re.match(r"\S+\s+\S+\s+\S+\s+(?:dc\s+)?(\S+)", line, re.IGNORECASE)
    if found is None or parameter != ("dc" if name[0] in "vi" else None):
        return None
    try:
        return float(found[1])
    except ValueError:
        return None


def begun_at(deck: Deck, point: Plot) -> Deck:
    """Return the deck with the node volts of an operating point as its starting values."""
    lines = [line for line in deck.text.splitlines() if not line.lower().startswith(".nodeset")]
    volts = [
        f"v({name})={struct.unpack('d', data[:8])[0]:.12g}"
        for name, is_complex, data in point.vectors
        if "#" not in name and not is_complex
    ]
    lines += [f".nodeset {' '.join(volts[i : i + 8])}" for i in range(0, len(volts), 8)]
    return Deck(title=deck.title, text="\n".join(lines))


@dataclass(frozen=True)
class Way:
    """Settings from one that was solved to one that is wanted."""

    start: Mapping[Key, float]
    goal: Mapping[Key, float]

    def at(self, share: float) -> dict[Key, float]:
        """Return the values at a share (0..1) of the way: by ratio where both ends are positive, else by
        difference."""
        out = {}
        for key, goal in self.goal.items():
            start = self.start.get(key, goal)
            if start > 0.0 and goal > 0.0:
                out[key] = start * (goal / start) ** share
            else:
                out[key] = start + share * (goal - start)
        return out
