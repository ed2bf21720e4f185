"""What each part of a set does, in one line for whoever points at it."""

from __future__ import annotations

import csv
import re
from functools import cache
from pathlib import Path


@cache
def _table() -> dict[tuple[str, str], str]:
    with Path(__file__).with_name("purposes.csv").open(encoding="utf-8", newline="") as file:
        return {(row["key"], row["symbol"]): row["does"] for row in csv.DictReader(file)}


def does(key: str | None, symbol: str) -> str:
    """Return what the part of that key of the build and that symbol does, '' where nothing is said of it."""
    plain = re.sub(r"\[\d+\]", "[]", key or "")
    found = _table()
    return found.get((plain, symbol)) or found.get((plain, "")) or found.get(("", symbol), "")
