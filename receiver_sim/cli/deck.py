"""`receiver-sim deck`."""

from __future__ import annotations

from pathlib import Path

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
    frequency_of,
    prepared,
    rotation_of,
    simulating,
)
from receiver_sim.cli.ends import complain


@click.command(short_help="Write a netlist for stock ngspice (ngspice -b FILE).")
@BUILD
@click.option(
    "--study",
    type=click.Choice(["loop", "bias", "audio", "hum"]),
    default="loop",
    show_default=True,
    help="Analysis that goes with the deck.",
)
@BAND
@click.option("--dial", metavar="FREQUENCY", help="Dial setting, e.g. 7.05MHz; default: middle of the band.")
@at_option("50%", default="50%")
@file_option("standard output")
@JSON
@simulating
def deck(
    build: Path,
    study: str,
    band: str | None,
    dial: str | None,
    at: str,
    output: Path | None,
    as_json: bool,
    pool: Pool,
) -> None:
    """Write the netlist of a study, ready for stock ngspice: ngspice -b FILE."""
    from receiver_sim import api, outputs  # inside, for start-up's sake
    from receiver_sim.results.file_answers import DeckExport

    rotation, frequency = rotation_of(at) or 0.0, frequency_of(dial)
    loaded = prepared(build, bands=[band])
    one = api.band_named(loaded, band)
    frequency = one.middle_hz if frequency is None else frequency
    with bench_for(pool) as bench:
        text = api.deck_text(
            loaded, study=study, band=band, dial_hz=frequency, rotation=rotation, bench=bench
        )
    ending = Ending()
    kept = output is not None and ending.write(lambda: outputs.write(output, text.encode("utf-8")))
    if kept:
        complain(f"wrote {output}; run it with: ngspice -b {output}")
    if as_json:
        file = str(output) if kept else None
        export = DeckExport(loaded.sha256, study, one.name, frequency, rotation, file, text)
        ending.print(document_text("deck", export))
    elif not kept:
        ending.print(text, end="")
    ending.end()
