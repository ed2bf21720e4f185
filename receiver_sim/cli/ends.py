"""How a call of the program ends: exit codes, messages, faults of the program, streams that fail.

Only click is imported at the top: everything else waits inside the functions for start-up's sake.
"""

from __future__ import annotations

import contextlib
import errno
import os
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import click

from receiver_sim import __version__, dead_objects, one_thread
from receiver_sim.errors import NoAnswer, OutputFailed, ReceiverSimError, UserError, fault_in_words

EXIT_VERDICT, EXIT_INPUT, EXIT_SIMULATION, EXIT_OUTPUT, EXIT_FAULT, EXIT_BROKEN_OFF = 1, 2, 3, 4, 70, 130

EXIT_CODES = {
    0: "done",
    EXIT_VERDICT: "a verdict is BAD and `--strict` was given",
    EXIT_INPUT: "bad input, nothing written",
    EXIT_SIMULATION: "a simulation failed: its netlist is kept and named, the rest is printed",
    EXIT_OUTPUT: "an output could not be written: its path is named, the page is printed all the same",
    EXIT_FAULT: "a fault of the program: the message names a report to pass on",
    EXIT_BROKEN_OFF: "broken off (Ctrl-C)",
}
"""Every exit code there is. Of several reasons the first of 70, 3, 4, 1 counts; all are printed."""

TRACEBACK = "RECEIVER_SIM_TRACEBACK"
"""Environment variable: if set, a fault of the program prints its traceback, too."""

_OF_STREAMS = {errno.EPIPE, errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO, errno.EBADF}

STANDARD_OUTPUT = "standard output"
WIDTH = 100
"""Columns that no printed line exceeds, except those of a netlist."""


class StageFault(Exception):  # noqa: N818 - says what happened
    """A fault of the program in one stage of a verb or several alike, which the verb outlived."""

    def __init__(self, stages: Sequence[str], reason: str, trace: str) -> None:
        more = f" and {len(stages) - 1} more stages" if len(stages) > 1 else ""
        super().__init__(f"{reason} (in {stages[0]}{more})")
        self.stages = tuple(stages)
        self.trace = f"In {', '.join(stages)}.\nTraceback (most recent call last):\n{trace}"


class Faults(Exception):  # noqa: N818 - says what happened
    """All faults of the program that a verb met and outlived."""

    def __init__(self, faults: Sequence[Exception]) -> None:
        super().__init__("; ".join(map(str, faults)))
        self.faults = tuple(faults)


def say(text: str, *, end: str = "\n") -> None:
    """Print on standard output. Raises OutputFailed if it is closed, full or nobody reads it."""
    if sys.stdout is None:
        raise OutputFailed(STANDARD_OUTPUT, "it is closed")
    try:
        click.echo(text + end, nl=False)
        sys.stdout.flush()
    except OSError as error:
        _silence(1, sys.stdout)
        raise OutputFailed(STANDARD_OUTPUT, error) from error


def complain(text: str) -> None:
    """Print on standard error, as far as that goes."""
    if sys.stderr is None:
        return
    try:
        click.echo(text, err=True)
        sys.stderr.flush()
    except OSError:
        _silence(2, sys.stderr)


def folded(text: str, mark: str = "") -> str:
    """Return a sentence folded to the width of a page, `mark` before it and its own width before the rest."""
    import shutil  # inside, for start-up's sake
    import textwrap

    width = WIDTH
    if any(stream is not None and stream.isatty() for stream in (sys.stderr, sys.stdout)):
        width = min(WIDTH, shutil.get_terminal_size((WIDTH, 24)).columns)
    # a path stays in one piece, to be copied
    return textwrap.fill(
        text,
        max(width, 20),
        initial_indent=mark,
        subsequent_indent=" " * len(mark),
        break_long_words=False,
        break_on_hyphens=False,
    )


class _ReaderGone(Exception):  # noqa: N818 - says what happened
    """Carries the error of a pipe without a reader past click's `main`, which would end with 1 at it."""

    def __init__(self, cause: OSError) -> None:
        super().__init__(cause)
        self.cause = cause


@contextlib.contextmanager
def _past_click() -> Iterator[None]:
    try:
        yield
    except OSError as error:
        if error.errno == errno.EPIPE:
            raise _ReaderGone(error) from error
        raise


class Program(click.Group):
    """The group of all verbs, whose calls end with one of EXIT_CODES, whatever happens within."""

    def make_context(self, *args: Any, **extra: Any) -> click.Context:  # noqa: D102 - click's
        with _past_click():
            return super().make_context(*args, **extra)

    def invoke(self, ctx: click.Context) -> Any:  # noqa: D102 - click's
        with _past_click():
            return super().invoke(ctx)

    def _call(
        self, args: Sequence[str] | None, prog_name: str | None, complete_var: str | None, **extra: Any
    ) -> Any:
        """Call click's own `main` so that it returns or raises."""
        try:
            return super().main(args, prog_name, complete_var, standalone_mode=False, **extra)
        except _ReaderGone as gone:
            raise gone.cause from None

    def main(  # noqa: D102 - click's
        self,
        args: Sequence[str] | None = None,
        prog_name: str | None = None,
        complete_var: str | None = None,
        standalone_mode: bool = True,
        **extra: Any,
    ) -> Any:
        if not standalone_mode:
            return self._call(args, prog_name, complete_var, **extra)
        _open_closed_streams()
        one_thread.ask_for_one(os.environ)  # before numpy is loaded
        dead_objects.look_seldom()
        words = list(sys.argv[1:] if args is None else args)
        try:
            try:
                returned = self._call(words, prog_name, complete_var, **extra)
                code = returned if isinstance(returned, int) else 0
            except SystemExit as end:
                code = end.code if isinstance(end.code, int) else 0
            if sys.stdout is not None:
                say("", end="")  # what is still to be written shows now whether it can be
        except BaseException as error:
            code = _code_of(error, words)
        sys.exit(code)


def _code_of(error: BaseException, words: Sequence[str]) -> int:
    """Say why a call ended and return its exit code."""
    if isinstance(error, (KeyboardInterrupt, click.Abort)):
        complain("receiver-sim: broken off")
        return EXIT_BROKEN_OFF
    if isinstance(error, click.ClickException):
        if sys.stderr is not None:
            with contextlib.suppress(OSError):
                error.show()
        return EXIT_INPUT
    if isinstance(error, ReceiverSimError):
        return _code_of_ours(error)
    if isinstance(error, OSError) and (code := _code_of_system(error, words)):
        return code
    for fault in error.faults if isinstance(error, Faults) else (error,):
        complain(folded(_fault(fault, words)))
    return EXIT_FAULT


def _code_of_system(error: OSError, words: Sequence[str]) -> int:
    """Report a refusal by the system that is nobody's fault but the output's or an input's; 0 for others."""
    if error.filename is None and error.errno in _OF_STREAMS:  # click printing its help
        _silence(1, sys.stdout)
        tell_lost(OutputFailed(STANDARD_OUTPUT, error))
        return EXIT_OUTPUT
    if error.filename and any(str(error.filename) in word for word in words):
        complain(f"receiver-sim: {error.filename}: {error.strerror or error}")
        return EXIT_INPUT
    return 0


def _code_of_ours(error: ReceiverSimError) -> int:
    from receiver_sim.engine import EngineError  # inside, for start-up's sake
    from receiver_sim.schema import FileFaults

    if isinstance(error, FileFaults):
        complain(str(error))  # a line each
        return EXIT_INPUT
    if isinstance(error, OutputFailed):
        tell_lost(error)
        return EXIT_OUTPUT
    if isinstance(error, (EngineError, NoAnswer)):
        complain(folded(f"receiver-sim: {error}"))
        return EXIT_SIMULATION
    complain(f"receiver-sim: {error}")
    return EXIT_INPUT


def tell_lost(error: OutputFailed) -> None:
    """Say which output could not be written; a reader who has seen enough knows."""
    if not (error.errno == errno.EPIPE and error.where == STANDARD_OUTPUT):
        complain(folded(f"receiver-sim: {error}"))


def _fault(error: BaseException, words: Sequence[str]) -> str:
    """Keep a report on a fault of the program and return what to tell of it."""
    import platform  # inside, for start-up's sake
    import shlex
    import traceback

    trace = error.trace if isinstance(error, StageFault) else "".join(traceback.format_exception(error))
    text = (
        f"receiver_sim {__version__}, Python {platform.python_version()}, {platform.platform()}\n"
        f"receiver-sim {shlex.join(words)}\n\n{trace}"
    )
    if os.environ.get(TRACEBACK):
        complain(trace)
    if isinstance(error, StageFault):
        told = f"receiver-sim: {error}"
    else:
        told = f"receiver-sim: {fault_in_words(error)}"
    path = _kept_report(text)
    if path is None:
        return (
            f"{told}; no report could be kept, so set {TRACEBACK}=1, run it again and pass on what is printed"
        )
    return f"{told}; please pass on the report in {path} together with the build"


def _kept_report(text: str) -> Path | None:
    import tempfile  # inside, for start-up's sake

    from receiver_sim import outputs

    try:
        place = Path(tempfile.mkdtemp(prefix="receiver_sim-fault-"))
        return outputs.write(place / "report.txt", text.encode("utf-8", "backslashreplace"))
    except OSError:
        return None


def _open_closed_streams() -> None:
    """Lead standard streams that are closed to nothing: else the next file would get their numbers."""
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            with contextlib.suppress(OSError):
                os.open(os.devnull, os.O_RDWR)


def _silence(number: int, stream: Any) -> None:
    """Lead a stream that failed into nothing, or Python complains once more when it ends."""
    with contextlib.suppress(OSError, ValueError):
        if stream is not None and stream.fileno() == number:
            nothing = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nothing, number)
            os.close(nothing)


__all__ = [
    "EXIT_CODES",
    "EXIT_VERDICT",
    "Program",
    "UserError",
    "complain",
    "folded",
    "say",
    "tell_lost",
]
