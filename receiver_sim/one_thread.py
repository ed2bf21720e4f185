"""Linear algebra on one thread: for processes of which the program starts several.

The matrices here are small, and their libraries' threads would wait for the next one without rest: in `check`
that took a third as much processor time again, from the very cores that ngspice runs on.
"""

from __future__ import annotations

from collections.abc import Mapping, MutableMapping

_ONE: Mapping[str, str] = dict.fromkeys(("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OMP_NUM_THREADS"), "1")
"""What the libraries behind numpy and scipy obey, when they are loaded."""


def ask_for_one(environment: MutableMapping[str, str]) -> None:
    """Ask for one thread in an environment, unless the user asked for a number there."""
    if not environment.keys() & _ONE.keys():
        environment.update(_ONE)
