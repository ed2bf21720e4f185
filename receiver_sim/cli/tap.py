"""`receiver-sim tap`."""

from __future__ import annotations

from pathlib import Path

import click

from receiver_sim.cli.common import (
    BANDS,
    BUILD,
    JSON,
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
@click.option("--onset", "onset_", metavar="PERCENT", required=True, help="Where onset should be, e.g. 45%.")
@BANDS
@JSON
@simulating
def tap(build: Path, onset_: str, bands: tuple[str, ...], as_json: bool, pool: Pool) -> None:
    """Find the tap turn that puts the onset where it is wanted."""
    from receiver_sim import api  # inside, for start-up's sake
    from receiver_sim.results.base import FailedStage, Status
    from receiver_sim.schema import parts
    from receiver_sim.views import design_tables

    target = quantity_of("--onset", onset_, parts.Setting)
    loaded = prepared(build, bands=bands)
    with bench_for(pool) as bench, progress_bars(as_json) as progress:
        found = api.find_taps(loaded, target=target, bands=bands or None, bench=bench, progress=progress)
    failed = [
        FailedStage(one.band, "; ".join(one.warnings), None) for one in found if one.status is Status.FAILED
    ]
    answer(
        "tap", found, build=loaded, bench=bench, as_json=as_json,
        sheet=lambda: design_tables.tap_sheet(loaded.title, found), failed=failed,
    )  # fmt: skip
