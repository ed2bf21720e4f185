"""Where the loop gain and the balance of amplitudes tell of different onsets, the page says so."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from receiver_sim import api
from receiver_sim.builds import opened
from receiver_sim.engine import Bench
from receiver_sim.receiver import Receiver
from receiver_sim.results.base import Status
from receiver_sim.schema import load_build
from receiver_sim.studies import amplitude

HARD = Path(__file__).parents[1] / "hard_builds" / "plate_without_bypass.yaml"


def test_a_set_that_one_view_lets_start_and_the_other_not_is_told_of(bench: Bench) -> None:
    """The plate's own swing comes back through the tube: of the loop gain's 1.0 at onset the tank as one
    resonance has none. An IndexError before."""
    build = load_build(HARD)
    report = api.onset(build, modes=False, bench=bench)
    (band,) = report.bands
    found = band.oscillation
    assert found.status is Status.OSCILLATES and found.onset is None and found.amplitudes is None
    (said,) = found.warnings
    assert said.startswith("by its loop gain the set starts at 95 % of the knob, but")
    assert "no setting of the control sustains a small amplitude" in said
    with opened(bench) as open_bench:
        loop = Receiver(build, open_bench).at(build.bands[0]).onset
    assert loop.onset is not None and loop.onset.rotation == pytest.approx(0.95, abs=0.005)


def test_onsets_a_hands_setting_apart_are_told_of(bench: Bench) -> None:
    build = api.shipped_build("demo")
    with opened(bench) as open_bench:
        tuned = Receiver(build, open_bench).at(build.bands[0])
        found = amplitude.run(tuned, time_runs=False)
        loop = tuned.onset
    assert loop.onset is not None and amplitude.views_differ(found, loop) is None
    rotation = loop.onset.rotation
    for moved, told in ((0.009, False), (0.011, True), (-0.011, True)):
        elsewhere = replace(loop, onset=replace(loop.onset, rotation=rotation + moved))
        said = amplitude.views_differ(found, elsewhere)
        assert (said is not None) == told
    assert f"starts at {100.0 * (rotation - 0.011):.0f} % of the knob" in str(said)
    assert f"small amplitudes are sustained from {100.0 * rotation:.0f} %" in str(said)
