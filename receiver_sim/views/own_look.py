"""Drawing by matplotlib's own settings, whatever settings files lie around.

Importing this does not load matplotlib.
"""

from __future__ import annotations

import importlib.util
import logging
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

_THE_CALLERS_OWN = ("backend", "interactive", "toolbar", "timezone")
"""Settings that don't touch a figure that is written to a file."""


@contextmanager
def own_look() -> Iterator[None]:
    """Let what is drawn within look the same everywhere.

    matplotlib obeys a `matplotlibrc` in the folder at hand, then MATPLOTLIBRC, then the user's; one with
    `text.usetex` has it run a program. For the program's own plots, not for those of a notebook: the settings
    are global, and here only until the end of the block.
    """
    _load()
    import matplotlib  # noqa: PLC0415 - slow to load

    with matplotlib.rc_context():
        defaults = matplotlib.rcParamsDefault
        matplotlib.rcParams.update({k: v for k, v in defaults.items() if k not in _THE_CALLERS_OWN})
        yield


def _load() -> None:
    """Import matplotlib where the settings file that it finds first is the one that it brings along."""
    if "matplotlib" in sys.modules:
        return
    logging.getLogger("matplotlib").setLevel(logging.ERROR)  # remarks on folders for its cache
    found = importlib.util.find_spec("matplotlib")
    assert found is not None and found.submodule_search_locations
    data = Path(next(iter(found.submodule_search_locations))) / "mpl-data"
    try:
        here = os.open(".", os.O_RDONLY)
    except OSError:  # a folder that is gone or may not be read, or a system without descriptors of folders
        here = None
    before = _folder_at_hand()
    try:
        os.chdir(data)
        import matplotlib  # noqa: F401, PLC0415 - this is what it is about
    finally:
        if here is not None:
            os.fchdir(here)
            os.close(here)
        elif before is not None:
            os.chdir(before)


def _folder_at_hand() -> str | None:
    try:
        return os.getcwd()
    except OSError:
        return None
