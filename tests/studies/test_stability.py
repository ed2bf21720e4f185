"""Squegging and howl: growing modes against time runs, and the remedy."""

from __future__ import annotations

import math

import numpy as np
import pytest

from receiver_sim.netlist.mode import tuned_mode
from receiver_sim.studies import amplitude, onset, stability


def squegger(build):
    """Too much tap, and a grid leak and capacitor whose time constant is a hundred times that of the tank."""
    band = build.bands[2]
    band = band.model_copy(update={"coil": band.coil.model_copy(update={"tap": 0.12})})
    detector = build.detector.model_copy(update={"grid_leak": 10e6, "grid_capacitor": 1e-9})
    return build.model_copy(update={"bands": (band,), "detector": detector})


def oscillation(build, cards, bench):
    band = build.bands[0]
    search = onset.run(build, cards, bench, band=band, dial_hz=math.sqrt(band.from_ * band.to))
    assert search.tuning_farad is not None
    mode = tuned_mode(
        build, cards, bench, band=band, dial_hz=search.dial_hz, tuning=search.tuning_farad,
        rotation=0.3 if search.onset is None else search.onset.rotation,
    )  # fmt: skip
    return mode, amplitude.run(build, cards, bench, band=band, onset=search, time_runs=False)


def test_rate_of_the_linearised_envelope_is_that_of_a_small_disturbance(bench, demo, demo_cards):
    """Eigenvalue against time run: the slope of the logarithm of growth out of an unstable rest."""
    build = squegger(demo)
    mode, found = oscillation(build, demo_cards, bench)
    assert found.amplitudes is not None
    a = found.amplitudes
    i = int(np.argmin(np.abs(a.amplitude_v - 0.45)))
    modes, growing = stability.slow_modes(
        build, demo_cards, bench, mode, amplitude=float(a.amplitude_v[i]), rotation=float(a.rotation[i])
    )
    assert growing == 2 and modes[0].real > 100.0  # a pair, at an audible frequency
    frequency = abs(modes[0].imag) / (2.0 * math.pi)
    assert 200.0 < frequency < 20e3
    seen_hz, swing = stability.watch(
        build, demo_cards, bench, mode, rotation=float(a.rotation[i]), frequency=float(a.frame_hz[i]),
        seconds=0.03,
    )  # fmt: skip
    # it ends as a large relaxation, below the frequency of its beginning
    assert swing is not None and swing > 0.5 * a.amplitude_v[i]
    assert seen_hz is not None and 0.1 * frequency < seen_hz < 1.5 * frequency


def test_squegging_is_found_and_cured(bench, demo, demo_cards):
    build = squegger(demo)
    mode, found = oscillation(build, demo_cards, bench)
    as_built = stability.run(
        build, demo_cards, bench, mode, band=build.bands[0], found=found, points=6, seconds=0.2
    )
    assert as_built.unstable
    assert any(p.motion_v is not None for p in as_built.points)
    cured = []
    for what, changed in stability.remedies(build):
        other, result = oscillation(changed, demo_cards, bench)
        if result.amplitudes is None:
            continue
        tried = stability.run(
            changed,
            demo_cards,
            bench,
            other,
            band=build.bands[0],
            found=result,
            what=what,
            points=6,
            seconds=0.05,
        )
        cured.append((what, tried.unstable))
    assert (cured[-1][1]) is False, cured
    assert cured[-1][0].startswith("grid leak")


@pytest.mark.parametrize("which", ["demo", "cabin"])
def test_shipped_builds_are_at_rest(bench, request, which):
    build, cards = request.getfixturevalue(which), request.getfixturevalue(f"{which}_cards")
    mode, found = oscillation(build, cards, bench)
    result = stability.run(
        build, cards, bench, mode, band=build.bands[0], found=found, points=5, seconds=0.05
    )
    assert not result.unstable
    assert all(p.rate[0] < 0.0 for p in result.points)


def test_encirclements_count_growing_modes():
    s = 2j * np.pi * np.logspace(-2, 7, 400)
    for poles, expected in (((-3.0, -40.0), 0), ((5.0, -40.0), 1), ((30.0 + 200.0j, 30.0 - 200.0j), 2)):
        margin = (s - poles[0]) * (s - poles[1]) / ((s + 100.0) * (s + 2000.0))
        assert stability.encirclements(margin) == expected


def test_motion_of_a_steady_and_of_a_moving_amplitude():
    t = np.linspace(0.0, 0.3, 30001)
    assert stability.motion(t, np.full_like(t, 0.3)) == (None, None)
    assert stability.motion(t, 0.3 + 0.1 * np.exp(-t / 0.03) * np.sin(2 * np.pi * 500 * t)) == (None, None)
    hz, swing = stability.motion(t, 0.3 + 0.1 * np.sin(2 * np.pi * 500 * t))
    assert hz == pytest.approx(500.0, rel=0.01) and swing == pytest.approx(0.2, rel=0.01)
