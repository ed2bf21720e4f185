"""Printed figures of regulator tubes and zener diodes, by type (`regulators.csv`, a source a row)."""

from __future__ import annotations

import csv
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


@cache
def figures(name: str) -> dict[str, float]:
    """Return the printed figures of a type in SI; {} for a type that is not in the table."""
    row = types().get(name, {})
    return {key: parse_quantity(row[key], dimension) for key, dimension in FIGURES.items() if row.get(key)}


__all__ = ["EXAMPLE", "FIGURES", "NEEDED", "figures", "types"]
