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


@click.command(short_help="Pull parts and tubes to readings of a working set; onset before and after.")
@BUILD
@READINGS
@file_option("none; the build with the values that were found")
@JSON
@simulating
def calibrate(build: Path, readings: Path, output: Path | None, as_json: bool, pool: Pool) -> None:
    """Pull the parts and tubes of BUILD within their spread until they explain the readings in FILE.

    Onset on every band, tap and hum are given before and after. With -o the build is written with the values
    that the readings pinned, as a file that every verb takes.
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
        then=None if output is None else lambda: _write(found, loaded, output),
    )  # fmt: skip


def _write(found: Calibration, build: Build, output: Path) -> None:
    from receiver_sim import outputs
    from receiver_sim.api import measured_values
    from receiver_sim.cli.ends import complain
    from receiver_sim.schema.changed_text import changed_text
    from receiver_sim.views.numbers import engineering

    words = {one.name: one for one in found.pulled}
    notes = ["Calibrated: measured by readings of the set are:"]
    changes = {}
    for key, value in measured_values(found, build).items():
        if key == "supply.volts" and build.supply.kind == "rectifier":
            continue  # a rectifier's volts stand nowhere in the build
        unit = "V" if key.endswith(".volts") else "" if key.endswith(".q") else "ohm"
        changes[key] = engineering(value, unit, 4)
        notes.append(f"  {key}: {changes[key]} (stated {engineering(words[key].stated, unit, 4)})")
    for one in found.pulled:
        if one.stated is None:
            moved = f"{one.moved:+.3f} V" if one.unit == "V" else f"{100.0 * one.moved:+.1f} %"
            notes.append(f"  {one.word}: {moved} against its card, no key of a build")
    outputs.write(output, changed_text(build, changes, notes=notes).encode("utf-8"))
    complain(f"wrote {output}")
