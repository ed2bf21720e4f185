"""Loss of coil formers by their material (`formers.csv`, a source a row), for windings that state none."""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path
from typing import Literal, NamedTuple

Material = Literal[
    "bakelite",
    "mica_bakelite",
    "cardboard",
    "wood",
    "pvc",
    "hard_rubber",
    "glass",
    "ceramic",
    "polystyrene",
    "air",
]

FIELD_SHARE = 0.3
"""Share of the field of a plug-in coil's self-capacitance in its former, plug and socket together: common
practice, no source. It brings coils wound by the handbooks to the Q of 100 to 250 that the trade measured.
"""


class Former(NamedTuple):
    """A former's material: its name, relative permittivity, loss tangent at 1 to 10 MHz, flag and source."""

    name: str
    permittivity: float
    loss_tangent: float
    flag: str
    source: str


@cache
def formers() -> dict[str, Former]:
    """Return the table by material, as builds name it."""
    with Path(__file__).with_name("formers.csv").open(encoding="utf-8", newline="") as stream:
        return {
            row["material"]: Former(
                row["name"],
                float(row["permittivity"]),
                float(row["loss_tangent"]),
                row["flag"],
                row["source"],
            )
            for row in csv.DictReader(stream)
        }
