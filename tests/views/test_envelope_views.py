"""Tables and plots of the envelope view, from results made by hand: data, wording, cautions, width."""

from __future__ import annotations

import dataclasses
import io

import numpy as np
import pytest
from matplotlib.axes import Axes

from receiver_sim.results import cautions
from receiver_sim.results.base import Status, plain
from receiver_sim.results.envelope import (
    AmplitudeMap,
    BandOscillation,
    BuildUp,
    Detection,
    DetectionCurve,
    EnvelopeModes,
    Jump,
    MapEnd,
    OnceStarted,
    OnsetKind,
    Oscillation,
    OscillationReport,
    Pulling,
    RampReading,
    SpeechSetting,
    Stability,
    Steadiness,
    TransferCurve,
    Verification,
)
from receiver_sim.results.onset import ControlSetting
from receiver_sim.views import envelope_plots, envelope_tables
from receiver_sim.views.plots import envelope as plots
from receiver_sim.views.plots import modes as modes_plot
from receiver_sim.views.sheet import show
from tests.helpers.cells import the

AT = ControlSetting(0.5, 30.0)
X = np.linspace(0.0, 1.0, 5)


def a_map() -> AmplitudeMap:
    rotation = np.array([0.50, 0.46, 0.44, 0.48, 0.60])
    return AmplitudeMap(
        amplitude_v=np.array([0.001, 0.2, 0.4, 0.8, 1.5]),
        rotation=rotation,
        rest_screen_v=60.0 * rotation,
        screen_v=61.0 * rotation,
        grid_v=np.array([-0.6, -0.7, -0.9, -1.2, -1.6]),
        frequency_hz=7.1e6 + X,
        frame_hz=7.1e6 + X,
        energy_error=1e-6 * X,
    )


def hard() -> Oscillation:
    jump = Jump(AT, ControlSetting(0.44, 26.4), 0.001, 0.9, 0.4, 3.6, 16.2)
    return Oscillation(
        band="40 m", dial_hz=7.1e6, status=Status.OSCILLATES, kind=OnsetKind.HARD, onset=AT, jump=jump,
        amplitudes=a_map(), build_up=BuildUp(AT, 0.0123, 900.0, 0.9), hz_per_v=0.25, extra_screen_ohm=0.0,
        tank_hz=7.1e6, tank_q=100.0, tank_ohm=20e3, seconds=0.05,
    )  # fmt: skip


def silent() -> Oscillation:
    empty = dict.fromkeys(
        ("kind", "onset", "jump", "amplitudes", "build_up", "hz_per_v", "tank_hz", "tank_q", "tank_ohm")
    )
    return Oscillation(
        band="20 m", dial_hz=14e6, status=Status.DOES_NOT, extra_screen_ohm=0.0, seconds=0.0,
        warnings=("no setting starts oscillation",), **empty,
    )  # fmt: skip


def shocked() -> Oscillation:
    started = OnceStarted(ControlSetting(0.44, 26.4), 0.4, True, 0.2, 1.5)
    return dataclasses.replace(
        silent(), amplitudes=a_map(), once_started=started, onset_beyond_v=41.4,
        warnings=("it does not start by itself",),
    )  # fmt: skip


def everywhere() -> Oscillation:
    known = dataclasses.replace(a_map(), rotation=np.array([0.0, 0.2, 0.4, 0.7, 1.0]))
    return dataclasses.replace(
        silent(), status=Status.NOT_IN_RANGE, amplitudes=known, onset_beyond_v=8.13, warnings=("all over",)
    )


def a_verification() -> Verification:
    ramp = RampReading(X, X, X, 60.0 * X, AT, ControlSetting(0.4, 24.0), 0.2, 6.0, 20.0)
    return Verification(
        "40 m", 7.1e6, ramp, ramp, hard(), 0.003, -0.004, 0.01, 0.02, 3.7, 40.1, -0.0046, 400.0,
        0.001, -0.002, AT,
    )  # fmt: skip


def a_report() -> OscillationReport:
    carriers = (("plate load", "output choke"), ("cathode bypass",))
    modes = EnvelopeModes(AT, 0.4, np.array([120.0, -30.0]), np.array([900.0, 0.0]), carriers, 2, 640.0, 0.5)
    calm = dataclasses.replace(
        modes, rate=np.array([-30.0]), frequency_hz=np.array([70.0]), carried_by=(("grid capacitor",),),
        growing=0, motion_hz=None, motion_v=None,
    )  # fmt: skip
    steady = (
        Stability("40 m", 7.1e6, "as built", (modes,), True, Steadiness.THRESHOLD_HOWL),
        Stability("40 m", 7.1e6, "load shunt of 220 kohm", (calm,), False, Steadiness.HOLDS_STILL),
    )
    weak = dataclasses.replace(hard(), extra_screen_ohm=47e3)
    bands = (
        BandOscillation(hard(), (weak,), steady, a_verification()),
        BandOscillation(silent(), (), (), None),
    )
    return OscillationReport("A set", bands, cautions.ALL, ("a warning of the build",))


def a_detection() -> Detection:
    curve = DetectionCurve("AM 30 %", 1e-4, 400.0, 0.4 + 0.1 * X, 0.1 + X, X, ControlSetting(0.49, 29.0), 0.7)
    beat = dataclasses.replace(curve, signal="beat note", tone_hz=800.0, rotation=0.5 + 0.1 * X)
    transfer = TransferCurve("AM 30 %", 0.49, 1e-6 + X, X, 0.002)
    pull = Pulling(0.51, 1e-4, 100.0 * (1.0 + X), 90.0 * (1.0 + X), 60.0)
    return Detection(
        "40 m", 7.1e6, "headset", AT, curve, beat, transfer, dataclasses.replace(transfer, overload_v=None),
        pull, 1.0 + X, -X, 55.0,
    )  # fmt: skip


def printed(renderable: object) -> str:
    out = io.StringIO()
    show(renderable, out)
    return out.getvalue()


def test_oscillation_sheet():
    text = printed(envelope_tables.oscillation_sheet(a_report()))
    words = " ".join(text.split())
    for expected in (
        "hard", "50.0", "30.00", "3.60", "16.2", "1.50", "12.3", "does not oscillate",
        "no setting starts oscillation",
        "47.0 kohm", "a warning of the build", "threshold howl",
        "the amplitude swings by 500 mV in all, at 640 Hz",
        "load shunt of 220 kohm holds still - 70 -30 grid capacitor", "120 plate load", "Plate supplies kill",
    ):  # fmt: skip
        assert expected in words, expected
    assert max(map(len, text.splitlines())) <= 100


@pytest.mark.parametrize(
    ("renderable", "expected"),
    [
        (
            envelope_tables.verification_table(a_verification()),
            ("40.1 steps a cycle", "1/400", "6.000", "0.30 %"),
        ),
        (
            envelope_tables.detection_table(a_detection()),
            ("AM 30 %, 400 Hz", "55.0 Hz", "60 Hz each way", "700 2.00 beat"),
        ),
    ],
)
def test_other_tables(renderable, expected):
    text = printed(renderable)
    words = " ".join(text.split())
    assert all(e in words for e in expected), words
    assert "Plate supplies kill" in words
    assert max(map(len, text.splitlines())) <= 100


def test_plot_of_modes_shows_what_grows_and_the_remedy():
    ax = modes_plot.plot_modes(a_report().bands[0].stability)
    assert isinstance(ax, Axes)
    words = [text.get_text() for text in ax.texts]
    assert any("threshold howl" in w and "900 Hz" in w for w in words)
    assert "load shunt of 220 kohm" in words
    low, high = ax.get_ylim()
    assert low < -30.0 and high > 120.0  # what grows and what decays lie inside


def test_plot_of_modes_stands_a_circuit_where_nothing_rings():
    calm = a_report().bands[0].stability[1]
    points = tuple(dataclasses.replace(p, frequency_hz=np.array([0.0])) for p in calm.points)
    ax = modes_plot.plot_modes([dataclasses.replace(calm, points=points)])
    assert "nothing grows" in " ".join(text.get_text() for text in ax.texts)


def test_bands_without_onset_on_the_control():
    last = dataclasses.replace(shocked(), band="15 m")
    assert last.once_started is not None
    last = dataclasses.replace(
        last,
        once_started=dataclasses.replace(last.once_started, lets_go=False, top_v=None),
        onset_beyond_v=None,
    )
    weak = dataclasses.replace(everywhere(), extra_screen_ohm=47e3)
    bands = tuple(
        BandOscillation(one, (weak,), (), None)
        for one in (shocked(), dataclasses.replace(everywhere(), band="30 m"), last)
    )
    sheet = envelope_tables.oscillation_sheet(OscillationReport("A set", bands, cautions.ALL, ()))
    rows = the(sheet, "How oscillation comes in").rows
    assert rows[0][:8] == ("20 m", "does not oscillate", "-", "-", "-", "-", "1.50", "60.0")
    assert rows[1][:8] == ("30 m", "not found in range", "-", "-", "-", "-", "1.50", "100.0")
    text = printed(sheet)
    words = " ".join(text.split())
    for expected in (
        "20 m, 15 m: it does not start by itself",
        "20 m: once started (switching on, a loud crackle, a key close by) it continues from 26.40 V screen, "
        "44.0 % of the knob, up, until it is turned back below: 400 mV peak there, 1.50 V at the top. It "
        "takes a shock of some 200 mV at the top, more further down",
        "20 m: onset would be at 41.40 V screen, above the top of the control",
        "20 m with 47.0 kohm more: onset would be at 8.13 V screen, below the bottom of the control",
        "30 m: onset would be at 8.13 V screen, below the bottom of the control",
        "it continues at every setting of the control and turning back does not end it: 400 mV peak at "
        "the bottom. It takes",
    ):
        assert expected in words, (expected, words)
    assert "15 m: onset would" not in words
    assert max(map(len, text.splitlines())) <= 100


@pytest.mark.parametrize(
    ("one", "said", "arrows"),
    [
        (silent, "No onset on this control;", 0),
        (shocked, "Continues once started;", 1),
        (everywhere, "All over the control;", 0),
    ],
)
def test_amplitude_plot_without_onset_on_the_control(one, said, arrows):
    ax = plots.plot_amplitude(one())
    assert any(said in text.get_text() for text in [*ax.texts, ax.title]), [t.get_text() for t in ax.texts]
    assert sum(hasattr(text, "arrow_patch") and text.arrow_patch is not None for text in ax.texts) == arrows
    known = one().amplitudes
    if known is not None:  # it does not begin from nothing
        drawn = np.concatenate([np.asarray(line.get_ydata(), dtype=float) for line in ax.lines])
        assert np.nanmin(drawn) == known.amplitude_v[0]


def lost() -> Oscillation:
    return dataclasses.replace(
        silent(), status=Status.FAILED, warnings=("15 m: the simulation failed, singular matrix",)
    )


def words_on(ax) -> str:
    return " ".join(" ".join(text.get_text().split()) for text in [*ax.texts, ax.title])


def points_of(ax, gid):
    (line,) = [line for line in ax.lines if line.get_gid() == gid]
    return list(map(float, line.get_xdata())), list(map(float, line.get_ydata()))


def test_a_failed_simulation_is_drawn_and_told_as_such():
    """Guards against 'No onset on this control' over empty axes for a simulation that gave no answer."""
    ax = plots.plot_amplitude(lost())
    words = words_on(ax)
    assert "Simulation failed;" in words and "singular matrix" in words
    assert "onset" not in words and "does not oscillate" not in words
    assert not ax.lines and not list(ax.get_yticks())
    below = plots.plot_amplitude(hard(), overlays=(dataclasses.replace(lost(), extra_screen_ohm=47e3),))
    assert "+ 47.0 kohm to the screen: simulation failed" in words_on(below)
    assert [line.get_label() for line in below.lines if not line.get_label().startswith("_")] == ["as built"]


def test_a_silent_band_lies_at_zero_over_the_whole_control_and_says_why():
    """Guards against empty axes from 0 to 1 for a band without onset."""
    ax = plots.plot_amplitude(dataclasses.replace(silent(), onset_beyond_v=41.4))
    assert points_of(ax, "silent-0") == ([0.0, 100.0], [0.0, 0.0])
    assert (ax.get_xlim(), list(ax.get_yticks())) == ((0.0, 100.0), [0.0])
    said = [t.get_text() for t in ax.texts if (t.get_gid() or "").startswith("state-")]
    assert said == [
        "does not oscillate", "no setting starts oscillation",
        "onset would be at 41.40 V screen, above the top of the control",
    ]  # fmt: skip


def test_nothing_oscillates_below_onset():
    ax = plots.plot_amplitude(hard())
    assert points_of(ax, "silent-0") == ([0.0, 50.0], [0.0, 0.0])
    assert not any((t.get_gid() or "").startswith("state-") for t in ax.texts)


def test_a_map_that_ends_short_of_the_control_shows_where():
    short = dataclasses.replace(hard(), amplitudes=dataclasses.replace(a_map(), ends=MapEnd.LOST))
    ax = plots.plot_amplitude(short)
    assert points_of(ax, "ends") == ([60.0], [1.5])
    assert "no solution found further up" in words_on(ax)
    whole = plots.plot_amplitude(hard())
    assert "further up" not in words_on(whole) and "ends" not in {line.get_gid() for line in whole.lines}


def test_a_ramp_that_ends_short_of_the_map_shows_where():
    ax = plots.plot_verification(a_verification())
    assert points_of(ax, "covered")[0] == [50.0, 50.0]
    assert "not verified beyond" in words_on(ax)
    whole = dataclasses.replace(a_verification(), covered_to=ControlSetting(0.6, 36.0))
    assert "not verified beyond" not in words_on(plots.plot_verification(whole))


def test_amplitude_plot_shows_both_branches():
    ax = plots.plot_amplitude(hard(), overlays=(dataclasses.replace(hard(), extra_screen_ohm=47e3),))
    assert isinstance(ax, Axes)
    held, lost = ax.lines[0], ax.lines[1]
    # what runs backwards is drawn apart, and together they hold every point
    y = np.asarray(held.get_ydata(), dtype=float)
    z = np.asarray(lost.get_ydata(), dtype=float)
    assert np.isfinite(y).any() and np.isfinite(z).any()
    assert np.all(np.isfinite(y) ^ np.isfinite(z))
    assert [t.get_text() for t in ax.get_legend().get_texts()] == ["as built", "+ 47.0 kohm to the screen"]


@pytest.mark.parametrize(
    "axes",
    [
        lambda: plots.plot_amplitude(silent()),
        lambda: plots.plot_verification(a_verification()),
        lambda: plots.plot_detection(a_detection()),
        lambda: plots.plot_pulling(a_detection()),
    ],
)
def test_other_plots_name_their_axes(axes):
    ax = axes()
    assert ax.get_xlabel() and ax.get_ylabel()


def test_loudness_plot_shows_what_each_setting_passes():
    bare = a_detection()
    at = ControlSetting(0.45, 27.0)
    found = dataclasses.replace(
        bare,
        am=dataclasses.replace(bare.am, reach_hz=4e3 - 3e3 * X),
        speech=SpeechSetting(2.5e3, at, 2.4e3, 0.6, ControlSetting(0.49, 29.0), 60.0, 1.0, 0.02),
    )
    ax = plots.plot_loudness(found)
    assert found.am.reach_hz is not None and found.speech is not None
    line, wanted, speech, bare = ax.lines
    assert list(line.get_xdata()) == pytest.approx(list(found.am.reach_hz / 1e3))
    assert list(line.get_ydata()) == list(found.am.audio_v)
    assert wanted.get_xdata()[0] == pytest.approx(found.speech.wanted_hz / 1e3)
    assert (speech.get_xdata()[0], speech.get_ydata()[0]) == (
        pytest.approx(found.speech.reach_hz / 1e3), found.speech.audio_v
    )  # fmt: skip
    assert bare.get_ydata()[0] == found.speech.bare_v
    assert ax.get_xlabel().endswith("(kHz)") and ax.get_ylabel().endswith("(V r.m.s.)")
    with pytest.raises(ValueError, match="AM was not looked at"):
        plots.plot_loudness(dataclasses.replace(found, am=None))


def test_sensitivity_of_a_band_without_onset_shows_what_there_is():
    found = dataclasses.replace(
        a_detection(), onset=None, status=Status.DOES_NOT, beat=None, beat_transfer=None, pulling=None,
        notes=("there is no beat note",),
    )  # fmt: skip
    ax = plots.plot_detection(found)
    (line,) = ax.lines
    assert list(line.get_ydata()) == list(found.am.audio_v)
    assert "Best: AM at 49.0 %. Does not oscillate." in words_on(ax)
    pull = plots.plot_pulling(found)
    assert not pull.lines and not list(pull.get_yticks())
    assert "does not oscillate there is no beat note" in words_on(pull)


def test_files_and_json(tmp_path):
    written = envelope_plots.write_onset(a_report(), tmp_path)
    written += envelope_plots.write_detection(a_detection(), tmp_path, title="A set")
    names = {p.name for p in written}
    assert {"amplitude-40-m.png", "modes-40-m.svg", "reference-40-m.svg", "pulling-40-m.svg"} <= names
    assert all(p.stat().st_size > 1000 for p in written)
    mute = dataclasses.replace(a_detection(), band="20 m", beat=None, beat_transfer=None, pulling=None)
    assert {p.name for p in envelope_plots.write_detection(mute, tmp_path, title="A set")} == {
        "sensitivity-20-m.png", "sensitivity-20-m.svg"
    }  # fmt: skip
    assert plain(a_report())["bands"][0]["oscillation"]["kind"] == "hard"


def test_a_build_that_holds_still_tells_what_rings_longest():
    report = a_report()
    first = report.bands[0]
    calm = dataclasses.replace(first.stability[1], what="as built")
    none = dataclasses.replace(
        calm, points=(dataclasses.replace(calm.points[0], frequency_hz=np.array([0.0])),)
    )
    for found, expected in ((calm, "as built holds still - 70 -30 grid capacitor"), (none, "still - - - -")):
        bands = (dataclasses.replace(first, stability=(found,)),)
        text = printed(envelope_tables.oscillation_sheet(dataclasses.replace(report, bands=bands)))
        assert expected in " ".join(text.split())
        assert "remedies are tried" not in text


def test_table_in_short_names_kind_backlash_and_what_it_does_then():
    words = " ".join(printed(envelope_tables.comes_in_table(a_report().bands)).split())
    assert "40 m hard 3.60 16.2 1.50" in words and "threshold howl" in words
    assert "does not oscillate - - - - - -" in words
    assert "40 m: no setting starts oscillation" in words or ": no setting starts oscillation" in words
