"""What the tables of `audio`, `hum` and `supply` say in words: limits kept or not, absent parts, states."""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pytest

from receiver_sim.judge.supply_verdicts import DISCHARGE_LIMIT_S
from receiver_sim.results import audio, cautions, hum, supply
from receiver_sim.results.base import FailedStage, Status
from receiver_sim.results.check import SupplyReport
from receiver_sim.results.onset import Onset
from receiver_sim.views import audio_tables
from receiver_sim.views.sheet import Note, Section, Sheet
from tests.helpers import reading
from tests.helpers.cells import facts, note_with, the
from tests.helpers.filling import Source, filled

FAILED = (FailedStage("noise", "singular matrix", None),)


def column(page: Section | Sheet, section: str, heading: str) -> tuple[str, ...]:
    return the(page, section).column(heading)


# ---------------------------------------------------------------------- audio


def test_what_no_drive_reaches_shows_nothing() -> None:
    nothing = filled(audio.Limits, **{f.name: None for f in dataclasses.fields(audio.Limits)[:-1]})
    table = the(audio_tables.limits_table([audio.OutputLevels("cans", (), nothing)]), "Limits of each output")
    assert table.rows == (("cans", *("-",) * 8),)


@pytest.mark.parametrize(("keeps", "said"), [(True, "keeps"), (False, "X LEAVES")])
def test_a_tube_that_leaves_class_a_is_marked(keeps: bool, said: str) -> None:
    study = filled(audio.AudioStudy, class_a=(filled(audio.ClassA, keeps=keeps),))
    assert column(audio_tables.class_table(study), "Class A", "class A") == (said,)


def test_the_legends_of_audio_state_what_their_figures_are_for() -> None:
    """Class A as the result defines it: least current above 2 % of the quiescent, grid current to 1 uA; noise
    from 100 Hz to 5 kHz; inputs r.m.s. of 1 kHz at the detector's grid.
    """
    study = filled(audio.AudioStudy)
    assert note_with(audio_tables.class_table(study), "Kept") == (
        "Kept while the plate current stays above 2 % of the quiescent, the grid current below 1 uA."
    )
    note = note_with(audio_tables.limits_table(study.levels), "Inputs:")
    assert "volts r.m.s. of a 1 kHz tone at the detector's grid" in note
    assert "Noise from 100 Hz to 5 kHz" in note


def test_a_sheet_of_audio_has_what_was_found_and_names_what_failed() -> None:
    study = filled(audio.AudioStudy, failed=FAILED)
    page = audio_tables.audio_sheet("set", study)
    assert page.title == "set" and page.cautions == study.cautions
    headings = [section.heading for section in page.sections]
    assert headings == [
        "Not found", "Audio response", "Limits of each output",
        *(f"Drive and harmonics: {levels.output}" for levels in study.levels),
        "Class A", "Energy at the output transformer", "Notes",
    ]  # fmt: skip
    assert reading.notes(page.sections[0]) == ["noise: singular matrix"]
    assert reading.notes(page.sections[-1]) == list(study.notes)
    bare = dataclasses.replace(study, response=None, levels=(), class_a=(), transformer=None, failed=())
    assert [s.heading for s in audio_tables.audio_sheet("set", bare).sections] == ["Notes"]


# ---------------------------------------------------------------------- hum


def tone(hz: float, level: float | None, threshold: float) -> hum.Tone:
    return hum.Tone(hz, 1.234e-3, level, threshold)


def paths(*outputs: hum.OutputPaths) -> hum.HumPaths:
    return filled(hum.HumPaths, outputs=outputs)


def output(name: str, tones: tuple[hum.Tone, ...] = (), *shares: hum.PathShare) -> hum.OutputPaths:
    return filled(hum.OutputPaths, output=name, tones=tones, paths=shares)


def test_a_tone_just_above_the_threshold_is_audible_and_just_below_is_not() -> None:
    """ISO 226: the threshold is what half of all ears hear. At 100 Hz it is 26.5 dB."""
    tones = (tone(100.0, 26.8, 26.5), tone(100.0, 26.2, 26.5), tone(100.0, None, 26.5))
    page = audio_tables.tones_table(paths(output("cans", tones)))
    assert column(page, "Hum as heard", "") == ("audible", "inaudible", "-")
    assert column(page, "Hum as heard", "above it dB") == ("0", "0", "-")
    assert "ISO 226:2003" in note_with(page, "Threshold")


def test_four_tones_of_each_output_and_its_name_once() -> None:
    tones = tuple(tone(hz, 40.0, 30.0) for hz in (50.0, 100.0, 150.0, 200.0, 250.0))
    page = audio_tables.tones_table(paths(output("cans", tones), output("line", tones[1:2])))
    assert column(page, "Hum as heard", "output") == ("cans", "", "", "", "line")
    assert column(page, "Hum as heard", "tone Hz") == ("50", "100", "150", "200", "100")


def test_a_set_without_hum_is_told_so_in_place_of_tones() -> None:
    section = audio_tables.tones_table(paths(output("cans")))
    assert reading.tables(section) == []
    assert note_with(section, "No hum") == "No hum at any output: nothing in this build makes any."


def test_paths_below_a_nanovolt_are_named_without_a_figure() -> None:
    """A hundredth above 1 nV has its line, a hundredth below it not: any stage's noise is far more."""
    shares = (
        hum.PathShare("heater of V1", 50.0, 1.01e-9, 0.83), hum.PathShare("ripple", 100.0, 0.99e-9, -0.04),
        hum.PathShare("winding", 100.0, 1e-12, 0.0),
    )  # fmt: skip
    (section,) = audio_tables.path_tables(paths(output("cans", (), *shares), output("line", (), shares[1])))
    assert section.heading == "Paths of hum: cans"
    (found,) = reading.tables(section)
    assert [row[0] for row in found.rows] == ["heater of V1"]
    assert note_with(section, "Below") == "Below 1 nV: ripple; winding."


def test_a_share_that_works_against_the_rest_keeps_its_sign() -> None:
    share = hum.PathShare("ripple", 100.0, 1e-3, -0.234)
    (section,) = audio_tables.path_tables(paths(output("cans", (), share)))
    assert column(section, "Paths of hum: cans", "share of that line") == ("-23.4 %",)


def test_a_remedy_that_leaves_no_hum_gains_all() -> None:
    """Silence stands as a level of its own, which is no figure to print."""
    tried = (
        hum.Remedy("heaters on d.c.", 13.1, hum.SILENT_DB, 213.1), hum.Remedy("pot at 44 %", 13.1, 4.7, 8.4),
        hum.Remedy("no bypass", 13.1, 15.3, -2.2),
    )  # fmt: skip
    page = audio_tables.remedy_table(tried)
    assert the(page, "Remedies").rows == (
        ("heaters on d.c.", "all", "nothing"), ("pot at 44 %", "8.4", "4.7"), ("no bypass", "-2.2", "15.3"),
    )  # fmt: skip
    assert "negative gain makes it louder" in reading.notes(page)[0]


def test_hum_on_the_carrier_is_left_out_where_there_is_none() -> None:
    still = filled(hum.HumModulation, depth=np.zeros(6), swing_hz=np.zeros(6))
    study = filled(hum.HumStudy, modulation=still)
    headings = [s.heading for s in audio_tables.hum_sheet("set", study).sections]
    assert not [h for h in headings if h.startswith("Hum modulation")]
    moved = dataclasses.replace(still, depth=np.array([0.0, 0.0, 1e-3, 0.0, 0.0, 0.0]))
    page = audio_tables.hum_sheet("set", dataclasses.replace(study, modulation=moved))
    # one line alone has any
    assert len(the(page, "Hum modulation.*").rows) == 1
    assert "1 % above onset" in note_with(page, "Knob")


def test_a_line_that_moves_the_frequency_alone_is_shown() -> None:
    """Below a thousandth of a per cent of amplitude it is called so; its swing has its figure."""
    found = filled(
        hum.HumModulation, frequency_hz=np.array([50.0, 100.0, 150.0]), depth=np.array([0.0, 0.03, 0.0]),
        swing_hz=np.array([12.3, 0.4e-3, 0.0]),
    )  # fmt: skip
    assert the(audio_tables.modulation_section(found), "Hum modulation.*").rows == (
        ("100", "3.00", "<0.001"), ("50", "<0.001", "12.3"),
    )  # fmt: skip


def test_a_sheet_of_hum_stands_in_its_order() -> None:
    study = filled(hum.HumStudy, failed=FAILED)
    page = audio_tables.hum_sheet("set", study)
    assert study.paths is not None
    assert [section.heading for section in page.sections] == [
        "Not found", "Hum as heard", "Hum",
        *(f"Paths of hum: {one.output}" for one in study.paths.outputs),
        "Remedies", "Hum modulation of the oscillation", "Notes",
    ]  # fmt: skip
    assert reading.notes(page.sections[-1]) == list(study.notes)
    assert page.cautions == study.cautions


# ---------------------------------------------------------------------- supply


def capacitor(high: float, rated: float | None) -> supply.Capacitor:
    return supply.Capacitor(1, 8e-6, high, rated, 2.34, 31e-3)


@pytest.mark.parametrize(
    ("volts", "rated", "word"),
    [(454.5, 450.0, "X EXCEEDED"), (445.5, 450.0, "within"), (353.5, 350.0, "X EXCEEDED"),
     (346.5, 350.0, "within"), (300.0, None, "not stated")],
)  # fmt: skip
def test_a_filter_capacitor_a_hundredth_from_its_rating(volts: float, rated: float | None, word: str) -> None:
    found = filled(supply.Rectified, capacitors=(capacitor(volts, rated),))
    section = audio_tables.capacitor_table(found)
    (row,) = the(section, "Filter capacitors").rows
    assert row[4] == word
    assert row[3] == ("-" if rated is None else f"{rated:.0f}")
    assert reading.notes(section) == ["Highest: tubes cold, mains 10 % high."]


def rectified(**given: object) -> supply.Rectified:
    return filled(supply.Rectified, circuit="full_wave", rectifier="5Y3_gt", **given)


def test_a_supply_without_a_bleeder_says_so() -> None:
    seen = facts(the(audio_tables.rectified_table(rectified(bleeder_a=0.0), None), "Rectifier and filter"))
    assert seen["current of the bleeder"] == "none fitted"
    # without a run over time no figure of one
    assert not [
        name for name in seen if "switching off" in name or "warm up" in name or "highest peak" in name
    ]


def test_a_supply_that_stays_charged_over_the_run_says_so() -> None:
    start = filled(supply.StartAndStop, discharge_s=None, safe_v=50.0, text="it stays charged for long")
    section = audio_tables.rectified_table(rectified(), start)
    assert facts(the(section, "Rectifier and filter"))["below 50 V after switching off"] == "not in the run"
    warned = [part for part in section.parts if isinstance(part, Note) and part.style == "bold"]
    assert [note.text for note in warned] == ["It stays charged for long."]
    assert warned[0].mark.strip() == "!"
    assert DISCHARGE_LIMIT_S == 60.0  # what the verdict beside this table goes by


def test_only_lines_of_the_ripple_within_sixty_decibel_are_named() -> None:
    """A thousandth in volts: a hundredth above it is named, a hundredth below is not; four at most."""
    found = rectified(
        ripple_hz=np.array([100.0, 200.0, 300.0]), ripple_rms_v=np.array([2.0, 1.98e-3, 2.02e-3])
    )  # fmt: skip
    note = note_with(audio_tables.rectified_table(found, None), "Ripple:")
    assert note == "5Y3 gt, full wave. Ripple: 2.00 V at 100 Hz, 2.02 mV at 300 Hz."
    many = rectified(ripple_hz=100.0 * np.arange(1, 7), ripple_rms_v=np.array([3.0, 5.0, 1.0, 4.0, 2.0, 0.5]))
    note = note_with(audio_tables.rectified_table(many, None), "Ripple:")
    assert re.findall(r"at (\d+) Hz", note) == ["200", "400", "100", "500"]


def study(**given: object) -> supply.SupplyStudy:
    bare = {"battery": None, "dropper": None, "screen": None, "rectified": None, "start": None}
    return filled(supply.SupplyStudy, **{**bare, **given})


def battery(**given: object) -> supply.BatteryLife:
    plain: dict[str, object] = {
        "load_a": 3.21e-3,
        "loaded_v": 44.3,
        "hours": None,
        "end_v": None,
        "spent": None,
    }
    return supply.BatteryLife(**{**plain, **given})  # type: ignore[arg-type]


def spent(status: Status, **given: object) -> Onset:
    return filled(Onset, band="40 m", status=status, **given)


@pytest.mark.parametrize(
    ("onset", "said"),
    [
        (spent(Status.DOES_NOT, onset=None), "the set does not oscillate (40 m)."),
        (spent(Status.NOT_IN_RANGE, onset=None), "the set oscillates at the lowest setting already (40 m)."),
        (
            spent(Status.FAILED, onset=None),
            "it is not known where oscillation begins: the simulation failed (40 m).",
        ),
    ],
)
def test_a_spent_battery_says_what_the_set_does_then(onset: Onset, said: str) -> None:
    section = audio_tables.source_section(study(battery=battery(end_v=30.1, spent=onset)))
    assert reading.notes(section) == [
        f"Batteries give 3.21 mA at 44.3 V. Spent, at 30.1 V without load, {said}"
    ]


def test_a_battery_of_unknown_capacity_has_no_hours() -> None:
    assert reading.notes(audio_tables.source_section(study(battery=battery()))) == [
        "Batteries give 3.21 mA at 44.3 V."
    ]
    known = audio_tables.source_section(study(battery=battery(hours=87.6)))
    assert reading.notes(known) == ["Batteries give 3.21 mA at 44.3 V and last 88 hours."]


def test_a_dropper_that_no_value_serves_has_none_advised() -> None:
    found = filled(supply.DropperChoice, chosen_ohm=None, text="no value will do")
    note = note_with(audio_tables.source_section(study(dropper=found)), "Dropper")
    assert "E24" not in note and note.endswith("no value will do.")
    assert "from 90 to 110 % of the mains" in note


def quiet(**given: object) -> str:
    plain: dict[str, object] = {
        "ripple_v": 1.23e-3, "supply_db": -47.0, "regulator_noise_v": 31e-6, "drift_v": 0.052, "rise_k": 20.0
    }  # fmt: skip
    screen = supply.ScreenQuiet(**{**plain, **given})  # type: ignore[arg-type]
    (note,) = reading.notes(audio_tables.source_section(study(screen=screen)))
    return note


def test_what_reaches_the_screen_in_words() -> None:
    ripple = "At the detector's screen: ripple 1.23 mV r.m.s. (the supply's ripple -47 dB)"
    assert quiet() == (
        f"{ripple}, noise of the regulator 31.0 uV r.m.s. 20 K of warming move the regulated volts by "
        "52.0 mV."
    )
    # no regulator: nothing is lacking
    assert quiet(drift_v=None, regulator_noise_v=0.0) == f"{ripple}."
    assert quiet(ripple_v=0.0, drift_v=None, regulator_noise_v=0.0) == (
        "At the detector's screen: no ripple (the supply's, if any, -47 dB)."
    )


@pytest.mark.parametrize(
    ("noise", "drift", "lacks"),
    [(0.0, 0.052, "noise"), (31e-6, 0.0, "drift with warmth"), (0.0, 0.0, "noise and drift with warmth")],
)
def test_a_figure_of_the_regulator_that_nobody_gave_is_named(noise: float, drift: float, lacks: str) -> None:
    assert quiet(regulator_noise_v=noise, drift_v=drift).endswith(
        f"The build does not state the regulator's {lacks}."
    )


@pytest.mark.parametrize(("at_screen", "where"), [(True, "screen"), (False, "plate")])
def test_the_feed_is_that_of_the_screen_or_of_a_triodes_plate(at_screen: bool, where: str) -> None:
    found = filled(supply.ScreenQuiet, at_screen=at_screen)
    section = audio_tables.source_section(study(screen=found))
    assert section.heading == f"Feed of the {where}"
    assert section.cautions == cautions.PLATE_SUPPLY
    begins = "At the detector's screen:" if at_screen else "At the detector's plate feed:"
    assert reading.notes(section)[0].startswith(begins)


def test_drift_of_a_plate_feed_is_called_so() -> None:
    """Of a triode the plate feed in millivolts; an onset that is not found shows nothing."""
    drifts = (supply.LineDrift(False, None, 0.0123, 3.4, None, 0.456),)
    section = audio_tables.drift_table(study(drifts=drifts))
    found = the(section, "Drift with the mains")
    assert found.headings[1] == "plate feed mV per V"
    assert found.rows == (("none", "456.000", "12.300", "3400.00", "-"),)
    assert "1 V of the mains" in reading.notes(section)[0]
    both = (supply.LineDrift(True, 0.0321, 0.0123, 3.4, 1e-4, 0.456),)
    found = the(audio_tables.drift_table(study(drifts=both)), "Drift with the mains")
    assert (found.headings[1], found.rows[0][:2]) == ("screen mV per V", ("as built", "32.100"))


def test_a_sheet_of_the_supply_stands_in_its_order() -> None:
    source = Source()
    report = filled(SupplyReport, source, notes=("the control was half way",))
    whole = filled(supply.SupplyStudy, source, report=report, failed=FAILED)
    page = audio_tables.supply_sheet("set", whole)
    headings = [section.heading for section in page.sections]
    assert headings == [
        "Not found", "Verdicts", "Rectifier and filter", "Filter capacitors", "Feed of the screen",
        "At which setting", "What a meter should read", "Ratings", "Regulator and supply",
        "Drift with the mains",
    ]  # fmt: skip
    assert note_with(page, "half way") == "The control was half way."
    assert report.regulator is not None
    assert f"Coil of {report.regulator.band}." in note_with(page, "Volts to ground")
    assert page.cautions == whole.cautions
    # each of the three sources alone brings its section
    for name in ("battery", "dropper", "screen"):
        one = study(**{name: getattr(whole, name)})
        sections = [s.heading for s in audio_tables.supply_sheet("set", one).sections]
        assert any(heading.startswith("Feed of") for heading in sections), name
    none = [s.heading for s in audio_tables.supply_sheet("set", study()).sections]
    assert not any(heading.startswith(("Feed of", "Rectifier", "Filter")) for heading in none)


LIVE = {
    "Audio response", "Limits of each output", "Hum as heard", "Hum", "Hum modulation of the oscillation",
    "Verdicts", "Rectifier and filter", "Feed of the screen", "What a meter should read", "Ratings",
    "Regulator and supply",
}  # fmt: skip
"""Sections whose figures ask for a meter or a hand near the plate supply."""


def test_sections_with_live_figures_bring_the_cautions_along_when_shown_alone() -> None:
    pages = (
        audio_tables.audio_sheet("set", filled(audio.AudioStudy)),
        audio_tables.hum_sheet("set", filled(hum.HumStudy)),
        audio_tables.supply_sheet("set", filled(supply.SupplyStudy)),
    )
    seen = {section.heading: section.cautions for page in pages for section in page.sections}
    assert seen.keys() >= LIVE
    for heading in LIVE:
        assert set(cautions.PLATE_SUPPLY) <= set(seen[heading]), heading
