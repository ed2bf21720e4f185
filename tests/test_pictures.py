"""The pictures that README shows are those the program draws today."""

from __future__ import annotations

import importlib.util
import json
import re
from pathlib import Path
from types import ModuleType
from xml.etree import ElementTree

import pytest

from receiver_sim import api

ROOT = Path(__file__).parent.parent


def maker(name: str) -> ModuleType:
    """Return the script that makes a picture."""
    spec = importlib.util.spec_from_file_location(name, ROOT / f"notebooks/pictures/{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def marks(svg: bytes) -> dict[str, list[float]]:
    """Return the figures that place each named part of a plot; letters are left out, fonts may differ."""
    found = {}
    for group in ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}g"):
        if re.fullmatch(r"(onset|range|travel|backlash)-\d+", group.get("id", "")):
            text = " ".join(
                f"{part.get('d', '')} {part.get('x', '')} {part.get('y', '')}" for part in group.iter()
            )
            found[group.get("id", "")] = [float(n) for n in re.findall(r"-?\d+\.?\d*", text)]
    return found


def test_the_schematic_is_current() -> None:
    made = maker("schematic")
    cure = "run: python notebooks/pictures/schematic.py"
    assert made.PICTURE.read_bytes() == made.picture(), cure


def test_the_strip_shows_its_figures() -> None:
    made = maker("strip")
    data = json.loads(made.DATA.read_text(encoding="utf-8"))
    then, now = marks(made.PICTURE.read_bytes()), marks(made.picture(data))
    cure = "run: python notebooks/pictures/strip.py"
    assert {name.split("-")[0] for name in now} == {"onset", "range", "travel"}
    assert then.keys() == now.keys(), cure
    for name, figures in now.items():  # in points; an SVG's coordinates are rounded to a millionth
        assert then[name] == pytest.approx(figures, abs=1e-3), cure


def test_the_onsets_of_the_strip_are_those_of_today(demo, bench) -> None:
    made = maker("strip")
    data = json.loads(made.DATA.read_text(encoding="utf-8"))
    assert data["title"] == demo.title
    today = api.loop(demo, bench=bench)
    for row, band in zip(data["bands"], today, strict=True):
        assert row["band"] == band.band
        # kept to four digits; the search ends within a ten-thousandth of the travel
        assert row["onset"] == pytest.approx(band.middle.onset.rotation, abs=3e-4), "run: strip.py"
        assert row["low"] < row["onset"] < row["high"]


@pytest.mark.parametrize("name", ["schematic", "strip"])
def test_readme_shows_it(name: str) -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert f"(notebooks/pictures/{name}.svg)" in readme
