"""The printed PDF, read back from its own drawing commands: order, whole words, cautions, pages."""

from __future__ import annotations

import base64
import re
import zlib
from collections.abc import Iterator
from typing import NamedTuple

import pytest

from receiver_sim.results import cautions
from receiver_sim.results.bench_sheet import DialScale
from receiver_sim.results.coils import DialMark
from receiver_sim.views import bench_sheet, dial_scale, printed_pdf
from receiver_sim.views.sheet import Column, Grid, Note, Section, Sheet
from tests.views import test_bench_sheet


class Said(NamedTuple):
    """A paragraph of a page: its lines, its colour (red, green, blue), its font and size."""

    lines: tuple[str, ...]
    colour: str
    font: str

    @property
    def bare(self) -> str:
        """Its words without blanks: how they are folded does not matter."""
        return "".join("".join(self.lines).split())


_OPERATION = re.compile(
    r"(?P<colour>[\d.]+ [\d.]+ [\d.]+) rg|/(?P<font>F\d [\d.]+) Tf|(?P<begin>\bBT\b)|(?P<end>\bET\b)"
    r"|\((?P<text>(?:\\.|[^\\)])*)\) Tj|(?P<next>T\*)"
)
"""What sets colour and font, begins and ends a paragraph, shows text and goes to the next line (ISO 32000-1,
table A.1)."""


def _plain(text: str) -> str:
    """Undo the escapes of a string in PDF (ISO 32000-1, 7.3.4.2)."""
    text = re.sub(r"\\(\d{3})", lambda m: chr(int(m[1], 8)), text)
    return re.sub(r"\\(.)", r"\1", text)


def _paragraphs(drawn: str) -> Iterator[Said]:
    colour = font = ""
    lines: list[str] = []
    for one in _OPERATION.finditer(drawn):
        if one["begin"]:
            lines = [""]
        elif one["text"] is not None:
            lines[-1] += _plain(one["text"])
            shown = colour, font
        elif one["next"]:
            lines.append("")
        elif one["end"] and any(lines):
            yield Said(tuple(filter(None, lines)), *shown)
        colour, font = one["colour"] or colour, one["font"] or font


def _drawn(data: bytes) -> list[str]:
    """Return the drawing commands of each page."""
    return [
        zlib.decompress(base64.a85decode(b"<~" + stream.strip(), adobe=True)).decode("latin-1")
        for stream in re.findall(rb"stream\r?\n(.*?)endstream", data, re.DOTALL)
    ]


def pages(data: bytes) -> list[list[Said]]:
    """Return the paragraphs of each page in the order they are drawn in."""
    return [list(_paragraphs(drawn)) for drawn in _drawn(data)]


def bare(text: str) -> str:
    return "".join(text.split())


BLACK, RED = "0 0 0", ".6 0 0"
PARTS = Grid(
    (Column("designator", "left"), Column("what it is", "left"), Column("volts")),
    (("C1", "coupling capacitor", "231.5"), ("C2", "blocking capacitor", "187.4")),
)


def sheet(*sections: Section, title: str = "a set") -> Sheet:
    return Sheet(title, sections, ("DANGER, C2: it meets too much.",))


def test_title_then_cautions_then_each_section_in_its_order() -> None:
    """Cautions in red; a hazard of the build before those that stand on any sheet; marks before notes."""
    data = printed_pdf.pdf(
        sheet(
            Section("Parts", (PARTS, Note("what follows", mark=" ! ")), cautions.PLATE_SUPPLY),
            Section("Wiring", (Note("from below"),)),
        )
    )
    (page,) = pages(data)
    due = [
        ("a set", BLACK), ("! DANGER, C2: it meets too much.", RED),
        *((f"! {text}", RED) for text in cautions.PLATE_SUPPLY),
        ("Parts", BLACK), ("designator", BLACK), ("what it is", BLACK), ("volts", BLACK),
        ("C1", BLACK), ("coupling capacitor", BLACK), ("231.5", BLACK),
        ("C2", BLACK), ("blocking capacitor", BLACK), ("187.4", BLACK),
        ("! what follows", BLACK), ("Wiring", BLACK), ("from below", BLACK),
    ]  # fmt: skip
    assert [(said.bare, said.colour) for said in page] == [(bare(text), colour) for text, colour in due]


def test_headings_are_larger_than_text_and_cautions_bold() -> None:
    """F1 is Helvetica, F2 Helvetica-Bold, as the file says itself."""
    data = printed_pdf.pdf(sheet(Section("Parts", (PARTS, Note("a note")))))
    names = dict(re.findall(rb"/BaseFont /(Helvetica(?:-Bold)?)\b.*?/Name /(F\d)", data, re.DOTALL))
    assert names == {b"Helvetica": b"F1", b"Helvetica-Bold": b"F2"}
    font = {said.bare: said.font for said in pages(data)[0]}
    assert font["aset"] == "F2 14" and font["Parts"] == "F2 11"
    assert font["anote"] == "F1 8" and font["C1"] == "F1 7"
    assert font[bare("! DANGER, C2: it meets too much.")] == "F2 8"


def test_a_page_is_a4_on_its_side() -> None:
    """297 by 210 mm (ISO 216), a point being 25.4/72 mm."""
    data = printed_pdf.pdf(sheet(Section("Parts", (PARTS,))))
    box = re.search(rb"/MediaBox \[ ([\d. ]+) \]", data)
    assert box is not None
    sizes = [float(number) * 25.4 / 72.0 for number in box[1].split()]
    assert sizes == pytest.approx([0.0, 0.0, 297.0, 210.0], abs=0.01)


def test_what_a_stranger_wrote_is_text() -> None:
    evil = Grid((Column("designator", "left"),), (("<b>R&1</b>",),))
    data = printed_pdf.pdf(sheet(Section("<i>x</i>", (evil, Note("a </para> b"))), title="t <u>"))
    said = [one.bare for one in pages(data)[0]]
    assert {"t<u>", "<i>x</i>", "<b>R&1</b>", "a</para>b"} <= set(said)


def test_letters_that_the_font_has_stay_and_others_become_marks() -> None:
    """Helvetica has Latin-1: e with an acute is in it, a Greek letter is not."""
    data = printed_pdf.pdf(sheet(Section("h", (Note("caf\u00e9 \u03a9"),))))
    assert bare("caf\u00e9 ?") in [one.bare for one in pages(data)[0]]


def test_a_long_table_has_its_headings_on_every_page() -> None:
    rows = tuple((f"R{n}", "a resistor", f"{n}.5") for n in range(1, 121))
    found = pages(printed_pdf.pdf(sheet(Section("Parts", (Grid(PARTS.columns, rows),)))))
    assert len(found) > 2
    for page in found[1:]:
        assert sum(one.bare == "designator" for one in page) == 1
    cells = [one.bare for page in found for one in page if re.fullmatch(r"R\d+", one.bare)]
    assert cells == [row[0] for row in rows]


def test_a_wide_table_is_set_in_parts_that_begin_with_its_first_columns() -> None:
    """Each cell stands once, those of the first two columns once a part."""
    names = [f"heading-number-{n}" for n in range(24)]
    grid = Grid(
        tuple(Column(name) for name in names), (tuple(f"cell-of-column-{n}" for n in range(24)),), repeat=2
    )
    said = [one.bare for page in pages(printed_pdf.pdf(sheet(Section("Wide", (grid,))))) for one in page]
    parts = said.count(names[0])
    assert parts > 1 and said.count(names[1]) == parts
    for n in range(2, 24):
        assert said.count(names[n]) == said.count(f"cell-of-column-{n}") == 1
    assert said.count("cell-of-column-0") == said.count("cell-of-column-1") == parts
    starts = [i for i, text in enumerate(said) if text == names[0]]
    assert all(said[i + 1] == names[1] for i in starts)


def test_a_table_that_fits_stays_in_one_part() -> None:
    said = [one.bare for one in pages(printed_pdf.pdf(sheet(Section("Parts", (PARTS,)))))[0]]
    assert said.count("designator") == 1


ROOM = (297.0 - 2.0 * 12.0) * 72.0 / 25.4 - 2.0 * 6.0
"""Width between the margins of 12 mm and what reportlab keeps free inside them (points)."""


def right_edge(data: bytes) -> float:
    """Return how far (points) a table reaches to the right of where it begins, the widest of them."""
    rules = re.findall(r"n ([\d.]+) [-\d.]+ m ([\d.]+) [-\d.]+ l S", "".join(_drawn(data)))
    return max(float(end) for _, end in rules)


def unbroken(*grids: Grid) -> None:
    """Assert that each figure, and each word of a heading or a text, stands in one line of the PDF."""
    data = printed_pdf.pdf(sheet(Section("h", grids)))
    found = [one.lines for page in pages(data) for one in page]
    words = {word for lines in found for line in lines for word in line.split()}
    for grid in grids:
        for number, column in enumerate(grid.columns):
            cells = [row[number] for row in grid.rows if row[number]]
            if column.align == "right":
                assert [cell for cell in cells if (cell,) not in found] == []
            assert {word for text in (column.heading, *cells) for word in text.split()} <= words
    assert right_edge(data) <= ROOM + 1e-3  # the file has four decimals


def test_no_figure_is_broken_over_lines() -> None:
    grid = Grid((Column("#"), Column("V")), (("1", "350"), ("2", "7.100")))
    lines = {one.lines for one in pages(printed_pdf.pdf(sheet(Section("Parts", (grid,)))))[0]}
    assert {("1",), ("350",), ("2",), ("7.100",)} <= lines


def test_no_figure_of_a_bench_sheet_is_broken() -> None:
    """Regression: 350 stood as 3, 5 and 0 below each other, and headings broke within words."""
    shown = bench_sheet.bench_sheet(test_bench_sheet.whole())
    unbroken(*(part for section in shown.sections for part in section.parts if isinstance(part, Grid)))


def test_wide_letters_have_room() -> None:
    """W is 0.944 of its size wide in Helvetica and in its bold, a figure 0.556 (Adobe's font metrics)."""
    unbroken(Grid((Column("WWWWWWW"), Column("a", "left")), (("WWWWWWWWW", "WWWWWW WWWWWWW"),)))


def test_a_column_of_one_letter_can_be_printed() -> None:
    """Regression: its cell was narrower than the blanks beside it, which stopped the PDF."""
    unbroken(Grid((Column("#", "left"), Column("n")), (("a", "1"), ("b", "2"))))


@pytest.mark.parametrize("count", [15, 19, 20, 22, 25, 40])
def test_a_table_of_figures_is_set_in_parts_before_a_figure_breaks(count: int) -> None:
    """Regression: up to 1.35 of the page's width a table was squeezed into it, whatever it held."""
    grid = Grid(tuple(Column(f"c{n}") for n in range(count)), (tuple(f"1{n:02}.4567" for n in range(count)),))
    unbroken(grid)


def test_a_table_a_little_too_wide_is_made_narrower_by_folding_its_texts() -> None:
    text = "a text of several words that may as well fold at any of its blanks"
    grid = Grid(
        (*(Column(f"text {n}", "left") for n in range(4)), Column("V")), ((text,) * 4 + ("123456.789",),)
    )
    unbroken(grid)
    said = [one.bare for page in pages(printed_pdf.pdf(sheet(Section("h", (grid,))))) for one in page]
    assert said.count("text0") == 1


@pytest.mark.parametrize("repeat", [1, 2, 3])
@pytest.mark.parametrize("place", [0, 1, 2])
def test_a_word_wider_than_the_page_is_broken_and_stays_on_it(repeat: int, place: int) -> None:
    word = "x" * 400
    row = tuple(word if n == place else f"{n}.75" for n in range(3))
    grid = Grid((Column("a"), Column("b", "left"), Column("c")), (row,), repeat=repeat)
    data = printed_pdf.pdf(sheet(Section("h", (grid,))))
    assert {word, *row} <= {one.bare for page in pages(data) for one in page}
    assert right_edge(data) <= ROOM + 1e-3  # the file has four decimals


def test_the_row_of_a_part_that_is_too_weak_is_red() -> None:
    grid = Grid(PARTS.columns, PARTS.rows, ("", "bold red"))
    colour = {one.bare: one.colour for one in pages(printed_pdf.pdf(sheet(Section("Parts", (grid,)))))[0]}
    assert [colour[t] for t in ("C1", "231.5", "C2", "187.4")] == [BLACK, BLACK, RED, RED]


def test_a_dial_has_a_page_of_its_own_behind_its_words() -> None:
    marks = tuple(DialMark(r / 8.0, 7.3e6 - 3e5 * r / 8.0, -1.0) for r in range(9))
    scale = dial_scale.scale_drawing([DialScale("40 m", "main", 180.0, marks)], diameter_mm=120.0)
    data = printed_pdf.pdf(sheet(Section("Parts", (PARTS,))), [("Dial one", scale), ("Dial two", scale)])
    found = pages(data)
    assert len(found) == 3
    assert [page[0].bare for page in found[1:]] == ["Dialone", "Dialtwo"]
    assert "Parts" in [one.bare for one in found[0]]


def test_the_file_names_its_title() -> None:
    assert b"/Title (a set)" in printed_pdf.pdf(sheet(Section("Parts", (PARTS,))))
