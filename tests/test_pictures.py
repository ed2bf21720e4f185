"""The pictures that README shows are those the program draws today."""

from __future__ import annotations

import importlib.util
from pathlib import Path

ROOT = Path(__file__).parent.parent


def test_the_schematic_is_current() -> None:
    spec = importlib.util.spec_from_file_location("schematic", ROOT / "notebooks/pictures/schematic.py")
    assert spec is not None
    assert spec.loader is not None
    maker = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(maker)
    cure = "run: python notebooks/pictures/schematic.py"
    assert maker.PICTURE.read_bytes() == maker.picture(), cure


def test_readme_shows_it() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert "(notebooks/pictures/schematic.svg)" in readme
