"""`draw`: the schematic of a set. Only click is imported at the top, for start-up's sake."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from receiver_sim.cli.common import (
    BAND,
    BUILD,
    JSON,
    Ending,
    Pool,
    at_option,
    bench_for,
    document_text,
    file_option,
    prepared,
    rotation_of,
    simulating,
    writable_file,
)
from receiver_sim.cli.ends import complain, folded
from receiver_sim.errors import UserError

if TYPE_CHECKING:
    from receiver_sim.schema import Build

_FORMATS = ("svg", "pdf", "png")


@click.command(short_help="Draw the schematic of the set, as SVG, PDF or PNG.")
@BUILD
@BAND
@file_option("the build's name with .svg")
@click.option("--volts", is_flag=True, help="Write d.c. volts at pins and test points, set not oscillating.")
@at_option("50%", default="50%")
@JSON
@simulating
def draw(
    build: Path, band: str | None, output: Path | None, volts: bool, at: str, as_json: bool, pool: Pool
) -> None:
    """Draw the schematic of BUILD with the coil of one band; the ending of the file says the format."""
    from receiver_sim import outputs  # inside, for start-up's sake

    file = Path(f"{build.stem}.svg") if output is None else output
    form = file.suffix.lower().lstrip(".") or "svg"
    if form not in _FORMATS:
        raise UserError(f"{file}: a drawing is an .svg, .pdf or .png file, not '{file.suffix}'")
    rotation = rotation_of(at)
    loaded = prepared(build, bands=[band])
    writable_file(file)
    drawn = _drawn(loaded, band, rotation if volts else None, pool)
    ending = Ending()
    content = drawn.rendered(form)
    kept = ending.write(lambda: outputs.write(file, content))
    if as_json:
        report = drawn.report(file=str(file) if kept else None)
        ending.print(document_text("draw", report, build=loaded))
    elif kept:
        ending.print(f"wrote {file}: {len(drawn.parts)} parts, {len(drawn.connections())} connections")
        _cautions()
    ending.end()


def _drawn(build: Build, band: str | None, rotation: float | None, pool: Pool) -> Any:
    """Return the drawing; ngspice is asked only for volts."""
    from receiver_sim import api  # inside, for start-up's sake

    if rotation is None:
        return api.draw(build, band=band)
    with bench_for(pool) as bench:
        return api.draw(build, band=band, volts_at=rotation, bench=bench)


def _cautions() -> None:
    from receiver_sim.results import cautions  # inside, for start-up's sake

    for line in cautions.PLATE_SUPPLY:
        complain(folded(line, mark=" ! "))
