"""How do readings in volts spread from set to set? One factor at a time a deviation off, in ngspice.

What differs from set to set, and how far, is `circuit.factors`; here stands how a loaded deck follows it: by
`alter` where elements carry it, by a deck of its own where it is inside a tube's law or the regulator.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.element_map import ElementMap
from receiver_sim.circuit.factors import PRINT, Factor
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.sets import SetPlan, laws_of
from receiver_sim.studies.spread import one_deviation

FloatArray = npt.NDArray[np.float64]

_CARRIES_DC = "rvi"
"""Kinds of elements that an operating point depends on, besides tubes and diodes."""


@dataclass(frozen=True)
class Shift:
    """One factor a standard deviation off its middle.

    number: of the factor in the plan; by: its deviation; sense: 1 above, -1 where only below is possible;
    ratios: of the values of elements to those as stated, None for what needs a deck of its own.
    """

    number: int
    by: Mapping[str, float]
    sense: float
    ratios: Mapping[str, float] | None


def shifts_of(plan: SetPlan, one: ElementMap, rotation: float) -> tuple[Shift, ...]:
    """Return what moves volts at the pins, of the plan's factors, on the band of a map."""
    found = []
    for number, factor in enumerate(plan.factors):
        above, below = one_deviation(factor)
        by, sense = ({factor.name: above}, 1.0) if above else ({factor.name: below}, -1.0)
        if not (above or below):
            continue
        if _inside(factor, one):
            found.append(Shift(number, by, sense, None))
            continue
        moved = one.moved(by)
        ratios = {
            name: value / one.values[name]
            for name, value in moved.items()
            if one.values[name] and value != one.values[name] and one.circuit[name].kind in _CARRIES_DC
        }
        if factor.name == one.pot:
            share = one.circuit.control.share(rotation)
            at = one.circuit.control.at_share(share)
            ratios |= {n: v / at[n] for n, v in one.turned(share, by).items() if at[n]}
        if ratios:
            found.append(Shift(number, by, sense, ratios))
    return tuple(found)


def _inside(factor: Factor, one: ElementMap) -> bool:
    """Return whether a factor acts within a law or a model, which a loaded deck can't follow."""
    what = factor.name.partition("#")[2]
    if factor.kind == PRINT or (what and factor.key.endswith(".tube")):
        return what not in ("capacitances", "input loading")
    rules = (name for name, follows in one.follows.items() if any(f.factor == factor.name for f in follows))
    return any(":" in name for name in rules)


def made_with(circuit: Circuit, plan: SetPlan, one: ElementMap, cards: Cards, shift: Shift) -> Circuit:
    """Return a circuit with a factor in its laws and models; cards: those that it was made with."""
    moved = one.moved(shift.by)
    models = tuple(
        replace(m, parameters={n: moved.get(f"{m.name}:{n}", v) for n, v in m.parameters.items()})
        for m in circuit.models
    )
    known = {law.name for law in circuit.laws}
    laws = tuple(law for law in laws_of(replace(plan, cards=cards), shift.by) if law.name in known)
    return replace(circuit, laws=laws, models=models)


def middles(factors: Sequence[Factor]) -> FloatArray:
    """Return where the middle of each factor's spread lies from the value as stated, in its deviations."""
    out = []
    for factor in factors:
        middle = 0.5 * (factor.low + factor.high) if factor.shape == "even" else 0.0
        width = (factor.high - factor.low) / 12.0**0.5
        out.append(middle / width if width else 0.0)
    return np.array(out, dtype=np.float64)


__all__ = ["Shift", "made_with", "middles", "shifts_of"]
