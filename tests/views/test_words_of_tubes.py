"""What the tables of `swap` and `tubes` say in words: states, marks, limits, what was left out."""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pytest

from receiver_sim.results import cautions, swap, tubes
from receiver_sim.results.base import Status
from receiver_sim.results.bias import RatingLine
from receiver_sim.results.envelope import OnsetKind
from receiver_sim.results.onset import ControlSetting, Onset
from receiver_sim.results.tube_curves import GmLine, TubeCurves
from receiver_sim.schema.card import card_for
from receiver_sim.views import swap_tables, tube_tables
from receiver_sim.views.sheet import Grid, Note, Section
from tests.helpers import reading
from tests.helpers.cells import note_with, the
from tests.helpers.filling import Source, filled

# ---------------------------------------------------------------------- substitution


def onset(status: Status = Status.OSCILLATES, band: str = "40 m") -> Onset:
    at = ControlSetting(0.437, 31.24) if status is Status.OSCILLATES else None
    return filled(Onset, band=band, status=status, onset=at)


def outcome(status: Status, kind: OnsetKind | None, **given: object) -> swap.BandOutcome:
    return filled(swap.BandOutcome, onset=onset(status), kind=kind, **given)


def detector(rank: int = 1, **given: object) -> swap.DetectorCandidate:
    plain: dict[str, object] = {
        "rank": rank, "tube": f"XJ{rank}", "in_place": False, "extrapolated": (), "failed": None,
        "alike": False, "bands": (outcome(Status.OSCILLATES, OnsetKind.SOFT),), "remedies": (),
        "fitted": None,
    }  # fmt: skip
    return filled(swap.DetectorCandidate, **{**plain, **given})


def report(*detectors: swap.DetectorCandidate, **given: object) -> swap.SwapReport:
    plain: dict[str, object] = {
        "title": "set", "socket": "detector", "band": "40 m", "reference": "6SJ7", "audios": (),
        "rf_stages": (), "left_out": (),
    }  # fmt: skip
    return filled(swap.SwapReport, detectors=detectors, **{**plain, **given})


def test_a_candidate_without_figures_shows_none() -> None:
    silent = detector(
        bands=(outcome(Status.DOES_NOT, None, backlash_v=None),), detection=None, noise=None, alike=True
    )
    (row,) = the(swap_tables.swap_sheet(report(silent)), "Candidates.*").rows
    assert row[:3] == ("=1", "XJ1", "0/1") and set(row[3:5]) | set(row[7:]) == {"-"}


@pytest.mark.parametrize(
    ("status", "kind", "cell"),
    [
        (Status.OSCILLATES, OnsetKind.SOFT, "31.2  44 %"),
        (Status.OSCILLATES, OnsetKind.HARD, "31.2  44 % h"),
        (Status.OSCILLATES, OnsetKind.JUMPS, "31.2  44 % j"), (Status.OSCILLATES, None, "31.2  44 %"),
        (Status.DOES_NOT, None, "no onset"), (Status.NOT_IN_RANGE, None, "below range"),
        (Status.FAILED, None, "failed"),
    ],
)  # fmt: skip
def test_onset_on_a_band_with_its_mark_or_its_state(
    status: Status, kind: OnsetKind | None, cell: str
) -> None:
    page = swap_tables.swap_sheet(report(detector(bands=(outcome(status, kind, note="why"),))))
    assert the(page, "Onset on every band").rows == (("XJ1", cell),)
    unknown = [n for n in reading.notes(page) if "backlash not known" in n]
    # an onset of which it is not known how it comes in has its reason
    assert unknown == (
        ["XJ1 on 40 m: backlash not known: why"] if cell == "31.2  44 %" and kind is None else []
    )


def test_tubes_in_place_and_beyond_print_are_marked_and_explained() -> None:
    page = swap_tables.swap_sheet(report(detector(1, extrapolated=("screen",)), detector(2, in_place=True)))
    assert the(page, "Candidates.*").column("tube") == ("XJ1*", ">XJ2")
    grid = next(part for part in page.sections[0].parts if isinstance(part, Grid))
    assert grid.styles == ("", "bold")
    assert note_with(page, "* works outside")
    sound = swap_tables.swap_sheet(report(detector()))
    assert not [n for n in reading.notes(sound) if n.startswith("*")]


@pytest.mark.parametrize(("aerial", "where"), [(1e-6, "e.m.f. in the aerial"), (None, "at the grid")])
def test_the_weakest_signal_is_one_in_the_aerial_or_at_the_grid(aerial: float | None, where: str) -> None:
    weakest = tuple(swap.WeakestSignal(width, 3.21e-6, aerial) for width in (500.0, 3e3))
    noise = filled(swap.SignalNoise, weakest=weakest)
    page = swap_tables.swap_sheet(report(detector(noise=noise)))
    note = note_with(page, "Weakest:")
    assert f"Weakest: {where}, r.m.s., 10 dB above the set's noise." in note
    table = the(page, "Candidates.*")
    assert table.rows[0][-2:] == (("1.00", "1.00") if aerial else ("3.21", "3.21"))


def test_reasons_stand_beside_rank_and_tube_and_what_was_not_tried_is_named() -> None:
    one = detector(3, reasons=("the gentlest", "quiet"))
    page = swap_tables.swap_sheet(report(one, left_out=("6K7: no card", "6J7"), notes=("a note",)))
    (why,) = [s for s in page.sections if s.heading == "Why"]
    (note,) = [p for p in why.parts if isinstance(p, Note)]
    assert note.mark.split() == ["3", "XJ3"] and note.text == "the gentlest; quiet"
    assert reading.notes(page.sections[-1]) == ["a note", "Not tried: 6K7: no card; 6J7."]


def test_the_sections_of_a_substitution_stand_in_their_order_with_their_cautions() -> None:
    both = cautions.PLATE_SUPPLY + cautions.RADIATION
    used = filled(swap.Fitted, range=filled(swap.OnsetRange, unit="V", quantity="screen voltage"))
    page = swap_tables.swap_sheet(report(detector(fitted=used)))
    assert page.title == "set: tubes for the detector socket"
    assert [(section.heading, section.cautions) for section in page.sections] == [
        ("Candidates, best first", both), ("Why", ()), ("Onset on every band", both),
        ("What brings it to the same onset", ()), ("How far tubes of one type differ, as used", ()),
        ("In the socket of the 6SJ7", cautions.PLATE_SUPPLY), ("How to read it", ()),
    ]  # fmt: skip


def change(**given: object) -> swap.Adjustment:
    plain: dict[str, object] = {
        "what": "end resistor", "band": "40 m", "key": "regeneration.top", "after": 47e3, "found": 0.44,
        "works": True, "reason": None,
    }  # fmt: skip
    return filled(swap.Adjustment, **{**plain, **given})


@pytest.mark.parametrize(
    ("given", "cell"),
    [
        ({}, "47 kohm (44 %)"), ({"works": False}, "X 47 kohm (44 %)"), ({"after": 0.0}, "none (44 %)"),
        ({"found": None}, "47 kohm (no onset)"), ({"after": None}, "-"),
    ],
)  # fmt: skip
def test_a_change_of_the_end_resistor(given: dict[str, object], cell: str) -> None:
    tap = change(what="tap", key="bands[0].coil.tap", after=0.0834)
    page = swap_tables.swap_sheet(report(detector(remedies=(change(**given), tap))))
    assert the(page, "What brings it to the onset of the 6SJ7").rows == (("XJ1", cell, "8.34 % (44 %)"),)


def test_why_a_change_cannot_be_made_is_said_once_for_all_tubes() -> None:
    tap = change(what="tap", key="bands[0].coil.tap", after=None, reason="beyond half the turns")
    end = change(after=None, reason="no room")
    page = swap_tables.swap_sheet(report(detector(1, remedies=(end, tap)), detector(2, remedies=(tap,))))
    assert note_with(page, "beyond half") == "tap on 40 m: beyond half the turns (XJ1, XJ2)"
    assert note_with(page, "no room") == "end resistor: no room (XJ1)"


FITTINGS = (
    ({"drop_in": True}, "plugs in; heater 6.3 V fits; no shield"),
    (
        {"other_base": True, "pins": ("octal to 7-pin",)},
        "heater 6.3 V fits; another socket: octal to 7-pin; no shield",
    ),
    ({"pins": ("pin 3 to 4", "pin 5 free")},
     "heater 6.3 V fits; same octal socket rewired: pin 3 to 4, pin 5 free; no shield"),
    ({}, "heater 6.3 V fits; same socket and pins as the 6SJ7; no shield"),
)  # fmt: skip


@pytest.mark.parametrize(("given", "said"), FITTINGS)
def test_what_is_to_be_done_at_the_socket(given: dict[str, object], said: str) -> None:
    plain: dict[str, object] = {
        "heater": "6.3 V fits", "base": "octal", "other_base": False, "pins": (), "shield": "no shield",
        "drop_in": False,
    }  # fmt: skip
    fitting = filled(swap.Fitting, **{**plain, **given})
    page = swap_tables.swap_sheet(report(detector(fitting=fitting), detector(2, in_place=True)))
    (section,) = [s for s in page.sections if s.heading == "In the socket of the 6SJ7"]
    assert reading.notes(section) == [said]


def test_an_audio_tube_without_a_remedy_and_with_one_that_fails() -> None:
    def audio(rank: int, **given: object) -> swap.AudioCandidate:
        plain: dict[str, object] = {
            "tube": f"XT{rank}",
            "in_place": False,
            "extrapolated": (),
            "failed": None,
        }
        return filled(swap.AudioCandidate, rank=rank, **{**plain, **given})

    failing = change(what="cathode resistor", after=None, found=None, reason="it draws too little")
    page = swap_tables.swap_sheet(
        report(
            socket="audio", audios=(audio(1, remedies=()), audio(2, remedies=(failing,), extrapolated=("x",)))
        )
    )
    table = the(page, "Candidates.*")
    assert [row[-2:] for row in table.rows] == [("-", "-"), ("-", "-")]
    assert note_with(page, "too little") == "XT2, cathode resistor: it draws too little"
    assert note_with(page, "* works outside")
    assert page.sections[0].cautions == cautions.PLATE_SUPPLY


def test_an_rf_tube_that_failed_or_has_no_onset_keeps_its_row() -> None:
    source = Source()

    def stage(rank: int, **given: object) -> swap.RfCandidate:
        plain: dict[str, object] = {
            "tube": f"XT{rank}",
            "in_place": False,
            "extrapolated": (),
            "failed": None,
        }
        return filled(swap.RfCandidate, source, rank=rank, **{**plain, **given})

    front = dataclasses.replace(
        filled(swap.RfBand, source).front, onset=None, status=Status.NOT_IN_RANGE, weakest_v=None
    )
    quiet = filled(
        swap.RfBand, source, band="40 m", front=front, gain_db=-0.04, radiation_db=2.34, moved_rotation=None
    )
    lost = stage(1, failed="no convergence", bands=(), ratings=(), extrapolated=("x",))
    line = RatingLine("r.f. XT2", "plate volts", 303.0, 300.0, "V")
    page = swap_tables.swap_sheet(
        report(socket="rf", rf_stages=(lost, stage(2, bands=(quiet,), ratings=(line,))))
    )
    rank = the(page, "Candidates.*")
    assert (rank.rows[0][1:4], rank.rows[0][-1]) == (("XT1*", "-", "-"), "-")
    assert (rank.rows[1][2:4], rank.rows[1][-1]) == (("0.0", "+2.3"), "101")
    (row,) = the(page, "With each tube on 40 m").rows
    # no sign before a zero
    assert (row[2], *row[4:]) == ("0.0", "+2.3", "always", "-", "-")
    for section in page.sections[0], page.sections[2]:
        assert section.cautions == cautions.PLATE_SUPPLY + cautions.RADIATION
    assert note_with(page, "* works outside")


# ---------------------------------------------------------------------- cards


def error_row(quantity: str, error: float, **given: object) -> tubes.PointError:
    plain: dict[str, object] = {
        "limit": tubes.GATES[quantity], "gated": True, "printed": 1.0, "model": 1.0 + error, "flag": "seen",
        "bias": "-3 V",
    }  # fmt: skip
    return filled(tubes.PointError, quantity=quantity, error=error, **{**plain, **given})


@pytest.mark.parametrize("quantity", sorted(tubes.GATES))
@pytest.mark.parametrize(("share", "said"), [(1.01, "X MISSED"), (0.99, "within")])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_figure_a_hundredth_from_its_limit(quantity: str, share: float, said: str, sign: float) -> None:
    row = error_row(quantity, sign * share * tubes.GATES[quantity])
    section = tube_tables.check_table(tubes.TubeTable((row,), 1.0, 1))
    (cells,) = the(section, "Published points.*").rows
    assert cells[9] == said
    assert cells[8] == f"{100.0 * row.error:+.1f}"
    (grid,) = [part for part in section.parts if isinstance(part, Grid)]
    assert grid.styles == ("bold red" if said == "X MISSED" else "",)


def test_the_limits_in_words_are_those_that_are_gone_by() -> None:
    row = error_row("gm", 0.01)
    text = note_with(tube_tables.check_table(tubes.TubeTable((row,), 1.0, 1)), "Limits:")
    stated = re.match(
        r"Limits: Ip, gm and mu (\d+) %, Is (\d+) %, rp of triodes (\d+) %, cut-off and gain (\d+) %\. ", text
    )
    assert stated is not None
    names = (("plate_current", "gm", "mu"), ("screen_current",), ("rp",), ("bias", "gain"))
    for percent, quantities in zip(stated.groups(), names, strict=True):
        assert {tubes.GATES[q] for q in quantities} == {float(percent) / 100.0}
    assert "recalled with high, medium or low confidence" in text


def test_what_is_not_counted_is_shown_and_explained() -> None:
    rows = (error_row("gm", 0.02), error_row("gm", 0.4, gated=False, flag="memory-low"),
            error_row("bias", 0.1, bias="cut-off -8.3 V"), error_row("gain", -0.03))  # fmt: skip
    section = tube_tables.check_table(tubes.TubeTable(rows, 1.0, 1))
    found = the(section, "Published points.*")
    assert [cells[9] for cells in found.rows] == ["within", "-", "within", "within"]
    assert found.column("flag") == ("seen", "low", "seen", "seen")
    assert found.column("bias")[2] == "-8.3 V"
    assert note_with(section, "counted, ") == (
        "3 figures counted, 0 missed. Median errors: plate current and gm 2.0 %, cut-off bias 10.0 %, gain "
        "of stages 3.0 %."
    )
    assert "memory-low" in note_with(section, "Not counted")
    counted = tube_tables.check_table(tubes.TubeTable(rows[:1], 1.0, 1))
    assert not [n for n in reading.notes(counted) if n.startswith("Not counted")]
    assert section.cautions == cautions.PLATE_SUPPLY


def test_a_fit_says_where_it_was_written() -> None:
    found = filled(tubes.FitResult, type="6SJ7", law=None, residuals=(error_row("gm", 0.02),))
    page = tube_tables.fit_sheet(found, "out/6SJ7.yaml")
    assert page.title == "6SJ7" and [s.heading for s in page.sections] == ["Fitted law", "Residuals"]
    assert note_with(page, "written") == "written to out/6SJ7.yaml"
    table = the(page, "Fitted law")
    assert table.headings == ("parameter", "value", "standard deviation", "held by")
    for row, p in zip(table.rows, found.parameters, strict=True):
        assert (row[0], row[3]) == (p.name, p.held_by)
        assert (float(row[1]), float(row[2])) == (
            pytest.approx(p.value, rel=5e-5),
            pytest.approx(p.deviation, rel=0.05),
        )
    assert note_with(tube_tables.fit_sheet(found, None), "written") == "nothing written"


def test_cards_that_differ_from_their_fit_are_marked() -> None:
    checks = (tubes.FitCheck("6SJ7", ()), tubes.FitCheck("6C5", ("mu: 19 for 20", "k: 1 for 2")))
    assert the(tube_tables.fit_check_table(checks), "Cards.*").rows == (
        ("6SJ7", "agrees", "-"), ("6C5", "X DIFFERS", "mu: 19 for 20; k: 1 for 2"),
    )  # fmt: skip


def test_a_card_of_too_few_points_is_named_where_each_is_left_out() -> None:
    section = tube_tables.leave_one_out_table([tubes.LeaveOneOut("6C5", ()), tubes.LeaveOneOut("76", ())])
    assert reading.notes(section) == ["fewer than three points, so nothing to leave out: 6C5, 76"]
    errors = (error_row("screen_current", -0.08), error_row("gm", 0.5, gated=False))
    left = tubes.LeftOut("6SJ7", 0, errors, (0.1, 0.1))
    section = tube_tables.leave_one_out_table([tubes.LeaveOneOut("6SJ7", (left,))])
    # ln 0.92 = -8.3 % lies within 1.28 deviations of 10 %, ln 1.5 = 41 % does not
    assert reading.notes(section) == [
        "screen current: median 8.0 %, nine of ten within 8.0 %",
        "80 % ranges: 50 % of 2 figures lie within",
    ]


def test_a_card_names_its_pins_how_sure_they_are_and_where_it_was_fitted() -> None:
    card = card_for("6SJ7")
    page = tube_tables.card_sheet(card)
    assert page.title == f"6SJ7: {card.title}"
    (first,) = [n for n in reading.notes(page) if n.startswith("base ")]
    assert first.startswith(f"base {card.base} ({card.pins_flag}): ")
    assert first.partition(": ")[2] == ", ".join(f"{pin} {what}" for pin, what in card.pins.items())
    assert card.fit is not None and card.fit.range.screen is not None
    fitted = reading.figures(note_with(page, "Fitted on"))
    span = card.fit.range
    assert [value for value, _ in fitted] == [span.plate[1], span.screen[1], span.grid[1]]
    assert "anything outside is extrapolated" in note_with(page, "Fitted on")
    assert "direct" not in note_with(page, "cut-off; heater")
    unfitted = tube_tables.card_sheet(card.model_copy(update={"fit": None}))
    assert [s.heading for s in unfitted.sections] == ["What it is", "Published points"]
    assert all(s.cautions == cautions.PLATE_SUPPLY for s in unfitted.sections)


# ---------------------------------------------------------------------- curves


def curves(**given: object) -> TubeCurves:
    rising = np.array([10.0, 40.0])
    line = GmLine(None, 90.0, rising, np.array([-0.5, -0.8]), np.array([3e-4, 6e-4]), np.array([4e-4, 7e-4]))
    plain: dict[str, object] = {
        "type": "6SJ7", "tied": False, "gm_lines": (line,), "screen_range": (15.0, 30.0), "leak_ohm": 2.7e6,
        "plate_range": (100.0, 250.0), "grid_range": (-8.0, -1.0), "plate_lines": (), "transfer_lines": (),
        "marks": (), "evaluations": 311,
    }  # fmt: skip
    return filled(TubeCurves, **{**plain, **given})


def test_detector_conditions_within_what_was_published() -> None:
    """Ends of the published screen volts are within; the curve ends at 40 V."""
    page = tube_tables.curves_sheet(curves())
    assert page.title == "6SJ7: curves"
    table = the(page, "As a detector.*")
    assert dict(zip(table.column("screen V"), table.column(""), strict=True)) == {
        "10": "* extrapolated", "15": "", "20": "", "30": "", "40": "* extrapolated",
    }  # fmt: skip
    assert reading.notes(page.sections[0]) == [
        "Plate at 90 V, grid leak of 2.7 Mohm to the cathode.",
        "* the published points have 15 to 30 V on the screen.",
    ]
    assert reading.notes(page.sections[1]) == [
        "Published points: plate 100 to 250 V, grid -8 to -1 V; curves beyond them are extrapolated.",
        "0 plate lines, 0 transfer lines, 0 published points; 311 runs of ngspice.",
    ]
    assert all(section.cautions == cautions.PLATE_SUPPLY for section in page.sections)


def test_a_tube_tied_as_triode_or_without_a_floating_grid_is_named_so() -> None:
    page = tube_tables.curves_sheet(curves(tied=True, gm_lines=(), screen_range=None))
    assert page.title == "6SJ7 as triode: curves"
    section: Section
    (section,) = page.sections
    assert section.heading == "Curves"
    none = tube_tables.curves_sheet(curves(screen_range=None))
    assert set(the(none, "As a detector.*").column("")) == {"* extrapolated"}
    assert len(reading.notes(none.sections[0])) == 1
