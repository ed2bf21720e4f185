import dataclasses
import itertools
import re
import subprocess
import sys
import threading
from pathlib import Path

import matplotlib
import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.text import Annotation, Text

from receiver_sim.results.audio import AudioResponse, OutputResponse
from receiver_sim.results.base import Status
from receiver_sim.results.onset import ControlSetting
from receiver_sim.studies import audio_response
from receiver_sim.views import check_plots, plots
from receiver_sim.views.plots import labels, loop_gain, saving, style
from receiver_sim.views.plots.hum import whole
from tests.helpers.readability import read


def drawn(ax, gid):
    """Return the x and y data of the line so named."""
    (line,) = [line for line in ax.lines if line.get_gid() == gid]
    return np.asarray(line.get_xdata(), float), np.asarray(line.get_ydata(), float)


@pytest.fixture
def all_axes(curves, onsets, nyquists, selectivities, audio, hum):
    return {
        "loop-gain": plots.plot_loop_gain(curves, onsets=onsets),
        "control": plots.plot_control(curves, onsets=onsets),
        "strip": plots.plot_strip(onsets),
        "nyquist": plots.plot_nyquist(nyquists),
        "audio": plots.plot_audio(audio),
        "hum": plots.plot_hum(hum),
        "selectivity": plots.plot_selectivity(selectivities),
        "resonance": plots.plot_resonance(selectivities[0]),
    }


def test_plots_use_no_pyplot():
    code = "import sys, receiver_sim.views.plots; print('matplotlib.pyplot' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


def test_labels_have_units(all_axes):
    for name, ax in all_axes.items():
        for label in (ax.get_xlabel(), ax.get_ylabel()):
            assert label.count("(") == 1 and label.endswith(")"), name


def visible_texts(figure):
    return [t for t in figure.findobj(Text) if t.get_text().strip() and t.get_visible()]


def test_nothing_is_cropped_small_or_overlapping(all_axes):
    for name, ax in all_axes.items():
        figure = ax.get_figure()
        figure.canvas.draw()
        boxes = []
        for text in visible_texts(figure):
            # the words only, without the arrow of an annotation
            box = Text.get_window_extent(text)
            if not box.width:
                continue
            assert text.get_fontsize() >= 8, (name, text)
            on_axis = text in [*ax.get_xticklabels(), *ax.get_yticklabels()]
            limits = [*ax.get_xlim(), *ax.get_ylim()]
            if on_axis and not _tick_inside(text, ax, limits):
                continue
            assert figure.bbox.x0 <= box.x0 and box.x1 <= figure.bbox.x1, (name, text.get_text())
            assert figure.bbox.y0 <= box.y0 and box.y1 <= figure.bbox.y1, (name, text.get_text())
            boxes.append((text.get_text(), box))
        for (one, a), (other, b) in itertools.combinations(boxes, 2):
            # a pixel of shared leading is no overlap
            apart = a.x1 <= b.x0 + 1 or b.x1 <= a.x0 + 1 or a.y1 <= b.y0 + 1 or b.y1 <= a.y0 + 1
            assert apart, (name, one, other)


def _tick_inside(text, ax, limits):
    x, y = text.get_position()
    if text in ax.get_xticklabels():
        return limits[0] <= x <= limits[1]
    return limits[2] <= y <= limits[3]


def test_figures_carry_the_caution(all_axes):
    for name, ax in all_axes.items():
        assert any(t.get_text() == style.FOOTER for t in ax.get_figure().texts), name
    assert style.FOOTER.startswith("Plate supplies kill")


def test_axes_given_are_used_and_returned(curves, onsets, nyquists, selectivities, audio, hum):
    figure = Figure()
    for draw, result in [
        (plots.plot_loop_gain, curves),
        (plots.plot_control, curves),
        (plots.plot_strip, ()),
        (plots.plot_nyquist, nyquists),
        (plots.plot_selectivity, selectivities),
        (plots.plot_audio, audio),
        (plots.plot_hum, hum),
    ]:
        ax = figure.add_subplot()
        assert draw(result, ax) is ax and ax.get_figure() is figure


def test_loop_gain_shows_the_data(curves, onsets, all_axes):
    ax = all_axes["loop-gain"]
    for index, curve in enumerate(curves):
        x, y = drawn(ax, f"gain-{index}")
        assert np.array_equal(x, curve.screen_v) and np.array_equal(y, curve.gain)
    for index, onset in enumerate(onsets[:3]):
        assert drawn(ax, f"onset-{index}") == ([onset.onset.screen_v], [1.0])
    assert not [line for line in ax.lines if line.get_gid() == "onset-3"]
    assert set(drawn(ax, "unity")[1]) == {1.0}
    (region,) = [patch for patch in ax.patches if patch.get_gid() == "oscillates"]
    foot = ax.transData.inverted().transform(region.get_window_extent().p0)
    assert foot[1] == pytest.approx(1.0, abs=1e-9)
    texts = " ".join(t.get_text() for t in ax.texts)
    assert "does not oscillate, T up to 0.69" in texts
    assert f"onset {onsets[0].onset.screen_v:.1f} V, knob {onsets[0].onset.rotation * 100:.0f} %" in texts
    assert ax.get_yscale() == "linear"


def test_high_gain_brings_a_logarithmic_axis(curves):
    high = dataclasses.replace(curves[0], gain=curves[0].gain * 7.0)
    ax = plots.plot_loop_gain([high])
    assert ax.get_yscale() == "log"
    x, y = drawn(ax, "gain-0")
    assert np.array_equal(y[high.gain > 0], high.gain[high.gain > 0])
    assert x.shape == high.gain.shape
    assert list(ax.get_yticks()) == [0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0]


def test_crossing_without_an_onset_result(curves):
    bent = dataclasses.replace(
        curves[0], rotation=np.array([0.2, 0.4, 0.6]), screen_v=np.array([10.0, 18.0, 30.0]),
        gain=np.array([0.5, 0.9, 1.3]), frequency_hz=np.full(3, 7e6),
    )  # fmt: skip
    # a quarter of the way from 0.9 to 1.3, by hand
    assert loop_gain.crossing(bent) == ControlSetting(pytest.approx(0.45), pytest.approx(21.0))
    assert loop_gain.crossing(dataclasses.replace(bent, gain=bent.gain + 1.0)) is None
    texts = [
        t.get_text() for t in plots.plot_loop_gain([dataclasses.replace(bent, gain=bent.gain + 1.0)]).texts
    ]
    assert "oscillates at every setting" in texts


def test_control_shows_the_data(curves, onsets, all_axes):
    ax = all_axes["control"]
    x, y = drawn(ax, "screen-0")
    assert np.array_equal(x, curves[0].rotation * 100) and np.array_equal(y, curves[0].screen_v)
    for index, onset in enumerate(onsets[:3]):
        x, y = drawn(ax, f"approach-{index}")
        ends = (onset.at_nine_tenths, onset.onset)
        assert [x[0], x[-1]] == [end.rotation * 100 for end in ends]
        assert [y[0], y[-1]] == [end.screen_v for end in ends]
        assert np.all(np.diff(x) > 0)
    assert any(": does not oscillate" in t.get_text() for t in ax.texts)


def test_nyquist_shows_the_data_with_equal_scales(nyquists, all_axes):
    ax = all_axes["nyquist"]
    for index, curve in enumerate(nyquists):
        x, y = drawn(ax, f"return-ratio-{index}")
        assert np.array_equal(x, curve.return_ratio.real) and np.array_equal(y, curve.return_ratio.imag)
    assert drawn(ax, "critical-point") == ([1.0], [0.0])
    assert ax.get_aspect() == 1.0
    figure = ax.get_figure()
    figure.canvas.draw()
    origin, right, above = ax.transData.transform([(0, 0), (1, 0), (0, 1)])
    assert right[0] - origin[0] == pytest.approx(above[1] - origin[1], rel=1e-9)


def test_arrows_point_to_rising_frequency(nyquists):
    ax = plots.plot_nyquist(nyquists[:1])
    (arrow,) = [t for t in ax.texts if isinstance(t, Annotation) and t.arrow_patch is not None]
    curve = nyquists[0]
    start, end = (complex(*place) for place in (arrow.get_position(), arrow.xy))
    indices = [int(np.argmin(abs(curve.return_ratio - point))) for point in (start, end)]
    assert curve.frequency_hz[indices[1]] > curve.frequency_hz[indices[0]]


def test_audio_shows_the_data(audio, all_axes):
    ax = all_axes["audio"]
    assert ax.get_xscale() == "log"
    for index, output in enumerate(audio.outputs):
        x, y = drawn(ax, f"response-{index}")
        assert np.array_equal(x, output.frequency_hz)
        assert y == pytest.approx(20 * np.log10(output.overall), abs=1e-12)
        x, y = drawn(ax, f"corners-{index}")
        assert list(x) == [f for f in (output.low_hz, output.high_hz) if f is not None]
        # half power is 3.0103 dB below the level at 1 kHz
        assert y == pytest.approx(-3.0103, abs=1e-4)


def test_the_marks_of_a_peaked_response_lie_on_its_curve():
    """Guards against marks 3 dB from the peak at frequencies 3 dB from 1 kHz, which float above it."""
    frequency = np.geomspace(10.0, 1e5, 121)
    # a resonance at 3 kHz with a Q of 3 between a high-pass at 100 Hz and 1 kHz
    s = 1j * frequency
    overall = np.abs(s / (s + 100.0) / (1.0 + s / (3.0 * 3000.0) + (s / 3000.0) ** 2))
    overall /= np.interp(1000.0, frequency, overall)
    low, high = audio_response.corners(frequency, overall)
    output = OutputResponse("phones", frequency, overall, overall, 1.0, low, high, 1e3, 2e3)
    ax = plots.plot_audio(AudioResponse(ControlSetting(0.4, 20.0), (output,)))
    x, y = drawn(ax, "response-0")
    assert max(y) > 6.0
    at, level = drawn(ax, "corners-0")
    assert list(at) == [low, high]
    # straight lines between the points of the sweep, in log frequency, as the corners are interpolated
    assert np.interp(np.log(at), np.log(x), y) == pytest.approx(np.array(level), abs=1e-6)


def test_hum_shows_the_data(hum, all_axes):
    ax = all_axes["hum"]
    for index, output in enumerate(hum.outputs):
        x, y = drawn(ax, f"hum-{index}")
        at = np.interp(output.pot_position * 100, x, y)
        assert at == pytest.approx(np.hypot(output.mains_v, output.ripple_v) * 1e3, rel=1e-12)
        assert np.interp(output.best_position * 100, x, y) == pytest.approx(output.best_v * 1e3, rel=1e-12)
        assert drawn(ax, f"null-{index}") == ([output.best_position * 100], [output.best_v * 1e3])
        assert set(drawn(ax, f"ripple-{index}")[1]) == {output.ripple_v * 1e3}
    assert set(drawn(ax, "build")[0]) == {hum.build_position * 100}
    assert ax.get_yscale() == "log"


def test_hum_of_heaters_on_direct_current(hum):
    quiet = dataclasses.replace(
        hum.outputs[0], mains_v=np.zeros(21), ripple_v=3.1e-4, best_v=3.1e-4, at_build_v=3.1e-4
    )
    ax = plots.plot_hum(dataclasses.replace(hum, outputs=(quiet,)))
    assert not [line for line in ax.lines if line.get_gid() == "null-0"]
    assert "no heater hum" in ax.get_legend().get_texts()[0].get_text()
    silent = dataclasses.replace(quiet, ripple_v=0.0, best_v=0.0, at_build_v=0.0)
    assert plots.plot_hum(dataclasses.replace(hum, outputs=(silent,))).get_yscale() == "linear"


def test_whole_sorts_and_keeps_every_point(hum):
    position, volts = whole(hum.outputs[0], 0.5)
    assert np.all(np.diff(position) > 0) and position.shape == volts.shape


def test_selectivity_shows_the_data(selectivities, all_axes):
    ax = all_axes["selectivity"]
    assert ax.get_yscale() == "log"
    for index, result in enumerate(selectivities):
        x, y = drawn(ax, f"bandwidth-{index}")
        assert np.array_equal(x, result.gain) and np.array_equal(y, result.bandwidth_hz)
        x, y = drawn(ax, f"textbook-{index}")
        assert y == pytest.approx(result.unloaded_bandwidth_hz * (1 - x), rel=1e-12)
        assert x[0] == 0.0
    # the textbook's law is a straight line on these scales: the middle of its ends lies on it
    ends = ax.transData.transform(np.column_stack([x, y]))
    half = 1 - np.sqrt(1 - x[-1])
    between = ax.transData.transform((half, result.unloaded_bandwidth_hz * (1 - half)))
    assert between == pytest.approx(ends.mean(axis=0), rel=1e-9)


def test_a_band_looks_alike_in_every_plot(curves, selectivities):
    order = [curve.band for curve in curves]
    ax = plots.plot_loop_gain(curves, order=order)
    other = plots.plot_selectivity(selectivities[1:], order=order)
    colours = [
        next(line.get_color() for line in axes.lines if line.get_gid() == gid)
        for axes, gid in ((ax, "gain-2"), (other, "bandwidth-0"))
    ]
    assert colours[0] == colours[1]


def test_lines_differ_without_colour():
    pens = [style.pen(n) for n in range(6)]
    assert len({str(pen.dash) for pen in pens}) == len({pen.mark for pen in pens}) == 6


def test_spread_keeps_order_and_distance():
    assert labels.spread([0.2, 0.8], [0.1, 0.1]) == [0.2, 0.8]
    places, heights = [0.95, 0.97, 0.5, 0.99], [0.2, 0.1, 0.1, 0.2]
    result = labels.spread(places, heights)
    ordered = sorted(range(4), key=lambda i: places[i])
    assert sorted(range(4), key=lambda i: result[i]) == ordered
    for low, high in itertools.pairwise(ordered):
        assert result[high] - result[low] >= (heights[high] + heights[low]) / 2 - 1e-12
    assert max(r + h / 2 for r, h in zip(result, heights, strict=True)) <= 1 + 1e-12
    # more than there is room for: as far out above as below
    result = labels.spread([0.5, 0.5, 0.5], [0.5, 0.5, 0.5])
    assert result == pytest.approx([0.0, 0.5, 1.0])


def test_saved_files_repeat_byte_for_byte(curves, onsets, tmp_path):
    salt = matplotlib.rcParams["svg.hashsalt"]
    contents = []
    for folder in ("one", "two"):
        figure = plots.plot_loop_gain(curves, onsets=onsets).get_figure()
        first = [path.read_bytes() for path in plots.save(figure, tmp_path / folder, "loop-gain")]
        again = [path.read_bytes() for path in plots.save(figure, tmp_path / folder, "loop-gain")]
        assert first == again
        contents.append(first)
    assert contents[0] == contents[1]
    assert sorted(p.name for p in (tmp_path / "one").iterdir()) == ["loop-gain.png", "loop-gain.svg"]
    png, svg = contents[0]
    # 8.4 x 4.9 inch at 150 dpi; width and height are bytes 16 to 24 of a PNG (ISO/IEC 15948, header chunk)
    assert (int.from_bytes(png[16:20], "big"), int.from_bytes(png[20:24], "big")) == (1260, 735)
    assert b"<dc:date>" not in svg
    assert matplotlib.rcParams["svg.hashsalt"] == salt


def test_threads_save_what_one_thread_saves(curves, hum, tmp_path):
    def draw(folder):
        plots.save(plots.plot_loop_gain(curves).get_figure(), folder, "loop-gain")
        plots.save(plots.plot_hum(hum).get_figure(), folder, "hum")

    draw(tmp_path / "alone")
    threads = [threading.Thread(target=draw, args=(tmp_path / str(n),)) for n in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    for n in range(3):
        for path in (tmp_path / "alone").iterdir():
            assert (tmp_path / str(n) / path.name).read_bytes() == path.read_bytes()


@pytest.mark.parametrize("stem", ["../hum", "a/b", "", ".hidden", "40 m"])
def test_a_stem_that_is_no_plain_name_is_refused(stem, tmp_path):
    with pytest.raises(ValueError) as caught:
        plots.save(Figure(), tmp_path, stem)
    wanted = f"{stem!r} cannot be the name of a plot: use letters, digits, '-', '_' and '.'"
    assert str(caught.value) == wanted
    assert not list(tmp_path.iterdir())


def test_check_writes_all_plots_and_tells_how_far_it_is(report, tmp_path):
    told = []
    written = check_plots.write(report, tmp_path, lambda *step: told.append(step))
    stems = ["strip", "loop-gain", "control", "nyquist-40-m", "selectivity", "resonance", "audio", "hum"]
    assert [path.name for path in written] == [f"{stem}.{kind}" for stem in stems for kind in ("png", "svg")]
    assert told == [("drawing", n, 8) for n in range(9)]
    assert all(path.stat().st_size > 10_000 for path in written)


def test_every_plot_of_a_set_carries_its_title(report, tmp_path, monkeypatch):
    """Guards against a picture that, parted from its folder, is of no set: whichever process drew it."""
    seen = {}

    def kept(figure, stem):
        seen[stem] = [t.get_text() for t in figure.texts if t.get_gid() == "set"]
        return {f"{stem}.png": b"", f"{stem}.svg": b""}

    monkeypatch.setattr(saving, "contents", kept)
    monkeypatch.setattr(plots, "contents", kept)
    check_plots.write(report, tmp_path)
    assert len(seen) == 8 and set(map(tuple, seen.values())) == {(report.title,)}
    seen.clear()
    check_plots.contents_of(report.bands, "A set")
    assert len(seen) == 5 and set(map(tuple, seen.values())) == {("A set",)}
    long = "A set with a title that goes on and on " * 6
    axes = plots.plot_audio(report.audio)
    figure = plots.signed(axes, long)
    figure.canvas.draw()
    (words,) = [t for t in figure.texts if t.get_gid() == "set"]
    assert words.get_window_extent().x1 <= figure.bbox.width and long.startswith(words.get_text()[:60])


def test_every_plot_has_a_line_for_beginners_under_it(all_axes):
    """`dress` asks every plot for it; here: it stands below the axes' own label, and reads easily."""
    for name, ax in all_axes.items():
        (under,) = [t for t in ax.texts if t.get_gid() == "under"]
        ax.get_figure().canvas.draw()
        assert under.get_window_extent().y1 <= ax.xaxis.label.get_window_extent().y0 + 1.0, name
        assert len(under.get_text().split()) >= 8, name
    folder = Path(style.__file__).parent
    lines = [
        "".join(re.findall(r'"([^"]*)"', found))
        for path in sorted(folder.glob("*.py"))
        for found in re.findall(r"under=((?:\"[^\"]*\"\s*)+)", path.read_text(encoding="utf-8"))
    ]
    assert len(lines) >= 34
    for line in lines:
        assert read(line).grade <= 10.0, line


def test_bands_with_like_names_get_files_of_their_own(report, nyquists, tmp_path):
    bands = [dataclasses.replace(report.bands[1], band=name) for name in ("40 m", "40-m")]
    names = {path.name for path in check_plots.write_bands(bands, tmp_path, title="A set")}
    assert {"nyquist-40-m.png", "nyquist-40-m-2.png"} <= names


def test_single_plots_of_audio_and_hum(audio, hum, tmp_path):
    assert [path.name for path in check_plots.write_audio(audio, tmp_path, title="")] == [
        "audio.png",
        "audio.svg",
    ]
    assert [path.name for path in check_plots.write_hum(hum, tmp_path, title="")] == ["hum.png", "hum.svg"]


def test_a_band_whose_search_failed_is_named_on_the_plots_of_all_bands(curves, onsets):
    """Guards against a band that vanishes from the pictures because its simulation failed."""
    lost = dataclasses.replace(
        onsets[0], band="15 m", status=Status.FAILED, onset=None, warnings=("no solution",)
    )
    for ax in (
        plots.plot_loop_gain(curves, onsets=[*onsets, lost]),
        plots.plot_control(curves, onsets=[*onsets, lost]),
    ):
        words = " ".join(text.get_text() for text in ax.texts)
        assert "15 m: simulation failed" in words and "15 m: does not" not in words
    words = " ".join(text.get_text() for text in plots.plot_loop_gain(curves, onsets=onsets).texts)
    assert "failed" not in words
