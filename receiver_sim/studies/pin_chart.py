"""What does this meter read at each pin, tube in and out, and what to ground with the set off? (d.c.)"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.element import GROUND, Element, Nature, current_source
from receiver_sim.circuit.pins import NumberedPin, numbered_pins
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Role
from receiver_sim.engine import Bench
from receiver_sim.measure.loaded import Loaded, loaded
from receiver_sim.physics.meters import METERS, Voltmeter, read
from receiver_sim.receiver import Tuned
from receiver_sim.results.bench_chart import MeterReading, PinChart, PinReadings
from receiver_sim.schema import Build

NO_METER_OHM = 1e15
"""Stands at each pin in the place of a meter that is not on it: 0.2 pA at 200 V."""

_TEST_A = 1e-6
"""Current of the ohmmeter; the circuit without tubes, sources and regulator is linear, so any will do."""

_MOST_OHM = 2e7
"""Above this a bench ohmmeter shows an open circuit (common practice)."""


def meter_element(node: str) -> str:
    """Return the name of the element that is the meter at a node."""
    return f"rmeter_{node}"


def with_meters(circuit: Circuit, nodes: Sequence[str]) -> Circuit:
    """Return the circuit with a meter that is off at each node."""
    at = [node for node in dict.fromkeys(nodes) if node != GROUND]
    return circuit.plus(*(Element(meter_element(node), (node, GROUND), NO_METER_OHM) for node in at))


def readings(on: Loaded, node: str, meters: Sequence[Voltmeter] = METERS) -> tuple[MeterReading, ...]:
    """Return what each meter shows at a node of a circuit that `with_meters` made."""

    def loaded_by(ohm: float) -> float:
        on.set(meter_element(node), ohm)
        return float(on.session.op(vectors=[node])[node].real[0])

    out = []
    for meter in meters:
        volts, full_scale = read(meter, loaded_by)
        out.append(MeterReading(meter.name, volts, full_scale))
    on.set(meter_element(node), NO_METER_OHM)
    return tuple(out)


def switched_off(circuit: Circuit, nodes: Sequence[str]) -> Circuit:
    """Return the set as an ohmmeter sees it: no tube conducts, the supply and the regulator are open, and a
    current source stands at each of `nodes`.
    """
    tubes = {socket.tube for socket in circuit.sockets.values()}
    dead = {e.name for e in circuit.elements if e.kind == "d" and e.about.nature is Nature.PART}
    supply = circuit.part(Role.SUPPLY)
    feed = circuit[supply].nodes[0]
    off = circuit.without({*tubes, *dead, supply})
    probes = [current_source(f"iohm_{node}", node) for node in dict.fromkeys(nodes)]
    # the end of the supply's resistance, open now, must hang on something
    return off.plus(*probes, Element("rohm_feed", (feed, GROUND), NO_METER_OHM))


def resistances(circuit: Circuit, bench: Bench, nodes: Sequence[str]) -> dict[str, float]:
    """Return the resistance (ohm) from each node to ground with the set off."""
    found = {GROUND: 0.0}
    with loaded(bench, switched_off(circuit, nodes)) as on:
        on.turn(0.0)
        for node in dict.fromkeys(nodes):
            on.set(f"iohm_{node}", _TEST_A)
            found[node] = float(on.session.op(vectors=[node])[node].real[0]) / _TEST_A
            on.set(f"iohm_{node}", 0.0)
    return found


def points_of(circuit: Circuit, build: Build, cards: Cards) -> list[NumberedPin]:
    """Return the pins a meter is put on, and after them the test points that are no pin of a tube."""
    pins = [pin for pin in numbered_pins(circuit, build, cards) if pin.node is not None]
    taken = {pin.node for pin in pins}
    others = [(node, words) for node, words in circuit.meter.items() if node not in taken]
    return pins + [NumberedPin("", "", "", words, node) for node, words in others]


def run(tuned: Tuned, *, rotation: float, setting: str) -> PinChart:
    """Return the chart with the control at a rotation (0..1) that `setting` gives words for.

    The receiver does not oscillate in it. Raises EngineError.
    """
    circuit = receiver_circuit(
        tuned.build, tuned.cards, band=tuned.band, dial_hz=tuned.dial_hz, rotation=rotation
    )
    points = points_of(circuit, tuned.build, tuned.cards)
    nodes = [p.node for p in points if p.node not in (None, GROUND)]
    named = [node for node in nodes if node is not None]
    ohms = resistances(circuit, tuned.bench, named)
    seen: dict[str | None, dict[str, tuple[float, tuple[MeterReading, ...]]]] = {}
    for pulled in (None, *circuit.sockets):
        at = named if pulled is None else [p.node for p in points if p.socket == pulled and p.node in named]
        there = [node for node in dict.fromkeys(at) if node is not None]
        state = circuit if pulled is None else circuit.without([circuit.sockets[pulled].tube])
        with loaded(tuned.bench, with_meters(state, named)) as on:
            on.turn(rotation)
            true = on.volts()
            seen[pulled] = {node: (true[node], readings(on, node)) for node in there}
    return PinChart(
        setting, rotation, tuple(m.name for m in METERS), tuple(_row(p, seen, ohms) for p in points)
    )


def _row(
    point: NumberedPin,
    seen: dict[str | None, dict[str, tuple[float, tuple[MeterReading, ...]]]],
    ohms: dict[str, float],
) -> PinReadings:
    node = point.node or GROUND
    ohm = ohms[node]
    nothing = tuple(MeterReading(m.name, 0.0, m.ranges[0]) for m in METERS)
    true, shown = (0.0, nothing) if node == GROUND else seen[None][node]
    without: tuple[MeterReading, ...] = ()
    if point.socket:
        without = nothing if node == GROUND else seen[point.socket][node][1]
    return PinReadings(
        socket=point.socket,
        tube=point.tube,
        pin=point.number,
        words=point.words,
        node=node,
        true_v=true,
        with_tube=shown,
        without_tube=without,
        off_ohm=ohm if ohm < _MOST_OHM else None,
    )


def with_ranges(
    chart: PinChart, sets: Sequence[Mapping[str, float]], *, ends: tuple[float, float]
) -> PinChart:
    """Return a chart with the range of each pin's volts, no meter on it, in drawn sets.

    sets: volts by node at the chart's setting, without any the chart stays as it is; ends: of the range, in
    per cent of the sets.
    """
    if not sets:
        return chart
    pins = []
    for pin in chart.pins:
        low, high = np.percentile([one.get(pin.node, 0.0) for one in sets], ends)
        pins.append(replace(pin, low_v=float(low), high_v=float(high)))
    return replace(chart, pins=tuple(pins))
