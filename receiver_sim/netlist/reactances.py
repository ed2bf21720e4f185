"""The energy stores of a deck: its capacitors and inductors, and a source across each to find its natural
modes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from receiver_sim.engine import Session

ComplexArray = npt.NDArray[np.complex128]

TANK = "tank"

_WORDS = {
    "cgrid": "grid capacitor",
    "cscreen": "screen bypass",
    "cfilter": "RF filter",
    "lload": "plate load",
    "cload": "plate load's capacitance",
    "lsec": "plate load",
    "ccouple": "coupling capacitor",
    "creg": "regulator",
    "lout": "output choke",
    "lmag": "output transformer",
    "lleak": "output transformer",
    "cout": "output's capacitance",
    "cprim": "output's capacitance",
}
_BEGINNINGS = {
    "cpsec": "supply filter",
    "lpsec": "supply filter",
    "cphone": "phones' capacitor",
    "cacross": "phones",
    "cvol": "coupling capacitor",
    "lphone": "phones",
    "ltank": "phones",
    "ctank": "phones",
    "cfilt": "audio filter",
    "lfilt": "audio filter",
}
_ENDINGS = {
    "cath": "cathode bypass",
    "dec": "decoupling capacitor",
    "scr": "screen bypass of the audio stage",
    "couple": "coupling capacitor",
    "gk": "tube capacitances",
    "gp": "tube capacitances",
    "pk": "tube capacitances",
    "stray": "strays",
}


@dataclass(frozen=True)
class Store:
    """Capacitors side by side between two nodes (farad: their sum), or one inductor (farad None).

    name: of the (largest) element; source: the current source that `probes` puts across it, from `left`
    through it to `right`; branch: the vector of an inductor's own current.
    """

    name: str
    left: str
    right: str
    farad: float | None
    source: str
    branch: str | None = None


def stores(text: str) -> tuple[Store, ...]:
    """Return the energy stores of a deck's text, which must all lie at its top level.

    Raises ValueError if a subcircuit holds one or a value is no plain number: the modes would miss it.
    """
    capacitors: dict[tuple[str, str], list[tuple[float, str]]] = {}
    inductors: list[tuple[str, str, str]] = []
    inside = False
    for line in text.lower().splitlines():
        words = line.split()
        inside = bool(words) and (words[0] == ".subckt" or (inside and words[0] != ".ends"))
        if not words or words[0][0] not in "cl":
            continue
        if inside:
            raise ValueError(f"an energy store inside a subcircuit: {line}")
        name, left, right, value = words[:4]
        if name[0] == "l":
            inductors.append((name, left, right))
        else:
            pair = (left, right) if left <= right else (right, left)
            capacitors.setdefault(pair, []).append((float(value), name))
    found = [(max(c)[1], *pair, sum(f for f, _ in c), None) for pair, c in capacitors.items()]
    found = [one for one in found if one[3] > 0.0]
    coils = [(name, left, right, None, f"{name}#branch") for name, left, right in inductors]
    return tuple(
        Store(name, left, right, farad, f"istore{i}", branch)
        for i, (name, left, right, farad, branch) in enumerate([*found, *coils])
    )


def probes(found: Sequence[Store]) -> str:
    """Return current sources across the stores, at rest, as text."""
    return "\n".join(f"{s.source} {s.left} {s.right} dc 0 ac 0" for s in found)


@dataclass(frozen=True)
class Answers:
    """What `natural_modes` takes: response (n, n) and weight (n,) of the stores at the shift (1/s).

    watched: (n,), volts of a node for 1 A across each store, zeros if none is watched.
    """

    response: ComplexArray
    weight: ComplexArray
    watched: ComplexArray
    shift: complex


def measure(
    session: Session, found: Sequence[Store], *, shift_hz: float, watched: str | None = None
) -> Answers:
    """Measure the answers of the stores to each other in a loaded deck that holds their `probes`, all other
    a.c. sources at 0. Raises EngineError when a simulation fails."""
    rows, seen = [], []
    for i, store in enumerate(found):
        session.alter(store.source, 1.0, "acmag")
        row, volts = read(session, found, shift_hz=shift_hz, watched=watched)
        session.alter(store.source, 0.0, "acmag")
        # by Norton's theorem the source's ampere is part of what a coil carries
        row[i] += 0.0 if store.branch is None else 1.0
        rows.append(row)
        seen.append(volts)
    shift = 2j * math.pi * shift_hz
    weight = [-1.0 / shift if s.farad is None else s.farad for s in found]
    return Answers(np.array(rows).T, np.array(weight, dtype=np.complex128), np.array(seen), shift)


def read(
    session: Session, found: Sequence[Store], *, shift_hz: float, watched: str | None = None
) -> tuple[ComplexArray, complex]:
    """Return the answers of the stores, and of the node watched, to whatever a.c. source is on."""
    nodes = {node for s in found if s.branch is None for node in (s.left, s.right)} - {"0"}
    wanted = [*sorted(nodes), *(s.branch for s in found if s.branch is not None)]
    if watched is not None and watched not in nodes:
        wanted.append(watched)
    run = session.ac(shift_hz, shift_hz, 1, vectors=wanted)

    def volts(node: str) -> complex:
        return 0j if node == "0" else complex(run[node][0])

    answers = [
        volts(s.left) - volts(s.right) if s.branch is None else complex(run[s.branch][0]) for s in found
    ]
    return np.array(answers, dtype=np.complex128), 0j if watched is None else volts(watched)


def in_words(name: str) -> str:
    """Return what the trade calls an element of a deck, its own name if that is not known."""
    if name == TANK:
        return TANK
    if name in _WORDS:
        return _WORDS[name]
    for table, match in ((_BEGINNINGS, name.startswith), (_ENDINGS, name.endswith)):
        for part, words in table.items():
            if match(part):
                return words
    return f"strays at {name}"
