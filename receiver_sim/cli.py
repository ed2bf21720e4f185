"""The command line. Only click is imported at the top: everything else waits inside the commands for
start-up's sake.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from receiver_sim import __version__
from receiver_sim.cli_coils import coils, tap, wind
from receiver_sim.cli_common import (
    AT,
    BAND,
    BUILD,
    JSON,
    OUT,
    TIME_LIMIT,
    UserError,
    answer,
    emit_json,
    end_if_bad,
    end_if_failed,
    folded,
    frequency_of,
    guarded,
    prepared,
    progress_bars,
    rotation_of,
    seconds_of,
)
from receiver_sim.cli_envelope import detect, listen, onset
from receiver_sim.cli_swap import swap
from receiver_sim.cli_tubes import tubes


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
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
@guarded
def new(file: Path, as_json: bool) -> None:
    """Write a commented starter build to FILE; an existing file is left alone."""
    from receiver_sim.results import cautions  # inside, for start-up's sake
    from receiver_sim.results.written import StarterBuild
    from receiver_sim.schema import write_starter

    try:
        write_starter(file)
    except FileExistsError:
        raise UserError(f"{file} exists already and is left as it is; give another name") from None
    if as_json:
        emit_json("new", StarterBuild(str(file)))
        return
    click.echo(f"wrote {file}; edit it, then run: receiver-sim check {file}")
    for line in cautions.PLATE_SUPPLY:
        click.echo(folded(line, mark=" ! "))


@main.command(short_help="Judge the whole set: onset on every band, audio, hum, supply.")
@BUILD
@OUT
@JSON
@click.option("--no-plots", is_flag=True, help="Leave out the plots.")
@click.option("--strict", is_flag=True, help="Exit with 1 when a verdict is bad.")
@click.option(
    "--workers", type=click.IntRange(1, 64), default=2, show_default=True, help="ngspice processes."
)
@TIME_LIMIT
@guarded
def check(
    build: Path,
    out: Path | None,
    as_json: bool,
    no_plots: bool,
    strict: bool,
    workers: int,
    time_limit: str,
) -> None:
    """Answer the main question for BUILD: onset on every band, and audio, hum and supply, with verdicts.

    Plots and the JSON document go to a folder named after the build unless --out names one.
    """
    from receiver_sim import api  # inside, for start-up's sake

    limit = seconds_of(time_limit)
    folder = out if out is not None else Path(f"{build.stem}-results")
    loaded = prepared(build, out=folder, told=True)
    plots: tuple[Path, ...] = ()
    with (
        api.Bench(workers=workers, time_limit_s=limit, keep_failed=folder / "failed") as bench,
        progress_bars(as_json) as progress,
    ):
        report = api.check(loaded, bench=bench, progress=progress)
        if not no_plots:
            from receiver_sim.views import check_plots

            plots = check_plots.write(report, folder, progress)
    from receiver_sim.results.check import failures
    from receiver_sim.views import tables

    answer(
        "check", report, build=loaded, bench=bench, as_json=as_json,
        sheet=lambda: tables.check_report(report), out=folder, plots=plots,
    )  # fmt: skip
    end_if_failed(failures(report.bands, report.failed))
    end_if_bad(strict, report.verdicts)


@main.command()
@BUILD
@click.option("--band", "bands", multiple=True, help="Name of a band; may be repeated. Left out: all bands.")
@OUT
@JSON
@TIME_LIMIT
@guarded
def loop(build: Path, bands: tuple[str, ...], out: Path | None, as_json: bool, time_limit: str) -> None:
    """Loop gain and onset on the control, band by band."""
    from receiver_sim import api  # inside, for start-up's sake
    from receiver_sim.results.check import failures
    from receiver_sim.views import check_plots, tables

    limit = seconds_of(time_limit)
    loaded = prepared(build, bands=bands, out=out)
    with api.Bench(time_limit_s=limit) as bench, progress_bars(as_json) as progress:
        reports = api.loop(loaded, bands=bands or None, bench=bench, progress=progress)
    plots = () if out is None else check_plots.write_bands(reports, out)
    answer(
        "loop", reports, build=loaded, bench=bench, as_json=as_json,
        sheet=lambda: tables.loop_sheet(loaded.title, reports), out=out, plots=plots,
    )  # fmt: skip
    end_if_failed(failures(reports))


def _in_depth(
    verb: str, build: Path, *, band: str | None, out: Path | None, as_json: bool, time_limit: str, **how: Any
) -> Any:
    """Run `audio`, `hum` or `supply` on a build, give its answer and return what was found.

    how: what the study takes besides build, band and bench.
    """
    from receiver_sim import api, api_audio  # inside, for start-up's sake
    from receiver_sim.views import audio_plots, audio_tables

    rooms: dict[str, tuple[Callable[..., Any], Callable[..., tuple[Path, ...]], Callable[..., Any]]] = {
        "audio": (api_audio.audio_in_depth, audio_plots.write_audio, audio_tables.audio_sheet),
        "hum": (api_audio.hum_in_depth, audio_plots.write_hum, audio_tables.hum_sheet),
        "supply": (api_audio.supply_in_depth, audio_plots.write_supply, audio_tables.supply_sheet),
    }
    run, draw, sheet = rooms[verb]
    limit = seconds_of(time_limit)
    loaded = prepared(build, bands=[band], out=out)
    with api.Bench(time_limit_s=limit) as bench:
        result = run(loaded, band=band, bench=bench, **how)
    plots = () if out is None else draw(result, out)
    answer(
        verb, result, build=loaded, bench=bench, as_json=as_json,
        sheet=lambda: sheet(loaded.title, result), out=out, plots=plots,
    )  # fmt: skip
    return result


@main.command(short_help="Response, power, distortion, sound pressure, noise of each output.")
@BUILD
@BAND
@AT
@OUT
@JSON
@TIME_LIMIT
@guarded
def audio(
    build: Path, band: str | None, at: str | None, out: Path | None, as_json: bool, time_limit: str
) -> None:
    """Response, power, distortion, sound pressure and noise of each output.

    Inputs are volts of a tone at the detector's grid.
    """
    result = _in_depth(
        "audio", build, band=band, out=out, as_json=as_json, time_limit=time_limit, rotation=rotation_of(at)
    )
    end_if_failed(result.failed)


@main.command(short_help="Hum by its paths, as heard, against the hum pot; remedies ranked.")
@BUILD
@BAND
@AT
@OUT
@JSON
@TIME_LIMIT
@guarded
def hum(
    build: Path, band: str | None, at: str | None, out: Path | None, as_json: bool, time_limit: str
) -> None:
    """Hum at each output: tones as heard, share of each path, hum pot, and which remedy helps most."""
    result = _in_depth(
        "hum", build, band=band, out=out, as_json=as_json, time_limit=time_limit, rotation=rotation_of(at)
    )
    end_if_failed(result.failed)


@main.command(short_help="Rectifier, ripple, discharge, regulator, meter readings, ratings.")
@BUILD
@BAND
@OUT
@JSON
@click.option("--strict", is_flag=True, help="Exit with 1 when a verdict is bad.")
@TIME_LIMIT
@guarded
def supply(
    build: Path, band: str | None, out: Path | None, as_json: bool, strict: bool, time_limit: str
) -> None:
    """Volts, ripple, start and discharge of the supply, what a meter should read, ratings, regulator."""
    result = _in_depth("supply", build, band=band, out=out, as_json=as_json, time_limit=time_limit)
    end_if_failed(result.failed)
    end_if_bad(strict, result.verdicts)


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
@click.option("--dial", metavar="FREQUENCY", help="Dial setting, e.g. 7.05MHz; left out: middle of the band.")
@click.option(
    "--at", "at", metavar="PERCENT", default="50%", show_default=True, help="Setting of the control."
)
@click.option(
    "-o", "--output", type=click.Path(path_type=Path, dir_okay=False), help="File; left out: stdout."
)
@JSON
@guarded
def deck(
    build: Path,
    study: str,
    band: str | None,
    dial: str | None,
    at: str,
    output: Path | None,
    as_json: bool,
) -> None:
    """Write the netlist of a study, ready for stock ngspice: ngspice -b FILE."""
    from receiver_sim import api  # inside, for start-up's sake
    from receiver_sim.results.written import DeckExport
    from receiver_sim.views import export

    rotation, frequency = rotation_of(at) or 0.0, frequency_of(dial)
    loaded = prepared(build, bands=[band])
    one = api.band_named(loaded, band)
    frequency = api.dial_frequencies(one)[1] if frequency is None else frequency
    text = api.deck_text(loaded, study=study, band=band, dial_hz=frequency, rotation=rotation)
    if output is not None:
        export.write_text(text, output)
        click.echo(f"wrote {output}; run it with: ngspice -b {output}", err=True)
    if as_json:
        file = None if output is None else str(output)
        emit_json("deck", DeckExport(loaded.sha256, study, one.name, frequency, rotation, file, text))
    elif output is None:
        click.echo(text, nl=False)


main.add_command(swap)
main.add_command(tubes)
for _command in (coils, detect, listen, onset, tap, wind):
    main.add_command(_command)


if __name__ == "__main__":
    main()
