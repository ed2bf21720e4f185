"""`receiver-sim coils`."""

from __future__ import annotations

from pathlib import Path

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
    quantity_of,
    simulating,
)


@click.command()
@BUILD
@click.option("--year", type=int, default=2020, show_default=True, help="Year of the band tables.")
@click.option("--region", type=click.IntRange(1, 3), default=1, show_default=True, help="ITU region of them.")
@click.option(
    "--tank-volts",
    metavar="VOLTS",
    help="Peak voltage of an oscillating tank, for the radiated power; default: 1 V, an assumption.",
)
@OUT
@JSON
@simulating
def coils(
    build: Path,
    year: int,
    region: int,
    tank_volts: str | None,
    out: Path | None,
    as_json: bool,
    pool: Pool,
) -> None:
    """Coils: windings, range, loop gain over the dial, aerial."""
    from receiver_sim import api  # inside, for start-up's sake
    from receiver_sim.schema import parts
    from receiver_sim.views import coil_plots, coil_tables

    volts = None if tank_volts is None else quantity_of("--tank-volts", tank_volts, parts.AerialEmf)
    loaded = prepared(build, out=out, told=True)
    with bench_for(pool) as bench, progress_bars(as_json) as progress:
        report = api.coils(loaded, year=year, region=region, tank_volts=volts, bench=bench, progress=progress)
    answer(
        "coils", report, build=loaded, bench=bench, as_json=as_json,
        sheet=lambda: coil_tables.coils_sheet(report), out=out,
        draw=lambda files, progress: coil_plots.write(report, files, progress), failed=report.failed,
    )  # fmt: skip
