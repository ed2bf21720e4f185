"""What is the noise floor at each output, and what makes it? (audio view)

ngspice gives the thermal noise of every resistor; the tubes' own is added by their published equivalent
resistances at the control node. Left out: flicker noise, the tank's noise (it comes with the signal), the
band's own noise.
"""

from __future__ import annotations

import math

import numpy as np

from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Role
from receiver_sim.circuit.views.audio import audio_circuit
from receiver_sim.measure.audio_noise import tube_resistances
from receiver_sim.measure.loaded import loaded
from receiver_sim.physics.noise import thermal_density
from receiver_sim.receiver import Receiver
from receiver_sim.results.base import FloatArray
from receiver_sim.schema import Build

LOWEST_HZ, HIGHEST_HZ, PER_DECADE = 100.0, 5000.0, 30


def plan(build: Build, cards: Cards, *, rotation: float) -> Circuit:
    """Return the circuit: the audio view at that setting of the control."""
    return audio_circuit(build, cards, rotation=rotation)


def run(receiver: Receiver, *, rotation: float) -> tuple[tuple[float, dict[str, float]], ...]:
    """Return for each output the noise (V r.m.s., LOWEST_HZ to HIGHEST_HZ) and what share of its power each
    source has: 'resistors', 'detector', 'audio', 'first audio'.

    Raises EngineError when a simulation fails.
    """
    circuit = plan(receiver.build, receiver.cards, rotation=rotation)
    nodes = circuit.outputs
    with loaded(receiver.bench, circuit) as on:
        resistances = tube_resistances(circuit, receiver.cards, on.volts())
        gains: dict[str, dict[str, FloatArray]] = {}
        for socket in resistances:
            with on.driven(circuit.sockets[socket].probe):
                answer = on.session.ac(
                    LOWEST_HZ, HIGHEST_HZ, PER_DECADE, scale="dec", vectors=["frequency", *nodes]
                )
            gains[socket] = {node: np.abs(answer[node]) for node in nodes}
            frequency = answer["frequency"].real
        out = []
        beyond = HIGHEST_HZ * 10.0 ** (1.0 / PER_DECADE)
        for node in nodes:
            source = circuit.part(Role.LOOP_GAIN)
            thermal = on.session.noise(node, source, LOWEST_HZ, beyond, PER_DECADE)
            # its own frequencies: a sweep of noise steps otherwise than one of a.c.
            density = np.interp(frequency, thermal["frequency"].real, thermal["onoise_spectrum"].real)
            powers = {"resistors": _power(frequency, density)}
            for socket, resistance in resistances.items():
                density = thermal_density(resistance) * gains[socket][node]
                powers[socket] = _power(frequency, density)
            total = sum(powers.values())
            out.append((math.sqrt(total), {name: p / total for name, p in powers.items()}))
    return tuple(out)


def _power(frequency: FloatArray, density: FloatArray) -> float:
    """Return the mean square (V^2) of a density (V/sqrt(Hz)) over the sweep, by the trapezoidal rule."""
    square = np.asarray(density, dtype=float) ** 2
    return float(np.sum((square[1:] + square[:-1]) * np.diff(frequency) / 2.0))
