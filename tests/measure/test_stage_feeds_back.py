"""An r.f. stage with tuned circuits at grid and plate gives the tank power; with more it oscillates.

What is measured at small signals, the tank's two resonances, is held against runs of every cycle, which know
of no resonance: whether the stage's own hum grows, and how fast.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.circuit.mode import Mode
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.engine import Bench
from receiver_sim.errors import NoAnswer
from receiver_sim.measure.loaded import loaded
from receiver_sim.measure.mode import measure_mode, silenced
from receiver_sim.measure.onset import plan
from receiver_sim.physics.mode import resonance
from receiver_sim.schema import Build, changed_build, load_build
from receiver_sim.studies.amplitude import beside_the_tank

BUILD = Path(__file__).parents[1] / "hard_builds" / "stage_feeds_back.yaml"
CYCLES = 300
TUNING = 70e-12


def built(picofarad: float) -> Build:
    """Return the build with so much more from the stage's plate to its grid (pF)."""
    return changed_build(load_build(BUILD), {"rf_stage.strays.grid_plate": f"{picofarad} pF"})


def looked_at(bench: Bench, build: Build) -> tuple[Mode, float]:
    """Return the mode without the detector's tube, and the rate (1/s) at which every cycle after a knock has
    what moves longest grow."""
    (band,) = build.bands
    dial = band.middle_hz
    circuit = plan(build, api.cards_for(build), band=band, dial_hz=dial)
    with loaded(bench, circuit) as on:
        on.tune(TUNING)
        mode = measure_mode(on, dial_hz=dial, q=band.coil.q)
        hot = on.node(Place.HOT_END)
        with silenced(on):
            # an ampere-second that dies within a few cycles
            on.course(Role.TANK_CURRENT, "sin", [0.0, 1e-9, dial, 0.0, 0.2 * dial])
            step = 1.0 / (100.0 * dial)
            run = on.session.tran(step, CYCLES / dial, 0.0, step, vectors=[hot])
    time, volts = run["time"], run[hot]
    late = time > 0.4 * time[-1]
    plain = np.linspace(time[late][0], time[-1], 40 * CYCLES)
    swing = np.interp(plain, time, volts)
    swing = swing - swing.mean()
    parts = np.array([np.abs(part).max() for part in np.array_split(swing, 24)])
    middles = np.array([part.mean() for part in np.array_split(plain, 24)])
    return mode, float(np.polyfit(middles, np.log(parts), 1)[0])


@pytest.mark.parametrize(("picofarad", "grows"), [(0.01, False), (0.03, True)])
def test_what_moves_longest_does_by_every_cycle_what_its_pole_says(
    bench: Bench, picofarad: float, grows: bool
) -> None:
    """Within 3 %: the steps of a hundredth of a cycle, and what the faster of the two still adds early on."""
    mode, rate = looked_at(bench, built(picofarad))
    assert mode.misfit < 0.01
    assert mode.beside_decay is not None
    slowest = min(mode.decay, mode.beside_decay)
    assert (rate > 0.0) is grows
    assert rate == pytest.approx(-slowest, rel=0.03)
    # the tank's own resonance is the one that decays
    assert mode.decay > 0.0


def test_a_stage_that_oscillates_by_itself_is_told(bench: Bench) -> None:
    (band,) = api.onset(built(0.03), modes=False, bench=bench).bands
    (said,) = (text for text in band.oscillation.warnings if "by itself" in text)
    told = re.match(r"the r\.f\. stage oscillates by itself at (0\.\d+) MHz, through what", said)
    # of two coupled circuits peaked at 0.9083 MHz the lower resonance grows, by some per cent of it lower
    assert told and 0.88 < float(told[1]) < 0.9083
    assert said.endswith(
        "no figure of this band holds while it does; screen its plate lead from its grid, damp its grid coil "
        "or give it less gain"
    )


def mode_of(q: float, *, beside: float | None = None) -> Mode:
    """Return a mode at 1 MHz of that Q, another resonance at 1.02 MHz that decays so fast (1/s)."""
    decay = np.pi * 1e6 / q
    return Mode(
        1e6, decay, 0.0, 5e9 + 0j, 1.0, 0.1, 0.0, 0.0, None, 0.0,
        beside_hz=None if beside is None else 1.02e6, beside_decay=beside,
    )  # fmt: skip


def test_what_is_said_of_a_second_resonance_and_of_power_fed_back() -> None:
    """The tank's coil has a Q of 90, the stage's of 113: with passive parts none gets beyond the better."""
    (band,) = load_build(BUILD).bands
    assert (band.coil.q, band.rf_coil and band.rf_coil.q) == (90.0, 113.0)
    assert beside_the_tank(mode_of(60.0), band=band, staged=True) == ()
    assert beside_the_tank(mode_of(122.0), band=band, staged=True) == ()
    assert beside_the_tank(mode_of(400.0), band=band, staged=False) == ()
    (back,) = beside_the_tank(mode_of(126.0), band=band, staged=True)
    assert back.startswith(
        "the r.f. stage feeds back: with it the tank has a Q of 126, its coil alone 90, so it is not far "
        "from oscillating by itself; screen"
    )
    (twice,) = beside_the_tank(mode_of(60.0, beside=3e4), band=band, staged=True)
    assert twice.startswith("the tank resonates twice, at 1 and at 1.02 MHz, as where an r.f. stage has")
    assert twice.endswith("couple the stage more loosely")
    (aerial,) = beside_the_tank(mode_of(60.0, beside=-3e4), band=band, staged=False)
    assert "as where an aerial has" in aerial and aerial.endswith("couple the aerial more loosely")
    (alone,) = beside_the_tank(mode_of(400.0, beside=-3e4), band=band, staged=True)
    assert alone.startswith("the r.f. stage oscillates by itself at 1.02 MHz, through what")
    assert len(beside_the_tank(mode_of(400.0, beside=3e4), band=band, staged=True)) == 2


def test_two_poles_of_which_one_grows_are_found_where_one_may() -> None:
    """A response made of the two and a constant, at 11 points as the program takes: exact."""
    frequency = np.linspace(0.98e6, 1.02e6, 11)
    x = 2j * np.pi * (frequency - 1e6)
    poles = 8e4 + 2e4j, -2e4 - 1e4j
    response = 3e9 / (x + poles[0]) + 4e9 / (x + poles[1]) + 200.0
    found = resonance(frequency, response=response, reference_hz=1e6, passive=False)
    assert found.pole == pytest.approx(poles[0], rel=1e-6)
    assert found.beside == pytest.approx(poles[1], rel=1e-6)
    with pytest.raises(NoAnswer, match="no decaying resonance"):
        resonance(frequency, response=4e9 / (x + poles[1]), reference_hz=1e6)
