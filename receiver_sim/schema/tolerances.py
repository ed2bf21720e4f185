"""How far parts of each class lie from what is printed on them (`tolerances.csv`, a source a row).

Common practice where a row says so. What a build states of a value (`stated`) goes before its class.
"""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path
from typing import Literal, NamedTuple, cast

from receiver_sim.physics.spread import Shape

Origin = Literal["stated", "measured", "class"]


class Tolerance(NamedTuple):
    """Limits of a class: relative (fractions) or, with `volts`, in volts; see `physics.spread` for shapes."""

    low: float
    high: float
    shape: Shape
    flag: str
    source: str
    volts: bool = False


@cache
def tolerances() -> dict[str, Tolerance]:
    """Return the table by class."""
    with Path(__file__).with_name("tolerances.csv").open(encoding="utf-8", newline="") as stream:
        return {row["class"]: _row(row) for row in csv.DictReader(stream)}


def _row(row: dict[str, str]) -> Tolerance:
    limits, units = zip(*(row[key].split(" ") for key in ("low", "high")), strict=True)
    scale = {"%": 0.01, "V": 1.0}[units[0]]
    low, high = (float(limit) * scale for limit in limits)
    return Tolerance(low, high, cast(Shape, row["shape"]), row["flag"], row["source"], units[0] == "V")
