"""Reads the sourced tables of tests/published."""

import csv
from pathlib import Path

import pytest

FOLDER = Path(__file__).parents[1] / "published"


def read(name: str) -> list[dict[str, object]]:
    lines = [line for line in (FOLDER / name).read_text().splitlines() if not line.startswith("#")]

    def value(text: str) -> object:
        try:
            return float(text)
        except ValueError:
            return text

    rows = [{key: value(text) for key, text in row.items()} for row in csv.DictReader(lines)]
    assert rows, f"{name} holds no rows"
    return rows


@pytest.fixture
def published():
    return read
