"""Headphones and other loads of the audio stage, or of the detector where there is none."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from receiver_sim.schema import parts as p
from receiver_sim.schema.base import Part, derived, given, optional

PhoneKind = Literal["high_impedance", "600_ohm", "32_ohm", "8_ohm"]


class ImpedancePoint(Part):
    """One measured point of the impedance of a load."""

    frequency: p.AudioFrequency = Field(description="Frequency of the measurement.")
    magnitude: p.LoadResistance = Field(description="Magnitude of the impedance there.")
    phase: p.Phase | None = optional("Phase there, by which current lags volts; default: not fitted.")


class Phones(Part):
    """Headphones, a speaker or any other load."""

    name: p.Name = Field(description="Name in results.")
    at: p.Name = Field(
        description="'plate' (through `capacitor`; the detector's where there is no audio stage), 'volume' "
        "(a control behind the stage), the name of a secondary, or 'load' (detector.load.kind: phones)."
    )
    capacitor: p.BypassCapacitor | None = optional("Blocking capacitor in series; needed at the plate.")
    capacitor_rating: p.PeakVolts | None = optional("Volts that capacitor stands; default: not checked.")
    drain: p.Resistor | None = optional(
        "Resistor to ground behind the capacitor, so that an open lead cannot float up to plate potential."
    )
    kind: PhoneKind | None = optional("Usual R, L and C of a kind of phones where nothing else is stated.")
    impedance: tuple[ImpedancePoint, ...] = Field(
        default=(), max_length=60, description="Measured impedance; a network of R, L and C is fitted to it."
    )
    resistance: p.LoadResistance = derived("Resistance; default: by `kind` or `impedance`.")
    inductance: p.LoadInductance = derived("Inductance in series with it; default: by `kind`, else 0 H.")
    capacitance: p.StrayCapacitance = derived("Capacitance across both; default: by `kind`, else 0 pF.")
    sensitivity: p.SoundLevel = derived("Sound pressure for 1 mW; default: by `kind`, else 100 dB.")
    state: Literal["loaded", "open"] = given("loaded", "'open' for a socket with nothing plugged in.")


# High impedance: 2 kohm and 1.9 H from the rule 'impedance at 1 kHz about 6 times the d.c. resistance' (one
# measuring author), the winding's capacitance and the rest are common practice, no source. Sensitivities:
# from memory, low. They are starting values for a user who has measured nothing, and say so in the warnings.
DEFAULTS: dict[str, dict[str, float]] = {
    "high_impedance": {
        "resistance": 2e3, "inductance": 1.9, "capacitance": 200e-12, "sensitivity": 100.0,
    },
    "600_ohm": {"resistance": 560.0, "inductance": 0.030, "capacitance": 200e-12, "sensitivity": 100.0},
    "32_ohm": {"resistance": 31.0, "inductance": 0.4e-3, "capacitance": 200e-12, "sensitivity": 100.0},
    "8_ohm": {"resistance": 7.2, "inductance": 0.25e-3, "capacitance": 200e-12, "sensitivity": 95.0},
}  # fmt: skip
"""R (ohm), L (H), C (F) and sensitivity (dB SPL for 1 mW) of each kind."""

NO_KIND = {"inductance": 0.0, "capacitance": 0.0, "sensitivity": 100.0}
"""What is left out where no kind is stated."""
