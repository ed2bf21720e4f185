"""Where the shipped cards and templates lie: inside an installed wheel, or at the top of a source tree."""

from functools import cache
from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


@cache
def folder(name: str) -> Path:
    """Return the folder `name` ("models" or "netlists") of this installation.

    Raises FileNotFoundError if the installation carries no such folder.
    """
    for candidate in (_PACKAGE / "_data" / name, _PACKAGE.parent / name):
        if candidate.is_dir():
            return candidate
    raise FileNotFoundError(f"this installation of receiver_sim carries no '{name}' folder; install it again")
