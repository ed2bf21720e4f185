"""`receiver-sim spread`: many sets of one build, and in how many of them it is as it should be."""

from __future__ import annotations

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
from receiver_sim.cli.ends import complain, folded
from receiver_sim.errors import UnknownName, UserError

KEPT = "spread-so-far.json"
"""File in the folder of `--out` that holds what is done, until all is."""


@click.command(short_help="Draw many sets with real tolerances: how many are good, which part decides.")
@BUILD
@click.option(
    "-n", "--sets", "sets", metavar="N", type=click.IntRange(1, 1_000_000), default=1000,
    show_default=True, help="Sets to draw.",
)  # fmt: skip
@BANDS
@click.option(
    "--measure", "measured", metavar="KEY", multiple=True,
    help="Key of a part that is measured before building, e.g. detector.tube; may be repeated; default: "
    "what the build says is measured, else the part that decides most.",
)  # fmt: skip
@click.option(
    "--verdict", "asked", metavar="NAME", multiple=True,
    help="A further verdict of `check` that is judged in every set, e.g. hum_power_max; may be repeated; "
    "takes a good part of a check for each set.",
)  # fmt: skip
@click.option("--seed", metavar="N", type=click.IntRange(0, 2**32), default=1, show_default=True,
              help="Number from which the sets are drawn.")  # fmt: skip
@click.option(
    "--cluster", metavar="ADDRESS",
    help="Scheduler of a cluster that runs the sets, e.g. tcp://127.0.0.1:8786; default: --workers here.",
)  # fmt: skip
@OUT
@JSON
@simulating
def spread(
    build: Path,
    sets: int,
    bands: tuple[str, ...],
    measured: tuple[str, ...],
    asked: tuple[str, ...],
    seed: int,
    cluster: str | None,
    out: Path | None,
    as_json: bool,
    pool: Pool,
) -> None:
    """Draw many sets of BUILD and count in how many each verdict holds.

    Parts, tubes and mains differ from set to set by what the build states ('100 pF +-10 %') or by the class
    of the part. A value followed by 'measured' in the build counts as measured on the part. With --out a run
    that was stopped continues where it stopped when the same command is given again.
    """
    from receiver_sim import api  # inside, for start-up's sake
    from receiver_sim.views import spread_plots, spread_tables

    loaded = prepared(build, bands=bands, out=out)
    kept = None if out is None else out / KEPT
    if kept is not None and kept.exists():
        complain(folded(f"note: {kept} holds sets of a run that was stopped; those that fit are taken over"))
    with bench_for(pool) as bench, progress_bars(as_json) as progress:
        try:
            report = api.spread_of_sets(
                loaded, sets=sets, bands=list(bands) or None, measured=measured, asked=asked, seed=seed,
                workers=pool.workers, time_limit_s=pool.time_limit_s, cluster=cluster, kept=kept,
                bench=bench, progress=progress,
            )  # fmt: skip
        except UnknownName as error:
            raise UserError(str(error)) from None
        answer(
            "spread", report, build=loaded, bench=bench, as_json=as_json,
            sheet=lambda: spread_tables.spread_sheet(report), out=out,
            draw=lambda files, _progress: spread_plots.write(report, files),
        )  # fmt: skip
