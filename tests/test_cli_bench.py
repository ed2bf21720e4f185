"""`sheet`, `faults` and `calibrate` at the command line: pages, documents, files, refusals."""

from __future__ import annotations

from pathlib import Path

import pytest

from receiver_sim.circuit.factors import value_at
from receiver_sim.schema import load_build
from receiver_sim.schema.stated import spread_of
from tests.conftest import BUILDS
from tests.helpers.documents import conforming
from tests.test_cli import call

TICKLER = BUILDS / "tickler.yaml"


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def readings(here: Path, body: str) -> Path:
    path = here / "readings.yaml"
    path.write_text(f"receiver_sim_readings: 1\n{body}")
    return path


def test_the_sheet_is_a_document_and_a_page(here: Path) -> None:
    answer = call("sheet", TICKLER, "--json", "-o", "sheet.html")
    assert answer.code == 0, answer.err
    found = conforming(answer.out, "sheet")["result"]
    parts = {part["designator"]: part for part in found["parts"]}
    assert parts["V1"]["note"].startswith("6C6") and parts["R9"]["value"] == 1800.0
    assert {scale["band"] for scale in found["scales"]} == {"80 m", "40 m", "20 m"}
    page = (here / "sheet.html").read_text(encoding="utf-8")
    assert page.index("Plate supplies kill") < page.index("LIVE")
    for part in found["parts"]:
        assert f"<td>{part['designator']}</td>" in page
    assert "<svg" in page and "Dial scale, diameter 150 mm" in page


def test_an_unfit_name_or_diameter_is_refused_before_anything_runs(here: Path) -> None:
    answer = call("sheet", TICKLER, "-o", "sheet.doc")
    assert answer.code == 2
    said = " ".join(answer.err.split())
    assert "-o sheet.doc: expected a name that ends with .html, .pdf, .txt, .csv, .svg" in said
    answer = call("sheet", TICKLER, "--diameter", "1 m")
    assert answer.code == 2 and "expected a length from 60mm to 190mm, such as 150mm" in " ".join(
        answer.err.split()
    )
    assert list(here.iterdir()) == []


def test_a_leaky_blocking_capacitor_is_told_first(here: Path) -> None:
    """An open cathode resistor by its readings: no volts drop at the plate, the cathode rises to cut-off."""
    body = "volts:\n  - {pin: V2 cathode, volts: 15 V}\n  - {pin: V2 plate, volts: 203 V}\nheard: nothing\n"
    answer = call("faults", TICKLER, "--readings", readings(here, body))
    assert answer.code == 0, answer.err
    page = " ".join(answer.out.split())
    # what can hurt and is not ruled out is named, and ahead of what is likely
    assert page.index("Rule these out first") < page.index("What the readings say")
    assert "R13 (bleeder): open" in page
    assert page.index("Plate supplies kill") < page.index("Suspects")
    assert "R9 (cathode resistor)" in page[page.index("What the readings say") :][:400]


def test_an_unknown_pin_is_refused_with_those_there_are(here: Path) -> None:
    file = readings(here, "volts:\n  - {pin: V9 plate, volts: 15 V}\n")
    answer = call("faults", TICKLER, "--readings", file)
    assert answer.code == 2
    assert "no pin or test point 'V9 plate' in this set; there are: 'V1 heater', 'V1 plate'" in " ".join(
        answer.err.split()
    )


def test_calibrate_writes_a_build_that_loads(here: Path) -> None:
    body = (
        "error: 0.5 %\nvolts:\n  - {pin: V2 cathode, volts: 7.6 V}\n  - {pin: plate supply, volts: 195 V}\n"
    )
    body += "  - {pin: V1 screen, volts: 22 V}\n  - {pin: V2 plate, volts: 183 V}\n"
    body += "onset:\n  - {band: 80 m, at: 41 %}\n"
    answer = call("calibrate", TICKLER, "--readings", readings(here, body), "-o", "mine.yaml", "--json")
    assert answer.code == 0, answer.err
    found = conforming(answer.out, "calibrate")["result"]
    first = next(one for one in found["onsets"] if one["band"] == "80 m")
    assert first["seen"] == 0.41
    # pulled towards the reading, and surer than before
    assert abs(first["after"] - 0.41) < abs(first["before"] - 0.41)
    assert first["after_spread"] < first["before_spread"]
    again = load_build(here / "mine.yaml")
    # what the readings say something of is stated as measured, with what is left of its spread
    pinned = [one for one in found["pulled"] if one["key"] and one["after"] < 0.95 * one["before"]]
    assert pinned
    for one in pinned:
        value = value_at(again, one["key"])
        spread = spread_of(value)
        assert spread is not None and spread.measured, one["key"]
        assert value == pytest.approx(one["found"], rel=1e-3)
        assert spread.high == pytest.approx(2.0 * one["after"], rel=0.02)
    # the mains are what they are at the hour, and no part: said beside it
    head = (here / "mine.yaml").read_text().split("receiver_sim:")[0]
    assert again.supply.volts == 210.0 and "mains: " in head
