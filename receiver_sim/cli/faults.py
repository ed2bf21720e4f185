"""`receiver-sim faults`: which fault explains readings taken on the bench."""

from __future__ import annotations

from pathlib import Path

import click

from receiver_sim.cli.common import (
    BUILD,
    JSON,
    READINGS,
    Pool,
    answer,
    bench_for,
    prepared,
    progress_bars,
    simulating,
)


@click.command(short_help="Find the fault behind readings taken on the bench.")
@BUILD
@READINGS
@JSON
@simulating
def faults(build: Path, readings: Path, as_json: bool, pool: Pool) -> None:
    """Rank every single fault that BUILD can have by how well it explains the readings in FILE.

    Faults that can hurt and are not ruled out stand first. Then the suspects, those that these readings can't
    separate on one line, and the reading that would separate the leading ones best.
    """
    from receiver_sim import api
    from receiver_sim.schema.readings import load_readings

    given = load_readings(readings)
    loaded = prepared(build)
    with bench_for(pool) as bench, progress_bars(as_json) as progress:
        found = api.faults(loaded, given, bench=bench, progress=progress)
    from receiver_sim.views import fault_tables

    answer(
        "faults", found, build=loaded, bench=bench, as_json=as_json,
        sheet=lambda: fault_tables.faults_sheet(found), failed=found.failed,
    )  # fmt: skip
