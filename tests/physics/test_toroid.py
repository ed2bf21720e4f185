"""Checks of receiver_sim.physics.toroid."""

import numpy as np
import pytest

from receiver_sim.physics import toroid


def test_turns_and_back():
    al = toroid.rectangular_core_al(0.0077, outer_diameter=0.0127, height=0.0048, permeability=10.0)
    turns = toroid.toroid_turns(4.2e-6, al=al)
    assert toroid.toroid_inductance(turns, al=al) == pytest.approx(4.2e-6, rel=1e-12)
    # four nH per turn squared and 30 turns, by hand: 3.6 uH
    assert toroid.toroid_inductance(30, al=4e-9) == pytest.approx(3.6e-6, rel=1e-12)


def test_thin_ring_is_a_bent_solenoid():
    # mu0 mu A/(mean circumference); a ring of 1 % width deviates by (w/D)^2/3
    al = toroid.rectangular_core_al(0.0995, outer_diameter=0.1005, height=0.002, permeability=7.0)
    assert al == pytest.approx(4e-7 * np.pi * 7 * 0.0005 * 0.002 / (np.pi * 0.1), rel=1e-4)


def test_refusal():
    with pytest.raises(ValueError, match=r"^outer_diameter 0\.01 must be above inner_diameter 0\.02$"):
        toroid.rectangular_core_al(0.02, outer_diameter=0.01, height=0.005, permeability=10.0)
