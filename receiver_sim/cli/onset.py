"""`receiver-sim onset`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

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
from receiver_sim.errors import NoOnset, UserError

if TYPE_CHECKING:
    from receiver_sim.engine import Bench
    from receiver_sim.outputs import FileSet
    from receiver_sim.results.envelope import OscillationReport
    from receiver_sim.schema import Build


@click.command()
@BUILD
@BANDS
@click.option(
    "--screen-resistor",
    "resistors",
    metavar="RESISTANCE",
    multiple=True,
    help="Also with that resistance added between control and screen, e.g. 47kohm; may be repeated.",
)
@click.option(
    "--verify", "check", is_flag=True, help="Also run every cycle of the carrier, for one band. Minutes."
)
@click.option("--no-modes", is_flag=True, help="Do not look for howl and squegging.")
@OUT
@JSON
@simulating
def onset(
    build: Path,
    bands: tuple[str, ...],
    resistors: tuple[str, ...],
    check: bool,
    no_modes: bool,
    out: Path | None,
    as_json: bool,
    pool: Pool,
) -> None:
    """How oscillation comes in: backlash, strength, steadiness."""
    from receiver_sim import api  # inside, for start-up's sake
    from receiver_sim.results.base import FailedStage
    from receiver_sim.views import envelope_tables

    ohms = _ohms(resistors)
    loaded = prepared(build, bands=bands, out=out, told=True)
    if check:
        pool = pool._replace(time_limit_s=max(pool.time_limit_s, 1800.0))
    with bench_for(pool) as bench, progress_bars(as_json) as progress:
        report = api.onset(
            loaded, bands=bands or None, screen_ohms=ohms, modes=not no_modes, bench=bench, progress=progress
        )
        if check:
            report = _verified(report, loaded, bands[0] if bands else None, bench)
    lost = [
        FailedStage(f"onset on {found.band}", "; ".join(found.warnings), None) for found in api.failed(report)
    ]
    verified = [band.verification for band in report.bands if band.verification is not None]
    answer(
        "onset", report, build=loaded, bench=bench, as_json=as_json,
        sheet=lambda: (
            envelope_tables.oscillation_sheet(report),
            *(envelope_tables.verification_table(one) for one in verified),
        ),
        out=out, draw=lambda files, _progress: _onset_plots(report, files), failed=(*lost, *report.failed),
    )  # fmt: skip


def _ohms(texts: tuple[str, ...]) -> tuple[float, ...]:
    from receiver_sim.schema.quantity import RESISTANCE, Quantity  # inside, for start-up's sake

    try:
        reader = Quantity(RESISTANCE, "1 ohm", "10 Mohm", example="47 kohm")
        return tuple(reader.read(text) for text in texts)
    except ValueError as error:
        raise UserError(f"--screen-resistor: expected a resistance such as 47kohm; {error}") from None


def _onset_plots(report: OscillationReport, files: FileSet) -> None:
    from receiver_sim.views import envelope_plots  # inside: matplotlib is slow to load

    envelope_plots.write_onset(report, files)


def _verified(report: OscillationReport, build: Build, band: str | None, bench: Bench) -> OscillationReport:
    """Add the reference run to its band, or say that it failed or that there is no onset to hold it against;
    the report is kept either way.
    """
    from dataclasses import replace  # inside, for start-up's sake

    from receiver_sim import api
    from receiver_sim.failing_stages import Stages

    stages = Stages()
    try:
        found = stages.run("reference run", lambda: api.verify(build, band=band, bench=bench))
    except NoOnset as error:
        return replace(report, warnings=(*report.warnings, f"nothing to verify: {error}"))
    if found is None:
        return replace(report, failed=(*report.failed, *stages.failed))
    bands = tuple(
        replace(b, verification=found) if b.oscillation.band == found.band else b for b in report.bands
    )
    return replace(report, bands=bands)
