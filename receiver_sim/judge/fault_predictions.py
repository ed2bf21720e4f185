"""What would these readings be under each possible fault? One loaded circuit, values changed one by one."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.element import GROUND
from receiver_sim.circuit.element_map import ElementMap
from receiver_sim.circuit.possible_faults import PossibleFault, variant, variant_cards
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Role
from receiver_sim.circuit.sets import SetPlan
from receiver_sim.engine import Bench, NoSolution
from receiver_sim.judge.fault_onset import SOUND, Key, Work, begun, changed, onset_job
from receiver_sim.judge.onset_likelihood import Curve, Curves
from receiver_sim.judge.reading_spread import Shift, made_with, shifts_of
from receiver_sim.measure.loaded import Loaded, loaded
from receiver_sim.schema import Band, Build
from receiver_sim.studies.pin_chart import NO_METER_OHM, meter_element, with_meters

FloatArray = npt.NDArray[np.float64]

_TONE_HZ = 1000.0

LEAST_SHARE = 0.01
"""Of the variance of a reading, below which a factor is not followed under each fault."""

_PIECE = 24
"""Sizes of faults that a worker takes at a time."""


@dataclass(frozen=True)
class Volt:
    """One reading of a voltmeter. pulled: the socket whose tube was out, '' for none."""

    where: str
    node: str
    meter: str
    ohm: float
    full_scale: float
    seen: float
    pulled: str = ""


@dataclass(frozen=True)
class Prediction:
    """What one size of one fault gives.

    volts: of the readings; spread: of the readings by the plan's factors (readings x factors), one standard
    deviation each; nodes: volts of all nodes, no meter on; onset: on the knob by band (None: none, missing:
    not known); curves: loop gain along the knob by band; gain_db, hum_db: gain to the phones and ripple
    there, dB of 1 V for 1 V.
    """

    volts: FloatArray
    spread: FloatArray
    nodes: Mapping[str, float]
    onset: Mapping[str, float | None] = field(default_factory=dict)
    curves: Curves = field(default_factory=dict)
    gain_db: float | None = None
    hum_db: float | None = None


@dataclass(frozen=True)
class Stand:
    """A set on the bench: the plan of its build's sets (settled, all bands), where its control stood while
    volts were read, the bands that were tried.
    """

    plan: SetPlan
    band: Band
    dial_hz: float
    rotation: float
    bands: tuple[Band, ...] = ()

    @property
    def build(self) -> Build:
        """The build, its supply settled."""
        return self.plan.build

    @property
    def cards(self) -> Cards:
        """The cards of its tubes."""
        return self.plan.cards

    @property
    def map(self) -> ElementMap:
        """How the circuit follows the factors, on the band on which volts were read."""
        return self.plan.maps[[band.name for band in self.plan.bands].index(self.band.name)]

    @property
    def sound(self) -> Circuit:
        """The circuit without a fault, as it stood while volts were read."""
        return receiver_circuit(
            self.build, self.cards, band=self.band, dial_hz=self.dial_hz, rotation=self.rotation
        )

    def circuit(self, name: str, band: Band, dial_hz: float) -> Circuit:
        """Return the circuit that faults stand in, by the name of its variant."""
        return variant(name, self.build, self.cards, band=band, dial_hz=dial_hz, rotation=self.rotation)


CircuitOf = Callable[[str, Band, float], Circuit]


def predict(
    stand: Stand,
    faults: Sequence[PossibleFault],
    volts: Sequence[Volt],
    bench: Bench,
    *,
    heard: bool,
    circuit_of: CircuitOf | None = None,
    sound: bool = True,
    progress: Callable[[int, int], None] | None = None,
) -> tuple[dict[Key, Prediction], list[str]]:
    """Return the prediction of the sound set and of every size of every fault, and what could not be run.

    circuit_of: gives the circuit of a variant, for a set that is drawn: its readings are found, not how they
    spread; that of the build if None. sound: whether the sound set is wanted, too.
    """
    jobs: dict[str, list[tuple[Key, Mapping[str, float]]]] = {"": [(SOUND, {})]} if sound else {}
    for i, fault in enumerate(faults):
        for j, size in enumerate(fault.sizes):
            jobs.setdefault(size.variant, []).append(((i, j), size.values))
    pieces = [(n, todo[k : k + _PIECE]) for n, todo in jobs.items() for k in range(0, len(todo), _PIECE)]
    at = circuit_of or stand.circuit
    shifts = () if circuit_of is not None else shifts_of(stand.plan, stand.map, stand.rotation)
    circuits = {name: at(name, stand.band, stand.dial_hz) for name in jobs}
    healthy = stand.circuit("", stand.band, stand.dial_hz) if shifts else None
    few: FloatArray | None = None
    if healthy is not None:
        whole = _Direct(bench, stand, healthy, "", tuple(volts), shifts)
        few = whole.read([(SOUND, {})], heard=False)[SOUND].spread
        shifts = tuple(shift for shift in shifts if _counts(few, shift.number))

    def direct(b: Bench, work: Work) -> dict[Key, Prediction]:
        return _Direct(b, stand, circuits[work[0]], work[0], tuple(volts), shifts).read(work[1], heard)

    found = {key: one for piece in bench.map(direct, pieces, progress) for key, one in piece.items()}
    if few is not None:
        done = [shift.number for shift in shifts]
        for one in found.values():
            rest = few.copy()
            rest[:, done] = one.spread[:, done]
            one.spread[:] = rest
    for band in stand.bands:
        dial = band.middle_hz
        of_band = {name: at(name, band, dial) for name in jobs}
        started = begun(bench, of_band, 1.0)
        elsewhere = band.name != stand.band.name
        spared = {
            (i, j) for i, f in enumerate(faults) if f.plugged and elsewhere for j in range(len(f.sizes))
        }
        left = [(name, [one for one in todo if one[0] not in spared]) for name, todo in pieces]
        ran = bench.map(
            onset_job(of_band, started, band, dial), [piece for piece in left if piece[1]], progress
        )
        places = {key: place for piece in ran for key, place in piece.items()}
        if SOUND in places:
            places |= dict.fromkeys(spared, places[SOUND])
        for key, place in places.items():
            if key in found:
                found[key] = _with_onset(found[key], band.name, *place)
    keys = [key for todo in jobs.values() for key, _ in todo]
    missing = {faults[i].name for i, j in keys if i >= 0 and (i, j) not in found}
    return found, sorted(missing)


def _counts(spread: FloatArray, number: int) -> bool:
    """Return whether a factor brings a hundredth of the variance of any reading of the sound set: of what
    does not, the sound set's own share of the spread stands for that under a fault.
    """
    variance = np.sum(spread**2, axis=1)
    return bool(np.any(spread[:, number] ** 2 > LEAST_SHARE * variance))


def _with_onset(one: Prediction, band: str, place: float | None, curve: Curve) -> Prediction:
    return replace(one, onset={**one.onset, band: place}, curves={**one.curves, band: curve})


# ---------------------------------------------------------------------- volts and what is heard


@dataclass(frozen=True)
class _Direct:
    """Readings in volts on one variant of the circuit."""

    bench: Bench
    stand: Stand
    circuit: Circuit
    name: str
    volts: tuple[Volt, ...]
    shifts: tuple[Shift, ...]

    def read(self, todo: list[tuple[Key, Mapping[str, float]]], heard: bool) -> dict[Key, Prediction]:
        """Return the predictions of sizes of faults; one that fails is left out."""
        out: dict[Key, Prediction] = {}
        for pulled in sorted({v.pulled for v in self.volts} | {""}):
            at = [i for i, v in enumerate(self.volts) if v.pulled == pulled]
            if pulled and pulled not in self.circuit.sockets:
                continue
            tube = self.circuit.sockets[pulled].tube if pulled else ""
            state = self.circuit.without([tube]) if tube in self.circuit else self.circuit
            here = [one for one in todo if not pulled or one[0] in out]
            true, hard = self._stated(state, here, at, out, heard=heard and not pulled)
            for key, _ in here:
                if key not in true:
                    out.pop(key, None)
            for shift in self.shifts:
                if shift.ratios is not None or not at:
                    continue
                left = [one for one in here if one[0] in out]
                self._shifted(state, shift, [one for one in left if one[0] not in hard], at, out, true)
                for one in left:
                    if one[0] in hard:
                        self._shifted(state.begun_with(true[one[0]]), shift, [one], at, out, true)
        return out

    def _stated(
        self,
        state: Circuit,
        todo: list[tuple[Key, Mapping[str, float]]],
        at: list[int],
        out: dict[Key, Prediction],
        *,
        heard: bool,
    ) -> tuple[dict[Key, Mapping[str, float]], set[Key]]:
        """Fill in readings, nodes, what is heard, and how readings follow what `alter` can change. Return the
        volts of all nodes with no meter on, of what could be run, and what needed more than Newton's method.

        What did is loaded again by itself, to begin with the volts that were found: else each of its readings
        would have to climb again.
        """
        left = list(todo)
        true: dict[Key, Mapping[str, float]] = {}
        hard: set[Key] = set()
        metered = with_meters(state, [self.volts[i].node for i in at])
        while left:
            begin, count = true.get(left[0][0]), len(left)
            try:
                with loaded(self.bench, metered if begin is None else metered.begun_with(begin)) as on:
                    on.turn(self.stand.rotation)
                    while left and not on.session.troubled and (begin is None or left[0][0] in hard):
                        key, values = left.pop(0)
                        true.pop(key, None)
                        with changed(on, values, self.stand.rotation):
                            nodes = on.volts()
                            if on.session.troubled and begin is None:
                                hard.add(key)
                                left.insert(0, (key, values))
                            else:
                                self._one(on, at, key, values, nodes, out, heard=heard)
                            true[key] = nodes
            except NoSolution:  # what failed is left out and named; the rest goes on in a fresh worker
                if len(left) == count:  # it could not even be loaded
                    true.pop(left.pop(0)[0], None)
        return true, hard

    def _one(
        self,
        on: Loaded,
        at: list[int],
        key: Key,
        values: Mapping[str, float],
        nodes: Mapping[str, float],
        out: dict[Key, Prediction],
        *,
        heard: bool,
    ) -> None:
        if key not in out:
            count, width = len(self.volts), len(self.stand.plan.factors)
            out[key] = Prediction(np.zeros(count), np.zeros((count, width)), nodes)
        one = out[key]
        for i in at:
            one.volts[i] = shown_on(on, self.volts[i])
        wanted = self._nodes(at)
        now = {**on.circuit.control.at(self.stand.rotation), **values}
        for shift in self.shifts if wanted else ():
            if shift.ratios is None:
                continue
            there = {n: ratio for n, ratio in shift.ratios.items() if n in on.circuit}
            before = {n: now.get(n, on.circuit[n].value or 0.0) for n in there}
            for name, ratio in there.items():
                on.set(name, before[name] * ratio)
            moved = on.session.op(vectors=wanted)
            for name, value in before.items():
                on.set(name, value)
            self._column(one, at, shift, {n: float(moved[n].real[0]) for n in wanted}, nodes)
        if heard:
            gain, hum = _heard(on, self.stand)
            out[key] = replace(one, gain_db=gain, hum_db=hum)

    def _nodes(self, at: list[int]) -> list[str]:
        return sorted({self.volts[i].node for i in at} - {GROUND})

    def _column(
        self,
        one: Prediction,
        at: list[int],
        shift: Shift,
        moved: Mapping[str, float],
        nodes: Mapping[str, float],
    ) -> None:
        """Fill in how readings move with a factor, the meter's loading as it was."""
        for i in at:
            node = self.volts[i].node
            if node == GROUND:
                continue
            true = nodes[node]
            share = one.volts[i] / true if abs(true) > 1e-3 else 1.0
            one.spread[i, shift.number] = shift.sense * (moved[node] - true) * share

    def _shifted(
        self,
        state: Circuit,
        shift: Shift,
        todo: list[tuple[Key, Mapping[str, float]]],
        at: list[int],
        out: dict[Key, Prediction],
        true: Mapping[Key, Mapping[str, float]],
    ) -> None:
        """Fill in how readings follow what stands within a law or a model: a deck of its own."""
        cards = variant_cards(self.name, self.stand.cards)
        other = made_with(state, self.stand.plan, self.stand.map, cards, shift)
        wanted = self._nodes(at)
        left = list(todo)
        while left and wanted:
            count = len(left)
            try:
                with loaded(self.bench, other) as on:
                    on.turn(self.stand.rotation)
                    while left and not on.session.troubled:
                        key, values = left.pop(0)
                        with changed(on, values, self.stand.rotation):
                            moved = on.session.op(vectors=wanted)
                        volts = {n: float(moved[n].real[0]) for n in wanted}
                        self._column(out[key], at, shift, volts, true[key])
            except NoSolution:
                out.pop(left.pop(0)[0] if len(left) == count else key, None)


def shown_on(on: Loaded, one: Volt) -> float:
    """Return what the meter of a reading shows on a circuit that `with_meters` made (V)."""
    if one.node == GROUND:
        return 0.0
    on.set(meter_element(one.node), one.ohm)
    seen = float(on.session.op(vectors=[one.node])[one.node].real[0])
    on.set(meter_element(one.node), NO_METER_OHM)
    return seen


def _heard(on: Loaded, stand: Stand) -> tuple[float, float]:
    """Return gain from the detector's grid to the first phones and ripple there, dB of 1 V for 1 V."""
    out = on.circuit.outputs[0]
    found = []
    for source, hertz in ((Role.GRID_LEAD, _TONE_HZ), (Role.SUPPLY, 2.0 * stand.build.mains.frequency)):
        with on.driven(source):
            run = on.session.ac(hertz, hertz, 1, vectors=[out])
        found.append(20.0 * float(np.log10(max(abs(complex(run[out][0])), 1e-9))))
    return found[0], found[1]
