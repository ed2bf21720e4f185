"""The energy stores of a circuit: its capacitors and inductors, and a source across each to find its natural
modes.

Each source sounds at a frequency of its own, so that one a.c. run answers for all of them: what such a run
costs is its operating point, not its frequencies.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.element import GROUND, Element
from receiver_sim.circuit.roles import Role
from receiver_sim.engine import Session

ComplexArray = npt.NDArray[np.complex128]
FloatArray = npt.NDArray[np.float64]

_SOURCE, _RAIL = "vtuned", "tuned"
_FARAD = 1.0
_PICOFARAD = 1e-12
_APART = 0.01
"""Share of the shift that the sources' frequencies lie apart."""
_Q = 1e10
"""Of the sources' tuned circuits: at the frequency of one its neighbour carries a part in 2e8 of what it
carries at its own, so that a small answer is not lost beside a large one (answers are good to 1e-12). Their
band is wider still than the last of the 12 digits in which a deck writes a part."""


@dataclass(frozen=True)
class Store:
    """Capacitors side by side between two nodes (farad: their sum), or one inductor (farad None).

    name, word: of the (largest) element, and what the trade calls it; branch: the vector of an inductor's own
    current. grid_bias: whether the grid capacitor of the oscillating tube is, or is part of, it; way_back:
    whether a stray from the audio stage to the detector's grid does.
    """

    name: str
    left: str
    right: str
    farad: float | None
    word: str
    branch: str | None = None
    henry: float | None = None
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
            one = Store(largest.name, left, right, farad, largest.about.word)
            of_bias = any(part.name == bias for part in parts)
            back = any(part.about.block == "strays" for part in parts)
            out.append(replace(one, grid_bias=of_bias, way_back=back))
    for pair in empty:
        left, right = sorted(pair)
        out.append(Store("", left, right, 0.0, "stray"))
    for coil in coils:
        left, right = coil.nodes
        out.append(Store(coil.name, left, right, None, coil.about.word, f"{coil.name}#branch", coil.value))
    return tuple(out)


def probes(found: Sequence[Store], *, shift_hz: float) -> tuple[Element, ...]:
    """Return current sources across the stores, each from its first node through it to its second.

    They are driven by tuned circuits of their own on one source, each with what its store carries at 1 V: so
    no answer is lost beside another, be the stores picofarads or millifarads.
    """
    out = [Element(_SOURCE, (_RAIL, GROUND), 0.0, "ac 0")]
    for i, (store, hertz) in enumerate(zip(found, _tones(len(found), shift_hz), strict=True)):
        node, siemens = _node(i), 2.0 * math.pi * hertz * _FARAD
        out += [
            Element(f"rtuned{i}", (_RAIL, node), _Q / siemens),
            Element(f"ctuned{i}", (node, GROUND), _FARAD),
            Element(f"ltuned{i}", (node, GROUND), _FARAD / siemens**2),
            Element(f"gtuned{i}", (store.left, store.right, node, GROUND), _ampere(store, shift_hz)),
        ]
    return tuple(out)


def _ampere(store: Store, shift_hz: float) -> float:
    """Return what a source carries at its own frequency, to the digits that a deck gives it."""
    angular = 2.0 * math.pi * shift_hz
    own = angular * (store.farad or _PICOFARAD) if store.henry is None else 1.0 / (angular * store.henry)
    return float(f"{own:.3g}")


def _node(number: int) -> str:
    return f"tuned{number}"


def _tones(count: int, shift_hz: float) -> FloatArray:
    steps: FloatArray = np.arange(count, dtype=np.float64) - 0.5 * (count - 1)
    return shift_hz * (1.0 + _APART * steps)


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
    """Measure the answers of the stores to each other in a loaded circuit that holds their `probes` for that
    shift, all other a.c. sources at 0. Raises EngineError when a simulation fails.

    The run has a frequency for each store, all near the shift, and at each of them mostly one source. With w
    the answers there and I what the sources carry, w = H (b + x D w): H the answers at the shift, D the
    weights, x = s - shift, and b the source itself, of a coil s/shift of it (see `natural_modes`). The n
    frequencies are n such equations, and H follows without approximation.
    """
    tones = _tones(len(found), shift_hz)
    tuned = [_node(i) for i in range(len(found))]
    session.alter(_SOURCE, 1.0, "acmag")
    seen, carried, volts = _read(session, found, tones, tuned, watched)
    session.alter(_SOURCE, 0.0, "acmag")
    carried *= np.array([[_ampere(store, shift_hz)] for store in found])
    shift, s = 2j * math.pi * shift_hz, 2j * math.pi * tones
    is_coil = np.array([store.farad is None for store in found])[:, None]
    # by Norton's theorem the source's ampere is part of what a coil carries
    seen = seen + np.where(is_coil, carried, 0.0)
    weight = np.array([-1.0 / shift if one.farad is None else one.farad for one in found], dtype=complex)
    sources = np.where(is_coil, carried * (s / shift), carried) + weight[:, None] * seen * (s - shift)
    # h @ sources = seen, and the volts watched alike
    solved = np.linalg.solve(sources.T, np.column_stack([seen.T, volts]))
    return Answers(solved[:, :-1].T, weight, solved[:, -1], shift)


def read(
    session: Session, found: Sequence[Store], *, shift_hz: float, watched: str | None = None
) -> tuple[ComplexArray, complex]:
    """Return the answers of the stores, and of the node watched, to whatever a.c. source is on."""
    answers, _, volts = _read(session, found, np.array([shift_hz]), (), watched)
    return answers[:, 0], complex(volts[0])


def _read(
    session: Session, found: Sequence[Store], tones: FloatArray, tuned: Sequence[str], watched: str | None
) -> tuple[ComplexArray, ComplexArray, ComplexArray]:
    """Return the answers of the stores, the volts of `tuned`, a row each, and those of the node watched at
    evenly spaced frequencies.
    """
    nodes = {node for s in found if s.branch is None for node in (s.left, s.right)} | {watched or GROUND}
    branches = [s.branch for s in found if s.branch is not None]
    wanted = [*sorted(nodes - {GROUND}), *branches, *tuned]
    run = session.ac(float(tones[0]), float(tones[-1]), tones.size, vectors=wanted)
    silence = np.zeros(tones.size, dtype=np.complex128)

    def volts(node: str | None) -> ComplexArray:
        return silence if node is None or node == GROUND else np.asarray(run[node], dtype=np.complex128)

    rows = [volts(s.left) - volts(s.right) if s.branch is None else volts(s.branch) for s in found]
    return np.array(rows), np.array([volts(node) for node in tuned]), volts(watched)
