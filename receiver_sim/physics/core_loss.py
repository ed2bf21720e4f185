"""Loss in the iron of audio chokes and transformers, as a resistance across the winding."""

from __future__ import annotations

from typing import Any

import numpy as np

MU_0 = 4e-7 * np.pi

STEEL_OHM_M = 5.0e-7
"""Resistivity of silicon steel with 4 % of silicon, ohm metre (handbooks of magnetics, from memory, high)."""

STEEL_THICKNESS_M = 0.35e-3
"""Thickness of audio laminations: 0.014 inch (common practice, no source)."""

STEEL_PERMEABILITY = 500.0
"""Relative permeability of such steel at the smallest inductions (Radiotron Designer's Handbook, initial
permeability of silicon steel, from memory, medium). An air gap for the plate current lowers that of the core
as a whole, and the loss for each henry with it: taken without a gap, this is the lossier end."""


def lamination_resistance(
    inductance: Any, *, resistivity: float, thickness: float, permeability: float
) -> Any:
    """Return the resistance (ohm) across a winding that stands for the eddy currents in its laminations.

    inductance: H; resistivity: ohm metre; thickness: m, of one lamination; permeability: relative, of the
    core as a whole. The loss of a sinusoidal induction of peak B at frequency f is pi^2 B^2 f^2 t^2 / (6 rho)
    for each cubic metre (Steinmetz 1892 and every text on transformers since, from memory). Beside the volts
    2 pi f N A B of the same flux it is that of R = 12 rho N^2 A/(t^2 l), at every frequency, and with L =
    mu N^2 A/l

        R = 12 rho L/(mu_0 mu_r t^2).

    Valid while the laminations are thinner than two skin depths (some kilohertz); hysteresis and stray loss
    come on top, so that R is an upper bound.
    """
    return 12.0 * resistivity * inductance / (MU_0 * permeability * thickness**2)


def usual_core_resistance(inductance: Any) -> Any:
    """Return the resistance (ohm) across a winding on usual audio iron: some 78 kohm per henry.

    4 % silicon steel, 0.35 mm, at small inductions; see the constants of this module and
    `lamination_resistance`.
    """
    return lamination_resistance(
        inductance,
        resistivity=STEEL_OHM_M,
        thickness=STEEL_THICKNESS_M,
        permeability=STEEL_PERMEABILITY,
    )
