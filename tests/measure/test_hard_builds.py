"""Sound builds that once ended in a failed simulation: each gets its answer, and a true one."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.engine import Bench
from receiver_sim.results.base import Status
from receiver_sim.schema import load_build

BUILDS = sorted((Path(__file__).parents[1] / "hard_builds").glob("*.yaml"))


@pytest.mark.parametrize("path", BUILDS, ids=lambda path: path.stem)
def test_a_hard_build_gets_its_answer(bench: Bench, path: Path) -> None:
    """What each file guards stands in its first line."""
    report = api.onset(load_build(path), modes=False, bench=bench)
    assert not report.failed
    for band in report.bands:
        found = band.oscillation
        assert found.status is not Status.FAILED, found.warnings
        if found.amplitudes is None:
            continue
        # what the tube gives the tank is what it loses, at every amplitude: 1e-6 is far above the engine's
        # tolerance and far below what a growth rate would show
        assert np.abs(found.amplitudes.energy_error).max() < 1e-6
        assert np.all(np.diff(found.amplitudes.amplitude_v) > 0.0)
