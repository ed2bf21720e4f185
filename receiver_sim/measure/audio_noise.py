"""Noise that the circuits make at audio, read off the audio view: what reaches an output, and by what."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.element import current_source
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.circuit.views.audio import audio_circuit
from receiver_sim.measure.loaded import Loaded, loaded
from receiver_sim.measure.on_bench import OnBench
from receiver_sim.physics.noise import (
    pentode_noise_resistance,
    shot_density,
    thermal_density,
    triode_noise_resistance,
)
from receiver_sim.physics.tube_law import currents, small_signal
from receiver_sim.results.base import FloatArray

INTO_PLATE = "ianoise"
"""A source at the detector's plate, at rest but for this measurement."""


def tube_resistances(circuit: Circuit, cards: Cards, volts: Mapping[str, float]) -> dict[str, float]:
    """Return the equivalent noise resistance (ohm) of each tube at an operating point, by its socket."""
    out = {}
    for name in circuit.sockets:
        card = cards.of(name)
        at = electrode_volts(circuit, name, volts)
        grid_v, plate_v = at["grid"] - at["cathode"], at["plate"] - at["cathode"]
        if "screen" in at:
            own = small_signal(
                card.law(), grid_v=grid_v, plate_v=plate_v, screen_v=at["screen"] - at["cathode"]
            )
            out[name] = pentode_noise_resistance(own.gm, plate_current=own.plate, screen_current=own.screen)
        else:
            tied = small_signal(
                card.law(), grid_v=grid_v, plate_v=plate_v, triode_connected=card.kind != "triode"
            )
            out[name] = triode_noise_resistance(tied.gm)
    return out


def electrode_volts(circuit: Circuit, socket: str, volts: Mapping[str, float]) -> dict[str, float]:
    """Return the volts at the electrodes of a socket's tube from those of the circuit's nodes."""
    pins = circuit.sockets[socket].pins
    return {pin: 0.0 if node == "0" else volts[node] for pin, node in pins.items()}


@dataclass(frozen=True)
class PlateNoise:
    """All noise that is made at audio, as one current into the detector's plate: density (A/sqrt(Hz)) at
    `frequency` (Hz)."""

    frequency: FloatArray
    density: FloatArray


def into_the_plate(receiver: OnBench, *, rotation: float, output: int, frequency: FloatArray) -> PlateNoise:
    """Measure the current into the detector's plate that makes as much noise at an output (index of the
    phones) as all resistors, the tubes and the detector's grid current do.

    frequency: Hz, rising by an even factor. Raises EngineError.
    """
    circuit = audio_circuit(receiver.build, receiver.cards, rotation=rotation)
    node = circuit.outputs[output]
    circuit = circuit.plus(current_source(INTO_PLATE, circuit.node(Place.PLATE)))
    decades = float(np.log10(frequency[-1] / frequency[0]))
    per_decade = round((frequency.size - 1) / decades)
    with loaded(receiver.bench, circuit) as on:
        volts = on.volts()
        resistances = tube_resistances(circuit, receiver.cards, volts)
        at = electrode_volts(circuit, "detector", volts)
        grid = float(currents(
            receiver.cards.detector.law(), grid_v=at["grid"] - at["cathode"],
            plate_v=at["plate"] - at["cathode"], screen_v=at.get("screen", at["cathode"]) - at["cathode"],
        ).grid)  # fmt: skip
        drivers: dict[str | Role, float] = {
            circuit.sockets[name].probe: thermal_density(r) for name, r in resistances.items()
        }
        drivers[Role.GRID_CURRENT] = shot_density(max(grid, 0.0))
        power = np.zeros(frequency.size)
        for driver, density in drivers.items():
            power += (density * _gain(on, driver, node, frequency, per_decade)) ** 2
        thermal = on.session.noise(
            node, circuit.part(Role.LOOP_GAIN), float(frequency[0]), float(frequency[-1]), per_decade
        )
        heard = np.interp(frequency, thermal["frequency"].real, thermal["onoise_spectrum"].real)
        across = _gain(on, INTO_PLATE, node, frequency, per_decade)
    return PlateNoise(frequency, np.sqrt(power + heard**2) / across)


def _gain(on: Loaded, driver: str | Role, node: str, frequency: FloatArray, per_decade: int) -> FloatArray:
    """Return the volts at a node for 1 V or A of a source at each frequency."""
    with on.driven(driver):
        answer = on.session.ac(
            float(frequency[0]), float(frequency[-1]), per_decade, scale="dec", vectors=["frequency", node]
        )
    found = np.interp(frequency, answer["frequency"].real, np.abs(answer[node]))
    return np.asarray(found, dtype=np.float64)
