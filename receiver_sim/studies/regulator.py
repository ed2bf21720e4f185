"""Does the regulator hold, and how far do screen and onset move with the mains?"""

from __future__ import annotations

from collections.abc import Mapping

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.engine import Bench
from receiver_sim.measure import onset
from receiver_sim.measure.loaded import loaded
from receiver_sim.receiver import Tuned
from receiver_sim.results.bias import MainsPoint, RegulatorDrift
from receiver_sim.results.onset import SCREEN, Onset
from receiver_sim.schema import Band, Build

MAINS = (0.9, 1.0, 1.1)
"""Line voltages looked at, as fractions of nominal (EN 50160 allows the same +-10 %, from
memory).
"""


def plan(
    build: Build, cards: Cards, *, band: Band, dial_hz: float, rotation: float
) -> tuple[Circuit, Circuit | None]:
    """Return the receiver's circuit, and the same with an unlit gas tube (None for other regulators)."""
    circuit = receiver_circuit(build, cards, band=band, dial_hz=dial_hz, rotation=rotation)
    if build.regulator is None or build.regulator.kind != "gas_tube":
        return circuit, None
    return circuit, receiver_circuit(
        build, cards, band=band, dial_hz=dial_hz, rotation=rotation, regulator_lit=False
    )


def reduce(
    lit: Mapping[str, float],
    unlit: Mapping[str, float] | None,
    onset: Onset,
    *,
    build: Build,
    circuit: Circuit,
    mains: float,
    figure: float,
) -> MainsPoint:
    """Turn two operating points (volts by node) and the onset at one line voltage into the result.

    figure: what the control sets there.
    """
    regulator = build.regulator
    current: float | None = None
    holds: bool | None = None
    reason = "no regulator"
    if regulator is not None:
        current = circuit.current(circuit.part(Role.DROPPER), lit)
        current -= circuit.current(circuit.part(Role.CONTROL_TOP), lit)
        holds, reason = True, "regulates"
        strike = regulator.strike if regulator.kind == "gas_tube" else 0.0
        before = None if unlit is None else unlit[circuit.node(Place.REGULATED)]
        if before is not None and before < strike:
            holds = False
            reason = f"does not strike: {before:.0f} V before striking, {strike:.0f} V needed"
        elif regulator.minimum_current is not None and current < regulator.minimum_current:
            holds, reason = False, "too little current to regulate"
        elif regulator.maximum_current is not None and current > regulator.maximum_current:
            holds, reason = False, "current above the rating"
    return MainsPoint(
        mains=mains,
        supply_v=build.supply.volts * mains,
        regulated_v=lit[circuit.find_node(Place.REGULATED) or circuit.node(Place.SUPPLY)],
        regulator_a=current,
        holds=holds,
        screen_v=figure if circuit.control.quantity == SCREEN else None,
        value=None if circuit.control.quantity == SCREEN else figure,
        **circuit.control.sets,
        onset_status=onset.status,
        onset=onset.onset,
        reason=reason,
    )


def run(
    tuned: Tuned,
    *,
    rotation: float,
    nominal: Onset,
) -> RegulatorDrift:
    """Follow the regulated voltage, the screen at a fixed knob, and the onset over the line voltages of
    MAINS.

    nominal: the onset of the band at the nominal line voltage.
    Heater volts also follow the mains in a real set; the tube law has no emission limit, so that is left out.
    Raises EngineError on failure.
    """
    circuit, before = plan(
        tuned.build, tuned.cards, band=tuned.band, dial_hz=tuned.dial_hz, rotation=rotation
    )
    points, hottest = [], None
    all_lit = _volts(tuned.bench, circuit, rotation=rotation)
    all_unlit = [None] * len(MAINS) if before is None else _volts(tuned.bench, before, rotation=rotation)
    for mains, lit, unlit in zip(MAINS, all_lit, all_unlit, strict=True):
        control = circuit.control
        figure = control.figure(lit, share=control.share(rotation))
        at = nominal
        if mains != 1.0:
            at = onset.run(tuned, mains=mains)
        points.append(reduce(lit, unlit, at, build=tuned.build, circuit=circuit, mains=mains, figure=figure))
        hottest = lit
    dropper = regulator = None
    if tuned.build.regulator is not None and hottest is not None:
        drop = hottest[circuit.node(Place.SUPPLY)] - hottest[circuit.node(Place.REGULATED)]
        dropper = drop * drop / tuned.build.regulator.dropper
        regulator = points[-1].regulated_v * (points[-1].regulator_a or 0.0)
    return RegulatorDrift(
        band=tuned.band.name,
        dial_hz=tuned.dial_hz,
        rotation=rotation,
        points=tuple(points),
        dropper_w=dropper,
        regulator_w=regulator,
    )


def _volts(bench: Bench, circuit: Circuit, *, rotation: float) -> list[dict[str, float]]:
    """Return the operating point at each line voltage of MAINS."""
    with loaded(bench, circuit) as on:
        on.turn(rotation)
        found = []
        for mains in MAINS:
            on.mains(mains)
            found.append(on.volts())
        return found
