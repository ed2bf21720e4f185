"""The blocks of a receiver, a module each; importing this package registers their forms."""

from receiver_sim.circuit.blocks import (
    aerial,
    audio,
    coil,
    coil_link,
    control,
    detector,
    heater,
    load,
    output,
    phones,
    regulator,
    rf_stage,
    strays,
    supply,
)

__all__ = [
    "aerial",
    "audio",
    "coil",
    "coil_link",
    "control",
    "detector",
    "heater",
    "load",
    "output",
    "phones",
    "regulator",
    "rf_stage",
    "strays",
    "supply",
]
