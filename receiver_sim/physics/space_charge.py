"""What the space charge before the cathode adds to a tube's input capacitance."""

from __future__ import annotations

from typing import Any

import numpy as np

USUAL_RISE = 0.2
"""Rise of a receiving pentode's input capacitance from cold to its printed operating point, as a share of the
cold one: 1.0 pF on 6 pF (6SJ7), 1.2 pF on 6 pF (6SK7), 2.4 pF on 11 pF (6AC7) (RCA note on input admittance
of receiving tubes; Radiotron Designer's Handbook; from memory, medium)."""


def charge_factor(rise: float, *, current: float, transconductance: float) -> float:
    """Return the factor k (C A^(-2/3)) of the space charge Q = k I^(2/3) of a cathode current I.

    rise: what the charge adds to the input capacitance (F) where the cathode current is `current` (A) and its
    slope with the grid's volts `transconductance` (S): dQ/dV = 2/3 k I^(-1/3) g.

    Between plane electrodes the charge in transit is current times transit time; by Child's law (1911) the
    current goes as V^(3/2) and the time as V^(-1/2), so the charge goes as V, which is I^(2/3), and the
    capacitance of such a space rises by a fixed part of its cold value as soon as current flows (North 1936,
    Proc. IRE 24:108, from memory). With the current of the tube's own law in its place it sets in as softly
    as the current does.
    """
    return float(1.5 * rise * current ** (1.0 / 3.0) / transconductance)


def charge(current: Any, *, factor: float) -> Any:
    """Return the space charge (C) of a cathode current (A), see `charge_factor`."""
    return factor * np.maximum(current, 0.0) ** (2.0 / 3.0)


def swung_capacitance(components: Any, *, swing: Any, factor: float) -> Any:
    """Return the capacitance (F) that the space charge puts beside the grid while it swings.

    components: (..., n), mean and peak components of the cathode current, A, at the harmonics 0, 1, 2 ... of
    a swing of `swing` (V, peak) between grid and cathode. It is the fundamental component of the charge, in
    phase with the swing, over the swing: 2/T of the integral of Q cos. Sampled at 64 points over half a
    cycle.
    """
    rows = np.asarray(components, dtype=np.float64)
    theta = np.pi * (np.arange(64) + 0.5) / 64.0
    waves = np.cos(np.outer(np.arange(rows.shape[-1]), theta))
    fundamental = 2.0 * np.mean(charge(rows @ waves, factor=factor) * np.cos(theta), axis=-1)
    return fundamental / swing


def pulled_frequency(frequency: Any, *, added: Any, share: Any, capacitance: Any) -> Any:
    """Return the shift (Hz) of a tank's frequency (Hz) by a small capacitance added to a part of it.

    added: F, across a part that stands at `share` of the tank's volts; capacitance: of the whole tank, F.
    First order: -f/2 share^2 added/C.
    """
    return -0.5 * frequency * share**2 * added / capacitance
