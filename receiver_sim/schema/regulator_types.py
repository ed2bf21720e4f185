"""Printed figures of regulator tubes and zener diodes, by type (`regulators.csv`, a source a row).

A type is found however it is written: 'OD3', '0D3/VR150', 'VR150-30', '1n4742a', '2EZ12D5'.
"""

from __future__ import annotations

import csv
import re
from functools import cache
from pathlib import Path

from receiver_sim.schema.quantity import CURRENT, RESISTANCE, VOLTAGE, Dimension, parse_quantity

FIGURES: dict[str, Dimension] = {
    "volts": VOLTAGE,
    "current": CURRENT,
    "impedance": RESISTANCE,
    "minimum_current": CURRENT,
    "maximum_current": CURRENT,
    "strike": VOLTAGE,
}
"""The columns that fill keys of `regulator`, with their dimensions."""

NEEDED = {
    "volts": "a voltage from 2 V to 500 V such as '90 V'",
    "current": "a current from 1 uA to 1 A such as '5 mA'",
    "impedance": "a resistance from 0.1 ohm to 10 Mohm (or 0) such as '10 kohm'",
    "strike": "a voltage from 2 V to 1000 V such as '115 V'",
}
"""What a message expects where neither the key nor a type gives the figure."""

EXAMPLE = {"volts": "90 V", "current": "5 mA", "impedance": "80 ohm", "strike": "115 V"}


@cache
def types() -> dict[str, dict[str, str]]:
    """Return the rows of the table by type, as printed."""
    with Path(__file__).with_name("regulators.csv").open(encoding="utf-8", newline="") as stream:
        return {row["type"]: row for row in csv.DictReader(stream)}


def _key(name: str) -> str:
    """Return a type without what makers and readers write differently: case, hyphens, tolerance letters."""
    plain = re.sub(r"[-_ ]", "", name.upper())
    plain = re.sub(r"^O(?=[A-Z])", "0", plain)  # the first sign of an American gas tube is a nought
    plain = re.sub(r"^(1N[0-9]{4})[A-D]$", r"\1", plain)
    return re.sub(r"^(2EZ[0-9.]+)D[0-9]{1,2}$", r"\1", plain)


@cache
def _index() -> dict[str, str]:
    return {
        _key(name): row["type"] for row in types().values() for name in (row["type"], *row["also"].split())
    }


def row_of(name: str) -> dict[str, str] | None:
    """Return the row of a type by any of its names, None if it is not in the table."""
    for part in (name, *name.split("/")):
        found = _index().get(_key(part))
        if found is not None:
            return types()[found]
    return None


@cache
def pins(name: str) -> dict[str, str] | None:
    """Return base and pins of a gas tube by any of its names (`regulator_pins.csv`), None if not known."""
    row = row_of(name)
    with Path(__file__).with_name("regulator_pins.csv").open(encoding="utf-8", newline="") as stream:
        known = {one["type"]: one for one in csv.DictReader(stream)}
    return None if row is None else known.get(row["type"])


@cache
def names() -> tuple[str, ...]:
    """Return every name of every type."""
    return tuple(name for row in types().values() for name in (row["type"], *row["also"].split()))


@cache
def listing() -> str:
    """Return what is in the table in a line: gas tubes by name, each series of zener diodes by its ends."""
    series: dict[str, list[str]] = {}
    for row in types().values():
        series.setdefault(row["series"], []).append(row["type"])
    parts = [
        f"{', '.join(found)}" if name == "gas tubes" else f"{found[0]} to {found[-1]}"
        for name, found in series.items()
    ]
    return f"a type that is listed ({', '.join(parts)})"


@cache
def figures(name: str) -> dict[str, float]:
    """Return the printed figures of a type in SI; {} for a type that is not in the table."""
    row = row_of(name) or {}
    return {key: parse_quantity(row[key], dimension) for key, dimension in FIGURES.items() if row.get(key)}


__all__ = ["EXAMPLE", "FIGURES", "NEEDED", "figures", "listing", "names", "row_of", "types"]
