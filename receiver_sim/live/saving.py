"""A changed build saved: under a plain name, in the folder of the build, over a file only if confirmed."""

from __future__ import annotations

import re
from pathlib import Path

from receiver_sim import outputs
from receiver_sim.errors import WrongValue

_NAME = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9 ._-]{0,78}[A-Za-z0-9_-])?\.ya?ml")


def place_of(folder: Path, name: str) -> Path:
    """Return the path that a name means. Raises WrongValue for anything but a plain name."""
    if not _NAME.fullmatch(name) or ".." in name:
        raise WrongValue("expected a plain file name such as 'my-set.yaml': letters, digits, - and _")
    place = folder / name
    if place.is_dir() or (place.is_symlink() and place.resolve().parent != folder.resolve()):
        raise WrongValue(f"'{name}' is no file of the build's folder: give another name")
    return place


def save(folder: Path, name: str, text: str, *, replace: bool) -> Path:
    """Write the text of a build and return its path.

    Raises WrongValue for a name that does not serve, FileExistsError if something is there and `replace` is
    not said, OutputFailed.
    """
    place = place_of(folder, name)
    content = text.encode("utf-8")
    return outputs.write(place, content) if replace else outputs.create(place, content)
