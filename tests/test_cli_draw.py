"""`draw` at the command line: files, formats, volts, refusals."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from receiver_sim import api
from receiver_sim.engine import Bench
from receiver_sim.results import cautions
from tests.helpers.documents import conforming
from tests.test_cli import DEMO, call


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_ending_says_the_format_and_cautions_are_told(here: Path) -> None:
    answer = call("draw", DEMO, "-o", "set.pdf")
    assert answer.code == 0
    assert (here / "set.pdf").read_bytes().startswith(b"%PDF")
    assert cautions.PLATE_SUPPLY[0].split(".")[0] in " ".join(answer.err.split())
    assert call("draw", DEMO).code == 0
    svg = (here / "demo.svg").read_text(encoding="utf-8")
    assert "Plate supplies kill" in svg
    assert "An oscillating detector on an aerial transmits." in svg


def test_another_ending_is_refused_before_anything_is_drawn(here: Path) -> None:
    answer = call("draw", DEMO, "-o", "set.jpg")
    assert answer.code == 2
    assert "set.jpg: a drawing is an .svg, .pdf or .png file, not '.jpg'" in " ".join(answer.err.split())
    assert list(here.iterdir()) == []


def test_volts_are_those_of_the_operating_point(here: Path, bench: Bench) -> None:
    """Against `operating_points` at the same setting: plate, screen and cathode of each tube."""
    answer = call("draw", DEMO, "--volts", "--at", "37%", "--json")
    report = conforming(answer.out, "draw")["result"]
    (point,) = api.operating_points(api.shipped_build("demo"), rotations=[0.37], bench=bench)
    (detector,) = (t for t in point.tubes if t.socket == "detector")
    net = {pin["name"]: pin["net"] for p in report["parts"] if p["designation"] == "V1" for pin in p["pins"]}
    volts = {one["net"]: one["value_v"] for one in report["volts"]}
    assert {one["rotation"] for one in report["volts"]} == {0.37}
    # the same deck at the same setting: ngspice's own tolerance, reltol 1e-6
    assert volts[net["screen"]] == pytest.approx(detector.screen_v, rel=1e-5)
    assert volts[net["plate"]] == pytest.approx(detector.plate_v, rel=1e-5)
    svg = (here / "demo.svg").read_text(encoding="utf-8")
    assert f">{detector.plate_v:.0f} V<" in svg
    assert "control at 37 %, not oscillating" in svg


def test_json_lists_the_connections() -> None:
    report = json.loads(call("draw", DEMO, "--band", "40 m", "--json").out)["result"]
    assert report["band"] == "40 m"
    assert report["file"] == "demo.svg"
    screen = next(pins for pins in report["connections"].values() if "V1.screen" in pins)
    keys = {part["designation"]: part["key"] for part in report["parts"]}
    # the tube itself, stopper and by-pass, by the keys of the build
    met = {keys[name] for name in (one.split(".")[0] for one in screen) if name != "V1"}
    assert met == {"regeneration.stopper", "regeneration.bypass"}
