"""Values of a circuit's elements for one set after another, without assembling the circuit again.

How an element follows each factor is learned once from circuits of builds in which that factor alone is
moved: a power of it, or, where it is none, a polynomial through the logarithms of five values. Factors act
on a value one after the other, which is exact for products of powers and good to some 1e-4 for the rest
(sections of a coil under a moved tap and a moved coupling at once).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.control import Control
from receiver_sim.circuit.factors import PRINT, Factor, drawn
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Role
from receiver_sim.schema import Band, Build

_REACH = 1.6
"""Bells run beyond their limits, so the polynomial goes through deviations out to so many of them."""

_SMALL = 1e-9

_ALL = 1e-12 - 1.0
"""A deviation that takes all of a value leaves so much of it: its logarithm is a number."""


@dataclass(frozen=True)
class Follows:
    """How an element follows a factor: value times (1 + d)**power, or times exp(polynomial of d)."""

    factor: str
    power: float = 0.0
    polynomial: tuple[float, ...] = ()

    def log_ratio(self, by: float) -> float:
        """Return the logarithm of what the value is multiplied by for a deviation."""
        if not self.polynomial:
            return self.power * math.log1p(by)
        total = 0.0
        for one in reversed(self.polynomial):
            total = total * by + one
        return total * by


_Arrays = tuple[
    list[str], list[str], npt.NDArray[np.float64], npt.NDArray[np.float64], list[tuple[int, Follows]]
]


@dataclass(frozen=True)
class ElementMap:
    """A circuit and how its values follow the factors.

    values: of elements and of model parameters ('model:parameter') by name; follows: by the same names.
    pot, ends: names of the factors of the control's track, and by element those of the ends of its track;
    swing: name of the factor of the largest capacitance of a control that is a capacitor.
    """

    circuit: Circuit
    values: Mapping[str, float]
    follows: Mapping[str, tuple[Follows, ...]]
    pot: str = "regeneration.pot"
    swing: str = "regeneration.maximum"
    ends: Mapping[str, str] = field(default_factory=dict)
    track: float = 0.0

    def moved(self, by: Mapping[str, float]) -> dict[str, float]:
        """Return the values that differ from those of the build as stated; by: deviations by factor."""
        names, factors, stated, powers, bent = self._in_arrays
        deviations = np.array([max(by.get(factor, 0.0), _ALL) for factor in factors])
        # not as a matrix product, whose order of adding is the library's affair: same bits in every process
        logs = (powers * np.log1p(deviations)).sum(axis=1)
        for row, rule in bent:
            if off := by.get(rule.factor, 0.0):
                logs[row] += rule.log_ratio(off)
        out = dict(zip(names, (stated * np.exp(logs)).tolist(), strict=True))
        for name, end in self.ends.items():
            added = by.get(end, 0.0) * self.track * (1.0 + by.get(self.pot, 0.0))
            if added:
                out[name] = out.get(name, self.values[name]) + added
        return out

    @cached_property
    def _in_arrays(self) -> _Arrays:
        """Names, factors, stated values, power of each value (row) with each factor (column), other rules."""
        names = list(self.follows)
        factors = list(dict.fromkeys(rule.factor for rules in self.follows.values() for rule in rules))
        powers = np.zeros((len(names), len(factors)))
        bent = []
        for row, name in enumerate(names):
            for rule in self.follows[name]:
                if rule.polynomial:
                    bent.append((row, rule))
                else:
                    powers[row, factors.index(rule.factor)] += rule.power
        return names, factors, np.array([self.values[name] for name in names]), powers, bent

    def turned(self, share: float, by: Mapping[str, float]) -> dict[str, float]:
        """Return the values of what follows the knob, at a share of its travel, with the track's own."""
        control: Control = self.circuit.control
        scale = 1.0 + by.get(self.pot, 0.0)
        largest = 1.0 + by.get(self.swing, 0.0)
        return {name: value * scale for name, value in control.at_share(share, largest=largest).items()}


def values_of(circuit: Circuit) -> dict[str, float]:
    """Return the values of all elements and the parameters of all models of a circuit."""
    found = {e.name: e.value for e in circuit.elements if e.value is not None}
    for model in circuit.models:
        found |= {f"{model.name}:{name}": value for name, value in model.parameters.items()}
    return found


def element_map(
    build: Build,
    cards: Cards,
    factors: Sequence[Factor],
    *,
    band: Band,
    rotation: float = 0.5,
    known: ElementMap | None = None,
) -> ElementMap:
    """Return the map of the receiver on a band, tuned to the middle of it.

    known: that of another band, whose rules hold here where they are powers or the value is the same.
    """
    dial = band.middle_hz

    def circuit_of(moved: Mapping[str, float]) -> Circuit:
        other, tubes = drawn(build, cards, factors, moved) if moved else (build, cards)
        index = build.bands.index(band)
        return receiver_circuit(other, tubes, band=other.bands[index], dial_hz=dial, rotation=rotation)

    circuit = circuit_of({})
    base = values_of(circuit)
    # a study tunes, and turns the knob
    skipped = {circuit.part(Role.TUNING), *circuit.control.at(rotation)}
    learned = {name: value for name, value in base.items() if name not in skipped}
    own = f"bands[{build.bands.index(band)}]."
    follows: dict[str, list[Follows]] = {}
    for factor in factors:
        elsewhere = factor.key.startswith("bands[") and not factor.key.startswith(own)
        if factor.kind == PRINT or elsewhere or _of_law(factor):
            continue
        rules = None if known is None or factor.band else _as_known(factor, known, base)
        for name, rule in (_learned(factor, learned, circuit_of) if rules is None else rules).items():
            follows.setdefault(name, []).append(rule)
    keys = {e.about.key: e.name for e in circuit.elements if e.about.key in _ENDS}
    ends = {
        keys[key]: name for key, name in _ENDS.items() if key in keys and name in {f.name for f in factors}
    }
    track = float(build.regeneration.pot or 0.0)
    return ElementMap(
        circuit, base, {n: tuple(rules) for n, rules in follows.items()}, ends=ends, track=track
    )


_ENDS = {f"regeneration.{end}": f"regeneration.pot#{end}" for end in ("top", "bottom")}


def _as_known(factor: Factor, known: ElementMap, base: Mapping[str, float]) -> dict[str, Follows] | None:
    """Return the rules of a factor from the map of another band, None if they may not hold on this one."""
    found = {
        name: rule for name, rules in known.follows.items() for rule in rules if rule.factor == factor.name
    }
    same = base.keys() == known.values.keys()
    holds = all(not rule.polynomial or base.get(n) == known.values[n] for n, rule in found.items())
    return found if same and holds else None


def _of_law(factor: Factor) -> bool:
    """Return whether a factor acts on a tube's law, which is no element, or on the ends of the track."""
    what = factor.name.partition("#")[2]
    return bool(what) and what not in ("capacitances", "input loading")


def _learned(
    factor: Factor, base: Mapping[str, float], circuit_of: Callable[[Mapping[str, float]], Circuit]
) -> dict[str, Follows]:
    """Return how the values follow one factor, by name, those that do."""
    reach = 1.0 if factor.shape == "even" else _REACH
    low = max(factor.low * reach, -0.95)
    steps = [low, 0.5 * low, 0.5 * factor.high * reach, factor.high * reach]
    steps = [step for step in steps if abs(step) > _SMALL]
    first = _logs(base, values_of(circuit_of({factor.name: steps[-1]})))
    powers = {name: change / math.log1p(steps[-1]) for name, change in first.items()}
    if all(abs(2.0 * power - round(2.0 * power)) < _SMALL for power in powers.values()):
        return {name: Follows(factor.name, power=round(2.0 * power) / 2.0) for name, power in powers.items()}
    rest = [_logs(base, values_of(circuit_of({factor.name: step}))) for step in steps[:-1]]
    out = {}
    for name in first:
        changes = np.array([*(one.get(name, 0.0) for one in rest), first[name]])
        # through the origin: ln(ratio)/d is a polynomial of one degree less
        d = np.array(steps)
        fitted = np.polynomial.polynomial.polyfit(d, changes / d, len(steps) - 1)
        out[name] = Follows(factor.name, polynomial=tuple(float(c) for c in fitted))
    return out


def _logs(base: Mapping[str, float], other: Mapping[str, float]) -> dict[str, float]:
    """Return the logarithm of new over old of the values that differ; both have one sign."""
    return {
        name: math.log(other[name] / value)
        for name, value in base.items()
        if value and other[name] and abs(other[name] / value - 1.0) > 1e-12
    }
