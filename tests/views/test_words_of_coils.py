"""What the tables of `coils`, `tap` and `wind` say in words: places of windings, gaps, dead spots, states."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from receiver_sim.results import cautions, coils, rf_stage
from receiver_sim.results.base import FailedStage, Status
from receiver_sim.results.onset import ControlSetting
from receiver_sim.views import aerial_tables, coil_tables, design_tables, rf_tables
from receiver_sim.views.sheet import Note
from tests.helpers import reading
from tests.helpers.cells import facts, note_with, the
from tests.helpers.filling import Source, filled

# ---------------------------------------------------------------------- windings


def part(name: str) -> coils.WindingPart:
    return filled(coils.WindingPart, part=name)


def coil(**given: object) -> coils.CoilSheet:
    """A wound coil without a link, a tickler or anything to remark on."""
    bare = {
        "band": "40 m", "parts": (part("coil"),), "former": None, "former_assumed": False,
        "self_extrapolated": False, "tickler_reversed": False, "tickler_henry": None, "link_henry": None,
    }  # fmt: skip
    return filled(coils.CoilSheet, **{**bare, **given})


def test_tickler_and_link_each_stand_at_their_own_place_and_distance() -> None:
    """Two gaps in millimetres beside each other: 2.3 mm of the tickler, 7.1 mm of the link."""
    one = coil(
        parts=(part("coil"), part("tickler"), part("link")),
        tickler_place="above", tickler_gap_m=2.3e-3, link_place="below", link_gap_m=7.1e-3,
    )  # fmt: skip
    table = the(coil_tables.winding_table([one]), "Windings")
    assert table.column("winding") == ("coil", "tickler", "link")
    assert table.column("place") == ("", "above, 2.3 mm", "below, 7.1 mm")


def test_only_a_wound_coil_has_rows_and_their_legend() -> None:
    figures = coil(parts=(), tap_share=0.0734)
    section = coil_tables.winding_table([figures])
    assert reading.tables(section) == []
    assert reading.notes(section) == ["40 m: given by its figures, with the tap at 7.3 % of the turns."]
    assert section.cautions == cautions.PLATE_SUPPLY
    wound = coil_tables.winding_table([coil()])
    (legend,) = reading.notes(wound)
    assert legend.startswith("Turns count from the grounded end. Wire in mm is bare")
    untapped = coil_tables.winding_table([coil(parts=(), tap_share=None)])
    assert reading.notes(untapped) == []


def test_a_reversed_tickler_and_one_given_by_its_figures_are_told() -> None:
    wrong = coil(tickler_reversed=True)
    assert note_with(coil_tables.winding_table([wrong]), "against") == (
        "40 m: the tickler works against the swing; swap its two ends."
    )
    given = coil(tickler_henry=3.21e-6, tickler_place=None, tickler_coupling=0.4567)
    assert note_with(coil_tables.winding_table([given]), "tickler given") == (
        "40 m: tickler given by its figures, 3.21 uH coupled by 0.457."
    )
    placed = dataclasses.replace(given, tickler_place="over")
    assert not [n for n in reading.notes(coil_tables.winding_table([placed])) if "tickler given" in n]


def test_columns_of_links_and_ticklers_stand_only_where_there_are_any() -> None:
    bare = coil()
    plain = the(coil_tables.figures_table([bare], ()), "Electrical values").headings
    assert plain[-3:] == ("tap turns %", "tap volts %", "coup- ling")
    linked = coil(link_henry=1.1e-6)
    section = coil_tables.figures_table([bare, linked], ())
    table = the(section, "Electrical values")
    assert table.headings[-3:] == ("link uH", "link k", "link C pF")
    assert table.rows[0][-3] == "-"
    assert "Link C: to the hot end, shield included." in reading.notes(section)[0]
    fed = coil(tickler_henry=2e-6)
    section = coil_tables.figures_table([fed, bare], ())
    table = the(section, "Electrical values")
    assert table.headings[-3:] == ("tickler uH", "tickler k", "M/L %")
    legend = reading.notes(section)[0]
    assert "mutual inductance over the coil's" in legend and "Coupling: of the two sections" not in legend


def test_a_former_that_nobody_named_is_told_with_its_bands() -> None:
    given = [
        coil(band="80 m", former="bakelite", former_assumed=True),
        coil(band="40 m", former="bakelite", former_assumed=True),
        coil(band="20 m", former="ceramic"), coil(band="15 m", self_extrapolated=True),
    ]  # fmt: skip
    notes = reading.notes(coil_tables.figures_table(given, ()))
    (assumed,) = [n for n in notes if n.startswith("Q of 80 m, 40 m: ")]
    assert "of bakelite" in assumed and "set 'winding.material'" in assumed
    (named,) = [n for n in notes if n.startswith("Q of 20 m: ")]
    assert "of ceramic" in named and "set 'winding.material'" not in named
    (far,) = [n for n in notes if "extrapolated" in n]
    # Medhurst 1947 measured lengths of up to 50 diameters
    assert far.startswith("Own C of 15 m: ") and "0.1 to 50 diameters" in far and "Medhurst 1947" in far


# ---------------------------------------------------------------------- range and dial


def span(band: str = "40 m", **given: object) -> coils.CoilRange:
    marks = tuple(coils.DialMark(p, 6e6 + 1e6 * (1.0 - p), -20e3) for p in (0.0, 0.5, 1.0))
    plain = {"band": band, "marks": marks, "travel_deg": 180.0, "band_low": 0.4, "band_high": 0.1}
    return filled(coils.CoilRange, **{**plain, **given})


NO_COVER = coils.Coverage(1936, 2, (), (), (), ())


def test_a_band_that_the_dial_does_not_reach_is_named() -> None:
    for gone in ("band_low", "band_high"):
        section = coil_tables.range_table([span(**{gone: None})], NO_COVER)
        assert note_with(section, "does not reach") == "40 m: the dial does not reach the whole band."
        (row,) = the(section, "Range and dial").rows
        place = {"band_low": (7, 9), "band_high": (8, 10)}[gone]
        assert [n for n, cell in enumerate(row) if cell == "-"] == list(place)
    whole = coil_tables.range_table([span()], NO_COVER)
    assert not [n for n in reading.notes(whole) if "does not reach" in n]
    assert "count from plates out" in reading.notes(whole)[0]
    assert the(coil_tables.range_table([span(main_rotation=None)], NO_COVER), "Range.*").rows[0][6] == "-"


def test_the_scale_has_every_other_mark_of_its_own_dial() -> None:
    section = coil_tables.dial_table([span(dial="band spread")])
    assert the(section, "Dial scale").headings == ("band", "0", "180")
    assert reading.notes(section) == ["MHz against degrees of the band spread capacitor, from plates out."]
    none = coil_tables.dial_table([span(marks=())])
    assert reading.tables(none) == []
    assert reading.notes(none) == ["No coil reaches its band on this dial."]


def service(*missing: tuple[float, float], coils_: tuple[str, ...] = ("40 m",)) -> coils.ServiceCover:
    spans = tuple(coils.Span(*ends) for ends in missing)
    return coils.ServiceCover("amateur", "40 m", 7e6, 7.3e6, coils_, spans)


def test_coverage_by_year_and_region_with_what_no_coil_reaches() -> None:
    cover = coils.Coverage(1936, 2, (service(), service((7.2e6, 7.3e6), coils_=())), (), (), ())
    section = coil_tables.coverage_table(cover)
    assert section.heading == "Coverage, bands of 1936, ITU region 2"
    found = the(section, "Coverage.*")
    assert found.rows[0][2:] == ("7.000", "7.300", "40 m", "all reached")
    assert found.rows[1][2:] == ("7.000", "7.300", "-", "7.200 to 7.300")
    (grid,) = [p for p in section.parts if not isinstance(p, Note)]
    assert grid.styles == ("", "yellow")
    assert reading.notes(section) == [
        "Gaps between coils: none.", "Overlaps: none.",
        "Band limits from memory of the allocation tables; national licences differ: look yours up.",
    ]  # fmt: skip


def test_gaps_and_overlaps_name_their_ends_and_the_coils_that_share_them() -> None:
    cover = coils.Coverage(
        1936, 2, (), (coils.Span(4.1e6, 4.6e6), coils.Span(9.2e6, 9.9e6)),
        (coils.Overlap("80 m", "40 m", 6.1e6, 6.4e6),), (),
    )  # fmt: skip
    notes = reading.notes(coil_tables.coverage_table(cover))
    assert notes[:2] == [
        "Gaps between coils: 4.100 to 4.600 MHz; 9.200 to 9.900 MHz.",
        "Overlaps: 80 m and 40 m 6.100 to 6.400 MHz.",
    ]
    lost = dataclasses.replace(cover, unmeasured=("20 m", "15 m"))
    notes = reading.notes(coil_tables.coverage_table(lost))
    without = " (without 20 m and 15 m, whose range was not found)"
    assert notes[0].startswith(f"Gaps between coils{without}: 4.100") and notes[1].startswith(
        f"Overlaps{without}"
    )
    assert notes[2] == "What is 'not reached' may be reached by 20 m and 15 m."


# ---------------------------------------------------------------------- over the dial

STATES = {Status.DOES_NOT: "none", Status.NOT_IN_RANGE: "always", Status.FAILED: "failed"}


@pytest.mark.parametrize(("status", "said"), STATES.items())
def test_a_place_of_the_dial_without_onset_shows_its_state(status: Status, said: str) -> None:
    point = filled(coils.DialPoint, status=status, onset=None)
    sweep = filled(coils.DialSweep, points=(point,))
    assert the(coil_tables.sweep_table([sweep]), "Over the dial").column("onset at %") == (said,)


def test_the_loop_gain_is_explained_as_the_coil_makes_it() -> None:
    """n (1 - n) Rp of a tap, (M/L) Rp of a tickler, whose tap ratio is 0: both from the node equations."""
    for ratio, said in ((0.07, "n (1 - n) Rp for an ideal tap"), (0.0, "(M/L) Rp for an ideal one")):
        sweep = filled(coils.DialSweep, points=(filled(coils.DialPoint, tap_ratio=ratio),), rotation=0.431)
        section = coil_tables.sweep_table([sweep])
        note = note_with(section, "T: loop gain")
        assert said in note and "the control at 43 %" in note
        assert section.cautions == cautions.RADIATION
        assert "dead spot" in reading.notes(section)[1]


def test_a_sheet_of_coils_stands_in_its_order_with_all_cautions() -> None:
    source = Source()
    report = filled(
        coils.CoilsReport, source, title="set", failed=(FailedStage("aerial", "no answer", None),),
        ranges=(span(),), rf_stage=(filled(rf_stage.RfStageEffect, source),),
    )  # fmt: skip
    page = coil_tables.coils_sheet(report)
    assert page.title == "set: coils" and page.cautions == cautions.ALL
    headings = [section.heading for section in page.sections]
    cover = f"Coverage, bands of {report.coverage.year}, ITU region {report.coverage.region}"
    assert headings == [
        "Not found", "Windings", "Electrical values", "Range and dial", "Dial scale", cover, "Over the dial",
        "Aerial", "Radiated while oscillating", "R.f. stage, beside the same set without it",
        "Breakthrough of a strong station", "Notes", "",
    ]  # fmt: skip
    assert reading.notes(page.sections[-2]) == list(report.warnings)
    for number in (6, 7, 8, 9):
        assert page.sections[number].cautions == cautions.RADIATION, headings[number]
    bare = dataclasses.replace(
        report, ranges=(), sweeps=(), aerial=(), rf_stage=(), breakthrough=(), warnings=(), failed=()
    )
    assert [s.heading for s in coil_tables.coils_sheet(bare).sections] == [
        "Windings", "Electrical values", "Range and dial", "",
    ]  # fmt: skip


# ---------------------------------------------------------------------- aerial


def effect(**given: object) -> coils.AerialEffect:
    return filled(coils.AerialEffect, **given)


@pytest.mark.parametrize(
    ("coupling", "said"),
    [("link", "by the link of each coil"), ("capacitor", "by a capacitor to the hot end"),
     ("stage", "to the grid of the r.f. stage")],
)  # fmt: skip
def test_how_the_aerial_is_coupled(coupling: str, said: str) -> None:
    section = aerial_tables.aerial_table([effect(coupling=coupling)])
    assert reading.notes(section)[0].startswith(f"Coupled {said}. Dial left alone")
    assert "taken off is for a dial tuned again" in reading.notes(section)[0]


def test_the_states_of_an_aerial_in_the_wind() -> None:
    names = ("calm", "less", "more", "none")
    states = [filled(coils.AerialState, state=name) for name in names]
    states[2] = dataclasses.replace(states[2], onset=None, status=Status.DOES_NOT)
    states[3] = dataclasses.replace(states[3], capacitance_farad=None)
    table = the(aerial_tables.aerial_table([effect(states=tuple(states))]), "Aerial")
    assert table.column("aerial") == ("calm", "less C", "more C", "taken off")
    assert table.column("onset at %")[2] == "none"
    assert table.column("C pF")[3] == "-"
    # what is the aerial's own stands once
    assert all(row[:4] == ("",) * 4 for row in table.rows[1:]) and "" not in table.rows[0]


@pytest.mark.parametrize(("tank", "height"), [(True, False), (False, True), (True, True), (False, False)])
def test_what_is_assumed_of_radiation_is_said(tank: bool, height: bool) -> None:
    radiated = filled(coils.Radiation, tank_assumed=tank, height_assumed=height)
    notes = reading.notes(aerial_tables.radiation_table([effect(radiation=radiated)]))
    assert notes[0] == "The receiver transmits. Power grows with the square of the tank voltage."
    assert any("--tank-volts" in n for n in notes) is tank
    assert any("'aerial.effective_height'" in n for n in notes) is height


def test_breakthrough_without_a_link_has_no_shield() -> None:
    """Nor a column of one; with links of which one has none, nothing stands there."""
    bare = filled(coils.Breakthrough, station_shielded_v=None)
    section = aerial_tables.breakthrough_table([bare])
    found = the(section, "Breakthrough.*")
    assert found.headings == (
        "band", "station kHz", "e.m.f. V", "grid mV", "tuned signal V per V", "as strong as tuned uV",
    )  # fmt: skip
    assert len(reading.notes(section)) == 1
    linked = filled(coils.Breakthrough, station_v=2.0, station_shielded_v=0.5)
    section = aerial_tables.breakthrough_table([linked, bare])
    found = the(section, "Breakthrough.*")
    # 20 log10 4
    assert found.column("shield gains dB") == ("12.0", "-")
    assert found.column("grid mV, shield")[1] == "-"
    assert "one that leaves 5 % of the capacitance is assumed" in reading.notes(section)[1]


# ---------------------------------------------------------------------- r.f. stage


def front(rotation: list[float], **given: object) -> rf_stage.FrontEnd:
    return filled(rf_stage.FrontEnd, along_rotation=np.array(rotation), **given)


def test_the_place_where_the_aerial_takes_most_is_that_of_the_highest_onset_without_the_stage() -> None:
    """Most regeneration is needed where the aerial loads most: at the second of three places, 71 % without
    the stage and 38 % with it. With the stage the highest onset lies elsewhere.
    """
    one = filled(
        rf_stage.RfStageEffect, band="40 m", present=front([0.35, 0.38, 0.52]),
        without=front([0.41, 0.71, 0.56]), along_hz=np.array([7.01e6, 7.12e6, 7.29e6]), radiation_db=31.2,
        ratio_db=10.0, bandwidth_hz=3e3,
    )  # fmt: skip
    section = rf_tables.rf_stage_table([one])
    assert note_with(section, "dB less") == (
        "40 m: the set radiates 31 dB less with the stage; where the aerial takes most without it, at "
        "7.12 MHz, onset needs 71 % of the knob without the stage and 38 % with it"
    )
    assert "10 dB above the set's own noise in 3.00 kHz" in note_with(section, "without it, the aerial")
    assert section.cautions == cautions.RADIATION


@pytest.mark.parametrize(("status", "said"), STATES.items())
def test_a_front_end_without_onset_shows_its_state(status: Status, said: str) -> None:
    end = front([0.2, 0.3], status=status, onset=None, weakest_v=None)
    assert rf_tables.onset_place(end) == said
    one = filled(
        rf_stage.RfStageEffect, present=end, without=front([0.2, 0.3]), along_hz=np.array([7e6, 8e6])
    )
    found = the(rf_tables.rf_stage_table([one]), "R.f. stage.*")
    assert found.column("onset knob %")[0] == said and found.column("weakest signal")[0] == "-"


# ---------------------------------------------------------------------- tap and design


def place(turns: float | None, rotation: float | None, status: Status = Status.OSCILLATES) -> coils.TapPlace:
    onset = None if rotation is None else ControlSetting(rotation, 30.0)
    return coils.TapPlace(turns, 0.0834, status, onset)


def tap(**given: object) -> coils.TapFind:
    plain: dict[str, object] = {
        "band": "40 m", "target": 0.45, "status": Status.OSCILLATES, "present": place(2.25, 0.31),
        "exact": place(1.834, 0.45), "step": place(1.75, 0.467), "less": None, "more": place(2.25, 0.31),
        "best": None, "best_gain": None, "advice": (),
    }  # fmt: skip
    return filled(coils.TapFind, **{**plain, **given})


def test_a_tap_that_leaves_the_coil_shows_nothing_and_one_without_onset_its_state() -> None:
    one = tap(more=place(2.25, None, Status.NOT_IN_RANGE))
    table = the(design_tables.tap_sheet("set", [one]), "Tap for onset at 45 %")
    assert table.column("1/2 less onset %") == ("-",) and table.column("1/2 more onset %") == ("always",)
    assert table.column("tap % turns") == ("8.34",)


def test_a_coil_without_turns_has_its_tap_in_per_cent() -> None:
    one = tap(present=place(None, 0.31), exact=place(None, 0.45))
    page = design_tables.tap_sheet("set", [one])
    table = the(page, "Tap for onset at 45 %")
    assert table.column("now turn") == ("8.34 %",) and table.column("exact turn") == ("8.34 %",)
    assert "stand for 0.25 and 0.5 per cent" in note_with(page, "Coils given by")
    assert not [n for n in reading.notes(design_tables.tap_sheet("set", [tap()])) if "Coils given by" in n]


def test_a_tap_that_cannot_be_had_names_the_nearest() -> None:
    nothing = {"exact": None, "step": None, "less": None, "more": None}
    low = tap(status=Status.NOT_IN_RANGE, best=place(0.25, 0.2), **nothing)
    page = design_tables.tap_sheet("set", [low])
    assert note_with(page, "lowest tap") == "40 m: even the lowest tap, turn 0.25, oscillates earlier."
    near = tap(status=Status.DOES_NOT, best=place(7.5, 0.871), best_gain=0.831, **nothing)
    assert note_with(design_tables.tap_sheet("set", [near]), "no tap") == (
        "40 m: no tap up to half the turns has its onset at 45 %; nearest comes turn 7.50 (loop gain 0.83), "
        "where onset is at 87.1 %."
    )
    never = tap(status=Status.DOES_NOT, best=place(None, None, Status.DOES_NOT), **nothing)
    assert note_with(design_tables.tap_sheet("set", [never]), "no tap") == (
        "40 m: no tap up to half the turns has its onset at 45 %; nearest comes 8.34 % of the turns, "
        "which has no onset at any setting either."
    )
    assert set(cautions.ALL[:-1]) == set(page.sections[0].cautions)


@pytest.mark.parametrize(
    ("status", "said"),
    [(Status.DOES_NOT, "tap that is best for the change"), (Status.NOT_IN_RANGE, "lowest tap")],
)
def test_what_a_changes_loop_gain_was_found_with(status: Status, said: str) -> None:
    advice = (coils.TapAdvice("a coil of higher Q", 1.07, None),)
    page = design_tables.tap_sheet("set", [tap(status=status, advice=advice)])
    note = note_with(page, "Each change")
    assert said in note and "loop gain at 45 % of the control, 1 is needed" in note


def test_lines_for_a_build_keep_their_indentation() -> None:
    lines = ("- name: 40 m", "  coil:", "    turns: 17.25")
    design = filled(coils.WindingDesign, build_lines=lines, parallel_farad=0.0, series_farad=None)
    page = design_tables.design_sheet(design)
    shown = [(p.mark, p.text) for p in page.sections[-1].parts if isinstance(p, Note)]
    assert [mark + text for mark, text in shown] == [" " * 4 + line for line in lines]
    seen = facts(the(page, "What to wind"))
    assert (seen["series padder"], seen["parallel padder"]) == ("-", "-")
    assert page.sections[0].cautions == cautions.PLATE_SUPPLY
    assert reading.notes(page.sections[0]) == list(design.warnings)
