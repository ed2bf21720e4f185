"""Reading a build file, changing values of a build, and writing the starter build."""

from __future__ import annotations

import copy
import hashlib
import re
from collections.abc import Callable, Collection, Iterator, Mapping
from pathlib import Path
from typing import Any

from receiver_sim import outputs
from receiver_sim.data import folder
from receiver_sim.physics.checks import OutsideFormula
from receiver_sim.schema.build import Build
from receiver_sim.schema.checks import CHECKS, known_types, warnings_of
from receiver_sim.schema.coil_figures import filled_in
from receiver_sim.schema.faults import BuildFaults, Fault, KeyPath, dotted
from receiver_sim.schema.implied import filled
from receiver_sim.schema.located_yaml import Located, locate, located_text, read_located
from receiver_sim.schema.validated import validated

KnownTubes = Callable[[], Collection[str]]
_STARTER = Path(__file__).with_name("starter.yaml")
_STEP = re.compile(r"([A-Za-z_][A-Za-z0-9_]*)|\[([0-9]{1,4})\]")
_CHECK = "check the key path"


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
    if isinstance(text, str):
        return _build(located_text(text, name, BuildFaults), known_tubes)
    return _build(locate(text, name, faults=BuildFaults), known_tubes)


def changed_build(
    build: Build, changes: Mapping[str, str | float | None], *, known_tubes: KnownTubes = shipped_tubes
) -> Build:
    """Return the build with some values changed, checked like a file: for substitutions and tolerances.

    `changes` maps key paths ('detector.grid_leak', 'bands[0].coil.tap') to text as in a file, to bare SI
    numbers (fraction, degrees) or to None, which takes the key out. `.sha256` sets the changed build apart
    from the file's. Raises BuildFaults if a path leads nowhere or the changed build is faulty.
    """
    data = copy.deepcopy(build._data)
    file = str(build.path) if build.path is not None else "changed build"
    for place, value in changes.items():
        _put(data, place, value, file)
    record = (*build.changes, *((place, str(value)) for place, value in changes.items()))
    sha = hashlib.sha256((build.sha256 + repr(record)).encode()).hexdigest()
    located = Located(
        file, data, sha, lines={(): 0}, texts={key: str(value) for key, value in _scalars(data)}
    )
    result = _build(located, known_tubes, si=True)
    result._path, result._changes, result._written = build.path, record, build.written
    return result


def _put(data: Any, place: str, value: str | float | None, file: str) -> None:
    """Set (or take out) the value at a key path of plain data; raises BuildFaults if it leads nowhere."""
    steps = [int(number) if number else word for word, number in _STEP.findall(place)]
    if dotted(steps) != place or not steps:
        expected = "a key path such as 'bands[0].coil.tap'"
        raise BuildFaults([Fault(file, 0, place, expected, cure="check its spelling")])
    for i, step in enumerate(steps[:-1]):
        if isinstance(data, dict) and data.get(step) is None:
            data[step] = {}
        try:
            data = data[step]
        except (KeyError, IndexError, TypeError):
            raise BuildFaults(
                [Fault(file, 0, dotted(steps[: i + 1]), "a key of the build", cure=_CHECK)]
            ) from None
    last = steps[-1]
    if isinstance(last, str) and isinstance(data, dict):
        if value is None:
            data.pop(last, None)
        else:
            data[last] = value
    elif isinstance(last, int) and isinstance(data, list) and last < len(data) and value is not None:
        data[last] = value
    else:
        raise BuildFaults([Fault(file, 0, place, "a key of the build", cure=_CHECK)])


def _scalars(data: Any, path: KeyPath = ()) -> Iterator[tuple[KeyPath, Any]]:
    if isinstance(data, dict | list):
        for step, inside in data.items() if isinstance(data, dict) else enumerate(data):
            yield from _scalars(inside, (*path, step))
    else:
        yield path, data


def _build(located: Located, known_tubes: KnownTubes, si: bool = False) -> Build:
    checks = (*CHECKS, known_types(known_tubes))
    build = validated(Build, located, checks=checks, faults=BuildFaults, si=si)
    build = _with_coils(filled(build), located)
    build._data = located.data
    build._sha256 = located.sha256
    build._written = located.whole
    build._warnings = warnings_of(build)
    return build


def _with_coils(build: Build, located: Located) -> Build:
    """Return the build with the figures of its wound coils filled in, at the middle of each band."""
    bands = []
    faults = []
    for number, band in enumerate(build.bands):
        try:
            coil = filled_in(band.coil, band.middle_hz)
        except OutsideFormula as error:  # what the checks could not see: a shape outside a formula's range
            cure = f"change the geometry or give measured figures ({error})"
            faults.append(
                located.fault(("bands", number, "coil"), "a coil that can be worked out", cure=cure)
            )
            continue
        bands.append(band if coil is band.coil else band.model_copy(update={"coil": coil}))
    if faults:
        raise BuildFaults(faults)
    return build.model_copy(update={"bands": tuple(bands)})


def write_starter(path: str | Path) -> Path:
    """Write the commented starter build to `path` and return it.

    Raises FileExistsError if something is there already, OutputFailed if it cannot be written.
    """
    return outputs.create(path, _STARTER.read_bytes())
