"""The command line. Only click is imported at the top: everything else waits inside the commands for
start-up's sake.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from receiver_sim import __version__

if TYPE_CHECKING:
    from receiver_sim.results.check import Verdict
    from receiver_sim.schema import Build

EXIT_VERDICT, EXIT_INPUT, EXIT_SIMULATION = 1, 2, 3

_BUILD = click.argument("build", metavar="BUILD", type=click.Path(path_type=Path))
_JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of tables.")
_BAND = click.option("--band", help="Name of the band to look at.")
_AT = click.option(
    "--at",
    "at",
    metavar="PERCENT",
    help="Setting of the regeneration control, e.g. 45%; left out: where the loop gain is 0.9.",
)
_OUT = click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder for the plots (PNG and SVG) and the JSON document.",
)


def _fail(text: str, code: int) -> None:
    click.echo(text, err=True)
    raise SystemExit(code)


def _guarded(function: Callable[..., Any]) -> Callable[..., Any]:
    """Turn the errors a user can cause or meet into a message and the exit code of the contract."""

    @wraps(function)
    def wrapper(*args: Any, **kwargs: Any) -> Any:
        # inside, for start-up's sake: the schema layer is slow to load
        from receiver_sim.engine import EngineError
        from receiver_sim.schema import FileFaults

        try:
            return function(*args, **kwargs)
        except FileFaults as faults:
            _fail(str(faults), EXIT_INPUT)
        except UserError as error:
            _fail(f"receiver-sim: {error}", EXIT_INPUT)
        except EngineError as error:
            _fail(f"receiver-sim: {error}", EXIT_SIMULATION)
        except OSError as error:
            name = f"{error.filename}: " if error.filename else ""
            _fail(f"receiver-sim: {name}{error.strerror or error}", EXIT_INPUT)

    return wrapper


class UserError(Exception):
    """Something on the command line is wrong; the message says what and what to do."""


def _load(path: Path) -> Build:
    from receiver_sim.schema import load_build  # inside, for start-up's sake

    build = load_build(path)
    for text in build.warnings:
        click.echo(f"note: {text}", err=True)
    return build


def _named_band(build: Build, name: str | None) -> None:
    """Refuse an unknown band before any work is done."""
    from receiver_sim.api import band_named  # inside, for start-up's sake

    try:
        band_named(build, name)
    except KeyError as error:
        raise UserError(str(error.args[0])) from None


def _rotation(text: str | None) -> float | None:
    """Read a setting of the control such as '45%' or '45 %'."""
    if text is None:
        return None
    from receiver_sim.schema.quantity import FRACTION, Quantity  # inside, for start-up's sake

    try:
        return Quantity(FRACTION, "0 %", "100 %", zero=True, example="45 %").read(text)
    except ValueError as error:
        raise UserError(f"--at {text!r}: expected a setting of the control such as 45%; {error}") from None


def _frequency(text: str | None) -> float | None:
    """Read a frequency such as '7.05MHz'."""
    if text is None:
        return None
    from receiver_sim.schema.quantity import FREQUENCY, Quantity  # inside, for start-up's sake

    try:
        return Quantity(FREQUENCY, "10 kHz", "300 MHz", example="7.05 MHz").read(text)
    except ValueError as error:
        raise UserError(f"--dial {text!r}: expected a frequency such as 7.05MHz; {error}") from None


@contextmanager
def _progress(quiet: bool) -> Iterator[Callable[[str, int, int], None]]:
    """Show progress on stderr: a bar on a terminal, nothing in a pipe."""
    if quiet or not sys.stderr.isatty():
        yield lambda _what, _done, _total: None
        return
    from rich.console import Console  # inside, for start-up's sake
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    columns = (TextColumn("{task.description:>16}"), BarColumn(), MofNCompleteColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bars:
        tasks: dict[str, Any] = {}

        def show(what: str, done: int, total: int) -> None:
            group = what if what in ("onset", "loop gain", "drawing") else "audio and supply"
            if group not in tasks:
                tasks[group] = bars.add_task(group, total=total)
            bars.update(tasks[group], completed=done, total=total)

        yield show


def _print(renderable: Any) -> None:
    from receiver_sim.views import tables  # inside, for start-up's sake

    tables.show(renderable)


def _emit_json(verb: str, result: Any) -> None:
    import json  # inside, for start-up's sake

    from receiver_sim.results.document import document

    click.echo(json.dumps(document(verb, result), indent=1))


def _strict(strict: bool, verdicts: tuple[Verdict, ...]) -> None:
    from receiver_sim.results.check import Grade  # inside, for start-up's sake

    if strict and any(v.grade is Grade.BAD for v in verdicts):
        raise SystemExit(EXIT_VERDICT)


def _engine_failures(reports: Any) -> None:
    """End with the code of a failed simulation when a band failed; its deck is named in the warnings."""
    failed = [o for report in reports for o in report.onsets if o.status.value == "failed"]
    for onset in failed:
        click.echo(f"receiver-sim: {onset.band}: {'; '.join(onset.warnings)}", err=True)
    if failed:
        raise SystemExit(EXIT_SIMULATION)


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
@_guarded
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
@_BUILD
@_OUT
@_JSON
@click.option("--no-plots", is_flag=True, help="Leave out the plots.")
@click.option("--strict", is_flag=True, help="Exit with 1 when a verdict is bad.")
@click.option(
    "--workers", type=click.IntRange(1, 64), default=2, show_default=True, help="ngspice processes."
)
@_guarded
def check(build: Path, out: Path | None, as_json: bool, no_plots: bool, strict: bool, workers: int) -> None:
    """Answer the main question for BUILD: onset on every band, and audio, hum and supply, with verdicts.

    Plots and the JSON document go to a folder named after the build unless --out names one.
    """
    from receiver_sim import api  # inside, for start-up's sake

    loaded = _load(build)
    folder = out if out is not None else Path(f"{build.stem}-results")
    with api.Bench(workers=workers, keep_failed=folder / "failed") as bench, _progress(as_json) as progress:
        report = api.check(loaded, bench=bench, progress=progress)
        if not no_plots:
            from receiver_sim.views import check_plots

            check_plots.write(report, folder, progress)
    from receiver_sim.results.document import document
    from receiver_sim.views import export, tables

    export.write_json(document("check", report), folder / "check.json")
    if as_json:
        _emit_json("check", report)
    else:
        _print(tables.check_report(report))
        click.echo(
            f"written to {folder}: " + ", ".join(sorted(p.name for p in folder.iterdir() if p.is_file()))
        )
    _engine_failures(report.bands)
    _strict(strict, report.verdicts)


@main.command()
@_BUILD
@click.option("--band", "bands", multiple=True, help="Name of a band; may be repeated. Left out: all bands.")
@_OUT
@_JSON
@_guarded
def loop(build: Path, bands: tuple[str, ...], out: Path | None, as_json: bool) -> None:
    """Loop gain and onset on the regeneration control, band by band."""
    from receiver_sim import api  # inside, for start-up's sake
    from receiver_sim.views import check_plots, tables

    loaded = _load(build)
    for name in bands:
        _named_band(loaded, name)
    with api.Bench() as bench, _progress(as_json) as progress:
        reports = api.loop(loaded, bands=bands or None, bench=bench, progress=progress)
    if out is not None:
        check_plots.write_bands(reports, out)
    if as_json:
        _emit_json("loop", reports)
    else:
        _print(tables.band_table(reports))
        _print(tables.selectivity_table(reports))
        _print(tables.cautions_block())
    _engine_failures(reports)


@main.command()
@_BUILD
@_BAND
@_AT
@_OUT
@_JSON
@_guarded
def audio(build: Path, band: str | None, at: str | None, out: Path | None, as_json: bool) -> None:
    """Audio response from the detector's grid to each output."""
    from receiver_sim import api  # inside, for start-up's sake
    from receiver_sim.views import check_plots, tables

    rotation = _rotation(at)
    loaded = _load(build)
    _named_band(loaded, band)
    result = api.audio(loaded, band=band, rotation=rotation)
    if out is not None:
        check_plots.write_audio(result, out)
    if as_json:
        _emit_json("audio", result)
    else:
        _print(tables.audio_table(result))


@main.command()
@_BUILD
@_BAND
@_AT
@_OUT
@_JSON
@_guarded
def hum(build: Path, band: str | None, at: str | None, out: Path | None, as_json: bool) -> None:
    """Hum at each output against the position of the hum pot, and supply ripple."""
    from receiver_sim import api  # inside, for start-up's sake
    from receiver_sim.views import check_plots, tables

    rotation = _rotation(at)
    loaded = _load(build)
    _named_band(loaded, band)
    result = api.hum_study(loaded, band=band, rotation=rotation)
    if out is not None:
        check_plots.write_hum(result, out)
    if as_json:
        _emit_json("hum", result)
    else:
        _print(tables.hum_table(result))
        _print(tables.cautions_block())


@main.command()
@_BUILD
@_BAND
@_JSON
@click.option("--strict", is_flag=True, help="Exit with 1 when a verdict is bad.")
@_guarded
def supply(build: Path, band: str | None, as_json: bool, strict: bool) -> None:
    """What a meter should read, ratings, and how the regulator holds over the mains."""
    from receiver_sim import api  # inside, for start-up's sake
    from receiver_sim.views import tables

    loaded = _load(build)
    _named_band(loaded, band)
    result = api.supply(loaded, band=band)
    if as_json:
        _emit_json("supply", result)
    else:
        _print(tables.cautions_block())
        _print(tables.operating_table(result.operating_points))
        _print(tables.ratings_table(result.operating_points))
        _print(tables.regulator_table(result.regulator))
        _print(tables.verdict_table(result.verdicts))
    _strict(strict, result.verdicts)


@main.command()
@_BUILD
@click.option(
    "--study",
    type=click.Choice(["loop", "bias", "audio", "hum"]),
    default="loop",
    show_default=True,
    help="Analysis that goes with the deck.",
)
@_BAND
@click.option("--dial", metavar="FREQUENCY", help="Dial setting, e.g. 7.05MHz; left out: middle of the band.")
@click.option(
    "--at", "at", metavar="PERCENT", default="50%", show_default=True, help="Setting of the control."
)
@click.option(
    "-o", "--output", type=click.Path(path_type=Path, dir_okay=False), help="File; left out: stdout."
)
@_guarded
def deck(build: Path, study: str, band: str | None, dial: str | None, at: str, output: Path | None) -> None:
    """Write the netlist of a study, ready for stock ngspice: ngspice -b FILE."""
    from receiver_sim import api  # inside, for start-up's sake
    from receiver_sim.views import export

    rotation, frequency = _rotation(at), _frequency(dial)
    loaded = _load(build)
    _named_band(loaded, band)
    text = api.deck_text(loaded, study=study, band=band, dial_hz=frequency, rotation=rotation or 0.0)
    if output is None:
        click.echo(text, nl=False)
    else:
        export.write_text(text, output)
        click.echo(f"wrote {output}; run it with: ngspice -b {output}", err=True)


if __name__ == "__main__":
    main()
