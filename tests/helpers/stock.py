"""The ngspice program itself, beside the engine."""

from __future__ import annotations

import subprocess
from pathlib import Path


def said_of(deck: Path) -> str:
    """Return what `ngspice -b` prints of a deck's file, run in the folder where that stands."""
    done = subprocess.run(
        ["ngspice", "-b", str(deck)], capture_output=True, text=True, check=True, timeout=60, cwd=deck.parent
    )
    return done.stdout
