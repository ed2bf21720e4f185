"""How much ripple and noise reaches the screen of the detector, and how far does the regulator drift?"""

from __future__ import annotations

import math

import numpy as np

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.measure.loaded import loaded
from receiver_sim.measure.ripple import ripple_of
from receiver_sim.receiver import Tuned
from receiver_sim.results.supply import ScreenQuiet
from receiver_sim.schema import Band, Build

RISE_K = 20.0
"""Warming of a set's inside from cold to steady (common practice, no source)."""

LOWEST_HZ, HIGHEST_HZ = 100.0, 10e3
"""Band in which a build states the noise of its regulator."""


def plan(build: Build, cards: Cards, *, band: Band, dial_hz: float, rotation: float) -> Circuit:
    """Return the circuit of the receiver at that setting."""
    return receiver_circuit(build, cards, band=band, dial_hz=dial_hz, rotation=rotation)


def run(tuned: Tuned, *, rotation: float) -> ScreenQuiet:
    """Return ripple and noise at the screen (of a triode, behind the control) at a rotation (0..1).

    Raises EngineError.
    """
    ripple = ripple_of(tuned.build)
    circuit = plan(tuned.build, tuned.cards, band=tuned.band, dial_hz=tuned.dial_hz, rotation=rotation)
    feed, screen = circuit.node(Place.SUPPLY), circuit.find_node(Place.SCREEN)
    at_screen = screen is not None
    if screen is None:
        screen = circuit.control.node or circuit.node(Place.PLATE)
    regulator = tuned.build.regulator
    noise = drift = 0.0
    with loaded(tuned.bench, circuit) as on:
        on.drive(Role.SUPPLY)
        square, ratio, strongest = 0.0, 1.0, -1.0
        for frequency, volts, _ in ripple.lines:
            answer = on.session.ac(frequency, frequency, 1, vectors=["frequency", feed, screen])
            gain = abs(answer[screen][0] / answer[feed][0])
            level = volts if ripple.at_receiver else volts * abs(answer[feed][0])
            square += (gain * level) ** 2
            if volts > strongest:
                ratio, strongest = gain, volts
        on.drive(Role.SUPPLY, 0.0)
        if regulator is not None:
            on.drive(Role.REGULATOR_CURRENT)
            sweep = on.session.ac(LOWEST_HZ, HIGHEST_HZ, 30, scale="dec", vectors=["frequency", screen])
            # an e.m.f. behind the regulator's slope is a current of e/slope across it
            gain_v = np.abs(sweep[screen]) / max(regulator.held_impedance, 1e-3)
            density = regulator.noise / math.sqrt(HIGHEST_HZ - LOWEST_HZ)
            frequency_hz = sweep["frequency"].real
            power = (density * gain_v) ** 2
            noise = math.sqrt(float(np.sum((power[1:] + power[:-1]) * np.diff(frequency_hz) / 2.0)))
            sense = 1.0 if regulator.drift_sense == "rises" else -1.0
            drift = sense * regulator.drift * regulator.count * RISE_K
    return ScreenQuiet(
        ripple_v=math.sqrt(square),
        supply_db=20.0 * math.log10(ratio),
        regulator_noise_v=noise,
        drift_v=None if regulator is None else drift,
        rise_k=RISE_K,
        at_screen=at_screen,
    )
