"""The command line. Only click is imported at the top: everything else waits inside the commands for
start-up's sake.
"""

from __future__ import annotations

from pathlib import Path

import click

from receiver_sim import __version__
from receiver_sim.cli_common import (
    AT,
    BAND,
    BUILD,
    JSON,
    OUT,
    UserError,
    emit_json,
    end_if_bad,
    end_if_failed,
    frequency_of,
    guarded,
    known_band,
    load,
    progress_bars,
    rotation_of,
    show,
)


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="receiver-sim")
def main() -> None:
    """Check a two-valve regenerative receiver before it is built.

    A BUILD file describes the set; ngspice computes it. Begin with `receiver-sim new my-set.yaml`, then run
    `receiver-sim check my-set.yaml`.

    Plate supplies kill: isolate, discharge and measure first, and follow the electrical code where you live.
    """


@main.command()
@click.argument("file", type=click.Path(path_type=Path))
@guarded
def new(file: Path) -> None:
    """Write a commented starter build to FILE; an existing file is left alone."""
    from receiver_sim.results import cautions  # inside, for start-up's sake
    from receiver_sim.schema import write_starter

    try:
        write_starter(file)
    except FileExistsError:
        raise UserError(f"{file} exists already and is left as it is; give another name") from None
    click.echo(f"wrote {file}; edit it, then run: receiver-sim check {file}")
    for line in cautions.PLATE_SUPPLY:
        click.echo(f"  ! {line}")


@main.command()
@BUILD
@OUT
@JSON
@click.option("--no-plots", is_flag=True, help="Leave out the plots.")
@click.option("--strict", is_flag=True, help="Exit with 1 when a verdict is bad.")
@click.option(
    "--workers", type=click.IntRange(1, 64), default=2, show_default=True, help="ngspice processes."
)
@guarded
def check(build: Path, out: Path | None, as_json: bool, no_plots: bool, strict: bool, workers: int) -> None:
    """Answer the main question for BUILD: onset on every band, and audio, hum and supply, with verdicts.

    Plots and the JSON document go to a folder named after the build unless --out names one.
    """
    from receiver_sim import api  # inside, for start-up's sake

    loaded = load(build)
    folder = out if out is not None else Path(f"{build.stem}-results")
    with (
        api.Bench(workers=workers, keep_failed=folder / "failed") as bench,
        progress_bars(as_json) as progress,
    ):
        report = api.check(loaded, bench=bench, progress=progress)
        if not no_plots:
            from receiver_sim.views import check_plots

            check_plots.write(report, folder, progress)
    from receiver_sim.results.document import document
    from receiver_sim.views import export, tables

    whole = document("check", report, provenance=report.provenance, warnings=loaded.warnings)
    export.write_json(whole, folder / "check.json")
    if as_json:
        emit_json("check", report, build=loaded, bench=bench)
    else:
        show(tables.check_report(report))
        click.echo(
            f"written to {folder}: " + ", ".join(sorted(p.name for p in folder.iterdir() if p.is_file()))
        )
    end_if_failed(report.bands)
    end_if_bad(strict, report.verdicts)


@main.command()
@BUILD
@click.option("--band", "bands", multiple=True, help="Name of a band; may be repeated. Left out: all bands.")
@OUT
@JSON
@guarded
def loop(build: Path, bands: tuple[str, ...], out: Path | None, as_json: bool) -> None:
    """Loop gain and onset on the regeneration control, band by band."""
    from receiver_sim import api  # inside, for start-up's sake
    from receiver_sim.views import check_plots, tables

    loaded = load(build)
    for name in bands:
        known_band(loaded, name)
    with api.Bench() as bench, progress_bars(as_json) as progress:
        reports = api.loop(loaded, bands=bands or None, bench=bench, progress=progress)
    if out is not None:
        check_plots.write_bands(reports, out)
    if as_json:
        emit_json("loop", reports, build=loaded, bench=bench)
    else:
        show(tables.band_table(reports))
        show(tables.selectivity_table(reports))
        show(tables.cautions_block())
    end_if_failed(reports)


@main.command()
@BUILD
@BAND
@AT
@OUT
@JSON
@guarded
def audio(build: Path, band: str | None, at: str | None, out: Path | None, as_json: bool) -> None:
    """Audio response from the detector's grid to each output."""
    from receiver_sim import api  # inside, for start-up's sake
    from receiver_sim.views import check_plots, tables

    rotation = rotation_of(at)
    loaded = load(build)
    known_band(loaded, band)
    with api.Bench() as bench:
        result = api.audio(loaded, band=band, rotation=rotation, bench=bench)
    if out is not None:
        check_plots.write_audio(result, out)
    if as_json:
        emit_json("audio", result, build=loaded, bench=bench)
    else:
        show(tables.audio_table(result))


@main.command()
@BUILD
@BAND
@AT
@OUT
@JSON
@guarded
def hum(build: Path, band: str | None, at: str | None, out: Path | None, as_json: bool) -> None:
    """Hum at each output against the position of the hum pot, and supply ripple."""
    from receiver_sim import api  # inside, for start-up's sake
    from receiver_sim.views import check_plots, tables

    rotation = rotation_of(at)
    loaded = load(build)
    known_band(loaded, band)
    with api.Bench() as bench:
        result = api.hum_study(loaded, band=band, rotation=rotation, bench=bench)
    if out is not None:
        check_plots.write_hum(result, out)
    if as_json:
        emit_json("hum", result, build=loaded, bench=bench)
    else:
        show(tables.hum_table(result))
        show(tables.cautions_block())


@main.command()
@BUILD
@BAND
@JSON
@click.option("--strict", is_flag=True, help="Exit with 1 when a verdict is bad.")
@guarded
def supply(build: Path, band: str | None, as_json: bool, strict: bool) -> None:
    """What a meter should read, ratings, and how the regulator holds over the mains."""
    from receiver_sim import api  # inside, for start-up's sake
    from receiver_sim.views import tables

    loaded = load(build)
    known_band(loaded, band)
    with api.Bench() as bench:
        result = api.supply(loaded, band=band, bench=bench)
    if as_json:
        emit_json("supply", result, build=loaded, bench=bench)
    else:
        show(tables.cautions_block())
        show(tables.operating_table(result.operating_points))
        show(tables.ratings_table(result.operating_points))
        show(tables.regulator_table(result.regulator))
        show(tables.verdict_table(result.verdicts))
    end_if_bad(strict, result.verdicts)


@main.command()
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
@guarded
def deck(build: Path, study: str, band: str | None, dial: str | None, at: str, output: Path | None) -> None:
    """Write the netlist of a study, ready for stock ngspice: ngspice -b FILE."""
    from receiver_sim import api  # inside, for start-up's sake
    from receiver_sim.views import export

    rotation, frequency = rotation_of(at), frequency_of(dial)
    loaded = load(build)
    known_band(loaded, band)
    text = api.deck_text(loaded, study=study, band=band, dial_hz=frequency, rotation=rotation or 0.0)
    if output is None:
        click.echo(text, nl=False)
    else:
        export.write_text(text, output)
        click.echo(f"wrote {output}; run it with: ngspice -b {output}", err=True)


if __name__ == "__main__":
    main()
