"""The audio view: the receiver without its tank, for runs over time and noise."""

from __future__ import annotations

from dataclasses import replace

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.limits import NEWTON_OPTION
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.views.low_frequency import low_frequency
from receiver_sim.schema import Build

OPTIONS = f"keepopinfo reltol=1e-5 abstol=1e-8 vntol=1e-6 trtol=100 {NEWTON_OPTION}"
"""Tight in Newton's search, so that harmonics 80 dB down stand clear of the solver's errors; the step is set
by the study, so the local error may not shorten it: with a regulator's breakdown on the supply it would do so
without end.
"""


def audio_view(circuit: Circuit) -> Circuit:
    """Return the audio view of a receiver's circuit."""
    return replace(low_frequency(circuit, view="audio"), title="audio view", options=OPTIONS)


def audio_circuit(build: Build, cards: Cards, *, rotation: float) -> Circuit:
    """Return the audio view with the control at `rotation` (0..1); no band is different from another in
    it.
    """
    band = build.bands[0]
    return audio_view(receiver_circuit(build, cards, band=band, dial_hz=band.from_, rotation=rotation))
