"""The description beside a template (`netlists/*.yaml`): what its elements and nodes are to trade and
studies.

Keys: `block`, `part_of` (audio: left out where only the detector is looked at), `elements` (name: word,
nature, build key, tolerance class, what becomes of it at audio), `ports`, `places` and `roles` (see
`roles`), `sockets`, `meter` (node: what the constructor calls it), `control`. In an element's name `*`
stands for a number; `*` in its key for the same number and `#` for one less; `{word}` is what the block that
fills the template says.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache, cached_property
from pathlib import Path
from typing import Any

import yaml

from receiver_sim.circuit.element import About, AtAudio, Nature
from receiver_sim.circuit.roles import Place, Role

_LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_KEYS = frozenset(
    ("block", "form", "part_of", "elements", "ports", "places", "roles", "sockets", "meter", "control")
)
_ABOUT = frozenset(("is", "nature", "key", "tolerance", "at_audio", "left_out"))


class DescriptionFault(Exception):  # noqa: N818 - the project's word for what is wrong with data
    """A description and its template do not fit: a fault of this program, not of a build."""


@dataclass(frozen=True)
class Description:
    """A description, its open words filled in; `data` as it stands in the file."""

    name: str
    data: Mapping[str, Any] = field(repr=False)

    @property
    def block(self) -> str:
        """The block that the template is a form (or a piece) of."""
        return str(self.data["block"])

    @property
    def part_of(self) -> str:
        """The part of the receiver that the block belongs to."""
        return str(self.data.get("part_of", "receiver"))

    @cached_property
    def places(self) -> dict[Place, str]:
        """Nodes by their role."""
        return {Place(role): str(node) for role, node in self.data.get("places", {}).items()}

    @cached_property
    def roles(self) -> dict[Role, str]:
        """Elements by their role."""
        return {Role(role): str(name) for role, name in self.data.get("roles", {}).items()}

    @cached_property
    def meter(self) -> dict[str, str]:
        """Nodes a meter is put on, and what the constructor calls them."""
        return {str(node): str(word) for node, word in self.data.get("meter", {}).items()}

    @property
    def sockets(self) -> Mapping[str, Any]:
        """Sockets by name, as they stand in the file."""
        return dict(self.data.get("sockets", {}))

    @property
    def control(self) -> Mapping[str, Any] | None:
        """The control, as it stands in the file."""
        found: Mapping[str, Any] | None = self.data.get("control")
        return found

    @cached_property
    def _patterns(self) -> tuple[tuple[re.Pattern[str], Mapping[str, Any]], ...]:
        out = []
        for name, about in self.data.get("elements", {}).items():
            pattern = "([0-9]+)".join(re.escape(part) for part in str(name).split("*"))
            out.append((re.compile(pattern), about))
        return tuple(out)

    def about(self, element: str) -> About:
        """Return what is known of an element. Raises DescriptionFault if it is not described."""
        for pattern, said in self._patterns:
            match = pattern.fullmatch(element)
            if match:
                return self._about(said, match.groups())
        raise DescriptionFault(f"{self.name}.yaml does not describe the element {element}")

    def _about(self, said: Mapping[str, Any], numbers: tuple[str, ...]) -> About:
        unknown = said.keys() - _ABOUT
        if unknown:
            raise DescriptionFault(f"{self.name}.yaml: unknown keys {sorted(unknown)}")
        key = said.get("key")
        for number in numbers:
            if key is not None:
                key = key.replace("*", number, 1) if "*" in key else key.replace("#", str(int(number) - 1), 1)
        return About(
            word=str(said["is"]),
            nature=Nature(said["nature"]),
            key=key,
            tolerance=said.get("tolerance"),
            at_audio=AtAudio(said.get("at_audio", "keep")),
            left_out=tuple(said.get("left_out", ())),
            block=self.block,
        )


@cache
def _read(folder: Path, name: str) -> str:
    path = folder / f"{name}.yaml"
    if not path.exists():
        raise DescriptionFault(f"the template {name}.cir has no description beside it")
    return path.read_text(encoding="utf-8")


@cache
def described(folder: Path, name: str, says: tuple[tuple[str, str], ...] = ()) -> Description:
    """Return the description of a template, with `says` in place of its open words.

    Raises DescriptionFault where there is none or it has a key that no one knows.
    """
    text = _read(folder, name)
    for word, meant in says:
        text = text.replace("{" + word + "}", meant)
    data = yaml.load(text, Loader=_LOADER)
    unknown = data.keys() - _KEYS
    if unknown:
        raise DescriptionFault(f"{name}.yaml: unknown keys {sorted(unknown)}")
    return Description(name, data)
