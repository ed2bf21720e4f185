"""The blocks of a receiver, a module each; importing this package registers their forms."""

from receiver_sim.circuit.blocks import (
    aerial,
    audio,
    coil,
    control,
    detector,
    heater,
    load,
    output,
    phones,
    regulator,
    strays,
    supply,
)

__all__ = [
    "aerial",
    "audio",
    "coil",
    "control",
    "detector",
    "heater",
    "load",
    "output",
    "phones",
    "regulator",
    "strays",
    "supply",
]
