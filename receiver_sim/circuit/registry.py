"""The forms that blocks come in. A form is a template, its description and a function that fills it,
registered here.

    @form("load", "resistor")
    def resistor(site: Site) -> Sequence[Block]: ...

Which form a build has is said by the build itself (`assemble`); a form that registers need not be known to
anything else.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from receiver_sim.circuit import templates
from receiver_sim.circuit.circuit import Block, Socket, socket_of
from receiver_sim.circuit.control import Control
from receiver_sim.data import folder as data_folder
from receiver_sim.schema import Band, Build
from receiver_sim.schema.card import TubeCard


@dataclass(frozen=True)
class Cards:
    """The cards of the tubes in the sockets of a build."""

    detector: TubeCard
    audio: TubeCard | None = None
    first: TubeCard | None = None
    rf: TubeCard | None = None

    def all(self) -> tuple[TubeCard, ...]:
        """Return the cards of all tubes."""
        return tuple(c for c in (self.rf, self.detector, self.audio, self.first) if c is not None)

    def of(self, socket: str) -> TubeCard:
        """Return the card of the tube in a socket, by the socket's name in a circuit. Raises KeyError."""
        cards = {
            "r.f.": self.rf,
            "detector": self.detector,
            "first audio": self.first,
            "audio": self.audio,
        }
        card = cards[socket]
        if card is None:
            raise KeyError(f"no tube in the socket of the {socket}")
        return card


@dataclass(frozen=True)
class Site:
    """What the blocks of one receiver are filled from.

    rotation: of the regeneration control, 0..1; regulator_lit: False for a gas regulator that has not struck.
    """

    build: Build
    cards: Cards
    band: Band
    dial_hz: float
    rotation: float
    regulator_lit: bool = True

    @property
    def band_index(self) -> str:
        """Number of the band in the build, as its keys count it; '' for a band of a study's own."""
        return next((str(i) for i, one in enumerate(self.build.bands) if one.name == self.band.name), "")


Maker = Callable[[Site], Sequence[Block]]

_FORMS: dict[tuple[str, str], Maker] = {}


def form(block: str, name: str) -> Callable[[Maker], Maker]:
    """Return a decorator that registers a function as the maker of a form of a block."""

    def register(maker: Maker) -> Maker:
        _FORMS[block, name] = maker
        return maker

    return register


def forms(block: str) -> tuple[str, ...]:
    """Return the names of the forms of a block."""
    return tuple(name for of, name in _FORMS if of == block)


def make(block: str, name: str, site: Site) -> Sequence[Block]:
    """Return a block in one of its forms. Raises KeyError that lists the forms there are."""
    try:
        maker = _FORMS[block, name]
    except KeyError:
        raise KeyError(f"no form '{name}' of the {block}; there are: {', '.join(forms(block))}") from None
    return maker(site)


def filled(
    template: str,
    values: Mapping[str, Any],
    *,
    says: Mapping[str, str] | None = None,
    folder: Path | None = None,
    meters: Mapping[str, Mapping[str, str]] | None = None,
    control: Control | None = None,
    **declared: Any,
) -> Block:
    """Return the block that a template makes with `values`, declared as the description beside it says.

    says: words the description leaves open; meters: by socket, further elements that carry a pin's current;
    declared: what the block declares besides (laws, outputs, dial).
    """
    one = templates.fill(folder or data_folder("netlists"), template, values, says=says)
    said = one.description
    sockets: dict[str, Socket] = {
        name: socket_of(name, pins, meters=(meters or {}).get(name)) for name, pins in said.sockets.items()
    }
    return Block(
        name=said.block,
        elements=one.elements,
        part_of=said.part_of,
        models=one.models,
        start=one.start,
        places=said.places,
        roles=said.roles,
        sockets=sockets,
        meter=said.meter,
        control=control,
        **declared,
    )


__all__ = ["Cards", "Maker", "Site", "filled", "form", "forms", "make"]
