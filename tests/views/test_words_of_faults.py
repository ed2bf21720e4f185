"""What `faults` and `calibrate` say in words, a little above and below each limit."""

from __future__ import annotations

import dataclasses

import pytest

from receiver_sim.results import cautions
from receiver_sim.results.base import FailedStage
from receiver_sim.results.calibration import Calibration, Pulled
from receiver_sim.results.faults import FaultReport, Hazard, NextReading, Suspect
from receiver_sim.views import calibration_tables, fault_tables
from receiver_sim.views.sheet import Note, Section
from tests.helpers import reading
from tests.helpers.cells import note_with, the
from tests.helpers.filling import filled


def report(**given: object) -> FaultReport:
    plain: dict[str, object] = {
        "title": "a set", "healthy": False, "healthy_probability": 0.031, "hazards": (), "suspects": (),
        "next_reading": None, "readings": (), "tried": 105, "not_shown": (), "cautions": cautions.ALL,
        "failed": (), "healthy_deviation": 1.0,
    }  # fmt: skip
    return FaultReport(**{**plain, **given})  # type: ignore[arg-type]


def suspect(probability: float = 0.712, deviation: float = 1.2, *names: str, size: str = "open") -> Suspect:
    return Suspect(names or ("R5 (stopper): open",), size, probability, deviation)


def said(found: FaultReport) -> list[str]:
    return reading.notes(fault_tables.verdict(found))


# ---------------------------------------------------------------------- what hurts


@pytest.mark.parametrize(("probability", "word"), [(0.0505, "DANGER"), (0.0495, "CAUTION")])
def test_a_hazard_a_hundredth_from_one_in_twenty(probability: float, word: str) -> None:
    found = report(hazards=(Hazard("C9: short", "it burns", probability),))
    page = fault_tables.faults_sheet(found)
    assert page.cautions[0] == f"{word}, C9: short is not ruled out: it burns."
    assert page.cautions[1:] == cautions.ALL
    assert page.all_cautions()[0] == page.cautions[0]


def test_what_hurts_stands_before_all_else_in_red_and_what_is_untested_without_a_figure() -> None:
    hazards = (
        Hazard("C9: short", "it burns", 0.2),
        Hazard("R3: open", "it stays charged", 0.3, tested=False),
    )
    page = fault_tables.faults_sheet(report(hazards=hazards))
    first = page.sections[0]
    assert first.heading == "Rule these out first" and first.cautions == cautions.PLATE_SUPPLY
    notes = [part for part in first.parts if isinstance(part, Note)]
    assert [(note.mark, note.style) for note in notes] == [(" ! ", "bold red"), (" ! ", "")]
    assert notes[1].text == "R3: open, which no reading here tests: it stays charged."


def test_the_sections_of_an_answer_stand_in_their_order_with_their_cautions() -> None:
    found = report(
        hazards=(Hazard("C9: short", "it burns", 0.2),), suspects=(suspect(),),
        next_reading=NextReading("V2 grid", "10 Mohm", {"sound set": 0.0}, "Switch off."),
        failed=(FailedStage("C4: open", "no answer", None),),
    )  # fmt: skip
    page = fault_tables.faults_sheet(found)
    assert page.title == "Faults: a set"
    assert [(s.heading, bool(s.cautions)) for s in page.sections] == [
        ("Rule these out first", True), ("What the readings say", False), ("Suspects", True),
        ("What to measure next", True), ("Readings", True), ("Not found", False),
    ]  # fmt: skip
    bare = fault_tables.faults_sheet(report())
    assert [s.heading for s in bare.sections] == ["What the readings say", "Suspects", "Readings"]


# ---------------------------------------------------------------------- the answer


def test_a_sound_set_is_called_so_with_what_no_reading_shows() -> None:
    sound = report(healthy=True, healthy_probability=0.873, not_shown=("C4: open", "R9: high"))
    assert said(sound) == [
        "These readings are those of a sound set (87 %).",
        "They can't show, and so don't exclude: C4: open; R9: high.",
    ]
    assert said(dataclasses.replace(sound, not_shown=())) == [
        "These readings are those of a sound set (87 %)."
    ]


def test_the_likeliest_suspects_are_named_with_size_and_share() -> None:
    one = suspect(0.712, 1.2, "C7 (coupling capacitor): leaky", size="470 kohm")
    assert said(report(suspects=(one, suspect(0.2)))) == [
        "Most likely C7 (coupling capacitor): leaky (470 kohm), 71 %."
    ]
    # a size that its name ends in already is not said again
    assert said(report(suspects=(suspect(),))) == ["Most likely R5 (stopper): open, 71 %."]
    group = suspect(0.5, 1.2, *(f"R{n}: low" for n in range(1, 7)), size="low")
    assert said(report(suspects=(group,))) == [
        "Most likely R1: low or R2: low or R3: low or R4: low, 50 %. These readings can't separate them."
    ]
    assert said(report()) == ["No single fault that was tried explains these readings."]
    # what a sound set can't show is of no use beside a fault
    assert len(said(report(suspects=(one,), not_shown=("C4: open",)))) == 1


@pytest.mark.parametrize(("deviation", "poor"), [(2.525, True), (2.475, False)])
def test_an_answer_a_hundredth_from_two_and_a_half_deviations(deviation: float, poor: bool) -> None:
    """Normal distribution: one reading is off by more than 2.5 deviations in one of eighty sets."""
    for found in (
        report(suspects=(suspect(0.7, deviation),)),
        report(healthy=True, healthy_deviation=deviation),
    ):
        (text,) = said(found)
        assert ("explains them poorly" in text) is poor
        assert (f"off by {deviation:.1f} standard deviations" in text) is poor


def test_a_suspect_just_below_a_twentieth_of_a_per_cent_is_left_out() -> None:
    """It would be shown with 0.0 %; the first is shown, however unlikely."""
    shares = (0.9, 5.05e-4, 4.95e-4)
    found = report(suspects=tuple(suspect(share) for share in shares))
    table = the(fault_tables.suspects(found), "Suspects")
    assert table.column("%") == ("90.0", "0.1")
    assert table.column("") == ("1", "2")
    lone = report(suspects=(suspect(1e-5), suspect(1e-6)))
    assert the(fault_tables.suspects(lone), "Suspects").column("%") == ("0.0",)


def test_six_names_of_a_group_and_how_many_more() -> None:
    names = [f"R{n}: low" for n in range(1, 9)]
    table = the(fault_tables.suspects(report(suspects=(suspect(0.5, 1.2, *names),))), "Suspects")
    assert table.column("suspect") == ("; ".join(names[:6]) + "; and 2 more",)
    table = the(fault_tables.suspects(report(suspects=(suspect(0.5, 1.2, *names[:6]),))), "Suspects")
    assert table.column("suspect") == ("; ".join(names[:6]),)


def test_suspects_are_ranked_on_faults_by_common_practice() -> None:
    note = note_with(fault_tables.suspects(report()), "single faults tried")
    assert "common practice, no source" in note and "Off by: readings against the suspect" in note


# ---------------------------------------------------------------------- calibration


def pulled(name: str, after: float, before: float = 0.1) -> Pulled:
    return Pulled("key", name, "resistor", "1", 1e4, 1.1e4, 0.1, before, after)


def calibration(**given: object) -> Calibration:
    plain: dict[str, object] = {
        "title": "a set", "tap_before": None, "tap_after": None, "hum_before_v": None, "hum_after_v": None,
        "notes": (), "failed": (),
    }  # fmt: skip
    return filled(Calibration, **{**plain, **given})


def test_what_the_readings_pinned_most_stands_first_and_sixteen_are_shown() -> None:
    """By the share of its spread that is left, not by what is left: 4 of 20 % before 3 of 5 %."""
    few = calibration(pulled=(pulled("b", 0.03, 0.05), pulled("a", 0.04, 0.2)))
    section = calibration_tables.pulled(few)
    assert the(section, "Parts and tubes").column("what") == ("a", "b")
    assert "more that the readings" not in reading.notes(section)[0]
    many = calibration(pulled=tuple(pulled(f"p{n}", 0.001 * (n + 1)) for n in range(19)))
    section = calibration_tables.pulled(many)
    assert the(section, "Parts and tubes").column("what") == tuple(f"p{n}" for n in range(16))
    assert reading.notes(section)[0].endswith(" 3 more that the readings say less of: --json.")


def test_tap_and_hum_before_and_after_in_sentences() -> None:
    found = calibration(
        tap_before=0.0712, tap_after=0.0834, hum_before_v=1.23e-3, hum_after_v=0.87e-3, hum_pot_before=0.47,
        hum_pot_after=0.53,
    )  # fmt: skip
    band = found.onsets[0].band
    assert reading.notes(calibration_tables.onsets(found)) == [
        f"Tap of {band} for onset where the build has it: 7.12 % of the turns before, 8.34 % after.",
        "Least hum at the first phones 1.23 mV with the hum pot at 47 % before, 870 uV at 53 % after.",
    ]
    assert reading.notes(calibration_tables.onsets(calibration())) == []
    lost = dataclasses.replace(found, tap_before=None, hum_after_v=None)
    first, second = reading.notes(calibration_tables.onsets(lost))
    assert "- of the turns before, 8.34 % after" in first and "before, - at" in second


def test_the_sections_of_a_calibration_stand_in_their_order_with_their_cautions() -> None:
    found = calibration(notes=("a remark",), failed=(FailedStage("hum", "no answer", None),))
    page = calibration_tables.calibration_sheet(found)
    assert page.title == "Calibration: a set" and page.cautions == found.cautions
    assert [(s.heading, s.cautions) for s in page.sections] == [
        ("Notes", ()), ("Onset before and after", cautions.PLATE_SUPPLY),
        ("Parts and tubes", cautions.PLATE_SUPPLY), ("Readings", cautions.PLATE_SUPPLY), ("Not found", ()),
    ]  # fmt: skip
    notes: Section = page.sections[0]
    assert [(n.mark, n.text) for n in notes.parts if isinstance(n, Note)] == [(" ! ", "a remark")]
    plain = calibration_tables.calibration_sheet(calibration())
    assert plain.sections[0].heading == "Onset before and after"
