"""Networks of measured headphones: impedance by complex arithmetic, and how much is fitted to how little."""

from __future__ import annotations

import math

import numpy as np
import pytest

from receiver_sim.physics.load_network import LoadNetwork, Tank, fit_network, impedance


def test_impedance_is_that_of_its_parts() -> None:
    """R and L in series with two tanks, a capacitance across all of it, at 1 kHz; each by its own sum."""
    w = 2.0 * math.pi * 1000.0
    series = complex(1800.0, w * 0.4)
    iron = 1.0 / complex(1.0 / 21e3, -1.0 / (w * 1.1))
    plate = 1.0 / complex(1.0 / 2500.0, w * 0.52e-6 - 1.0 / (w * 0.06))
    whole = 1.0 / (1.0 / (series + iron + plate) + 1j * w * 3.3e-9)
    network = LoadNetwork(1800.0, 0.4, 3.3e-9, (Tank(21e3, 1.1), Tank(2500.0, 0.06, 0.52e-6)))
    assert complex(impedance(network, frequency=1000.0)) == pytest.approx(whole, rel=1e-12)
    assert complex(impedance(LoadNetwork(1800.0), frequency=1000.0)) == 1800.0
    assert impedance(network, frequency=[500.0, 1000.0])[1] == pytest.approx(whole, rel=1e-12)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"resistance": 0.0}, r"^resistance must be above zero, got 0\.0$"),
        ({"resistance": 1.0, "inductance": -0.1}, r"^inductance must be zero or more, got -0\.1$"),
        ({"resistance": 1.0, "capacitance": -1e-9}, r"^capacitance must be zero or more, got -1e-09$"),
    ],
)
def test_no_part_of_a_network_is_below_nothing(values: dict[str, float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        LoadNetwork(**values)


TRUE = LoadNetwork(
    1800.0, 0.4, 0.0, (Tank(21e3, 1.1), Tank(2500.0, 0.06, 1 / ((2 * np.pi * 900) ** 2 * 0.06)))
)


@pytest.mark.parametrize(
    ("points", "phases", "tanks"),
    [(3, 0, 0), (4, 0, 1), (3, 1, 1), (7, 0, 1), (8, 0, 2), (4, 3, 1), (4, 4, 2)],
)
def test_what_is_fitted_depends_on_how_much_was_measured(points: int, phases: int, tanks: int) -> None:
    """Under four figures R and L alone, under eight one tank for the iron, from eight on a resonance."""
    f = np.geomspace(150.0, 4000.0, points)
    z = impedance(TRUE, frequency=f)
    lags = [float(p) if n < phases else None for n, p in enumerate(np.degrees(np.angle(z)))]
    fit = fit_network(list(f), magnitude=list(np.abs(z)), phase_deg=lags)
    assert len(fit.network.tanks) == tanks
    assert fit.network.capacitance == 0.0 and all(tank.resistance > 0.0 for tank in fit.network.tanks)
    # the error is that of the magnitudes at these points
    seen = np.abs(impedance(fit.network, frequency=f)) / np.abs(z) - 1.0
    assert fit.error == pytest.approx(float(np.abs(seen).max()))
    if tanks == 2:
        assert (fit.network.tanks[0].capacitance, fit.network.tanks[1].capacitance > 0.0) == (0.0, True)


def test_two_magnitudes_of_a_coil_give_its_resistance_and_inductance() -> None:
    """|Z|^2 = R^2 + (w L)^2: 2.2 kohm and 1.7 H back from 100 Hz and 1 kHz."""
    sizes = [math.hypot(2200.0, 2.0 * math.pi * f * 1.7) for f in (100.0, 1000.0)]
    fit = fit_network([100.0, 1000.0], magnitude=sizes, phase_deg=[None, None])
    # the optimiser's tolerance
    assert (fit.network.resistance, fit.network.inductance) == (
        pytest.approx(2200.0, rel=1e-4),
        pytest.approx(1.7, rel=1e-4),
    )
    assert fit.error < 1e-5
