"""Noise of the tubes between the aerial and the detector's tank: what each makes at its control node."""

from __future__ import annotations

import math
from collections.abc import Mapping

from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.measure.audio_noise import tube_resistances
from receiver_sim.measure.loaded import Loaded
from receiver_sim.measure.mode import ahead, silenced
from receiver_sim.physics.noise import thermal_density


def tubes_ahead(on: Loaded, cards: Cards) -> dict[str, float]:
    """Return the noise of each tube of an r.f. stage (V/sqrt(Hz) at its control node) by the probe in its
    place."""
    circuit = on.circuit
    names = ahead(circuit)
    if not names:
        return {}
    resistances = tube_resistances(circuit, cards, on.volts())
    return {circuit.sockets[name].probe: thermal_density(resistances[name]) for name in names}


def noise_at(on: Loaded, probes: Mapping[str, float], *, node: str, frequency: float) -> float:
    """Return the noise density (V/sqrt(Hz)) at a node that probes of some densities (`tubes_ahead`) make
    there at a frequency (Hz), all other sources at rest.
    """
    square = 0.0
    for probe, density in probes.items():
        with on.driven(probe):
            answer = on.session.ac(frequency, frequency, 1, vectors=["frequency", node])
        square += (density * abs(complex(answer[node][0]))) ** 2
    return math.sqrt(square)


def into_hot_end(on: Loaded, cards: Cards, *, frequency: float) -> float:
    """Return the current (A/sqrt(Hz)) into the hot end of the tank that stands for the noise of all these
    tubes at a frequency (Hz).

    What they make across the tank over what an ampere there makes: the tank's tuning is in both.
    """
    top = on.node(Place.HOT_END)
    probes = tubes_ahead(on, cards)
    if not probes:
        return 0.0
    with silenced(on):
        with on.driven(Role.TANK_CURRENT):
            across = on.session.ac(frequency, frequency, 1, vectors=["frequency", top])[top][0]
        return noise_at(on, probes, node=top, frequency=frequency) / abs(complex(across))
