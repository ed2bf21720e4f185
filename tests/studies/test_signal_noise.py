"""Noise and weakest signal: the tank's own kTR, the tube's formula, independence of the control."""

from __future__ import annotations

import pytest

from receiver_sim.circuit.registry import Cards
from receiver_sim.engine import Bench
from receiver_sim.measure import onset
from receiver_sim.physics.noise import thermal_density
from receiver_sim.physics.sensitivity import signal_above_noise
from receiver_sim.physics.tank import parallel_resistance
from receiver_sim.receiver import Receiver
from receiver_sim.schema import Build
from receiver_sim.studies import detection_figure, signal_noise
from tests.decks import receiver_deck
from tests.studies.ideal import bare, ideal

DIAL = 7.1e6


def test_noise_of_the_tank_is_that_of_its_parallel_resistance(
    bench: Bench, demo: Build, demo_cards: Cards
) -> None:
    """With the tube cold and nothing else about, 4 k T Rp at resonance within 1 %."""
    build, cards = ideal(demo), bare(demo_cards)
    band = build.bands[2]
    deck = receiver_deck(build, cards, band=band, dial_hz=DIAL, rotation=0.0)
    with bench.session(deck) as session:
        session.alter("vsupply", 0.0, "dc")
        session.alter("isig", 1.0, "acmag")
        width = DIAL / band.coil.q
        sweep = session.ac(DIAL - width, DIAL + width, 401, vectors=["frequency", "top"])
        place = int(abs(sweep["top"]).argmax())
        frequency = float(sweep["frequency"][place].real)
        noise = session.noise("top", "isig", frequency, frequency, 1, scale="lin", contributions=True)
    resistance = float(parallel_resistance(band.coil.inductance, frequency=DIAL, q=band.coil.q))
    assert float(noise["onoise_spectrum"][0].real) == pytest.approx(thermal_density(resistance), rel=0.01)
    # and it is the tank's loss that makes it
    assert float(noise["onoise_rtank"][0].real) == pytest.approx(thermal_density(resistance), rel=0.01)


@pytest.fixture(scope="module")
def found(bench: Bench, demo: Build) -> onset.Onset:
    return onset.run(Receiver(demo, bench).at(demo.bands[2], DIAL))


def _noise(
    bench: Bench, build: Build, cards: Cards, found: onset.Onset, rotation: float
) -> signal_noise.SignalNoise:
    band = build.bands[2]
    _, tube = detection_figure.run(Receiver(build, bench, cards=cards).at(band, DIAL), rotation=rotation)
    return signal_noise.run(
        Receiver(build, bench, cards=cards).at(band, search=found), rotation=rotation, tube=tube
    )


def test_regeneration_leaves_signal_over_noise_alone(
    bench: Bench, demo: Build, demo_cards: Cards, found: onset.Onset
) -> None:
    assert found.onset is not None
    assert found.at_nine_tenths is not None
    high, low = found.at_nine_tenths.rotation, 0.5 * found.at_nine_tenths.rotation
    near = _noise(bench, demo, demo_cards, found, high)
    far = _noise(bench, demo, demo_cards, found, low)
    assert near.gain == pytest.approx(0.9, abs=0.01)
    assert far.gain < 0.75
    # what the resistors make against the signal is the same circuit's; the tube's own share moves with its
    # volts and is told apart. 2 %: the two peaks lie on grid points of a sweep of 1/40 of the bandwidth.
    assert near.aerial_gain is not None
    assert far.aerial_gain is not None
    assert near.circuit_ohm / near.aerial_gain**2 == pytest.approx(
        far.circuit_ohm / far.aerial_gain**2, rel=0.02
    )


def test_weakest_signal_is_the_sum_of_both_noises(
    bench: Bench, demo: Build, demo_cards: Cards, found: onset.Onset
) -> None:
    assert found.at_nine_tenths is not None
    one = _noise(bench, demo, demo_cards, found, found.at_nine_tenths.rotation)
    assert [w.bandwidth_hz for w in one.weakest] == [500.0, 3000.0]
    for weakest in one.weakest:
        alone = signal_above_noise(
            one.tube_ohm + one.circuit_ohm, bandwidth=weakest.bandwidth_hz, ratio_db=10.0
        )
        assert weakest.grid_v == pytest.approx(alone, rel=1e-9)
        assert weakest.aerial_v == pytest.approx(alone / one.aerial_gain, rel=1e-9)  # type: ignore[operator]
    assert one.weakest[1].grid_v / one.weakest[0].grid_v == pytest.approx(6.0**0.5, rel=1e-9)
    assert 0.0 < one.tank_share < 1.0


def test_without_an_aerial_the_grid_alone_is_told(
    bench: Bench, demo: Build, demo_cards: Cards, found: onset.Onset
) -> None:
    build = demo.model_copy(update={"aerial": None})
    retuned = onset.run(Receiver(build, bench).at(build.bands[2], DIAL))
    assert retuned.at_nine_tenths is not None
    one = _noise(bench, build, demo_cards, retuned, retuned.at_nine_tenths.rotation)
    assert (one.aerial_gain, {w.aerial_v for w in one.weakest}) == (None, {None})
    # the aerial's resistance damps the tank: without it the tank alone makes more noise
    with_aerial = _noise(bench, demo, demo_cards, found, found.at_nine_tenths.rotation)  # type: ignore[union-attr]
    assert one.tank_share > with_aerial.tank_share
