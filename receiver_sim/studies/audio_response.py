"""What audio response does each output have, from the detector's grid to the phones? (audio view)"""

from __future__ import annotations

import numpy as np

from receiver_sim.engine import Bench, Deck, Vectors
from receiver_sim.netlist.phones import load_impedance
from receiver_sim.netlist.probes import operating_volts
from receiver_sim.netlist.receiver import Cards, phone_node, receiver_deck
from receiver_sim.results.audio import AudioResponse, OutputResponse
from receiver_sim.results.base import FloatArray
from receiver_sim.results.onset import ControlSetting
from receiver_sim.schema import Band, Build

LOWEST_HZ, HIGHEST_HZ, PER_DECADE = 10.0, 100e3, 30
REFERENCE_HZ = 1000.0


def plan(build: Build, cards: Cards, *, band: Band, dial_hz: float, rotation: float) -> Deck:
    """Return the deck: the receiver at that setting with a current probe at each output."""
    probes = "\n".join(f"Iout{i} 0 {phone_node(build, i)} dc 0 ac 0" for i in range(len(build.phones)))
    return receiver_deck(build, cards, band=band, dial_hz=dial_hz, rotation=rotation, extra=probes)


def reduce(
    build: Build, gain: Vectors, overall: Vectors, impedance: list[Vectors], *, rotation: float
) -> AudioResponse:
    """Turn the sweeps (volts for 1 V in the control node, 1 A into the grid, 1 A into each output) into the
    result.
    """
    frequency = gain["frequency"].real
    outputs = []
    for index, phone in enumerate(build.phones):
        node = phone_node(build, index)
        volts = np.abs(gain[node])
        total = np.abs(overall[node])
        at_reference = float(np.interp(REFERENCE_HZ, frequency, volts))
        load = load_impedance(build, index, np.array([REFERENCE_HZ]))[0]
        both = impedance[index][node][0]
        source = 1.0 / (1.0 / both - 1.0 / load)
        low, high = corners(frequency, total)
        outputs.append(
            OutputResponse(
                output=phone.name,
                frequency_hz=frequency,
                gain=volts,
                overall=total / float(np.interp(REFERENCE_HZ, frequency, total)),
                gain_1khz=at_reference,
                low_hz=low,
                high_hz=high,
                source_ohm=float(abs(source)),
                load_ohm=float(abs(load)),
            )
        )
    setting = ControlSetting(rotation, operating_volts(gain, "scr"))
    return AudioResponse(setting=setting, outputs=tuple(outputs))


def corners(frequency: FloatArray, magnitude: FloatArray) -> tuple[float | None, float | None]:
    """Return the -3 dB points (Hz) below and above 1 kHz, None for a side that does not fall so far.

    The level at 1 kHz is the reference, as when a set is measured with a voltmeter across its load.
    Interpolated linearly in log frequency and decibel between the points of the sweep.
    """
    decibel = 20.0 * np.log10(magnitude)
    decibel = decibel - np.interp(np.log(REFERENCE_HZ), np.log(frequency), decibel)
    half_power = -10.0 * np.log10(2.0)
    middle = int(np.argmin(np.abs(np.log(frequency / REFERENCE_HZ))))

    def crossing(indices: range) -> float | None:
        inside = middle
        for index in indices:
            if decibel[index] < half_power:
                share = (half_power - decibel[inside]) / (decibel[index] - decibel[inside])
                span = np.log(frequency[index] / frequency[inside])
                return float(frequency[inside] * np.exp(share * span))
            inside = index
        return None

    return crossing(range(middle, -1, -1)), crossing(range(middle, len(decibel)))


def run(
    build: Build, cards: Cards, bench: Bench, *, band: Band, dial_hz: float, rotation: float
) -> AudioResponse:
    """Sweep 10 Hz to 100 kHz with the control at `rotation` (0..1). Raises EngineError on failure."""
    nodes = [phone_node(build, i) for i in range(len(build.phones))]
    deck = plan(build, cards, band=band, dial_hz=dial_hz, rotation=rotation)
    points = PER_DECADE
    with bench.session(deck) as session:
        session.alter("vinj", 1.0, "acmag")
        gain = session.ac(LOWEST_HZ, HIGHEST_HZ, points, scale="dec", vectors=["frequency", "scr", *nodes])
        session.alter("vinj", 0.0, "acmag")
        session.alter("iprobe", 1.0, "acmag")
        overall = session.ac(LOWEST_HZ, HIGHEST_HZ, points, scale="dec", vectors=["frequency", *nodes])
        session.alter("iprobe", 0.0, "acmag")
        impedance = []
        for index, node in enumerate(nodes):
            session.alter(f"iout{index}", 1.0, "acmag")
            impedance.append(session.ac(REFERENCE_HZ, REFERENCE_HZ, 1, vectors=["frequency", node]))
            session.alter(f"iout{index}", 0.0, "acmag")
    return reduce(build, gain, overall, impedance, rotation=rotation)
