"""Every figure of the tables of `audio`, `hum` and `supply`: value, unit, column
(`tests/helpers/cells.py`).
"""

from __future__ import annotations

import re

import numpy as np
import pytest

from receiver_sim.results import audio, hum, supply
from receiver_sim.views import audio_tables
from tests.helpers import reading
from tests.helpers.cells import (
    Column,
    always,
    facts,
    figure,
    free,
    hold,
    hold_facts,
    note_with,
    the,
    words,
)
from tests.helpers.filling import Source, filled


@pytest.fixture
def study() -> audio.AudioStudy:
    return filled(audio.AudioStudy)


def test_limits_of_each_output(study: audio.AudioStudy) -> None:
    """Guards against the column of clipping showing compression: all of one kind, V, W and dB."""
    columns: list[Column] = [
        ("output", words("output", 18)),
        ("10 % dist. input", figure("limits.clip_v", "V")),
        ("power", figure("limits.clip_w", "W")),
        ("dB SPL", figure("limits.clip_db", "dB")),
        ("1 dB compr. input", figure("limits.compression_v", "V")),
        ("power", figure("limits.compression_w", "W")),
        ("class A up to", figure("limits.class_a_v", "V")),
        ("noise V rms", figure("limits.floor_v", "V")),
        ("dB SPL", figure("limits.floor_db", "dB")),
    ]
    page = audio_tables.audio_sheet("set", study)
    hold(the(page, "Limits of each output"), study.levels, columns)


def test_drive_and_harmonics_in_per_cent(study: audio.AudioStudy) -> None:
    """Guards against per cent a hundred times low. Harmonics 2 to 6 stand first in the result."""
    columns: list[Column] = [
        ("input V rms", figure("input_v", "V")),
        ("output V rms", figure("output_v", "V")),
        ("power", figure("power_w", "W")),
        ("dB SPL", figure("level_db", "dB")),
        ("dist. %", figure("thd", "1")),
        *((f"{n + 2}. %", (lambda d, n=n: d.harmonics[n], "1")) for n in range(5)),
    ]
    page = audio_tables.audio_sheet("set", study)
    for levels in study.levels:
        hold(the(page, f"Drive and harmonics: {levels.output}"), levels.drives, columns)


def test_a_harmonic_too_small_to_print_is_called_so(study: audio.AudioStudy) -> None:
    """Below a thousandth of a per cent: 0.9e-5 is, 1.1e-5 is not."""
    drive = filled(audio.Drive, harmonics=np.array([0.9e-5, 1.1e-5, 0.02, 0.03, 0.04]))
    page = audio_tables.drive_table(audio.OutputLevels("out", (drive,), study.levels[0].limits))
    (row,) = the(page, "Drive.*").rows
    assert row[5:7] == ("<0.001", "0.00110")


def test_class_a(study: audio.AudioStudy) -> None:
    columns: list[Column] = [
        ("socket", words("socket")),
        ("input V rms", figure("input_v", "V")),
        ("least plate current % of quiescent", figure("least_share", "1")),
        ("grid at peak V", figure("grid_v", "V")),
        ("grid current uA", figure("grid_a", "A")),
        ("class A", lambda c: "keeps" if c.keeps else "X LEAVES"),
    ]
    hold(the(audio_tables.audio_sheet("set", study), "Class A"), study.class_a, columns)


def test_energy_at_the_output_transformer(study: audio.AudioStudy) -> None:
    balance = study.transformer
    assert balance is not None
    wanted = [
        (1000.0, "Hz"), (balance.primary_w, "W"), (balance.loads_w, "W"), (balance.windings_w, "W"),
        (balance.core_w, "W"),
        (balance.error, "1"),
    ]  # fmt: skip
    text = note_with(audio_tables.audio_sheet("set", study), "enter the primary")
    reading.in_order(reading.figures(text), wanted, rel=5e-3)


# ---------------------------------------------------------------------------- hum


@pytest.fixture
def hums() -> hum.HumStudy:
    return filled(hum.HumStudy)


def test_tones_against_the_threshold(hums: hum.HumStudy) -> None:
    paths = hums.paths
    assert paths is not None
    tones = [tone for output in paths.outputs for tone in output.tones]
    columns: list[Column] = [
        ("output", free),
        ("tone Hz", figure("frequency_hz", "Hz")),
        ("at the load V rms", figure("volts_v", "V")),
        ("dB SPL", figure("level_db", "dB")),
        ("threshold dB SPL", figure("threshold_db", "dB")),
        ("above it dB", always("")),
        ("", lambda t: "audible" if t.level_db > t.threshold_db else "inaudible"),
    ]
    found = the(audio_tables.hum_sheet("set", hums), "Hum as heard")
    # a difference of some decibels, printed to one: too coarse for `hold`
    for row, tone in zip(found.rows, tones, strict=True):
        assert tone.level_db is not None
        assert abs(float(row[5]) - (tone.level_db - tone.threshold_db)) <= 0.5
    bare = tuple((*row[:5], "", row[6]) for row in found.rows)
    hold(reading.Table(found.section, found.headings, bare), tones, columns)


def test_paths_of_each_output(hums: hum.HumStudy) -> None:
    paths = hums.paths
    assert paths is not None
    columns: list[Column] = [
        ("path", words("path", 44)),
        ("Hz", figure("frequency_hz", "Hz")),
        ("alone, V rms", figure("volts_v", "V")),
        ("share of that line", figure("share", "1")),
    ]
    page = audio_tables.hum_sheet("set", hums)
    for output in paths.outputs:
        hold(the(page, f"Paths of hum: {output.output}"), output.paths, columns)
        error = f"{100 * output.sum_error:.4f} % off"
        assert note_with(page, error)


def test_remedies(hums: hum.HumStudy) -> None:
    columns: list[Column] = [
        ("change tried", words("change")),
        ("gain dB", figure("gain_db", "dB")),
        ("leaves dB", figure("after_db", "dB")),
    ]
    hold(the(audio_tables.hum_sheet("set", hums), "Remedies"), hums.remedies, columns)


def test_modulation_of_the_oscillation_strongest_first() -> None:
    """Amplitude in per cent, swing in hertz, of the same line; the four deepest, the deepest first."""
    depth = np.array([0.0123, 0.171, 0.0456, 0.0789, 0.0031, 0.0])
    found = filled(hum.HumModulation, depth=depth)
    page = audio_tables.modulation_section(found)
    order = [1, 3, 2, 0]
    lines = [(found.frequency_hz[i], depth[i], found.swing_hz[i]) for i in order]
    columns: list[Column] = [
        ("line Hz", (lambda r: r[0], "Hz")),
        ("amplitude %", (lambda r: r[1], "1")),
        ("frequency +- Hz", (lambda r: r[2], "Hz")),
    ]
    hold(the(page, "Hum modulation.*"), lines, columns)
    seen = reading.figures(reading.notes(page)[0])
    assert seen[0] == (pytest.approx(found.rotation, abs=6e-3), "1")
    assert seen[2] == (pytest.approx(found.amplitude_v, rel=5e-3), "V")


# ---------------------------------------------------------------------------- supply


@pytest.fixture
def power() -> supply.SupplyStudy:
    return filled(supply.SupplyStudy)


def test_rectifier_and_filter(power: supply.SupplyStudy) -> None:
    one, start = power.rectified, power.start
    assert one is not None and start is not None and start.discharge_s is not None
    wanted: dict[str, list[tuple[float, str]] | str] = {
        "volts at the receiver": [(one.volts_v, "V")],
        "current of the receiver": [(one.load_a, "A")],
        "current of the bleeder": [(one.bleeder_a, "A")],
        # a slope in ohm is volts for each ampere
        "fall for each milliampere": [(1e-3 * one.slope_ohm, "V")],
        "volts with the tubes cold": [(one.no_load_v, "V")],
        "ripple, peak to peak": [(one.ripple_v, "V")],
        "winding current, r.m.s.": [(one.winding_a, "A")],
        "rectifier, peak current": [(one.peak_a, "A")],
        "rectifier, peak inverse, mains 10 % high": [(one.inverse_v, "V")],
        "rectifier, highest peak, mains 10 % high": [(start.surge_a, "A")],
        "highest volts while the tubes warm up": [(start.highest_v, "V")],
        f"below {start.safe_v:.0f} V after switching off": [(start.discharge_s, "s")],
    }
    page = audio_tables.supply_sheet("set", power)
    hold_facts(facts(the(page, "Rectifier and filter")), wanted, rel=5e-3)  # type: ignore[arg-type]
    # the lines of the ripple, the strongest first, each with its frequency
    order = np.argsort(-one.ripple_rms_v)[:4]
    lines = [
        pair for i in order for pair in ((one.ripple_rms_v[i], "V"), (float(f"{one.ripple_hz[i]:.0f}"), "Hz"))
    ]
    reading.in_order(reading.figures(note_with(page, "Ripple:")), lines, rel=5e-3)


def test_filter_capacitors(power: supply.SupplyStudy) -> None:
    assert power.rectified is not None
    columns: list[Column] = [
        ("section", lambda c: str(c.section)),
        ("value", figure("farad", "F")),
        ("highest V", figure("highest_v", "V")),
        ("rated V", figure("rating_v", "V")),
        ("", lambda c: "X EXCEEDED" if c.highest_v > c.rating_v else "within"),
        ("ripple V p-p", figure("ripple_v", "V")),
        ("ripple current A rms", figure("ripple_a", "A")),
    ]
    source = Source()
    parts = tuple(
        filled(supply.Capacitor, source, highest_v=high, rating_v=rated, farad=8.2e-6)
        for high, rated in ((431.0, 350.0), (287.0, 450.0))
    )
    page = audio_tables.capacitor_table(filled(supply.Rectified, source, capacitors=parts))
    hold(the(page, "Filter capacitors"), parts, columns)


def test_battery_dropper_and_screen_in_sentences(power: supply.SupplyStudy) -> None:
    page = audio_tables.supply_sheet("set", power)
    battery, d, quiet = power.battery, power.dropper, power.screen
    assert battery is not None and d is not None and quiet is not None and battery.hours is not None
    text = note_with(page, "Batteries give")
    # volts are printed to a tenth: half of that is 2.3 % of the lowest figure made here
    at = battery.spent
    assert battery.end_v is not None and at is not None and at.onset is not None
    due = [(battery.load_a, "A"), (battery.loaded_v, "V"), (battery.end_v, "V"), (at.onset.rotation, "1")]
    reading.in_order(reading.figures(text), due, rel=0.025)
    assert f"{battery.hours:.0f} hours" in text
    assert None not in (d.chosen_ohm, d.chosen_w, d.advised_w)
    wanted = [
        (d.lowest_ohm, "ohm"), (d.highest_ohm, "ohm"), (1.1, "1"), (d.fitted_ohm, "ohm"), (d.fitted_w, "W"),
        (d.chosen_ohm, "ohm"), (d.chosen_w, "W"), (d.advised_w, "W"),
    ]  # fmt: skip
    # two digits of what is bought: 5 %
    reading.in_order(reading.figures(note_with(page, "Dropper of")), wanted, rel=0.05)  # type: ignore[arg-type]
    text = note_with(page, "At the detector's screen")
    assert quiet.drift_v is not None
    due = [
        (quiet.ripple_v, "V"), (quiet.supply_db, "dB"), (quiet.regulator_noise_v, "V"), (quiet.rise_k, "K"),
        (quiet.drift_v, "V"),
    ]  # fmt: skip
    reading.in_order(reading.figures(text), due, rel=0.03)


def test_drift_for_each_volt_of_the_mains() -> None:
    """Volts in millivolts, loop gain in thousandths, hertz in millihertz, the knob in per cent."""
    source = Source()
    drifts = tuple(
        filled(supply.LineDrift, source, regulated=regulated, onset_per_v=0.0123 * size)
        for regulated, size in ((True, 1.0), (False, 2.3))
    )
    power = filled(supply.SupplyStudy, source, drifts=drifts)
    columns: list[Column] = [
        ("regulator", lambda d: "as built" if d.regulated else "none"),
        ("screen mV per V", figure("screen_v_per_v", "1")),
        ("loop gain 0.001 per V", figure("gain_per_v", "1/V")),
        ("frequency mHz per V", figure("frequency_hz_per_v", "Hz/V")),
        ("onset on the knob % per V", figure("onset_per_v", "1/V")),
    ]
    hold(the(audio_tables.supply_sheet("set", power), "Drift with the mains"), drifts, columns)


def test_levels_are_shown_where_the_page_says(study: audio.AudioStudy) -> None:
    """A table per output, in the order of the outputs."""
    headings = [t.section for t in reading.tables(audio_tables.audio_sheet("set", study))]
    drives = [h for h in headings if h.startswith("Drive")]
    assert drives == [f"Drive and harmonics: {levels.output}" for levels in study.levels]
    assert re.match("Audio response", headings[0])
