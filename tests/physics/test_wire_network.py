"""The network that stands for a wire aerial: near the line, passive, steady as the wire grows."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.constants import c

from receiver_sim.physics.wire_aerial import wire_capacitance, wire_impedance
from receiver_sim.physics.wire_network import WireNetwork, wire_network

TOP = 40e6
# height, horizontal run, radius (m), ohm of the earth, and the error that the docstring states
WIRES = [
    (3.6, 0.0, 1.5e-3, 60.0, 0.05),
    (5.0, 4.0, 8e-4, 50.0, 0.05),
    (6.0, 15.0, 1e-3, 50.0, 0.05),
    (8.0, 15.0, 5e-4, 0.1, 0.05),
    (2.5, 30.0, 1e-3, 20.0, 0.05),
    (10.0, 40.0, 1e-3, 35.0, 0.06),
]


@pytest.mark.parametrize(("height", "flat", "radius", "earth", "error"), WIRES)
def test_the_network_is_the_line(
    height: float, flat: float, radius: float, earth: float, error: float
) -> None:
    """At frequencies that the fit did not look at, from medium wave to 40 MHz and down to audio."""
    size = {"height": height, "radius": radius, "flat": flat}
    made = wire_network(top_hz=TOP, ground_resistance=earth, **size)
    assert made.error < error and made.foot == earth
    frequency = np.geomspace(0.3e6, TOP, 211)
    line = np.array([wire_impedance(float(f), ground_resistance=earth, **size) for f in frequency])
    off = np.abs(made.impedance(frequency) - line) / np.maximum(np.abs(line), 5.0)
    # between two points of the fit a narrow peak is followed a little less well
    assert off.max() < 1.6 * error, frequency[off.argmax()]
    assert np.sqrt(np.mean(off**2)) < 0.02
    # and it says how near: against the whole with the earth, which is no smaller than the line alone
    bare = np.array([wire_impedance(float(f), **size) for f in frequency])
    found = np.abs(made.impedance(frequency) - made.foot - bare) / np.abs(bare + max(earth, 5.0))
    assert 0.6 * found.max() < made.error < 1.6 * found.max()
    low = made.impedance(1e3)
    assert -1 / (2 * np.pi * 1e3 * low.imag) == pytest.approx(made.capacitance, rel=1e-6)
    # Howe's charge, and what the fit trades between 0.3 MHz and direct current
    assert made.capacitance == pytest.approx(wire_capacitance(**size), rel=0.03)


@pytest.mark.parametrize("size", [(6.0, 15.0), (1.0, 100.0), (0.4, 0.0)])
def test_the_network_is_passive_at_every_frequency(size: tuple[float, float]) -> None:
    """Positive elements alone, so no frequency, looked at or not, can have a negative resistance."""
    made = wire_network(size[0], flat=size[1], radius=1e-3, top_hz=TOP)
    assert min(min(branch) for branch in made.branches) > 0.0 and made.rest > 0.0
    assert made.impedance(np.geomspace(1.0, 3e9, 3001)).real.min() > 0.0


def test_no_step_as_the_wire_grows_by_a_resonance() -> None:
    """Where one more resonance comes below the top of the range the network gets one more branch: no jump."""
    edge = 7 * c / 4 / TOP  # seven quarter waves at 40 MHz
    lengths = edge * np.array([0.97, 0.99, 0.999, 1.001, 1.01, 1.03])
    made = [wire_network(5.0, flat=float(x) - 5.0, radius=1e-3, top_hz=TOP) for x in lengths]
    assert len({len(one.branches) for one in made}) == 2
    for f in (1.9e6, 7.1e6, 14.2e6, 21.3e6):
        values = np.array([one.impedance(f) for one in made])
        # with the longest and shortest joined by a parabola, nothing strays by more than the fit's own error
        fitted = [
            np.polynomial.Polynomial.fit(lengths, part, 2)(lengths) for part in (values.real, values.imag)
        ]
        assert np.abs(fitted[0] + 1j * fitted[1] - values).max() < 0.05 * np.abs(values).max()


def test_a_swinging_wire_keeps_its_resonances() -> None:
    made = wire_network(5.0, flat=4.0, radius=8e-4, top_hz=TOP, ground_resistance=30.0)
    near = made.swung(1.2)
    assert isinstance(near, WireNetwork)
    assert near.capacitance == pytest.approx(1.2 * made.capacitance, rel=1e-12)
    for one, other in zip(made.branches, near.branches, strict=True):
        assert other.capacitance * other.inductance == pytest.approx(
            one.capacitance * one.inductance, rel=1e-12
        )
        assert other.inductance < one.inductance
    with pytest.raises(ValueError, match=r"^factor must be above zero, got 0\.0$"):
        made.swung(0.0)
