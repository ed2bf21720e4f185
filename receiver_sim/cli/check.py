"""`receiver-sim check`."""

from __future__ import annotations

from pathlib import Path

import click

from receiver_sim.cli.common import (
    BUILD,
    JSON,
    OUT,
    STRICT,
    Pool,
    answer,
    bench_for,
    prepared,
    progress_bars,
    simulating,
)


@click.command(short_help="Judge the whole set: onset on every band, audio, hum, supply.")
@BUILD
@OUT
@JSON
@click.option("--no-plots", is_flag=True, help="Leave out the plots.")
@STRICT
@simulating
def check(
    build: Path,
    out: Path | None,
    as_json: bool,
    no_plots: bool,
    strict: bool,
    pool: Pool,
) -> None:
    """Answer the main question for BUILD: onset on every band, and audio, hum and supply, with verdicts.

    Plots and the JSON document go to a folder named after the build unless --out names one.
    """
    from receiver_sim import api  # inside, for start-up's sake

    folder = out if out is not None else Path(f"{build.stem}-results")
    loaded = prepared(build, out=folder, told=True)
    from receiver_sim.results.bands import failures
    from receiver_sim.views import check_plots, tables
    from receiver_sim.views.drawing_process import DrawingProcess

    with DrawingProcess() as beside:
        with bench_for(pool, keep=folder / "failed") as bench, progress_bars(as_json) as progress:
            report = api.check(
                loaded, bench=bench, progress=progress,
                bands_found=lambda bands: (
                    beside.begin(bands, loaded.title) if pool.cold and not no_plots else None
                ),
            )  # fmt: skip
        answer(
            "check", report, build=loaded, bench=bench, as_json=as_json,
            sheet=lambda: tables.check_report(report), out=folder,
            draw=None if no_plots else lambda files, progress: check_plots.write(
                report, files, progress, beside.contents()
            ),
            failed=failures(report.bands, report.failed), strict=report.verdicts if strict else (),
        )  # fmt: skip
