"""`receiver-sim swap`: every candidate tube in a socket of a build, ranked, with what to change."""

from __future__ import annotations

from pathlib import Path
from typing import Literal, cast

import click

from receiver_sim.cli_common import (
    BUILD,
    EXIT_SIMULATION,
    JSON,
    OUT,
    TIME_LIMIT,
    UserError,
    emit_json,
    fail,
    folded,
    guarded,
    load,
    progress_bars,
    seconds_of,
    show,
    writable_folder,
)


@click.command(short_help="Try other tubes in a socket: onset, noise, what to change.")
@BUILD
@click.option(
    "--tubes",
    metavar="TYPE,TYPE...",
    help="Types to try, with commas between; left out: every shipped type that the socket takes.",
)
@click.option(
    "--socket",
    type=click.Choice(["detector", "audio"]),
    default="detector",
    show_default=True,
    help="Socket the tubes go into.",
)
@OUT
@JSON
@click.option(
    "--workers", type=click.IntRange(1, 64), default=2, show_default=True, help="ngspice processes."
)
@TIME_LIMIT
@guarded
def swap(
    build: Path,
    tubes: str | None,
    socket: str,
    out: Path | None,
    as_json: bool,
    workers: int,
    time_limit: str,
) -> None:
    """Try other tubes in a socket of BUILD and rank them.

    For the detector: onset and backlash on every band, detection, noise and weakest signal, ratings;
    heater, base and pins against the tube in place; and the end resistor or taps that bring the onset to the
    same place of the knob, shown to work. For the audio stage: gain, bias, noise, and the cathode resistor.
    --out names the folder for the plot and swap.json.
    """
    from receiver_sim import api_swap  # inside, for start-up's sake
    from receiver_sim.engine import Bench

    limit = seconds_of(time_limit)
    types = _types(tubes)
    loaded = load(build)
    folder = None if out is None else writable_folder(out)
    place = cast("Literal['detector', 'audio']", socket)
    with Bench(workers=workers, time_limit_s=limit) as bench, progress_bars(as_json) as progress:
        try:
            report = api_swap.swap_tubes(loaded, tubes=types, socket=place, bench=bench, progress=progress)
        except (KeyError, ValueError) as error:
            raise UserError(f"--tubes: {error.args[0]}") from None
    if folder is not None:
        from receiver_sim import api
        from receiver_sim.results.document import document
        from receiver_sim.views import export, tube_plots

        tube_plots.write_swap(report, folder)
        whole = document("swap", report, provenance=api.provenance(loaded, bench), warnings=loaded.warnings)
        export.write_json(whole, folder / "swap.json")
    if as_json:
        emit_json("swap", report, build=loaded, bench=bench)
    else:
        from receiver_sim.views import swap_tables

        show(swap_tables.swap_sheet(report))
        if folder is not None:
            click.echo("\n" + folded(f"written to {folder}: swap.json, plot swap-{socket} as PNG and SVG"))
    failures = [(c.tube, c.failed) for c in report.detectors] + [(c.tube, c.failed) for c in report.audios]
    failures += [
        (f"{c.tube} on {o.onset.band}", "; ".join(o.onset.warnings))
        for c in report.detectors
        for o in c.bands
        if o.onset.status.value == "failed"
    ]
    broken = [f"{tube}: {reason}" for tube, reason in failures if reason is not None]
    if broken:
        fail(f"receiver-sim: {'; '.join(broken)}", EXIT_SIMULATION)


def _types(text: str | None) -> list[str] | None:
    """Read a list of types with commas between."""
    if text is None:
        return None
    types = [part.strip() for part in text.split(",")]
    if not all(types):
        raise UserError(f"--tubes {text!r}: expected types with commas between, such as 6SJ7,6K7")
    return types
