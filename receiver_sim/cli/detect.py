"""`receiver-sim detect`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from receiver_sim.cli.common import (
    BAND,
    BUILD,
    JSON,
    OUT,
    PHONES,
    Pool,
    answer,
    bench_for,
    phones_named,
    prepared,
    simulating,
)
from receiver_sim.errors import UserError

if TYPE_CHECKING:
    from receiver_sim.outputs import FileSet
    from receiver_sim.results.envelope import Detection


@click.command()
@BUILD
@BAND
@PHONES
@click.option(
    "--beat", metavar="FREQUENCY", default="800Hz", show_default=True, help="Pitch of the beat note."
)
@OUT
@JSON
@simulating
def detect(
    build: Path,
    band: str | None,
    phones: str | None,
    beat: str,
    out: Path | None,
    as_json: bool,
    pool: Pool,
) -> None:
    """Sensitivity for AM and beat note, overload, locking."""
    from receiver_sim import api  # inside, for start-up's sake
    from receiver_sim.schema.quantity import FREQUENCY, Quantity
    from receiver_sim.views import envelope_tables

    try:
        pitch = Quantity(FREQUENCY, "50 Hz", "5 kHz", example="800 Hz").read(beat)
    except ValueError as error:
        raise UserError(f"--beat {beat!r}: expected a pitch from 50Hz to 5kHz; {error}") from None
    loaded = prepared(build, bands=[band], out=out)
    index = phones_named(loaded, phones)
    with bench_for(pool) as bench:
        found = api.detect(loaded, band=band, output=index, beat_hz=pitch, bench=bench)
    answer(
        "detect", found, build=loaded, bench=bench, as_json=as_json,
        sheet=lambda: envelope_tables.detection_table(found), out=out,
        draw=lambda files, _progress: _detection_plots(found, files, loaded.title),
    )  # fmt: skip


def _detection_plots(found: Detection, files: FileSet, title: str) -> None:
    from receiver_sim.views import envelope_plots  # inside: matplotlib is slow to load

    envelope_plots.write_detection(found, files, title=title)
