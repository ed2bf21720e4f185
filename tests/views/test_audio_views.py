"""Sheets and plots of audio, hum and supply in depth: hazards first, widths, units, what is drawn."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.engine import Bench
from receiver_sim.results.audio import AudioStudy
from receiver_sim.results.hum import HumStudy
from receiver_sim.results.supply import SupplyStudy
from receiver_sim.schema import changed_build
from receiver_sim.views import audio_plots, audio_tables
from receiver_sim.views.plots import hum_paths, levels, style, supply
from receiver_sim.views.sheet import as_text


@pytest.fixture(scope="module")
def studies(bench: Bench) -> tuple[AudioStudy, HumStudy, SupplyStudy]:
    whole = changed_build(api.shipped_build("mains_set"), {"supply.bleeder": None})
    build = whole.model_copy(update={"bands": whole.bands[:1]})
    return (
        api.audio_in_depth(build, inputs=(1e-4, 3e-3, 3e-2), bench=bench),
        api.hum_in_depth(build, bench=bench),
        api.supply_in_depth(build, bench=bench),
    )


def test_sheets_say_the_hazard_first_and_keep_their_width(
    studies: tuple[AudioStudy, HumStudy, SupplyStudy],
) -> None:
    audio, hum, power = studies
    for sheet in (
        audio_tables.audio_sheet("set", audio),
        audio_tables.hum_sheet("set", hum),
        audio_tables.supply_sheet("set", power),
    ):
        text = as_text(sheet)
        assert max(len(line) for line in text.splitlines()) <= 100
        first = next(line for line in text.splitlines() if line.startswith(" ! "))
        assert first.startswith(" ! DANGER, supply: no bleeder")
        assert "Plate supplies kill" in text
        assert text.isascii()


def test_the_supply_without_bleeder_shows_no_discharge_time(
    studies: tuple[AudioStudy, HumStudy, SupplyStudy],
) -> None:
    text = as_text(audio_tables.supply_sheet("set", studies[2]))
    assert "No bleeder: the capacitors stay charged for hours: discharge them by hand and measure." in text
    start = studies[2].start
    assert start is not None
    labels = [t.get_text() for t in supply.plot_start_and_stop(start).get_legend().get_texts()]
    assert any("STAYS CHARGED" in label for label in labels)


def test_plots_draw_the_figures_of_the_results(studies: tuple[AudioStudy, HumStudy, SupplyStudy]) -> None:
    audio, hum, power = studies
    drawn = {line.get_gid(): line for line in levels.plot_levels(audio).get_lines()}
    for index, item in enumerate(audio.levels):
        y = np.asarray(drawn[f"level-{index}"].get_ydata(), dtype=float)
        assert y == pytest.approx([d.level_db for d in item.drives])
    distortion = {line.get_gid(): line for line in levels.plot_distortion(audio).get_lines()}
    y = np.asarray(distortion["distortion-0"].get_ydata(), dtype=float)
    assert y == pytest.approx([100 * d.thd for d in audio.levels[0].drives])
    tones = {line.get_gid(): line for line in hum_paths.plot_hum_spectrum(hum.paths).get_lines()}
    y = np.asarray(tones["tones-1"].get_ydata(), dtype=float)
    assert y == pytest.approx([t.level_db for t in hum.paths.outputs[1].tones])
    assert power.rectified is not None
    lines = {line.get_gid(): line for line in supply.plot_regulation(power.rectified).get_lines()}
    y = np.asarray(lines["regulation"].get_ydata(), dtype=float)
    assert y == pytest.approx(power.rectified.regulation_v)
    bars = hum_paths.plot_hum_paths(hum.paths, 0)
    names = [label.get_text() for label in bars.get_yticklabels()]
    assert names[-1] == "ripple by the detector's plate" or names[0] == hum.paths.outputs[0].paths[0].path
    figure = bars.get_figure(root=True)
    assert figure is not None
    assert style.FOOTER in [text.get_text() for text in figure.texts]


def test_files_of_each_verb(studies: tuple[AudioStudy, HumStudy, SupplyStudy], tmp_path: Path) -> None:
    audio, hum, power = studies
    written = [
        *audio_plots.write_audio(audio, tmp_path, title="A set"),
        *audio_plots.write_hum(hum, tmp_path, title="A set"),
        *audio_plots.write_supply(power, tmp_path, title="A set"),
    ]
    assert {path.name for path in written if path.suffix == ".png"} == {
        "audio.png", "levels.png", "distortion.png", "hum.png", "hum-spectrum.png", "hum-paths-1.png",
        "hum-paths-2.png", "hum-paths-3.png", "regulation.png", "ripple.png", "switching.png",
    }  # fmt: skip
    assert all(path.stat().st_size > 1000 for path in written)
