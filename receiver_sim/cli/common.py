"""What the commands share: options, loading, errors and exit codes, progress, printing.

Only click is imported at the top: everything else waits inside the functions for start-up's sake.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import click

from receiver_sim.cli.ends import (
    EXIT_OUTPUT,
    EXIT_SIMULATION,
    EXIT_VERDICT,
    Faults,
    StageFault,
    complain,
    folded,
    say,
    tell_lost,
)
from receiver_sim.errors import OutputFailed, UserError

if TYPE_CHECKING:
    from receiver_sim.engine import Bench
    from receiver_sim.outputs import FileSet
    from receiver_sim.results.bands import Verdict
    from receiver_sim.results.base import FailedStage
    from receiver_sim.schema import Build
    from receiver_sim.schema.quantity import Quantity

Progress = Callable[[str, int, int], None]
"""Called with what is going on, steps done and steps in all."""

BUILD = click.argument("build", metavar="BUILD", type=click.Path(path_type=Path))
JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of tables.")
BAND = click.option("--band", metavar="NAME", help="Name of the band, e.g. '40 m'; default: the first.")
BANDS = click.option(
    "--band", "bands", metavar="NAME", multiple=True,
    help="Name of a band, e.g. '40 m'; may be repeated; default: all bands.",
)  # fmt: skip
READINGS = click.option(
    "--readings",
    metavar="FILE",
    required=True,
    type=click.Path(path_type=Path, dir_okay=False),
    help="YAML file of readings: volts at pins with the meter used, onset on the knob, what is heard.",
)
PHONES = click.option("--phones", metavar="NAME", help="Name of the phones to listen at; default: the first.")
STRICT = click.option(
    "--strict", is_flag=True, help="Exit with 1 when a verdict is bad or a published figure is missed."
)


def at_option(otherwise: str, default: str | None = None) -> Callable[[Any], Any]:
    """Return the option `--at`, a setting of the control; `otherwise` says what holds without it."""
    return click.option(
        "--at", "at", metavar="PERCENT", default=default,
        help=f"Setting of the regeneration control in % of its travel, e.g. 45%; default: {otherwise}.",
    )  # fmt: skip


AT = at_option("where the loop gain is 0.9")


def file_option(otherwise: str, default: Path | None = None) -> Callable[[Any], Any]:
    """Return the option `-o`, the file that a verb writes; `otherwise` says what holds without it."""
    return click.option(
        "-o", "--output", "output", metavar="FILE", type=click.Path(path_type=Path, dir_okay=False),
        default=default, help=f"File to write; default: {otherwise}.",
    )  # fmt: skip


OUT = click.option(
    "--out",
    metavar="FOLDER",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder for the plots (PNG and SVG) and the JSON document.",
)
_USUAL, _USUAL_S = "60s", 60.0
_TIME_LIMIT = click.option(
    "--time-limit",
    metavar="TIME",
    default=_USUAL,
    show_default=True,
    help="Longest time ngspice may take for one analysis.",
)
_WORKERS = click.option(
    "--workers",
    metavar="N",
    type=click.IntRange(1, 64),
    default=2,
    show_default=True,
    help="ngspice processes that run at the same time.",
)


class Pool(NamedTuple):
    """What `--workers` and `--time-limit` ask for, and a bench whose workers get ready meanwhile; `bench_for`
    gives one.
    """

    bench: Bench
    workers: int
    time_limit_s: float
    cold: bool
    """Whether this is the first that the process does: others are started beside it, for speed."""


def simulating(command: Callable[..., Any], *, brief: bool = False) -> Callable[..., Any]:
    """Give a verb that runs ngspice the options `--workers` and `--time-limit`, as its argument `pool`.

    brief: its work on one of its `bands` takes less than the start of a second worker.
    """

    @wraps(command)
    def with_pool(*args: Any, workers: int, time_limit: str, **options: Any) -> Any:
        from receiver_sim.engine import Bench  # inside, for start-up's sake

        # reading a time loads all that reads builds, and the workers would have to wait for it
        limit_s = _USUAL_S if time_limit == _USUAL else seconds_of(time_limit)
        if brief and len(options["bands"]) == 1:
            workers = 1
        with Bench(workers=workers, time_limit_s=limit_s) as bench:
            cold = "receiver_sim.schema" not in sys.modules
            if cold:  # they get ready while this loads
                bench.warm()
            return command(*args, pool=Pool(bench, workers, limit_s, cold), **options)

    return _WORKERS(_TIME_LIMIT(with_pool))


def load(path: Path, *, told: bool = False) -> Build:
    """Read a build and say its warnings on stderr, unless they are `told` in the verb's own answer."""
    from receiver_sim.schema import load_build  # inside, for start-up's sake

    build = load_build(path)
    for text in () if told else build.warnings:
        complain(folded(f"note: {text}"))
    return build


def writable_folder(folder: Path) -> Path:
    """Refuse what can be no folder and tell of one that can't be written to, before any work is done.

    The work is done all the same, as its page is printed whatever becomes of the files; nothing is made yet.
    """
    import os  # inside, for start-up's sake

    try:
        place = folder.absolute()
    except FileNotFoundError:
        complain(folded(f"note: {folder}: the folder at hand is gone; nothing will be written"))
        return folder
    while not place.exists() and place != place.parent:
        place = place.parent
    if not place.is_dir():
        raise UserError(f"{folder}: '{place}' is a file; name a folder with --out")
    if not os.access(place, os.W_OK | os.X_OK):
        complain(folded(f"note: {folder}: no permission to write in '{place}'; nothing will be written"))
    return folder


def writable_file(path: Path) -> Path:
    """Look at the folder of a file as `writable_folder` does; a device or a pipe needs no room in it."""
    if not path.exists() or path.is_file():
        writable_folder(path.parent)
    return path


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

    band_named(build, name)


def phones_named(build: Build, name: str | None) -> int:
    """Return the place of the phones of a name, read as generously as that of a band."""
    names = [phones.name for phones in build.phones]
    plain = ["".join(one.split()).casefold() for one in names]
    wanted = "" if name is None else "".join(name.split()).casefold()
    if name is None or name in names:
        return 0 if name is None else names.index(name)
    if plain.count(wanted) != 1:
        raise UserError(f"no phones '{name}' in this build; there are: {', '.join(names)}")
    return plain.index(wanted)


def quantity_of(option: str, text: str, kind: Any) -> float:
    """Read an option as a field of the build with its bounds; `kind` is the annotated type of that field."""
    quantity: Quantity = kind.__metadata__[0]
    try:
        return quantity.read(text)
    except ValueError as error:
        raise UserError(f"{option} {text!r}: expected {quantity.expected()}; {error}") from None


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


_OWN_BARS = (
    "onset", "loop gain", "drawing", "range", "dial", "aerial", "tap", "candidates", "listening", "sets",
    "measured",
)  # fmt: skip
"""What has a progress bar of its own; the quick studies share one."""


@contextmanager
def progress_bars(quiet: bool) -> Iterator[Progress]:
    """Show progress on stderr: a bar on a terminal, nothing in a pipe."""
    if quiet or sys.stderr is None or not sys.stderr.isatty():
        yield lambda _what, _done, _total: None
        return
    from rich.console import Console  # inside, for start-up's sake
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (
        TextColumn("{task.description:>16}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
    )
    with Progress(*columns, console=Console(stderr=True), transient=True) as bars:
        tasks: dict[str, Any] = {}

        def show(what: str, done: int, total: int) -> None:
            group = what if what in _OWN_BARS else "audio and supply"
            if group not in tasks:
                tasks[group] = bars.add_task(group, total=total)
            bars.update(tasks[group], completed=done, total=total)

        yield show


def page(renderable: Any) -> str:
    """Return what a table or a tuple of them prints, in colour if it goes to a terminal that has it."""
    from receiver_sim.views import sheet  # inside, for start-up's sake

    parts = renderable if isinstance(renderable, tuple) else (renderable,)
    return "" if sys.stdout is None else "".join(sheet.printed(part, sys.stdout) for part in parts)


def show(renderable: Any) -> None:
    """Print tables on standard output. Raises OutputFailed."""
    say(page(renderable), end="")


def emit_json(verb: str, result: Any, *, build: Build | None = None, bench: Bench | None = None) -> None:
    """Print the one JSON document of a verb, with where it comes from if a build was run on a bench."""
    say(document_text(verb, result, build=build, bench=bench))


def document_text(verb: str, result: Any, *, build: Build | None = None, bench: Bench | None = None) -> str:
    """Return the one JSON document of a verb, as `emit_json` prints it."""
    return _json(_document(verb, result, build, bench))


def _json(document: dict[str, Any]) -> str:
    import json  # inside, for start-up's sake

    return json.dumps(document, indent=1)


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
    as_json: bool,
    sheet: Callable[[], Any],
    build: Build | None = None,
    bench: Bench | None = None,
    out: Path | None = None,
    draw: Callable[[FileSet, Progress], Any] | None = None,
    then: Callable[[], Any] | None = None,
    failed: Iterable[FailedStage] = (),
    strict: Iterable[Verdict] = (),
) -> None:
    """Give what a verb found and end it: page or document on standard output, files into the folder `out`.

    The page comes first and does not depend on the files: neither a plot nor a full disk loses it. draw: adds
    the plots to the set of files that it is given. then: writes what goes elsewhere. failed: stages that
    failed, named on standard error. strict: verdicts of which none may be bad. Exits with the code of the
    first of these: a fault in a stage or in drawing, a failed stage, a lost output, a bad verdict.
    """
    from receiver_sim.results.bands import Grade  # inside, for start-up's sake

    ending = Ending(failed)
    text = "" if as_json else page(sheet())
    if not as_json:
        ending.print(text, end="")
        if bench is not None and (line := _solutions(bench)):
            ending.print(f"\n{line}")
    files = None if out is None else _drawn(out, verb, as_json, draw, ending)
    document = _document(verb, result, build, bench) if as_json or files is not None else {}
    kept = () if bench is None else _named_decks(bench, out, text + ending.reasons + _json(document))
    if files is not None:
        document["files"] = [*files.names, *kept]
    if as_json:
        ending.print(_json(document))
    if then is not None:
        ending.write(then)
    if files is not None:
        _published(files, document, kept, ending, quiet=as_json)
    ending.end(bad=any(v.grade is Grade.BAD for v in strict))


def _solutions(bench: Bench) -> str:
    """Return how operating points were found, in a line; nothing if Newton's method served throughout."""
    from receiver_sim.engine import Rung  # inside, for start-up's sake

    served = bench.rungs
    if not any(served[rung] for rung in Rung if rung is not Rung.NEWTON):
        return ""
    counts = ", ".join(f"{served[rung]} by {rung.value}" for rung in Rung if served[rung])
    text = f"Analyses by how their operating points were found: {counts}."
    if served[Rung.WIDER]:
        text += " Figures that rest on wider tolerances may be off in their last digits."
    return folded(text)


class Ending:
    """What went wrong while an answer was given, reported as it comes, and the exit code that follows."""

    def __init__(self, failed: Iterable[FailedStage] = ()) -> None:
        """Begin with the stages that failed."""
        self.failed = list(failed)
        self.lost = False
        self.fault: Exception | None = None
        self._reader = True

    @property
    def reasons(self) -> str:
        """What is going to be told of the stages that failed."""
        return "".join(one.reason for one in self.failed)

    def print(self, text: str, *, end: str = "\n") -> None:
        """Print on standard output; once that failed, nothing more."""
        if not self._reader:
            return
        try:
            say(text, end=end)
        except OutputFailed as error:
            self._reader = False
            self.lose(error)

    def write(self, then: Callable[[], Any]) -> bool:
        """Write files, unless they can't be written; return whether they were."""
        try:
            then()
        except OutputFailed as error:
            self.lose(error)
            return False
        return True

    def lose(self, error: OutputFailed) -> None:
        """Say which output is lost."""
        tell_lost(error)
        self.lost = True

    def end(self, *, bad: bool = False) -> None:
        """Name what failed and exit with its code, if anything calls for one."""
        alike: dict[str, list[FailedStage]] = {}
        for one in self.failed:
            if one.fault is None:
                complain(folded(f"receiver-sim: {one.stage}: {one.reason}"))
            else:
                alike.setdefault(one.reason, []).append(one)
        faults: list[Exception] = [
            StageFault([one.stage for one in some], reason, some[0].fault or "")
            for reason, some in alike.items()
        ]
        if self.fault is not None:
            faults.append(self.fault)
        if faults:
            raise Faults(faults)
        code = EXIT_SIMULATION if self.failed else EXIT_OUTPUT if self.lost else EXIT_VERDICT if bad else 0
        if code:
            raise SystemExit(code)


def _drawn(
    out: Path, verb: str, quiet: bool, draw: Callable[[FileSet, Progress], Any] | None, ending: Ending
) -> FileSet:
    """Return the files of a verb with what could be drawn."""
    from receiver_sim.outputs import FileSet  # inside, for start-up's sake

    files = FileSet(out, verb)
    if draw is not None:
        from receiver_sim.views.own_look import own_look

        try:
            with own_look(), progress_bars(quiet) as progress:
                draw(files, progress)
        except Exception as error:
            ending.fault = error
    return files


def _published(
    files: FileSet, document: dict[str, Any], kept: tuple[str, ...], ending: Ending, *, quiet: bool
) -> None:
    """Put the files into their folder and tell which; a plot that is there as PNG and SVG is named once."""
    from receiver_sim.views import export  # inside, for start-up's sake

    if not ending.write(lambda: files.publish(export.encoded(document), kept)) or quiet:
        return
    ending.print(f"\nwritten to {files.folder}: {files.document}")
    stems = ", ".join(dict.fromkeys(Path(name).stem for name in files.names))
    if stems:
        ending.print(folded(f"plots, as PNG and SVG: {stems}"))


def _named_decks(bench: Bench, out: Path | None, told: str) -> tuple[str, ...]:
    """Return the kept decks that are named in what was told and lie in the folder, by their names in it."""
    bench.forget_unnamed(told)
    inside = [path.relative_to(out) for path in bench.kept if out is not None and out in path.parents]
    return tuple(path.as_posix() for path in inside)


@contextmanager
def bench_for(pool: Pool, *, keep: Path | None = None) -> Iterator[Bench]:
    """Give the pool of workers that a verb was asked to use.

    keep: folder for the decks of failed runs, a temporary one if None.
    A verb that ends with an error leaves no decks but those that the error names.
    """
    from receiver_sim.engine import Bench  # inside, for start-up's sake

    bench = pool.bench
    if pool.time_limit_s != bench.time_limit_s:
        bench = Bench(workers=pool.workers, time_limit_s=pool.time_limit_s)
    bench.keep_in(keep)
    with bench:
        try:
            yield bench
        except BaseException as error:
            bench.forget_unnamed(str(error))
            raise
