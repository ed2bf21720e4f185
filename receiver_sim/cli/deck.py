"""`receiver-sim deck`."""

from __future__ import annotations

from pathlib import Path

import click

from receiver_sim.cli.common import (
    BAND,
    BUILD,
    JSON,
    Pool,
    at_option,
    bench_for,
    emit_json,
    file_option,
    frequency_of,
    prepared,
    rotation_of,
    simulating,
)
from receiver_sim.cli.ends import complain, say
from receiver_sim.errors import OutputFailed


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
    from receiver_sim import api  # inside, for start-up's sake
    from receiver_sim.results.file_answers import DeckExport

    rotation, frequency = rotation_of(at) or 0.0, frequency_of(dial)
    loaded = prepared(build, bands=[band])
    one = api.band_named(loaded, band)
    frequency = api.dial_frequencies(one)[1] if frequency is None else frequency
    with bench_for(pool) as bench:
        text = api.deck_text(
            loaded, study=study, band=band, dial_hz=frequency, rotation=rotation, bench=bench
        )
    lost: OutputFailed | None = None
    if output is not None:
        from receiver_sim import outputs

        try:
            outputs.write(output, text.encode("utf-8"))
            complain(f"wrote {output}; run it with: ngspice -b {output}")
        except OutputFailed as error:
            lost = error
    if as_json:
        file = None if output is None or lost is not None else str(output)
        emit_json("deck", DeckExport(loaded.sha256, study, one.name, frequency, rotation, file, text))
    elif output is None or lost is not None:
        say(text, end="")
    if lost is not None:
        raise lost
