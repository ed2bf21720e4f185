"""The control voltage of a self-oscillator against its circuit equation, solved by a general root finder."""

from __future__ import annotations

import pytest
from scipy.optimize import fsolve

from receiver_sim.physics.mode import swing_factor


@pytest.mark.parametrize("own", [380.0 + 29.0j, 650.0 - 8.5j])
@pytest.mark.parametrize("stray", [1.74 - 2.0j, -20.0 + 45.0j, 0.0 + 0.0j])
def test_swing_factor_is_that_of_the_circuit_equation(own, stray):
    """Unknown: conductance G and detuning x of [own/(1 + jx) + stray] G = 1."""

    def unbalanced(unknown):
        g, x = unknown
        left = (own / (1.0 + 1j * x) + stray) * g - 1.0
        return [left.real, left.imag]

    g, x = fsolve(unbalanced, [1.0 / abs(own), 0.0], xtol=1e-12)
    # the volts the resonance alone gives, of those there are: 1 V
    from_resonance = own / (1.0 + 1j * x) * g
    # the root finder's tolerance
    assert swing_factor(own, stray=stray) == pytest.approx(1.0 / from_resonance, rel=1e-9)


def test_without_strays_the_resonance_gives_all():
    assert swing_factor(380.0 + 29.0j, stray=0j) == 1.0


def test_strays_beyond_the_resonance_are_refused():
    with pytest.raises(ValueError, match=r"^what couples beside the resonance outweighs it$"):
        swing_factor(100.0 + 0.0j, stray=51.0j)
    with pytest.raises(ValueError, match=r"^what couples beside the resonance outweighs it$"):
        swing_factor(-100.0 + 0.0j, stray=0j)
