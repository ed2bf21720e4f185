"""The reference deck: the RF netlist with every cycle of the carrier, its regeneration control slowly ramped.

It is the arbiter of the envelope view and costs minutes where that costs milliseconds. So that a ramp of
some milliseconds is slow, the screen's by-pass capacitor may be made smaller for it (the same in both views
if they are to be compared in time; the amplitude at a setting at rest does not depend on it), and the audio
stage, which the amplitude does not depend on but through the supply, may be left out.
"""

from __future__ import annotations

from collections.abc import Sequence

from receiver_sim.engine import Deck
from receiver_sim.netlist.audio_stage import audio_parts, tube_parts
from receiver_sim.netlist.envelope import control_part, knob_path
from receiver_sim.netlist.limits import RSHUNT_OPTION
from receiver_sim.netlist.receiver import Cards, detector_parts, supply_parts
from receiver_sim.netlist.tube import subcircuit
from receiver_sim.schema import Band, Build

STEPS_PER_CYCLE = 40
"""Trapezoidal steps a cycle at least; halving the step then changes the tank's decay by less than 1 %."""

OPTIONS = (
    f".options reltol=1e-4 abstol=1e-12 vntol=1e-6 chgtol=1e-12 itl1=500 itl4=50 method=trap {RSHUNT_OPTION}"
)


def ramp_deck(
    build: Build,
    cards: Cards,
    *,
    band: Band,
    dial_hz: float,
    times: Sequence[float],
    wipers: Sequence[float],
    with_audio: bool = False,
) -> Deck:
    """Return the RF deck whose control follows `wipers` (part of the track, 0..1) at `times` (s)."""
    parts = [
        OPTIONS,
        subcircuit(cards.detector, "det"),
        *supply_parts(build),
        control_part(build),
        knob_path(times, wipers),
        *detector_parts(build, cards.detector, band=band, dial_hz=dial_hz),
    ]
    if with_audio:
        parts += [
            *tube_parts(build, cards.audio, cards.first),
            *audio_parts(build, cards.audio, cards.first),
        ]
    return Deck(title=f"reference ramp at {dial_hz / 1e6:.6g} MHz", text="\n".join(parts))
