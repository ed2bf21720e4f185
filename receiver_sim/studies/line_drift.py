"""How far do screen, loop gain and frequency drift for each volt of the mains, knob and dial left alone?"""

from __future__ import annotations

from receiver_sim.engine import Bench, Deck
from receiver_sim.netlist.probes import Probe, Sample
from receiver_sim.netlist.receiver import Cards, receiver_deck, tank_elements
from receiver_sim.physics.potentiometer import wiper_fraction
from receiver_sim.results.onset import Onset
from receiver_sim.results.supply import LineDrift
from receiver_sim.schema import Band, Build

SPAN = (0.9, 1.1)
"""Line voltages between which the drift is taken, as fractions of nominal."""


def plan(build: Build, cards: Cards, *, band: Band, dial_hz: float, rotation: float) -> Deck:
    """Return the deck of the receiver at that setting."""
    return receiver_deck(build, cards, band=band, dial_hz=dial_hz, rotation=rotation)


def reduce(build: Build, low: Sample, high: Sample, onsets: tuple[Onset, Onset]) -> LineDrift:
    """Turn the samples and the onsets at the ends of SPAN into drift per volt of the mains."""
    volts = (SPAN[1] - SPAN[0]) * build.mains.volts
    moved = None
    if onsets[0].onset is not None and onsets[1].onset is not None:
        moved = (onsets[1].onset.rotation - onsets[0].onset.rotation) / volts
    return LineDrift(
        regulated=build.regulator is not None,
        screen_v_per_v=(high.screen_v - low.screen_v) / volts,
        gain_per_v=(high.gain - low.gain) / volts,
        frequency_hz_per_v=(high.frequency - low.frequency) / volts,
        onset_per_v=moved,
    )


def run(
    build: Build,
    cards: Cards,
    bench: Bench,
    *,
    band: Band,
    dial_hz: float,
    rotation: float,
    onsets: tuple[Onset, Onset],
) -> LineDrift:
    """Return the drift with tuning and knob left alone; onsets: at the ends of SPAN. Raises EngineError.

    The frequency is that of zero phase of the small-signal loop: capacitances of the tube that change with
    its current and its warming are not in the model, so the drift of a real set is larger.
    """
    control = build.regeneration
    wiper = float(wiper_fraction(rotation, law=control.law, mid=control.mid))
    deck = plan(build, cards, band=band, dial_hz=dial_hz, rotation=rotation)
    with bench.session(deck) as session:
        probe = Probe(session, build, band=band, dial_hz=dial_hz)
        probe.trim(tank_elements(build, cards.detector, band=band, dial_hz=dial_hz)["ctune"])
        samples = []
        for mains in SPAN:
            session.alter("vsupply", build.supply.volts * mains, "dc")
            samples.append(probe.measure(wiper))
    return reduce(build, samples[0], samples[1], onsets)
