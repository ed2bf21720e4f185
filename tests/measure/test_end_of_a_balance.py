"""A sweep of a balance beyond the largest amplitude that any setting sustains is given up soon."""

from __future__ import annotations

from pathlib import Path

import pytest

from receiver_sim import api
from receiver_sim.circuit.assemble import regeneration_control
from receiver_sim.engine import Bench, EngineFailed
from receiver_sim.measure.amplitude_balance import sweep
from receiver_sim.receiver import Receiver
from receiver_sim.schema import load_build
from receiver_sim.studies import amplitude


def test_a_sweep_beyond_the_fold_is_no_sweep_without_end() -> None:
    """Guards against ngspice bringing the sources up from zero, over and over, for more than a minute: the
    band then failed by its time limit though the settings one by one are there. 30 s: it takes 4.
    """
    build = load_build(Path(__file__).with_name("short_leak_at_21_mhz.yaml"))
    cards, band = api.cards_for(build), build.bands[0]
    with Bench(1, time_limit_s=30.0) as bench:
        tuned = Receiver(build, bench).at(band)
        assert tuned.onset.onset is not None
        guess = regeneration_control(build, cards).share(tuned.onset.onset.rotation)
        circuit = amplitude.plan(build, cards, tuned.mode(tuned.onset.onset.rotation), guess=guess)
        with pytest.raises(EngineFailed, match="dc vsweep"):
            sweep(bench, circuit, guess=guess)
