"""The page in a browser: no script errors, no requests, turning shows the computed values, keyboard alone."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path
from typing import Any

import pytest

from receiver_sim import api
from receiver_sim.results import cautions
from receiver_sim.results.bench_chart import PartNeeds
from receiver_sim.results.bench_sheet import BenchSheet
from tests.helpers import invented_page
from tests.helpers.filling import filled
from tests.helpers.pages import Page


@pytest.fixture
def page(browser: Any, made: Any) -> Page:
    return Page(browser, made.file)


def nearest(values: Any, x: float) -> int:
    return min(range(len(values)), key=lambda i: abs(float(values[i]) - x))


def test_opens_without_errors_or_requests(page: Page) -> None:
    assert page.errors() == []
    asked = page.requests()
    assert asked
    assert all(url.startswith(("file:", "data:", "blob:")) for url in asked), asked
    assert page.script("return document.getElementById('says').textContent").strip()


def test_is_one_file_of_modest_size_that_opens_soon(page: Page, made: Any) -> None:
    text = made.file.read_text(encoding="utf-8")
    assert made.file.stat().st_size < 8_000_000
    policy = page.script("return document.querySelector('meta[http-equiv]').content")
    assert policy.startswith("default-src 'none'; style-src 'unsafe-inline'; script-src 'sha256-")
    for fetched in ("http://", "https://"):
        # names of XML namespaces are no addresses that are fetched
        rest = text.replace("http://www.w3.org/", "")
        assert fetched not in rest
    times = page.script("const t = performance.getEntriesByType('navigation')[0]; return t.domComplete")
    assert times < 20_000  # 2 s on an idle machine; this one may be shared tenfold


@pytest.mark.parametrize("per_cent", [5.0, 38.2, 47.0, 80.0])
def test_turning_shows_what_was_computed(page: Page, made: Any, per_cent: float) -> None:
    band = made.report.turned[page.band_index()]
    page.set_range("knob", 0.0)
    page.set_range("knob", per_cent)
    at = nearest(band.rotation, per_cent / 100.0)
    assert int(page.script("return document.body.dataset.at")) == at
    # the page carries five digits
    assert float(page.script("return document.getElementById('loop').dataset.gain")) == pytest.approx(
        float(band.gain[at]), rel=1e-4
    )
    assert float(page.script("return document.getElementById('strength').dataset.volts")) == pytest.approx(
        float(band.up_v[at]), rel=2e-3
    )
    row = band.level_db[at]
    shown = page.script("return document.getElementById('resonance').dataset.peak")
    assert (shown == "") == (row is None)
    if row is not None:
        assert float(shown) == pytest.approx(max(row), abs=0.06)  # a tenth of a dB is what is carried
    assert f"{100.0 * float(band.rotation[at]):.1f} %" in page.script(
        "return document.getElementById('knob').getAttribute('aria-valuetext')"
    )


def test_dial_moves_the_whistle(page: Page, made: Any) -> None:
    """The pitch in the spectrum is the offset, within what the dial moves during a transform (0.17 s of a
    glide of 1.5 kHz a second, half of it to either side)."""
    band = made.report.turned[page.band_index()]
    assert band.onset is not None
    page.choose("station", "carrier")
    page.set_range("knob", 106.0 * band.onset.rotation)
    for offset in (800.0, -600.0):
        page.set_range("dial", offset)
        pitch = float(page.script("return document.getElementById('spectrum').dataset.pitch"))
        assert pitch == pytest.approx(abs(offset), abs=140.0)
        assert "whistle" in page.script("return document.getElementById('says').textContent")


def test_backlash_goes_up_one_way_and_down_another(page: Page, made: Any) -> None:
    band = made.report.turned[1]
    page.script(
        "const b = document.getElementById('band'); b.selectedIndex = 1; b.dispatchEvent(new Event('change'))"
    )
    middle = 100.0 * (band.onset.rotation + band.gone.rotation) / 2.0
    seen = []
    for start in (0.0, 100.0):
        page.set_range("knob", start)
        page.set_range("knob", middle)
        seen.append(float(page.script("return document.getElementById('strength').dataset.volts")))
    at = nearest(band.rotation, middle / 100.0)
    assert seen == [0.0, pytest.approx(float(band.down_v[at]), rel=1e-3)]
    assert "backlash" in page.script("return document.getElementById('says').textContent")


def test_words_of_a_build_are_words_not_markup(page: Page) -> None:
    assert page.script("return document.querySelectorAll('h1 b, td i').length") == 0
    assert page.script("return document.querySelector('h1').textContent") == "Invented <b>set</b>"
    assert "<script>note" in page.script("return document.body.textContent")


def test_danger_stands_before_the_verdict(page: Page) -> None:
    order = page.script(
        "return [...document.querySelectorAll('header > p')].map(p => p.className + ': ' + p.textContent)"
    )
    assert order[0] == "danger: DANGER, phones: at plate potential."
    # two of three bands have an onset, at 41.2 and 55.3 % of the knob
    assert order[1] == (
        "verdict: Regeneration comes in between 41 and 55 % of the knob on two of three bands, "
        "smoothly on none; one has no onset on it."
    )


def test_keyboard_alone(page: Page, made: Any) -> None:
    from selenium.webdriver.common.keys import Keys

    before = float(page.script("return document.getElementById('knob').value"))
    page.press("knob", Keys.ARROW_RIGHT * 5)
    after = float(page.script("return document.getElementById('knob').value"))
    assert after > before
    page.press_body("u")
    assert float(page.script("return document.getElementById('knob').value")) == pytest.approx(
        after + 1.0, abs=0.11
    )
    names = page.script("return [...document.querySelectorAll('input, select')].map(e => e.labels.length)")
    assert all(n >= 1 for n in names)
    assert page.script("return document.getElementById('says').getAttribute('aria-live')") == "polite"


def test_sound_starts_only_when_asked_and_stops(page: Page) -> None:
    page.script(
        "window.made = 0; const Real = window.AudioContext;"
        "window.AudioContext = class extends Real { constructor() { super(); window.made++; } }"
    )
    page.set_range("knob", 30.0)
    assert page.script("return window.made") == 0
    page.click("play")
    assert page.script("return window.made") == 1
    assert page.script("return document.getElementById('play').getAttribute('aria-pressed')") == "true"
    page.click("play")
    assert page.script("return document.getElementById('play').getAttribute('aria-pressed')") == "false"
    assert page.errors() == []


@pytest.mark.parametrize("width", [360, 1400])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_fits_phone_and_desk_in_light_and_dark(page: Page, width: int, scheme: str, tmp_path: Path) -> None:
    page.size(width, 900, scheme)
    # nothing pushes the page wider than the window: wide things scroll by themselves
    assert page.script("return document.documentElement.scrollWidth") <= width
    ink, paper = page.script("const s = getComputedStyle(document.body); return [s.color, s.backgroundColor]")
    dark = sum(json.loads(f"[{paper[4:-1]}]")) < sum(json.loads(f"[{ink[4:-1]}]"))
    assert dark == (scheme == "dark")
    page.shot(tmp_path / f"{width}-{scheme}.png")


@pytest.mark.parametrize("width", [360, 1400])
def test_words_on_the_drawing_are_large_enough_to_read(page: Page, width: int) -> None:
    """Guards against a drawing of 2200 units squeezed into 1200 pixels: words of 5 pixels. It scrolls within
    its frame instead; 8 pixels are 6 points, the least that print uses (common practice, no source). Whoever
    wants the whole of it at once ticks a box."""
    page.size(width, 900, "light")
    smallest = (
        "const svg = document.querySelector('.drawing svg'), scale = svg.getBoundingClientRect().width"
        " / svg.viewBox.baseVal.width;"
        "return Math.min(...[...svg.querySelectorAll('text')].map("
        "t => parseFloat(getComputedStyle(t).fontSize) * scale))"
    )
    frame = "const f = document.querySelector('.drawing'); return [f.scrollWidth, f.clientWidth]"
    assert page.script(smallest) >= 8.0
    inside, shown = page.script(frame)
    assert inside > shown
    page.click("fit")
    inside, shown = page.script(frame)
    assert inside <= shown + 1


def test_print_keeps_marks_and_words_under_pictures_and_leaves_out_long_tables(page: Page) -> None:
    """Guards against a strip without its marks (a browser prints no backgrounds) and 24 pages of settings."""
    page.medium("print")
    look = "return getComputedStyle(document.querySelector(arguments[0]))[arguments[1]]"
    for part in (".strip .mark", ".strip .back"):
        assert page.script(look, part, "printColorAdjust") == "exact"
    for part in (".strip + .under", ".pictures figcaption", ".set figcaption .on-paper"):
        assert page.script(look, part, "display") != "none"
    for part in ("details.long", ".controls", ".fit"):
        assert page.script(look, part, "display") == "none"
    page.medium("screen")
    assert page.script(look, "details.long", "display") != "none"


def test_the_four_pictures_are_on_the_first_sheet(page: Page) -> None:
    """An A4 sheet less 10 mm of margin is 190 mm by 277 mm, at 96 CSS px an inch.

    Guards against two of the pictures on a second sheet, which held nothing else.
    """
    page.size(round(190.0 / 25.4 * 96.0), 1000, "light")
    page.medium("print")
    bottom = page.script(
        "return document.querySelector('.pictures').getBoundingClientRect().bottom + scrollY"
    )
    page.medium("screen")
    page.size(1280, 900, "light")
    assert 400.0 < bottom < 277.0 / 25.4 * 96.0


def test_on_the_carrier_there_is_zero_beat_and_off_it_a_whistle(page: Page) -> None:
    """Regression: 'A carrier 0 Hz away becomes a whistle.'"""
    page.set_range("knob", 80.0)
    page.choose("station", "carrier")
    says = "return document.getElementById('says').textContent"
    page.set_range("dial", 0.0)
    assert "zero beat, no whistle" in page.script(says)
    page.set_range("dial", 800.0)
    assert "800 Hz away becomes a whistle" in page.script(says)


def test_a_script_error_is_noticed(page: Page) -> None:
    page.script("setTimeout(() => { throw new Error('on purpose'); }, 0)")
    page.settle()
    assert any("on purpose" in one for one in page.errors())


def test_parts_of_the_drawing_say_what_they_do_by_keyboard(page: Page) -> None:
    """One stop for the drawing, arrow keys from part to part; what stands under it is what a reader hears."""
    stops = page.script("return document.querySelectorAll('.drawing .part[tabindex=\"0\"]').length")
    assert stops == 1
    page.script("document.querySelector('.drawing .part[tabindex=\"0\"]').focus()")
    seen = []
    for _ in range(4):
        name, says = page.script(
            "const part = document.activeElement;"
            "return [part.getAttribute('aria-label'), document.getElementById('part-says').textContent]"
        )
        assert says == name
        seen.append(says)
        page.press_focused("ArrowRight")
    assert len(set(seen)) == 4
    assert all(". " in one and one.endswith(".") for one in seen)  # name and value, then what it does
    assert page.errors() == []


def test_a_part_says_what_it_must_stand(browser: Any, tmp_path: Path) -> None:
    """By keyboard and by pointer alike, once the sheet for the bench is in the page."""
    build = api.shipped_build("demo")
    known = filled(PartNeeds, designator="C1", buy_v=350.0, highest_v=231.0, buy_w=None)
    hot = filled(PartNeeds, designator="R1", buy_v=None, highest_v=None, buy_w=0.5)
    bench = filled(BenchSheet, parts=(known, hot), onsets=(), cautions=cautions.ALL)
    report = dataclasses.replace(invented_page.report(), bench=bench)
    file = tmp_path / "set.html"
    file.write_bytes(api.page_html(report, build, api.draw(build)))
    page = Page(browser, file)
    for ref, stands in (("C1", "Must stand 350 V (it meets 231 V)."), ("R1", "Needs 0.5 W.")):
        for ways in ("part.focus()", "part.dispatchEvent(new Event('pointerenter'))"):
            page.script(
                "document.getElementById('part-says').textContent = ''; document.activeElement.blur()"
            )
            page.script(
                "const part = document.querySelector(`.drawing .part[data-ref='${arguments[0]}']`);" + ways,
                ref,
            )
            says = page.script("return document.getElementById('part-says').textContent")
            assert says.startswith(ref) and says.endswith(" " + stands)
    assert page.errors() == []
