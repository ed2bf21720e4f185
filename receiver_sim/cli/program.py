"""The command line. Only click is imported at the top: everything else waits inside the commands for
start-up's sake.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from receiver_sim import __version__
from receiver_sim.cli.coils import coils, tap, wind
from receiver_sim.cli.common import (
    AT,
    BAND,
    BANDS,
    BUILD,
    JSON,
    OUT,
    STRICT,
    Pool,
    answer,
    at_option,
    bench_for,
    emit_json,
    file_option,
    frequency_of,
    prepared,
    progress_bars,
    rotation_of,
    simulating,
)
from receiver_sim.cli.ends import Program, complain, folded, say
from receiver_sim.cli.envelope import detect, listen, onset
from receiver_sim.cli.swap import swap
from receiver_sim.cli.tubes import tubes
from receiver_sim.errors import OutputFailed, UserError


@click.group(cls=Program, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="receiver-sim")
def main() -> None:
    """Check a two-valve regenerative receiver before it is built.

    A BUILD file describes the set; ngspice computes it. Begin with `receiver-sim new my-set.yaml`, then run
    `receiver-sim check my-set.yaml`.

    Plate supplies kill: isolate, discharge and measure first, and follow the electrical code where you live.
    """


@main.command(short_help="Write a commented starter build to FILE.")
@click.argument("file", type=click.Path(path_type=Path))
@JSON
def new(file: Path, as_json: bool) -> None:
    """Write a commented starter build to FILE; an existing file is left alone."""
    from receiver_sim.results import cautions  # inside, for start-up's sake
    from receiver_sim.results.written import StarterBuild
    from receiver_sim.schema import write_starter

    if not file.parent.is_dir():
        raise UserError(f"{file}: No such file or directory")
    try:
        write_starter(file)
    except FileExistsError:
        raise UserError(f"{file} exists already and is left as it is; give another name") from None
    if as_json:
        emit_json("new", StarterBuild(str(file)))
        return
    say(f"wrote {file}; edit it, then run: receiver-sim check {file}")
    for line in cautions.PLATE_SUPPLY:
        say(folded(line, mark=" ! "))


@main.command(short_help="Judge the whole set: onset on every band, audio, hum, supply.")
@BUILD
@OUT
@JSON
@click.option("--no-plots", is_flag=True, help="Leave out the plots.")
@STRICT
@simulating
def check(
    build: Path,
    out: Path | None,
    as_json: bool,
    no_plots: bool,
    strict: bool,
    pool: Pool,
) -> None:
    """Answer the main question for BUILD: onset on every band, and audio, hum and supply, with verdicts.

    Plots and the JSON document go to a folder named after the build unless --out names one.
    """
    from receiver_sim import api  # inside, for start-up's sake

    folder = out if out is not None else Path(f"{build.stem}-results")
    loaded = prepared(build, out=folder, told=True)
    with (
        bench_for(pool, keep=folder / "failed") as bench,
        progress_bars(as_json) as progress,
    ):
        report = api.check(loaded, bench=bench, progress=progress)
    from receiver_sim.results.check import failures
    from receiver_sim.views import check_plots, tables

    answer(
        "check", report, build=loaded, bench=bench, as_json=as_json,
        sheet=lambda: tables.check_report(report), out=folder,
        draw=None if no_plots else lambda files, progress: check_plots.write(report, files, progress),
        failed=failures(report.bands, report.failed), strict=report.verdicts if strict else (),
    )  # fmt: skip


@main.command()
@BUILD
@BANDS
@OUT
@JSON
@simulating
def loop(build: Path, bands: tuple[str, ...], out: Path | None, as_json: bool, pool: Pool) -> None:
    """Loop gain and onset on the control, band by band."""
    from receiver_sim import api  # inside, for start-up's sake
    from receiver_sim.results.check import failures
    from receiver_sim.views import check_plots, tables

    loaded = prepared(build, bands=bands, out=out)
    with bench_for(pool) as bench, progress_bars(as_json) as progress:
        reports = api.loop(loaded, bands=bands or None, bench=bench, progress=progress)
    answer(
        "loop", reports, build=loaded, bench=bench, as_json=as_json,
        sheet=lambda: tables.loop_sheet(loaded.title, reports), out=out,
        draw=lambda files, progress: check_plots.write_bands(reports, files, progress),
        failed=failures(reports),
    )  # fmt: skip


def _in_depth(
    verb: str,
    build: Path,
    *,
    band: str | None,
    out: Path | None,
    as_json: bool,
    pool: Pool,
    strict: bool = False,
    **how: Any,
) -> None:
    """Run `audio`, `hum` or `supply` on a build and give its answer.

    how: what the study takes besides build, band and bench.
    """
    from receiver_sim import api  # inside, for start-up's sake
    from receiver_sim.views import audio_plots, audio_tables

    rooms: dict[str, tuple[Callable[..., Any], Callable[..., tuple[Path, ...]], Callable[..., Any]]] = {
        "audio": (api.audio_in_depth, audio_plots.write_audio, audio_tables.audio_sheet),
        "hum": (api.hum_in_depth, audio_plots.write_hum, audio_tables.hum_sheet),
        "supply": (api.supply_in_depth, audio_plots.write_supply, audio_tables.supply_sheet),
    }
    run, draw, sheet = rooms[verb]
    loaded = prepared(build, bands=[band], out=out)
    with bench_for(pool) as bench:
        result = run(loaded, band=band, bench=bench, **how)
    answer(
        verb, result, build=loaded, bench=bench, as_json=as_json,
        sheet=lambda: sheet(loaded.title, result), out=out,
        draw=lambda files, _progress: draw(result, files),
        failed=result.failed, strict=result.verdicts if strict else (),
    )  # fmt: skip


@main.command(short_help="Response, power, distortion, sound pressure, noise of each output.")
@BUILD
@BAND
@AT
@OUT
@JSON
@simulating
def audio(build: Path, band: str | None, at: str | None, out: Path | None, as_json: bool, pool: Pool) -> None:
    """Response, power, distortion, sound pressure and noise of each output.

    Inputs are volts of a tone at the detector's grid.
    """
    _in_depth("audio", build, band=band, out=out, as_json=as_json, pool=pool, rotation=rotation_of(at))


@main.command(short_help="Hum by its paths, as heard, against the hum pot; remedies ranked.")
@BUILD
@BAND
@AT
@OUT
@JSON
@simulating
def hum(build: Path, band: str | None, at: str | None, out: Path | None, as_json: bool, pool: Pool) -> None:
    """Hum at each output: tones as heard, share of each path, hum pot, and which remedy helps most."""
    _in_depth("hum", build, band=band, out=out, as_json=as_json, pool=pool, rotation=rotation_of(at))


@main.command(short_help="Rectifier, ripple, discharge, regulator, meter readings, ratings.")
@BUILD
@BAND
@OUT
@JSON
@STRICT
@simulating
def supply(build: Path, band: str | None, out: Path | None, as_json: bool, strict: bool, pool: Pool) -> None:
    """Volts, ripple, start and discharge of the supply, what a meter should read, ratings, regulator."""
    _in_depth("supply", build, band=band, out=out, as_json=as_json, pool=pool, strict=strict)


@main.command(short_help="Write a netlist for stock ngspice (ngspice -b FILE).")
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
    from receiver_sim.results.written import DeckExport

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


main.add_command(swap)
main.add_command(tubes)
for _command in (coils, detect, listen, onset, tap, wind):
    main.add_command(_command)
