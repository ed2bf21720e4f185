"""A strong station pulls the oscillation and locks it: heard as `detect` says."""

from __future__ import annotations

import math

import numpy as np
from scipy.signal import find_peaks

from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.signals import DialPath, Signal
from receiver_sim.engine import Bench
from receiver_sim.schema import Build
from tests.helpers.heard import Heard


def test_a_strong_station_locks_the_oscillation_over_the_range_that_detect_gives(
    bench: Bench, demo: Build, demo_cards: Cards
) -> None:
    """The dial goes over a carrier that locks 200 Hz to either side (Adler 1946, the closed form of
    `detect`). The whistle stops where the lock begins and starts where it ends; at 1.5 times the range it is
    pulled to sqrt(1.5^2 - 1) of it.

    The last half cycle before the lock takes the dial 10 Hz on at 890 Hz/s (the integral of sqrt(offset^2 -
    lock^2)), 5 % of the lock; Adler's form is for weak injection: some more.
    """
    part, lock, seconds = 1.06, 200.0, 1.0
    heard = Heard(demo, demo_cards, bench)
    assert heard.amplitudes is not None
    swing = heard.amplitudes.strongest(part * heard.at)
    assert swing is not None
    current = 2.0 * math.pi * lock * swing / abs(heard.mode.residue)
    level = current / (math.sqrt(2.0) * abs(heard.mode.aerial or 0.0))
    path = DialPath(((0.1, -400.0), (seconds, 400.0)))
    sound = heard.sound([Signal(level, 0.0, start_s=0.0)], part=part, seconds=seconds, dial=path)
    times = np.arange(sound.volts.size) / sound.rate
    offset = path.offset(times)
    # a quarter of the beat's r.m.s. tells sound from silence
    loud = offset[(np.abs(sound.volts) > 0.25 * np.std(sound.volts)) & (np.abs(offset) < 399.0)]
    begins, ends = loud[loud < 0.0].max(), loud[loud > 0.0].min()
    assert abs((ends - begins) / (2.0 * lock) - 1.0) < 0.08, (begins, ends)
    # the beat of a pulled oscillation has one sharp trough in each of its cycles
    troughs, _ = find_peaks(-sound.volts, height=2.0 * np.std(sound.volts), distance=24)
    pitch = 1.0 / np.diff(times[troughs])
    places = 0.5 * (offset[troughs][1:] + offset[troughs][:-1])
    for side in (-1.5, 1.5):
        found = float(np.interp(side * lock, places, pitch))
        assert abs(found / (lock * math.sqrt(1.5**2 - 1.0)) - 1.0) < 0.03, (side, found)
