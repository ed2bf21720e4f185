"""What the tables of `onset`, `detect` and `listen` say in words, a little above and below each limit."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from receiver_sim.results import cautions, envelope
from receiver_sim.results.base import FailedStage, Status
from receiver_sim.results.envelope import OnsetKind, Oscillation, Steadiness
from receiver_sim.results.onset import ControlSetting
from receiver_sim.views import envelope_tables
from receiver_sim.views.sheet import Section
from tests.helpers import reading
from tests.helpers.cells import note_with, the
from tests.helpers.filling import Source, filled


def oscillation(**given: object) -> Oscillation:
    plain: dict[str, object] = {
        "band": "40 m", "kind": OnsetKind.HARD, "status": Status.OSCILLATES, "once_started": None,
        "onset_beyond_v": None, "warnings": (), "extra_screen_ohm": 0.0,
    }  # fmt: skip
    return filled(Oscillation, **{**plain, **given})


def report(*bands: envelope.BandOscillation, **given: object) -> envelope.OscillationReport:
    plain: dict[str, object] = {"title": "set", "warnings": (), "failed": ()}
    return filled(envelope.OscillationReport, bands=bands, **{**plain, **given})


def band(*stability: envelope.Stability, **given: object) -> envelope.BandOscillation:
    return envelope.BandOscillation(oscillation(**given), (), stability, None)


# ---------------------------------------------------------------------- how oscillation comes in


def test_a_sheet_of_onset_has_what_was_asked_for() -> None:
    weak = oscillation(extra_screen_ohm=47e3)
    whole = dataclasses.replace(band(still()), overlays=(weak,))
    page = envelope_tables.oscillation_sheet(report(whole, failed=(FailedStage("modes", "lost", None),)))
    assert page.title == "set: onset of oscillation"
    assert [section.heading for section in page.sections] == [
        "How oscillation comes in", "Not found", "With a weaker supply of the screen",
        "Does the oscillation hold still",
    ]  # fmt: skip
    assert page.sections[0].cautions == cautions.ALL
    bare = envelope_tables.oscillation_sheet(report(band()))
    assert [section.heading for section in bare.sections] == ["How oscillation comes in"]


def test_the_legend_says_for_what_setting_each_figure_is() -> None:
    """Build-up from thermal volts to 90 % of the end, 1 % above onset; amplitudes at the hot end."""
    note = reading.notes(envelope_tables.oscillation_table(report(band())))[-1]
    assert "top: amplitude at the hot end at the highest setting" in note
    assert "builds up: from thermal volts to 90 %, screen 1 % above onset" in note


def test_a_throttle_has_its_figures_in_picofarads() -> None:
    def at(rotation: float, farad: float) -> ControlSetting:
        return ControlSetting.of(rotation, farad, quantity="throttle capacitance", unit="F")

    jump = filled(envelope.Jump, up=at(0.5, 87.34e-12), down=at(0.4, 61.12e-12), backlash_v=None)
    known = filled(
        envelope.AmplitudeMap, screen_v=None, rest_screen_v=None, unit="F", quantity="throttle capacitance"
    )
    shift = dataclasses.replace(filled(Oscillation).shift_in, value=4.56e14)  # type: ignore[type-var]
    one = oscillation(onset=at(0.5, 87.34e-12), jump=jump, amplitudes=known, shift_in=shift)
    found = the(
        envelope_tables.oscillation_table(report(envelope.BandOscillation(one, (), (), None))), "How.*"
    )
    row = dict(zip(found.headings, found.rows[0], strict=True))
    # 87.34 less 61.12 pF; 4.56e14 Hz a farad are 456 Hz a picofarad
    assert (row["throttle pF"], row["backlash pF"], row["shift Hz/pF"]) == ("87.34", "26.22", "456.00")


def test_in_short_a_warning_that_the_page_has_given_is_not_said_again() -> None:
    one = band(warnings=("old", "new"))
    notes = reading.notes(envelope_tables.comes_in_table([one], told={"old"}))
    assert notes[0] == "40 m: new" and len(notes) == 2
    assert notes[-1].startswith("middle of the dial; top: amplitude at the hot end")
    found = the(envelope_tables.comes_in_table([one]), "How.*")
    assert found.column("then it") == ("-",)


# ---------------------------------------------------------------------- does it hold still


def modes(amplitude_v: float = 0.4, **given: object) -> envelope.EnvelopeModes:
    plain: dict[str, object] = {
        "amplitude_v": amplitude_v, "rate": np.array([-31.0]), "frequency_hz": np.array([140.0]),
        "carried_by": (("plate load",),), "growing": 0, "motion_v": None, "motion_hz": None,
        "motion_mean_v": None, "setting": ControlSetting(0.613, 30.0),
    }  # fmt: skip
    return filled(envelope.EnvelopeModes, **{**plain, **given})


def still(*points: envelope.EnvelopeModes, **given: object) -> envelope.Stability:
    plain: dict[str, object] = {
        "band": "40 m", "what": "as built", "points": points or (modes(),), "unstable": False,
        "kind": Steadiness.HOLDS_STILL, "begins_rotation": None, "ends_rotation": None, "became": None,
        "stray_margin_farad": None, "stray_howl_hz": None, "stray_rotation": None,
    }  # fmt: skip
    return filled(envelope.Stability, **{**plain, **given})


def stability(*found: envelope.Stability) -> Section:
    page = envelope_tables.oscillation_sheet(report(band(*found)))
    (section,) = [s for s in page.sections if s.heading == "Does the oscillation hold still"]
    return section


def test_a_start_from_rest_that_ends_in_squegging_is_not_called_still() -> None:
    moving = modes(0.4, motion_v=1.23, motion_hz=456.0, motion_mean_v=0.1)
    section = stability(still(moving))
    assert the(section, "Does.*").column("it") == ("not from rest",)
    assert note_with(section, "run over time") == (
        "40 m, as built: it would hold still once it stood, but a start from rest ends in squegging: in a "
        "run over time at 61.3 % the amplitude swings by 1.23 V in all, at 456 Hz; in the mean it is 100 mV, "
        "25 % of what it would be at rest"
    )


def test_an_irregular_motion_has_no_pitch_and_one_at_rest_is_of_the_output() -> None:
    howling = {"unstable": True, "kind": Steadiness.MOTORBOATING}
    at_rest = modes(0.0, rate=np.array([50.0]), growing=1, motion_v=1.23, motion_mean_v=0.2)
    section = stability(still(at_rest, **howling))
    assert note_with(section, "run over time") == (
        "40 m, as built: in a run over time at 61.3 % the detector's output swings by 1.23 V in all, "
        "irregularly"
    )
    assert the(section, "Does.*").column("it") == ("motorboating",)


def test_remedies_stand_in_the_order_they_were_tried() -> None:
    first, second = still(), still(what="load shunt of 220 kohm")
    section = stability(first, second)
    assert the(section, "Does.*").column("circuit") == ("as built", "load shunt of 220 kohm")
    assert "remedies are tried one by one, in this order, until one works" in reading.notes(section)
    assert not [n for n in reading.notes(stability(first)) if "remedies are tried" in n]


def test_where_nothing_grows_there_is_no_place_and_one_setting_is_one_place() -> None:
    assert the(stability(still()), "Does.*").column("at knob %") == ("-",)
    growing = modes(growing=1, rate=np.array([31.0]))
    one = still(growing, unstable=True, kind=Steadiness.HOWL)
    assert the(stability(one), "Does.*").column("at knob %") == ("61.3",)
    two = still(
        growing, dataclasses.replace(growing, setting=ControlSetting(0.787, 40.0)), unstable=True,
        kind=Steadiness.HOWL,
    )  # fmt: skip
    assert the(stability(two), "Does.*").column("at knob %") == ("61.3 to 78.7",)


def test_the_pitch_of_what_is_named_goes_up_to_ten_kilohertz() -> None:
    """As the search for it does: nobody hears the tank's own settling above."""
    assert envelope.HEARD_HZ == 10e3
    note = reading.notes(stability(still()))[0]
    assert "the one up to 10 kHz that rings longest (a negative rate decays)" in note


# ---------------------------------------------------------------------- reference transient


def test_a_map_is_held_against_a_ramp_of_every_cycle() -> None:
    check = filled(
        envelope.Verification, oscillation=oscillation(), onset_lag=0.0, unsettled=0.0, speed_ratio=412.0
    )
    section = envelope_tables.verification_table(check)
    assert section.heading == f"{check.band}: reference transient"
    assert section.cautions == cautions.PLATE_SUPPLY
    assert note_with(section, "of the time") == "the map took 1/412 of the time of the reference"
    assert "a ramp breaks off late" in reading.notes(section)[-1]


@pytest.mark.parametrize(
    ("lag", "rests"), [(0.0198, True), (0.0202, False), (-0.0202, False), (-0.0198, True)]
)
@pytest.mark.parametrize("what", ["onset_lag", "unsettled"])
def test_a_ramp_a_hundredth_from_two_per_cent_of_rest(lag: float, rests: bool, what: str) -> None:
    """The program claims 2 % for onset: a ramp that leaves more unsettled is no check of it."""
    given = {"onset_lag": 0.0, "unsettled": 0.0, what: lag}
    check = filled(envelope.Verification, oscillation=oscillation(), **given)
    notes = reading.notes(envelope_tables.verification_table(check))
    assert any("did not come to rest" in n for n in notes) is not rests
    assert any("is verified from onset" in n for n in notes) is rests


# ---------------------------------------------------------------------- detection


def speech(**given: object) -> envelope.SpeechSetting:
    plain: dict[str, object] = {
        "wanted_hz": 2500.0, "reach_hz": 2500.0, "audio_v": 1.0, "edge_v": 4.0, "bare_v": 0.25,
        "edge": ControlSetting(0.487, 30.0), "edge_reach_hz": 812.0,
    }  # fmt: skip
    return filled(envelope.SpeechSetting, **{**plain, **given})


def spoken(**given: object) -> list[str]:
    found = filled(envelope.Detection, speech=speech(**given))
    return reading.notes(envelope_tables.detection_table(found))


def test_the_setting_for_speech_in_words() -> None:
    """Detection follows the square: four times as loud is a signal twice as strong."""
    notes = spoken()
    for said in (
        "best for AM: the loudest setting that passes audio up to 2.50 kHz (-3 dB), so that speech is "
        "understood",
        "nearer to onset, at 48.7 % of the knob, it is 4.0 times as loud (detection follows the square: a "
        "signal 2.0 times weaker would do), but passes 812 Hz only",
        "without regeneration the same station is 4.0 times weaker (a signal 2.0 times stronger would be "
        "needed)",
    ):
        assert said in notes
    against = (
        "without what is fed back the same station would be 4.0 times as loud: here it works against the "
    )
    assert f"{against}swing" in spoken(bare_v=4.0)


@pytest.mark.parametrize(("share", "told"), [(1.131, True), (1.109, False)])
def test_the_edge_is_worth_a_line_from_one_decibel_on(share: float, told: bool) -> None:
    """1 dB is 1.122 in volts."""
    assert any("nearer to onset" in n for n in spoken(edge_v=share)) is told


@pytest.mark.parametrize(("share", "passes"), [(0.9999 / 1.01, True), (0.98, False)])
def test_a_tank_that_is_too_sharp_is_told_within_a_hundredth(share: float, passes: bool) -> None:
    notes = spoken(reach_hz=share * 2500.0)
    assert any("the loudest setting that passes" in n for n in notes) is passes
    assert (
        any("no setting passes audio up to 2.50 kHz (-3 dB); this is the widest" in n for n in notes)
        is not passes
    )


def test_a_beat_note_has_no_bandwidth_to_weigh() -> None:
    am = filled(envelope.DetectionCurve, reach_hz=None)
    found = filled(envelope.Detection, am=am, speech=None)
    section = envelope_tables.detection_table(found)
    assert len(reading.tables(section)) == 1
    assert not [n for n in reading.notes(section) if "Loudness" in n]
    assert section.cautions == cautions.PLATE_SUPPLY + cautions.RADIATION
    nothing = dataclasses.replace(found, am=None, beat=None, pulling=None, status=Status.FAILED, notes=())
    section = envelope_tables.detection_table(nothing)
    assert reading.tables(section) == []
    assert reading.notes(section) == [f"{found.band}: simulation failed"]


# ---------------------------------------------------------------------- sound


def test_a_sound_of_phones_without_sensitivity_has_no_level() -> None:
    found = filled(
        envelope.Sound, band="40 m", volts=np.zeros(8000), rate=8000.0, level_db=None, noise=None,
        notes=("n",), warnings=("w",),
    )  # fmt: skip
    section = envelope_tables.sound_note(found, where="a.wav")
    assert section.heading == "40 m: sound" and section.cautions == cautions.RADIATION
    notes = reading.notes(section)
    assert "dB SPL" not in notes[0] and notes[0].startswith("a.wav: 1.0 s at ")
    assert notes[1:] == ["a clean sound: without the noise of the band and of the set", "n", "w"]


@pytest.mark.parametrize("assumed", [True, False])
def test_the_noise_of_the_band_names_what_was_assumed(assumed: bool) -> None:
    source = Source()
    noise = dataclasses.replace(
        filled(envelope.Sound, source).noise, height_assumed=assumed, galactic_db=None  # type: ignore[type-var]
    )  # fmt: skip
    section = envelope_tables.sound_note(filled(envelope.Sound, source, noise=noise), where="a.wav")
    note = note_with(section, "ITU-R P.372, median")
    assert ("(effective height of the aerial assumed)" in note) is assumed
    assert "galactic" not in note and "(a rough middle)" in note
    assert "Gaussian, flat up to" in note_with(section, "seed")
