"""Readings at pins as meters give them, held by a hand-written deck in stock ngspice and by closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.api import _sheet
from receiver_sim.builds import cards_for, shipped_build
from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.factors import drawn, factors_of
from receiver_sim.circuit.sets import draws, moved_by
from receiver_sim.circuit.writer import text
from receiver_sim.measure.loaded import loaded
from receiver_sim.physics.meters import METERS, meter_named, read
from receiver_sim.receiver import Receiver
from receiver_sim.studies import pin_chart
from tests.batch import batch_run


@pytest.fixture(scope="module")
def build():
    return shipped_build("tickler")


@pytest.fixture(scope="module")
def chart(build, bench):
    band = build.bands[0]
    return pin_chart.run(Receiver(build, bench).at(band, band.from_), rotation=0.4, setting="for a test")


def row(chart, socket: str, words: str):
    return next(p for p in chart.pins if p.socket == socket and p.words == words)


def batch(deck: str, node: str, folder) -> float:
    """Return the volts of a node as stock ngspice finds them."""
    return float(batch_run(f"{deck}.op\n.end\n", folder)[f"v({node})"][0])


@pytest.mark.parametrize(("words", "node"), [("plate", "plate"), ("screen", "scr"), ("grid", "grid")])
def test_readings_equal_stock_ngspice_with_the_meter_soldered_in(build, chart, words, node, tmp_path):
    """The same set in batch, a resistor to ground typed in by hand where the meter is."""
    band = build.bands[0]
    circuit = receiver_circuit(build, cards_for(build), band=band, dial_hz=band.from_, rotation=0.4)
    for reading in row(chart, "detector", words).with_tube:
        per_volt = {"1 kohm/V": 1e3, "20 kohm/V": 2e4}.get(reading.meter)
        ohm = 1e7 if per_volt is None else per_volt * reading.full_scale_v
        deck = f"by hand\n{text(circuit)}\nRhand {node} 0 {ohm:.12g}\n"
        # both to ngspice's own tolerance, reltol 1e-6
        assert reading.reading_v == pytest.approx(batch(deck, node, tmp_path), rel=1e-5, abs=1e-6)


def test_a_divider_written_by_hand_in_stock_ngspice(chart, tmp_path):
    """Detector pulled: what is left at its screen is a chain of resistors on a 68 V zener, typed in by hand.

    Values are those of the build's file; the audio tube's current is put in as a source of the chart's own
    cathode volts over its resistor, 8.35 V over 1.8 kohm; it moves the supply by 2 V, the zener by little.
    """
    amps = row(chart, "audio", "cathode").true_v / 1800.0
    share = 0.4  # linear track of 47 kohm
    deck = (
        f"screen of the detector\nV1 a 0 210\nR1 a b 470\nRbl b 0 56k\nIaud b 0 {amps:.9g}\nRd b z 18k\n"
        "Dz 0 z dz\n.model dz D(IS=1e-14 BV=67.425865 IBV=0.004 RS=143.53375)\n"
        f"Rt z p 15k\nRu p w {47e3 * (1 - share)}\nRl w q {47e3 * share}\nRb q 0 1k\nRs w s 4.7k\n"
        "Rm s 0 {}\n"
    )
    for reading, ohm in zip(row(chart, "detector", "screen").without_tube, (5e4, 1e6, 1e7), strict=True):
        by_hand = batch(deck.replace("{}", f"{ohm}"), "s", tmp_path)
        assert reading.reading_v == pytest.approx(by_hand, rel=2e-3)


def test_source_resistance_from_two_readings(chart):
    """V = E Rm/(Rm + Rs): two meters at the plate of the pulled detector give Rs, by hand the load of
    100 kohm, the choke's 35 ohm and the supply's 470 beside its bleeder.
    """
    first, second = row(chart, "detector", "plate").without_tube[:2]
    assert (first.full_scale_v, second.full_scale_v) == (250.0, 250.0)
    low, high = 250e3, 5e6
    ratio = second.reading_v / first.reading_v
    source = (ratio - 1.0) / (1.0 / low - ratio / high)
    assert source == pytest.approx(100e3 + 35.0 + 470.0, rel=3e-3)  # the audio tube is a little of a load


def test_pulled_tubes_carry_nothing(chart):
    assert all(abs(r.reading_v) < 1e-3 for r in row(chart, "audio", "cathode").without_tube)
    assert all(abs(r.reading_v) < 1e-3 for r in row(chart, "detector", "grid").without_tube)


def test_resistance_to_ground_by_hand(chart):
    """Control fully down, regulator open, supply open: worked from the values of the build's file."""
    control = 15e3 + 47e3 + 1e3
    supply = 1.0 / (1.0 / 56e3 + 1.0 / (18e3 + control))
    by_hand = {
        ("", "plate supply"): supply,
        ("", "regulator"): 1.0 / (1.0 / control + 1.0 / (18e3 + 56e3)),
        ("detector", "plate"): 100e3 + 35.0 + supply,
        ("detector", "grid"): 1.8e6,
        ("audio", "cathode"): 1.8e3,
        ("audio", "plate"): supply + 3.3e3 + 1.4e3,
        # from the wiper, at the cold end: 1 kohm beside the rest of the chain, and the stopper
        ("detector", "screen"): 4.7e3 + 1.0 / (1.0 / 1e3 + 1.0 / (62e3 + 18e3 + 56e3)),
    }
    for (socket, words), ohm in by_hand.items():
        # the wiper's contact of 0.1 ohm and leaks of 200 Mohm are in the circuit
        assert row(chart, socket, words).off_ohm == pytest.approx(ohm, rel=1e-3), words


def test_a_meter_is_read_from_its_highest_range_down():
    """A source of 90 V behind 100 kohm: V = 90 Rm/(Rm + 100k), worked for each range."""
    meter = meter_named("20kohm/v")

    def behind(ohm: float) -> float:
        return 90.0 * ohm / (ohm + 1e5)

    volts, full_scale = read(meter, behind)
    # on 250 V: 5 Mohm, 88.2 V; the 50 V range would hang at its stop
    assert (volts, full_scale) == (pytest.approx(90.0 * 5e6 / 5.1e6), 250.0)
    volts, full_scale = read(METERS[0], lambda ohm: 9.2 * ohm / (ohm + 1e5))
    # 50 V range: 50 kohm, 3.07 V; on 10 V 10 kohm, 0.836 V
    assert (volts, full_scale) == (pytest.approx(9.2 * 1e4 / 1.1e5), 10.0)
    assert read(METERS[2], behind)[1] == 200.0


def test_ranges_are_those_of_sets_that_are_built_whole(build, bench, monkeypatch):
    """Against receivers assembled anew of the drawn parts, where the sheet alters a loaded deck."""
    monkeypatch.setattr(_sheet, "SETS", 5)
    found = api.sheet(build, bench=bench).charts[1]
    cards = cards_for(build)
    factors = factors_of(build, build, cards)
    seen = []
    for line in draws(factors, seed=_sheet.SEED, start=0, stop=5):
        one, its = drawn(build, cards, factors, moved_by(factors, line))
        # the band of the sheet's charts is that in the middle of the list
        circuit = receiver_circuit(
            one, its, band=one.bands[1], dial_hz=one.bands[1].middle_hz, rotation=found.rotation
        )
        with loaded(bench, circuit) as on:
            seen.append(on.volts())
    for socket, words in (("detector", "plate"), ("detector", "screen"), ("audio", "cathode")):
        pin = row(found, socket, words)
        low, high = np.percentile([volts[pin.node] for volts in seen], (10.0, 90.0))
        # tolerance of the operating point (1e-4 of some volts); the dial draws no direct current
        assert pin.low_v == pytest.approx(low, rel=1e-3) and pin.high_v == pytest.approx(high, rel=1e-3)
        assert pin.high_v > pin.low_v


def test_a_range_is_that_of_eight_of_ten_sets(chart):
    """Eleven sets a volt apart: the second and the last but one (percentiles of an arithmetic row)."""
    node = row(chart, "detector", "plate").node
    ranged = pin_chart.with_ranges(chart, [{node: 100.0 + n} for n in range(11)], ends=(10.0, 90.0))
    pin = row(ranged, "detector", "plate")
    assert (pin.low_v, pin.high_v) == (pytest.approx(101.0), pytest.approx(109.0))
    assert pin_chart.with_ranges(chart, [], ends=(10.0, 90.0)) == chart


def test_an_unknown_meter_names_those_there_are():
    with pytest.raises(KeyError, match="no meter 'VTVM'; there are: 1 kohm/V, 20 kohm/V, 10 Mohm"):
        meter_named("VTVM")
