"""How does hum modulate the oscillation of the detector itself? (envelope view)

The amplitude is held by a source and the circuit's answer is taken twice: the tube's current along and across
the tank's swing for 1 V more of amplitude, and for each source of hum with the amplitude held. Together with
the tank, C a' = drive - G a and C a phi' = cross, that gives the modulation of amplitude and frequency.
"""

from __future__ import annotations

import math

import numpy as np

from receiver_sim.engine import Bench, Deck, Session, Vectors
from receiver_sim.netlist.envelope import imposed_deck
from receiver_sim.netlist.mode import Mode
from receiver_sim.netlist.receiver import Cards
from receiver_sim.results.base import ComplexArray, FloatArray
from receiver_sim.results.envelope import Oscillation
from receiver_sim.results.hum import HumModulation
from receiver_sim.schema import Build

ABOVE = 0.01
"""Screen volts above onset, relative: where a beat note is listened to."""


def setting(found: Oscillation) -> tuple[float, float] | None:
    """Return (rotation, amplitude V) with the screen ABOVE onset; None if the band or control has none."""
    if found.onset is None or found.amplitudes is None:
        return None
    known = found.amplitudes
    wanted = found.onset.screen_v * (1.0 + ABOVE)
    volts = np.maximum.accumulate(known.rest_screen_v)
    if not volts[0] <= wanted <= volts[-1]:
        return None
    rotation = float(np.interp(wanted, volts, known.rotation))
    return rotation, float(np.interp(wanted, volts, known.amplitude_v))


def plan(build: Build, cards: Cards, mode: Mode, *, amplitude: float, rotation: float) -> Deck:
    """Return the deck: the amplitude imposed, the control at `rotation` (0..1)."""
    return imposed_deck(build, cards, mode, amplitude=amplitude, rotation=rotation)


def reduce(
    held: Vectors,
    forced: tuple[ComplexArray, ComplexArray],
    *,
    mode: Mode,
    amplitude: float,
    cross_ma: float,
    rotation: float,
) -> HumModulation:
    """Turn the answers into modulation: `held` to 1 V of amplitude, `forced` (drive, cross; mA r.m.s.)."""
    frequency: FloatArray = held["frequency"].real
    capacitance = 1.0 / abs(mode.residue)
    rate = 2j * np.pi * frequency
    loss = mode.decay - 1e-3 * held["drive"] / capacitance
    change = 1e-3 * forced[0] / capacitance / (rate + loss)
    across = forced[1] + (held["cross"] - cross_ma / amplitude) * change
    turn = 1e-3 * across / (capacitance * amplitude)
    peak = math.sqrt(2.0)
    return HumModulation(
        rotation=rotation,
        amplitude_v=amplitude,
        frequency_hz=frequency,
        depth=np.asarray(peak * np.abs(change) / amplitude),
        swing_hz=np.asarray(peak * np.abs(turn) / (2.0 * np.pi)),
    )


def run(
    build: Build,
    cards: Cards,
    bench: Bench,
    mode: Mode,
    *,
    found: Oscillation,
    heater: tuple[float, int],
    winding: tuple[float, int],
    ripple: ComplexArray,
    ripple_at_receiver: bool,
) -> HumModulation | None:
    """Return the modulation ABOVE onset; None where the band has no such setting. Raises EngineError.

    heater, winding: volts r.m.s. on the heaters and in the detector's load, with the order of their line;
    ripple: lines of the supply, V r.m.s. at the orders from 1. Couplings of the heaters to the cathode end at
    the tap of the coil, a short at these frequencies. The heater's magnetic field is not in it.
    """
    place = setting(found)
    if place is None:
        return None
    rotation, amplitude = place
    lines, mains = len(ripple), build.mains.frequency
    deck = plan(build, cards, mode, amplitude=amplitude, rotation=rotation)
    with bench.session(deck) as session:
        rest = session.op(vectors=["cross"])
        held = _answer(session, mains, lines)
        session.alter("vamp", 0.0, "acmag")
        forced = np.zeros((2, lines), dtype=complex)
        sources = {"vheater": heater}
        if build.detector.load.kind != "resistor":
            sources["vlpick"] = winding
        for source, (volts, order) in sources.items():
            one = _driven(session, source, mains, lines)
            forced[:, order - 1] += volts * _currents(one)[:, order - 1]
        one = _driven(session, "vsupply", mains, lines)
        level = ripple / one["bplus"] if ripple_at_receiver else ripple
        forced += _currents(one) * level
    return reduce(
        held,
        (forced[0], forced[1]),
        mode=mode,
        amplitude=amplitude,
        cross_ma=float(rest["cross"].real[0]),
        rotation=rotation,
    )


def _currents(run_: Vectors) -> ComplexArray:
    return np.array([run_["drive"], run_["cross"]])


def _driven(session: Session, source: str, mains: float, lines: int) -> Vectors:
    session.alter(source, 1.0, "acmag")
    answer = _answer(session, mains, lines)
    session.alter(source, 0.0, "acmag")
    return answer


def _answer(session: Session, mains: float, lines: int) -> Vectors:
    names = ["frequency", "drive", "cross", "bplus"]
    return session.ac(mains, lines * mains, lines, vectors=names)
