"""What would these readings be under each possible fault? One loaded circuit, values changed one by one."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.designators import parts_of
from receiver_sim.circuit.element import GROUND
from receiver_sim.circuit.possible_faults import PossibleFault, variants
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.engine import Bench, EngineError
from receiver_sim.errors import NoAnswer
from receiver_sim.measure import onset as onset_study
from receiver_sim.measure.loaded import Loaded, loaded
from receiver_sim.measure.loop_gain import Probe
from receiver_sim.results.base import Status
from receiver_sim.schema import Band, Build
from receiver_sim.studies.pin_chart import NO_METER_OHM, meter_element, with_meters

FloatArray = npt.NDArray[np.float64]

SPREAD: Mapping[str, float] = {"resistor": 0.055, "pot": 0.1, "supply": 0.03}
"""Standard deviation of parts by class, as a share: resistors of 10 % spread evenly, pots of 20 %, mains
(common practice, no source)."""

REGULATOR_SPREAD = 0.025
TUBE_SPREAD_V, TUBE_SPREAD_SHARE = 0.08, 0.08
"""Of a new tube, as a shift of its grid volts: contact potential, and a share of its bias for emission."""

_TONE_HZ = 1000.0


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
    """What one size of one fault gives: volts of the readings, how they spread with the parts (readings x
    parts, one standard deviation each), volts of all nodes, onset by band (None: none, missing: not known),
    gain and ripple at the phones in dB of 1 V for 1 V.
    """

    volts: FloatArray
    spread: FloatArray
    nodes: Mapping[str, float]
    onset: Mapping[str, float | None] = field(default_factory=dict)
    gain_db: float | None = None
    hum_db: float | None = None


@dataclass(frozen=True)
class Stand:
    """A build on the bench: where its control stood while volts were read, its bands that were tried."""

    build: Build
    cards: Cards
    band: Band
    dial_hz: float
    rotation: float
    bands: tuple[Band, ...] = ()

    def circuits(self, band: Band, dial_hz: float) -> dict[str, Circuit]:
        """Return the circuits that faults stand in, by name of the variant."""
        return variants(self.build, self.cards, band=band, dial_hz=dial_hz, rotation=self.rotation)


CircuitsAt = Callable[[Band, float], Mapping[str, Circuit]]

Key = tuple[int, int]
"""Number of a fault and of its size; (-1, 0) is the sound set."""

SOUND: Key = (-1, 0)


def predict(
    stand: Stand,
    faults: Sequence[PossibleFault],
    volts: Sequence[Volt],
    bench: Bench,
    *,
    heard: bool,
    circuits_at: CircuitsAt | None = None,
) -> tuple[dict[Key, Prediction], list[str]]:
    """Return the prediction of the sound set and of every size of every fault, and what could not be run.

    circuits_at: gives the circuits by variant for a band and a dial frequency; those of the build if None.
    """
    jobs: dict[str, list[tuple[Key, Mapping[str, float]]]] = {"": [(SOUND, {})]}
    for i, fault in enumerate(faults):
        for j, size in enumerate(fault.sizes):
            jobs.setdefault(size.variant, []).append(((i, j), size.values))
    pieces = [(name, todo[k : k + 24]) for name, todo in jobs.items() for k in range(0, len(todo), 24)]
    at = circuits_at or stand.circuits
    circuits = at(stand.band, stand.dial_hz)
    at_d_c = bench.map(lambda b, one: _direct(b, stand, circuits, one, volts, heard), pieces)
    found = {key: prediction for piece in at_d_c for key, prediction in piece.items()}
    for band in stand.bands:
        middle = float(np.sqrt(band.from_ * band.to))
        of_band = at(band, middle)
        elsewhere = band.name != stand.band.name
        spared = {
            (i, j) for i, f in enumerate(faults) if f.plugged and elsewhere for j in range(len(f.sizes))
        }
        left = [(name, [one for one in todo if one[0] not in spared]) for name, todo in pieces]
        ran = bench.map(_onset_job(of_band, band, middle), [piece for piece in left if piece[1]])
        places = {key: place for piece in ran for key, place in piece.items()}
        places |= {key: places[SOUND] for key in spared if SOUND in places}
        for key, place in places.items():
            if key in found:
                found[key] = _with_onset(found[key], band.name, place)
    missing = [
        faults[i].name for i, j in (key for todo in jobs.values() for key, _ in todo)
        if i >= 0 and (i, j) not in found
    ]  # fmt: skip
    return found, sorted(set(missing))


def _with_onset(one: Prediction, band: str, place: float | None) -> Prediction:
    return Prediction(one.volts, one.spread, one.nodes, {**one.onset, band: place}, one.gain_db, one.hum_db)


# ---------------------------------------------------------------------- volts and what is heard


def _direct(
    bench: Bench,
    stand: Stand,
    circuits: Mapping[str, Circuit],
    piece: tuple[str, list[tuple[Key, Mapping[str, float]]]],
    volts: Sequence[Volt],
    heard: bool,
) -> dict[Key, Prediction]:
    """Return the predictions of one piece of the work: faults of one variant."""
    name, todo = piece
    out: dict[Key, Prediction] = {}
    left = list(todo)
    while left:
        try:
            with loaded(bench, with_meters(circuits[name], [v.node for v in volts])) as on:
                on.turn(stand.rotation)
                while left:
                    key, values = left.pop(0)
                    with _changed(on, values, stand.rotation):
                        out[key] = _one(on, stand, volts, heard, values)
        except EngineError:
            continue  # what failed is left out and named; the rest goes on in a fresh worker
    for pulled in sorted({v.pulled for v in volts if v.pulled}):
        _add_pulled(bench, stand, circuits[name], pulled, todo, volts, out)
    return out


class _changed:  # noqa: N801 - a context, named as what it does
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


def _one(
    on: Loaded, stand: Stand, volts: Sequence[Volt], heard: bool, values: Mapping[str, float]
) -> Prediction:
    nodes = on.volts()
    shown = np.array([0.0 if v.pulled else _shown(on, v) for v in volts], dtype=np.float64)
    spread = _spread(on, stand, volts, nodes, shown, values)
    gain = hum = None
    if heard:
        gain, hum = _heard(on, stand)
    return Prediction(shown, spread, nodes, {}, gain, hum)


def _shown(on: Loaded, one: Volt) -> float:
    if one.node == GROUND:
        return 0.0
    on.set(meter_element(one.node), one.ohm)
    seen = float(on.session.op(vectors=[one.node])[one.node].real[0])
    on.set(meter_element(one.node), NO_METER_OHM)
    return seen


def spread_elements(circuit: Circuit, nodes: Mapping[str, float]) -> list[tuple[str, float]]:
    """Return what is varied to see how readings spread: element and the value one deviation away."""
    out: list[tuple[str, float]] = []
    bought = {name for part in parts_of(circuit) for name in part.elements}
    for element in circuit.elements:
        share = SPREAD.get(element.about.tolerance or "")
        if element.name in bought and share is not None and element.kind in "rv" and element.value:
            out.append((element.name, element.value * (1.0 + share)))
    feed = next((e for e in circuit.elements if e.about.block == "control" and e.kind == "v"), None)
    if feed is not None:
        out.append((feed.name, REGULATOR_SPREAD * abs(nodes.get(feed.nodes[0], 0.0))))
    for socket in circuit.sockets.values():
        if socket.tube not in circuit:
            continue
        grid, cathode = (nodes.get(socket.pins[pin], 0.0) for pin in ("grid", "cathode"))
        out.append((socket.probe, TUBE_SPREAD_V + TUBE_SPREAD_SHARE * abs(grid - cathode)))
    return out


def _spread(
    on: Loaded,
    stand: Stand,
    volts: Sequence[Volt],
    nodes: Mapping[str, float],
    shown: FloatArray,
    values: Mapping[str, float],
) -> FloatArray:
    """Return the change of each reading for one deviation of each part, the meter's loading as it was."""
    now = {**on.circuit.control.at(stand.rotation), **values}
    columns = []
    for name, value in spread_elements(on.circuit, nodes):
        before = now.get(name, on.circuit[name].value or 0.0)
        on.set(name, value * before / (on.circuit[name].value or 1.0) if name in now else value)
        moved = on.volts()
        on.set(name, before)
        column = []
        for i, one in enumerate(volts):
            true = nodes.get(one.node, 0.0)
            share = shown[i] / true if abs(true) > 1e-3 else 1.0
            column.append((moved.get(one.node, 0.0) - true) * share)
        columns.append(column)
    return np.asarray(np.array(columns, dtype=np.float64).T.reshape(len(volts), len(columns)))


def _heard(on: Loaded, stand: Stand) -> tuple[float, float]:
    """Return gain from the detector's grid to the first phones and ripple there, dB of 1 V for 1 V."""
    out = on.circuit.outputs[0]
    found = []
    for source, hertz in ((Role.GRID_LEAD, _TONE_HZ), (Role.SUPPLY, 2.0 * stand.build.mains.frequency)):
        with on.driven(source):
            run = on.session.ac(hertz, hertz, 1, vectors=[out])
        found.append(20.0 * float(np.log10(max(abs(complex(run[out][0])), 1e-9))))
    return found[0], found[1]


def _add_pulled(
    bench: Bench,
    stand: Stand,
    circuit: Circuit,
    pulled: str,
    todo: Iterable[tuple[Key, Mapping[str, float]]],
    volts: Sequence[Volt],
    out: dict[Key, Prediction],
) -> None:
    """Fill in the readings that were taken with a tube out."""
    at = [i for i, v in enumerate(volts) if v.pulled == pulled]
    state = circuit.without([circuit.sockets[pulled].tube])
    try:
        with loaded(bench, with_meters(state, [volts[i].node for i in at])) as on:
            on.turn(stand.rotation)
            for key, values in todo:
                if key not in out:
                    continue
                with _changed(on, values, stand.rotation):
                    for i in at:
                        out[key].volts[i] = _shown(on, volts[i])
    except EngineError:
        for key, _ in todo:
            out.pop(key, None)


# ---------------------------------------------------------------------- onset


def _onset_job(circuits: Mapping[str, Circuit], band: Band, dial_hz: float) -> Any:
    def run(
        bench: Bench, piece: tuple[str, list[tuple[Key, Mapping[str, float]]]]
    ) -> dict[Key, float | None]:
        name, todo = piece
        out: dict[Key, float | None] = {}
        left = list(todo)
        while left:
            try:
                with loaded(bench, circuits[name]) as on:
                    while left:
                        key, values = left.pop(0)
                        with _changed(on, values, 0.5):
                            try:
                                out[key] = _onset(on, band, dial_hz, values)
                            except NoAnswer:
                                out[key] = None
            except EngineError:
                continue
        return out

    return run


def _onset(on: Loaded, band: Band, dial_hz: float, values: Mapping[str, float]) -> float | None:
    """Return the rotation at onset, None where there is none. A broken track keeps its break as it turns."""
    control = on.circuit.node(Place.CONTROL_NODE)
    if all(s.tube not in on.circuit for s in on.circuit.sockets.values() if s.control_node == control):
        return None
    broken = {n: v for n, v in values.items() if n in on.circuit.control.at_share(0.5)}
    probe = Probe(_Broken(on.session, on.circuit, broken) if broken else on, band=band, dial_hz=dial_hz)
    probe.trim()
    status, _, share = onset_study.search(probe.measure)
    if status is Status.NOT_IN_RANGE:
        return 0.0
    return None if share is None else probe.rotation(share)


@dataclass(frozen=True)
class _Broken(Loaded):
    """A circuit whose control has a broken track."""

    broken: Mapping[str, float] = field(default_factory=dict)

    def turn_to_share(self, share: float) -> None:
        super().turn_to_share(share)
        for name, value in self.broken.items():
            self.set(name, value)
