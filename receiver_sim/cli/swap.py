"""`receiver-sim swap`: every candidate tube in a socket of a build, ranked, with what to change."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Literal, cast

import click

from receiver_sim.cli.common import (
    BUILD,
    JSON,
    OUT,
    Pool,
    answer,
    bench_for,
    prepared,
    progress_bars,
    simulating,
)
from receiver_sim.errors import UnknownName, UserError, WrongValue

if TYPE_CHECKING:
    from receiver_sim.results.base import FailedStage
    from receiver_sim.results.swap import Candidate, SwapReport


@click.command(short_help="Try other tubes in a socket: onset, noise, what to change.")
@BUILD
@click.option(
    "--tubes",
    metavar="TYPE,TYPE...",
    help="Types to try, with commas between; default: every shipped type that the socket takes.",
)
@click.option(
    "--socket",
    type=click.Choice(["detector", "audio", "rf"]),
    default="detector",
    show_default=True,
    help="Socket the tubes go into.",
)
@OUT
@JSON
@simulating
def swap(
    build: Path,
    tubes: str | None,
    socket: str,
    out: Path | None,
    as_json: bool,
    pool: Pool,
) -> None:
    """Try other tubes in a socket of BUILD and rank them.

    For the detector: onset and backlash on every band, detection, noise and weakest signal, ratings;
    heater, base and pins against the tube in place; and the end resistor or taps that bring the onset to the
    same place of the knob, shown to work. For the audio stage: gain, bias, noise, and the cathode resistor.
    For the r.f. stage ('rf'): on every band the signal at the tank, what is radiated, and onset.
    --out names the folder for the plot and swap.json.
    """
    from receiver_sim import api  # inside, for start-up's sake

    types = _types(tubes)
    loaded = prepared(build, out=out)
    place = cast("Literal['detector', 'audio', 'rf']", socket)
    try:
        api.in_socket(loaded, place)
    except WrongValue as error:
        raise UserError(f"--socket {socket}: {error}") from None
    with bench_for(pool) as bench, progress_bars(as_json) as progress:
        try:
            report = api.swap_tubes(loaded, tubes=types, socket=place, bench=bench, progress=progress)
        except (UnknownName, WrongValue) as error:
            raise UserError(f"--tubes: {error}") from None
    from receiver_sim.views import swap_tables, tube_plots

    answer(
        "swap", report, build=loaded, bench=bench, as_json=as_json,
        sheet=lambda: swap_tables.swap_sheet(report), out=out,
        draw=lambda files, _progress: tube_plots.write_swap(report, files), failed=_failed(report),
    )  # fmt: skip


def _failed(report: SwapReport) -> list[FailedStage]:
    """Return what failed: a candidate as a whole, or on a band."""
    from receiver_sim.results.base import FailedStage, Status  # inside, for start-up's sake

    candidates: tuple[Candidate, ...] = (*report.detectors, *report.audios, *report.rf_stages)
    whole = [(c.tube, c.failed) for c in candidates if c.failed is not None]
    parts = [
        (f"{c.tube} on {o.onset.band}", "; ".join(o.onset.warnings))
        for c in report.detectors
        for o in c.bands
        if o.onset.status is Status.FAILED
    ]
    return [FailedStage(what, reason, None) for what, reason in (*whole, *parts)]


def _types(text: str | None) -> list[str] | None:
    """Read a list of types with commas between."""
    if text is None:
        return None
    types = [part.strip() for part in text.split(",")]
    if not all(types):
        raise UserError(f"--tubes {text!r}: expected types with commas between, such as 6SJ7,6K7")
    return types
