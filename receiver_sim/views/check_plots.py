"""Which plots a verb writes, and under which names."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING

from receiver_sim.outputs import FileSet
from receiver_sim.results.bands import BandReport
from receiver_sim.views.files import slugs

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from receiver_sim.results.audio import AudioResponse, Hum
    from receiver_sim.results.check import CheckReport

Progress = Callable[[str, int, int], None]
_Drawing = tuple[str, "Callable[[], Axes]"]


def _quiet(_what: str, _done: int, _total: int) -> None:
    """Report progress to nobody."""


def write(
    report: CheckReport,
    folder: Path | FileSet,
    progress: Progress = _quiet,
    drawn: Mapping[str, bytes] = MappingProxyType({}),
) -> tuple[Path, ...]:
    """Write all plots of a check as PNG and SVG and return their paths; absent results are left out.

    progress is called with ('drawing', done, total). drawn: what `contents_of` gave. Raises OutputFailed.
    """
    from receiver_sim.views import plots  # noqa: PLC0415 - matplotlib is slow to load

    middles = [band.middle for band in report.bands if band.onsets]
    strengths = [one.oscillation for one in report.oscillation]
    drawings: list[_Drawing] = []
    if middles:
        ranges = () if report.sure is None else report.sure.bands
        drawings.append(
            (
                "strip",
                lambda: plots.plot_strip(middles, strengths=strengths, ranges=ranges),
            )
        )
    drawings += _bands(report.bands)
    if report.audio is not None:
        response = report.audio
        drawings.append(("audio", lambda: plots.plot_audio(response)))
    if report.hum is not None and report.hum.pot:
        hum = report.hum
        drawings.append(("hum", lambda: plots.plot_hum(hum)))
    return plots.save_all(drawings, folder, progress, drawn, title=report.title)


def contents_of(bands: Sequence[BandReport], title: str) -> dict[str, bytes]:
    """Return the files of the plots of some bands of the set of that title, by name."""
    from receiver_sim.views import plots  # noqa: PLC0415 - matplotlib is slow to load

    files: dict[str, bytes] = {}
    for stem, draw in _bands(bands):
        files |= plots.contents(plots.signed(draw(), title), stem)
    return files


def write_bands(
    bands: Sequence[BandReport], folder: Path | FileSet, progress: Progress = _quiet, *, title: str
) -> tuple[Path, ...]:
    """Write loop gain, control, Nyquist and selectivity plots of some bands; as `write`."""
    from receiver_sim.views import plots  # noqa: PLC0415 - matplotlib is slow to load

    return plots.save_all(list(_bands(bands)), folder, progress, title=title)


def write_audio(audio: AudioResponse, folder: Path | FileSet, *, title: str) -> tuple[Path, ...]:
    """Write the plot of the audio response; as `write`."""
    from receiver_sim.views import plots  # noqa: PLC0415 - matplotlib is slow to load

    return plots.save_all([("audio", lambda: plots.plot_audio(audio))], folder, _quiet, title=title)


def write_hum(hum: Hum, folder: Path | FileSet, *, title: str) -> tuple[Path, ...]:
    """Write the plot of the hum; as `write`."""
    from receiver_sim.views import plots  # noqa: PLC0415 - matplotlib is slow to load

    return plots.save_all([("hum", lambda: plots.plot_hum(hum))], folder, _quiet, title=title)


def _bands(bands: Sequence[BandReport]) -> Iterator[_Drawing]:
    from receiver_sim.views import plots  # noqa: PLC0415 - matplotlib is slow to load

    curves = [band.against_screen for band in bands if band.against_screen is not None]
    onsets = [band.middle for band in bands if band.onsets]
    order = [band.band for band in bands]
    if curves:
        yield "loop-gain", lambda: plots.plot_loop_gain(curves, onsets=onsets, order=order)
        yield "control", lambda: plots.plot_control(curves, onsets=onsets, order=order)
    for band, name in zip(bands, slugs(order), strict=True):
        if band.nyquist:
            yield f"nyquist-{name}", partial(plots.plot_nyquist, band.nyquist)
    sharpness = [band.selectivity for band in bands if band.selectivity is not None]
    if sharpness:
        yield "selectivity", lambda: plots.plot_selectivity(sharpness, order=order)
        # one band serves: the curve of another is the same but for its width, which stands beside it
        yield "resonance", lambda: plots.plot_resonance(sharpness[0])
