"""`receiver-sim loop`."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import click

from receiver_sim.cli.common import (
    BANDS,
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


@click.command()
@BUILD
@BANDS
@OUT
@JSON
@partial(simulating, brief=True)
def loop(build: Path, bands: tuple[str, ...], out: Path | None, as_json: bool, pool: Pool) -> None:
    """Loop gain and onset on the control, band by band."""
    from receiver_sim import api  # inside, for start-up's sake
    from receiver_sim.results.bands import failures
    from receiver_sim.views import check_plots, tables

    loaded = prepared(build, bands=bands, out=out)
    with bench_for(pool) as bench, progress_bars(as_json) as progress:
        reports = api.loop(loaded, bands=bands or None, bench=bench, progress=progress)
    answer(
        "loop", reports, build=loaded, bench=bench, as_json=as_json,
        sheet=lambda: tables.loop_sheet(loaded.title, reports), out=out,
        draw=lambda files, progress: check_plots.write_bands(reports, files, progress, title=loaded.title),
        failed=failures(reports),
    )  # fmt: skip
