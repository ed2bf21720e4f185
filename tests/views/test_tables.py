import dataclasses
import io
import subprocess
import sys

import pytest

from receiver_sim.results import cautions
from receiver_sim.results.base import Status
from receiver_sim.views import tables
from receiver_sim.views.sheet import Column, Grid, Note, Section, as_text, show


def printed(renderable, width=100):
    return as_text(renderable, width)


def words(text):
    """Return text as one line, so that folding does not matter."""
    return " ".join(text.replace("\n ! ", " ").split())


def row(text, start):
    """Return the cells of the first line that begins so."""
    line = next(line for line in text.splitlines() if line.strip().startswith(start))
    return [cell.strip() for cell in line.split("  ") if cell.strip()]


@pytest.fixture
def sections(report):
    return {
        "band": tables.band_table(report.bands),
        "operating": tables.operating_table(report.operating_points),
        "ratings": tables.ratings_table(report.operating_points),
        "audio": tables.audio_table(report.audio),
        "hum": tables.hum_table(report.hum),
        "regulator": tables.regulator_table(report.regulator),
        "verdicts": tables.verdict_table(report.verdicts),
    }


def test_importing_tables_brings_neither_plots_nor_rich():
    code = (
        "import sys, receiver_sim.views.tables, receiver_sim.views.check_plots;"
        "print(sorted({'matplotlib', 'rich', 'scipy'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("width", [100, 80])
def test_no_line_exceeds_the_width(report, width):
    lines = printed(tables.check_report(report), width).splitlines()
    assert max(map(len, lines)) <= width
    assert not any(line != line.rstrip() for line in lines)


def test_rows_are_whole_lines_at_100_columns(report):
    """Regression: the status folded under itself as soon as a band had a long name."""
    text = printed(tables.band_table(report.bands))
    assert row(text, "160 m, the")[:3] == ["160 m, the...", "1.810", "does not oscillate"]


@pytest.mark.parametrize("width", [80, 50])
def test_a_narrow_terminal_loses_no_figure(sections, width):
    """Regression: rich cut '36.6' to '36.' where the columns did not fit."""
    for name, section in sections.items():
        narrow = words(printed(section, width)).split()
        for part in section.parts:
            if isinstance(part, Grid):
                cells = [piece for cells in part.rows for cell in cells for piece in cell.split()]
                assert not set(cells) - set(narrow), name


def test_a_grid_that_does_not_fit_repeats_its_first_columns():
    grid = Grid(
        (Column("band", "left"), Column("dial"), *(Column(f"c{n}") for n in range(4))),
        (("40 m", "7.1", "1234567", "2234567", "3234567", "4234567"),),
        repeat=2,
    )
    # 'band' (its words may fold) 4 + 2, dial 4 + 2; two of 7 + 2 (the last without gap) fit in 30
    assert grid.parts(30) == [[0, 1, 2, 3], [0, 1, 4, 5]]
    assert grid.parts(100) == [[0, 1, 2, 3, 4, 5]]


def test_one_column_is_not_left_by_itself():
    """Regression: 'screen W' stood alone under the meter readings at 80 columns; one more goes with it."""
    grid = Grid(tuple(Column(f"c{n}") for n in range(5)), (("12345678",) * 5,))
    # 8 + 2 each: three beside the first fit in 40 (the last without its gap), one would be left
    assert grid.parts(40) == [[0, 1, 2], [0, 3, 4]]


def test_readings_alike_at_all_settings_stand_once_and_triodes_have_no_screen(report):
    """Regression: a throttle moves no voltage and brought three equal tables, with empty columns."""
    tube = dataclasses.replace(
        report.operating_points[0].tubes[0], screen_v=None, screen_a=None, screen_w=None
    )
    points = [dataclasses.replace(point, tubes=(tube,)) for point in report.operating_points]
    assert len(points) > 1
    grids = [part for part in tables.operating_table(points).parts if isinstance(part, Grid)]
    readings = [grid for grid in grids if grid.columns[0].heading.strip() == "socket"]
    assert len(readings) == 1
    assert not any(column.heading.startswith("screen") for column in readings[0].columns)
    text = words(printed(tables.operating_table(points)))
    assert all(f"{point.label}: knob" in text for point in points)


def test_a_row_of_wrong_length_is_refused():
    with pytest.raises(ValueError, match=r"^row 1 has 1 cells for 2 columns$"):
        Grid((Column("a"), Column("b")), (("1", "2"), ("3",)))


def test_every_section_with_volts_brings_the_cautions(sections):
    for name, section in sections.items():
        text = words(printed(section))
        for caution in cautions.PLATE_SUPPLY:
            assert caution in text, name
        assert text.index(cautions.PLATE_SUPPLY[0]) < text.index(section.heading)
    assert cautions.RADIATION[0] in words(printed(sections["band"]))


def test_a_sheet_has_each_caution_once_and_first(report):
    text = words(printed(tables.check_report(report)))
    for caution in cautions.ALL:
        assert text.count(caution) == 1
        assert text.index(caution) < text.index("Onset of oscillation")


def test_a_report_without_cautions_gets_them_all_the_same(report):
    text = words(printed(tables.check_report(dataclasses.replace(report, cautions=()))))
    assert all(caution in text for caution in cautions.PLATE_SUPPLY)


def test_band_table_of_an_onset(report, onsets):
    text = printed(tables.band_table(report.bands[1:2]))
    middle = onsets[1]
    cells = row(text, "7.150")
    assert cells[:2] == ["7.150", "oscillates"]
    assert float(cells[2]) == pytest.approx(middle.onset.rotation * 100, abs=0.5)
    assert float(cells[3]) == pytest.approx(middle.onset.screen_v, abs=0.05)
    assert float(cells[4]) == pytest.approx(middle.oscillation_hz / 1e6, abs=5e-5)
    assert float(cells[5]) == pytest.approx(middle.slope_per_v, rel=5e-3)
    assert float(cells[6]) == pytest.approx(middle.approach_v, abs=0.05)
    assert float(cells[7]) == pytest.approx(middle.approach_deg, abs=0.5)
    assert "40 m at 7.150 MHz: stops oscillating again at knob 97 %, screen 55.4 V." in words(text)


def test_states_without_onset_are_said_in_words(report):
    text = words(printed(tables.band_table(report.bands)))
    assert ": does not oscillate anywhere on the control; the loop gain is 0.0830 at its" in text
    # said once for a band, however many dial settings
    assert text.count("does not oscillate anywhere on the control") == 1
    # of a part of the dial, which part
    assert "MHz: oscillates already at the lowest setting of the control" in text
    assert "10 m (trial) at 28.850 MHz: the simulation failed and gives no answer." in text
    assert "10 m (trial) at 28.850 MHz: no convergence at the d.c. point" in text
    for status in Status:
        assert status.value in text


def test_operating_point(report):
    text = printed(tables.operating_table(report.operating_points, "40 m"))
    cells = [
        "detector",
        "6SJ7*",
        "160.4",
        "26.94",
        "-0.31",
        "0.00",
        "1.171",
        "0.363",
        "0.14",
        "0.167",
        "0.007",
    ]
    assert row(text, "detector") == cells
    assert row(text, "audio")[3] == "-"  # a triode has no screen
    assert row(text, "wiper of the control") == ["wiper of the control", "33.14", "63.22"]
    assert "Coil of 40 m." in text and "screen at 26.9 V, published points at 100 to 250 V" in text
    assert "Current of the regulator, same order: 3.27 mA, 3.27 mA." in text


def test_ratings_show_the_worst_setting_tightest_first(report):
    text = printed(tables.ratings_table(report.operating_points))
    # 165.4 V + 57.02 V of the second setting against 210 V
    exceeded = ["audio 6SN7", "plate volts", "222 V", "210 V", "106 %", "X EXCEEDED", "highest"]
    assert row(text, "audio") == exceeded
    assert row(text, "detector")[5] == "within"
    assert text.index("audio 6SN7") < text.index("detector 6SJ7")


def test_audio_and_hum(report):
    text = printed(tables.audio_table(report.audio))
    # 20 log10 21.7 = 26.73
    assert row(text, "headset") == ["headset", "21.7", "26.7", "137 Hz", "3.46 kHz", "6.84 kohm", "10.2 kohm"]
    assert row(text, "line to")[4] == "-"
    text = printed(tables.hum_table(report.hum))
    assert "pot at 50 %" in text
    assert row(text, "headset")[3] == "43.7" and row(text, "headset")[6] == "310 uV"


def test_regulator(report):
    text = printed(tables.regulator_table(report.regulator))
    assert row(text, "90") == ["90", "184.5", "71.90", "0.41", "23.10", "46.9", "24.30", "X DOES NOT HOLD"]
    assert row(text, "100")[-1] == "holds"
    assert "Supply at 90 %: too little current to regulate." in text
    assert "Supply at 110 %: onset not found in range" in text
    assert "the dropper turns 1.51 W into heat, the regulator 453 mW." in words(text)


def test_no_regulator(report):
    point = report.regulator.points[1]
    bare = dataclasses.replace(point, regulator_a=None, holds=None, reason="no regulator")
    drift = dataclasses.replace(report.regulator, points=(bare,), dropper_w=None, regulator_w=None)
    text = printed(tables.regulator_table(drift))
    # no column that would be empty, and no word of a regulator but that there is none
    at = point.onset
    figures = [
        f"{v:.{d}f}" for v, d in ((205.0, 1), (point.screen_v, 2), (100 * at.rotation, 1), (at.screen_v, 2))
    ]
    assert row(text, "100") == ["100", *figures] and "into heat" not in text
    assert "regulated" not in text and "Onset and the supply, without a regulator" in text


def test_verdicts_worst_first_each_a_sentence_then_the_good_ones_in_short(report):
    lines = printed(tables.verdict_table(report.verdicts)).splitlines()
    assert "2 bad, 2 doubtful, 1 good." in lines
    marked = [line.split()[1] for line in lines if line.startswith((" X ", " ? ", " + "))]
    assert marked == ["BAD", "BAD", "doubtful", "doubtful", "good"]
    assert any(
        line.startswith(" X  BAD       160 m, the winter coil wound on the big former: It never oscillates")
        for line in lines
    )
    assert " ?  doubtful  40 m: The last bit is quick. [approach_min, 7.30 deg, limit 10.0 deg]" in lines
    assert " ?  doubtful  regulator: It lets go at low mains. [regulator_holds]" in lines
    assert lines[-1] == " +  good      40 m: onset_rotation_min"


def test_selectivity_table(report, selectivities):
    text = printed(tables.selectivity_table(report.bands))
    cells = row(text, "20 m")
    assert cells[:3] == ["20 m", "14.200", "120"]  # 14.2 MHz / 118
    assert float(cells[-1]) == pytest.approx(selectivities[1].bandwidth_hz[-1] / 1e3, rel=5e-3)
    assert "Not measured on any band." in printed(tables.selectivity_table(report.bands[3:]))


@pytest.mark.parametrize("width", range(40, 101))
def test_no_cell_is_cut_at_any_width(width):
    """Guards against the last column losing a letter where the columns just failed to fit."""
    columns = (Column("band", "left"), *(Column(f"column{n}") for n in range(8)))
    grid = Grid(columns, (("medium", *(f"123.{n}" for n in range(8))),))
    text = as_text(grid, width)
    assert max(map(len, text.splitlines())) <= width
    for n in range(8):
        assert f"column{n}" in text and f"123.{n}" in text


def test_check_report_in_order_with_absent_parts(report):
    text = printed(tables.check_report(report))
    heads = ["Onset of oscillation", "Verdicts", "Selectivity", "What a meter should read", "Ratings",
             "Audio response",
             "Hum", "Regulator and supply", "Warnings", "Made from"]  # fmt: skip
    places = [text.splitlines().index(head) for head in heads]
    assert places == sorted(places)
    assert "build ab12ab12ab12" in text and "6SN7 76dc76dc76dc" in text
    bare = dataclasses.replace(
        report, audio=None, hum=None, regulator=None, verdicts=(), operating_points=(), warnings=()
    )
    assert printed(tables.check_report(bare)).count("\nHum\n") == 0


def test_text_of_ours_is_ascii(report):
    plain_title = dataclasses.replace(report, title="ASCII")
    assert printed(tables.check_report(plain_title)).isascii()


def test_a_grid_that_folds_cuts_nothing_off() -> None:
    """Two columns of words whose longest words leave just enough room: both stay whole."""
    columns = (Column("part", "left"), Column("what", "left"), *(Column(f"n{n}") for n in range(7)),
               Column("as stated", "left"))  # fmt: skip
    row = ("R13", "regeneration control", *("1234.5" for _ in range(7)), "300 V, 750 mW: enough")
    for width in range(60, 101):
        lines = as_text(Grid(columns, (row,)), width).splitlines()
        words = " ".join(lines).split()
        assert max(map(len, lines)) <= width
        assert sorted(w for w in words if w in row[1] or w in row[-1]) == sorted(
            (row[1] + " " + row[-1]).split()
        )


def test_names_are_never_markup_nor_commands_to_the_terminal(report):
    text = printed(tables.check_report(report))
    assert "[bold]not markup[/bold]" in text
    hostile = Section("x\x1b[2Jy", (Note("a\x07b\u202ec"), Grid((Column("n", "left"),), (("\x1b]0;t",),))))
    assert not {"\x1b", "\x07", "\u202e"} & set(printed(hostile))


def test_ascii_only_output_keeps_going(report):
    raw = io.BytesIO()
    out = io.TextIOWrapper(raw, encoding="ascii")
    show(tables.check_report(report), out)
    out.flush()
    assert raw.getvalue().startswith(b"Invented set for the tests, ? la carte")


class Terminal(io.StringIO):
    encoding = "utf-8"

    def isatty(self):
        return True


def on_terminal(monkeypatch, **environment):
    for name in ("NO_COLOR", "FORCE_COLOR", "COLORTERM", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    for name, value in {"TERM": "xterm-256color", **environment}.items():
        monkeypatch.setenv(name, value)
    out = Terminal()
    show(Section("h", (Note("text", mark="X ", style="red"),)), out)
    return out.getvalue()


def test_colour_only_on_a_terminal_that_wants_it(monkeypatch):
    red = "\x1b[31m"
    assert red in on_terminal(monkeypatch)
    assert red not in on_terminal(monkeypatch, NO_COLOR="1")
    assert "\x1b" not in on_terminal(monkeypatch, TERM="dumb")
    pipe = io.StringIO()
    show(Section("h", (Note("text", mark="X ", style="red"),)), pipe)
    assert pipe.getvalue() == "h\nX text\n"


def test_a_set_without_hum_is_not_told_of_two_hums(report):
    """A set on batteries was told of heater hum at 50 Hz and ripple at 100 Hz, with nothing to make them."""
    silent = tuple(dataclasses.replace(one, at_build_v=0.0, ripple_v=0.0) for one in report.hum.outputs)
    text = " ".join(printed(tables.hum_table(dataclasses.replace(report.hum, outputs=silent))).split())
    assert "No a.c. on the heaters and no ripple of the supply: nothing hums." in text
    assert "Heater hum" not in text
