"""Bandwidth against loop gain: the textbook's Q' = Q/(1 - T)."""

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.circuit.registry import Cards
from receiver_sim.engine import Bench
from receiver_sim.measure import onset
from receiver_sim.receiver import Receiver
from receiver_sim.schema import Build
from receiver_sim.studies import loop_gain, selectivity
from tests.studies.ideal import bare, ideal


def test_bandwidth_shrinks_as_one_minus_t(bench: Bench, demo: Build, demo_cards: Cards) -> None:
    build, cards = ideal(demo, tap=0.012), bare(demo_cards)
    band = build.bands[1]
    dial = api.dial_frequencies(band)[1]
    found = onset.run(Receiver(build, bench, cards=cards).at(band, dial))
    assert found.tuning_farad is not None
    curve, _ = loop_gain.run(
        Receiver(build, bench, cards=cards).at(band, dial),
        tuning=found.tuning_farad,
        rotations=np.linspace(0.0, 1.0, 201),
    )
    result = selectivity.run(
        Receiver(build, bench, cards=cards).at(band, dial), tuning=found.tuning_farad, curve=curve
    )
    assert result is not None
    assert result.gain[-1] == 0.98
    # BW' = BW (1 - T), textbook (memory-high). The setting for a gain is interpolated in a sweep of 201
    # points (1e-4 of T; at T = 0.98 that is 0.5 %) and the tube's screen loads the tap by some 0.5 %.
    assert result.bandwidth_hz == pytest.approx(dial / band.coil.q * (1 - result.gain), rel=0.03)
    assert result.unloaded_bandwidth_hz == pytest.approx(dial / band.coil.q, rel=0.02)
    # gain times bandwidth stays constant (seen, receiver.md)
    product = result.peak_ohm * result.bandwidth_hz
    assert product == pytest.approx(np.full_like(product, product[0]), rel=0.02)
    # the curve of a single resonance, |Z| = Z0/sqrt(1 + (2 df/BW)^2) (textbook), within 15 kHz of the dial;
    # 3 %: the setting for a gain, as above, and straight lines between the points of a sweep
    assert result.curve_gain == tuple(g for g in selectivity.CURVES if g in result.gain) != ()
    for gain, ohm in zip(result.curve_gain, result.curves_ohm, strict=True):
        at = int(np.flatnonzero(result.gain == gain)[0])
        detuned = 2.0 * result.offset_hz / result.bandwidth_hz[at]
        near = np.abs(result.offset_hz) < 15e3
        expected = result.peak_ohm[at] / np.sqrt(1.0 + detuned**2)
        assert ohm[near] == pytest.approx(expected[near], rel=0.03)


def test_worked_case_of_a_multiplied_tank() -> None:
    """3 kHz at 12 MHz needs Q 4000, a Q 100 tank multiplied 40 times (seen, receiver.md): T = 1 - 1/40."""
    gain = 1 - 1 / 40
    assert 12e6 / 100 * (1 - gain) == pytest.approx(3e3)
    rows = [(gain, 0.5, 3e3, 1e6), (0.5, 0.4, 60e3, 5e4), (0.9, 0.45, 12e3, 2e5)]
    from receiver_sim.results.onset import Selectivity

    class _Band:
        name = "x"

    result = selectivity.reduce(rows, band=_Band(), dial_hz=12e6, curves={})  # type: ignore[arg-type]
    assert isinstance(result, Selectivity)
    assert result.unloaded_bandwidth_hz == pytest.approx(120e3)
