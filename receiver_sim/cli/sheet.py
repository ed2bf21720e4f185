"""`receiver-sim sheet`: what a constructor takes to the bench."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from receiver_sim.cli.common import (
    BUILD,
    JSON,
    Pool,
    answer,
    bench_for,
    file_option,
    prepared,
    progress_bars,
    simulating,
    writable_file,
)
from receiver_sim.errors import UserError

if TYPE_CHECKING:
    from receiver_sim.results.bench_sheet import BenchSheet

KINDS = (".html", ".pdf", ".txt", ".csv", ".svg")
"""Ends of the names of files that the sheet can be written to; .svg is the dial scale alone."""

LARGEST_MM = 190.0
"""Diameter that fits an A4 page with its margin."""


@click.command(short_help="For the bench: parts, windings, wiring, switching on, meter chart, dial.")
@BUILD
@file_option("none; printed; .html, .pdf, .txt or .csv by its name, .svg for the dial scale alone")
@click.option(
    "--diameter",
    metavar="LENGTH",
    default="150mm",
    show_default=True,
    help="Diameter of the printed dial scale, 60mm to 190mm.",
)
@JSON
@simulating
def sheet(build: Path, output: Path | None, diameter: str, as_json: bool, pool: Pool) -> None:
    """Print what a constructor takes to the bench: parts with the ratings they need, windings, wiring.

    Then the order of switching on with what to expect and when to stop, and what meters of 1 kohm/V,
    20 kohm/V and 10 Mohm read at each pin, with a blank column; onset and hum to check; the dial's scale.
    """
    from receiver_sim import api

    width = _millimetres(diameter)
    if output is not None and output.suffix.lower() not in KINDS:
        raise UserError(f"-o {output}: expected a name that ends with {', '.join(KINDS)}")
    loaded = prepared(build)
    if output is not None:
        writable_file(output)
    with bench_for(pool) as bench, progress_bars(as_json) as progress:
        found = api.sheet(loaded, bench=bench, progress=progress)
    from receiver_sim.views.bench_sheet import bench_sheet

    answer(
        "sheet", found, build=loaded, bench=bench, as_json=as_json, sheet=lambda: bench_sheet(found),
        then=None if output is None else lambda: _write(found, output, width), failed=found.failed,
    )  # fmt: skip


def _write(found: BenchSheet, output: Path, diameter_mm: float) -> None:
    from receiver_sim import outputs
    from receiver_sim.cli.ends import complain
    from receiver_sim.views import dial_scale, printed_page
    from receiver_sim.views.bench_sheet import bench_sheet
    from receiver_sim.views.sheet import as_text

    page, kind = bench_sheet(found), output.suffix.lower()
    words = f"Dial scale, diameter {diameter_mm:g} mm: print at 100 %"
    if kind == ".html":
        picture = dial_scale.svg(found.scales, diameter_mm=diameter_mm)
        data = printed_page.html(page, [(words, picture)]).encode("utf-8")
    elif kind == ".pdf":
        from receiver_sim.views import printed_pdf

        data = printed_pdf.pdf(
            page, [(words, dial_scale.scale_drawing(found.scales, diameter_mm=diameter_mm))]
        )
    elif kind == ".csv":
        data = printed_page.csv_text(page).encode("utf-8")
    elif kind == ".svg":
        data = dial_scale.svg(found.scales, diameter_mm=diameter_mm).encode("utf-8")
    else:
        data = as_text(page).encode("utf-8")
    outputs.write(output, data)
    complain(f"wrote {output}")


def _millimetres(text: str) -> float:
    """Read the diameter of a dial such as '150mm'."""
    from receiver_sim.schema.quantity import LENGTH, Quantity

    try:
        return 1e3 * Quantity(LENGTH, "60 mm", f"{LARGEST_MM:g} mm", example="150 mm").read(text)
    except ValueError as error:
        expected = f"expected a length from 60mm to {LARGEST_MM:g}mm, such as 150mm"
        raise UserError(f"--diameter {text!r}: {expected}; {error}") from None
