"""The live page in a browser: values changed by hand and by text, undo, side by side, saving."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import pytest

from receiver_sim.api import _fault_table
from tests.live.conftest import Served
from tests.views.page.conftest import browser  # noqa: F401 - a fixture


class LivePage:
    """The served page, open in the browser."""

    def __init__(self, driver: Any, served: Served) -> None:
        self.driver, self.served = driver, served
        driver.get_log("browser")
        driver.get_log("performance")
        driver.get(served.address)
        self.until("document.body.dataset.drawn")

    def script(self, text: str, *values: Any) -> Any:
        return self.driver.execute_script(text, *values)

    def until(self, expression: str, seconds: float = 240.0) -> Any:
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            found = self.script(f"return {expression}")
            if found:
                return found
            time.sleep(0.1)
        raise AssertionError(f"{expression} did not come true: {self.script('return document.body.dataset')}")

    def answered(self) -> int:
        return int(self.script("return document.body.dataset.answered || 0"))

    def set(self, key: str, value: str) -> None:
        """Type a value into its field and press Enter."""
        from selenium.webdriver.common.keys import Keys

        self.script(
            "const e = document.querySelector(`[data-key='${arguments[0]}']`);"
            "e.closest('details').open = true;"
            "e.scrollIntoView(); e.focus(); e.select();", key,
        )  # fmt: skip
        self.driver.switch_to.active_element.send_keys(value + Keys.ENTER)

    def change(self, key: str, value: str) -> None:
        before = self.answered()
        self.set(key, value)
        self.until(f"Number(document.body.dataset.answered) > {before}")

    def cells(self, table: str) -> list[list[str]]:
        return self.script(
            "return [...document.querySelectorAll(`#${arguments[0]} tr`)]"
            ".map(r => [...r.cells].map(c => c.textContent))",
            table,
        )

    def value(self, key: str) -> str:
        return str(self.script("return document.querySelector(`[data-key='${arguments[0]}']`).value", key))


@pytest.fixture
def page(browser: Any, served: Served) -> LivePage:  # noqa: F811
    return LivePage(browser, served)


def shown(per_cent: str) -> float:
    return float(per_cent.split(" ", 1)[0])


def test_a_value_is_changed_and_undone(page: LivePage) -> None:
    expected = page.served.answer(["regeneration", "top"], "33 kohm").json()["bands"]
    page.change("regeneration.top", "33 kohm")
    assert page.cells("differs") == [["regeneration.top", "27 kohm", "33 kohm"]]
    for row, one in zip(page.cells("beside"), expected, strict=True):
        assert row[0] == one["name"]
        assert shown(row[2]) == pytest.approx(100.0 * one["onset"], abs=0.06)
        assert shown(row[3]) == pytest.approx(shown(row[2]) - shown(row[1]), abs=0.11)
        assert shown(row[3]) > 0.5  # less of the volts is left for the screen: further up the knob
    marks = page.script(
        "return [...document.querySelectorAll('#strip .mark')].map(m => parseFloat(m.style.left))"
    )
    assert marks == pytest.approx([100.0 * one["onset"] for one in expected], abs=0.01)
    assert page.script("return document.querySelectorAll('#strip .before').length") == len(expected)
    assert float(page.script("return document.getElementById('gain').dataset.top")) == pytest.approx(
        expected[0]["gain"][-1], rel=1e-4
    )
    page.script("document.getElementById('undo').click()")
    page.until("document.querySelector('#differs td').textContent === 'nothing'")
    assert page.value("regeneration.top") == "27 kohm"


def test_the_back_of_the_browser_undoes_step_by_step(page: LivePage) -> None:
    page.change("detector.grid_leak", "3.3 Mohm")
    page.change("detector.grid_capacitor", "150 pF")
    page.driver.back()
    page.until("document.querySelectorAll('#differs tr').length === 1")
    assert (
        page.value("detector.grid_leak") == "3.3 Mohm" and page.value("detector.grid_capacitor") == "130 pF"
    )
    page.driver.back()
    page.until("document.querySelector('#differs td').textContent === 'nothing'")
    page.driver.forward()
    page.until("document.querySelector('#differs td').textContent === 'detector.grid_leak'")


def test_a_bad_value_is_marked_with_the_words_of_the_checks(page: LivePage) -> None:
    page.set("regeneration.pot", "47")
    page.until("document.querySelector('#fields .why')")
    words = page.script("return document.querySelector('#fields .why').textContent")
    assert words.startswith("regeneration.pot: value '47': expected a resistance from 100 ohm to 10 Mohm")
    field = "document.querySelector(\"[data-key='regeneration.pot']\")"
    assert page.script(f"return {field}.getAttribute('aria-invalid')") == "true"
    assert page.script("return document.querySelector('#differs td').textContent") == "nothing"
    page.change("regeneration.pot", "50 kohm")
    assert not page.script("return document.querySelector('#fields .why')")


def test_the_text_is_edited_and_a_broken_one_refused(page: LivePage) -> None:
    take = (
        "const t = document.getElementById('text'); t.value = t.value.replace(arguments[0], arguments[1]);"
        "document.getElementById('take').click()"
    )
    page.script(take, "title: Loft", "titel: Loft")
    page.until("document.querySelector('#faults li')")
    assert "nearest key 'title'" in page.script("return document.getElementById('faults').textContent")
    before = page.answered()
    page.script(take, "titel: Loft", "title: <b>Attic</b>")
    page.until("document.querySelector('#faults').textContent.includes('Attic')", 60.0)
    assert page.script("return document.querySelectorAll('#faults b, h1 b').length") == 0  # words, no markup
    page.script(take, "title: <b>Attic</b>", "title: Attic")
    page.until(f"Number(document.body.dataset.answered) > {before}", 60.0)
    assert page.script("return document.getElementById('title').textContent").startswith("Attic")
    assert not page.script("return document.querySelector('#faults li')")


def test_deeper_answers_follow_beside_those_of_the_set_as_built(page: LivePage) -> None:
    """Strength of both sets with the knob fully up, verdict, folded sections, pictures that are turned."""
    first = page.until("document.body.dataset.done")
    page.change("regeneration.top", "39 kohm")  # computed by another test, or now
    page.until("[...document.querySelectorAll('#beside tr')].every(r => / V$/.test(r.cells[5].textContent))")
    for row in page.cells("beside"):
        assert row[4].endswith(" V") and row[5].endswith(" V")
    page.until(f"document.body.dataset.checked !== '{first}'")
    assert page.script("return document.querySelectorAll('#sections > details').length") >= 7
    assert page.script("return document.getElementById('verdict').textContent").startswith(
        "Regeneration comes"
    )
    page.script(
        "const e = document.getElementById('knob'); e.value = 100; e.dispatchEvent(new Event('input'))"
    )
    volts = float(page.script("return document.getElementById('strength').dataset.volts"))
    assert volts == pytest.approx(shown(page.cells("beside")[0][5]), rel=0.06)  # two digits are printed
    assert page.script("return document.querySelectorAll('#strength .was').length") == 1


def test_the_sound_of_the_changed_set_and_of_the_set_as_built(page: LivePage, short_sounds: None) -> None:
    """Nothing is computed before Play is pressed; then the changed set is heard, and as built where that is
    chosen. Both come to the page as what is played and drawn."""
    page.change("regeneration.top", "36 kohm")
    page.until("document.body.dataset.done")
    assert not page.script("return document.body.dataset.sounded")
    page.script("document.getElementById('station').value = 'code'")
    page.script("document.getElementById('play').click()")
    page.until("document.body.dataset.soundOf === 'changed'")
    assert "the changed set" in page.script("return document.getElementById('sound-state').textContent")
    rotation = float(page.until("document.getElementById('spectrum').dataset.rotation"))
    page.script("document.getElementById('version').value = 'built'")
    page.script("document.getElementById('version').dispatchEvent(new Event('change'))")
    page.until("document.body.dataset.soundOf === 'built'")
    assert "as built" in page.script("return document.getElementById('sound-state').textContent")
    # the control stands elsewhere for the same part of another onset
    assert float(page.until("document.getElementById('spectrum').dataset.rotation")) != rotation
    page.script("document.getElementById('play').click()")


def test_saving_asks_before_it_overwrites(page: LivePage) -> None:
    saved = page.served.folder / "by-hand.yaml"
    saved.unlink(missing_ok=True)
    page.change("detector.grid_leak", "1.8 Mohm")
    save = (
        "document.getElementById('name').value = 'by-hand.yaml';"
        "document.getElementById('saved').textContent = '';"
        "window.confirm = () => { window.asked = (window.asked || 0) + 1; return arguments[0]; };"
    )
    for agreed, asked in ((False, 0), (False, 1), (True, 2)):
        page.script(
            save.replace("arguments[0]", str(agreed).lower()) + "document.getElementById('save').click()"
        )
        words = page.until("document.getElementById('saved').textContent")
        assert page.script("return window.asked || 0") == asked
        assert ("exists already" in words) == (asked == 1)
    assert "grid_leak: 1.8 Mohm" in saved.read_text(encoding="utf-8")


def test_no_request_leaves_the_machine_and_no_script_fails(page: LivePage) -> None:
    import json

    page.change("detector.grid_leak", "2.2 Mohm")
    severe = [one["message"] for one in page.driver.get_log("browser") if one["level"] == "SEVERE"]
    assert severe == []
    asked = []
    for one in page.driver.get_log("performance"):
        message = json.loads(one["message"])["message"]
        if message["method"] == "Network.requestWillBeSent":
            asked.append(message["params"]["request"]["url"])
    assert asked and all(url.startswith((page.served.address, "data:")) for url in asked), asked


@pytest.mark.parametrize("width", [360, 1500])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_fits_phone_and_desk(page: LivePage, width: int, scheme: str, tmp_path: Path) -> None:
    page.driver.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": width < 600},
    )
    page.driver.execute_cdp_cmd(
        "Emulation.setEmulatedMedia", {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
    )
    assert page.script("return document.documentElement.scrollWidth") <= width
    labelled = page.script(
        "return [...document.querySelectorAll('input, select, textarea')]"
        ".filter(e => !e.labels.length).length"
    )
    assert labelled == 0
    (tmp_path / f"{width}-{scheme}.png").write_bytes(page.driver.get_screenshot_as_png())


def test_the_bench_is_worked_out_once_asked_for_and_follows_a_change(
    page: LivePage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With a dozen faults, for time's sake. What is typed stays while the table of the changed set comes."""
    real = _fault_table.possible_faults
    monkeypatch.setattr(_fault_table, "possible_faults", lambda circuit: real(circuit)[::9])
    assert page.script("return document.getElementById('bench-form').hidden")
    assert page.script("return document.querySelector('#bench .danger').textContent").startswith(
        "Plate supplies kill"
    )
    page.script("document.getElementById('bench-ask').click()")
    first = page.until("document.body.dataset.bench")
    assert page.script("return document.getElementById('bench-sheet').textContent").count("LIVE") > 2
    before = {row[0]: float(row[1].removesuffix(" V")) for row in page.cells("volts-body")}
    page.script("document.getElementById('volt-0').value = '12.5'; window.bench.tell()")
    assert page.script("return document.body.dataset.suspects")
    page.change("audio.cathode_resistor", "2.7 kohm")  # the control is set anew for the volts it had
    page.until(f"document.body.dataset.bench !== '{first}'")
    assert page.script("return document.getElementById('volt-0').value") == "12.5"
    after = {row[0]: float(row[1].removesuffix(" V")) for row in page.cells("volts-body")}
    assert after.keys() == before.keys()
    assert after != before  # those of the changed set
    assert page.script("return document.getElementById('bench-form').classList.contains('stale')") is False
