"""One set of a build whose parts and tubes lie off their printed values: the build and the cards of it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.designators import parts_of
from receiver_sim.circuit.registry import Cards
from receiver_sim.schema import Build
from receiver_sim.schema.card import TubeCard

_STEP = re.compile(r"[A-Za-z_]+|[0-9]+")


@dataclass(frozen=True)
class Moving:
    """One thing that may lie off. name: a key of the build, or 'detector emission' and its like; word: what
    the trade calls it; deviation: one standard deviation, relative, of a contact potential in volts.
    """

    name: str
    word: str
    deviation: float
    unit: str = "1"


SPREAD: Mapping[str, float] = {"resistor": 0.058, "pot": 0.115}
"""Standard deviations of parts of 10 and 20 % spread evenly (common practice, no source)."""

SUPPLY, REGULATOR, COIL_Q = 0.03, 0.025, 0.1
EMISSION, CONTACT_V = 0.12, 0.08
"""Of the mains, of regulators of 5 %, of coils as wound, and of new tubes (common practice, no source)."""

_SOCKETS = {"detector": "detector", "audio": "audio", "first audio": "first"}


def moving(circuit: Circuit, build: Build) -> tuple[Moving, ...]:
    """Return what may lie off in a set: resistors that carry d.c., supply, regulator, tubes, coils."""
    out = []
    for part in parts_of(circuit):
        element = circuit[part.elements[0]]
        share = SPREAD.get(element.about.tolerance or "")
        if element.kind == "r" and share is not None and isinstance(value_at(build, part.key), float):
            out.append(Moving(part.key, f"{part.designator} {part.word}", share))
    out.append(Moving("supply.volts", "plate supply", SUPPLY))
    if build.regulator is not None:
        out.append(Moving("regulator.volts", "regulator", REGULATOR))
    for name in circuit.sockets:
        out.append(Moving(f"{name} emission", f"emission of the {name} tube", EMISSION))
        out.append(Moving(f"{name} contact", f"contact potential of the {name} tube", CONTACT_V, "V"))
    for number, band in enumerate(build.bands):
        out.append(Moving(f"bands[{number}].coil.q", f"Q of the coil, {band.name}", COIL_Q))
    return tuple(out)


def value_at(build: Any, key: str) -> Any:
    """Return what stands at a key path of a build, None if it leads nowhere."""
    found = build
    for step in _STEP.findall(key):
        try:
            found = found[int(step)] if step.isdigit() else getattr(found, step)
        except (AttributeError, IndexError, TypeError):
            return None
    return found


def moved(build: Build, cards: Cards, what: Sequence[Moving], by: Sequence[float]) -> tuple[Build, Cards]:
    """Return the build and the cards of a set; by: the deviation of each, relative or in volts."""
    for one, deviation in zip(what, by, strict=True):
        socket, _, quantity = one.name.rpartition(" ")
        if socket in _SOCKETS:
            field = _SOCKETS[socket]
            cards = replace(cards, **{field: _tube(getattr(cards, field), quantity, deviation)})
        else:
            build = _put(build, _STEP.findall(one.name), 1.0 + deviation)
    return build, cards


def _put(part: Any, steps: Sequence[str], factor: float) -> Any:
    if not steps:
        return float(part) * factor
    step, rest = steps[0], steps[1:]
    if isinstance(part, tuple):
        return tuple(_put(v, rest, factor) if i == int(step) else v for i, v in enumerate(part))
    return part.model_copy(update={step: _put(getattr(part, step), rest, factor)})


def _tube(card: TubeCard, quantity: str, deviation: float) -> TubeCard:
    assert card.fit is not None
    name = {"emission": "perveance", "contact": "contact"}[quantity]
    old = card.fit.parameters[name]
    value = old.value * (1.0 + deviation) if quantity == "emission" else old.value + deviation
    parameters = {**card.fit.parameters, name: old.model_copy(update={"value": value})}
    return card.model_copy(update={"fit": card.fit.model_copy(update={"parameters": parameters})})


__all__ = ["Moving", "moved", "moving", "value_at"]
