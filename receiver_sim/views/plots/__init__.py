"""Plots of results: `plot_x(result, ax=None)` returns the axes, never simulates, never shows.

Only this package imports matplotlib.
"""

from receiver_sim.views.plots.audio import plot_audio
from receiver_sim.views.plots.coils import plot_breakthrough
from receiver_sim.views.plots.control import plot_control
from receiver_sim.views.plots.envelope import (
    plot_amplitude,
    plot_detection,
    plot_loudness,
    plot_pulling,
    plot_verification,
)
from receiver_sim.views.plots.hum import plot_hum
from receiver_sim.views.plots.hum_paths import plot_hum_paths
from receiver_sim.views.plots.loop_gain import plot_loop_gain
from receiver_sim.views.plots.modes import plot_modes
from receiver_sim.views.plots.nyquist import plot_nyquist
from receiver_sim.views.plots.resonance import plot_resonance
from receiver_sim.views.plots.saving import contents, save, save_all, signed
from receiver_sim.views.plots.selectivity import plot_selectivity
from receiver_sim.views.plots.spread import plot_spread
from receiver_sim.views.plots.strip import plot_strip
from receiver_sim.views.plots.swap import plot_swap
from receiver_sim.views.plots.tubes import (
    plot_gm_against_screen,
    plot_plate_family,
    plot_residuals,
    plot_screen_current,
    plot_transfer,
)

__all__ = [
    "contents",
    "plot_amplitude",
    "plot_audio",
    "plot_breakthrough",
    "plot_control",
    "plot_detection",
    "plot_gm_against_screen",
    "plot_hum",
    "plot_hum_paths",
    "plot_loop_gain",
    "plot_loudness",
    "plot_modes",
    "plot_nyquist",
    "plot_plate_family",
    "plot_pulling",
    "plot_residuals",
    "plot_resonance",
    "plot_screen_current",
    "plot_selectivity",
    "plot_spread",
    "plot_strip",
    "plot_swap",
    "plot_transfer",
    "plot_verification",
    "save",
    "save_all",
    "signed",
]
