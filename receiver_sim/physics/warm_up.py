"""Drift of frequency while a set warms up."""

from __future__ import annotations

TUBE_FARAD = 1.0e-12
"""Growth of a receiving pentode's input capacitance from cold cathode to working current (Radiotron
Designer's Handbook, ch. 2, gives 1 to 2.5 pF from cut-off to full current; at a detector's small current less
than half of it is seen; from memory, low)."""

COIL_PER_K = (20e-6, 80e-6)
"""Relative growth of a solenoid's inductance for 1 K, ceramic to bakelite former (from memory, low)."""

CAPACITOR_PER_K = (20e-6, 60e-6)
"""Relative growth of an air capacitor's capacitance for 1 K (from memory, low)."""

RISE_K = 10.0
"""Rise inside an open chassis from switching on to warm (common practice, no source)."""


def drift_by_capacitance(frequency: float, *, added: float, total: float) -> float:
    """Return the change of frequency (Hz) of a tank of `total` farad for `added` farad, first order:
    -f dC/(2 C).
    """
    return -0.5 * frequency * added / total


def drift_by_heat(frequency: float, *, coil_per_k: float, capacitor_per_k: float, rise: float) -> float:
    """Return the change of frequency (Hz) for a rise (K): -f (aL + aC) dT/2, first order."""
    return -0.5 * frequency * (coil_per_k + capacitor_per_k) * rise
