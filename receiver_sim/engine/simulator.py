"""ngspice itself, as it lives within a worker process. Imported by workers only: it loads PySpice."""

import collections
import logging
import os
import re
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from PySpice.Spice.NgSpice import Shared

from receiver_sim.engine import library, messages, pivots
from receiver_sim.engine.errors import EngineMissing
from receiver_sim.engine.protocol import (
    Done,
    DoneEach,
    Failed,
    Load,
    Plot,
    Reply,
    Request,
    Run,
    Runs,
)
from receiver_sim.engine.rungs import own_rung

ffi = Shared.ffi
_NULL = ffi.NULL

_QUIET = Path(__file__).resolve().with_name("quiet")

# ngspice keeps a control structure for every command until told to forget (PySpice does the same count).
_COMMANDS_BEFORE_RELEASE = 1000

# A run that complains at every time step would fill memory: first and last lines kept of each call.
_LINES_KEPT = 500

# ngspice 39 may accept an operating point at which an exponential has run over (seen: 5.8e76 A balanced by
# 1 A, without a word). Volts, amperes, hertz and seconds of any circuit stay far below this.
_ABSURD = 1e30

# Plots by kind of analysis: first words of their names as ngspice announces them.
_MAIN_PLOT = {
    "op": ("Operating Point",),
    "ac": ("AC Analysis",),
    "dc": ("DC transfer characteristic", "DC Analysis"),
    "tran": ("Transient Analysis",),
    "noise": ("Noise Spectral Density",),
}
_SECOND_PLOT = {"ac": "AC Operating Point", "noise": "Integrated Noise"}


class SimulationFailed(Exception):  # noqa: N818 - says what happened
    """Something in a request failed; the worker is of no further use."""


class _Library(Shared.NgSpiceShared):  # type: ignore[misc] # PySpice carries no types
    """PySpice's binding, with its own judgement of ngspice's lines and its own announcement of plots.

    PySpice takes every line on stderr for an error; here lines are only kept, and classified afterwards.
    """

    def __init__(self) -> None:
        self._lines: list[str] = []
        self._tail: collections.deque[str] = collections.deque(maxlen=_LINES_KEPT)
        self.announced: list[tuple[str, str, str]] = []
        self.exited = False
        super().__init__()

    @staticmethod
    def _send_char(message_c: Any, ngspice_id: int, user_data: Any) -> int:
        self = ffi.from_handle(user_data)
        line = ffi.string(message_c).decode("utf-8", "replace")
        (self._lines if len(self._lines) < _LINES_KEPT else self._tail).append(line)
        # PySpice asks for the version during its own start and reads it from here.
        if self._ngspice_version is None:
            self._stdout.append(line.partition(" ")[2])
        return 0

    @staticmethod
    def _send_init_data(data: Any, ngspice_id: int, user_data: Any) -> int:
        self = ffi.from_handle(user_data)
        name, title, plot = (
            ffi.string(field).decode("utf-8", "replace") for field in (data.name, data.title, data.type)
        )
        self.announced.append((name, title, plot))
        return 0

    @staticmethod
    def _exit(status: int, immediate: bool, by_quit: bool, ngspice_id: int, user_data: Any) -> int:
        ffi.from_handle(user_data).exited = True
        return status

    @property
    def said(self) -> bool:
        """Whether there are lines since the last `take_lines`."""
        return bool(self._lines)

    def take_lines(self) -> list[str]:
        """Return the lines since the last call; of very many, the first and the last."""
        taken = [*self._lines, *self._tail]
        self._lines.clear()
        self._tail.clear()
        return taken

    @property
    def api(self) -> Any:
        """The functions of the shared library."""
        return self._ngspice_shared


def _own_environment() -> None:
    """Leave ngspice nothing of the caller's that could change results or hold commands.

    ngspice obeys `.spiceinit` in the folder at hand and, only without one there, in the home of the user's
    passwd entry, whatever HOME says (and it ends with signal 11 if the user has no such entry); a `spinit`
    where SPICE_SCRIPTS or SPICE_LIB_DIR lead; further variables by these names. So it starts in a folder
    whose two files hold nothing.
    """
    named = library.NAMED_BY
    for name in [n for n in os.environ if n.upper().startswith(("SPICE", "NGSPICE")) and n != named]:
        del os.environ[name]
    os.chdir(_QUIET)
    for name in ("SPICE_SCRIPTS", "SPICE_LIB_DIR", "HOME", "USERPROFILE"):
        os.environ[name] = str(_QUIET)


def _open_library() -> tuple[_Library, int, str]:
    """Load ngspice, with no start-up file but our own."""
    path = library.find()
    logging.getLogger("PySpice").setLevel(logging.CRITICAL)  # its remark on versions it does not know
    _own_environment()
    try:
        _Library.LIBRARY_PATH = path.replace("{", "{{").replace("}", "}}")  # PySpice formats it
        # Where PySpice looks for `share/ngspice` on Windows: beside the DLL's folder.
        _Library.NGSPICE_PATH = str(Path(path).parent.parent)
        opened = _Library()
    except OSError as error:
        raise EngineMissing(f"{path} cannot be loaded: {error}; {library.HOW_TO_INSTALL}") from error
    os.chdir(os.path.abspath(os.sep))  # a worker needs no folder, and should hold none
    opened.take_lines()  # the greeting
    return opened, library.check_version(opened.ngspice_version, path), path


class Simulator:
    """One ngspice, one circuit at a time."""

    def __init__(self) -> None:
        self._library, self.version, self.path = _open_library()
        self._commands = 0
        self._loads = 0
        self._title = ""
        self._saved: tuple[str, ...] | None = None
        self._seconds = 0.0
        self._judged: list[messages.Message] = []
        self._leave_out_runs_for_points()

    def _leave_out_runs_for_points(self) -> None:
        """Let no search for an operating point end in a run over time.

        Where all else fails ngspice runs the circuit from rest for 10 us and takes what volts it has by then
        for the operating point, unchecked: of coupling capacitors that had not begun to charge (and of one
        circuit that moved by itself after more than a minute). A step of 0 switches that off for the process;
        it takes a circuit, whose own counts of steps are set by the rest.
        """
        self._load(("v1 1 0 0", "r1 1 0 1"))
        self._command("optran 1 1 1 0 0 0", lenient=True)
        self._unload()

    def handle(self, request: Request) -> Reply:
        """Carry out one request; never raises for what ngspice does."""
        self._seconds = 0.0
        self._judged = []
        self._library.announced.clear()
        try:
            if isinstance(request, Load):
                self._load(request.lines)
                return Done(self._seconds, self._warnings())
            if isinstance(request, Run):
                return self._run(request)
            if isinstance(request, Runs):
                return self._runs(request)
            self._unload()
            return Done(self._seconds)
        except SimulationFailed as failure:
            return Failed(str(failure), tuple(message.text for message in self._judged))

    def _warnings(self) -> tuple[str, ...]:
        return tuple(message.text for message in self._judged if message.kind is messages.Kind.WARNING)

    def _take_lines(self, lenient: bool = False) -> None:
        """Classify the lines of the call just made; raise on a failure unless `lenient`."""
        if not self._library.said and not self._library.exited:
            return
        fresh = messages.read(self._library.take_lines())
        self._judged += fresh
        if self._library.exited:
            raise SimulationFailed("ngspice gave up and asked to be ended" + _because(self._judged))
        if lenient:
            return
        failed = messages.summary(fresh)
        if failed:
            raise SimulationFailed(failed)

    def _command(self, command: str, lenient: bool = False) -> None:
        self._commands += 1
        if self._commands > _COMMANDS_BEFORE_RELEASE:
            self._library.api.ngSpice_Command(_NULL)
            self._commands = 0
        started = time.perf_counter()
        code = self._library.api.ngSpice_Command(command.encode("ascii"))
        self._seconds += time.perf_counter() - started
        self._take_lines(lenient)
        if code:
            raise SimulationFailed(f"ngspice returned {code} for '{command}'")

    def _load(self, lines: Sequence[str]) -> None:
        # A title of its own for each load: a plot that bears it can come from no other circuit.
        self._loads += 1
        self._title = f"circuit {os.getpid()} {self._loads}"
        whole = (self._title, *lines, *pivots.chosen_anew(lines), ".end")
        keep = [ffi.new("char[]", line.encode("ascii")) for line in whole]
        started = time.perf_counter()
        code = self._library.api.ngSpice_Circ(ffi.new("char *[]", [*keep, _NULL]))
        self._seconds += time.perf_counter() - started
        self._take_lines()
        if code:
            raise SimulationFailed(f"ngspice did not take the circuit (code {code})")
        # Clean slate: no `save` list left over, no plot but the constants.
        self._command("delete all", lenient=True)
        self._command("destroy all")
        self._saved = None

    def _unload(self) -> None:
        self._command("delete all", lenient=True)
        self._command("destroy all")
        self._command("remcirc")
        self._title = ""

    def _save(self, wanted: tuple[str, ...] | None) -> None:
        """Tell ngspice which vectors to keep during the next runs, if that differs from the last order."""
        if wanted == self._saved:
            return
        # ngspice complains that no vectors are active yet though it takes the order; the vectors that
        # come back are compared with those ordered, so nothing is lost by not judging these lines.
        self._command("delete all", lenient=True)
        for name in wanted or ():
            self._command(f"save {name}", lenient=True)
        self._saved = wanted

    def _run(self, request: Run) -> Done:
        if not self._title:
            raise SimulationFailed("no circuit is loaded")
        self._save(_to_save(request))
        for alter in request.alters:
            self._command(alter)
        self._library.announced.clear()
        try:
            self._command(request.command)
        except SimulationFailed as failure:
            if request.vectors and "no data saved" in str(failure):
                raise SimulationFailed(f"the circuit has no {' nor '.join(request.vectors)}") from failure
            raise
        plots = self._new_plots(request.kind)
        if request.kind == "noise":
            main, second = self._read_plots(plots, request.vectors, "noise"), None
        else:
            main = self._read_plots([plots[0]], request.vectors, request.kind)
            second = self._read_plots([plots[1]], None, "op") if len(plots) > 1 else None
        self._command("destroy all")
        return Done(self._seconds, self._warnings(), main, second, own_rung(self._judged).name)

    def _runs(self, request: Runs) -> DoneEach:
        each = []
        for one in request.runs:
            self._seconds, self._judged = 0.0, []
            each.append(self._run(one))
        return DoneEach(tuple(each))

    def _new_plots(self, kind: str) -> list[str]:
        """Return the plots this run announced, the main one first; all of this circuit and this kind."""
        found: dict[str, str] = {}
        for name, title, plot in self._library.announced:
            if title.lower() != self._title:
                raise SimulationFailed(f"ngspice answered with a plot of another circuit ('{title}')")
            if name.startswith(_MAIN_PLOT[kind]):
                found["main"] = plot
            elif name.startswith(_SECOND_PLOT.get(kind, "\n")):
                found["second"] = plot
        if "main" not in found:
            raise SimulationFailed(f"the {kind} analysis gave no result" + _because(self._judged))
        return [found["main"], *([found["second"]] if "second" in found else [])]

    def _names(self, plot: str) -> list[str]:
        names_c = self._library.api.ngSpice_AllVecs(plot.encode("ascii"))
        names: list[str] = []
        while names_c != _NULL and names_c[len(names)] != _NULL:
            names.append(ffi.string(names_c[len(names)]).decode("utf-8", "replace"))
        return names

    def _read_plots(self, plots: Sequence[str], wanted: tuple[str, ...] | None, kind: str) -> Plot:
        """Read vectors of plots that belong together; of a name that occurs twice the first."""
        places: dict[str, tuple[str, str]] = {}
        for plot in plots:
            for name in self._names(plot):
                if name.lower() not in pivots.NODES:
                    places.setdefault(name.lower(), (plot, name))
        scale = next((name for name in places if _is_scale(name, kind)), "")
        chosen = list(places)
        if wanted is not None:
            absent = [name for name in wanted if name not in places]
            if absent:
                raise SimulationFailed(f"the {kind} analysis gives no {' nor '.join(absent)}")
            chosen = [*([scale] if scale else []), *(name for name in wanted if name != scale)]
        vectors = tuple((name, *self._read_vector(*places[name])) for name in chosen)
        # One look at all numbers at once; only if something is amiss each vector by itself.
        if not _sane(b"".join(data for _, _, data in vectors)):
            absurd = next(name for name, _, data in vectors if not _sane(data))
            raise SimulationFailed(
                f"the vector '{absurd}' holds numbers that are not finite or beyond {_ABSURD:g}"
            )
        return Plot(scale, vectors)

    def _read_vector(self, plot: str, name: str) -> tuple[bool, bytes]:
        info = self._library.api.ngGet_Vec_Info(f"{plot}.{name}".encode())
        if info == _NULL or info.v_length < 1:
            raise SimulationFailed(f"the vector '{name}' holds no data" + _because(self._judged))
        if info.v_compdata != _NULL:
            return True, bytes(ffi.buffer(info.v_compdata, info.v_length * 16))
        return False, bytes(ffi.buffer(info.v_realdata, info.v_length * 8))


def _sane(data: bytes) -> bool:
    return bool((np.abs(np.frombuffer(data)) < _ABSURD).all())  # false for a NaN too


def _to_save(request: Run) -> tuple[str, ...] | None:
    """Return what to order with `save`: never the scale, which always comes; None for all.

    `save` knows nothing of the names a noise analysis makes; there the choice is made on reading only.
    """
    if request.vectors is None or request.kind == "noise":
        return None
    return tuple(name for name in request.vectors if not _is_scale(name, request.kind)) or None


def _is_scale(name: str, kind: str) -> bool:
    if kind == "dc":
        return bool(re.fullmatch(r"(v|i|res|temp)-sweep", name))
    return name == {"ac": "frequency", "noise": "frequency", "tran": "time"}.get(kind)


def _because(judged: Sequence[messages.Message]) -> str:
    """Return ngspice's own last words that are more than notes, as ': ...'."""
    telling = [message.text.strip() for message in judged if message.kind is not messages.Kind.NOTE]
    return ": " + "; ".join(telling[-3:]) if telling else ""
