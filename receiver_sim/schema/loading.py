"""Reading a build file, and writing the starter build."""

from __future__ import annotations

from collections.abc import Callable, Collection
from pathlib import Path

from receiver_sim.data import folder
from receiver_sim.schema.build import Build
from receiver_sim.schema.checks import CHECKS, known_types, warnings_of
from receiver_sim.schema.faults import BuildFaults
from receiver_sim.schema.located_yaml import Located, locate, read_located
from receiver_sim.schema.validated import validated

KnownTubes = Callable[[], Collection[str]]
_STARTER = Path(__file__).with_name("starter.yaml")


def shipped_tubes() -> list[str]:
    """Return the types of the tube cards of this installation."""
    return sorted(card.stem for card in folder("models").glob("*.yaml"))


def load_build(path: str | Path, *, known_tubes: KnownTubes = shipped_tubes) -> Build:
    """Return the build in the YAML file at `path`, checked, in SI, with `.path`, `.sha256` and `.warnings`.

    `known_tubes` names the tubes that have a card. Raises BuildFaults with every fault of the file.
    """
    build = _build(read_located(path, faults=BuildFaults), known_tubes)
    build._path = Path(path)
    return build


def load_build_text(
    text: str | bytes, name: str = "text", *, known_tubes: KnownTubes = shipped_tubes
) -> Build:
    """Return the build in `text` as `load_build` does; `name` stands for the file in messages."""
    raw = text.encode("utf-8", "surrogatepass") if isinstance(text, str) else text
    return _build(locate(raw, name, faults=BuildFaults), known_tubes)


def _build(located: Located, known_tubes: KnownTubes) -> Build:
    build = validated(Build, located, checks=(*CHECKS, known_types(known_tubes)), faults=BuildFaults)
    if build.supply.ripple_frequency is None:  # a default that depends on another key
        supply = build.supply.model_copy(update={"ripple_frequency": 2.0 * build.mains.frequency})
        build = build.model_copy(update={"supply": supply})
    build._sha256 = located.sha256
    build._warnings = warnings_of(build)
    return build


def write_starter(path: str | Path) -> Path:
    """Write the commented starter build to `path` and return it.

    Raises FileExistsError if something is there already, OSError if it cannot be written.
    """
    place = Path(path)
    with place.open("x", encoding="utf-8", newline="\n") as stream:  # "x": never overwrites
        stream.write(_STARTER.read_text(encoding="utf-8"))
    return place
