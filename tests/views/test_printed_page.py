"""A sheet as a page and as a spreadsheet: each cell in its place, weak parts marked, cautions first."""

from __future__ import annotations

import csv
import io
import re
from xml.etree import ElementTree

import pytest

from receiver_sim.results import cautions
from receiver_sim.views import printed_page, sheet
from receiver_sim.views.sheet import BLANK, Column, Grid, Note, Section, Sheet, as_text

GRID = Grid(
    (Column("\npart", "left"), Column("worst\nV"), Column("yours", "left")),
    (("C1", "231", BLANK), ("C2 & co", "187", "ok"), ("C3", "12", BLANK)),
    ("", "bold red", ""),
)
PAGE = Sheet(
    "a set",
    (
        Section(
            "Parts", (GRID, Note("a note", mark=" ! ")), ("DANGER, C2: too weak.", *cautions.PLATE_SUPPLY)
        ),
        Section("Radiation", (Note("it transmits"),), cautions.RADIATION),
    ),
    ("CAUTION, a sharp edge.", *cautions.NO_WARRANTY),
)


@pytest.fixture(scope="module")
def root() -> ElementTree.Element:
    """The page as a browser parses it; what XML does not know is closed before."""
    text = printed_page.html(PAGE, [("Dial", "<svg xmlns='http://www.w3.org/2000/svg'/>")])
    text = re.sub(r"<(meta[^>]*)>", r"<\1/>", text.replace("<!DOCTYPE html>", ""))
    return ElementTree.fromstring(text)


def words(element: ElementTree.Element) -> str:
    return " ".join("".join(element.itertext()).split())


def test_hazards_of_the_build_stand_first_then_the_standing_cautions_each_once() -> None:
    """DANGER and CAUTION alike, from sections and from the sheet."""
    assert PAGE.all_cautions() == (
        "DANGER, C2: too weak.", "CAUTION, a sharp edge.", *cautions.PLATE_SUPPLY, *cautions.RADIATION,
        *cautions.NO_WARRANTY,
    )  # fmt: skip
    twice = Sheet("t", (*PAGE.sections, *PAGE.sections), PAGE.cautions)
    assert twice.all_cautions() == PAGE.all_cautions()


def test_the_page_has_title_cautions_and_sections_in_order(root: ElementTree.Element) -> None:
    assert [words(e) for e in root.iter() if e.tag in ("title", "h1")] == ["a set", "a set"]
    assert [words(e) for e in root.iter("li")] == list(PAGE.all_cautions())
    body = root.find("body")
    assert body is not None
    parts = [e.get("class") or [h.text for h in e.iter("h2")] for e in body if e.tag == "section"]
    assert parts == ["cautions", ["Parts"], ["Radiation"]]
    assert [words(e) for e in root.iter("p")] == ["! a note", "it transmits"]
    assert [words(e) for e in root.iter("figcaption")] == ["Dial"]


def test_each_cell_of_the_page_stands_in_its_row_and_column(root: ElementTree.Element) -> None:
    (table,) = root.iter("table")
    heads = [(words(e), e.get("class")) for e in table.iter("th")]
    assert heads == [("part", None), ("worst V", "right"), ("yours", None)]
    rows = [[(words(e), e.get("class")) for e in row.iter("td")] for row in table.iter("tr")][1:]
    assert rows == [
        [("C1", None), ("231", "right"), (BLANK, "yours")],
        [("C2 & co", None), ("187", "right"), ("ok", None)],
        [("C3", None), ("12", "right"), (BLANK, "yours")],
    ]  # fmt: skip


def test_the_row_of_a_part_that_is_too_weak_is_marked(root: ElementTree.Element) -> None:
    (table,) = root.iter("table")
    marked = [row.get("class") for row in table.iter("tr")][1:]
    assert marked == [None, "bad", None]
    page = printed_page.html(PAGE)
    assert re.search(r"\.bad td \{[^}]*color: #a00;[^}]*font-weight: bold", page)


@pytest.mark.parametrize(("rows", "short"), [(12, True), (13, False)])
def test_a_table_of_up_to_twelve_rows_is_not_broken_over_pages(rows: int, short: bool) -> None:
    grid = Grid((Column("part", "left"),), (("C1",),) * rows)
    page = printed_page.html(Sheet("t", (Section("h", (grid,)),)))
    assert ('<table class="short">' in page) is short


def test_the_page_prints_its_headings_on_every_sheet_of_paper() -> None:
    page = printed_page.html(PAGE)
    assert "thead { display: table-header-group; }" in page and "@page { margin: 12mm; }" in page


def test_a_spreadsheet_has_cautions_headings_rows_and_notes_in_order() -> None:
    rows = list(csv.reader(io.StringIO(printed_page.csv_text(PAGE))))
    assert rows == [
        ["a set"], *(["CAUTION", text] for text in PAGE.all_cautions()),
        [], ["Parts"], ["part", "worst V", "yours"], ["C1", "231", BLANK], ["C2 & co", "187", "ok"],
        ["C3", "12", BLANK], ["a note"],
        [], ["Radiation"], ["it transmits"],
    ]  # fmt: skip


@pytest.mark.parametrize("text", ["=1+1", "+1", "@sum"])
def test_what_a_spreadsheet_would_run_is_text(text: str) -> None:
    """As common practice has it, a quote before it: '=', '+' and '@' begin a formula."""
    (row,) = csv.reader(io.StringIO(printed_page.csv_text(Sheet(text, ()))))
    assert row == [f"'{text}"]


@pytest.mark.parametrize("text", ["-3.16", "1+1", "a=b"])
def test_a_negative_figure_stays_one(text: str) -> None:
    (row,) = csv.reader(io.StringIO(printed_page.csv_text(Sheet(text, ()))))
    assert row == [text]


# ---------------------------------------------------------------------- as text


def test_a_printed_sheet_underlines_its_title_and_says_cautions_once_before_the_sections() -> None:
    lines = as_text(PAGE).splitlines()
    assert lines[:3] == ["a set", "=====", ""]
    whole = " ".join(" ".join(lines).split())
    assert whole.count("DANGER, C2: too weak.") == 1
    assert whole.index("DANGER") < whole.index("CAUTION, a sharp") < whole.index("Plate supplies kill")
    assert lines.index("Parts") > max(
        n for n, line in enumerate(lines) if line.startswith(" ! ") and "note" not in line
    )


def test_a_section_shown_alone_brings_its_cautions() -> None:
    lines = as_text(PAGE.sections[1]).splitlines()
    assert lines[0].startswith(" ! An oscillating detector on an aerial transmits")
    assert lines[-2:] == ["Radiation", "it transmits"]


def test_a_note_folds_under_its_own_first_word_and_keeps_paths_whole() -> None:
    long = "one two three four five six seven results/a-path-with-hyphens/of-a-deck.cir"
    lines = as_text(Note(long, mark=" ! "), 50).splitlines()
    assert lines[0].startswith(" ! one") and all(line.startswith("   ") for line in lines[1:])
    assert any(line.strip() == "results/a-path-with-hyphens/of-a-deck.cir" for line in lines)


def test_numbers_stand_to_the_right_and_words_to_the_left() -> None:
    grid = Grid((Column("part", "left"), Column("V")), (("C1", "1"), ("C10", "2345")))
    head, rule, first, second = as_text(grid).splitlines()
    assert set(rule.replace(" ", "")) == {"-"}
    assert first.index("C1") == second.index("C10") == head.index("part")
    assert len(first) == len(second) == len(head) and first.endswith("1") and head.endswith("V")


def test_headings_end_on_the_last_of_their_lines() -> None:
    grid = Grid((Column("part", "left"), Column("worst\nV")), (("C1", "231.5"),))
    first, second, *_ = as_text(grid).splitlines()
    assert "part" not in first and "worst" in first and second.split() == ["part", "V"]


def test_a_sheet_is_a_hundred_columns_wide_at_most() -> None:
    assert sheet.WIDTH == 100
    text = as_text(Note("word " * 200))
    longest = max(len(line) for line in text.splitlines())
    assert 90 < longest <= 100
