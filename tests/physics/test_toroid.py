"""Checks of receiver_sim.physics.toroid."""

import pytest

from receiver_sim.physics import toroid


def test_inductance_by_hand():
    # four nH per turn squared and 30 turns: 3.6 uH
    assert toroid.toroid_inductance(30, al=4e-9) == pytest.approx(3.6e-6, rel=1e-12)


def test_refusal():
    with pytest.raises(ValueError, match=r"^al must be above zero, got 0\.0$"):
        toroid.toroid_inductance(30, al=0.0)
