"""The reference: the RF circuit with every cycle of the carrier, its regeneration control slowly ramped.

It is the arbiter of the envelope view and costs minutes where that costs milliseconds. So that a ramp of
some milliseconds is slow, the screen's by-pass capacitor may be made smaller for it (the same in both views
if they are to be compared in time; the amplitude at a setting at rest does not depend on it), and the audio
stage, which the amplitude does not depend on but through the supply, may be left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.views.envelope import TRAN_OPTIONS, knob_path, moving_control
from receiver_sim.schema import Band, Build

STEPS_PER_CYCLE = 40
"""Trapezoidal steps a cycle at least; halving the step then changes the tank's decay by less than 1 %."""


def ramp_circuit(
    build: Build,
    cards: Cards,
    *,
    band: Band,
    dial_hz: float,
    times: Sequence[float],
    shares: Sequence[float],
    with_audio: bool = False,
) -> Circuit:
    """Return the RF circuit whose control follows `shares` (of its travel, 0..1) at `times` (s)."""
    whole = receiver_circuit(build, cards, band=band, dial_hz=dial_hz, rotation=0.5)
    if not with_audio:
        whole = whole.without_part("audio")
    path = knob_path(times, shares)
    moving = moving_control(whole, stretch=build.supply.volts).plus(*path.elements)
    return replace(
        moving,
        title=f"reference ramp at {dial_hz / 1e6:.6g} MHz",
        options=TRAN_OPTIONS,
        blocks=(*moving.blocks, path),
    )
