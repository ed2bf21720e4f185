"""Hum modulation of the oscillation: the small-signal figure against the envelope run over time."""

from __future__ import annotations

import math

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.engine import Bench, Deck
from receiver_sim.measure import onset
from receiver_sim.measure.mode import tuned_mode
from receiver_sim.receiver import Receiver
from receiver_sim.schema import Build
from receiver_sim.studies import amplitude, hum_modulation
from tests.decks import envelope_deck


@pytest.mark.slow
def test_modulation_by_ripple_is_that_of_the_run_over_time(bench: Bench, demo: Build) -> None:
    cards, band = api.cards_for(demo), demo.bands[2]
    dial = api.dial_frequencies(band)[1]
    search = onset.run(Receiver(demo, bench).at(band, dial))
    assert search.onset is not None and search.tuning_farad is not None
    found = amplitude.run(Receiver(demo, bench).at(band, search=search), time_runs=False)
    mode = tuned_mode(
        Receiver(demo, bench).at(band, dial), tuning=search.tuning_farad, rotation=search.onset.rotation
    )
    volts = 2.0
    lines = np.zeros(4, dtype=complex)
    lines[1] = volts / math.sqrt(2.0)
    small = hum_modulation.run(
        Receiver(demo, bench),
        mode,
        found=found,
        heater=(0.0, 1),
        winding=(0.0, 1),
        ripple=lines,
        ripple_at_receiver=False,
    )
    assert small is not None
    deck = envelope_deck(
        demo, cards, mode, rotation=small.rotation, reference_hz=mode.resonance_hz,
    )  # fmt: skip
    deck = Deck(deck.title, f"{deck.text}\n.ic v(ti)={small.amplitude_v:.6g} v(tq)=0")
    with bench.session(deck) as session:
        session.alter("vsupply", (demo.supply.volts, volts, 100.0), "sin")
        run = session.tran(5e-5, 0.12, 0.0, 5e-5, vectors=["time", "amp"])
    even = np.linspace(0.10, 0.12, 801)[:-1]
    course = np.interp(even, run["time"], run["amp"])
    line = 2.0 * abs(np.fft.rfft(course)[2]) / course.size
    # the drift of the mean while capacitors settle and the second order of a few per cent of modulation: 10 %
    assert line / course.mean() == pytest.approx(float(small.depth[1]), rel=0.1)
    assert small.depth[0] == 0.0
    assert small.swing_hz[1] > 0.0


def test_a_band_that_does_not_oscillate_has_none(demo: Build) -> None:
    found = amplitude.nothing(
        demo.bands[0], onset.failed(demo.bands[0], 1.9e6, "no"), status=onset.Status.FAILED
    )
    assert hum_modulation.setting(found) is None
