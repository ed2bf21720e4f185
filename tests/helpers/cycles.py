"""Every cycle of the carrier at one setting: does the oscillation grow or die, how strong does it get?"""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.element import GROUND, current_source
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.circuit.views.envelope import TRAN_OPTIONS
from receiver_sim.engine import Bench
from receiver_sim.measure.loaded import loaded
from receiver_sim.receiver import Receiver, Tuned
from receiver_sim.results.envelope import OnsetKind, Oscillation
from receiver_sim.schema import Band, Build
from receiver_sim.studies.reference_transient import peaks, quick_build


def run(
    tuned: Tuned,
    *,
    tuning: float,
    rotation: float,
    start_v: float,
    cycles: int,
    steps: int = 50,
) -> tuple[np.ndarray, np.ndarray]:
    """Return times (s) and heights (V) of the carrier's peaks from a shock that leaves `start_v` in the tank.

    The audio parts are quick (see `quick_build`): at rest nothing depends on them. `steps` trapezoidal steps
    a cycle take (2 pi/steps)^2/12 of the decay off it, 0.13 % at 50 (numerical damping of an LC circuit).
    """
    whole = receiver_circuit(
        quick_build(tuned.build), tuned.cards, band=tuned.band, dial_hz=tuned.dial_hz, rotation=rotation
    )
    circuit = dataclasses.replace(_without_audio(whole, tuned.bench), options=TRAN_OPTIONS)
    top, step = circuit.node(Place.HOT_END), 1.0 / (tuned.dial_hz * steps)
    # half a cycle of a constant current leaves 2 I w L
    current = start_v / (4.0 * math.pi * tuned.dial_hz * tuned.band.coil.inductance)
    course = [
        x
        for at, i in ((0, 0), (1, 0), (1.1, 1), (1.5, 1), (1.6, 0))
        for x in (at / tuned.dial_hz, i * current)
    ]
    with loaded(tuned.bench, circuit) as on:
        on.tune(tuning)
        on.course(Role.TANK_CURRENT, "pwl", course)
        answer = on.session.tran(step, cycles / tuned.dial_hz, 0.0, step, vectors=[top])
    return peaks(answer["time"], answer[top] - np.mean(answer[top]))


def holds(
    tuned: Tuned, *, tuning: float, rotation: float, start_v: float, steps: int = 40
) -> tuple[bool, float]:
    """Return whether a swing of `start_v` (V) holds on for 9000 cycles, and how strong it is then.

    It dies if the second half of the run takes 3 % of it.
    """
    times, heights = run(tuned, tuning=tuning, rotation=rotation, start_v=start_v, cycles=9000, steps=steps)
    last = settled(times, heights)
    return last > 0.97 * float(heights[times > 0.5 * times[-1]][0]), last


def _without_audio(whole: Circuit, bench: Bench) -> Circuit:
    """Return the circuit without its audio stages, what they draw at rest taken from the supply all the same.

    Without it a plate feed came out 2 % high, and onset with it: a fault of this helper, once.
    """
    circuit, feed = whole.without_part("audio"), whole.find(Role.AUDIO_FEED)
    if feed is None:
        return circuit
    with loaded(bench, whole) as on:
        branch = whole.branch(Role.AUDIO_FEED)
        drawn = float(on.session.op(vectors=[branch])[branch].real[0])
    drain = current_source("idrawn", GROUND, out_of=whole[feed].nodes[0])
    return circuit.plus(drain._replace(value=drawn))


def rate(times: np.ndarray, heights: np.ndarray, *, skip: float = 0.3) -> float:
    """Return the growth (1/s) of small peaks, the first part of the run left out."""
    late = times > skip * times[-1]
    return float(np.polyfit(times[late], np.log(heights[late]), 1)[0])


def settled(times: np.ndarray, heights: np.ndarray) -> float:
    """Return the mean height over the last twentieth of a run."""
    return float(heights[times > 0.95 * times[-1]].mean())


def hold_amplitude(bench: Bench, build: Build, band: Band) -> None:
    """Hold the amplitude in the middle of the map within 5 % against a run that has come to rest."""
    tuned, tuning, found = _found(bench, build, band)
    assert found.amplitudes is not None
    rotation = 0.5 * float(found.amplitudes.rotation[0] + found.amplitudes.rotation[-1])
    expected = found.amplitudes.strongest(rotation)
    assert found.kind is OnsetKind.SOFT
    assert expected is not None and expected > 0.3
    # from a swing 15 % off: what holds on is the set's own
    held, last = holds(tuned, tuning=tuning, rotation=rotation, start_v=1.15 * expected)
    assert held and last == pytest.approx(expected, rel=0.05)


def hold_backlash(bench: Bench, build: Build, band: Band, *, least: float) -> None:
    """Hold a hard onset: between the two settings of the map a strong swing holds on and a weak one dies,
    below them both die, above them a weak one grows.

    Looked at 5 % of the backlash inside and outside of its ends; the swing that it jumps to is the map's
    within 5 %. least: travel (0..1) that the backlash takes at least.
    """
    tuned, tuning, found = _found(bench, build, band)
    jump = found.jump
    assert found.kind is OnsetKind.HARD and jump is not None
    assert found.amplitudes is not None and jump.to_v is not None
    up, down = jump.up.rotation, jump.down.rotation
    span = up - down
    assert span > least
    strong, weak = 1.3 * jump.falls_from_v, 2e-3
    seen = {}
    for rotation, start, lasts in (
        (down + 0.05 * span, strong, True),
        (down - 0.05 * span, strong, False),
        (up - 0.05 * span, weak, False),
        (up + 0.05 * span, weak, True),
        (up, jump.to_v, True),
    ):
        held, last = holds(tuned, tuning=tuning, rotation=rotation, start_v=start)
        seen[rotation, start] = held, lasts, last
    assert [held for held, _, _ in seen.values()] == [lasts for _, lasts, _ in seen.values()], seen
    # next to the fold the amplitude is as good as upright over the setting
    assert seen[up, jump.to_v][2] == pytest.approx(found.amplitudes.strongest(up), rel=0.05)


def _found(bench: Bench, build: Build, band: Band) -> tuple[Tuned, float, Oscillation]:
    """Return a band at the dial of its map, the tuning (F) there, and the map."""
    found = api.onset(build, bands=[band.name], modes=False, bench=bench).bands[0].oscillation
    tuned = Receiver(build, bench).at(band, found.dial_hz)
    tuning = tuned.onset.tuning_farad
    assert tuning is not None
    return tuned, tuning, found
