"""`receiver-sim calibrate`: what readings of a working set say of its parts and tubes."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from receiver_sim.cli.common import (
    BUILD,
    JSON,
    READINGS,
    Pool,
    answer,
    bench_for,
    file_option,
    prepared,
    progress_bars,
    simulating,
    writable_file,
)
from receiver_sim.errors import UserError, WrongValue

if TYPE_CHECKING:
    from receiver_sim.results.calibration import Calibration
    from receiver_sim.schema import Build


@click.command(short_help="Fit parts and tubes to readings of a working set; onset before and after.")
@BUILD
@READINGS
@file_option("none; the build with the values that were found")
@JSON
@simulating
def calibrate(build: Path, readings: Path, output: Path | None, as_json: bool, pool: Pool) -> None:
    """Adjust the parts and tubes of BUILD within their spread until they explain the readings in FILE.

    Onset on every band, tap and hum are given before and after. With -o the build is written with the
    values that the readings fix, as a file that every verb takes.
    """
    from receiver_sim import api
    from receiver_sim.schema.readings import load_readings

    given = load_readings(readings)
    loaded = prepared(build)
    if output is not None:
        writable_file(output)
    with bench_for(pool) as bench, progress_bars(as_json) as progress:
        try:
            found = api.calibrate(loaded, given, bench=bench, progress=progress)
        except WrongValue as error:
            raise UserError(f"--readings {readings}: {error}") from None
    from receiver_sim.views import calibration_tables

    answer(
        "calibrate", found, build=loaded, bench=bench, as_json=as_json,
        sheet=lambda: calibration_tables.calibration_sheet(found),
        then=None if output is None else lambda: _write(found, loaded, output), failed=found.failed,
    )  # fmt: skip


def _write(found: Calibration, build: Build, output: Path) -> None:
    """Write the build with the values that were pinned, each 'measured' with twice its deviation."""
    from receiver_sim import outputs
    from receiver_sim.api import measured_values
    from receiver_sim.cli.ends import complain
    from receiver_sim.schema.changed_text import changed_text
    from receiver_sim.views.calibration_tables import moved_text, value_text

    notes = ["Calibrated by readings of the set. Pulled against what was stated:"]
    changes = {}
    pinned = measured_values(found)
    for one in pinned:
        assert one.found is not None
        error = min(max(200.0 * one.after, 0.1), 90.0)
        value = value_text(one, one.found)
        changes[one.key] = f"{value} +-{error:.1f} % measured"
        notes.append(f"  {one.key}: {changes[one.key]} (stated {value_text(one, one.stated)})")
    for one in found.pulled:
        if not one.key and one.pinned:
            notes.append(f"  {one.word}: {moved_text(one)}, no key of a build")
    outputs.write(output, changed_text(build, changes, notes=notes).encode("utf-8"))
    complain(f"wrote {output}: {len(pinned)} values measured")
