"""The onset search: closed-form curves, cost, states; and the full transient just below and just above."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.circuit.assemble import OPTIONS
from receiver_sim.circuit.registry import Cards
from receiver_sim.engine import Bench
from receiver_sim.measure import onset
from receiver_sim.measure.loop_gain import Sample
from receiver_sim.physics.potentiometer import rotation_fraction
from receiver_sim.receiver import Receiver
from receiver_sim.results.base import Status
from receiver_sim.schema import Build, changed_build
from tests.decks import control_elements, receiver_deck


def _sampler(gain: Callable[[float], float]) -> Callable[[float], Sample]:
    return lambda wiper: Sample(wiper, 100.0 * wiper, 7e6, gain(wiper))


@pytest.mark.parametrize(
    ("gain", "root"),
    [
        (lambda x: 2.5 * x**1.5, 0.4 ** (2 / 3)),
        (lambda x: 4.0 * x / (1 + 0.5 * x), 1 / 3.5),
        (lambda x: 1e-9 + 1.02 * x**3, 1.02 ** (-1 / 3)),
        (lambda x: 9.0 * np.exp(-1 / (20 * x + 1e-9)) * x, None),
    ],
)
def test_search_finds_the_root_of_known_curves(gain: Callable[[float], float], root: float | None) -> None:
    status, samples, found = onset.search(_sampler(gain), most=9)
    assert status is Status.OSCILLATES
    assert found is not None
    # |T - 1| < 3e-4 at the last sample, interpolated once more: a tenth of that is asked for here
    assert gain(found) == pytest.approx(1.0, abs=1e-4)
    if root is not None:
        assert found == pytest.approx(root, abs=1e-4)
    assert len(samples) <= 9


def test_search_finds_onset_before_a_maximum() -> None:
    status, _, found = onset.search(_sampler(lambda x: 1.3 - 3.0 * (x - 0.6) ** 2), most=9)
    assert status is Status.OSCILLATES
    assert found == pytest.approx(0.6 - np.sqrt(0.1), abs=1e-3)


@pytest.mark.parametrize("top", [0.6, 0.75])
def test_the_approach_before_a_maximum_is_read_on_the_rising_side(top: float) -> None:
    """Guards against a drawn set's 0.9 of loop gain being read through a setting beyond the maximum: the
    parabola through it left the control (a wiper at 249 of 1), and `check` ended as a fault of the program.
    """
    _, samples, found = onset.search(_sampler(lambda x: 1.3 - 3.0 * (x - top) ** 2), most=9)
    assert found is not None
    there = onset.crossed(samples, found)
    assert there.figure == pytest.approx(100.0 * (top - np.sqrt(0.1)), abs=0.1)
    # the last sample of the search lies within 0.01 of the gain 0.9, where the slope is above 2
    assert there.low == pytest.approx(
        (top - np.sqrt(0.4 / 3.0), 100.0 * (top - np.sqrt(0.4 / 3.0))), rel=0.01
    )
    assert there.frequency == pytest.approx(7e6)


def test_search_says_does_not_oscillate_only_after_looking_inside() -> None:
    status, samples, found = onset.search(_sampler(lambda x: 0.99 - 3.0 * (x - 0.52) ** 2), most=9)
    assert (status, found) == (Status.DOES_NOT, None)
    assert max(s.gain for s in samples) == pytest.approx(0.99, abs=0.01)


def test_search_says_not_in_range_when_it_oscillates_at_the_lower_stop() -> None:
    assert onset.search(_sampler(lambda x: 1.2 + x), most=9)[0] is Status.NOT_IN_RANGE


def test_every_band_of_the_demo_needs_ten_evaluations_at_most(bench: Bench, demo: Build) -> None:
    for band in demo.bands:
        before = bench.evaluations
        found = onset.run(Receiver(demo, bench).at(band, band.to))
        assert found.status is Status.OSCILLATES
        assert found.evaluations == bench.evaluations - before
        assert found.evaluations <= 10


def test_loop_gain_is_one_at_the_onset_found(bench: Bench, cabin: Build, cabin_cards: Cards) -> None:
    """Measured afresh at the rotation reported, on a control that is not linear."""
    from receiver_sim.measure.loaded import loaded
    from receiver_sim.measure.loop_gain import Probe

    band = cabin.bands[1]
    found = onset.run(Receiver(cabin, bench).at(band, band.from_))
    assert found.onset is not None and found.tuning_farad is not None and found.at_nine_tenths is not None
    with loaded(bench, onset.plan(cabin, cabin_cards, band=band, dial_hz=band.from_)) as on:
        probe = Probe(on, band=band, dial_hz=band.from_)
        probe.tune(found.tuning_farad)
        at, before, step = (
            probe.measure(on.circuit.control.share(r))
            for r in (found.onset.rotation, found.at_nine_tenths.rotation, found.onset.rotation + 1e-3)
        )
    # a tenth of the 3e-4 at which the search stops
    assert at.gain == pytest.approx(1.0, abs=1e-4)
    assert at.figure == pytest.approx(found.onset.screen_v, rel=1e-4)
    # interpolated between samples up to 0.01 apart in gain
    assert before.gain == pytest.approx(0.9, abs=2e-3)
    # slope by difference; the parabola of the search spans 0.1 in gain, so some per cent of curvature remain
    slope = (step.gain - at.gain) / (step.figure - at.figure)
    assert found.slope_per_v == pytest.approx(slope, rel=0.05)


def test_a_failing_simulation_is_a_status_with_the_deck_named(demo: Build) -> None:
    with Bench(workers=1, time_limit_s=1e-6) as bench:
        found = onset.run(Receiver(demo, bench).at(demo.bands[0], 1.9e6))
    assert found.status is Status.FAILED
    assert found.onset is None
    assert "longer than the limit" in found.warnings[0] or "stopped" in found.warnings[0]


def _growth(
    bench: Bench, build: Build, cards: Cards, *, rotation: float, tuning: float, dial: float
) -> float:
    """Return the growth rate (1/s) of a small kicked oscillation in the full transient with the control fixed
    there.
    """
    band = build.bands[0]
    kick = "Ikick 0 top PULSE(0 2u 20u 10n 10n 1u 1)"
    deck = receiver_deck(build, cards, band=band, dial_hz=dial, rotation=rotation, extra=kick)
    deck = type(deck)(
        deck.title,
        deck.text.replace(
            f".options {OPTIONS}", ".options method=trap reltol=1e-4 abstol=1e-12 vntol=1e-6 rshunt=1e12"
        ),
    )
    # 80 steps a cycle: trapezoidal damping is 0.15 % of the tank's own, far below 2 % of volts
    step = 1.0 / (80.0 * dial)
    with bench.session(deck) as session:
        for element, value in control_elements(build, cards, rotation).items():
            session.alter(element, value)
        session.alter("ctune", tuning)
        run = session.tran(4 * step, 1.0e-3, start=1e-4, max_step=step, vectors=["time", "top"])
    time, volts = run["time"], run["top"]
    edges = np.linspace(time[0], time[-1], 19)
    peaks = [np.ptp(volts[(time >= a) & (time < b)]) for a, b in pairwise(edges)]
    centres = 0.5 * (edges[:-1] + edges[1:])
    assert max(peaks) < 0.1, "the oscillation must stay small for a small-signal statement"
    return float(np.polynomial.polynomial.polyfit(centres, np.log(peaks), 1)[1])


@pytest.mark.slow
def test_full_transient_decays_below_and_grows_above_onset(
    bench: Bench, demo: Build, demo_cards: Cards
) -> None:
    """The reference transient, one band: 2 % below onset it dies away, 2 % above it grows."""
    band = demo.bands[0]
    dial = api.dial_frequencies(band)[1]
    found = onset.run(Receiver(demo, bench).at(band, dial))
    assert found.onset is not None and found.tuning_farad is not None and found.slope_per_v is not None
    law = demo.regeneration
    rates = bench.map(
        lambda b, share: _growth(
            b,
            demo,
            demo_cards,
            rotation=float(
                rotation_fraction(
                    _wiper(b, demo, demo_cards, dial, share * found.onset.screen_v), law=law.law
                )
            ),
            tuning=found.tuning_farad,
            dial=dial,
        ),
        [0.98, 1.02],
    )
    assert rates[0] < 0 < rates[1]
    # Near onset the rate is (T - 1) w0/(2 Q), Q that of the tank with aerial and grid; a source-free check of
    # the slope: the two rates differ by slope * 4 % of volts * w0/(2 Q). Q is bounded by the coil's own and
    # half of it.
    predicted = found.slope_per_v * 0.04 * found.onset.screen_v * np.pi * dial / band.coil.q
    assert (rates[1] - rates[0]) / predicted * 1.02 > 1.0 and (rates[1] - rates[0]) < 2.0 * predicted


def test_a_loop_without_zero_phase_beside_the_dial_is_no_failed_simulation(bench: Bench, demo: Build) -> None:
    """Guards against 'the phase of the return ratio has no zero near these frequencies', told as a failure:
    with next to no tap and no capacitor at the plate, the plate's circuit turns the phase of what little
    comes back.
    """
    changes = {
        "detector.tube": "6AU6",
        "detector.rf_filter.plate_capacitor": "0 pF",
        "detector.rf_filter.choke": "1.3 mH",
        "detector.rf_filter.output_capacitor": "180 pF",
        "bands[0].coil.tap": "0.4 %",
        "bands[0].coil.inductance": "150 uH",
    }
    build = changed_build(demo, changes)
    band = build.bands[0]
    found = onset.run(Receiver(build, bench).at(band, 1.9e6))
    assert (found.status, found.warnings) == (Status.DOES_NOT, ())
    # g_k n (1 - n) Rp of an ideal tap at 3 mA/V and the coil's own Q bounds the gain
    assert found.gain_highest is not None
    assert abs(found.gain_highest) < 3e-3 * 0.004 * band.coil.q * 2 * np.pi * 1.9e6 * 150e-6


def _wiper(bench: Bench, build: Build, cards: Cards, dial: float, volts: float) -> float:
    """Return the wiper fraction that puts those d.c. volts on the screen."""
    from scipy.optimize import brentq

    deck = receiver_deck(build, cards, band=build.bands[0], dial_hz=dial, rotation=0.5)
    with bench.session(deck) as session:

        def miss(wiper: float) -> float:
            rotation = float(rotation_fraction(wiper, law=build.regeneration.law))
            for element, value in control_elements(build, cards, rotation).items():
                session.alter(element, value)
            return float(session.op()["scr"][0]) - volts

        return float(brentq(miss, 0.0, 1.0, xtol=1e-6))
