"""How far the axes of a plot reach, what its words say where a figure is missing, and where a shade begins.

Results by `tests/helpers/filling.py`, or by hand; what is due is said in each test. Points and figures beside
lines are held in `test_points_of_plots.py`.
"""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest
from matplotlib.axes import Axes

from receiver_sim.results import audio, coils, envelope, hum, onset, supply, swap
from receiver_sim.results.base import Status
from receiver_sim.results.envelope import MapEnd, OnsetKind, Steadiness
from receiver_sim.results.onset import ControlSetting
from receiver_sim.results.spread import BandSpread
from receiver_sim.views import plots
from receiver_sim.views.plots import coils as coil_plots
from receiver_sim.views.plots import envelope as envelope_plots
from receiver_sim.views.plots import hum_paths, labels, levels, modes, style
from receiver_sim.views.plots import supply as supply_plots
from receiver_sim.views.plots import swap as swap_plot
from tests.helpers import reading
from tests.helpers.drawn import hold_line, named, subtitle
from tests.helpers.filling import Source, filled


def words(ax: Axes) -> str:
    """Return all words on a plot in one line."""
    return " ".join(" ".join(reading.words_of(ax)).split())


def key(ax: Axes) -> list[list[str]]:
    """Return the key beside the axes, the lines of each entry."""
    legend = ax.get_legend()
    assert legend is not None
    return [text.get_text().split("\n") for text in legend.get_texts()]


def has(ax: Axes, gid: str) -> bool:
    return gid in reading.artists(ax)


def span(artist: Any) -> tuple[float, float, float, float]:
    """Return left, right, bottom and top of a shade as it is drawn, in the units of the axes."""
    box = artist.get_window_extent().transformed(artist.axes.transData.inverted())
    return box.x0, box.x1, box.y0, box.y1


def shades(ax: Axes, colour: str = style.SHADE) -> list[tuple[float, float, float, float]]:
    """Return the spans in that colour."""
    from matplotlib.colors import to_rgba

    return [span(p) for p in ax.patches if p.get_facecolor() == to_rgba(colour)]


def at_knob(rotation: float) -> ControlSetting:
    return ControlSetting(rotation, 60.0 * rotation)


# ---------------------------------------------------------------------------- supply


def start(on_s: float, off_s: float, **given: Any) -> supply.StartAndStop:
    return filled(
        supply.StartAndStop, on_s=np.linspace(0.0, on_s, 6), off_s=np.linspace(0.0, off_s, 6), **given
    )


@pytest.mark.parametrize(
    ("on_s", "off_s", "ends"),
    [(8.0, 75.0, 75.0), (40.0, 13.0, 40.0), (8.0, 119.0, 119.0), (8.0, 601.0, 120.0), (130.0, 601.0, 130.0)],
)
def test_switching_is_shown_to_its_end_or_for_two_minutes(on_s: float, off_s: float, ends: float) -> None:
    """Guards against a discharge that lasts beyond the right edge of its picture; a supply that never is safe
    gets two minutes.
    """
    ax = supply_plots.plot_start_and_stop(start(on_s, off_s, discharge_s=None))
    assert ax.get_xlim() == pytest.approx((0.0, ends), abs=1e-9)


@pytest.mark.parametrize("seconds", [93.0, 240.0])
def test_the_mark_of_safe_volts_lies_within_the_picture_of_a_slow_supply(seconds: float) -> None:
    """The run lasts half as long again as the discharge (`studies/start_up.py`)."""
    fall = 310.0 * np.exp(-np.linspace(0.0, 3.0, 6))
    found = start(8.0, 1.5 * seconds, discharge_s=seconds, safe_v=47.0, off_v=fall)
    ax = supply_plots.plot_start_and_stop(found)
    (x,), (y,) = named(ax, "discharged").get_data()
    assert 0.0 < x < ax.get_xlim()[1] and 0.0 < y < ax.get_ylim()[1]
    assert key(ax)[1] == ["off", "below 47 V after", f"{seconds:.1f} s: then measure"]


def test_what_stays_charged_has_no_mark_of_safety() -> None:
    ax = supply_plots.plot_start_and_stop(start(8.0, 600.0, discharge_s=None))
    assert not has(ax, "discharged")
    assert key(ax)[1] == ["off", "STAYS CHARGED", "discharge by hand, measure"]


def test_volts_up_to_the_safe_ones_are_shaded() -> None:
    ax = supply_plots.plot_start_and_stop(start(8.0, 30.0, safe_v=47.0))
    (shade,) = shades(ax, "#eef3ee")
    assert shade[2:] == pytest.approx((0.0, 47.0), abs=1e-6)


@pytest.mark.parametrize(("highest", "off"), [(340.0, 310.0), (310.0, 340.0)], ids=["on", "off"])
def test_the_highest_volts_stand_within_the_picture(highest: float, off: float) -> None:
    """Whichever of both is higher, and from zero, so that the eye can tell what is left."""
    fall = off * np.exp(-np.arange(6.0))
    ax = supply_plots.plot_start_and_stop(start(8.0, 30.0, highest_v=highest, off_v=fall))
    low, high = ax.get_ylim()
    assert low == 0.0 and 340.0 < high < 1.2 * 340.0


def test_regulation_is_shown_from_no_current_to_the_most_and_up_to_no_load() -> None:
    volts = np.array([331.0, 311.0, 297.0, 284.0, 272.0, 263.0])
    found = filled(supply.Rectified, regulation_v=volts, no_load_v=352.0)
    ax = supply_plots.plot_regulation(found)
    assert ax.get_xlim() == pytest.approx((0.0, 1e3 * found.regulation_a[-1]), abs=1e-9)
    low, high = ax.get_ylim()
    assert 230.0 < low < 263.0 and 352.0 < high < 1.1 * 352.0


def test_lines_of_ripple_that_are_nothing_are_not_drawn() -> None:
    """A hundred thousandth of the largest, 100 dB down, is below what any part of a set passes."""
    lines = np.array([100.0, 200.0, 300.0, 400.0])
    volts = np.array([0.83, 1.1e-5, 0.7e-5, 0.0])
    found = filled(supply.Rectified, ripple_hz=lines, ripple_rms_v=volts)
    ax = supply_plots.plot_ripple(found)
    hold_line(ax, "ripple", lines[:2], volts[:2])
    assert ax.get_yscale() == "log" and ax.get_ylim()[1] > 830.0
    assert ax.get_xlim()[0] == 0.0 and 400.0 < ax.get_xlim()[1] < 450.0


# ---------------------------------------------------------------------------- audio and hum


def drives(**given: Any) -> tuple[audio.Drive, ...]:
    source = Source()
    return tuple(sorted((filled(audio.Drive, source, **given) for _ in range(4)), key=lambda d: d.input_v))


def study(*outputs: audio.OutputLevels) -> audio.AudioStudy:
    return filled(audio.AudioStudy, levels=outputs)


def test_an_output_that_stays_clean_has_no_mark_and_says_so() -> None:
    limits = filled(audio.Limits, clip_v=None, floor_db=None)
    ax = levels.plot_levels(study(filled(audio.OutputLevels, drives=drives(), limits=limits)))
    assert not has(ax, "clip-0") and not has(ax, "floor-0")
    assert key(ax)[0][1:] == ["below 10 %", "noise - dB SPL"]


def test_an_output_without_sensitivity_has_no_sound_pressure() -> None:
    source = Source()
    mute = filled(audio.OutputLevels, source, drives=drives(level_db=None))
    heard = filled(audio.OutputLevels, source, drives=drives())
    ax = levels.plot_levels(study(mute, heard))
    assert not has(ax, "level-0") and has(ax, "level-1") and len(key(ax)) == 1


def test_levels_and_noise_stand_within_their_picture() -> None:
    one = filled(
        audio.OutputLevels,
        drives=tuple(
            filled(audio.Drive, input_v=1e-3 * 3.0**n, level_db=41.0 + 9.0 * n, thd=0.002 * 4.0**n)
            for n in range(4)
        ),
        limits=filled(audio.Limits, clip_v=None, floor_db=13.0),
    )
    ax = levels.plot_levels(study(one))
    assert ax.get_xlim() == pytest.approx((1.0, 27.0))
    low, high = ax.get_ylim()
    assert 0.0 < low <= 13.0 and 68.0 < high <= 80.0
    other = levels.plot_distortion(study(one))
    low, high = other.get_ylim()
    # 0.2 to 12.8 %, the line of 10 % among them
    assert low < 0.2 and high > 12.8 and (other.get_xscale(), other.get_yscale()) == ("log", "log")


@pytest.mark.parametrize(
    ("low", "high", "passes"),
    [(None, None, "the whole sweep"), (None, 3.2e3, "up to 3.20 kHz"), (140.0, None, "140 Hz and up"),
     (140.0, 3.2e3, "140 Hz to 3.20 kHz")],
)  # fmt: skip
def test_what_an_output_passes_in_words(low: float | None, high: float | None, passes: str) -> None:
    """A gain of 0.5 is -6.02 dB, with the minus sign of print."""
    one = filled(audio.OutputResponse, low_hz=low, high_hz=high, gain_1khz=0.5)
    ax = plots.plot_audio(filled(audio.AudioResponse, outputs=(one,)))
    assert key(ax)[0][1:] == [passes, f"gain at 1 kHz {style.MINUS}6.0 dB"]
    x, _ = named(ax, "corners-0").get_data()
    assert len(x) == sum(f is not None for f in (low, high))


def test_audio_is_shown_some_forty_decibels_deep_with_its_peak() -> None:
    peaked = np.array([0.5, 1.0, 2.0, 4.0, 1.0, 0.1])
    one = filled(audio.OutputResponse, overall=peaked)
    ax = plots.plot_audio(filled(audio.AudioResponse, outputs=(one,)))
    low, high = ax.get_ylim()
    assert 20.0 * np.log10(4.0) < high < 18.1 and low < -20.0
    assert ax.get_xlim() == pytest.approx((one.frequency_hz[0], one.frequency_hz[-1]))


@pytest.mark.parametrize(
    ("position", "side"), [(0.84, "left"), (0.86, "right")], ids=["room at the right", "none"]
)
def test_as_built_stands_on_the_side_where_there_is_room(position: float, side: str) -> None:
    ax = plots.plot_hum(dataclasses.replace(filled(audio.Hum), build_position=position))
    (text,) = [t for t in ax.texts if t.get_text() == "as built"]
    ax.get_figure().canvas.draw()  # type: ignore[union-attr]
    box = text.get_window_extent().transformed(ax.transData.inverted())
    assert (box.x0 > 100.0 * position) == (side == "left") and box.x1 < 100.0


def test_hum_is_shown_over_a_decade_at_least() -> None:
    """So that a null of a tenth less doesn't look like a deep one."""
    flat = filled(
        audio.OutputHum, pot_position=np.linspace(0.0, 1.0, 6), mains_v=np.full(6, 1e-3), ripple_v=1e-3,
        best_v=1.3e-3, at_build_v=1.4e-3, best_position=0.4,
    )  # fmt: skip
    ax = plots.plot_hum(dataclasses.replace(filled(audio.Hum), outputs=(flat,), build_position=0.5))
    low, high = ax.get_ylim()
    assert high / low > 10.0 and low < 1.0 and high > 1.42
    assert ax.get_xlim() == (0.0, 100.0)


@pytest.mark.parametrize(("above", "said"), [(7.3, "7 dB above it"), (-7.3, "7 dB below it")])
def test_loudest_tone_is_said_against_the_threshold(above: float, said: str) -> None:
    source = Source()
    tones = tuple(hum.Tone(f, 1e-3, 31.0 + above, 31.0) for f in (100.0, 200.0))
    found = filled(hum.HumPaths, source, outputs=(filled(hum.OutputPaths, source, tones=tones),))
    assert key(hum_paths.plot_hum_spectrum(found))[1][1] == f"100 Hz {said}"


def test_what_is_too_quiet_to_hear_is_shaded_and_what_is_loud_is_in_the_picture() -> None:
    source = Source()
    tones = tuple(filled(hum.Tone, source, frequency_hz=f, level_db=83.0) for f in (100.0, 200.0))
    found = filled(
        hum.HumPaths, source, frequency_hz=np.array([100.0, 200.0, 1000.0]),
        outputs=(filled(hum.OutputPaths, source, tones=tones),),
    )  # fmt: skip
    ax = hum_paths.plot_hum_spectrum(found)
    assert ax.get_ylim()[0] == -20.0 and 83.0 <= ax.get_ylim()[1] <= 90.0
    low, high = ax.get_xlim()
    assert low < 100.0 and high > 1000.0
    x, y = named(ax, "threshold").get_data()
    (shade,) = [c for c in ax.collections if c.get_paths()[0].contains_point((200.0, 0.0))]
    # ISO 226:2003: 14.4 dB at 200 Hz (seen)
    assert np.interp(200.0, x, y) == pytest.approx(14.4, abs=0.1)
    assert not shade.get_paths()[0].contains_point((200.0, 15.0))


def test_tones_of_several_phones_stand_side_by_side_near_their_pitch() -> None:
    source = Source()
    tones = tuple(filled(hum.Tone, source, frequency_hz=f) for f in (100.0, 200.0))
    outputs = tuple(filled(hum.OutputPaths, source, tones=tones) for _ in range(2))
    ax = hum_paths.plot_hum_spectrum(filled(hum.HumPaths, source, outputs=outputs))
    first, second = (np.asarray(named(ax, f"tones-{n}").get_xdata()) for n in range(2))
    assert (first < (100.0, 200.0)).all() and (second > (100.0, 200.0)).all()
    assert second / first == pytest.approx([1.05, 1.05], rel=0.01)


def test_ten_paths_of_hum_are_shown_the_largest_on_top() -> None:
    source = Source()
    paths = tuple(filled(hum.PathShare, source, path=f"path {n}", volts_v=1e-3 / (n + 1)) for n in range(12))
    found = filled(hum.HumPaths, source, outputs=(filled(hum.OutputPaths, source, paths=paths),))
    ax = hum_paths.plot_hum_paths(found)
    names = [label.get_text() for label in ax.get_yticklabels()]
    assert names == [f"path {n}" for n in range(10)]
    middle = [p.get_y() + p.get_height() / 2.0 for p in ax.patches]
    assert middle == pytest.approx(list(ax.get_yticks())) and middle == sorted(middle, reverse=True)
    assert ax.get_ylim()[0] < ax.get_ylim()[1]


def test_a_set_without_hum_says_so() -> None:
    found = filled(hum.HumPaths, outputs=(filled(hum.OutputPaths, paths=()),))
    assert "no hum at all" in words(hum_paths.plot_hum_paths(found))


# ---------------------------------------------------------------------------- loop gain, control, strip


def curve(gain: Any, **given: Any) -> onset.GainAgainstScreen:
    gain = np.asarray(gain, float)
    size = gain.size
    return filled(
        onset.GainAgainstScreen, gain=gain, rotation=np.linspace(0.0, 1.0, size),
        screen_v=np.linspace(3.0, 53.0, size), frequency_hz=np.full(size, 7e6),
        **{"value": None, "unit": "V", "quantity": onset.SCREEN, **given},
    )  # fmt: skip


@pytest.mark.parametrize(("highest", "scale"), [(3.96, "linear"), (4.04, "log")])
def test_a_gain_beyond_four_is_drawn_by_its_logarithm(highest: float, scale: str) -> None:
    ax = plots.plot_loop_gain([curve([0.2, 0.9, highest])])
    assert ax.get_yscale() == scale and ax.get_ylim()[1] > highest


def test_a_gain_of_nothing_leaves_a_gap_where_the_axis_is_logarithmic() -> None:
    ax = plots.plot_loop_gain([curve([-0.3, 0.0, 2.0, 5.0])])
    y = np.asarray(named(ax, "gain-0").get_ydata(), float)
    assert list(np.isnan(y)) == [True, True, False, False]


def test_negative_gain_stands_within_the_picture() -> None:
    ax = plots.plot_loop_gain([curve([-0.5, 0.4, 1.1])])
    low, high = ax.get_ylim()
    assert low < -0.5 and high >= 1.2


@pytest.mark.parametrize(
    ("gain", "said"),
    [([1.01, 1.3, 1.7], "oscillates at every setting"), ([0.3, 0.6, 0.83], "no onset, T up to 0.83")],
)
def test_a_curve_that_does_not_cross_one_says_what_it_does(gain: list[float], said: str) -> None:
    ax = plots.plot_loop_gain([curve(gain, band="40 m")])
    assert said in reading.words_of(ax) and not has(ax, "onset-0")


def test_a_mark_stands_only_where_band_and_dial_are_those_of_the_curve() -> None:
    one = curve([0.3, 0.9, 1.4], band="40 m", dial_hz=7.1e6)
    other = filled(
        onset.Onset, band="40 m", dial_hz=7.2e6, status=Status.OSCILLATES, onset=ControlSetting(0.9, 48.0)
    )
    ax = plots.plot_loop_gain([one], onsets=[other])
    (x,) = named(ax, "onset-0").get_xdata()
    # its own crossing: a fifth of the way from 28 to 53 V
    assert x == pytest.approx(33.0)


def test_what_oscillates_is_shaded_from_one_upward() -> None:
    ax = plots.plot_loop_gain([curve([0.3, 0.9, 1.4])])
    (shade,) = shades(ax)
    assert shade[2] == pytest.approx(1.0) and shade[3] >= 1.4


def throttle(rotation: float, farad: float) -> ControlSetting:
    return ControlSetting(rotation, None, farad, "F", "throttle capacitance")


def test_a_throttle_is_drawn_in_picofarads_under_its_own_name() -> None:
    farad = np.array([11.0, 40.0, 87.0]) * 1e-12
    one = dataclasses.replace(
        curve([0.3, 0.9, 1.4], band="40 m"), screen_v=None, value=farad, unit="F",
        quantity="throttle capacitance",
    )  # fmt: skip
    found = filled(
        onset.Onset, band=one.band, dial_hz=one.dial_hz, status=Status.OSCILLATES,
        onset=throttle(0.61, 51e-12), at_nine_tenths=throttle(0.5, 40e-12), approach_deg=29.6,
    )  # fmt: skip
    gain = plots.plot_loop_gain([one], onsets=[found])
    assert gain.get_xlabel() == "Throttle (pF)"
    hold_line(gain, "gain-0", farad, one.gain)
    assert "onset 51.0 pF, knob 61 %" in reading.words_of(gain)
    knob = plots.plot_control([one], onsets=[found])
    assert knob.get_ylabel() == "Throttle (pF)"
    assert knob.texts[0].get_text() == "Throttle capacitance against the control"
    assert gain.texts[0].get_text() == "Loop gain against throttle capacitance"
    assert f"61 %, 51.0 pF, approach 30{chr(176)}" in reading.words_of(knob)


def test_volts_of_a_control_are_those_to_ground() -> None:
    ax = plots.plot_control([curve([0.3, 0.9, 1.4])])
    assert ax.get_ylabel() == "Screen (V, d.c. to ground)"
    assert ax.texts[0].get_text() == "Screen voltage against the control"
    assert ax.get_xlim() == (0.0, 100.0) and ax.get_ylim()[0] == 0.0 and ax.get_ylim()[1] > 53.0


def test_approach_lies_on_the_curve_of_the_control() -> None:
    """Between its ends it takes the points of the curve, no others: 0.4 and 0.6 of 0.2, 0.4, 0.6, 0.8."""
    found = filled(onset.Onset, status=Status.OSCILLATES, onset=at_knob(0.71), at_nine_tenths=at_knob(0.33))
    ax = plots.plot_control([curve([0.1, 0.2, 0.5, 0.7, 0.9, 1.2])], onsets=[found])
    hold_line(ax, "approach-0", [0.33, 0.4, 0.6, 0.71], [19.8, 23.0, 33.0, 42.6])


def test_bars_that_would_cover_each_other_lie_in_lanes_of_their_own() -> None:
    """Two that overlap and one that begins behind the first: a lane is 5 points, the first 9 below."""
    spans = ((0.30, 0.50), (0.40, 0.60), (0.55, 0.70))
    found = [
        filled(
            onset.Onset,
            band=f"b{n}",
            status=Status.OSCILLATES,
            onset=at_knob(high),
            at_nine_tenths=at_knob(low),
        )
        for n, (low, high) in enumerate(spans)
    ]
    ax = plots.plot_control([curve([0.3, 0.9, 1.4])], onsets=found)
    figure = ax.get_figure(root=True)
    assert figure is not None
    down = []
    for n in range(3):
        line = named(ax, f"approach-{n}")
        place = (line.get_xdata()[0], line.get_ydata()[0])
        down.append(ax.transData.transform(place)[1] - line.get_transform().transform(place)[1])
    assert np.array(down) / figure.dpi * 72.0 == pytest.approx([9.0, 14.0, 9.0], abs=1e-6)


@pytest.mark.parametrize(
    ("status", "said"),
    [(Status.DOES_NOT, "does not oscillate"), (Status.FAILED, "simulation failed"),
     (Status.NOT_IN_RANGE, "oscillates at the lowest setting already")],
)  # fmt: skip
def test_a_band_without_onset_says_what_it_does_on_strip_and_control(status: Status, said: str) -> None:
    found = filled(onset.Onset, band="15 m", status=status, onset=None)
    strip = plots.plot_strip([found])
    assert said in reading.words_of(strip)
    assert not has(strip, "onset-0") and shades(strip) == []
    assert f"15 m: {said}" in reading.words_of(plots.plot_control([], onsets=[found]))
    assert f"15 m: {said}." in subtitle(plots.plot_loop_gain([], onsets=[found]))


def test_the_strip_is_shaded_from_onset_to_the_end_of_the_knob() -> None:
    places = (0.61, 0.12)
    onsets = [filled(onset.Onset, status=Status.OSCILLATES, onset=at_knob(p)) for p in places]
    ax = plots.plot_strip(onsets)
    for row, (left, right, low, high) in enumerate(sorted(shades(ax), key=lambda s: s[2] + s[3])):
        assert (left, right) == pytest.approx((100.0 * places[row], 100.0))
        assert (low + high) / 2.0 == pytest.approx(row, abs=1e-9)
    assert ax.get_xlim() == (0.0, 100.0)
    # the first band on top
    low, high = ax.get_ylim()
    assert low > high


@pytest.mark.parametrize(("place", "side"), [(0.148, "left"), (0.152, "right")])
def test_the_figure_of_an_onset_stands_inside_the_strip(place: float, side: str) -> None:
    found = filled(onset.Onset, status=Status.OSCILLATES, onset=at_knob(place))
    ax = plots.plot_strip([found])
    (text,) = [t for t in ax.texts if t.get_text() == f"{100.0 * place:.1f} %"]
    assert text.get_ha() == side
    assert (text.get_position()[0] > 100.0 * place) == (side == "left")


def test_the_strip_says_what_of_many_sets_it_knows() -> None:
    found = filled(onset.Onset, band="40 m", status=Status.OSCILLATES, onset=at_knob(0.61))
    dead = filled(BandSpread, band="40 m", sets=50, oscillating=0, knob_low=None, knob_high=None)
    ax = plots.plot_strip([found], ranges=[dead])
    assert {"no set oscillates", "onset in 0 of 50 sets"} <= set(reading.words_of(ax))
    assert not has(ax, "range-0")
    assert subtitle(ax).endswith("; pale bar: eight of ten sets.")
    assert subtitle(plots.plot_strip([found])).endswith("shaded: it oscillates.")


def test_backlash_of_another_band_is_not_drawn() -> None:
    found = filled(onset.Onset, band="40 m", status=Status.OSCILLATES, onset=at_knob(0.61))
    other = filled(envelope.Oscillation, band="20 m")
    assert not has(plots.plot_strip([found], strengths=[other]), "backlash-0")


# ---------------------------------------------------------------------------- the plane, bandwidth


def test_plus_one_and_the_origin_stand_within_the_plane_of_a_small_curve() -> None:
    one = filled(onset.NyquistCurve, return_ratio=np.array([0.2 - 0.05j, 0.3 + 0.02j, 0.25 + 0.06j]))
    ax = plots.plot_nyquist([one])
    (left, right), (low, high) = ax.get_xlim(), ax.get_ylim()
    assert left < 0.0 and right > 1.0 and low < -0.05 < 0.06 < high
    assert "+1" in reading.words_of(ax)


def test_the_largest_of_several_crossings_is_said() -> None:
    """A circle that crosses the real axis at 0.2 and, further round, at 0.7."""
    one = filled(
        onset.NyquistCurve,
        return_ratio=np.array([0.1 + 0.1j, 0.3 - 0.1j, 0.5 - 0.4j, 0.6 - 0.1j, 0.8 + 0.1j]),
    )
    assert "T = 0.70 at zero phase" in words(plots.plot_nyquist([one]))


def test_a_curve_that_crosses_nowhere_says_no_crossing() -> None:
    one = filled(onset.NyquistCurve, return_ratio=np.array([0.1 + 0.1j, 0.5 + 0.4j, 0.9 + 0.2j]))
    ax = plots.plot_nyquist([one])
    assert "at zero phase" not in words(ax)


def test_bandwidths_are_drawn_up_to_a_little_beyond_the_sharpest() -> None:
    found = dataclasses.replace(
        filled(onset.Selectivity), gain=np.array([0.3, 0.5, 0.8, 0.95, 0.98, 0.99]),
        bandwidth_hz=np.array([70e3, 50e3, 20e3, 5e3, 2e3, 1e3]), unloaded_bandwidth_hz=1e5,
    )  # fmt: skip
    ax = plots.plot_selectivity([found])
    left, right = ax.get_xlim()
    assert left == 0.0 and 0.99 < right < 0.995
    low, high = ax.get_ylim()
    # T = 0: 100 kHz, the sharpest: 1 kHz
    assert low < 1e3 and high > 1e5
    assert 0.99 in list(ax.get_xticks()) and 0.999 not in list(ax.get_xticks())


def test_a_resonance_is_shown_to_twenty_kilohertz_either_way_with_its_peak() -> None:
    found = filled(onset.Selectivity)
    assert plots.plot_resonance(found).get_xlim() == (-20.0, 20.0)
    tall = tuple(np.array([0.1, 1.0, k, k, 1.0, 0.1]) for k in (2.0, 200.0))
    ax = plots.plot_resonance(dataclasses.replace(found, curves_ohm=tall, curve_gain=(0.3, 0.9)))
    # 200 against 2 is 40 dB
    assert ax.get_ylim()[1] > 40.0 and ax.get_ylim()[0] < -26.0


# ---------------------------------------------------------------------------- coils


def sweep(**given: Any) -> coils.DialSweep:
    return filled(coils.DialSweep, **given)


def point(dial_hz: float, at: float | None, **given: Any) -> coils.DialPoint:
    place = None if at is None else at_knob(at)
    return filled(coils.DialPoint, dial_hz=dial_hz, onset=place, **given)


def test_words_beside_a_sweep_give_its_least_and_most() -> None:
    gains = (1.31, 0.87, 1.12)
    points = tuple(point(1e6 * (3 + n), 0.4 + 0.1 * n, gain=g) for n, g in enumerate(gains))
    ax = coil_plots.plot_gain_over_dial([sweep(points=points)])
    assert "T 0.87 to 1.31" in reading.words_of(ax)
    (shade,) = shades(ax)
    assert shade[2] == pytest.approx(1.0) and shade[3] >= 1.31
    assert ax.get_ylim()[0] == 0.0 and ax.get_xlim()[0] < 3.0 and ax.get_xlim()[1] > 5.0
    other = coil_plots.plot_onset_over_dial([sweep(points=points)])
    assert "40 to 60 %" in reading.words_of(other) and other.get_ylim() == (0.0, 100.0)


def test_a_line_of_onsets_breaks_where_there_is_none() -> None:
    points = tuple(point(1e6 * (3 + n), at) for n, at in enumerate((0.4, None, 0.6)))
    ax = coil_plots.plot_onset_over_dial([sweep(points=points)])
    y = np.asarray(named(ax, "onset-0").get_ydata(), float)
    assert list(np.isnan(y)) == [False, True, False]
    silent = coil_plots.plot_onset_over_dial([sweep(points=(point(3e6, None), point(4e6, None)))])
    assert "no onset on this dial" in reading.words_of(silent)


def test_a_coil_that_was_not_swept_is_left_out() -> None:
    both = [sweep(points=()), sweep(points=(point(3e6, 0.4),))]
    for draw, gid in ((coil_plots.plot_gain_over_dial, "gain"), (coil_plots.plot_onset_over_dial, "onset")):
        ax = draw(both)
        assert not has(ax, f"{gid}-0") and has(ax, f"{gid}-1")


def test_losses_are_those_nearest_to_the_middle_of_the_band() -> None:
    """The middle of 4 to 9 MHz is 6 MHz, on a dial that is logarithmic: 5.9 is nearer to it than 6.4, which
    is nearer to 6.5.
    """
    points = tuple(point(f, 0.4, loaded_q=q) for f, q in ((4.1e6, 77.0), (5.9e6, 111.0), (6.4e6, 131.0)))
    ax = coil_plots.plot_losses([sweep(points=points, from_hz=4e6, to_hz=9e6)])
    assert "Q 111" in reading.words_of(ax) and "Q 131" not in reading.words_of(ax)


def test_reach_of_coils_names_year_region_and_what_is_missing() -> None:
    one = filled(coils.CoilRange, low_hz=3.1e6, high_hz=7.7e6, from_hz=3.5e6, to_hz=3.8e6)
    cover = filled(coils.Coverage, year=1936, region=2, services=(), unmeasured=("40 m", "20 m"))
    ax = coil_plots.plot_ranges([one], cover)
    assert "Bands of 1936, ITU region 2, shaded. Range of 40 m, 20 m not found." in subtitle(ax)
    assert ax.get_xlim()[0] < 3.1 and ax.get_xlim()[1] > 7.7
    whole = dataclasses.replace(cover, unmeasured=())
    assert "not found" not in subtitle(coil_plots.plot_ranges([one], whole))


def test_services_have_the_colours_of_their_names() -> None:
    from matplotlib.colors import to_hex

    one = filled(coils.CoilRange, low_hz=3.1e6, high_hz=7.7e6, from_hz=3.5e6, to_hz=3.8e6)
    services = (
        coils.ServiceCover("amateur", "40 m", 7.0e6, 7.3e6, (), ()),
        coils.ServiceCover("broadcast", "49 m", 5.95e6, 6.2e6, (), ()),
    )
    ax = coil_plots.plot_ranges([one], filled(coils.Coverage, services=services))
    shaded = [p for p in ax.patches if p.get_gid() is None]
    names = {t.get_text(): to_hex(t.get_bbox_patch().get_facecolor()) for t in ax.texts if t.get_bbox_patch()}
    for service, patch in zip(services, shaded, strict=True):
        assert to_hex(patch.get_facecolor()) == names[service.service]
        assert span(patch)[:2] == pytest.approx((service.low_hz / 1e6, service.high_hz / 1e6))


def test_a_coil_without_shield_is_not_said_to_have_one() -> None:
    bare = filled(coils.Breakthrough, shielded=None, station_shielded_v=None)
    ax = coil_plots.plot_breakthrough([bare])
    assert ax.texts[0].get_text() == "From aerial to grid" and not has(ax, "shield-0")
    assert "where no shield helps" in subtitle(ax) and "shield gains" not in words(ax)
    ax = coil_plots.plot_breakthrough([filled(coils.Breakthrough)])
    assert ax.texts[0].get_text() == "From aerial to grid, without and with the shield"
    assert subtitle(ax).startswith("Solid: no shield; dotted: shield.")
    assert named(ax, "open-0").get_linestyle() == "-" and named(ax, "shield-0").get_linestyle() != "-"


def test_the_station_is_named_in_kilohertz() -> None:
    ax = coil_plots.plot_breakthrough([filled(coils.Breakthrough, station_hz=738e3)])
    assert "station 738 kHz" in reading.words_of(ax)


def test_breakthrough_is_shown_down_to_150_decibels_and_no_further() -> None:
    """A shield of nothing at all would else leave no room for what comes through."""
    one = filled(coils.Breakthrough, unshielded=np.full(6, 0.1), shielded=np.full(6, 0.0))
    ax = coil_plots.plot_breakthrough([one])
    assert ax.get_ylim()[0] == -150.0 and ax.get_ylim()[1] > -20.0
    y = named(ax, "shield-0").get_ydata()
    assert np.isfinite(y).all()


# ---------------------------------------------------------------------------- tubes in a socket


def outcome(band: str, at: float | None, status: Status, kind: OnsetKind | None) -> swap.BandOutcome:
    place = None if at is None else at_knob(at)
    return filled(
        swap.BandOutcome, onset=filled(onset.Onset, band=band, onset=place, status=status), kind=kind
    )


def detector(tube: str, *bands: swap.BandOutcome, **given: Any) -> swap.DetectorCandidate:
    return filled(swap.DetectorCandidate, tube=tube, bands=bands, failed=None, **given)


def swapped(*detectors: swap.DetectorCandidate, **given: Any) -> Axes:
    return swap_plot.plot_swap(
        filled(swap.SwapReport, socket="detector", detectors=detectors, audios=(), **given)
    )


def soft(band: str, at: float | None, status: Status = Status.OSCILLATES) -> swap.BandOutcome:
    return outcome(band, at, status, OnsetKind.SOFT)


@pytest.mark.parametrize(
    ("kind", "open_"),
    [(OnsetKind.SOFT, False), (OnsetKind.HARD, True), (OnsetKind.JUMPS, True), (None, False)],
)
def test_an_onset_that_jumps_is_an_open_mark(kind: OnsetKind | None, open_: bool) -> None:
    ax = swapped(detector("XJ7", outcome("40 m", 0.4, Status.OSCILLATES, kind)))
    assert (named(ax, "onset-0-0").get_markerfacecolor() == "white") == open_


@pytest.mark.parametrize(
    ("bands", "said"),
    [
        ((soft("a", None, Status.DOES_NOT), soft("b", None, Status.DOES_NOT)), "does not oscillate"),
        ((soft("a", None, Status.NOT_IN_RANGE), soft("b", None, Status.NOT_IN_RANGE)),
         "oscillates at every setting"),
        ((soft("a", 0.4), soft("b", None, Status.NOT_IN_RANGE)), "oscillates at every setting on b"),
        ((soft("a", None, Status.DOES_NOT), soft("b", 0.4)), "does not oscillate on a"),
    ],
)  # fmt: skip
def test_bands_without_onset_are_named_with_what_they_do(
    bands: tuple[swap.BandOutcome, ...], said: str
) -> None:
    assert said in reading.words_of(swapped(detector("XJ7", *bands)))


@pytest.mark.parametrize(("at", "side"), [(0.49, "right"), (0.51, "left")])
def test_words_stand_away_from_the_marks(at: float, side: str) -> None:
    ax = swapped(detector("XJ7", soft("a", at), soft("b", None, Status.DOES_NOT)))
    (text,) = [t for t in ax.texts if t.get_text() == "does not oscillate on b"]
    assert text.get_ha() == side


def test_the_tube_in_place_is_bold_and_the_best_on_top() -> None:
    rows = [detector(tube, soft("a", 0.4)) for tube in ("XJ7", "XJ8", "XJ9")]
    ax = swapped(*rows, reference="XJ8")
    weights = {t.get_text(): t.get_fontweight() for t in ax.get_yticklabels()}
    assert weights == {"XJ7": "normal", "XJ8": "bold", "XJ9": "normal"}
    low, high = ax.get_ylim()
    assert low > high and ax.get_xlim() == (0.0, 100.0)
    assert "(in place: XJ8)" in ax.texts[0].get_text()


def test_columns_beside_the_tubes_have_their_headings_over_them() -> None:
    """Each word stands over its figures: 'detects' in times, 'weakest' in volts."""
    one = detector("XJ7", soft("a", 0.4), in_place=True)
    ax = swapped(one)
    place = {t.get_text(): t.get_position() for t in ax.texts}
    assert place["detects, x"][0] == place["1.00"][0]
    (volts,) = [p for text, p in place.items() if text.endswith(" uV")]
    assert place["weakest in 500 Hz"][0] == volts[0]
    assert place["detects, x"][1] < 0.0 == volts[1]
    audios = (filled(swap.AudioCandidate, failed=None, tied=True, plate_a=4.2e-3),)
    report = filled(swap.SwapReport, socket="audio", detectors=(), audios=audios)
    place = {t.get_text(): t.get_position() for t in swap_plot.plot_swap(report).texts}
    assert place["plate current"][0] == place["4.20 mA"][0] and "as triode" in place


def test_weakest_signal_is_that_at_the_grid_where_there_is_no_aerial() -> None:
    weakest = tuple(
        filled(swap.WeakestSignal, bandwidth_hz=b, aerial_v=None, grid_v=v)
        for b, v in ((500.0, 1.23e-6), (3000.0, 4.56e-6))
    )
    one = detector("XJ7", soft("a", 0.4), noise=filled(swap.SignalNoise, weakest=weakest))
    assert "1.23 uV" in reading.words_of(swapped(one))


def test_what_an_rf_stage_radiates_is_the_worst_of_its_bands_against_the_tube_in_place() -> None:
    bands = tuple(filled(swap.RfBand, radiation_db=v) for v in (-7.4, -2.3))
    own = filled(swap.RfCandidate, failed=None, in_place=True, bands=bands, plate_a=None)
    other = filled(swap.RfCandidate, failed=None, in_place=False, bands=bands, ratings=())
    report = filled(swap.SwapReport, socket="rf", detectors=(), audios=(), rf_stages=(own, other))
    ax = swap_plot.plot_swap(report)
    rows = {(t.get_position()[1], t.get_text()) for t in ax.texts}
    assert {(0, "0 dB"), (0, "-"), (1, "-2.3 dB"), (-1.0, "radiates"), (-1.0, "plate current")} <= rows


# ---------------------------------------------------------------------------- envelope and modes


def strength(**given: Any) -> envelope.Oscillation:
    kept = {"kind": OnsetKind.HARD, "status": Status.OSCILLATES, "once_started": None, **given}
    return filled(envelope.Oscillation, **kept)


@pytest.mark.parametrize("ends", list(MapEnd))
def test_what_ends_a_map_below_the_top_of_the_control_is_said(ends: MapEnd) -> None:
    known = filled(envelope.AmplitudeMap, ends=ends)
    ax = envelope_plots.plot_amplitude(strength(amplitudes=known))
    assert has(ax, "ends") == (ends is not MapEnd.CONTROL)
    assert (ends.value in reading.words_of(ax)) == (ends is not MapEnd.CONTROL)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"kind": OnsetKind.SOFT}, "Soft onset"),
        ({"kind": OnsetKind.JUMPS}, "Soft, then jumps onset"),
        ({"kind": None, "status": Status.FAILED}, "Simulation failed"),
        ({"kind": None, "status": Status.NOT_IN_RANGE}, "All over the control"),
        ({"kind": None, "status": Status.DOES_NOT}, "No onset on this control"),
        ({"kind": None, "status": Status.DOES_NOT, "once_started": filled(envelope.OnceStarted)},
         "Continues once started"),
    ],
)  # fmt: skip
def test_how_oscillation_comes_in_stands_under_the_title(given: dict[str, Any], said: str) -> None:
    assert subtitle(envelope_plots.plot_amplitude(strength(**given))).startswith(f"{said}; peak volts")


@pytest.mark.parametrize(
    ("given", "end"),
    [
        ({"onset": at_knob(0.43)}, 43.0),
        ({"onset": None, "status": Status.DOES_NOT}, 100.0),
        ({"onset": None, "status": Status.DOES_NOT, "once_started": filled(envelope.OnceStarted)}, None),
        ({"onset": None, "status": Status.NOT_IN_RANGE}, None),
        ({"onset": None, "status": Status.FAILED}, None),
    ],
)
def test_silence_is_drawn_where_it_is_known(given: dict[str, Any], end: float | None) -> None:
    ax = envelope_plots.plot_amplitude(strength(**given))
    assert has(ax, "silent-0") == (end is not None)
    if end is not None:
        x, y = named(ax, "silent-0").get_data()
        assert list(x) == pytest.approx([0.0, end], abs=1e-9) and list(y) == [0.0, 0.0]


def test_resistance_in_the_screens_lead_names_its_line() -> None:
    source = Source()
    plain = strength(extra_screen_ohm=0.0)
    more = filled(
        envelope.Oscillation, source, kind=OnsetKind.HARD, status=Status.OSCILLATES, extra_screen_ohm=47e3
    )
    ax = envelope_plots.plot_amplitude(plain, overlays=[more])
    legend = ax.get_legend()
    assert legend is not None
    assert [t.get_text() for t in legend.get_texts()] == ["as built", "+ 47.0 kohm to the screen"]


def test_a_reference_that_did_not_see_all_of_the_map_says_how_far_it_went() -> None:
    known = filled(envelope.AmplitudeMap, rotation=np.linspace(0.4, 0.95, 6))
    check = filled(envelope.Verification, covered_to=at_knob(0.73), oscillation=strength(amplitudes=known))
    ax = envelope_plots.plot_verification(check)
    assert list(named(ax, "covered").get_xdata()) == pytest.approx([73.0, 73.0])
    whole = envelope_plots.plot_verification(dataclasses.replace(check, covered_to=at_knob(0.95)))
    assert not has(whole, "covered")
    assert f"{check.steps_per_cycle:.0f} steps a cycle" in subtitle(ax)


def stability(*rates: float, **given: Any) -> envelope.Stability:
    points = tuple(
        filled(
            envelope.EnvelopeModes, rate=np.array([r]), frequency_hz=np.array([400.0]), growing=int(r > 0.0),
            setting=at_knob(0.5 + 0.1 * n), amplitude_v=0.1 * n,
        )
        for n, r in enumerate(rates)
    )  # fmt: skip
    return filled(envelope.Stability, points=points, became=None, **given)


@pytest.mark.parametrize("kind", list(Steadiness))
def test_what_grows_is_said_and_above_zero_is_shaded(kind: Steadiness) -> None:
    still = kind is Steadiness.HOLDS_STILL
    rates = (-40.0, -31.0, -80.0) if still else (-40.0, 31.0, 80.0)
    ax = modes.plot_modes([stability(*rates, kind=kind, unstable=not still)])
    said = "nothing grows" if still else kind.value
    assert subtitle(ax).startswith(f"As built: {said}. ")
    (shade,) = shades(ax)
    assert shade[2] == pytest.approx(0.0, abs=1e-9) and shade[3] >= max(rates)
    low, high = ax.get_ylim()
    assert low < min(rates) and high > max(rates)


def test_a_band_without_what_was_asked_says_its_state() -> None:
    none = filled(
        envelope.Detection, status=Status.DOES_NOT, onset=None, am=None, beat=None, pulling=None,
        notes=("No beat note, for nothing oscillates.",),
    )  # fmt: skip
    for draw in (envelope_plots.plot_detection, envelope_plots.plot_pulling):
        said = words(draw(none))
        assert "does not oscillate" in said and "No beat note, for nothing oscillates." in said
    assert subtitle(envelope_plots.plot_detection(none)).endswith(". Does not oscillate.")
    assert subtitle(envelope_plots.plot_pulling(none)) == "No oscillation to be pulled."


def test_sensitivity_of_am_alone_says_the_state_beside_it() -> None:
    lone = filled(envelope.Detection, status=Status.DOES_NOT, onset=None, beat=None)
    ax = envelope_plots.plot_detection(lone)
    assert ax.get_yscale() == "log" and subtitle(ax).endswith(" Does not oscillate.")
    assert "beat note at" not in subtitle(ax) and "Best: AM at" in subtitle(ax)


def test_loudness_marks_speech_and_what_there_is_without_regeneration() -> None:
    found = filled(envelope.Detection)
    one = found.speech
    assert one is not None
    ax = plots.plot_loudness(found)
    by_label = {line.get_label(): line for line in ax.lines}
    x, y = reading.points(ax, by_label[f"for speech, knob {100.0 * one.setting.rotation:.1f} %"])
    assert (x[0], y[0]) == pytest.approx((one.reach_hz, one.audio_v))
    level = reading.points(ax, by_label["no regeneration"])[1]
    assert set(level) == {one.bare_v}
    upright = [x for x, _ in (reading.points(ax, k) for k in ax.lines) if len(x) == 2 and x[0] == x[1]]
    assert [x[0] for x in upright] == [pytest.approx(one.wanted_hz)]


# ---------------------------------------------------------------------------- the look of all


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.05, "0.05"), (2.0, "2"), (500.0, "500"), (999.0, "999"), (1000.0, "1k"), (2500.0, "2.5k"),
     (1.5e6, "1.5M"), (-20.0, f"{style.MINUS}20"), (-2e3, f"{style.MINUS}2k"), (0.0, "0")],
)  # fmt: skip
def test_ticks_are_plain_numbers(value: float, text: str) -> None:
    assert style.plain_number(value) == text


def test_ticks_of_a_logarithmic_axis_are_one_two_five_within_its_ends() -> None:
    assert style.one_two_five(0.1, 5.0) == [0.1, 0.2, 0.5, 1.0, 2.0, 5.0]
    assert style.one_two_five(0.11, 4.9) == [0.2, 0.5, 1.0, 2.0]
    assert style.one_two_five(0.1, 1000.0, only_tens=True) == [0.1, 1.0, 10.0, 100.0, 1000.0]


def test_pens_come_again_after_forty_two() -> None:
    """Seven colours and six dashes, which have no common divisor: 42 lines of a picture can be told apart."""
    looks = [(p.colour, str(p.dash)) for p in map(style.pen, range(43))]
    assert len(set(looks[:42])) == 42 and looks[42] == looks[0]
    assert [style.pen(n).mark for n in range(7)] == [style.pen(n + 7).mark for n in range(7)]


def test_a_band_has_the_pen_of_its_place_in_the_set() -> None:
    order = ("80 m", "40 m", "20 m")
    assert style.pen_of("20 m", order, 0) == style.pen(2)
    assert style.pen_of("15 m", order, 1) == style.pen(1)


def test_hazards_stand_on_every_figure() -> None:
    """Common practice, no source: switched off, unplugged, discharged and measured, in that order."""
    texts = [t.get_text() for t in style.new_axes().get_figure(root=True).texts]  # type: ignore[union-attr]
    (footer,) = texts
    steps = ("Plate supplies kill", "switch off", "unplug", "discharge", "measure", "before touching")
    places = [footer.index(step) for step in steps]
    assert places == sorted(places) and "average tubes" in footer


def test_a_state_stands_in_the_middle_its_first_line_out() -> None:
    ax = style.new_axes()
    style.say(ax, ["does not oscillate", "word " * 30])
    texts = [t for t in ax.texts if (t.get_gid() or "").startswith("state-")]
    assert texts[0].get_text() == "does not oscillate" and texts[0].get_fontweight() == "bold"
    assert {t.get_fontweight() for t in texts[1:]} == {"normal"}
    assert all(len(t.get_text()) <= 62 for t in texts) and len(texts) == 4
    heights = [t.get_position()[1] for t in texts]
    assert heights == sorted(heights, reverse=True)


def test_a_name_too_long_for_its_place_is_cut_and_words_are_no_mathematics() -> None:
    ax = style.new_axes()
    (line,) = ax.plot([0.0, 1.0], [0.0, 1.0])
    legend = labels.key(ax, [(line, "a$b$ " + "long " * 9, ["$x$"])])
    (text,) = legend.get_texts()
    name, detail = text.get_text().split("\n")
    assert len(name) <= labels.NAME_LIMIT and name.endswith("...") and detail == "$x$"
    assert not text.get_parse_math()
