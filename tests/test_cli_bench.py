"""`sheet` at the command line: page, document, files, refusals."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.conftest import BUILDS
from tests.helpers.documents import conforming
from tests.test_cli import call

TICKLER = BUILDS / "tickler.yaml"


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


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
