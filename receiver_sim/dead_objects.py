"""How often Python looks for rings of dead objects: seldom, where most objects last as long as the call."""

from __future__ import annotations

import atexit
import gc

SELDOM = (20_000, 20, 20)
"""A call makes hundreds of thousands of objects that last, which Python's usual pace (every 700) goes through
over and over, a sixteenth of the processor's time."""


def look_seldom() -> None:
    """Look seldom from here on, and not at the process's end, where it would take 0.2 s."""
    gc.set_threshold(*SELDOM)
    atexit.unregister(gc.freeze)  # a process may make several calls
    atexit.register(gc.freeze)
