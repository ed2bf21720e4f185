"""Readings typed on the page: the script's ranking is the program's, to rounding."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import yaml

from receiver_sim import api
from receiver_sim.api import _fault_table, _faults
from receiver_sim.results import cautions
from tests.conftest import BUILDS
from tests.helpers import invented_faults, invented_page
from tests.helpers.documents import conforming
from tests.helpers.lending import lending
from tests.helpers.pages import Page
from tests.test_cli import call


@pytest.fixture(scope="module")
def invented() -> invented_faults.Made:
    return invented_faults.made()


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory, invented: invented_faults.Made) -> Path:
    """A page with the invented table."""
    build = api.shipped_build("demo")
    report = replace(invented_page.report(), faults=invented.table)
    path = tmp_path_factory.mktemp("bench") / "set.html"
    path.write_bytes(api.page_html(report, build, api.draw(build)))
    return path


@pytest.fixture
def page(browser: Any, file: Path) -> Page:
    return Page(browser, file)


def typed(
    page: Page, read: dict[int, float], onset: dict[int, float | None], heard: str | None
) -> dict[str, Any]:
    """Type readings (volts by point, share of the knob by band) and return what the script finds."""
    page.click("clear-readings")
    for k, volts in read.items():
        page.script("document.getElementById(arguments[0]).value = arguments[1]", f"volt-{k}", f"{volts}")
    for k, at in onset.items():
        if at is None:
            page.script("document.getElementById(arguments[0]).checked = true", f"none-{k}")
        else:
            page.script("document.getElementById(arguments[0]).value = arguments[1]", f"onset-{k}", 100 * at)
    page.script("document.getElementById('heard').value = arguments[0]", heard or "")
    found: dict[str, Any] = page.script("return window.bench.tell()")
    return found


def same(lines: Sequence[tuple[float, Sequence[str]]], others: Sequence[dict[str, Any]], rel: float) -> None:
    """Hold suspects against each other: the same groups with the same shares, in one order but for ties."""
    assert [round(share, 4) for share, _ in lines] == pytest.approx(
        [one["share"] for one in others], abs=1e-4 + rel
    )
    ours = {frozenset(names): share for share, names in lines}
    theirs = {frozenset(one["names"]): one["share"] for one in others}
    for names, share in ours.items():
        if share > 1e-6:
            assert theirs[names] == pytest.approx(share, rel=rel, abs=1e-6)


CASES = [
    ({0: 61.9, 1: 21.0, 2: 7.5}, {0: 0.372, 1: 0.53}, "normal"),  # sound
    ({0: 20.1, 2: 15.2}, {}, None),  # leaky, the larger size
    ({0: 118.7}, {0: None, 1: None}, "nothing"),  # two that nothing separates
    ({1: 2.25}, {0: None, 1: 0.5}, "weak"),  # one band gone, another not: hardly anything explains it
    ({}, {1: None}, None),  # an onset alone, missing
    ({}, {0: 0.0}, "loud hum"),  # can't be turned out of oscillation
    ({2: 9.9}, {0: 0.41}, "weak"),
    ({0: -180.0, 1: 640.0}, {}, None),  # far out in every tail
    ({}, {}, "loud hum"),
]


@pytest.mark.parametrize(("read", "onset", "heard"), CASES)
def test_the_script_ranks_as_the_program_does(
    page: Page,
    invented: invented_faults.Made,
    read: dict[int, float],
    onset: dict[int, float | None],
    heard: str | None,
) -> None:
    """The page carries six digits: shares within 1e-3 of their size, words and order as they are."""
    at = {invented_faults.BANDS[k]: place for k, place in onset.items()}
    ours = invented_faults.ranked(invented, read, at, heard)
    theirs = typed(page, read, onset, heard)
    assert theirs["healthy"] == ours.healthy
    assert theirs["sound"] == pytest.approx(ours.sound, rel=1e-3, abs=1e-9)
    assert theirs["soundDeviation"] == pytest.approx(ours.sound_deviation, rel=1e-3)
    assert set(theirs["notShown"]) == set(ours.like_sound)
    same([(s.probability, s.names) for s in ours.suspects], theirs["suspects"], 1e-3)
    assert [(h["name"], h["tested"]) for h in theirs["hazards"]] == [(h.name, h.tested) for h in ours.hazards]
    following = ours.next_reading
    assert (theirs["next"] or {"where": None})["where"] == (None if following is None else following.where)
    if following is not None:
        assert [volts for _, volts in theirs["next"]["volts"]] == pytest.approx(
            list(following.expected_v.values()), rel=1e-5
        )
    assert page.errors() == []


def test_what_is_shown(page: Page) -> None:
    typed(page, {0: 118.7}, {0: None}, None)
    says = page.script("return document.getElementById('fault-says').textContent")
    assert says.startswith("Most likely R4 (part & <b>): open or R3 (part & <b>): open, ")
    assert says.endswith("These readings can't separate them.")
    assert page.script("return document.querySelectorAll('#bench b').length") == 0  # words, no markup
    # what can hurt stands ahead of the form and of the suspects, whatever its rank
    typed(page, {0: 50.0}, {}, None)
    first = page.script("return document.querySelector('#rule-out p').textContent")
    assert first.endswith("C9 (part & <b>): short is not ruled out: the lead may stand at plate volts.")
    untested = page.script("return document.getElementById('untested').textContent")
    assert untested.startswith("No reading here tests these, which can hurt: R13 (part & <b>): open (the ")
    assert page.script(
        "return document.getElementById('untested').compareDocumentPosition("
        "document.getElementById('fault-says')) & Node.DOCUMENT_POSITION_FOLLOWING"
    )
    # neither a sound set nor one of one fault is ever so far off
    far = typed(page, {0: -180.0, 1: 640.0}, {}, None)
    says = page.script("return document.getElementById('fault-says').textContent")
    off = far["soundDeviation"] if far["healthy"] else far["suspects"][0]["deviation"]
    assert (
        off > 2.5
        and f"That explains them poorly (off by {off:.1f} standard deviations): think of two" in says
    )
    typed(page, {0: 61.9, 1: 21.0, 2: 7.5}, {0: 0.372, 1: 0.53}, "normal")
    says = page.script("return document.getElementById('fault-says').textContent")
    assert says.startswith("These readings are those of a sound set (") and "C2 (part & <b>): off" not in says
    assert page.script("return document.querySelector('#suspects td').textContent") == "sound set"


def test_cautions_stand_before_the_first_entry(page: Page) -> None:
    before = page.script(
        "const entry = document.querySelector('#bench input');"
        "return [...document.querySelectorAll('#bench .danger')].filter("
        "p => p.compareDocumentPosition(entry) & Node.DOCUMENT_POSITION_FOLLOWING).map(p => p.textContent)"
    )
    assert before == ["DANGER, phones: at plate potential.", *cautions.PLATE_SUPPLY]
    # once in what is unfolded, for what is said twice is read less
    seen = page.script("return [...document.querySelectorAll('p.danger')].filter(p => !p.closest('details'))"
                       ".map(p => p.textContent)")  # fmt: skip
    assert [seen.count(text) for text in cautions.PLATE_SUPPLY] == [1, 1, 1]
    # and the place of warnings by readings does, too
    assert page.script(
        "return document.getElementById('rule-out').compareDocumentPosition("
        "document.querySelector('#bench input')) & Node.DOCUMENT_POSITION_FOLLOWING"
    )


def test_by_keyboard_with_names_for_every_entry(page: Page) -> None:
    from selenium.webdriver.common.keys import Keys

    page.click("clear-readings")
    page.press("volt-0", "20,5 V" + Keys.TAB + "21" + Keys.TAB + "15.1")  # a comma and a unit are understood
    page.settle()
    assert page.script("return document.body.dataset.suspects") == "C7 (part & <b>): leaky"
    nameless = page.script(
        "return [...document.querySelectorAll('#bench input, #bench select')].filter("
        "e => !e.labels.length && !e.getAttribute('aria-label')).map(e => e.id)"
    )
    assert nameless == []
    assert page.script("return document.getElementById('fault-says').getAttribute('aria-live')") == "polite"


def test_an_entry_that_is_no_number_is_marked_and_not_counted(page: Page) -> None:
    page.click("clear-readings")
    for wrong in ("12..5", "40000", "plate"):
        page.script("document.getElementById('volt-1').value = arguments[0]; window.bench.tell()", wrong)
        assert page.script("return document.getElementById('volt-1').getAttribute('aria-invalid')") == "true"
        assert page.script("return document.getElementById('readings-wrong').textContent").startswith(
            "1 entry is not understood and not counted"
        )
        assert page.script("return document.getElementById('fault-says').textContent") == (
            "Nothing is typed yet."
        )


def test_it_prints_as_a_blank_form(page: Page, browser: Any) -> None:
    page.click("clear-readings")
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    try:
        look = page.script(
            "const s = getComputedStyle(document.getElementById('volt-0'));"
            "return [s.borderTopWidth, s.borderBottomWidth]"
        )
        assert look == ["0px", "1px"]  # a line to write on
        for gone in ("fault-says", "clear-readings", "bench-answer"):
            assert page.script("return document.getElementById(arguments[0]).offsetHeight", gone) == 0, gone
        assert page.script("return document.querySelector('#bench .danger').offsetHeight") > 0
    finally:
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})


@pytest.mark.parametrize("width", [360, 1400])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_fits_phone_and_desk(page: Page, width: int, scheme: str) -> None:
    typed(page, {0: 118.7}, {0: None}, "nothing")
    page.size(width, 900, scheme)
    assert page.script("return document.documentElement.scrollWidth") <= width


def test_the_page_of_a_set_ranks_as_faults_does(
    browser: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One tube, one band, every third fault: what `page` writes against what `faults` answers in JSON for the
    same readings, a 1T4 whose screen resistor is open; and no network is asked for.
    """
    real = _faults.possible_faults
    for module in (_faults, _fault_table):
        monkeypatch.setattr(module, "possible_faults", lambda circuit: real(circuit)[::3])
    data = yaml.safe_load((BUILDS / "one_tube.yaml").read_text(encoding="utf-8"))
    data["bands"] = data["bands"][:1]
    build = tmp_path / "one.yaml"
    build.write_text(yaml.safe_dump(data), encoding="utf-8")
    file = tmp_path / "one.html"
    with lending():
        answer = call("page", build, "--no-sound", "--json", "-o", file)
        assert answer.code == 0, answer.err
        found = conforming(answer.out, "page")["result"]
        points = [one["name"] for one in found["faults"]["points"]]
        assert found["bench"]["parts"] and found["failed"] == []
        cause = next(one for one in found["faults"]["causes"][1:] if one["sizes"][0]["onset"][0] is not None)
        volts = [round(v, 3) for v in cause["sizes"][0]["volts_v"]]
        at = round(cause["sizes"][0]["onset"][0], 3)
        readings = tmp_path / "readings.yaml"
        body = {
            "receiver_sim_readings": 1, "heard": "normal",
            "volts": [{"pin": name, "volts": f"{v} V"} for name, v in zip(points, volts, strict=True)],
            "onset": [{"band": data["bands"][0]["name"], "at": f"{100 * at:.1f} %"}],
        }  # fmt: skip
        readings.write_text(yaml.safe_dump(body), encoding="utf-8")
        told = json.loads(call("faults", build, "--readings", readings, "--json").out)["result"]
    page = Page(browser, file)
    assert all(url.startswith(("file:", "data:", "blob:")) for url in page.requests())
    theirs = typed(page, dict(enumerate(volts)), {0: at}, "normal")
    assert theirs["healthy"] == told["healthy"]
    assert theirs["sound"] == pytest.approx(told["healthy_probability"], rel=2e-3)
    ours = [(one["probability"], one["names"]) for one in told["suspects"]]
    same(ours, theirs["suspects"][: len(ours)], 2e-3)
    # the sheet lies folded in the page, its cautions before its tables
    text = file.read_text(encoding="utf-8")
    assert text.index("Plate supplies kill") < text.index("Switching on for the first time")
    assert "Wiring, sockets seen from below" in text
    assert page.errors() == []
