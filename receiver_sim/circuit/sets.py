"""The sets of a build: numbered draws of its parts and tubes, and the circuit of each.

Plain data, the same in every process: what a set gives depends on the seed and its number only.
"""

from __future__ import annotations

import dataclasses
import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.element import Law
from receiver_sim.circuit.element_map import ElementMap, element_map
from receiver_sim.circuit.factors import PRINT, SOCKETS, Factor, drawn_tube, value_at
from receiver_sim.circuit.laws import law_subcircuit
from receiver_sim.circuit.registry import Cards
from receiver_sim.schema import Band, Build


@dataclass(frozen=True)
class Start:
    """Where a band's onset lies in the build as stated.

    share: of the control's travel, None without an onset; slope: of loop gain against share; tuning: of the
    capacitor, F. gains: (share, loop gain, what the control sets) about the onset, as far as the gain rises;
    none where not known.
    """

    share: float | None
    slope: float
    tuning: float | None
    gains: tuple[tuple[float, float, float], ...] = ()


@dataclass(frozen=True)
class SetPlan:
    """All that is needed to look at the sets of a build: plain data, the same in every process."""

    build: Build
    cards: Cards
    factors: tuple[Factor, ...]
    bands: tuple[Band, ...]
    maps: tuple[ElementMap, ...]
    starts: tuple[Start, ...]
    seed: int

    @cached_property
    def groups(self) -> list[tuple[int, ...]]:
        """The bands that share their elements and nodes, by number."""
        groups: dict[tuple[object, ...], list[int]] = {}
        for index, one in enumerate(self.maps):
            shape = tuple((e.name, e.nodes, e.links, e.tail) for e in one.circuit.elements)
            groups.setdefault(shape, []).append(index)
        return [tuple(group) for group in groups.values()]

    def acts(self, factor: Factor, alone: bool = False) -> bool:
        """Return whether a factor can move an onset: not what only audio passes through, nor another band.

        alone: neither what acts by the current of the audio part alone.
        """
        if factor.band and factor.band not in [band.name for band in self.bands]:
            return False
        one = self.maps[0]
        touched = [n for n, rules in one.follows.items() if any(r.factor == factor.name for r in rules)]
        audio = {e.name for b in one.circuit.blocks if b.part_of == "audio" for e in b.elements}
        if alone and factor.key.startswith(("audio", "phones")):
            return False
        if alone and factor.kind == PRINT and factor.part != self.cards.detector.type:
            return False
        if alone and touched and all(name in audio for name in touched):
            return False
        return not touched or any(name not in audio or name[0] not in "clk" for name in touched)

    @property
    def key(self) -> str:
        """Digest of what the figures depend on."""
        said = [self.build.sha256, repr(self.build), repr(self.factors), repr(self.starts), str(self.seed)]
        said += [b.name for b in self.bands]
        said += [card.sha256 for card in self.cards.all()]
        return hashlib.sha256("\n".join(said).encode()).hexdigest()


def plan_sets(
    build: Build,
    cards: Cards,
    factors: Sequence[Factor],
    *,
    bands: Sequence[Band],
    starts: Sequence[Start],
    seed: int,
    rest: Mapping[str, float] | None = None,
) -> SetPlan:
    """Return the plan of the sets; build: settled; starts: of the bands in their order.

    rest: volts of all nodes of the build as stated, where Newton's method is to begin in a set; None: where
    the templates say.
    """
    maps: list[ElementMap] = []
    for band in bands:
        one = element_map(build, cards, factors, band=band, known=maps[0] if maps else None)
        maps.append(_bare(one, rest or {}))
    return SetPlan(build, cards, tuple(factors), tuple(bands), tuple(maps), tuple(starts), seed)


def _bare(one: ElementMap, rest: Mapping[str, float]) -> ElementMap:
    """Return a map whose circuit holds no functions, so that it can travel to another process, and starts
    from some volts, those inside its laws ('xdet.u') among them.
    """
    circuit = one.circuit
    blocks = tuple(dataclasses.replace(block, dial=None) for block in circuit.blocks)
    start = {n: v for n, v in rest.items() if n in circuit.nodes or n.partition(".")[0] in circuit}
    return dataclasses.replace(
        one, circuit=dataclasses.replace(circuit, blocks=blocks, start={**circuit.start, **start})
    )


# ---------------------------------------------------------------------------- draws


def draws(factors: Sequence[Factor], *, seed: int, start: int, stop: int) -> npt.NDArray[np.float64]:
    """Return the even draws (0..1) of the sets from `start` up to `stop`: a row a set, a column a factor.

    Counter-based (Philox: Salmon and others 2011): a figure depends on the seed, the factor's name and the
    number of the set alone, so that a factor that is added or measured leaves the others as they were.
    """
    columns = []
    for factor in factors:
        name = int.from_bytes(hashlib.sha256(factor.name.encode()).digest()[:8], "little")
        key = np.array([seed & (2**64 - 1), name], dtype=np.uint64)
        columns.append(np.random.Generator(np.random.Philox(key=key)).random(stop)[start:])
    found: npt.NDArray[np.float64] = np.array(columns).reshape(len(factors), stop - start).T
    return found


def moved_by(factors: Sequence[Factor], row: Sequence[float]) -> dict[str, float]:
    """Return the deviations by name of factor for a row of even draws."""
    return {factor.name: factor.deviation(float(u)) for factor, u in zip(factors, row, strict=True)}


def laws_of(plan: SetPlan, by: Mapping[str, float]) -> tuple[Law, ...]:
    """Return the laws of the tubes of one set, in the order of the circuit's."""
    circuit = plan.maps[0].circuit
    keys = {socket: key for key, socket in SOCKETS.items()}
    made = {law.name: law for law in circuit.laws}
    for name, socket in circuit.sockets.items():
        if name not in keys:  # a stage whose tube is not varied
            continue
        card, key = plan.cards.of(name), keys[name]
        called = circuit[socket.tube].tail
        stage = value_at(plan.build, key)
        tied = card.kind != "triode" and getattr(stage, "connection", "own") == "triode"
        law = drawn_tube(card, f"{key}.tube", by)
        made[called] = law_subcircuit(law, called, triode_connected=tied)
    return tuple(made[law.name] for law in circuit.laws)


def set_circuit(one: ElementMap, laws: tuple[Law, ...], by: Mapping[str, float]) -> Circuit:
    """Return the circuit of a set on a band, the control half way."""
    values = {**one.moved(by), **one.turned(0.5, by)}
    models = tuple(
        dataclasses.replace(
            model,
            parameters={n: values.get(f"{model.name}:{n}", v) for n, v in model.parameters.items()},
        )
        for model in one.circuit.models
    )
    elements = {name: value for name, value in values.items() if ":" not in name}
    return dataclasses.replace(one.circuit.replace(elements), laws=laws, models=models)
