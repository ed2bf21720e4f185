"""A deck in stock ngspice in batch mode, as a user would run it: every time point it took."""

from __future__ import annotations

import os
import shutil
import subprocess

import numpy as np


def batch_run(text, folder):
    """Return what ngspice writes for a deck, by name as in its raw file: `time`, `v(node)` ..."""
    program = shutil.which("ngspice")
    assert program is not None, "the program 'ngspice' is not on the PATH"
    (folder / "deck.cir").write_text(text)
    subprocess.run(
        [program, "-b", "-r", "out.raw", "deck.cir"],
        capture_output=True,
        timeout=60,
        check=True,
        cwd=folder,
        env={**os.environ, "SPICE_ASCIIRAWFILE": "1", "HOME": str(folder)},
    )
    head, body = (folder / "out.raw").read_text().split("Values:")
    names = [row.split()[1] for row in head.split("\nVariables:")[1].strip().splitlines()]
    numbers = np.array([float(word) for word in body.split()]).reshape(-1, len(names) + 1)[:, 1:]
    return dict(zip(names, numbers.T, strict=True))
