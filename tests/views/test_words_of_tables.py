"""What the tables of `check`, `loop`, `spread` and 'How sure' say in words, and in which order they stand."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from receiver_sim.results import audio, bands, bias, cautions, spread, sure
from receiver_sim.results.base import DeckRun, FailedStage, Provenance, Status
from receiver_sim.results.check import CheckReport
from receiver_sim.results.envelope import AmplitudeMap, Oscillation
from receiver_sim.results.onset import ControlSetting, Onset
from receiver_sim.views import control_words, spread_tables, states, tables
from receiver_sim.views.sheet import Grid, Note, Section, Sheet
from receiver_sim.views.sure_tables import sure_section
from tests.helpers import reading
from tests.helpers.cells import note_with, the
from tests.helpers.filling import Source, filled

# ---------------------------------------------------------------------- what the control sets


def throttle(rotation: float, farad: float) -> ControlSetting:
    return ControlSetting.of(rotation, farad, quantity="throttle capacitance", unit="F")


def test_a_control_is_named_by_what_it_sets() -> None:
    screen, feed = (
        ControlSetting(0.3, 23.44),
        ControlSetting.of(0.3, 61.26, quantity="plate feed voltage", unit="V"),
    )
    farads = throttle(0.3, 87.34e-12)
    assert [control_words.named(one) for one in (screen, feed, farads)] == [
        "screen 23.4 V", "plate feed 61.3 V", "throttle 87.3 pF",
    ]  # fmt: skip
    assert control_words.set_to(farads, 2) == "87.34 pF"
    assert [control_words.words_of([None, one]).plural for one in (screen, feed, farads)] == [
        "screen voltage", "plate feed voltage", "picofarads of the throttle",
    ]  # fmt: skip
    assert control_words.words_of([None]).whole == "screen voltage"
    assert control_words.words_of([farads]).whole == "throttle capacitance"


def test_a_slope_for_each_picofarad_is_a_million_millionth_of_one_for_each_farad() -> None:
    of_farad = control_words.words("throttle capacitance", "F")
    assert of_farad.per(3.21e12, 2) == "3.21" and of_farad.shown(3.21e-12, 2) == "3.21"
    of_volts = control_words.words()
    assert of_volts.per(3.21, 2) == "3.21" and of_volts.shown(3.21, 2) == "3.21"
    assert of_volts.per(None, 2) == of_volts.shown(None, 2) == "-"


def band_report(*onsets: Onset, name: str = "40 m") -> bands.BandReport:
    return bands.BandReport(name, onsets, None, (), None)


def test_the_onset_of_a_throttle_stands_in_picofarads() -> None:
    """Slope per picofarad, approach in picofarads from loop gain 0.9 on: 87.3 less 61.1."""
    one = filled(
        Onset, band="40 m", status=Status.OSCILLATES, onset=throttle(0.431, 87.3e-12), slope_per_v=None,
        approach_v=None, at_nine_tenths=throttle(0.31, 61.1e-12), stops_at=throttle(0.9, 161.4e-12),
        warnings=(),
        slope_in=dataclasses.replace(filled(Onset).slope_in, value=2.34e10),  # type: ignore[type-var]
    )  # fmt: skip
    section = tables.band_table([band_report(one)])
    found = the(section, "Onset of oscillation")
    assert found.headings[4:8] == ("throttle pF", "frequency MHz", "slope per pF", "approach pF")
    assert (found.rows[0][4], *found.rows[0][6:8]) == ("87.3", "0.0234", "26.2")
    assert "per picofarad of the throttle" in note_with(section, "Slope:")
    assert note_with(section, "stops").endswith("at knob 90 %, throttle 161.4 pF.")


# ---------------------------------------------------------------------- bands


def lacking(status: Status, hz: float, low: float | None, high: float | None, *warnings: str) -> Onset:
    gone = dict.fromkeys(
        ("onset", "oscillation_hz", "slope_per_v", "approach_v", "approach_deg", "at_nine_tenths", "stops_at")
    )
    return filled(
        Onset,
        band="40 m",
        dial_hz=hz,
        status=status,
        gain_lowest=low,
        gain_highest=high,
        warnings=warnings,
        **gone,
    )


def found_at(hz: float, *warnings: str, name: str = "40 m") -> Onset:
    return filled(Onset, band=name, dial_hz=hz, status=Status.OSCILLATES, stops_at=None, warnings=warnings)


def notes_of(*reports: bands.BandReport) -> list[str]:
    """Return the notes behind the legend."""
    return reading.notes(tables.band_table(reports))[1:]


def test_gains_of_a_band_without_onset_run_from_the_least_to_the_greatest() -> None:
    ends = (lacking(Status.DOES_NOT, 7e6, 0.31, 0.84), lacking(Status.DOES_NOT, 7.3e6, 0.22, 0.91))
    assert notes_of(band_report(*ends)) == [
        "40 m: does not oscillate anywhere on the control; the loop gain is 0.220 to 0.310 at its lowest "
        "setting, 0.840 to 0.910 at its highest, and 1 is needed."
    ]


def test_a_state_of_part_of_a_dial_names_the_part() -> None:
    ends = (found_at(7e6), lacking(Status.NOT_IN_RANGE, 7.3e6, 1.24, 3.1))
    assert notes_of(band_report(*ends)) == [
        "40 m at 7.300 MHz: oscillates already at the lowest setting of the control, with a loop gain of "
        "1.24; the onset lies below its range."
    ]
    failed = lacking(Status.FAILED, 7.15e6, None, None)
    assert notes_of(band_report(found_at(7e6), failed))[0] == (
        "40 m at 7.150 MHz: the simulation failed and gives no answer."
    )


def test_a_warning_stands_once_for_a_band_or_several_and_else_at_its_dial_setting() -> None:
    both = "the tap is low"
    everywhere = band_report(found_at(7e6, "all of it"), found_at(7.3e6, "all of it"))
    assert notes_of(everywhere) == ["40 m: all of it"]
    one = band_report(found_at(7e6), found_at(7.3e6, "only here"))
    assert notes_of(one) == ["40 m at 7.300 MHz: only here"]
    other = band_report(found_at(14e6, both, name="20 m"), name="20 m")
    assert notes_of(band_report(found_at(7e6, both)), other) == ["40 m, 20 m: the tap is low"]


def test_rows_without_an_onset_stand_out() -> None:
    section = tables.band_table([band_report(found_at(7e6), lacking(Status.DOES_NOT, 7.3e6, 0.2, 0.9))])
    (grid,) = [part for part in section.parts if isinstance(part, Grid)]
    assert grid.styles == ("", "yellow")
    assert section.cautions == cautions.PLATE_SUPPLY + cautions.RADIATION
    assert [row[0] for row in grid.rows] == ["40 m", ""]


def test_a_loop_gain_that_was_not_reached_leaves_its_cell_empty() -> None:
    """Two bands measured at different loop gains share their columns; eight of these a table."""
    source = Source()

    def measured(name: str, gains: list[float]) -> bands.BandReport:
        found = filled(bands.BandReport, source, band=name)
        assert found.selectivity is not None
        kept = dataclasses.replace(
            found.selectivity, gain=np.array(gains), bandwidth_hz=1e3 * np.array(gains)
        )
        return dataclasses.replace(found, selectivity=kept)

    nine = [0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9]
    section = tables.selectivity_table([measured("80 m", nine), measured("40 m", [0.5, 0.9])])
    first, second = the(section, "Selectivity"), the(section, "Selectivity", 1)
    assert first.headings[3:] == tuple(f"{g:g}" for g in nine[:8]) and second.headings[3:] == ("0.9",)
    # a bandwidth of 1000 Hz a unit of loop gain, in kHz to three digits
    assert first.rows[1][3:] == ("-", "-", "-", "-", "0.500", "-", "-", "-")
    assert [row[-1] for row in second.rows] == ["0.900", "0.900"]


# ---------------------------------------------------------------------- operating points and ratings


def tube(**given: object) -> bias.TubePoint:
    return filled(bias.TubePoint, **{"outside": (), "socket": "audio", "tube": "6C5", **given})


def point(label: str, *tubes: bias.TubePoint, **given: object) -> bias.OperatingPoint:
    return filled(bias.OperatingPoint, label=label, tubes=tubes, **given)


def test_an_extrapolated_tube_is_explained_at_the_middle_setting_if_it_is_there() -> None:
    out = tube(outside=("6C5: plate at 12 V", "6C5: grid at -9 V"))
    points = [point("lowest", out), point("working", out), point("highest", tube())]
    section = tables.operating_table(points)
    assert note_with(section, "control working") == (
        "audio 6C5, control working: plate at 12 V; grid at -9 V."
    )
    assert not [n for n in reading.notes(section) if "control lowest" in n]
    rows = [t.rows[0][1] for t in reading.tables(section) if t.headings[0] == "socket"]
    assert rows == ["6C5*", "6C5"]
    sound = tables.operating_table([point("lowest", tube())])
    assert not [n for n in reading.notes(sound) if "extrapolated" in n]
    assert "Coil of" not in reading.notes(sound)[0]


def test_five_settings_stand_in_two_tables_of_test_points() -> None:
    points = [point(f"at {n}", volts={"line": 10.0 + n}, regulator_a=None) for n in range(5)]
    section = tables.operating_table(points)
    found = [t for t in reading.tables(section) if t.headings[0] == "test point"]
    assert [t.rows for t in found] == [(("line", "10.00", "11.00", "12.00", "13.00"),), (("line", "14.00"),)]
    assert not [n for n in reading.notes(section) if "regulator" in n]


@pytest.mark.parametrize(("share", "said", "style"), [(1.01, "X EXCEEDED", "bold red"), (0.99, "within", "")])
def test_a_rating_a_hundredth_from_its_limit(share: float, said: str, style: str) -> None:
    line = bias.RatingLine("audio 6C5", "plate volts", share * 300.0, 300.0, "V")
    section = tables.ratings_table([point("highest", ratings=(line,))])
    (row,) = the(section, "Ratings").rows
    assert row[4:6] == (f"{100 * share:.0f} %", said)
    (grid,) = [part for part in section.parts if isinstance(part, Grid)]
    assert grid.styles == (style,)


def test_a_rating_of_nothing_has_no_share() -> None:
    line = bias.RatingLine("audio 6C5", "grid current", 1e-6, 0.0, "A")
    assert the(tables.ratings_table([point("highest", ratings=(line,))]), "Ratings").column("share") == ("-",)


# ---------------------------------------------------------------------- audio, hum, regulator, verdicts


def test_an_open_socket_has_no_load() -> None:
    """From 100 Mohm on nothing is plugged in; a hundredth less is a load."""
    outputs = tuple(filled(audio.OutputResponse, load_ohm=load) for load in (1.01e8, 0.99e8))
    found = tables.audio_table(filled(audio.AudioResponse, outputs=outputs))
    assert the(found, "Audio response").column("load at 1 kHz") == ("open", "99.0 Mohm")


@pytest.mark.parametrize(
    ("pot", "said"),
    [
        (True, "root of squares; the pot cannot change the ripple."),
        (False, "root of squares; no hum pot to turn."),
    ],
)
def test_how_hum_and_ripple_add(pot: bool, said: str) -> None:
    assert reading.notes(tables.hum_table(filled(audio.Hum, pot=pot)))[0].endswith(said)


@pytest.mark.parametrize(("build", "ripple"), [(1e-6, 0.0), (0.0, 1e-6)])
def test_any_hum_is_told(build: float, ripple: float) -> None:
    one = filled(audio.OutputHum, at_build_v=build, ripple_v=ripple)
    note = reading.notes(tables.hum_table(filled(audio.Hum, outputs=(one,))))[0]
    assert "nothing hums" not in note and "Heater hum at" in note


OUTCOMES = {
    Status.DOES_NOT: "not reached: it does not oscillate",
    Status.NOT_IN_RANGE: "not found in range: it oscillates already at the lowest setting",
    Status.FAILED: "unknown: the simulation failed",
}


@pytest.mark.parametrize(("status", "said"), OUTCOMES.items())
def test_a_supply_at_which_no_onset_is_found_says_why(status: Status, said: str) -> None:
    one = filled(bias.MainsPoint, mains=0.9, holds=True, onset_status=status, onset=None)
    section = tables.regulator_table(filled(bias.RegulatorDrift, points=(one,)))
    assert note_with(section, "onset ") == f"Supply at 90 %: onset {said}."
    (row,) = the(section, "Regulator and supply").rows
    assert row[5:7] == ("-", "-")


def test_a_regulator_that_lets_go_is_marked_with_its_reason() -> None:
    points = tuple(
        filled(
            bias.MainsPoint,
            mains=mains,
            holds=holds,
            reason=f"reason {mains}",
            onset_status=Status.OSCILLATES,
        )
        for mains, holds in ((0.9, False), (1.0, True))
    )
    section = tables.regulator_table(filled(bias.RegulatorDrift, points=points, dropper_w=None))
    grid = next(part for part in section.parts if isinstance(part, Grid))
    assert grid.styles == ("bold red", "")
    assert note_with(section, "reason 0.9") == "Supply at 90 %: reason 0.9."
    assert not [n for n in reading.notes(section) if "reason 1.0" in n or "into heat" in n]
    assert "of what it gives without load" in reading.notes(section)[0]


def test_verdicts_alike_stand_once_with_all_their_subjects_and_figures() -> None:
    one = bands.Verdict("cans", "hum_max", bands.Grade.BAD, 2.4e-3, 1e-3, "V", "Too loud.")
    other = dataclasses.replace(one, subject="line", value=3.1e-3)
    good = bands.Verdict("cans", "gain_min", bands.Grade.GOOD, 30.0, 10.0, "1", "Fine.")
    half = dataclasses.replace(good, rule="hum_max")
    section = tables.verdict_table([good, one, other, half])
    assert reading.notes(section) == [
        "2 bad, 0 doubtful, 2 good.",
        "cans, line: Too loud. [hum_max, 2.40 mV, 3.10 mV, limit 1.00 mV]",
        "cans: gain_min, hum_max (the rest)",
    ]


def test_a_verdict_in_decibel_has_a_tenth_and_no_prefix() -> None:
    one = bands.Verdict("cans", "heard", bands.Grade.DOUBTFUL, 13.27, 10.0, "dB", "Audible.")
    assert note_with(tables.verdict_table([one]), "heard") == "cans: Audible. [heard, 13.3 dB, limit 10.0 dB]"
    plain = bands.Verdict("40 m", "place", bands.Grade.BAD, 0.31, 0.4, "1", "Low.")
    assert note_with(tables.verdict_table([plain]), "place") == "40 m: Low. [place, 0.310, limit 0.400]"


def test_grades_show_as_sign_word_and_colour() -> None:
    given = [
        bands.Verdict("a", "r", grade, None, None, "", "t")
        for grade in (bands.Grade.GOOD, bands.Grade.DOUBTFUL)
    ] + [bands.Verdict("a", "s", bands.Grade.BAD, None, None, "", "u")]
    notes = [p for p in tables.verdict_table(given).parts if isinstance(p, Note)][1:]
    assert [(" ".join(n.mark.split()), n.style) for n in notes] == [
        ("X BAD", "bold red"), ("? doubtful", "yellow"), ("+ good", "green"),
    ]  # fmt: skip


# ---------------------------------------------------------------------- the whole of a check


def test_what_figures_were_made_from() -> None:
    made = Provenance("b" * 64, (DeckRun("a", "c" * 64),), "1.2.3", "45", {"6SJ7": "d" * 64, "6C5": "e" * 64})
    assert tables.provenance_note(made, evaluations=147).text == (
        f"receiver-sim 1.2.3, ngspice 45; build {'b' * 12}; cards 6C5 {'e' * 12}, 6SJ7 {'d' * 12}; 1 decks, "
        "147 evaluations."
    )


def test_a_check_stands_in_its_order_and_says_no_warning_twice() -> None:
    sets = many().before
    report = filled(
        CheckReport, title="set", failed=(FailedStage("hum", "no answer", None),),
        sure=sure.HowSure(100, 1, sets.held, sets.bands, (), (), ()),
    )  # fmt: skip
    told = report.operating_points[0].tubes[0].outside[0]
    report = dataclasses.replace(report, warnings=(told, "a new one"))
    page = tables.check_report(report)
    assert page.title == "set" and page.cautions == report.cautions
    assert [section.heading for section in page.sections] == [
        "Onset of oscillation", "Not found", "Verdicts", "How oscillation comes in", "Selectivity",
        "What a meter should read", "Ratings", "Audio response", "Hum", "Regulator and supply", "How sure",
        "Warnings", "Made from",
    ]  # fmt: skip
    assert reading.notes(page.sections[-2]) == ["a new one"]
    assert f"Coil of {report.reference_band}." in note_with(page, "Volts to ground")
    loop = tables.loop_sheet("set", report.bands)
    assert (loop.sections[0].heading, loop.sections[-1].heading) == ("Onset of oscillation", "Selectivity")


# ---------------------------------------------------------------------- states


def beyond(status: Status, **given: object) -> Oscillation:
    plain: dict[str, object] = {
        "status": status,
        "onset_beyond_v": 41.44,
        "amplitudes": None,
        "warnings": ("w",),
    }
    return filled(Oscillation, **{**plain, **given})


def test_where_onset_would_lie_beyond_the_control() -> None:
    """Below the bottom for what oscillates all over, else above the top; named by what the control sets."""
    assert states.onset_beyond(beyond(Status.DOES_NOT, quantity="screen voltage")) == (
        "onset would be at 41.44 V screen, above the top of the control"
    )
    assert states.onset_beyond(beyond(Status.NOT_IN_RANGE, quantity="plate feed voltage")) == (
        "onset would be at 41.44 V plate feed, below the bottom of the control"
    )
    feed = filled(AmplitudeMap, screen_v=None, unit="V", quantity="plate feed voltage")
    assert "V plate feed," in str(states.onset_beyond(beyond(Status.DOES_NOT, amplitudes=feed)))
    assert states.onset_beyond(beyond(Status.DOES_NOT, onset_beyond_v=None)) is None


def test_a_picture_says_the_state_its_reason_and_where_onset_would_be() -> None:
    lines = states.on_picture(beyond(Status.NOT_IN_RANGE))
    assert lines[:2] == ["oscillates at the lowest setting already", "w"] and len(lines) == 3
    assert states.on_picture(beyond(Status.DOES_NOT, onset_beyond_v=None)) == ["does not oscillate", "w"]
    assert states.on_picture(beyond(Status.FAILED, onset_beyond_v=None)) == ["simulation failed", "w"]
    assert states.on_picture(beyond(Status.OSCILLATES)) == []


def test_a_state_in_a_word() -> None:
    assert {status: states.in_a_word(status) for status in Status} == {
        Status.OSCILLATES: "-",
        Status.DOES_NOT: "none",
        Status.NOT_IN_RANGE: "always",
        Status.FAILED: "failed",
    }


# ---------------------------------------------------------------------- many sets


def many(**given: object) -> spread.Spread:
    source = Source()
    of = {"quantity": "screen voltage", "unit": "V"}
    band = filled(spread.BandSpread, source, band="40 m", **of)
    held = (
        spread.Held("40 m", "onset", 90, 100, 0.9, 0.83, 0.94),
        spread.Held("40 m", "howl", 80, 100, 0.8, 0.7, 0.9),
        spread.Held("the whole set", "all", 61, 100, 0.61, 0.5, 0.7),
    )
    sets = spread.Sets("as built", (), held, (band,))
    plain: dict[str, object] = {"title": "set", "sets": 100, "before": sets, "after": None, "shares": (),
                                "worth": None, "gain": None}  # fmt: skip
    return filled(spread.Spread, source, **{**plain, **given})


def test_verdicts_of_many_sets_in_words_the_whole_in_bold() -> None:
    page = spread_tables.spread_sheet(many())
    assert page.title == "set: 100 sets"
    section = page.sections[0]
    (grid,) = [part for part in section.parts if isinstance(part, Grid)]
    assert [row[1] for row in grid.rows] == [
        "has an onset on the control", "howl", "every verdict above, on every band",
    ]  # fmt: skip
    assert grid.styles == ("", "", "bold") and grid.rows[0][2] == "90.0 (83.0 to 94.0)"
    assert reading.notes(section) == ["In brackets: 95 % confidence interval of the share."]
    assert section.cautions == cautions.PLATE_SUPPLY
    assert [s.heading for s in page.sections[1:]] == [
        "Onset as built", "Parts that decide where onset lies", "How to read it",
    ]  # fmt: skip


def test_a_state_with_measured_parts_names_them() -> None:
    after = dataclasses.replace(many().before, label="measured", measured=("mains", "audio.coupling"))
    page = spread_tables.spread_sheet(many(after=after))
    assert note_with(page, "Measured:") == "Measured: mains, audio.coupling."
    assert [s.heading for s in page.sections[1:3]] == ["Onset as built", "Onset measured"]


def test_eight_parts_of_each_band_are_listed_and_what_none_is_worth_is_not_said() -> None:
    shares = tuple(
        spread.Share(band, "k", f"{band} {n}", 0.3) for band in ("40 m", "20 m") for n in range(10)
    )
    section = spread_tables.spread_sheet(many(shares=shares)).sections[2]
    assert the(section, "Parts.*").column("part") == tuple(f"40 m {n}" for n in range(8))
    assert reading.notes(section) == []
    worth = spread_tables.spread_sheet(many(worth="mains", worth_word="the mains", gain=None))
    assert note_with(worth, "worth selecting") == "The part worth selecting: the mains (mains)."
    loss = spread_tables.spread_sheet(many(worth="mains", worth_word="the mains", gain=-0.021))
    assert note_with(loss, "worth selecting").endswith("changes by -2.1 of a hundred.")


def test_figures_that_no_set_has_show_nothing() -> None:
    gone = dict.fromkeys(
        f"{name}_{end}" for name in ("knob", "figure") for end in ("low", "middle", "high")
    ) | dict.fromkeys(f"approach_{end}_deg" for end in ("low", "middle", "high"))
    one = many()
    bare = dataclasses.replace(one.before.bands[0], sets=80, oscillating=0, **gone)
    page = spread_tables.spread_sheet(
        dataclasses.replace(one, before=dataclasses.replace(one.before, bands=(bare,)))
    )
    (row,) = the(page, "Onset as built").rows
    assert row[1:8] == ("0.0", *("-",) * 6)
    found = sure.HowSure(100, 1, one.before.held, (bare,), (), (), ())
    (row,) = the(Sheet("t", (sure_section(found),)), "How sure").rows
    assert row[-3:] == ("-", "-", "-")


def test_how_sure_says_what_its_ranges_are() -> None:
    one = many().before
    section = sure_section(sure.HowSure(100, 1, one.held, one.bands, (), (), ("a note",)))
    legend = note_with(section, "Ranges:")
    assert "eight of ten sets lie within" in legend and "screen in V, approach in deg" in legend
    assert reading.notes(section)[-1] == "a note"
    assert len(reading.tables(section)) == 1


@pytest.mark.parametrize(("found", "soft", "shown"), [(4, 4, "0"), (4, 3, "0.0 to 2.5"), (0, 0, "-")])
def test_backlash_is_nothing_only_if_every_set_comes_in_softly(found: int, soft: int, shown: str) -> None:
    high = None if not found else 2.46
    low = None if not found else 0.0
    one = sure.StrengthRange("40 m", 7, found, soft, low, high, low, high)
    sets = many().before
    whole = sure.HowSure(100, 1, sets.held, sets.bands, (), (), (), (one,), 10)
    section: Section = sure_section(whole)
    assert the(section, "How sure", 1).column("backlash deg") == (shown,)
