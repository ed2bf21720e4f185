"""Loss in laminations against the integral of the eddy currents themselves."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import trapezoid

from receiver_sim.physics.core_loss import lamination_resistance, usual_core_resistance

MU_0 = 4e-7 * np.pi


@pytest.mark.parametrize("hertz", [120.0, 730.0])
def test_resistance_burns_what_the_eddy_currents_do(hertz: float) -> None:
    """Maxwell's equations in a lamination thinner than its skin depth: E(x) = w B x, heat E^2/(2 rho)
    summed over its thickness, beside the volts w N A B of the winding on that core. Independent of
    Steinmetz's formula; trapezoids of 4001 points are good to 1e-7.
    """
    turns, area, path, peak = 2300.0, 5.1e-4, 0.17, 2.7e-4
    rho, thickness, relative = 4.3e-7, 0.41e-3, 610.0
    w = 2.0 * np.pi * hertz
    x = np.linspace(-thickness / 2.0, thickness / 2.0, 4001)
    heat = float(trapezoid((w * peak * x) ** 2 / (2.0 * rho), x)) / thickness * area * path
    volts = w * turns * area * peak
    henry = MU_0 * relative * turns**2 * area / path
    found = lamination_resistance(henry, resistivity=rho, thickness=thickness, permeability=relative)
    assert float(found) == pytest.approx(volts**2 / (2.0 * heat), rel=1e-6)


def test_usual_iron() -> None:
    """78 kohm a henry. A worked figure of the trade beside it: audio chokes measured at 1 kHz have a Q of 10
    or so (common practice, no source); the eddy currents alone, R/(w L), leave 12.
    """
    assert float(usual_core_resistance(1.0)) == pytest.approx(78e3, rel=0.005)
    assert 8.0 < float(usual_core_resistance(17.0)) / (2.0 * np.pi * 1e3 * 17.0) < 20.0


def test_laminations_are_thinner_than_two_skin_depths() -> None:
    """The range the formula is used in: skin depth sqrt(rho/(pi f mu)) at 1 kHz, 0.35 mm, mu 500."""
    depth = np.sqrt(5e-7 / (np.pi * 1e3 * MU_0 * 500.0))
    assert 2.0 * depth > 0.35e-3
