"""What is the noise floor at each output, and what makes it? (audio view)

ngspice gives the thermal noise of every resistor; the tubes' own is added by their published equivalent
resistances at the control node. Left out: flicker noise, the tank's noise (it comes with the signal), the
band's own noise.
"""

from __future__ import annotations

import math

import numpy as np

from receiver_sim.engine import Bench, Deck
from receiver_sim.netlist.audio_stage import own_screen
from receiver_sim.netlist.audio_view import audio_deck
from receiver_sim.netlist.receiver import Cards, phone_node
from receiver_sim.physics.noise import pentode_noise_resistance, thermal_density, triode_noise_resistance
from receiver_sim.physics.tube_law import small_signal
from receiver_sim.results.base import FloatArray
from receiver_sim.schema import Build
from receiver_sim.schema.card import TubeCard
from receiver_sim.schema.stage import Audio, FirstStage

LOWEST_HZ, HIGHEST_HZ, PER_DECADE = 100.0, 5000.0, 30


def plan(build: Build, cards: Cards, *, rotation: float) -> Deck:
    """Return the deck: the audio view at that setting of the control."""
    return audio_deck(build, cards, rotation=rotation)


def tube_resistances(build: Build, cards: Cards, volts: dict[str, float]) -> dict[str, float]:
    """Return the equivalent noise resistance (ohm) of each tube at an operating point, by its source."""
    law = cards.detector.law()
    plate, screen, grid = volts["plate"], volts["scr"], volts["grid"]
    small = small_signal(law, grid_v=grid, plate_v=plate, screen_v=screen)
    out = {"vinj": pentode_noise_resistance(small.gm, plate_current=small.plate, screen_current=small.screen)}
    stages: list[tuple[str, Audio | FirstStage, TubeCard]] = [("a", build.audio, cards.audio)]
    if build.audio.first is not None and cards.first is not None:
        stages.append(("f", build.audio.first, cards.first))
    for x, stage, card in stages:
        cathode = volts[f"{x}cath"]
        grid_v, plate_v = volts[f"{x}grid"] - cathode, volts[f"{x}plate"] - cathode
        if own_screen(stage, card):
            own = small_signal(
                card.law(), grid_v=grid_v, plate_v=plate_v, screen_v=volts[f"{x}scr"] - cathode
            )
            out[f"v{x}inj"] = pentode_noise_resistance(
                own.gm, plate_current=own.plate, screen_current=own.screen
            )
        else:
            tied = small_signal(
                card.law(), grid_v=grid_v, plate_v=plate_v, triode_connected=card.kind != "triode"
            )
            out[f"v{x}inj"] = triode_noise_resistance(tied.gm)
    return out


_NAMES = {"vinj": "detector", "vfinj": "first audio", "vainj": "audio"}


def run(
    build: Build, cards: Cards, bench: Bench, *, rotation: float
) -> tuple[tuple[float, dict[str, float]], ...]:
    """Return for each output the noise (V r.m.s., LOWEST_HZ to HIGHEST_HZ) and what share of its power each
    source has: 'resistors', 'detector', 'audio', 'first audio'.

    Raises EngineError when a simulation fails.
    """
    nodes = [phone_node(build, i) for i in range(len(build.phones))]
    with bench.session(plan(build, cards, rotation=rotation)) as session:
        volts = {name: float(value.real[0]) for name, value in session.op().items()}
        resistances = tube_resistances(build, cards, volts)
        gains: dict[str, dict[str, FloatArray]] = {}
        for source in resistances:
            session.alter(source, 1.0, "acmag")
            answer = session.ac(LOWEST_HZ, HIGHEST_HZ, PER_DECADE, scale="dec", vectors=["frequency", *nodes])
            session.alter(source, 0.0, "acmag")
            gains[source] = {node: np.abs(answer[node]) for node in nodes}
            frequency = answer["frequency"].real
        out = []
        for node in nodes:
            thermal = session.noise(node, "vinj", LOWEST_HZ, HIGHEST_HZ, PER_DECADE)
            powers = {"resistors": _power(frequency, thermal["onoise_spectrum"])}
            for source, resistance in resistances.items():
                density = thermal_density(resistance) * gains[source][node]
                powers[_NAMES[source]] = _power(frequency, density)
            total = sum(powers.values())
            out.append((math.sqrt(total), {name: p / total for name, p in powers.items()}))
    return tuple(out)


def _power(frequency: FloatArray, density: FloatArray) -> float:
    """Return the mean square (V^2) of a density (V/sqrt(Hz)) over the sweep, by the trapezoidal rule."""
    square = np.asarray(density, dtype=float) ** 2
    return float(np.sum((square[1:] + square[:-1]) * np.diff(frequency) / 2.0))
