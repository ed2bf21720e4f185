"""The receiver of a build whose rectifier supply gave figures set down beforehand."""

from __future__ import annotations

from receiver_sim.builds import cards_for
from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.measure import rectifier
from receiver_sim.results.supply import Rectified
from receiver_sim.schema import Build


def supplied(build: Build, rectified: Rectified, *, rotation: float) -> Circuit:
    """Return the circuit on the first band's lower end, the control at a rotation (0..1); rectified: what a
    rectifier supply gives, idle for any other."""
    band = build.bands[0]
    if build.supply.kind == "rectifier":
        build = build.model_copy(update={"supply": rectifier.settled(build.supply, rectified)})
    return receiver_circuit(build, cards_for(build), band=band, dial_hz=band.from_, rotation=rotation)
