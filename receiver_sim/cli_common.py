"""What the commands share: options, loading, errors and exit codes, progress, printing.

Only click is imported at the top: everything else waits inside the functions for start-up's sake.
"""

from __future__ import annotations

import errno
import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from receiver_sim.engine import Bench
    from receiver_sim.results.base import FailedStage
    from receiver_sim.results.check import Verdict
    from receiver_sim.schema import Build

EXIT_VERDICT, EXIT_INPUT, EXIT_SIMULATION = 1, 2, 3

BUILD = click.argument("build", metavar="BUILD", type=click.Path(path_type=Path))
JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of tables.")
BAND = click.option("--band", help="Name of the band to look at.")
AT = click.option(
    "--at",
    "at",
    metavar="PERCENT",
    help="Setting of the regeneration control, e.g. 45%; left out: where the loop gain is 0.9.",
)
OUT = click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder for the plots (PNG and SVG) and the JSON document.",
)
TIME_LIMIT = click.option(
    "--time-limit",
    metavar="TIME",
    default="60s",
    show_default=True,
    help="Longest time ngspice may take for one analysis.",
)
WIDTH = 100
"""Columns that no printed line exceeds, save those of a netlist."""


def fail(text: str, code: int) -> None:
    """Say why on stderr and end with that exit code."""
    if code == EXIT_SIMULATION:  # one long sentence; the faults of a file have a line each
        text = folded(text)
    click.echo(text, err=True)
    raise SystemExit(code)


def guarded(function: Callable[..., Any]) -> Callable[..., Any]:
    """Turn the errors a user can cause or meet into a message and the exit code of the contract."""

    @wraps(function)
    def wrapper(*args: Any, **kwargs: Any) -> Any:
        # inside, for start-up's sake: the schema layer is slow to load
        from receiver_sim.engine import EngineError
        from receiver_sim.schema import FileFaults

        try:
            return function(*args, **kwargs)
        except FileFaults as faults:
            fail(str(faults), EXIT_INPUT)
        except UserError as error:
            fail(f"receiver-sim: {error}", EXIT_INPUT)
        except EngineError as error:
            fail(f"receiver-sim: {error}", EXIT_SIMULATION)
        except OSError as error:
            if error.errno == errno.EPIPE:  # the reader of a pipe has seen enough; click ends quietly
                raise
            name = f"{error.filename}: " if error.filename else ""
            fail(f"receiver-sim: {name}{error.strerror or error}", EXIT_INPUT)

    return wrapper


class UserError(Exception):
    """Something on the command line is wrong; the message says what and what to do."""


def load(path: Path, *, told: bool = False) -> Build:
    """Read a build and say its warnings on stderr, unless they are `told` in the verb's own answer."""
    from receiver_sim.schema import load_build  # inside, for start-up's sake

    build = load_build(path)
    for text in () if told else build.warnings:
        click.echo(folded(f"note: {text}"), err=True)
    return build


def folded(text: str, mark: str = "") -> str:
    """Return a sentence folded to the width of a page, `mark` before it and its own width before the rest."""
    import shutil  # inside, for start-up's sake
    import textwrap

    terminal = sys.stderr.isatty() or sys.stdout.isatty()
    width = min(WIDTH, shutil.get_terminal_size((WIDTH, 24)).columns) if terminal else WIDTH
    hang = " " * len(mark)
    # a path stays in one piece, to be copied
    return textwrap.fill(
        text,
        max(width, 20),
        initial_indent=mark,
        subsequent_indent=hang,
        break_long_words=False,
        break_on_hyphens=False,
    )


def writable_folder(folder: Path) -> Path:
    """Refuse a folder that could not be written to, before any work is done; make nothing yet."""
    import os  # inside, for start-up's sake

    place = folder.absolute()
    while not place.exists() and place != place.parent:
        place = place.parent
    if not place.is_dir():
        raise UserError(f"{folder}: '{place}' is a file; name a folder with --out")
    if not os.access(place, os.W_OK | os.X_OK):
        raise UserError(f"{folder}: no permission to write in '{place}'; name another folder with --out")
    return folder


def prepared(
    path: Path, *, bands: Iterable[str | None] = (), out: Path | None = None, told: bool = False
) -> Build:
    """Read a build as `load` does and refuse an unknown band or an unfit folder before any work is done."""
    build = load(path, told=told)
    for name in bands:
        known_band(build, name)
    if out is not None:
        writable_folder(out)
    return build


def known_band(build: Build, name: str | None) -> None:
    """Refuse an unknown band before any work is done."""
    from receiver_sim.api import band_named  # inside, for start-up's sake

    try:
        band_named(build, name)
    except KeyError as error:
        raise UserError(str(error.args[0])) from None


def rotation_of(text: str | None) -> float | None:
    """Read a setting of the control such as '45%' or '45 %'."""
    if text is None:
        return None
    from receiver_sim.schema.quantity import PERCENTAGE, Quantity  # inside, for start-up's sake

    try:
        # a percentage, not a fraction, for the sake of its words: '45' has no unit here
        return Quantity(PERCENTAGE, "0 %", "100 %", zero=True, example="45 %").read(text)
    except ValueError as error:
        expected = "expected a setting of the control from 0% to 100%, such as 45%"
        raise UserError(f"--at {text!r}: {expected}; {error}") from None


def frequency_of(text: str | None) -> float | None:
    """Read a frequency such as '7.05MHz'."""
    if text is None:
        return None
    from receiver_sim.schema.quantity import FREQUENCY, Quantity  # inside, for start-up's sake

    try:
        return Quantity(FREQUENCY, "10 kHz", "300 MHz", example="7.05 MHz").read(text)
    except ValueError as error:
        expected = "expected a frequency from 10kHz to 300MHz, such as 7.05MHz"
        raise UserError(f"--dial {text!r}: {expected}; {error}") from None


def seconds_of(text: str) -> float:
    """Read a time such as '90s' or '2 min'."""
    from receiver_sim.schema.quantity import TIME, Quantity  # inside, for start-up's sake

    try:
        return Quantity(TIME, "1 us", "1000 min", example="90 s").read(text)
    except ValueError as error:
        expected = "expected a time from 1us to 1000min, such as 90s"
        raise UserError(f"--time-limit {text!r}: {expected}; {error}") from None


_OWN_BARS = ("onset", "loop gain", "drawing", "range", "dial", "aerial", "tap", "candidates", "listening")
"""What has a progress bar of its own; the quick studies share one."""


@contextmanager
def progress_bars(quiet: bool) -> Iterator[Callable[[str, int, int], None]]:
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
            group = what if what in _OWN_BARS else "audio and supply"
            if group not in tasks:
                tasks[group] = bars.add_task(group, total=total)
            bars.update(tasks[group], completed=done, total=total)

        yield show


def show(renderable: Any) -> None:
    """Print tables on stdout."""
    from receiver_sim.views import tables  # inside, for start-up's sake

    tables.show(renderable)


def emit_json(verb: str, result: Any, *, build: Build | None = None, bench: Bench | None = None) -> None:
    """Print the one JSON document of a verb, with where it comes from if a build was run on a bench."""
    import json  # inside, for start-up's sake

    click.echo(json.dumps(_document(verb, result, build, bench), indent=1))


def _document(verb: str, result: Any, build: Build | None, bench: Bench | None) -> dict[str, Any]:
    from receiver_sim.results.document import document  # inside, for start-up's sake

    provenance = None
    if build is not None and bench is not None:
        from receiver_sim import api

        provenance = api.provenance(build, bench)
    warnings = () if build is None else build.warnings
    return document(verb, result, provenance=provenance, warnings=warnings)


def answer(
    verb: str,
    result: Any,
    *,
    build: Build,
    bench: Bench,
    as_json: bool,
    sheet: Callable[[], Any],
    out: Path | None = None,
    plots: Iterable[Path] = (),
) -> None:
    """Give what a verb found on a build: its document into the folder `out`, then document or page on stdout.

    plots: files already drawn into `out`, to be named.
    """
    if out is not None:
        from receiver_sim.views import export  # inside, for start-up's sake

        export.write_json(_document(verb, result, build, bench), out / f"{verb}.json")
    if as_json:
        emit_json(verb, result, build=build, bench=bench)
        return
    show(sheet())
    if out is not None:
        say_written(out, plots, f"{verb}.json")


def say_written(folder: Path, plots: Iterable[Path], document: str | None = None) -> None:
    """Tell what was written to a folder; a plot is named once though it is there as PNG and SVG."""
    stems = ", ".join(dict.fromkeys(path.stem for path in plots))
    if document is not None:
        click.echo(f"\nwritten to {folder}: {document}")
    elif stems:
        click.echo(f"\nwritten to {folder}")
    if stems:
        click.echo(folded(f"plots, as PNG and SVG: {stems}"))


def end_if_bad(strict: bool, verdicts: tuple[Verdict, ...]) -> None:
    """Under --strict end with the code of a failed verdict if one is bad."""
    from receiver_sim.results.check import Grade  # inside, for start-up's sake

    if strict and any(v.grade is Grade.BAD for v in verdicts):
        raise SystemExit(EXIT_VERDICT)


def end_if_failed(failed: Iterable[FailedStage]) -> None:
    """End with the code of a failed simulation if a stage failed, each and its kept deck named on stderr."""
    reasons = list(failed)
    for one in reasons:
        click.echo(folded(f"receiver-sim: {one.stage}: {one.reason}"), err=True)
    if reasons:
        raise SystemExit(EXIT_SIMULATION)
