"""A tank that resonates twice, its aerial being half a wave long there."""

from __future__ import annotations

from pathlib import Path

import pytest

from receiver_sim import api
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.engine import Bench
from receiver_sim.measure.loaded import loaded
from receiver_sim.measure.mode import measure_mode, silenced
from receiver_sim.measure.onset import plan
from receiver_sim.schema import load_build

BUILD = Path(__file__).parents[1] / "hard_builds" / "aerial_resonates_too.yaml"


def test_the_higher_of_two_resonances_is_the_tanks_and_the_other_is_named(bench: Bench) -> None:
    build = load_build(BUILD)
    (band,) = build.bands
    circuit = plan(build, api.cards_for(build), band=band, dial_hz=band.middle_hz)
    with loaded(bench, circuit) as on:
        on.tune(39.6e-12)
        mode = measure_mode(on, dial_hz=band.middle_hz, q=band.coil.q)
        hot = on.node(Place.HOT_END)
        with silenced(on), on.driven(Role.TANK_CURRENT):
            run = on.session.ac(17e6, 20e6, 601, vectors=["frequency", hot])
    assert mode.beside_hz is not None
    # a passive circuit stores no better than its coil
    assert 1.0 < mode.q < band.coil.q
    height, hertz = abs(run[hot]), run["frequency"].real
    inner = (height[1:-1] > height[:-2]) & (height[1:-1] > height[2:])
    low, high = sorted(hertz[1:-1][inner], key=lambda f: height[abs(hertz - f).argmin()])
    # either hump is pulled by the other's flank: a fifth of its width of some 0.6 MHz
    assert mode.resonance_hz == pytest.approx(high, abs=0.12e6)
    assert mode.beside_hz == pytest.approx(low, abs=0.12e6)


def test_it_is_said_with_the_onset(bench: Bench) -> None:
    (band,) = api.onset(load_build(BUILD), modes=False, bench=bench).bands
    (said,) = (text for text in band.oscillation.warnings if "resonates twice" in text)
    assert "couple the aerial more loosely" in said
