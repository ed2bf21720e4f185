"""One circuit loaded in one worker: change element values, run analyses."""

import math
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

from receiver_sim.engine.deck import Deck
from receiver_sim.engine.errors import EngineFailed, EngineLost, EngineTimeout, NoSolution
from receiver_sim.engine.process import WorkerGone, WorkerProcess
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
    Unload,
)
from receiver_sim.engine.rungs import (
    FINER,
    STEPS,
    Key,
    Rung,
    Way,
    begun_at,
    carried_by_shunts,
    has_shunts,
    no_solution,
    shunted,
    value_in,
    widened,
)
from receiver_sim.engine.starts import Starts, chosen
from receiver_sim.engine.vectors import RawVector, Vectors

_ELEMENT = re.compile(r"[a-z][a-z0-9_]*(\.[a-z0-9_]+)*")
_PARAMETER = re.compile(r"[a-z][a-z0-9_]*")
_VECTOR = re.compile(r"@?[a-z0-9_.#+\-]+(\[[a-z0-9_]+\])?")
_OUTPUT = re.compile(r"v\([a-z0-9_.#]+(,[a-z0-9_.#]+)?\)|i\([a-z0-9_.#]+\)")
_SCALES = ("lin", "dec", "oct")
# What "the value" of an element is called where ngspice knows no default (r, l, c and k have one).
_MAIN_PARAMETER = {**dict.fromkeys("vi", "dc"), **dict.fromkeys("efgh", "gain")}
# ngspice copies a command into a buffer of 1024 characters.
_MAX_COMMAND = 1000

Keep = Callable[[Deck, Sequence[str], Sequence[str]], tuple[Path | None, str | None]]
"""Keeps a failed deck; returns where, or why it could not be kept, or nothing of both."""
Count = Callable[[float, int, Rung | None], None]
Renew = Callable[[WorkerProcess], WorkerProcess]


class _Unsolved(Exception):  # noqa: N818 - says what happened
    """A worker's answer that is no result."""

    def __init__(self, reply: Reply) -> None:
        self.lines = reply.messages if isinstance(reply, Failed) else ()
        self.reason = reply.reason if isinstance(reply, Failed) else f"unexpected answer {reply!r}"
        super().__init__(self.reason)


def _number(value: float, what: str) -> str:
    number = float(value)
    if not math.isfinite(number):
        raise ValueError(f"{what} must be a finite number, not {number}")
    return repr(number)


def _name(text: str, pattern: re.Pattern[str], what: str) -> str:
    lowered = text.lower()
    if not pattern.fullmatch(lowered):
        raise ValueError(f"'{text}' is no {what}")
    return lowered


class Session:
    """A circuit in a worker, from `Bench.session`. For one thread.

    After an EngineFailed, EngineLost or EngineTimeout the session is over: open another. `vectors` of an
    analysis restricts what is stored and handed over to the named vectors (None: all), in `.op` too; a name
    that the circuit does not have is an EngineFailed. Element values changed by `alter` stay until the
    session ends. A linear circuit gives the same bits after `alter` as when loaded afresh; the operating
    point of a non-linear one may depend on the runs before it, within the deck's tolerances.

    An analysis without solution climbs the ladder of `rungs`; `.rung` of its vectors says which served.
    `easy`: (value at which the circuit is easily solved, value in the deck) of elements, to begin from before
    anything was solved. `renew` gives another worker for one that failed; without it nothing is climbed.
    """

    def __init__(
        self,
        deck: Deck,
        worker: WorkerProcess,
        *,
        keep: Keep,
        count: Count,
        renew: Renew | None = None,
        easy: Mapping[str, tuple[float, float]] | None = None,
    ) -> None:
        self.deck = deck
        self.evaluations = 0
        self.engine_seconds = 0.0
        self.worker = worker
        self._keep = keep
        self._count = count
        self._renew = renew
        self._easy = {self._key(name): pair for name, pair in (easy or {}).items()}
        self._queued: list[str] = []
        self._history: list[str] = []
        self._over: str | None = None
        self._now: dict[Key, float] = {}
        self._courses: dict[Key, str] = {}
        self._solved: dict[Key, float] | None = None
        self._least = Rung.NEWTON
        self._starts = Starts()
        self._following = False
        self._astray = False
        self._troubled = False
        self._loaded(deck)

    # ------------------------------------------------------------------ changes

    def alter(self, element: str, value: float | Sequence[float], parameter: str | None = None) -> None:
        """Queue a new value for an element; it travels with the next analysis.

        Without `parameter` the element's main value is meant: ohm, farad, henry, gain, or the DC value of a
        source. `parameter` may be "acmag", "dc", "temp" ..., or "sin", "pulse", "pwl" with a sequence of
        numbers. Raises ValueError for a name or number that cannot be one; an element that the circuit
        lacks is an EngineFailed at the next analysis.
        """
        key = self._key(element, parameter)
        name, parameter = key
        if isinstance(value, Iterable) and not isinstance(value, str):
            if parameter is None or parameter in _MAIN_PARAMETER.values():
                raise ValueError("a sequence of values needs a parameter such as 'sin' or 'pwl'")
            numbers = " ".join(_number(v, f"a value of {element}") for v in value)
            command = self._courses[key] = f"alter @{name}[{parameter}] = [ {numbers} ]"
        else:
            number = float(value)
            if not math.isfinite(number):
                _number(number, f"the value of {element}")
            self._now[key] = number
            command = _setting(key, number)
        if len(command) > _MAX_COMMAND:
            raise ValueError(
                f"too many values for {element}: ngspice takes {_MAX_COMMAND} characters a command"
            )
        self._queued.append(command)

    @staticmethod
    @lru_cache(maxsize=4096)
    def _key(element: str, parameter: str | None = None) -> Key:
        name = _name(element, _ELEMENT, "element name")
        parameter = parameter or _MAIN_PARAMETER.get(name[0])
        return name, None if parameter is None else _name(parameter, _PARAMETER, "parameter")

    def follow(self) -> None:
        """Begin each analysis from now on with the voltages of the nearest setting solved so far: a circuit
        that can rest in two ways stays in the one it is in as it is altered in small steps.
        """
        self._following = self._troubled = True

    @property
    def over(self) -> bool:
        """Whether it takes no further analysis: closed, or an earlier one failed."""
        return self._over is not None

    @property
    def troubled(self) -> bool:
        """Whether an analysis needed more than Newton's method: those since begin with volts found in this
        session, another session's would not.
        """
        return self._troubled

    # ------------------------------------------------------------------ analyses

    def op(self, *, vectors: Sequence[str] | None = None) -> Vectors:
        """Return the operating point; each vector has one value."""
        return self._run("op", "op", vectors)

    def ac(
        self,
        start: float,
        stop: float,
        points: int,
        scale: str = "lin",
        *,
        vectors: Sequence[str] | None = None,
    ) -> Vectors:
        """Return the small-signal response from `start` to `stop`, Hz.

        `points`: in all for "lin", per decade or octave for "dec" and "oct". The operating point stands in
        `.op` if the deck carries `.options keepopinfo`.
        """
        if scale == "lin" and points == 2:
            # ngspice 39 answers `ac lin 2` with the first point only; so three are run and the ends kept.
            return self._run("ac", f"ac {_sweep(start, stop, 3, scale)}", vectors, ends_only=True)
        return self._run("ac", f"ac {_sweep(start, stop, points, scale)}", vectors)

    def ac_each(
        self,
        sweeps: Sequence[tuple[Mapping[str, float], float, float]],
        points: int,
        *,
        vectors: Sequence[str],
    ) -> list[Vectors] | None:
        """Return the linear sweeps of `ac` (3 points or more) for each of some settings (element -> main
        value) with its start and stop (Hz), in one exchange with the worker: of a short analysis the exchange
        is the longer part.

        None where they can't be had that way: the session is troubled, or one of them had no solution. In the
        second case the session is over; the settings are asked for one by one in another.
        """
        if self._troubled or not sweeps:
            return None
        wanted = tuple(dict.fromkeys(_name(name, _VECTOR, "vector name") for name in vectors))
        runs = []
        for setting, start, stop in sweeps:
            for element, value in setting.items():
                self.alter(element, value)
            command = f"ac {_sweep(start, stop, points, 'lin')}"
            runs.append(Run(tuple(self._queued), command, "ac", wanted))
            self._queued = []
        try:
            done = self._asked_each(Runs(tuple(runs)), runs[-1].command)
        except _Unsolved:
            self._over = "one of many analyses had no solution"
            return None
        self._solved = dict(self._now)
        out = []
        for one in done:
            rung = Rung[one.rung]
            self._troubled |= self._renew is not None and rung is not Rung.NEWTON
            self._count(0.0, 0, rung)
            assert one.plot is not None
            op = self._vectors(one.op, "op", one, rung) if one.op else None
            out.append(self._vectors(one.plot, "ac", one, rung, op))
        return out

    def dc(
        self,
        source: str,
        start: float,
        stop: float,
        step: float,
        *,
        vectors: Sequence[str] | None = None,
    ) -> Vectors:
        """Return operating points while a source (V or A) or resistor (ohm) goes from `start` to `stop`."""
        name = _name(source, _ELEMENT, "element name")
        if step == 0 or (stop - start) * step < 0:
            raise ValueError(f"a step of {step:g} never leads from {start:g} to {stop:g}")
        numbers = " ".join(_number(v, "a limit of the sweep") for v in (start, stop, step))
        return self._run("dc", f"dc {name} {numbers}", vectors)

    def tran(
        self,
        step: float,
        stop: float,
        start: float = 0.0,
        max_step: float | None = None,
        uic: bool = False,
        *,
        vectors: Sequence[str] | None = None,
    ) -> Vectors:
        """Return the course over time (s) from `start` to `stop`, at the steps the integration took.

        `step` is the suggested, `max_step` the longest step; `uic` starts from the deck's `.ic` and the
        elements' `ic=`.
        """
        if not 0 < step <= stop or not 0 <= start < stop:
            raise ValueError(
                f"a run needs 0 < step <= stop and 0 <= start < stop, not {step=}, {start=}, {stop=}"
            )
        command = f"tran {_number(step, 'step')} {_number(stop, 'stop')} {_number(start, 'start')}"
        if max_step is not None:
            if max_step <= 0:
                raise ValueError(f"max_step must be positive, not {max_step}")
            command += f" {_number(max_step, 'max_step')}"
        return self._run("tran", command + (" uic" if uic else ""), vectors)

    def noise(
        self,
        output: str,
        source: str,
        start: float,
        stop: float,
        points: int,
        scale: str = "dec",
        *,
        contributions: bool = False,
        vectors: Sequence[str] | None = None,
    ) -> Vectors:
        """Return noise densities ("onoise_spectrum", "inoise_spectrum", V/sqrt(Hz)) and totals over the band.

        The totals are "onoise_total" and "inoise_total", V. `output`: a node "out" or a pair "v(a,b)";
        `source`: the input source. With `contributions` each noisy element has vectors of its own
        ("onoise_r1") and totals ("onoise_total_r1").
        """
        node = output.lower() if "(" in output else f"v({output.lower()})"
        command = (
            f"noise {_name(node, _OUTPUT, 'output of a noise analysis')} "
            f"{_name(source, _ELEMENT, 'element name')} {_sweep(start, stop, points, scale)}"
            + (" 1" if contributions else "")
        )
        return self._run("noise", command, vectors)

    # ------------------------------------------------------------------ inner works

    def _run(
        self, kind: str, command: str, vectors: Sequence[str] | None, *, ends_only: bool = False
    ) -> Vectors:
        wanted = None
        if vectors is not None:
            if isinstance(vectors, str) or not vectors:
                raise ValueError("vectors must be a sequence of at least one name, or None for all")
            wanted = tuple(dict.fromkeys(_name(name, _VECTOR, "vector name") for name in vectors))
        alters, self._queued = tuple(self._queued), []
        self._history += [*alters, command]
        # Long sweeps would fill memory; the last of the history tells what a failure needs.
        del self._history[:-1000]
        request = Run(alters, command, kind, wanted)
        try:
            done, rung = self._first(request), None
        except _Unsolved as unsolved:
            done, rung = self._climbed(request, unsolved)
        self._solved = dict(self._now)
        if self._renew is not None:
            self._following |= rung is not None and rung is not Rung.SHUNTED
            self._troubled |= self._following or done.rung != Rung.NEWTON.name
        rung = max(rung or Rung[done.rung], self._least, key=list(Rung).index)
        self._count(0.0, 0, rung)
        assert done.plot is not None
        op = self._vectors(done.op, "op", done, rung) if done.op else None
        plot = _ends(done.plot) if ends_only else done.plot
        return self._vectors(plot, kind, done, rung, op)

    def _vectors(self, plot: Plot, kind: str, done: Done, rung: Rung, op: Vectors | None = None) -> Vectors:
        return Vectors(
            [RawVector(*vector) for vector in plot.vectors],
            title=self.deck.title,
            kind=kind,
            scale=plot.scale,
            messages=done.warnings,
            engine_seconds=done.seconds,
            op=op,
            rung=rung,
        )

    def _loaded(self, deck: Deck) -> None:
        try:
            self._asked(Load(deck.lines), "load the circuit")
        except _Unsolved as unsolved:
            raise self._failure("load the circuit", unsolved) from None

    def _asked(self, request: Load | Run, what: str) -> Done:
        """Return what the worker made of a request. Raises _Unsolved, EngineError."""
        (done,) = self._asked_each(request, what)
        return done

    def _asked_each(self, request: Request, what: str) -> tuple[Done, ...]:
        """Return what the worker made of each run of a request. Raises _Unsolved, EngineError."""
        if self._over is not None:
            raise NoSolution(f"this session is over ({self._over}); open another")
        try:
            reply: Reply = self.worker.ask(request)
        except WorkerGone as gone:
            self._over = "its worker ended"
            path, reason = self._keep(self.deck, self._history, [str(gone)])
            if gone.timed_out:
                raise EngineTimeout(self.worker.time_limit_s, what, path, reason) from None
            raise EngineLost(f"{gone} during '{what}'", path, reason) from None
        if isinstance(reply, Done | DoneEach):
            each = reply.each if isinstance(reply, DoneEach) else (reply,)
            evaluations = 0 if isinstance(request, Load) else len(each)
            seconds = sum(one.seconds for one in each)
            self.engine_seconds += seconds
            self.evaluations += evaluations
            self._count(seconds, evaluations, None)
            return each
        self.worker.kill()  # after a failure ngspice may answer with what it had before
        raise _Unsolved(reply)

    def _failure(self, what: str, unsolved: _Unsolved, tried: str = "") -> EngineFailed:
        """End the session, keep its deck, and return what to raise."""
        self._over = "an earlier step failed"
        path, not_kept = self._keep(self.deck, self._history, [unsolved.reason, *unsolved.lines])
        return EngineFailed(f"'{what}': {unsolved.reason}{tried}", path, unsolved.lines, not_kept)

    # ------------------------------------------------------------------ the ladder

    def _first(self, request: Run) -> Done:
        """Return what a request gives at once. Raises _Unsolved, EngineError.

        Once an analysis of the session needed more than ngspice's own ways, each begins with the volts of the
        nearest setting that was solved since. After one that needed more than Newton's method, the deck is
        loaded anew with the volts of an operating point, which mostly serve all that follow.
        """
        plain = all("@" not in name for name in request.vectors or ())
        if not plain or request.command.endswith("uic"):
            return self._asked(request, request.command)
        if not self._following:
            return self._from_one_point(request)
        whole = replace(request, vectors=None)
        start, same = self._starts.nearest({**self._now, **self._ends_of(request, 2)})
        way = Rung.NEWTON
        if not same and request.kind not in ("op", "dc"):
            way = Rung[self._first(Run(request.alters, "op", "op", None)).rung]
            start, _ = self._starts.nearest(self._now)
        if start is not None:
            deck = widened(self.deck) if self._least is Rung.WIDER else self.deck
            self._asked(Load(begun_at(deck, start).lines), "load the circuit")
            whole = replace(whole, alters=self._settings())
        done = self._asked(whole, request.command)
        assert done.plot is not None
        if request.kind in ("op", "dc"):
            self._starts.keep({**self._now, **self._ends_of(request, 2)}, done.plot)
        if request.kind == "dc":
            self._starts.keep({**self._now, **self._ends_of(request, 3)}, done.plot, -1)
        done = self._only_what_was_asked(done, request)
        return replace(done, rung=max(way, Rung[done.rung], key=list(Rung).index).name)

    def _from_one_point(self, request: Run) -> Done:
        """Return what a request gives, from the operating point of its settings if the one before it needed
        more than Newton's method.
        """
        way = Rung.NEWTON
        if self._astray:
            point = self._asked(Run(request.alters, "op", "op", None), "op")
            assert point.plot is not None
            self._asked(Load(begun_at(self.deck, point.plot).lines), "load the circuit")
            request, way = replace(request, alters=self._settings()), Rung[point.rung]
        done = self._asked(request, request.command)
        self._astray = self._renew is not None and done.rung != Rung.NEWTON.name
        return replace(done, rung=max(way, Rung[done.rung], key=list(Rung).index).name)

    def _settings(self) -> tuple[str, ...]:
        """Return the commands that give a freshly loaded deck all that was altered."""
        return (*self._courses.values(), *(_setting(key, value) for key, value in self._now.items()))

    def _ends_of(self, request: Run, place: int) -> dict[Key, float]:
        """Return what a sweep gives its element at its beginning (place 2) or its end (3); else nothing."""
        words = request.command.split()
        return {self._key(words[1]): float(words[place])} if words[0] == "dc" else {}

    def _climbed(self, request: Run, unsolved: _Unsolved) -> tuple[Done, Rung]:
        """Return what the first rung beyond ngspice's own gives that serves. Raises EngineFailed."""
        if self._renew is None or not no_solution(unsolved.reason):
            raise self._failure(request.command, unsolved)
        way, tried = self._way(request), 0
        attempts: list[tuple[Rung, Deck, Way | None, int]] = []
        if not has_shunts(self.deck):
            attempts += [(Rung.SHUNTED, shunted(self.deck), None, 0)]
        if way is not None:
            attempts += [(Rung.SMALL_STEPS, self.deck, way, steps) for steps in STEPS]
        attempts += [(Rung.WIDER, widened(self.deck), way, STEPS[0])]
        for rung, deck, along, steps in attempts:
            self.worker = self._renew(self.worker)
            tried += 1
            try:
                if rung is Rung.SHUNTED:
                    done = self._with_shunts(deck, request)
                else:
                    done = self._stepped(deck, request, along, steps)
            except _Unsolved:
                continue
            if rung is Rung.WIDER:
                self._least = rung
            elif rung is Rung.SHUNTED:
                self.deck, self._least = deck, rung
            return done, rung
        raise self._failure(request.command, unsolved, _TRIED if way is not None else _TRIED_ALONE)

    def _with_shunts(self, deck: Deck, request: Run) -> Done:
        """Return what a request gives with a tera-ohm from every node to ground. Raises _Unsolved, also where
        these take a current that nothing else does: that is no solution of the circuit."""
        self._asked(Load(deck.lines), "load the circuit")
        whole = replace(request, alters=self._settings(), vectors=None)
        plain = request.kind in ("op", "dc") and all("@" not in name for name in request.vectors or ())
        looked_at = whole if plain else Run(whole.alters, "op", "op", None)
        done = self._asked(looked_at, looked_at.command)
        assert done.plot is not None
        if carried_by_shunts(done.plot):
            raise _Unsolved(Failed("no convergence but by what the tera-ohms take", ()))
        if plain:
            return self._only_what_was_asked(done, request)
        return self._asked(replace(request, alters=()), request.command)

    def _only_what_was_asked(self, done: Done, request: Run) -> Done:
        """Return an answer that has all vectors with those of the request alone. Raises _Unsolved."""
        assert done.plot is not None
        plot, absent = chosen(done.plot, request)
        if plot is None:
            self.worker.kill()
            raise _Unsolved(Failed(f"the {request.kind} analysis gives no {' nor '.join(absent)}", ()))
        return replace(done, plot=plot)

    def _way(self, request: Run) -> Way | None:
        """Return the way to what is asked for from what was solved last, else from what is easy."""
        goal = {**{key: there for key, (_, there) in self._easy.items()}, **self._now}
        goal |= self._ends_of(request, 2)
        if request.command.endswith("uic") or not (self._solved is not None or self._easy):
            return None
        start = self._solved
        if start is None:
            start = {key: value for key, (value, _) in self._easy.items()}
        fresh = {key: value for key in goal if (value := value_in(self.deck, key)) is not None}
        return Way({**fresh, **start}, goal)

    def _stepped(self, deck: Deck, request: Run, way: Way | None, steps: int) -> Done:
        """Take the circuit along a way in so many steps, then make the analysis, a sweep more finely."""
        courses = tuple(self._courses.values())
        if way is None:
            self._asked(Load(deck.lines), "load the circuit")
            return self._asked(Run(self._settings(), request.command, request.kind, request.vectors), "")
        for step in range(steps + 1):
            self._asked(Load(deck.lines), "load the circuit")
            settings = tuple(_setting(key, value) for key, value in way.at(step / steps).items())
            point = self._asked(Run((*courses, *settings), "op", "op", None), "op").plot
            assert point is not None
            deck = begun_at(deck, point)
        self._asked(Load(deck.lines), "load the circuit")
        self._asked(Run((*courses, *settings), "op", "op", None), "op")
        words = request.command.split()
        if words[0] != "dc":
            return self._asked(Run((), request.command, request.kind, request.vectors), request.command)
        words[4] = repr(float(words[4]) / FINER)
        done = self._asked(Run((), " ".join(words), request.kind, request.vectors), request.command)
        assert done.plot is not None
        return replace(done, plot=_each(done.plot, FINER))

    def close(self) -> None:
        """Take the circuit out of its worker; the Bench calls this. A worker in an unknown state is ended."""
        if self._over is None:
            self._over = "it was closed"
            if self.worker.busy:  # an interrupt broke off a request
                self.worker.kill()
                return
            try:
                if not isinstance(self.worker.ask(Unload()), Done):
                    self.worker.kill()
            except WorkerGone:
                self.worker.kill()


_TRIED = "; neither small steps from another setting nor wider tolerances led to a solution"
_TRIED_ALONE = "; nor did wider tolerances lead to a solution"


def _setting(key: Key, value: float) -> str:
    """Return the command that gives an element a value."""
    name, parameter = key
    return f"alter {name} {parameter + ' ' if parameter else ''}= {value!r}"


def _each(plot: Plot, count: int) -> Plot:
    """Return every `count`-th point of a real plot, from the first on."""
    thinned = []
    for name, is_complex, data in plot.vectors:
        size = 16 if is_complex else 8
        pieces = (data[at : at + size] for at in range(0, len(data), size * count))
        thinned.append((name, is_complex, b"".join(pieces)))
    return Plot(plot.scale, tuple(thinned))


def _ends(plot: Plot) -> Plot:
    """Return a plot of three points without the middle one."""
    thinned = []
    for name, is_complex, data in plot.vectors:
        size = 16 if is_complex else 8
        thinned.append((name, is_complex, data[:size] + data[-size:]))
    return Plot(plot.scale, tuple(thinned))


def _sweep(start: float, stop: float, points: int, scale: str) -> str:
    if scale not in _SCALES:
        raise ValueError(f"scale must be one of {', '.join(_SCALES)}, not '{scale}'")
    if points != int(points) or points < 1:
        raise ValueError(f"points must be a whole number above 0, not {points}")
    if not 0 <= start <= stop or (scale != "lin" and start == 0):
        raise ValueError(f"a sweep needs 0 < start <= stop, not {start:g} and {stop:g}")
    if scale == "lin" and (points == 1) != (start == stop):
        raise ValueError(f"{int(points)} points from {start:g} to {stop:g} Hz: one point is for start = stop")
    return f"{scale} {int(points)} {_number(start, 'start')} {_number(stop, 'stop')}"
