"""Which dropper keeps the regulator within its limits over the mains, and how hot does it get?"""

from __future__ import annotations

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.measure.loaded import loaded
from receiver_sim.physics.part_series import E24, preferred_between
from receiver_sim.physics.rectified import dropper_limits
from receiver_sim.receiver import Tuned
from receiver_sim.results.supply import DropperChoice
from receiver_sim.schema import Band, Build

MAINS = (0.9, 1.1)


def plan(build: Build, cards: Cards, *, band: Band, dial_hz: float) -> Circuit:
    """Return the circuit of the receiver."""
    return receiver_circuit(build, cards, band=band, dial_hz=dial_hz, rotation=0.5)


def run(tuned: Tuned) -> DropperChoice | None:
    """Return the choice; None without a regulator. Raises EngineError.

    Volts of the supply and the control's current come from ngspice at 90 and 110 % of the mains with the
    control at both ends; the limits are Kirchhoff's at the dropper. A supply stated by volts and resistance
    sags with the current of the dropper itself: the bounds hold at the current of the dropper fitted.
    """
    regulator = tuned.build.regulator
    if regulator is None:
        return None
    supply, control, hottest = [], [], 0.0
    circuit = plan(tuned.build, tuned.cards, band=tuned.band, dial_hz=tuned.dial_hz)
    with loaded(tuned.bench, circuit) as on:
        for mains in MAINS:
            on.mains(mains)
            for rotation in (0.0, 1.0):
                on.turn(rotation)
                volts = on.volts()
                supply.append(volts[on.node(Place.SUPPLY)])
                control.append(circuit.current(circuit.part(Role.CONTROL_TOP), volts))
                drop = volts[on.node(Place.SUPPLY)] - volts[on.node(Place.REGULATED)]
                hottest = max(hottest, drop * drop / regulator.dropper)
    return reduce(tuned.build, supply, control, hottest=hottest)


def reduce(build: Build, supply: list[float], control: list[float], *, hottest: float) -> DropperChoice:
    """Turn supply volts and control currents into the choice; hottest: watts in the fitted dropper."""
    regulator = build.regulator
    assert regulator is not None
    held = regulator.held_volts
    least = regulator.minimum_current or 0.0
    most = regulator.maximum_current or 1.0
    bounds = dropper_limits(
        held,
        lowest_supply=min(supply),
        highest_supply=max(supply),
        minimum_current=least,
        maximum_current=most,
        least_load=min(control),
        greatest_load=max(control),
    )
    chosen = preferred_between(bounds.lowest, bounds.highest, E24)
    watts = None if chosen is None else (max(supply) - held) ** 2 / chosen
    if chosen is None:
        text = "no dropper keeps the regulator within its limits from 90 to 110 % of the mains"
    elif bounds.lowest <= regulator.dropper <= bounds.highest:
        text = "the dropper fitted keeps the regulator within its limits"
    else:
        text = f"fit {chosen:.3g} ohm: the dropper fitted leaves the regulator's limits"
    if regulator.dropper_power is not None and hottest > regulator.dropper_power:
        text += f"; IT IS OVERLOADED: {hottest:.2g} W in a resistor of {regulator.dropper_power:.2g} W"
    return DropperChoice(
        lowest_ohm=bounds.lowest,
        highest_ohm=bounds.highest,
        chosen_ohm=chosen,
        chosen_w=watts,
        advised_w=None if watts is None else 2.0 * watts,
        fitted_ohm=regulator.dropper,
        fitted_w=hottest,
        control_a=max(control),
        text=text,
    )
