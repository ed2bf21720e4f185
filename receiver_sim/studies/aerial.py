"""What does the aerial do to the tank as it swings, and what does an oscillating detector radiate through
it?
"""

from __future__ import annotations

import numpy as np

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.blocks.aerial import (
    aerial_capacitance,
    aerial_impedance,
    aerial_radiation,
    by_link,
    swung_aerial,
)
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.errors import NoAnswer
from receiver_sim.measure import onset
from receiver_sim.measure.loaded import Loaded, loaded
from receiver_sim.measure.loop_gain import Probe, Sample
from receiver_sim.measure.mode import silenced
from receiver_sim.measure.tank import Tank
from receiver_sim.physics.aerial import ground_wave_field, radiated_power
from receiver_sim.receiver import Tuned
from receiver_sim.results.coils import AerialEffect, AerialState, Radiation
from receiver_sim.results.onset import ControlSetting
from receiver_sim.schema import Band, Build
from receiver_sim.schema.coil_figures import coil_q

ASSUMED_TANK_V = 1.0
"""Peak volts at the hot end of an oscillating tank where nothing better is known: an assumption."""

FIELD_AT_M = 100.0


def plan(build: Build, cards: Cards, *, band: Band, dial_hz: float) -> Circuit:
    """Return the circuit: the receiver tuned to `dial_hz`, the control at its lowest."""
    return receiver_circuit(build, cards, band=band, dial_hz=dial_hz, rotation=0.0)


def run(
    tuned: Tuned,
    *,
    tank_volts: float | None = None,
) -> AerialEffect:
    """Look at one band with the aerial calm, swung either way, and taken off, at the dial of an onset search.

    tank_volts: peak amplitude at the hot end for the radiated power; None: `ASSUMED_TANK_V`.
    Raises EngineError when a simulation fails, ValueError without an aerial or where no resonance is found.
    """
    aerial, dial = tuned.build.aerial, tuned.onset.dial_hz
    if aerial is None or tuned.onset.tuning_farad is None:
        raise NoAnswer("no aerial is connected" if aerial is None else "the onset search failed")
    q = coil_q(tuned.band.coil, dial)
    capacitance = aerial_capacitance(aerial, dial_hz=dial)
    states: list[AerialState] = []
    with loaded(tuned.bench, plan(tuned.build, tuned.cards, band=tuned.band, dial_hz=dial)) as on:
        tank = Tank(on, band=tuned.band)
        on.tune(tuned.onset.tuning_farad)
        calm = tank.mode(dial, q=q)
        radiation = _radiation(on, tuned.build, dial=calm.resonance_hz, tank_volts=tank_volts)
        for state, factor in (("calm", 1.0), ("less", 1.0 - aerial.swing), ("more", 1.0 + aerial.swing)):
            for element, value in swung_aerial(aerial, factor, dial_hz=dial).items():
                on.set(element, value)
            on.turn(0.0)  # the search before this left the control at the onset; a throttle moves the tank
            mode = tank.mode(dial, q=q)
            if state == "calm":
                status, setting = tuned.onset.status, tuned.onset.onset
            else:
                probe = Probe(on, band=tuned.band, dial_hz=dial)
                status, samples, wiper = onset.search(probe.measure)
                setting = None if wiper is None else _setting(probe, samples, wiper)
                on.drive(Role.LOOP_GAIN, 0.0)
            states.append(
                AerialState(
                    state,
                    capacitance * factor,
                    mode.resonance_hz,
                    mode.resonance_hz - calm.resonance_hz,
                    mode.q,
                    status,
                    setting,
                )
            )
    states.append(_without(tuned, calm=calm.resonance_hz))
    impedance = aerial_impedance(aerial, dial_hz=dial)
    return AerialEffect(
        band=tuned.band.name,
        dial_hz=dial,
        coupling="stage"
        if tuned.build.rf_stage is not None
        else "link"
        if by_link(tuned.build)
        else "capacitor",
        resistance_ohm=impedance.real,
        reactance_ohm=impedance.imag,
        states=tuple(states),
        radiation=radiation,
    )


def _setting(probe: Probe, samples: list[Sample], wiper: float) -> ControlSetting:
    figure = np.interp(wiper, [s.wiper for s in samples], [s.figure for s in samples])
    return ControlSetting.of(probe.rotation(wiper), float(figure), **probe.sets)


def _without(
    tuned: Tuned,
    *,
    calm: float,
) -> AerialState:
    """Return the state without an aerial: resonance with the dial left alone, onset with it tuned again."""
    bare = tuned.build.model_copy(update={"aerial": None})
    again = tuned.receiver.changed(bare).at(tuned.band, tuned.dial_hz).onset
    with loaded(tuned.bench, plan(bare, tuned.cards, band=tuned.band, dial_hz=tuned.onset.dial_hz)) as on:
        on.tune(tuned.onset.tuning_farad or 0.0)
        mode = Tank(on, band=tuned.band).mode(
            tuned.onset.dial_hz, q=coil_q(tuned.band.coil, tuned.onset.dial_hz)
        )
    return AerialState(
        "none", None, mode.resonance_hz, mode.resonance_hz - calm, mode.q, again.status, again.onset
    )


def _radiation(on: Loaded, build: Build, *, dial: float, tank_volts: float | None) -> Radiation:
    """Return what the tank, swinging at its resonance, sends out: the aerial's current per volt at the hot
    end.
    """
    assert build.aerial is not None
    volts = ASSUMED_TANK_V if tank_volts is None else tank_volts
    top, branch = on.node(Place.HOT_END), on.circuit.branch(Role.AERIAL)
    with silenced(on), on.driven(Role.TANK_CURRENT):
        run_ = on.session.ac(dial, dial * 1.001, 2, vectors=["frequency", top, branch])
    current = float(abs(run_[branch][0] / run_[top][0]) * volts / np.sqrt(2.0))
    height, resistance, assumed = aerial_radiation(build.aerial, frequency=dial)
    power = float(radiated_power(current, radiation_resistance=resistance))
    return Radiation(
        tank_v=volts,
        tank_assumed=tank_volts is None,
        aerial_a=current,
        height_m=height,
        height_assumed=assumed,
        radiation_ohm=resistance,
        power_w=power,
        field_v_per_m=float(
            ground_wave_field(current, effective_height=height, frequency=dial, distance=FIELD_AT_M)
        ),
    )
