"""Lines that make ngspice choose its pivots anew once starting values let go of their nodes.

ngspice ties each node of a `.nodeset` to its value (1e10 on the diagonal of the matrix, or a row of its own)
until the rest has settled, chooses the order of elimination meanwhile, and keeps it after the nodes are free
again. What was a good pivot while tied may then be a leakage of 1e-16 S: digits go, up to all of them.
Newton's method finds no solution where there is one, or takes a wrong one without a word (seen: 2 mV of 2 V).
The order is made anew only after a pivot of exactly zero (`NIiter` of its source). So two conductances
between two nodes of their own cross: tied, each has its diagonal; free, neither has one. They carry no
current.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

NODES = ("pivot_a", "pivot_b")
"""The nodes added; never among an analysis' results."""

_SHUNT = re.compile(r"\brshunt\s*=\s*(\S+)", re.IGNORECASE)


def chosen_anew(lines: Sequence[str]) -> list[str]:
    """Return the lines to add to those of a deck: none if it has no starting values."""
    if not any(line.lower().startswith(".nodeset") for line in lines):
        return []
    one, other = NODES
    added = [
        f"g{one} {one} 0 {other} 0 1",
        f"g{other} {other} 0 {one} 0 1",
        f".nodeset v({one})=0 v({other})=0",
    ]
    ohm = shunt_ohm(lines)
    # a shunt from every node would give them a diagonal: taken away again
    return added if ohm is None else added + [f"r{node} {node} 0 -{ohm}" for node in NODES]


def shunt_ohm(lines: Sequence[str]) -> str | None:
    """Return what the options of a deck put from every node to ground (ohm, as written), None if nothing."""
    options = (line for line in lines if line.lower().startswith(".option"))
    shunts = [found[1] for line in options if (found := _SHUNT.search(line))]
    return shunts[-1] if shunts else None
