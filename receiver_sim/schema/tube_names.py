"""Other names of types that have a card: other makers', other bulbs of the same tube (`tube_names.csv`).

A name stands here only if heater, base and electrodes are those of the card: what differs at all is glass or
metal, warm-up or life. Recalled, with a flag each.
"""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path


@cache
def other_names() -> dict[str, str]:
    """Return the type with a card for each other name."""
    with Path(__file__).with_name("tube_names.csv").open(encoding="utf-8", newline="") as stream:
        return {row["name"]: row["type"] for row in csv.DictReader(stream)}


def type_of(name: str) -> str:
    """Return the type whose card a name stands for; the name itself, in capitals, where no other is known."""
    capitals = name.upper()
    return other_names().get(capitals, capitals)


__all__ = ["other_names", "type_of"]
