"""The picture of each kind of answer: what `.plot()` of a result draws."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from matplotlib.axes import Axes

from receiver_sim.errors import UserError
from receiver_sim.results.audio import AudioResponse, AudioStudy, Hum
from receiver_sim.results.bands import BandReport
from receiver_sim.results.check import CheckReport
from receiver_sim.results.coils import CoilsReport
from receiver_sim.results.envelope import Detection, OscillationReport, Verification
from receiver_sim.results.hum import HumStudy
from receiver_sim.results.spread import Spread
from receiver_sim.results.supply import SupplyStudy
from receiver_sim.results.swap import SwapReport
from receiver_sim.results.tube_curves import TubeCurves
from receiver_sim.views import plots
from receiver_sim.views.plots.coils import plot_gain_over_dial
from receiver_sim.views.plots.hum_paths import plot_hum_paths
from receiver_sim.views.plots.levels import plot_levels
from receiver_sim.views.plots.supply import plot_regulation

_Draw = Callable[[Any, "Axes | None"], Axes]


def _curves(bands: Any, ax: Axes | None) -> Axes:
    return plots.plot_loop_gain([b.against_screen for b in bands if b.against_screen is not None], ax)


def _amplitudes(report: OscillationReport, ax: Axes | None) -> Axes:
    """One band has its own picture; of several, the first that oscillates."""
    found = [band.oscillation for band in report.bands]
    return plots.plot_amplitude(next((one for one in found if one.onset is not None), found[0]), ax)


def _supply(study: SupplyStudy, ax: Axes | None) -> Axes:
    if study.rectified is None:
        raise UserError("this supply was not run over time: only a rectifier supply has a picture")
    return plot_regulation(study.rectified, ax)


def _hum(study: HumStudy, ax: Axes | None) -> Axes:
    if study.paths is None:
        raise UserError("the hum by its paths failed: there is nothing to draw")
    return plot_hum_paths(study.paths, ax=ax)


_PICTURES: dict[type, _Draw] = {
    CheckReport: lambda report, ax: _curves(report.bands, ax),
    BandReport: lambda band, ax: _curves([band], ax),
    OscillationReport: _amplitudes,
    Verification: plots.plot_verification,
    Detection: plots.plot_detection,
    AudioResponse: plots.plot_audio,
    AudioStudy: plot_levels,
    Hum: plots.plot_hum,
    HumStudy: _hum,
    SupplyStudy: _supply,
    CoilsReport: lambda report, ax: plot_gain_over_dial(report.sweeps, ax),
    Spread: plots.plot_spread,
    SwapReport: plots.plot_swap,
    TubeCurves: plots.plot_plate_family,
}


def plot_of(answer: Any, ax: Axes | None = None) -> Axes:
    """Draw the main picture of an answer and return the Axes. Raises UserError for one that has none."""
    if isinstance(answer, tuple) and answer and all(isinstance(one, BandReport) for one in answer):
        return _curves(answer, ax)
    try:
        draw = _PICTURES[type(answer)]
    except KeyError:
        raise UserError(f"{type(answer).__name__} has no picture of its own") from None
    return draw(answer, ax)
