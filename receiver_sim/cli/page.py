"""`page`: the page of a set. Only click is imported at the top, for start-up's sake."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click

from receiver_sim.cli.common import (
    BAND,
    BUILD,
    JSON,
    Ending,
    Pool,
    bench_for,
    document_text,
    file_option,
    prepared,
    progress_bars,
    simulating,
    writable_file,
)
from receiver_sim.cli.ends import complain, folded
from receiver_sim.errors import UserError


@click.command(short_help="Make a page of the set that is turned and heard in a browser.")
@BUILD
@BAND
@file_option("the build's name with .html")
@click.option("--no-sound", is_flag=True, help="Leave out the sound, which takes most of the time.")
@click.option("--no-faults", is_flag=True, help="Leave out the bench sheet and the search for a fault.")
@JSON
@simulating
def page(
    build: Path,
    band: str | None,
    output: Path | None,
    no_sound: bool,
    no_faults: bool,
    as_json: bool,
    pool: Pool,
) -> None:
    """Make one HTML file of BUILD: verdict, drawing, a control and a dial to turn, sound, what to change, the
    bench sheet, and a search for a fault by readings that are typed in.

    It opens from disk in any browser and needs no network. --band: whose coil is drawn.
    """
    from receiver_sim import api, outputs  # inside, for start-up's sake
    from receiver_sim.results.bands import failures

    file = Path(f"{build.stem}.html") if output is None else output
    if file.suffix.lower() not in (".html", ".htm"):
        raise UserError(f"{file}: a page is an .html file, not '{file.suffix}'")
    loaded = prepared(build, bands=[band], told=True)
    writable_file(file)
    with bench_for(pool) as bench, progress_bars(as_json) as progress:
        found = api.page(loaded, sounds=not no_sound, faults=not no_faults, bench=bench, progress=progress)
        drawing = api.draw(loaded, band=band or found.check.reference_band)
    content = api.page_html(found, loaded, drawing)
    ending = Ending((*failures(found.check.bands, found.check.failed), *found.failed))
    kept = ending.write(lambda: outputs.write(file, content))
    found = replace(found, file=str(file) if kept else None)
    if as_json:
        ending.print(document_text("page", found, build=loaded, bench=bench))
    elif kept:
        ending.print(folded(f"wrote {file}: {api.page_verdict(found)}"))
        for line in found.check.cautions:
            complain(folded(line, mark=" ! "))
    ending.end()
