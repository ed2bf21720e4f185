"""One element of a circuit, what is known of it, and the laws and models that elements call by name."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from typing import NamedTuple

GROUND = "0"
_VOLTS = re.compile(r"\bV\(([a-z0-9_.]+)(?:,([a-z0-9_.]+))?\)", re.IGNORECASE)


class Nature(str, Enum):
    """What an element is to the one who builds the set."""

    PART = "part"
    """It is bought, wound or wired on purpose."""
    STRAY = "stray"
    """It comes with wiring or with a part, wanted or not."""
    MODEL = "model"
    """The inside of a model: a tube's law, a fitted network, a tube's capacitances."""
    BENCH = "bench"
    """A source or meter of the virtual bench, at rest unless a study uses it."""


class AtAudio(str, Enum):
    """What becomes of an element where only d.c. and audio are looked at."""

    KEEP = "keep"
    DROP = "drop"
    """It does nothing there, or only hangs on what is a short there."""
    SHORT = "short"
    """An inductor of the r.f. circuit, or a source at rest: both its nodes are one."""
    BRIDGE = "bridge"
    """A winding that is no inductance there: capacitors to ground move from its second node to its first."""


@dataclass(frozen=True)
class About:
    """What a description says of an element.

    word: what the trade calls it; key: of the build, that its value stands under (None: it has none of its
    own); tolerance: class of its spread, None if it has none; left_out: views it does not stand in.
    """

    word: str
    nature: Nature
    key: str | None = None
    tolerance: str | None = None
    at_audio: AtAudio = AtAudio.KEEP
    left_out: tuple[str, ...] = ()
    block: str = ""


UNKNOWN = About(word="element of a study", nature=Nature.BENCH, block="study")
"""For elements that a study adds."""


class Element(NamedTuple):
    """One element.

    name: lower case, its first letter the kind as ngspice has it. nodes: in ngspice's order. value: ohm,
    farad, henry, coupling, gain, or the d.c. of a source; None where it has none. tail: what else stands on
    its line: the rest of a source, an expression, the law or model that is called. links: elements it names
    (the coils of a coupling, the source that controls it). note: comment lines ahead of it in its template.
    """

    name: str
    nodes: tuple[str, ...]
    value: float | None = None
    tail: str = ""
    links: tuple[str, ...] = ()
    about: About = UNKNOWN
    note: str = ""

    @property
    def kind(self) -> str:
        """The letter that says what it is."""
        return self.name[0]

    @property
    def looks_at(self) -> tuple[str, ...]:
        """Nodes whose volts its expression takes, besides its own."""
        if self.kind != "b":
            return ()
        return tuple(node for pair in _VOLTS.findall(self.tail) for node in pair if node)

    def on(self, new: Mapping[str, str]) -> Element:
        """Return the element with its nodes renamed, in its expression too."""
        if self.kind == "b" and any(node in new for node in self.looks_at):

            def renamed(match: re.Match[str]) -> str:
                inside = ",".join(new.get(node, node) for node in match.groups() if node)
                return f"V({inside})"

            element = self._replace(tail=_VOLTS.sub(renamed, self.tail))
        else:
            element = self
        if any(node in new for node in self.nodes):
            return element._replace(nodes=tuple(new.get(node, node) for node in self.nodes))
        return element


@dataclass(frozen=True)
class Law:
    """A tube's law as a subcircuit: its name, its pins in order, the text of its inside.

    stores: whether it holds a capacitor or an inductor; samples: of the carrier's cycle, 0 for the law
    itself.
    """

    name: str
    pins: tuple[str, ...]
    text: str = field(repr=False)
    stores: bool = False
    samples: int = 0


@dataclass(frozen=True)
class Model:
    """A model of ngspice's own with its parameters, such as a diode's."""

    name: str
    kind: str
    parameters: Mapping[str, float]


def current_source(name: str, into: str, *, out_of: str = GROUND) -> Element:
    """Return a current source at rest, for a study to drive current from `out_of` through it `into` a
    node.
    """
    return Element(name, (out_of, into), 0.0, "ac 0")
