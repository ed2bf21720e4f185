"""Every figure of the tables of `onset`, `detect` and `listen`: value, unit, column
(`tests/helpers/cells.py`).
"""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pytest

from receiver_sim.results import envelope
from receiver_sim.results.base import Status
from receiver_sim.results.envelope import OnsetKind, Oscillation, Steadiness
from receiver_sim.results.onset import ControlSetting
from receiver_sim.views import envelope_tables
from tests.helpers import reading
from tests.helpers.cells import Column, figure, hold, note_with, the, words
from tests.helpers.filling import Source, filled


def last(path: str, base: str) -> tuple[object, str]:
    """Stand for the last value of an array of the map of amplitudes: the top of the control."""
    return (lambda o: None if o.amplitudes is None else getattr(o.amplitudes, path)[-1]), base


def hard(source: Source, **other: object) -> Oscillation:
    return filled(Oscillation, source, kind=OnsetKind.HARD, status=Status.OSCILLATES, once_started=None,
                  onset_beyond_v=None, **other)  # fmt: skip


OSCILLATION: list[Column] = [
    ("band", words("band")),
    ("onset is", words("kind")),
    ("knob %", figure("onset.rotation", "1")),
    ("screen V", figure("onset.screen_v", "V")),
    ("backlash V", figure("jump.backlash_v", "V")),
    ("backlash deg", figure("jump.backlash_deg", "deg")),
    ("top V peak", last("amplitude_v", "V")),  # type: ignore[list-item]
    ("top at knob %", last("rotation", "1")),  # type: ignore[list-item]
    ("grid at top V", last("grid_v", "V")),  # type: ignore[list-item]
    ("builds up ms", figure("build_up.seconds", "s")),
    ("shift Hz/V", figure("hz_per_v", "Hz/V")),
]


def test_how_oscillation_comes_in() -> None:
    source = Source()
    found = [hard(source, band="40 m"), hard(source, band="20 m", build_up=None, hz_per_v=None)]
    bands = tuple(envelope.BandOscillation(one, (), (), None) for one in found)
    report = filled(envelope.OscillationReport, source, bands=bands)
    page = envelope_tables.oscillation_sheet(report)
    hold(the(page, "How oscillation comes in"), found, OSCILLATION)


def test_a_soft_onset_has_no_backlash_whatever_jumps_further_up() -> None:
    source = Source()
    soft = dataclasses.replace(hard(source), kind=OnsetKind.SOFT)
    report = filled(envelope.OscillationReport, source, bands=(envelope.BandOscillation(soft, (), (), None),))
    found = the(envelope_tables.oscillation_sheet(report), "How oscillation comes in")
    assert (found.column("backlash V"), found.column("backlash deg")) == (("0",), ("0",))


def test_the_same_in_short() -> None:
    source = Source()
    one = hard(source)
    stable = filled(envelope.Stability, source, kind=Steadiness.SQUEGGING, became=None)
    band = envelope.BandOscillation(one, (), (stable,), None)
    columns = [c for c in OSCILLATION if c[0] not in ("knob %", "screen V", "builds up ms")]
    columns.append(("then it", lambda _o: "squegging"))
    hold(the(envelope_tables.comes_in_table([band]), "How oscillation comes in"), [one], columns)


def test_with_a_weaker_supply_of_the_screen() -> None:
    source = Source()
    built = hard(source, extra_screen_ohm=0.0)
    weak = hard(source)
    bands = (envelope.BandOscillation(built, (weak,), (), None),)
    page = envelope_tables.oscillation_sheet(filled(envelope.OscillationReport, source, bands=bands))
    kept = dict(OSCILLATION)
    more = (lambda o: o.extra_screen_ohm or None), "ohm"
    columns: list[Column] = [
        ("band", kept["band"]),
        ("more to the screen", more),
        ("onset is", kept["onset is"]),
        ("knob %", kept["knob %"]),
        ("backlash V", kept["backlash V"]),
        ("top V peak", kept["top V peak"]),
        ("top at knob %", kept["top at knob %"]),
    ]
    hold(the(page, "With a weaker supply of the screen"), [built, weak], columns)


@pytest.mark.parametrize("table", ["onset", "check"])
def test_the_top_is_where_the_map_ends(table: str) -> None:
    """Guards against 'top 8.10 V, a few per cent from fully up' for a map lost at 60 % of the knob."""
    said = []
    ends = envelope.MapEnd
    for end in (ends.CONTROL, ends.REACH, ends.FOLD, ends.LOST):
        known = filled(
            envelope.AmplitudeMap, Source(), ends=end,
            rotation=np.linspace(0.31, 0.6, 6), amplitude_v=np.linspace(1e-3, 8.1031, 6),
        )  # fmt: skip
        one = hard(Source(), band="40 m", amplitudes=known, extra_screen_ohm=0.0)
        bands = (envelope.BandOscillation(one, (), (), None),)
        page = envelope_tables.comes_in_table(bands)
        if table == "onset":
            page = envelope_tables.oscillation_table(filled(envelope.OscillationReport, bands=bands))
        found = the(page, "How oscillation comes in")
        assert (found.column("top V peak"), found.column("top at knob %")) == (("8.10",), ("60.0",))
        assert "fully up" not in " ".join(reading.notes(page))
        said.append([n for n in reading.notes(page) if n.startswith("40 m: ") and "% of the knob" in n])
    assert said == [
        [],
        [
            "40 m: at 60.0 % of the knob it reaches 8.10 V, beyond what a grid stands; further up it was not "
            "followed"
        ],
        [
            "40 m: strongest at 60.0 % of the knob, 8.10 V; further up the control sustains less: not "
            "followed there"
        ],
        [
            "40 m: followed up to 60.0 % of the knob, 8.10 V; further up no solution was found and its "
            "strength is not known"
        ],
    ]


def test_a_band_that_goes_on_once_started() -> None:
    """Screen and knob where it holds from, volts there and at the top, the shock; where onset would be."""
    source = Source()
    started = filled(envelope.OnceStarted, source, lets_go=True)
    one = filled(Oscillation, source, status=Status.DOES_NOT, kind=None, onset=None, jump=None,
                 once_started=started, extra_screen_ohm=0.0)  # fmt: skip
    bands = (envelope.BandOscillation(one, (), (), None),)
    page = envelope_tables.oscillation_sheet(filled(envelope.OscillationReport, source, bands=bands))
    assert started.top_v is not None and one.onset_beyond_v is not None
    wanted = [
        (started.holds_from.screen_v, "V"), (started.holds_from.rotation, "1"), (started.amplitude_v, "V"),
        (started.top_v, "V"), (started.shock_v, "V"),
    ]  # fmt: skip
    reading.in_order(reading.figures(note_with(page, "once started")), wanted, rel=0.01)
    beyond = reading.figures(note_with(page, "onset would be"))
    reading.in_order(beyond, [(one.onset_beyond_v, "V")], rel=0.01)


def modes(
    source: Source, amplitude_v: float, rate: list[float], hz: list[float], growing: int, **other: object
):  # type: ignore[no-untyped-def]
    carriers = tuple((f"part {n}", "another") for n in range(len(rate)))
    return filled(
        envelope.EnvelopeModes, source, amplitude_v=amplitude_v, rate=np.array(rate),
        frequency_hz=np.array(hz), carried_by=carriers, growing=growing, **other,
    )  # fmt: skip


def test_what_does_not_hold_still() -> None:
    """The knob from the first to the last growing setting, the fastest growing mode, its carrier, the
    motion.
    """
    source = Source()
    points = (
        modes(source, 0.0, [-31.0, -70.0], [140.0, 55.0], 0, motion_v=None, motion_hz=None),
        modes(source, 0.2, [212.0, 95.0], [1730.0, 610.0], 4),
        modes(source, 0.9, [347.0, -12.0], [2290.0, 80.0], 2, motion_v=None, motion_hz=None),
    )
    found = filled(envelope.Stability, source, points=points, unstable=True, kind=Steadiness.HOWL)
    bands = (envelope.BandOscillation(hard(source), (), (found,), None),)
    page = envelope_tables.oscillation_sheet(filled(envelope.OscillationReport, source, bands=bands))
    row = dict(zip((t := the(page, "Does the oscillation hold still")).headings, t.rows[0], strict=True))
    first, second = found.begins_rotation, found.ends_rotation
    low, high = row.pop("at knob %").split(" to ")
    reading.check(low, "knob %", first, "1")
    reading.check(high, "knob %", second, "1")
    assert row == {
        "band": found.band, "circuit": found.what, "it": "howl", "mode Hz": "2290", "grows 1/s": "347",
        "carried by": "part 0",
    }  # fmt: skip
    moving = points[1]
    note = note_with(page, "in a run over time")
    assert moving.motion_mean_v is not None
    wanted = [
        (moving.setting.rotation, "1"), (moving.motion_v, "V"), (moving.motion_hz, "Hz"),
        (moving.motion_mean_v, "V"), (moving.motion_mean_v / moving.amplitude_v, "1"),
    ]  # fmt: skip
    reading.in_order(reading.figures(note), wanted, rel=0.01)


def test_the_stray_that_would_make_it_howl() -> None:
    source = Source()
    still = modes(source, 0.4, [-31.0], [140.0], 0, motion_v=None, motion_hz=None)
    found = filled(
        envelope.Stability, source, points=(still,), unstable=False, kind=Steadiness.HOLDS_STILL,
        begins_rotation=None, ends_rotation=None, became=None,
    )  # fmt: skip
    bands = (envelope.BandOscillation(hard(source), (), (found,), None),)
    page = envelope_tables.oscillation_sheet(filled(envelope.OscillationReport, source, bands=bands))
    note = note_with(page, "it would howl")
    wanted = [
        (found.stray_howl_hz, "Hz"), (found.stray_rotation, "1"), (found.stray_margin_farad, "F"),
    ]  # fmt: skip
    reading.in_order(reading.figures(note), wanted, rel=0.01)


def test_what_holds_still_shows_the_mode_that_rings_longest() -> None:
    """-12 1/s at 80 Hz lasts 83 ms, -31 1/s at 1400 Hz 32 ms: the former. At rest does not count, nor a
    creep, nor what has died away before it swings once, nor what nobody hears: the tank's own settling at 17
    kHz.
    """
    source = Source()
    points = (
        modes(source, 0.0, [-1.0], [900.0], 0),
        modes(
            source,
            0.5,
            [-12.0, -31.0, -2.0, -60.0, -9.0],
            [80.0, 1400.0, 0.0, 17e3, 4.0],
            0,
            motion_v=None,
            motion_hz=None,
        ),
    )
    found = filled(
        envelope.Stability, source, points=points[1:], unstable=False, kind=Steadiness.HOLDS_STILL,
        begins_rotation=None, ends_rotation=None, became=None,
    )  # fmt: skip
    bands = (envelope.BandOscillation(hard(source), (), (found,), None),)
    page = envelope_tables.oscillation_sheet(filled(envelope.OscillationReport, source, bands=bands))
    table = the(page, "Does the oscillation hold still")
    assert table.column("mode Hz") == ("80",)
    assert table.column("grows 1/s") == ("-12",)
    # of a remedy: what became of the mode that grew
    cured = dataclasses.replace(found, became=(0, 1))
    bands = (envelope.BandOscillation(hard(source), (), (cured,), None),)
    page = envelope_tables.oscillation_sheet(filled(envelope.OscillationReport, source, bands=bands))
    assert the(page, "Does the oscillation hold still").column("mode Hz") == ("1400",)
    assert table.column("at knob %") == ("-",)


def a_verification(source: Source, *, end: float, **other: object) -> envelope.Verification:
    """A ramp whose top is 62 % of the knob, beside a map up to `end`."""
    rotation = np.linspace(0.31, end, 6)
    known = filled(envelope.AmplitudeMap, source, rotation=rotation)
    top = filled(ControlSetting, source, rotation=0.62)
    given = {"onset_lag": 0.0041, "unsettled": 0.0023, **other}
    return filled(
        envelope.Verification, source, oscillation=hard(source, amplitudes=known), covered_to=top, **given
    )


def test_reference_transient_beside_the_envelope() -> None:
    source = Source()
    check = a_verification(source, end=0.93)
    page = envelope_tables.verification_table(check)
    found = the(page, ".*reference transient")
    halves = (check.reference, check.envelope)
    assert found.headings == ("", "every cycle", "envelope, same ramp", "map")
    mapped = check.oscillation
    assert mapped.onset is not None and mapped.jump is not None and mapped.seconds is not None
    assert mapped.amplitudes is not None
    at_top = float(np.interp(0.62, mapped.amplitudes.rotation, mapped.amplitudes.amplitude_v))
    rows: list[tuple[str, str, tuple[float | None, ...]]] = [
        ("onset, screen V", "V", (*(h.onset.screen_v for h in halves), mapped.onset.screen_v)),
        ("largest amplitude, V", "V", (*(h.amplitude_v.max() for h in halves), at_top)),
        ("backlash on the ramp, V", "V", (*(h.backlash_v for h in halves), mapped.jump.backlash_v)),
        ("time, s", "s", (*(h.engine_seconds for h in halves), mapped.seconds)),
    ]
    for row, (name, base, values) in zip(found.rows, rows, strict=True):
        assert row[0] == name
        for cell, value in zip(row[1:], values, strict=True):
            assert value is not None
            reading.check(cell, name, value, base, digits=3)
    errors = [
        (check.onset_error, "1"), (check.onset_lag, "1"), (check.amplitude_error, "1"), (check.unsettled, "1")
    ]  # fmt: skip
    reading.in_order(reading.figures(note_with(page, "off the map")), errors, rel=0.02)
    along = reading.figures(note_with(page, "along the ramp"))
    reading.in_order(along, [(check.ramp_error, "1")], rel=5e-3)
    assert f"{check.steps_per_cycle:.1f} steps a cycle" in note_with(page, "steps a cycle")
    reading.in_order(
        reading.figures(note_with(page, "steps a cycle")), [(check.damping_error, "1")], rel=5e-3
    )


def test_a_ramp_vouches_for_no_more_than_it_covered() -> None:
    """Guards against a ramp near onset, or one that never rested, that passed for a check of the map."""
    near = envelope_tables.verification_table(a_verification(Source(), end=0.93))
    assert note_with(near, "is verified") == (
        "the map is verified from onset up to 62.0 % of the knob; the map continues to 93.0 %, which was not "
        "verified"
    )
    whole = envelope_tables.verification_table(a_verification(Source(), end=0.63))
    assert note_with(whole, "is verified") == "the map is verified from onset up to 62.0 % of the knob"
    for restless in ({"unsettled": -0.08}, {"onset_lag": 0.057}):
        page = envelope_tables.verification_table(a_verification(Source(), end=0.93, **restless))
        assert note_with(page, "did not come to rest") == (
            "the amplitude did not come to rest on this ramp: it is a check of the envelope's time runs up "
            "to 62.0 % of the knob, not of the map"
        )
        assert not any("is verified" in note for note in reading.notes(page))


def test_detection() -> None:
    source = Source()
    found = filled(envelope.Detection, source)
    page = envelope_tables.detection_table(found)
    curves = [(found.am, found.am_transfer), (found.beat, found.beat_transfer)]
    columns: list[Column] = [
        ("signal", lambda c: f"{c[0].signal}, {c[0].tone_hz:.0f} Hz"),
        ("best knob %", (lambda c: c[0].best.rotation, "1")),
        ("from onset %", (lambda c: c[0].best.rotation / found.onset.rotation - 1.0, "1")),
        ("audio mV rms", (lambda c: c[0].best_v, "V")),
        ("overload mV", (lambda c: c[1].overload_v, "V")),
    ]
    hold(the(page, ".*detection"), curves, columns)
    assert found.bandwidth_hz is not None
    for words_, wanted in (
        ("in the aerial", [(found.am.carrier_v, "V")]),
        ("bandwidth at", [(found.bandwidth_hz, "Hz")]),
        ("locks", [(found.pulling.carrier_v, "V"), (found.pulling.lock_hz, "Hz")]),
    ):
        reading.in_order(reading.figures(note_with(page, words_)), wanted, rel=5e-3)


def test_setting_for_am_speech() -> None:
    """The criterion, the edge and no regeneration in words; loudness against bandwidth in a table."""
    source = Source()
    wanted = filled(envelope.SpeechSetting, source, wanted_hz=2500.0, reach_hz=2500.0)
    found = filled(envelope.Detection, source, speech=wanted)
    page = envelope_tables.detection_table(found)
    text = note_with(page, "best for AM").replace("(-3 dB)", "")
    reading.in_order(reading.figures(text), [(2500.0, "Hz")], rel=5e-3)
    text = note_with(page, "times as loud")
    reading.in_order(
        reading.figures(text), [(wanted.edge.rotation, "1"), (wanted.edge_reach_hz, "Hz")], rel=6e-3
    )
    edge, bare = wanted.edge_v / wanted.audio_v, wanted.audio_v / wanted.bare_v
    for said, ratio in ((text, edge), (note_with(page, "without regeneration"), bare)):
        seen = [float(number) for number in re.findall(r"([0-9.]+) times", said)]
        assert seen == pytest.approx([ratio, ratio**0.5], rel=0.06)
    assert "no setting passes" not in note_with(page, "best for AM")
    table = the(page, ".*detection", 1)
    am = found.am
    assert am is not None and am.reach_hz is not None
    rows = list(zip(am.rotation, am.audio_v, am.reach_hz, strict=True))
    columns: list[Column] = [
        ("knob %", (lambda r: r[0], "1")),
        ("audio mV rms", (lambda r: r[1], "V")),
        ("passes up to kHz", (lambda r: r[2], "Hz")),
    ]
    hold(table, rows, columns)
    sharp = dataclasses.replace(found, speech=dataclasses.replace(wanted, reach_hz=900.0))
    assert "no setting passes" in note_with(envelope_tables.detection_table(sharp), "best for AM")


def test_detection_without_an_onset_says_what_can_still_be_told() -> None:
    source = Source()
    found = filled(
        envelope.Detection, source, band="20 m", onset=None, status=Status.DOES_NOT, beat=None,
        beat_transfer=None, pulling=None, notes=("AM over the whole control",),
    )  # fmt: skip
    page = envelope_tables.detection_table(found)
    table = the(page, ".*detection")
    assert found.am is not None and found.am_transfer is not None
    assert [row[0] for row in table.rows] == [f"{found.am.signal}, {found.am.tone_hz:.0f} Hz"]
    reading.check(table.column("best knob %")[0], "best knob %", found.am.best.rotation, "1")
    assert table.column("from onset %") == ("-",)
    assert note_with(page, "20 m: ") == "20 m: does not oscillate"
    assert note_with(page, "whole control") == "AM over the whole control"
    assert not any("locks" in note for note in reading.notes(page))
    everywhere = dataclasses.replace(
        found, status=Status.NOT_IN_RANGE, am=None, am_transfer=None, bandwidth_hz=None,
        beat=found.am, beat_transfer=found.am_transfer,
    )  # fmt: skip
    page = envelope_tables.detection_table(everywhere)
    assert note_with(page, "20 m: ") == "20 m: oscillates at the lowest setting already"
    assert not any("bandwidth" in note for note in reading.notes(page))


def test_the_sound_of_a_band_without_onset_says_so() -> None:
    found = filled(envelope.Sound, volts=np.zeros(8), status=Status.DOES_NOT, notes=("20 m: no onset",))
    assert "20 m: no onset" in reading.notes(envelope_tables.sound_note(found, where="heard.wav"))


def test_sound() -> None:
    source = Source()
    found = filled(envelope.Sound, source, rate=8000.0, volts=np.linspace(-1.0, 1.0, 29600))
    note = note_with(envelope_tables.sound_note(found, where="heard.wav"), "heard.wav")
    assert found.level_db is not None
    # 29600 samples at 8 kHz last 3.7 s; the level is of a tone of 1 kHz
    wanted = [(3.7, "s"), (found.rms_v, "V"), (found.peak_v, "V"), (found.level_db, "dB"), (1000.0, "Hz")]
    reading.in_order(reading.figures(note), wanted, rel=0.01)


def test_noise_of_a_sound() -> None:
    """Each figure of the notes is that of its field; without noise or without an aerial it is said."""
    found = filled(envelope.Sound, volts=np.zeros(8))
    noise = found.noise
    assert noise is not None and noise.band_emf_v is not None and noise.own_emf_v is not None
    page = envelope_tables.sound_note(found, where="heard.wav")
    wanted = [(noise.total_db, "dB"), (noise.man_made_db, "dB"), (noise.atmospheric_db, "dB")]
    assert noise.total_db is not None and noise.galactic_db is not None
    wanted += [(noise.galactic_db, "dB"), (noise.band_emf_v, "V"), (noise.bandwidth_hz, "Hz")]
    band = note_with(page, "noise of the band")
    assert noise.place is not None and noise.place in band
    # whole decibels: half of one in the least of these figures
    least = min(value for value, unit in wanted if unit == "dB" and value is not None)
    reading.in_order(reading.figures(band.partition("median)")[2]), wanted, rel=0.5 / least)
    own = [(noise.own_emf_v, "V"), (noise.bandwidth_hz, "Hz")]
    reading.in_order(reading.figures(note_with(page, "tank and the tube")), own, rel=0.01)
    lines = [note for note in reading.notes(page) if note.startswith("station ")]
    assert noise.stations
    for station, line in zip(noise.stations, lines, strict=True):
        over = [
            (station.level_v, "V"), (station.offset_hz, "Hz"), (station.over_noise_db, "dB"),
            (noise.bandwidth_hz, "Hz"),
        ]  # fmt: skip
        reading.in_order(reading.figures(line), over, rel=0.5 / station.over_noise_db)
    assert f"seed {noise.seed}," in note_with(page, "seed")
    clean = dataclasses.replace(found, noise=None)
    assert note_with(envelope_tables.sound_note(clean, where="x"), "clean").startswith("a clean sound")
    bare = dataclasses.replace(noise, total_db=None, band_emf_v=None, own_emf_v=None, stations=())
    page = envelope_tables.sound_note(dataclasses.replace(found, noise=bare), where="x")
    assert note_with(page, "no aerial").startswith("noise: of the set alone")


@pytest.mark.parametrize("text", ["3.46 kHz", "-1.2 mV", "47 %", "12 dB SPL"])
def test_the_reader_knows_a_wrong_scale(text: str) -> None:
    """A reader that took anything would hold nothing."""
    right = reading.read(text)
    reading.check(text, "", right.value, right.base)
    for wrong in (1000.0 * right.value, -right.value, 1.11 * right.value, 0.01 * right.value):
        with pytest.raises(AssertionError):
            reading.check(text, "", wrong, right.base)
    with pytest.raises(AssertionError, match="not K"):
        reading.check(text, "", right.value, "K")
