"""Drawing beside the simulation: a process of its own draws the bands' plots while ngspice is at work.

What it draws is what `check_plots` draws, byte by byte. What it could not draw is drawn by the caller, where
a fault in drawing is told.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import subprocess
import sys
import threading
from collections.abc import Mapping, Sequence

from receiver_sim.dead_objects import look_seldom
from receiver_sim.results.bands import BandReport

# The child gets this process's import path before it imports: the folder at hand may be a stranger's.
_BOOT = (
    "import sys; sys.path[:] = sys.argv[1:]; from receiver_sim.views.drawing_process import serve; serve()"
)


class DrawingProcess:
    """One child process that draws one set of bands. Use it as a context manager."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[bytes] | None = None
        self._thread: threading.Thread | None = None
        self._drawn: Mapping[str, bytes] = {}

    def __enter__(self) -> DrawingProcess:
        return self

    def __exit__(self, *_: object) -> None:
        """End the child, whatever it is doing."""
        process = self._process
        if process is None:
            return
        if process.poll() is None:
            process.kill()
        process.wait()
        if self._thread is not None:
            self._thread.join()
        for stream in (process.stdin, process.stdout):
            if stream is not None:
                with contextlib.suppress(OSError):
                    stream.close()

    def begin(self, bands: Sequence[BandReport], title: str) -> None:
        """Begin to draw the bands of the set of that title, and return at once."""
        path = [os.path.abspath(entry) for entry in sys.path]
        with contextlib.suppress(OSError):  # no further process: the caller draws
            self._process = subprocess.Popen(
                [sys.executable, "-c", _BOOT, *path],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
            )
            self._thread = threading.Thread(target=self._exchange, args=((tuple(bands), title),), daemon=True)
            self._thread.start()

    def _exchange(self, asked: tuple[tuple[BandReport, ...], str]) -> None:
        process = self._process
        assert process is not None and process.stdin is not None and process.stdout is not None
        # a child that ended has drawn nothing
        with contextlib.suppress(OSError, EOFError, pickle.UnpicklingError):
            pickle.dump(asked, process.stdin, protocol=pickle.HIGHEST_PROTOCOL)
            process.stdin.close()
            self._drawn = pickle.load(process.stdout)

    def contents(self) -> Mapping[str, bytes]:
        """Wait for the drawings and return their files by name; empty if there are none."""
        if self._thread is not None:
            self._thread.join()
        return self._drawn


def serve() -> None:
    """Read bands from standard input, write the files of their plots to standard output."""
    from receiver_sim.views import check_plots  # noqa: PLC0415 - in the child alone
    from receiver_sim.views.own_look import own_look  # noqa: PLC0415 - likewise

    look_seldom()  # matplotlib makes a great many objects that last
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # what a library prints is no answer
    bands, title = pickle.load(sys.stdin.buffer)
    with own_look():
        files = check_plots.contents_of(bands, title)
    pickle.dump(files, answers, protocol=pickle.HIGHEST_PROTOCOL)
    answers.close()
