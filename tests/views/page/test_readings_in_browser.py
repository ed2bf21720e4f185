"""What is typed on the form of the bench, what of it counts, and what each place of the answer says of it.

The table of faults is invented (`tests/helpers/invented_faults.py`); the ranking that the script is held
against is the program's own, another path than the script's.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from receiver_sim import api
from receiver_sim.judge import fault_finder
from receiver_sim.judge.fault_predictions import Volt
from tests.helpers import invented_faults, invented_page
from tests.helpers.invented_faults import POINTS, RANGES
from tests.helpers.pages import Page

TYPE = """
const [values, ticked, heard] = arguments;
document.getElementById("clear-readings").click();
document.getElementById("reading-error").value = "3";
for (const [id, value] of Object.entries(values)) document.getElementById(id).value = value;
for (const id of ticked) document.getElementById(id).checked = true;
document.getElementById("heard").value = heard;
return window.bench.tell();
"""
TEXT = "return document.getElementById(arguments[0]).textContent"
INVALID = "return [...document.querySelectorAll('#readings [aria-invalid=true]')].map(e => e.id)"


@pytest.fixture(scope="module")
def invented() -> invented_faults.Made:
    return invented_faults.made()


@pytest.fixture(scope="module")
def page(browser: Any, tmp_path_factory: pytest.TempPathFactory, invented: invented_faults.Made) -> Page:
    """The form with the invented table, opened once."""
    build = api.shipped_build("demo")
    report = replace(invented_page.report(), faults=invented.table)
    file: Path = tmp_path_factory.mktemp("readings") / "set.html"
    file.write_bytes(api.page_html(report, build, api.draw(build)))
    return Page(browser, file)


def typed(page: Page, values: dict[str, str], ticked: tuple[str, ...] = (), heard: str = "") -> Any:
    return page.script(TYPE, values, ticked, heard)


def ranked(one: invented_faults.Made, read: dict[int, float], error: float) -> fault_finder.Ranked:
    """Return what `faults` says of readings that are off by a share of their value."""
    volts = tuple(
        Volt(POINTS[k], f"n{k}", "10 Mohm", 1e7, next(r for r in RANGES if abs(v) < 0.95 * r), v)
        for k, v in read.items()
    )
    rows = list(read)
    found = {key: replace(p, volts=p.volts[rows], spread=p.spread[rows]) for key, p in one.found.items()}
    points = {f"n{k}": words for k, words in enumerate(POINTS)}
    return fault_finder.rank(
        one.faults, found, fault_finder.Seen(volts, error, {}, None), points, one.scatter
    )


# ---------------------------------------------------------------------------- the error of a reading


@pytest.mark.parametrize(("entry", "error"), [("10", 0.10), ("0,5 %", 0.005), ("30", 0.30), ("0.1", 0.001)])
def test_the_error_that_is_typed_is_that_of_the_readings(
    page: Page, invented: invented_faults.Made, entry: str, error: float
) -> None:
    """A reading 8 V off points to a fault with a meter of half a per cent and to none with one of 30.

    The page carries six digits: shares within 1e-3 of their size.
    """
    read = {0: 54.0, 1: 20.9}
    found = typed(page, {"volt-0": "54.0", "volt-1": "20.9", "reading-error": entry})
    ours = ranked(invented, read, error)
    assert found["sound"] == pytest.approx(ours.sound, rel=1e-3, abs=1e-9)
    assert found["soundDeviation"] == pytest.approx(ours.sound_deviation, rel=1e-3)
    # it matters: with the usual 3 % another share comes out
    assert abs(ranked(invented, read, 0.03).sound - ours.sound) > 2e-3 * ours.sound
    assert page.script(INVALID) == []


@pytest.mark.parametrize("entry", ["0.099", "30.1", "-3", "some", "3..1"])
def test_an_error_out_of_reason_is_marked_and_three_per_cent_counts(
    page: Page, invented: invented_faults.Made, entry: str
) -> None:
    found = typed(page, {"volt-0": "54.0", "volt-1": "20.9", "reading-error": entry})
    assert page.script(INVALID) == ["reading-error"]
    assert found["sound"] == pytest.approx(ranked(invented, {0: 54.0, 1: 20.9}, 0.03).sound, rel=1e-3)


def test_an_error_left_blank_is_three_per_cent(page: Page, invented: invented_faults.Made) -> None:
    found = typed(page, {"volt-0": "54.0", "reading-error": " "})
    assert page.script(INVALID) == []
    assert found["sound"] == pytest.approx(ranked(invented, {0: 54.0}, 0.03).sound, rel=1e-3)


# ---------------------------------------------------------------------------- what counts


@pytest.mark.parametrize(
    ("field", "entry", "counts"),
    [
        ("volt-1", "1000", True), ("volt-1", "1000.1", False), ("volt-1", "-1000", True),
        ("volt-1", "-1000.1", False), ("volt-1", " 20,9 v ", True), ("volt-1", "20.9V", True),
        ("volt-1", "0", True), ("volt-1", "20.9 mV", False), ("volt-1", "1e400", False),
        ("onset-0", "0", True), ("onset-0", "100 %", True), ("onset-0", "100.1", False),
        ("onset-0", "-0.1", False),
        ("onset-0", "41,2%", True),
    ],
)  # fmt: skip
def test_an_entry_counts_up_to_its_limits(page: Page, field: str, entry: str, counts: bool) -> None:
    found = typed(page, {field: entry})
    assert (found is not None) == counts
    assert page.script(INVALID) == ([] if counts else [field])
    assert page.script("return document.getElementById('bench-answer').hidden") == (not counts)


def test_entries_that_are_not_understood_are_counted(page: Page) -> None:
    typed(page, {"volt-0": "x", "volt-1": "y", "volt-2": "7.5"})
    assert page.script(TEXT, "readings-wrong") == (
        "2 entries are not understood and not counted: volts from -1000 to 1000, per cent from 0 to 100."
    )
    typed(page, {"volt-2": "7.5"})
    assert page.script(TEXT, "readings-wrong") == ""


def test_onset_typed_in_per_cent_is_a_share_of_the_knob(page: Page) -> None:
    """A sound set begins at 37 % of the knob; one that begins at 0.37 % is far from it."""
    near, far = typed(page, {"onset-0": "37"}), typed(page, {"onset-0": "0.37"})
    assert near["healthy"] and near["soundDeviation"] < 1.0 < far["soundDeviation"]


def test_no_oscillation_ticked_goes_before_an_onset_that_is_typed(page: Page) -> None:
    both = typed(page, {"volt-0": "118.7", "onset-0": "37"}, ("none-0",))
    assert both == typed(page, {"volt-0": "118.7"}, ("none-0",))
    assert both != typed(page, {"volt-0": "118.7", "onset-0": "37"})


# ---------------------------------------------------------------------------- what is said


def test_the_form_says_what_each_place_should_have(page: Page, invented: invented_faults.Made) -> None:
    """Volts below 20 with two figures behind the point, above with one; onsets of a sound set in per cent."""
    rows = page.script(
        "return [...document.querySelectorAll('#volts-body tr, #onset-body tr')].map("
        "r => [...r.children].slice(0, 2).map(c => c.textContent))"
    )
    sound = invented.table.causes[0].sizes[0]
    due = [
        [p.name, f"{p.should_v:.2f} V" if p.should_v < 20.0 else f"{p.should_v:.1f} V"]
        for p in invented.table.points
    ]
    due += [
        [band, f"{100.0 * at:.1f} %"]
        for band, at in zip(invented.table.bands, sound.onset, strict=True)
        if at
    ]
    assert rows == due
    assert page.script(TEXT, "bench-setting") == invented.table.setting
    assert {p.should_v < 20.0 for p in invented.table.points} == {True, False}


def test_the_suspects_stand_in_the_order_of_their_shares(page: Page) -> None:
    found = typed(page, {"volt-0": "50.0"})
    rows = page.script(
        "return [...document.querySelectorAll('#suspects tr')].map("
        "r => [...[...r.children].map(c => c.textContent), r.querySelector('.share').style.width])"
    )
    lines = [["sound set", "", found["sound"], found["soundDeviation"]]]
    lines += [[s["names"], s["size"], s["share"], s["deviation"]] for s in found["suspects"][:8]]
    lines.sort(key=lambda line: -line[2])
    assert len(rows) == len(lines) > 2
    for row, (names, size, share, off) in zip(rows, lines, strict=True):
        assert row[:4] == [
            names if isinstance(names, str) else "; ".join(names), size, f"{100.0 * share:.1f} %",
            f"{off:.1f}",
        ]  # fmt: skip
        assert float(row[4].removesuffix("rem")) == pytest.approx(6.0 * share, abs=0.006)


def test_what_can_hurt_is_a_danger_from_a_twentieth_of_the_probability(page: Page) -> None:
    """Both words are seen here: a fault that can hurt with much and with little of the probability."""
    seen = {}
    for volts in ("62.0", "40.0", "44.0", "50.0"):
        found = typed(page, {"volt-0": volts})
        texts = page.script("return [...document.querySelectorAll('#rule-out p')].map(p => p.textContent)")
        tested = [h for h in found["hazards"] if h["tested"]]
        assert len(texts) == len(tested)
        for text, one in zip(texts, tested, strict=True):
            word = "DANGER" if one["share"] >= 0.05 else "CAUTION"
            assert text == f"{word}, {one['name']} is not ruled out: {one['why']}."
            seen[word] = text
    assert set(seen) == {"DANGER", "CAUTION"}


def test_the_next_reading_says_where_with_which_meter_and_what_each_would_give(
    page: Page, invented: invented_faults.Made
) -> None:
    found = typed(page, {}, heard="weak")
    assert found["next"] is not None and not page.script("return document.getElementById('next').hidden")
    table = invented.table
    assert (
        page.script(TEXT, "next-says") == f"{found['next']['where']}, {table.meter} meter. {table.how_next}"
    )
    rows = page.script(
        "return [...document.querySelectorAll('#next-volts tr')]"
        ".map(r => [...r.children].map(c => c.textContent))"
    )
    point = [p.name for p in table.points].index(found["next"]["where"])
    by_name = {cause.name: [size.true_v[point] for size in cause.sizes] for cause in table.causes}
    assert len(rows) >= 2
    for name, volts in rows:
        figure = float(volts.removesuffix(" V"))
        assert any(figure == pytest.approx(v, abs=0.0051 + 1e-5 * abs(v)) for v in by_name[name]), name


def test_clearing_takes_all_but_the_error_of_the_meter(page: Page) -> None:
    typed(page, {"volt-0": "50", "onset-1": "40", "reading-error": "7"}, ("none-0",), "weak")
    page.click("clear-readings")
    left = page.script(
        "return [...document.querySelectorAll('#readings input, #readings select')].map("
        "e => [e.id, e.type === 'checkbox' ? e.checked : e.value]).filter(([, v]) => v)"
    )
    assert left == [["reading-error", "7"]]
    assert page.script(TEXT, "fault-says") == "Nothing is typed yet."
    assert page.script("return document.querySelectorAll('#rule-out p').length") == 0
    assert page.script(TEXT, "untested") == ""


def test_readings_stay_at_their_places_when_the_table_changes(page: Page) -> None:
    """As on the live page, where the set is changed under a form that is filled in: by name, not number."""
    typed(page, {"volt-0": "50", "volt-2": "7.7", "onset-1": "40"}, ("none-0",))
    kept = page.script(
        "const data = JSON.parse(document.getElementById('bench-data').textContent);"
        "const turned = structuredClone(data);"
        "for (const key of ['points', 'bands']) turned[key].reverse();"
        "for (const cause of turned.causes) for (const size of cause.sizes) {"
        "  for (const key of ['volts', 'true', 'curves', 'onset']) size[key].reverse(); }"
        "window.bench.load(turned);"
        "const seen = [...document.querySelectorAll('#readings td input')].map("
        "  e => [e.id, e.type === 'checkbox' ? e.checked : e.value]).filter(([, v]) => v);"
        "window.bench.load(data); return seen;"
    )
    assert dict(kept) == {"volt-2": "50", "volt-0": "7.7", "onset-0": "40", "none-1": True}


def test_sending_the_form_leads_nowhere(page: Page) -> None:
    """Enter in an entry would load the page anew, and all readings were lost."""
    stopped = page.script(
        "const event = new Event('submit', { cancelable: true });"
        "document.getElementById('readings').dispatchEvent(event); return event.defaultPrevented"
    )
    assert stopped
    assert page.errors() == []
