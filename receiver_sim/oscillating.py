"""How oscillation comes in on one band, for the verbs that ask: amplitudes, and whether they hold still."""

from __future__ import annotations

from dataclasses import replace

from receiver_sim.engine import Bench, EngineError
from receiver_sim.netlist.mode import Mode, tuned_mode
from receiver_sim.netlist.receiver import Cards
from receiver_sim.results.base import Status
from receiver_sim.results.envelope import BandOscillation, Oscillation
from receiver_sim.results.onset import Onset
from receiver_sim.schema import Band, Build
from receiver_sim.studies import amplitude, stability

POINTS = 8
"""Settings whose modes are looked at in a band."""


def mode_at(
    build: Build, cards: Cards, bench: Bench, *, band: Band, search: Onset, found: Oscillation
) -> Mode:
    """Return the tank's mode for the dial setting of a loop-gain search and its amplitudes.

    Raises ValueError if there are none, EngineError when a simulation fails.
    """
    if search.tuning_farad is None or found.amplitudes is None:
        raise ValueError("without amplitudes there is no setting to look at")
    # without an onset on the control, what goes on there or all over it begins at the first of the amplitudes
    rotation = float(found.amplitudes.rotation[0]) if search.onset is None else search.onset.rotation
    return tuned_mode(
        build, cards, bench, band=band, dial_hz=search.dial_hz, tuning=search.tuning_farad, rotation=rotation
    )


def comes_in(build: Build, cards: Cards, bench: Bench, *, band: Band, search: Onset) -> BandOscillation:
    """Return the amplitudes of a band and its stability as built, neither with a run over time.

    search: its onset by loop gain. Raises EngineError when a simulation fails.
    """
    found = amplitude.run(build, cards, bench, band=band, onset=search, time_runs=False)
    # `check` answers alike each time it is asked
    found = replace(found, seconds=None)
    if found.status is Status.FAILED:
        raise EngineError("; ".join(found.warnings))
    if found.amplitudes is None:
        return BandOscillation(found, (), (), None)
    mode = mode_at(build, cards, bench, band=band, search=search, found=found)
    steady = stability.run(build, cards, bench, mode, band=band, found=found, points=POINTS, seconds=0.0)
    return BandOscillation(found, (), (steady,), None)
