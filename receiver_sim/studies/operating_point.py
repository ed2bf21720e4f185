"""What should a meter read at each pin, and is any rating exceeded? (d.c.)"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit, Socket
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Role
from receiver_sim.measure.loaded import loaded
from receiver_sim.receiver import Tuned
from receiver_sim.results.bias import OperatingPoint, RatingLine, TubePoint
from receiver_sim.results.onset import ControlSetting
from receiver_sim.schema import Band, Build
from receiver_sim.schema.card import TubeCard, outside_range


def plan(build: Build, cards: Cards, *, band: Band, dial_hz: float) -> Circuit:
    """Return the circuit of the receiver; the d.c. conditions do not depend on the band."""
    return receiver_circuit(build, cards, band=band, dial_hz=dial_hz, rotation=0.5)


def reduce(
    volts: Mapping[str, float], circuit: Circuit, build: Build, cards: Cards, *, label: str, rotation: float
) -> OperatingPoint:
    """Turn the vectors of an operating point (volts, and amperes of branches) into the result."""
    sockets = [
        (_tube(volts, circuit, socket, cards.of(name)), cards.of(name))
        for name, socket in circuit.sockets.items()
    ]
    tubes = tuple(tube for tube, _ in sockets)
    regulator = regulator_current(volts, circuit)
    ratings = [line for tube, card in sockets for line in _ratings(tube, card)]
    if regulator is not None and build.regulator is not None and build.regulator.maximum_current is not None:
        ratings.append(RatingLine("regulator", "current", regulator, build.regulator.maximum_current, "A"))
    control = circuit.control
    figure = control.figure(volts, share=control.share(rotation))
    return OperatingPoint(
        label=label,
        setting=ControlSetting.of(rotation, figure, **control.sets),
        tubes=tubes,
        volts={name: volts[node] for node, name in circuit.meter.items()},
        regulator_a=regulator,
        ratings=tuple(ratings),
    )


def _tube(volts: Mapping[str, float], circuit: Circuit, socket: Socket, card: TubeCard) -> TubePoint:
    def at(pin: str) -> float:
        return 0.0 if socket.pins[pin] == "0" else volts[socket.pins[pin]]

    cathode_v, plate_v, grid_v = at("cathode"), at("plate"), at("grid")
    plate = circuit.into(socket, "plate", volts)
    screen_v = screen = None
    if "screen" in socket.pins:
        screen_v, screen = at("screen"), circuit.into(socket, "screen", volts)
    return TubePoint(
        socket=socket.name,
        tube=card.type,
        plate_v=plate_v,
        screen_v=screen_v,
        grid_v=grid_v,
        cathode_v=cathode_v,
        plate_a=plate,
        screen_a=screen,
        grid_a=circuit.into(socket, "grid", volts),
        plate_w=(plate_v - cathode_v) * plate,
        screen_w=None if screen is None or screen_v is None else (screen_v - cathode_v) * screen,
        outside=tuple(
            outside_range(
                card,
                plate_v=plate_v - cathode_v,
                screen_v=None if screen_v is None else screen_v - cathode_v,
                grid_v=grid_v - cathode_v,
            )
        ),
    )


def regulator_current(volts: Mapping[str, float], circuit: Circuit) -> float | None:
    """Return the d.c. (A) through the regulator: what its dropper brings and the control does not take."""
    dropper = circuit.find(Role.DROPPER)
    if dropper is None:
        return None
    return circuit.current(dropper, volts) - circuit.current(circuit.part(Role.CONTROL_TOP), volts)


def _ratings(tube: TubePoint, card: TubeCard) -> list[RatingLine]:
    limits = card.ratings
    part = f"{tube.socket} {tube.tube}"
    candidates = [
        ("plate volts", tube.plate_v - tube.cathode_v, limits.plate, "V"),
        ("plate dissipation", tube.plate_w, limits.plate_power, "W"),
        (
            "screen volts",
            None if tube.screen_v is None else tube.screen_v - tube.cathode_v,
            limits.screen,
            "V",
        ),
        ("screen dissipation", tube.screen_w, limits.screen_power, "W"),
    ]
    return [
        RatingLine(part, name, value, limit, unit)
        for name, value, limit, unit in candidates
        if value is not None and limit is not None
    ]


def run(
    tuned: Tuned,
    *,
    settings: Sequence[tuple[str, float]],
) -> tuple[OperatingPoint, ...]:
    """Return the operating point at each labelled rotation (0..1) of the control.

    The receiver does not oscillate in these: d.c. of the quiescent circuit. Raises EngineError when a
    simulation fails.
    """
    points = []
    with loaded(tuned.bench, plan(tuned.build, tuned.cards, band=tuned.band, dial_hz=tuned.dial_hz)) as on:
        for label, rotation in settings:
            on.turn(rotation)
            points.append(
                reduce(on.volts(), on.circuit, tuned.build, tuned.cards, label=label, rotation=rotation)
            )
    return tuple(points)
