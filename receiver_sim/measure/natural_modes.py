"""The energy stores of a circuit: its capacitors and inductors, and a source across each to find its natural
modes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.element import Element, current_source
from receiver_sim.circuit.roles import Role
from receiver_sim.engine import Session

ComplexArray = npt.NDArray[np.complex128]


@dataclass(frozen=True)
class Store:
    """Capacitors side by side between two nodes (farad: their sum), or one inductor (farad None).

    name, word: of the (largest) element, and what the trade calls it; source: the current source that
    `probes` puts across it, from `left` through it to `right`; branch: the vector of an inductor's own
    current. grid_bias: whether the grid capacitor of the oscillating tube is, or is part of, it; way_back:
    whether a stray from the audio stage to the detector's grid does.
    """

    name: str
    left: str
    right: str
    farad: float | None
    source: str
    word: str
    branch: str | None = None
    grid_bias: bool = False
    way_back: bool = False


def stores(circuit: Circuit, *, empty: Sequence[tuple[str, str]] = ()) -> tuple[Store, ...]:
    """Return the energy stores of a circuit, which must all be elements of its own.

    empty: pairs of nodes to count as capacitors of 0 F besides, to ask what one there would do. Raises
    ValueError if a law holds one or a value is no plain number: the modes would miss it.
    """
    called = {element.tail for element in circuit.elements if element.kind == "x"}
    for law in circuit.laws:
        if law.stores and law.name in called:
            raise ValueError(f"an energy store inside a subcircuit: {law.name}")
    capacitors: dict[tuple[str, str], list[Element]] = {}
    coils: list[Element] = []
    for element in circuit.elements:
        if element.kind not in "cl":
            continue
        if element.value is None:
            raise ValueError(f"an energy store without a plain value: {element.name}")
        if element.kind == "l":
            coils.append(element)
        else:
            left, right = sorted(element.nodes)
            capacitors.setdefault((left, right), []).append(element)
    out: list[Store] = []
    bias = circuit.find(Role.GRID_CAPACITOR)
    for (left, right), parts in capacitors.items():
        farad = sum(one.value or 0.0 for one in parts)
        if farad > 0.0:
            largest = max(parts, key=lambda one: (one.value or 0.0, one.name))
            one = Store(largest.name, left, right, farad, f"istore{len(out)}", largest.about.word)
            of_bias = any(part.name == bias for part in parts)
            back = any(part.about.block == "strays" for part in parts)
            out.append(replace(one, grid_bias=of_bias, way_back=back))
    for pair in empty:
        left, right = sorted(pair)
        out.append(Store("", left, right, 0.0, f"istore{len(out)}", "stray"))
    for coil in coils:
        left, right = coil.nodes
        source = f"istore{len(out)}"
        out.append(Store(coil.name, left, right, None, source, coil.about.word, f"{coil.name}#branch"))
    return tuple(out)


def probes(found: Sequence[Store]) -> tuple[Element, ...]:
    """Return current sources across the stores, at rest."""
    return tuple(current_source(s.source, s.right, out_of=s.left) for s in found)


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
    """Measure the answers of the stores to each other in a loaded circuit that holds their `probes`, all
    other
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
