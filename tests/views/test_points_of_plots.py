"""Every point of every plot: x and y, read back into SI by the unit that the axis states, against the result.

The words beside a line are figures, too, and held as such. `tests/helpers/filling.py` makes the results: no
two
figures in them are alike.
"""

from __future__ import annotations

import dataclasses
import inspect
from pathlib import Path

import numpy as np
import pytest

from receiver_sim.results import audio, coils, envelope, hum, onset, supply, swap
from receiver_sim.results.base import Status
from receiver_sim.results.bias import RatingLine
from receiver_sim.results.envelope import OnsetKind, Steadiness
from receiver_sim.results.onset import ControlSetting
from receiver_sim.results.spread import BandSpread
from receiver_sim.views import envelope_tables, plots
from receiver_sim.views.plots import coils as coil_plots
from receiver_sim.views.plots import envelope as envelope_plots
from receiver_sim.views.plots import hum_paths, levels, modes
from receiver_sim.views.plots import supply as supply_plots
from receiver_sim.views.plots import swap as swap_plot
from receiver_sim.views.plots import tubes as tube_plots
from tests.helpers import reading
from tests.helpers.cells import the
from tests.helpers.drawn import bar, bases, hold_level, hold_line, hold_place, named, said, subtitle
from tests.helpers.filling import Source, filled

# ---------------------------------------------------------------------------- loop gain and control


def curves_and_onsets() -> tuple[list[onset.GainAgainstScreen], list[onset.Onset]]:
    source = Source()
    curves = [
        filled(onset.GainAgainstScreen, source, band=band, rotation=np.linspace(0.0, 1.0, 6))
        for band in ("40 m", "20 m")
    ]
    onsets = [
        filled(
            onset.Onset, source, band=curve.band, dial_hz=curve.dial_hz, status=Status.OSCILLATES,
            onset=ControlSetting(0.61 + 0.07 * n, 23.0 + n),
            at_nine_tenths=ControlSetting(0.33 + 0.1 * n, 17.0 + n),
        )
        for n, curve in enumerate(curves)
    ]  # fmt: skip
    return curves, onsets


def test_loop_gain_against_the_screen() -> None:
    curves, onsets = curves_and_onsets()
    ax = plots.plot_loop_gain(curves, onsets=onsets)
    bases(ax, "V", "1")
    for n, (curve, found) in enumerate(zip(curves, onsets, strict=True)):
        hold_line(ax, f"gain-{n}", curve.screen_v, curve.gain)
        assert found.onset is not None
        hold_line(ax, f"onset-{n}", [found.onset.screen_v], [1.0])
        wanted = [(found.onset.screen_v, "V"), (found.onset.rotation, "1")]
        reading.in_order(said(ax, curve.band), wanted, rel=0.02)
    hold_level(ax, "unity", 1.0)


def test_the_strip_of_all_bands() -> None:
    _, onsets = curves_and_onsets()
    source = Source()
    jump = filled(
        envelope.Jump, source, up=ControlSetting(0.61, 23.0), down=ControlSetting(0.52, 20.0), to_v=None
    )
    strength = filled(
        envelope.Oscillation, source, band=onsets[0].band, status=Status.OSCILLATES, kind=OnsetKind.HARD,
        onset=jump.up, jump=jump, amplitudes=None, build_up=None, once_started=None,
    )  # fmt: skip
    spread = filled(BandSpread, source, band=onsets[0].band, knob_low=0.47, knob_high=0.78)
    ax = plots.plot_strip(onsets, strengths=[strength], ranges=[spread])
    x, y = reading.points(ax, named(ax, "range-0"))
    assert (x[0], x[1], y[0]) == pytest.approx((0.47, 0.78, 0.0))
    assert "47 % to 78 %" in reading.words_of(ax)
    assert f"onset in {spread.oscillating} of {spread.sets} sets" in reading.words_of(ax)
    for n, found in enumerate(onsets):
        assert found.onset is not None
        x, y = reading.points(ax, named(ax, f"onset-{n}"))
        assert (x[0], y[0]) == pytest.approx((found.onset.rotation, n))
        assert f"{100.0 * found.onset.rotation:.1f} %" in reading.words_of(ax)
    x, _ = reading.points(ax, named(ax, "backlash-0"))
    assert (x[0], x[1]) == pytest.approx((0.52, 0.61))


def test_the_screen_against_the_control() -> None:
    curves, onsets = curves_and_onsets()
    ax = plots.plot_control(curves, onsets=onsets)
    bases(ax, "1", "V")
    for n, (curve, found) in enumerate(zip(curves, onsets, strict=True)):
        hold_line(ax, f"screen-{n}", curve.rotation, curve.screen_v)
        at, near = found.onset, found.at_nine_tenths
        assert at is not None and near is not None and found.approach_deg is not None
        hold_line(ax, f"onset-{n}", [at.rotation], [at.screen_v])
        x, y = reading.points(ax, named(ax, f"approach-{n}"))
        assert (x[0], x[-1], y[0], y[-1]) == pytest.approx(
            (near.rotation, at.rotation, near.screen_v, at.screen_v)
        )
        (words,) = [t for t in reading.words_of(ax) if f"{at.screen_v:.1f} V" in t]
        turned = float(words.split("approach ")[1].rstrip("\N{DEGREE SIGN}"))
        assert turned == pytest.approx(found.approach_deg, abs=0.5)
        reading.in_order(reading.figures(words), [(at.rotation, "1"), (at.screen_v, "V")], rel=0.02)


def test_return_ratio_in_the_plane() -> None:
    source = Source()
    curves = [filled(onset.NyquistCurve, source) for _ in range(2)]
    ax = plots.plot_nyquist(curves)
    bases(ax, "1", "1")
    for n, curve in enumerate(curves):
        hold_line(ax, f"return-ratio-{n}", curve.return_ratio.real, curve.return_ratio.imag)
        wanted = [(curve.setting.rotation, "1"), (curve.setting.screen_v, "V")]
        reading.in_order(said(ax, curve.label)[:2], wanted, rel=0.05)
    hold_line(ax, "critical-point", [1.0], [0.0])


def test_real_part_said_beside_the_curve_is_where_it_crosses() -> None:
    """From 0.2 + 0.4 j to 0.8 - 0.2 j the line crosses the real axis at two thirds of the way: 0.6."""
    curve = filled(onset.NyquistCurve, return_ratio=np.array([0.2 + 0.4j, 0.8 - 0.2j]))
    texts = reading.words_of(plots.plot_nyquist([curve]))
    assert any("T = 0.60 at zero phase" in text for text in texts)


def test_bandwidth_against_loop_gain() -> None:
    source = Source()
    found = [filled(onset.Selectivity, source) for _ in range(2)]
    found = [dataclasses.replace(f, gain=f.gain / (1.3 * f.gain.max())) for f in found]
    ax = plots.plot_selectivity(found)
    bases(ax, "1", "Hz")
    for n, one in enumerate(found):
        hold_line(ax, f"bandwidth-{n}", one.gain, one.bandwidth_hz)
        x, y = reading.points(ax, named(ax, f"textbook-{n}"))
        np.testing.assert_allclose(y, one.unloaded_bandwidth_hz * (1.0 - x))
        # at T: the sharpest; at T = 0: extrapolated
        wanted = [(one.bandwidth_hz[-1], "Hz"), (one.unloaded_bandwidth_hz, "Hz")]
        reading.in_order(said(ax, one.band), wanted, rel=6e-3)


def test_resonance_curve() -> None:
    found = filled(onset.Selectivity)
    found = dataclasses.replace(found, gain=np.array([0.3, 0.4, 0.5, 0.6, 0.7, 0.8]), curve_gain=(0.4, 0.7))
    ax = plots.plot_resonance(found)
    bases(ax, "Hz", "dB")
    for n, (gain, curve) in enumerate(zip(found.curve_gain, found.curves_ohm, strict=True)):
        level = 20.0 * np.log10(curve / found.curves_ohm[0].max())
        hold_line(ax, f"resonance-{n}", found.offset_hz, level)
        wanted = [(found.bandwidth_hz[(1, 4)[n]], "Hz"), (-3.0, "dB"), (round(float(level.max())), "dB")]
        reading.in_order(said(ax, f"T = {gain:g}")[:3], wanted, rel=6e-3)
    bare = plots.plot_resonance(dataclasses.replace(found, curve_gain=(), curves_ohm=()))
    assert "No curve" in reading.words_of(bare)


# ---------------------------------------------------------------------------- audio


def test_audio_response() -> None:
    found = filled(audio.AudioResponse)
    ax = plots.plot_audio(found)
    bases(ax, "Hz", "dB")
    for n, output in enumerate(found.outputs):
        hold_line(ax, f"response-{n}", output.frequency_hz, 20.0 * np.log10(output.overall))
        # half power, 3.0103 dB below the level at 1 kHz
        hold_line(ax, f"corners-{n}", [output.low_hz, output.high_hz], [-10.0 * np.log10(2.0)] * 2)
        words = said(ax, output.output)
        wanted = [(output.low_hz, "Hz"), (output.high_hz, "Hz"), (1000.0, "Hz")]
        reading.in_order(words[:3], wanted, rel=6e-3)  # type: ignore[arg-type]
        gain_db = 20.0 * np.log10(output.gain_1khz)
        assert words[3][1] == "dB" and words[3][0] == pytest.approx(gain_db, abs=0.06)
    setting = [(found.setting.rotation, "1"), (found.setting.screen_v, "V")]
    reading.in_order(reading.figures(subtitle(ax))[-2:], setting, rel=0.05)


def test_levels_and_distortion_against_the_drive() -> None:
    """Guards against millivolts that are volts on the one axis and shares that are per cent on the other."""
    source = Source()
    drives = [
        tuple(sorted((filled(audio.Drive, source) for _ in range(4)), key=lambda d: d.input_v))
        for _ in range(2)
    ]
    outputs = []
    for row in drives:
        middle = (row[0].input_v * row[1].input_v) ** 0.5
        limits = filled(audio.Limits, source, clip_v=middle)
        outputs.append(filled(audio.OutputLevels, source, drives=row, limits=limits))
    study = filled(audio.AudioStudy, source, levels=tuple(outputs))
    ax, other = levels.plot_levels(study), levels.plot_distortion(study)
    bases(ax, "V", "dB")
    bases(other, "V", "1")
    hold_level(other, "rated", 0.10)
    for n, one in enumerate(outputs):
        inputs = [d.input_v for d in one.drives]
        hold_line(ax, f"level-{n}", inputs, [d.level_db for d in one.drives])
        hold_line(other, f"distortion-{n}", inputs, [d.thd for d in one.drives])
        assert one.limits.floor_db is not None and one.limits.clip_v is not None
        hold_level(ax, f"floor-{n}", one.limits.floor_db)
        x, y = reading.points(ax, named(ax, f"clip-{n}"))
        assert x == pytest.approx(one.limits.clip_v)
        # half way between the first two drives in the logarithm: the mean of their levels
        first, second = (d.level_db for d in one.drives[:2])
        assert first is not None and second is not None and y == pytest.approx((first + second) / 2.0)
        wanted = [(0.10, "1"), (one.limits.clip_v, "V"), (one.limits.floor_db, "dB")]
        reading.in_order(said(ax, one.output), wanted, rel=0.03)
        assert said(other, one.output)[0] == (pytest.approx(one.drives[0].thd, rel=1e-3), "1")


# ---------------------------------------------------------------------------- hum


def test_hum_against_the_pot() -> None:
    found = filled(audio.Hum)
    places = np.linspace(0.0, 1.0, 6)
    found = dataclasses.replace(
        found, outputs=tuple(dataclasses.replace(o, pot_position=places) for o in found.outputs)
    )
    ax = plots.plot_hum(found)
    bases(ax, "1", "V")
    hold_place(ax, "build", found.build_position)
    for n, output in enumerate(found.outputs):
        x, y = reading.points(ax, named(ax, f"hum-{n}"))
        np.testing.assert_allclose(
            np.interp(output.pot_position, x, y), np.hypot(output.mains_v, output.ripple_v), rtol=1e-9
        )
        hold_level(ax, f"ripple-{n}", output.ripple_v)
        hold_line(ax, f"null-{n}", [output.best_position], [output.best_v])
        wanted = [
            (output.at_build_v, "V"), (output.best_v, "V"), (output.best_position, "1"),
            (output.ripple_v, "V"),
        ]  # fmt: skip
        reading.in_order(said(ax, output.output), wanted, rel=0.03)
    reading.in_order(
        reading.figures(subtitle(ax)), [(found.mains_hz, "Hz"), (found.ripple_hz, "Hz")], rel=1e-3
    )


def test_hum_as_heard_and_by_path() -> None:
    source = Source()
    outputs = (filled(hum.OutputPaths, source),)
    found = filled(hum.HumPaths, source, outputs=outputs)
    ax = hum_paths.plot_hum_spectrum(found)
    bases(ax, "Hz", "dB")
    tones = outputs[0].tones
    hold_line(ax, "tones-0", [t.frequency_hz for t in tones], [t.level_db for t in tones])
    above = tones[0].above_db
    assert above is not None
    words = said(ax, outputs[0].output)
    assert words[0] == (pytest.approx(tones[0].frequency_hz, abs=0.5), "Hz")
    assert words[1] == (pytest.approx(abs(above), abs=0.5), "dB")
    # ISO 226:2003: 26.5 dB at 100 Hz, 2.4 at 1 kHz (seen)
    x, y = reading.points(ax, named(ax, "threshold"))
    assert np.interp(1000.0, x, y) == pytest.approx(2.4, abs=0.1) or x[-1] < 1000.0
    bars_ax = hum_paths.plot_hum_paths(found, 0)
    assert reading.axis_unit(bars_ax.get_xlabel())[0] == "V"
    ends = [bar(bars_ax, patch)[1] for patch in bars_ax.patches]
    assert ends == pytest.approx([p.volts_v for p in outputs[0].paths])
    texts = [reading.figures(t.get_text()) for t in bars_ax.texts if "Hz" in t.get_text()]
    for seen, path in zip(texts, outputs[0].paths, strict=True):
        reading.in_order(seen, [(path.volts_v, "V"), (round(path.frequency_hz), "Hz")], rel=6e-3)


# ---------------------------------------------------------------------------- supply


def test_regulation_and_ripple() -> None:
    found = filled(supply.Rectified)
    ax = supply_plots.plot_regulation(found)
    bases(ax, "A", "V")
    hold_line(ax, "regulation", found.regulation_a, found.regulation_v)
    hold_line(ax, "load", [found.load_a], [found.volts_v])
    wanted = [
        (round(found.volts_v), "V"), (found.load_a, "A"), (round(found.no_load_v), "V"), (found.ripple_v, "V")
    ]  # fmt: skip
    reading.in_order(said(ax, "volts"), wanted, rel=6e-3)
    ax = supply_plots.plot_ripple(found)
    bases(ax, "Hz", "V")
    hold_line(ax, "ripple", found.ripple_hz, found.ripple_rms_v)
    assert reading.figures(subtitle(ax))[0] == (pytest.approx(found.ripple_v, rel=6e-3), "V")


def test_switching_on_and_off() -> None:
    found = filled(supply.StartAndStop)
    ax = supply_plots.plot_start_and_stop(found)
    bases(ax, "s", "V")
    hold_line(ax, "on", found.on_s, found.on_v)
    hold_line(ax, "off", found.off_s, found.off_v)
    hold_level(ax, "safe", found.safe_v)
    assert found.discharge_s is not None
    hold_line(ax, "discharged", [found.discharge_s], [found.safe_v])
    wanted = [(round(found.safe_v), "V"), (found.discharge_s, "s")]
    reading.in_order(said(ax, "off"), wanted, rel=0.02)
    reading.in_order(said(ax, "on"), [(round(found.highest_v), "V")], rel=1e-6)


# ---------------------------------------------------------------------------- coils


def test_what_coils_reach() -> None:
    source = Source()
    ranges = [
        filled(
            coils.CoilRange,
            source,
            low_hz=1e6 * low,
            high_hz=1e6 * high,
            from_hz=1.1e6 * low,
            to_hz=0.9e6 * high,
        )
        for low, high in ((3.1, 7.7), (6.3, 15.1))
    ]
    services = (coils.ServiceCover("amateur", "40 m", 7.0e6, 7.3e6, (), ()),)
    cover = filled(coils.Coverage, source, services=services)
    ax = coil_plots.plot_ranges(ranges, cover)
    assert reading.axis_unit(ax.get_xlabel())[0] == "Hz"
    for n, one in enumerate(ranges):
        assert bar(ax, named(ax, f"range-{n}")) == pytest.approx((one.low_hz, one.high_hz))
        assert bar(ax, named(ax, f"band-{n}")) == pytest.approx((one.from_hz, one.to_hz))
        words = next(t for t in reading.words_of(ax) if t.startswith(f"{one.low_hz / 1e6:.2f} to"))
        assert words == f"{one.low_hz / 1e6:.2f} to {one.high_hz / 1e6:.2f} MHz"
    shaded = [bar(ax, p) for p in ax.patches if p.get_gid() is None]
    assert shaded == [pytest.approx((7.0e6, 7.3e6))]


def test_over_the_dial() -> None:
    source = Source()
    sweeps = [filled(coils.DialSweep, source) for _ in range(2)]
    ax, other = coil_plots.plot_gain_over_dial(sweeps), coil_plots.plot_onset_over_dial(sweeps)
    bases(ax, "Hz", "1")
    bases(other, "Hz", "1")
    for n, sweep in enumerate(sweeps):
        dials = [p.dial_hz for p in sweep.points]
        hold_line(ax, f"gain-{n}", dials, [p.gain for p in sweep.points])
        hold_line(other, f"onset-{n}", dials, [p.onset.rotation for p in sweep.points if p.onset])
    assert reading.figures(subtitle(ax))[0] == (pytest.approx(sweeps[0].rotation, abs=6e-3), "1")
    # the first sweep has its second point in the band asked for, the other one only its first
    places = [(n, sweep.points[1 - n]) for n, sweep in enumerate(sweeps)]
    sweeps = [
        dataclasses.replace(sweeps[n], from_hz=0.999 * p.dial_hz, to_hz=1.002 * p.dial_hz) for n, p in places
    ]
    losses = coil_plots.plot_losses(sweeps)
    assert reading.axis_unit(losses.get_ylabel()) == ("1", 0.01)
    names = [t.get_text() for t in losses.get_legend().get_texts()]
    assert names == ["coil", "tube input", "grid leak", "aerial and rest"]
    for n, point in places:
        shares = (point.coil_loss, point.input_loss, point.leak_loss, point.other_loss)
        bottom = 0.0
        for number, share in enumerate(shares):
            patch = named(losses, f"loss-{n}-{number}")
            assert (patch.get_height(), patch.get_y()) == pytest.approx((100.0 * share, 100.0 * bottom))
            bottom += share
        assert f"Q {point.loaded_q:.0f}" in reading.words_of(losses)
    assert [t.get_text().splitlines()[1] for t in losses.get_xticklabels()] == [
        f"{point.dial_hz / 1e6:.2f} MHz" for _, point in places
    ]


def test_losses_are_those_within_the_band_asked_for() -> None:
    """Guards against 'the middle of the dial', which lay outside the band: no bar, and said so, if there is
    no point in the band.
    """
    sweep = filled(coils.DialSweep, Source(), band="20 m")
    outside = dataclasses.replace(sweep, from_hz=1e3, to_hz=2e3)
    ax = coil_plots.plot_losses([outside])
    assert len(ax.patches) == 0
    assert "Not found: 20 m." in subtitle(ax)


def test_breakthrough() -> None:
    source = Source()
    results = [filled(coils.Breakthrough, source) for _ in range(2)]
    ax = coil_plots.plot_breakthrough(results)
    bases(ax, "Hz", "dB")
    for n, one in enumerate(results):
        hold_line(ax, f"open-{n}", one.frequency_hz, 20.0 * np.log10(one.unshielded))
        assert one.shielded is not None and one.station_shielded_v is not None
        hold_line(ax, f"shield-{n}", one.frequency_hz, 20.0 * np.log10(one.shielded))
        gained = 20.0 * np.log10(one.station_v / one.station_shielded_v)
        first, second = said(ax, one.band)
        assert first == (pytest.approx(one.station_v, rel=6e-3), "V")
        assert second == (pytest.approx(gained, abs=0.06), "dB")
    station = next(line for line in ax.lines if line.get_gid() is None and len(set(line.get_xdata())) == 1)
    assert station.get_xdata()[0] * 1e6 == pytest.approx(results[0].station_hz)


# ---------------------------------------------------------------------------- envelope


def oscillation(source: Source, **other: object) -> envelope.Oscillation:
    given = {"kind": OnsetKind.HARD, "status": Status.OSCILLATES, "once_started": None, **other}
    return filled(envelope.Oscillation, source, **given)


def test_amplitude_against_the_control() -> None:
    """Held branch, lost branch and the foot at zero; arrows at both jumps."""
    source = Source()
    rotation = np.array([0.52, 0.47, 0.43, 0.49, 0.63, 0.78])
    known = filled(envelope.AmplitudeMap, source, rotation=rotation)
    found = oscillation(source, amplitudes=known, extra_screen_ohm=0.0)
    ax = envelope_plots.plot_amplitude(found)
    bases(ax, "1", "V")
    held, lost = (reading.points(ax, line) for line in ax.lines[:2])
    np.testing.assert_allclose(held[0], [rotation[0], *rotation])
    merged = np.where(np.isfinite(held[1]), held[1], lost[1])
    np.testing.assert_allclose(merged, [0.0, *known.amplitude_v])
    # what runs backwards cannot be held: up to the turn at 0.43
    assert [bool(b) for b in np.isfinite(lost[1])] == [True, True, True, False, False, False, False]
    jump = found.jump
    assert jump is not None and jump.to_v is not None
    arrows = [(t.xyann, t.xy) for t in ax.texts if getattr(t, "arrow_patch", None) is not None]
    wanted = [
        (jump.down.rotation, jump.falls_from_v, 0.0), (jump.up.rotation, jump.from_v, jump.to_v),
    ]  # fmt: skip
    for (start, end), (place, before, after) in zip(arrows, wanted, strict=True):
        assert (*start, *end) == pytest.approx((100.0 * place, before, 100.0 * place, after))
    assert f"{found.dial_hz / 1e6:.3f} MHz" in subtitle(ax)


def test_reference_beside_the_envelope() -> None:
    source = Source()
    check = filled(envelope.Verification, source, oscillation=oscillation(source))
    ax = envelope_plots.plot_verification(check)
    bases(ax, "1", "V")
    known = check.oscillation.amplitudes
    assert known is not None
    for label, one in (
        ("every cycle", check.reference), ("envelope, same ramp", check.envelope), ("map, at rest", known)
    ):  # fmt: skip
        hold_line(ax, reading.lines(ax, label), one.rotation, one.amplitude_v)


def test_sensitivity_and_pulling() -> None:
    found = filled(envelope.Detection)
    ax = envelope_plots.plot_detection(found)
    bases(ax, "1", "V")
    for curve in (found.am, found.beat):
        line = reading.lines(ax, f"{curve.signal}, {curve.tone_hz:.0f} Hz")
        hold_line(ax, line, curve.rotation, curve.audio_v)
    upright = [x for x, _ in (reading.points(ax, line) for line in ax.lines) if len(x) == 2 and x[0] == x[1]]
    assert [x[0] for x in upright] == [pytest.approx(found.onset.rotation)]
    wanted = [(found.am.carrier_v, "V"), (found.am.best.rotation, "1"), (found.beat.best.rotation, "1")]
    reading.in_order(reading.figures(subtitle(ax)), wanted, rel=6e-3)
    ax = envelope_plots.plot_pulling(found)
    bases(ax, "Hz", "Hz")
    hold_line(ax, reading.lines(ax, "heard"), found.pulling.offset_hz, found.pulling.beat_hz)
    far = found.pulling.offset_hz[-1]
    hold_line(ax, reading.lines(ax, "free"), [0.0, far], [0.0, far])
    locked = [(found.pulling.carrier_v, "V"), (found.pulling.lock_hz, "Hz")]
    reading.in_order(reading.figures(subtitle(ax)), locked, rel=6e-3)


def test_modes_over_the_control() -> None:
    """The fastest-growing mode at each setting, at rest apart; words: its pitch and rate at the worst."""
    source = Source()
    rates = ([-31.0, -70.0], [212.0, 95.0], [347.0, -12.0])
    pitches = ([140.0, 55.0], [1730.0, 610.0], [2290.0, 80.0])
    points = tuple(
        filled(envelope.EnvelopeModes, source, rate=np.array(r), frequency_hz=np.array(f), growing=1)
        for r, f in zip(rates, pitches, strict=True)
    )
    found = filled(envelope.Stability, source, points=points, kind=Steadiness.HOWL, unstable=True)
    ax = modes.plot_modes([found])
    bases(ax, "1", "1/s")
    places = [p.setting.rotation for p in points]
    hold_line(ax, ax.lines[0], places[1:], [212.0, 347.0])
    hold_line(ax, ax.lines[1], places[:1], [-31.0])
    (words,) = [t for t in reading.words_of(ax) if "1/s" in t and "Hz" in t]
    assert words.split("\n") == ["howl", "2290 Hz", "347 1/s"]
    hold_line(ax, "named-0", [places[2]], [347.0])


@pytest.mark.parametrize("growing", [False, True], ids=["holds still", "howls"])
def test_table_and_plot_name_one_mode(growing: bool) -> None:
    """Guards against 7740 Hz in the table and 1166 Hz in the plot of the same set. What holds still is named
    by the mode that rings longest, at 190 1/s.
    """
    source = Source()
    lift = 900.0 if growing else 0.0
    rates = ([-900.0, -40.0], [-600.0 + lift, -210.0], [-615.0, -190.0])
    pitches = ([7700.0, 30.0], [7740.0, 1170.0], [7760.0, 1166.0])
    points = tuple(
        filled(envelope.EnvelopeModes, source, rate=np.array(r), frequency_hz=np.array(f), amplitude_v=a,
               growing=int(max(r) > 0.0), carried_by=(("this",), ("that",)))
        for r, f, a in zip(rates, pitches, (0.0, 0.4, 0.9), strict=True)
    )  # fmt: skip
    kind = Steadiness.HOWL if growing else Steadiness.HOLDS_STILL
    found = filled(envelope.Stability, source, points=points, kind=kind, unstable=growing, became=None)
    row = envelope_tables.oscillation_sheet(
        filled(envelope.OscillationReport, source,
               bands=(envelope.BandOscillation(oscillation(source), (), (found,), None),))
    )  # fmt: skip
    table = the(row, "Does the oscillation hold still")
    ax = modes.plot_modes([found])
    (words,) = [t for t in reading.words_of(ax) if "1/s" in t and "Hz" in t]
    assert (f"{table.column('mode Hz')[0]} Hz", f"{table.column('grows 1/s')[0]} 1/s") == tuple(
        words.split("\n")[1:]
    )
    pitch, part = ("7740", "this") if growing else ("1166", "that")
    assert table.column("mode Hz") == (pitch,) and table.column("carried by") == (part,)
    named, rate = (1, -600.0 + lift) if growing else (2, -190.0)
    hold_line(ax, "named-0", [points[named].setting.rotation], [rate])
    # each setting shows the mode by the same choice
    assert [p.telling for p in points] == [0, 0 if growing else 1, 1]


# ---------------------------------------------------------------------------- tubes in a socket


def test_candidates_on_the_knob_and_audio_gain() -> None:
    source = Source()

    def candidate(tube: str, in_place: bool) -> swap.DetectorCandidate:
        bands = tuple(
            filled(swap.BandOutcome, source, onset=filled(onset.Onset, source, band=band))
            for band in ("a", "b")
        )
        return filled(swap.DetectorCandidate, source, tube=tube, bands=bands, in_place=in_place, failed=None)

    one, other = candidate("XJ7", True), candidate("XJ8", False)
    report = filled(swap.SwapReport, source, socket="detector", detectors=(one, other), audios=())
    ax = swap_plot.plot_swap(report)
    assert reading.axis_unit(ax.get_xlabel())[0] == "1"
    for row, tube in enumerate((one, other)):
        for n, band in enumerate(tube.bands):
            assert band.onset.onset is not None
            hold_line(ax, f"onset-{row}-{n}", [band.onset.onset.rotation], [float(row)])
    assert one.detection is not None and other.detection is not None and other.noise is not None
    texts = reading.words_of(ax)
    assert f"{other.detection.total_per_v / one.detection.total_per_v:.2f}" in texts
    assert other.noise.weakest[0].aerial_v is not None
    assert f"{1e6 * other.noise.weakest[0].aerial_v:.2f} uV" in texts
    audios = tuple(filled(swap.AudioCandidate, source, failed=None) for _ in range(2))
    ax = swap_plot.plot_swap(filled(swap.SwapReport, source, socket="audio", detectors=(), audios=audios))
    for row, tube_ in enumerate(audios):
        assert tube_.gain is not None and tube_.plate_a is not None
        assert bar(ax, named(ax, f"gain-{row}")) == pytest.approx((0.0, tube_.gain))
        assert f"{1e3 * tube_.plate_a:.2f} mA" in reading.words_of(ax)


def test_signal_of_tubes_in_the_rf_stage() -> None:
    """A mark a band at the signal against the tube in place, open where a rating is exceeded; the most that
    is radiated, and the plate current, beside them.
    """
    source = Source()
    over = RatingLine("r.f. X", "plate volts", 260.0, 250.0, "V")
    candidates = tuple(
        filled(
            swap.RfCandidate, source, failed=None, in_place=row == 1, ratings=(over,) * row,
            bands=tuple(
                filled(swap.RfBand, source, band=band, gain_db=value - row, radiation_db=-value)
                for band, value in (("a", 4.2), ("b", -1.7))
            ),
        )
        for row in (0, 1)
    )  # fmt: skip
    report = filled(
        swap.SwapReport, source, socket="rf", detectors=(), audios=(), rf_stages=candidates
    )  # fmt: skip
    ax = swap_plot.plot_swap(report)
    assert "(dB)" in ax.get_xlabel()
    for row, one in enumerate(candidates):
        for n, band in enumerate(one.bands):
            hold_line(ax, f"signal-{row}-{n}", [band.gain_db], [float(row)])
            assert (named(ax, f"signal-{row}-{n}").get_markerfacecolor() == "white") == (row == 1)  # type: ignore[attr-defined]
        assert one.plate_a is not None
        assert f"{1e3 * one.plate_a:.2f} mA" in reading.words_of(ax)
    assert "+1.7 dB" in reading.words_of(ax) and "0 dB" in reading.words_of(ax)


# ---------------------------------------------------------------------------- none is left out


def test_every_plot_is_drawn_in_the_tests_of_points() -> None:
    """A new `plot_...` must be held here, in `test_tube_plots.py`, `test_cells_of_spread.py` or
    `test_envelope_views.py` (plot_loudness).
    """
    modules = (
        plots,
        coil_plots,
        envelope_plots,
        hum_paths,
        levels,
        modes,
        supply_plots,
        swap_plot,
        tube_plots,
    )
    names = {
        n for m in modules for n, f in inspect.getmembers(m, inspect.isfunction) if n.startswith("plot_")
    }
    here = Path(__file__)
    others = (
        here.with_name(name)
        for name in ("test_tube_plots.py", "test_cells_of_spread.py", "test_envelope_views.py")
    )
    held = "".join(p.read_text(encoding="utf-8") for p in (here, *others))
    assert {n for n in names if f"{n}(" not in held} == set()
