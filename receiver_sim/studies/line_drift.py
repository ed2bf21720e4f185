"""How far do screen, loop gain and frequency drift for each volt of the mains, knob and dial left alone?"""

from __future__ import annotations

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.control import Control
from receiver_sim.circuit.registry import Cards
from receiver_sim.measure.loaded import loaded
from receiver_sim.measure.loop_gain import Probe, Sample
from receiver_sim.receiver import Tuned
from receiver_sim.results.onset import SCREEN, Onset
from receiver_sim.results.supply import LineDrift
from receiver_sim.schema import Band, Build

SPAN = (0.9, 1.1)
"""Line voltages between which the drift is taken, as fractions of nominal."""


def plan(build: Build, cards: Cards, *, band: Band, dial_hz: float, rotation: float) -> Circuit:
    """Return the circuit of the receiver at that setting."""
    return receiver_circuit(build, cards, band=band, dial_hz=dial_hz, rotation=rotation)


def reduce(
    build: Build, low: Sample, high: Sample, onsets: tuple[Onset, Onset], *, control: Control | None = None
) -> LineDrift:
    """Turn the samples and the onsets at the ends of SPAN into drift per volt of the mains.

    control: what the samples' figures are of; None: the volts of the screen.
    """
    volts = (SPAN[1] - SPAN[0]) * build.mains.volts
    moved = None
    if onsets[0].onset is not None and onsets[1].onset is not None:
        moved = (onsets[1].onset.rotation - onsets[0].onset.rotation) / volts
    on_screen = control is None or control.quantity == SCREEN
    drift = (high.figure - low.figure) / volts
    return LineDrift(
        regulated=build.regulator is not None,
        screen_v_per_v=drift if on_screen else None,
        gain_per_v=(high.gain - low.gain) / volts,
        frequency_hz_per_v=(high.frequency - low.frequency) / volts,
        onset_per_v=moved,
        feed_v_per_v=drift if control is not None and not on_screen and control.unit == "V" else None,
    )


def run(
    tuned: Tuned,
    *,
    rotation: float,
    onsets: tuple[Onset, Onset],
) -> LineDrift:
    """Return the drift with tuning and knob left alone; onsets: at the ends of SPAN. Raises EngineError.

    The frequency is that of zero phase of the small-signal loop: capacitances of the tube that change with
    its current and its warming are not in the model, so the drift of a real set is larger.
    """
    circuit = plan(tuned.build, tuned.cards, band=tuned.band, dial_hz=tuned.dial_hz, rotation=rotation)
    share = circuit.control.share(rotation)
    with loaded(tuned.bench, circuit) as on:
        probe = Probe(on, band=tuned.band, dial_hz=tuned.dial_hz)
        probe.trim()
        samples = []
        for mains in SPAN:
            on.mains(mains)
            samples.append(probe.measure(share))
    return reduce(tuned.build, samples[0], samples[1], onsets, control=circuit.control)
