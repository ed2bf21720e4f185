"""Cards of vacuum rectifiers: one YAML file a type in `models/rectifiers`, with the drop its sheet prints.

A card is data from outside like a build: every fault is reported with its place.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from receiver_sim.data import folder
from receiver_sim.errors import UnknownName
from receiver_sim.schema import parts as p
from receiver_sim.schema.card import CardFaults, Date, Flag, Heater, Part, Pin, Text, TypeName
from receiver_sim.schema.faults import nearest
from receiver_sim.schema.located_yaml import read_located
from receiver_sim.schema.tube_names import type_of
from receiver_sim.schema.validated import validated


class Maxima(Part):
    """What each plate stands: peak inverse volts (V), peak current (A); d.c. (A) of the whole rectifier."""

    peak_inverse: p.PeakVolts
    peak_current: p.RegulatorCurrent
    current: p.RegulatorCurrent
    source: Text
    flag: Flag


class Drop(Part):
    """Volts across a plate (V) at a current in that plate (A), as printed."""

    drop: p.DiodeDrop
    current: p.RegulatorCurrent
    source: Text
    flag: Flag


class WarmUp(Part):
    """How long the cathode takes to warm up, s."""

    time: p.WarmUp
    source: Text
    flag: Flag


class RectifierCard(Part):
    """One type of rectifier; `plates` count those with a lead of their own, the first drop is used."""

    receiver_sim_card: Literal[1]
    type: TypeName
    kind: Literal["rectifier"]
    title: Text
    date: Date
    plates: int = Field(ge=1, le=2)
    heater: Heater
    base: Text
    pins: dict[Annotated[str, Field(pattern=r"^([1-9]|cap)$")], Pin]
    pins_flag: Flag
    ratings: Maxima
    drops: tuple[Drop, ...] = Field(min_length=1)
    warm_up: WarmUp


def rectifier_types() -> list[str]:
    """Return the types of rectifiers whose cards are shipped, sorted."""
    return sorted(path.stem for path in (folder("models") / "rectifiers").glob("*.yaml"))


def load_rectifier(path: str | Path) -> RectifierCard:
    """Read and check the card at `path`. Raises CardFaults with every fault found."""
    located = read_located(path, faults=CardFaults, what="a rectifier card")
    return validated(RectifierCard, located, faults=CardFaults, like="a shipped card")


@cache
def rectifier_for(name: str) -> RectifierCard:
    """Return the shipped card of a rectifier, by any of its names.

    Raises UnknownName that names the nearest type if there is none.
    """
    known = rectifier_types()
    if type_of(name) not in known:
        near = nearest(name, known)
        hint = f"; nearest is '{near}'" if near else ""
        raise UnknownName(f"no card for rectifier '{name}'{hint}; types: {', '.join(known)}")
    return load_rectifier(folder("models") / "rectifiers" / f"{type_of(name)}.yaml")


def figures(name: str) -> dict[str, float]:
    """Return what a type fills in of `supply.rectifier`, SI; {} for a type without a card."""
    if type_of(name) not in rectifier_types():
        return {}
    card = rectifier_for(name)
    return {
        "drop": card.drops[0].drop,
        "current": card.drops[0].current,
        "warm_up": card.warm_up.time,
        "peak_inverse": card.ratings.peak_inverse,
        "peak_current": card.ratings.peak_current,
        "output_current": card.ratings.current,
    }


__all__ = ["RectifierCard", "figures", "load_rectifier", "rectifier_for", "rectifier_types"]
