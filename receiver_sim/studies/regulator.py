"""Does the regulator hold, and how far do screen and onset move with the mains?"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from receiver_sim.engine import Bench, Deck
from receiver_sim.netlist.receiver import CONTACT_OHM, Cards, control_elements, receiver_deck
from receiver_sim.results.bias import MainsPoint, RegulatorDrift
from receiver_sim.results.onset import Onset
from receiver_sim.schema import Band, Build

MAINS = (0.9, 1.0, 1.1)
"""Line voltages looked at, as fractions of nominal (issue text; EN 50160 allows the same +-10 %, from
memory).
"""


def plan(
    build: Build, cards: Cards, *, band: Band, dial_hz: float, rotation: float
) -> tuple[Deck, Deck | None]:
    """Return the receiver's deck, and the same with an unlit gas tube (None for other regulators)."""
    deck = receiver_deck(build, cards, band=band, dial_hz=dial_hz, rotation=rotation)
    if build.regulator is None or build.regulator.kind != "gas_tube":
        return deck, None
    return deck, receiver_deck(
        build, cards, band=band, dial_hz=dial_hz, rotation=rotation, regulator_lit=False
    )


def reduce(
    lit: Mapping[str, float], unlit: Mapping[str, float] | None, onset: Onset, *, build: Build, mains: float
) -> MainsPoint:
    """Turn two operating points (volts by node) and the onset at one line voltage into the result."""
    regulator = build.regulator
    current: float | None = None
    holds: bool | None = None
    reason = "no regulator"
    if regulator is not None:
        current = (lit["bplus"] - lit["vreg"]) / regulator.dropper
        current -= (lit["vreg"] - lit["pothi"]) / max(build.regeneration.top, CONTACT_OHM)
        holds, reason = True, "regulates"
        strike = regulator.strike if regulator.kind == "gas_tube" else 0.0
        if unlit is not None and unlit["vreg"] < strike:
            holds = False
            reason = f"does not strike: {unlit['vreg']:.0f} V before striking, {strike:.0f} V needed"
        elif regulator.minimum_current is not None and current < regulator.minimum_current:
            holds, reason = False, "too little current to regulate"
        elif regulator.maximum_current is not None and current > regulator.maximum_current:
            holds, reason = False, "current above the rating"
    return MainsPoint(
        mains=mains,
        supply_v=build.supply.volts * mains,
        regulated_v=lit["vreg"] if regulator is not None else lit["bplus"],
        regulator_a=current,
        holds=holds,
        screen_v=lit["scr"],
        onset_status=onset.status,
        onset=onset.onset,
        reason=reason,
    )


def run(
    build: Build,
    cards: Cards,
    bench: Bench,
    *,
    band: Band,
    dial_hz: float,
    rotation: float,
    find_onset: Callable[[float], Onset],
) -> RegulatorDrift:
    """Follow the regulated voltage, the screen at a fixed knob, and the onset over the line voltages of
    MAINS.

    find_onset gives the onset of the band at a line voltage (fraction of nominal): the onset study's own run.
    Heater volts also follow the mains in a real set; the tube law has no emission limit, so that is left out.
    Raises EngineError on failure.
    """
    decks = plan(build, cards, band=band, dial_hz=dial_hz, rotation=rotation)
    points, hottest = [], None
    for mains in MAINS:
        lit = _volts(bench, decks[0], build, mains=mains, rotation=rotation)
        unlit = None if decks[1] is None else _volts(bench, decks[1], build, mains=mains, rotation=rotation)
        points.append(reduce(lit, unlit, find_onset(mains), build=build, mains=mains))
        hottest = lit
    dropper = regulator = None
    if build.regulator is not None and hottest is not None:
        drop = hottest["bplus"] - hottest["vreg"]
        dropper = drop * drop / build.regulator.dropper
        regulator = points[-1].regulated_v * (points[-1].regulator_a or 0.0)
    return RegulatorDrift(
        band=band.name,
        dial_hz=dial_hz,
        rotation=rotation,
        points=tuple(points),
        dropper_w=dropper,
        regulator_w=regulator,
    )


def _volts(bench: Bench, deck: Deck, build: Build, *, mains: float, rotation: float) -> dict[str, float]:
    with bench.session(deck) as session:
        session.alter("vsupply", build.supply.volts * mains, "dc")
        for element, value in control_elements(build, rotation).items():
            session.alter(element, value)
        return {name: float(values.real[0]) for name, values in session.op().items()}
