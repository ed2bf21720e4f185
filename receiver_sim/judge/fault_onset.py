"""Where is onset under each possible fault? One loaded circuit, values changed one by one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.roles import Place
from receiver_sim.engine import Bench, EngineError, NoSolution
from receiver_sim.errors import NoAnswer
from receiver_sim.judge.onset_likelihood import Curve
from receiver_sim.measure import onset as onset_study
from receiver_sim.measure.loaded import Loaded, hard_volts, loaded
from receiver_sim.measure.loop_gain import Probe
from receiver_sim.results.base import Status
from receiver_sim.schema import Band

Key = tuple[int, int]
"""Number of a fault and of its size; (-1, 0) is the sound set."""

SOUND: Key = (-1, 0)

Work = tuple[str, list[tuple[Key, Mapping[str, float]]]]
"""Name of a variant, and sizes of faults in it: their keys and the values of elements that they are."""


def begun(bench: Bench, circuits: Mapping[str, Circuit], rotation: float) -> dict[str, Circuit]:
    """Return circuits whose search for an operating point begins with the volts of the first of them with its
    control at a rotation (0..1), where Newton's method does not get there from nothing: all that follows in a
    session in which it once did not costs five times as much, and a fault moves most volts little.

    A circuit that is solved at once is left alone: starting volts make each solution two.
    """
    first = next(iter(circuits.values()))
    try:
        volts = hard_volts(bench, first, share=first.control.share(rotation))
    except EngineError:
        return dict(circuits)  # each begins as its deck says, and climbs by itself
    if volts is None:
        return dict(circuits)
    return {name: one.begun_with(volts) for name, one in circuits.items()}


class changed:  # noqa: N801 - a context, named as what it does
    """Values of elements changed for the length of a block, the control at a rotation (0..1)."""

    def __init__(self, on: Loaded, values: Mapping[str, float], rotation: float) -> None:
        self._on, self._values = on, {n: v for n, v in values.items() if n in on.circuit}
        self._rest = on.circuit.control.at(rotation)

    def __enter__(self) -> None:
        for name, value in self._values.items():
            self._on.set(name, value)

    def __exit__(self, kind: Any, *_: Any) -> None:
        if kind is None:
            for name in self._values:
                self._on.set(name, self._rest.get(name, self._on.circuit[name].value or 0.0))


def onset_job(
    circuits: Mapping[str, Circuit], started: Mapping[str, Circuit], band: Band, dial_hz: float
) -> Any:
    """Return what looks for the onset of sizes of faults: on the circuits of `started`, and of those faults
    that these starting volts lead astray, on those that begin as their decks say.
    """

    def run(bench: Bench, piece: Work) -> dict[Key, tuple[float | None, Curve]]:
        name, left = piece[0], list(piece[1])
        out: dict[Key, tuple[float | None, Curve]] = {}
        astray: list[tuple[Key, Mapping[str, float]]] = []
        if started[name] is not circuits[name]:
            _search(bench, started[name], left, band, dial_hz, out, astray)
            left = astray
        _search(bench, circuits[name], left, band, dial_hz, out, None)
        return out

    return run


def _search(
    bench: Bench,
    circuit: Circuit,
    todo: list[tuple[Key, Mapping[str, float]]],
    band: Band,
    dial_hz: float,
    out: dict[Key, tuple[float | None, Curve]],
    astray: list[tuple[Key, Mapping[str, float]]] | None,
) -> None:
    """Fill in the onset of sizes of faults; astray: takes those whose first setting needs more than Newton's
    method, None to search all the same.
    """
    left = list(todo)
    while left:
        count = len(left)
        try:
            with loaded(bench, circuit) as on:
                while left and not on.session.troubled:
                    key, values = left.pop(0)
                    with changed(on, values, 0.5):
                        try:
                            out[key] = _onset(on, band, dial_hz, values, go_on=astray is None)
                        except NoAnswer:
                            out[key] = (None, ())
                        except _Astray:
                            assert astray is not None
                            astray.append((key, values))
        except NoSolution:
            if len(left) == count:  # it could not even be loaded
                left.pop(0)


class _Astray(Exception):  # noqa: N818 - says what happened
    """The starting volts are none for this fault."""


def _onset(
    on: Loaded, band: Band, dial_hz: float, values: Mapping[str, float], *, go_on: bool = True
) -> tuple[float | None, Curve]:
    """Return the rotation at onset (None: none) and the loop gains that were met. A broken track keeps its
    break as it turns. Raises NoAnswer, and _Astray unless it is to go on, if the first setting was hard.
    """
    control = on.circuit.node(Place.CONTROL_NODE)
    if all(s.tube not in on.circuit for s in on.circuit.sockets.values() if s.control_node == control):
        return None, ()
    broken = {n: v for n, v in values.items() if n in on.circuit.control.at_share(0.5)}
    probe = Probe(_Broken(on.session, on.circuit, broken) if broken else on, band=band, dial_hz=dial_hz)
    probe.trim()
    if on.session.troubled and not go_on:
        raise _Astray
    status, samples, share = onset_study.search(probe.measure)
    curve = tuple(sorted((probe.rotation(sample.wiper), sample.gain) for sample in samples))
    if status is Status.NOT_IN_RANGE:
        return 0.0, curve
    return None if share is None else probe.rotation(share), curve


@dataclass(frozen=True)
class _Broken(Loaded):
    """A circuit whose control has a broken track."""

    broken: Mapping[str, float] = field(default_factory=dict)

    def turn_to_share(self, share: float) -> None:
        super().turn_to_share(share)
        for name, value in self.broken.items():
            self.set(name, value)
