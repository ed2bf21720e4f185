"""Signals in the deck: tables that add up to the modulation, no breakpoints, smooth between samples."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from receiver_sim.circuit import signals
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.signals import PIECE, POINTS_HZ, Sampled, Signal, pieces, signal_block
from receiver_sim.circuit.writer import text as written
from receiver_sim.engine import Deck
from tests.batch import batch_run

STEP = 1.0 / 24_000.0


def tone(hertz, seconds=0.5, rate=8000.0):
    return Sampled(rate, np.sin(2.0 * np.pi * hertz * np.arange(round(seconds * rate)) / rate))


def table_at(table, times):
    """Read a table as ngspice's manual has `pwl`: straight between its points and on beyond its ends."""
    t, v = np.array(table[::2]), np.array(table[1::2])
    k = np.clip(np.searchsorted(t, times, side="right") - 1, 0, t.size - 2)
    return v[k] + (v[k + 1] - v[k]) * (times - t[k]) / (t[k + 1] - t[k])


@pytest.mark.parametrize("size", [2, 3, PIECE, PIECE + 1, PIECE + 2, 2 * PIECE, 3 * PIECE + 7])
def test_pieces_add_up_to_the_straight_lines(size):
    """At the points, between them, across the seams; steps of unequal length."""
    rng = np.random.default_rng(3)
    times = np.concatenate([[0.0], np.cumsum(rng.uniform(1e-5, 1e-3, size - 1))])
    values = rng.uniform(-1.0, 1.0, size)
    tables = pieces(times, values)
    assert len(tables) == max(1, (size - 2) // PIECE + 1)
    assert all(np.all(np.diff(table[::2]) > 0.0) for table in tables)
    places = np.concatenate([times, rng.uniform(0.0, times[-1], 5000)])
    total = sum(table_at(table, places) for table in tables)
    # times are kept to 0.5 ns: of the shortest interval of 10 us that is 5e-5 of a change of 2
    assert total == pytest.approx(np.interp(places, times, values), abs=2.5e-4)


def part_deck(signal, *, start, stop, old=False):
    """Return a deck of the sources alone, the tank a resistor at each axis; `old`: as a voltage source."""
    text = "Rti ti 0 1\nRtq tq 0 1\n"
    if not old:
        block = signal_block(signal, 0, amperes_per_volt=1.0, start=start, stop=stop)
        return Deck("signal", text + written(Circuit("signal", block.elements)))
    assert signal.audio is not None
    times = np.arange(start, stop, 1.0 / signal.audio.rate)
    values = signal.modulation(times).real
    rows = "\n".join(f"+ {t - start:.9g} {v:.9g}" for t, v in zip(times, values, strict=True))
    return Deck("signal", f"{text}V1 ti 0 pwl(\n{rows}\n+ )")


def ran(bench, deck, seconds):
    with bench.session(deck) as session:
        return session.tran(STEP, seconds, 0.0, STEP)


@pytest.mark.parametrize(
    "signal",
    [
        Signal(1.0, text="TEST", words_per_minute=25.0, start_s=0.02),
        Signal(1.0, kind="am", audio=tone(900.0), depth=0.8, start_s=0.03),
        Signal(1.0, kind="ssb", audio=tone(1300.0), start_s=0.03),
        Signal(1.0, kind="ssb", audio=tone(1300.0), start_s=0.0, fade_db=12.0, fade_s=0.5),
    ],
    ids=["keyed", "am", "ssb", "ssb fading"],
)
def test_ngspice_follows_the_modulation_without_breakpoints(bench, signal):
    """V(mi), V(mq) at every accepted point; no more points than the longest step makes.

    The run takes 0.2 s / STEP points and some 30 more to begin and to end with; a breakpoint at every corner
    would make it two to three times as many (next test).
    """
    start, seconds = 0.1, 0.2
    run = ran(bench, part_deck(signal, start=start, stop=start + seconds), seconds)
    times = signal.times(start, start + seconds)
    course = signal.modulation(times)
    for name, values in (("mi0", course.real), ("mq0", course.imag)):
        assert run[name] == pytest.approx(np.interp(run["time"] + start, times, values), abs=2e-5)
    # there is no capacitor in the deck: nothing but breakpoints and the longest step can rule the step
    assert run["time"].size < seconds / STEP + 60


def test_a_voltage_source_would_make_breakpoints(bench):
    """What the pieces are for: the same speech as corners of a voltage source, at 8 kHz only."""
    signal = Signal(1.0, kind="am", audio=tone(900.0), start_s=0.0)
    run = ran(bench, part_deck(signal, start=0.1, stop=0.3, old=True), 0.2)
    assert run["time"].size > 1.8 * 0.2 / STEP


@pytest.mark.parametrize("hertz", [300.0, 1000.0, 2000.0, 3000.0])
def test_between_the_samples_runs_the_tone(hertz):
    """Band-limited, not straight: at 3 kHz straight lines between 8 kHz samples lose sinc(3/8)^2, 38 %."""
    audio = tone(hertz)
    rate = audio.rate * audio.finer
    assert rate == POINTS_HZ
    # a quarter of the record away from its ends, where the Hilbert transform of a cut tone is not its own
    times = np.arange(round(0.125 * rate), round(0.375 * rate)) / rate
    phase = 2.0 * np.pi * hertz * times
    # scipy's window of 60 dB (its documentation: Kaiser, 5.0)
    assert audio.course(times) == pytest.approx(np.sin(phase), abs=5e-3)
    assert audio.course(times, quadrature=True) == pytest.approx(-np.cos(phase), abs=5e-3)
    # piece by piece it is the same
    part = times[1000:1100]
    assert audio.course(part) == pytest.approx(audio.course(times)[1000:1100], abs=1e-12)
    assert audio.course(times + 0.5).tolist() == [0.0] * times.size


def test_points_only_where_something_changes():
    keyed = Signal(1.0, text="E", words_per_minute=12.0, start_s=0.1)
    # two flanks of 5 ms, with the points at both ends of each and of the stretch
    assert keyed.times(0.0, 0.4).size == 2 * (round(signals.EDGE_S * POINTS_HZ) + 1) + 2
    assert keyed.times(0.3, 0.4).tolist() == [0.3, 0.4]
    voice = Signal(1.0, kind="am", audio=tone(500.0, seconds=0.1), start_s=0.2)
    times = voice.times(0.0, 1.0)
    assert times[times > 0.3 + 1.0 / POINTS_HZ].tolist() == [1.0]
    assert voice.modulation(times)[-1] == 1.0  # the carrier stays


def test_a_text_is_keyed_over_and_over_with_a_words_gap_between():
    """ITU-R M.1677-1: between words seven dots; at 12 words a minute (PARIS, 50 dots) a dot is 0.1 s. 'A' is
    .-: down from 0 to 1 and from 2 to 5 dots, and again seven later, from 12 on."""
    keyed = Signal(1.0, text="A", words_per_minute=12.0, start_s=0.3)
    edges = [0.0, 1.0, 2.0, 5.0, 12.0, 13.0, 14.0, 17.0, 24.0]
    middles = 0.3 + 0.1 * np.array([0.5 * (a + b) for a, b in pairwise(edges)])
    assert keyed.modulation(middles).real == pytest.approx([1, 0, 1, 0, 1, 0, 1, 0], abs=1e-12)
    # half way up the raised cosine, 2.5 ms after each edge
    flanks = 0.3 + 0.1 * np.array(edges) + 0.5 * signals.EDGE_S
    assert keyed.modulation(flanks).real == pytest.approx([0.5] * 9, abs=1e-9)


def test_speech_moves_the_carrier_by_its_depth():
    """1 + m s(t): of a tone at 0.35 the carrier runs between 0.65 and 1.35 (textbook)."""
    signal = Signal(1.0, kind="am", audio=tone(400.0), depth=0.35, start_s=0.0)
    course = signal.modulation(np.arange(0.1, 0.4, 1e-5)).real
    assert (course.min(), course.max()) == pytest.approx((0.65, 1.35), abs=2e-3)


def test_a_fade_takes_its_decibels_off_the_volts():
    """15 dB at the deepest, half a period on: volts by 10^(-15/20), 0.178; all is back a period on."""
    signal = Signal(1.0, fade_db=15.0, fade_s=2.0, start_s=0.0)
    found = abs(signal.modulation(np.array([0.5, 1.0, 1.5, 2.0])))
    # a quarter of a period on, half the decibels
    assert found == pytest.approx([10 ** (-7.5 / 20), 10 ** (-0.75), 10 ** (-7.5 / 20), 1.0], rel=1e-9)


@pytest.mark.parametrize(("side", "sense"), [("upper", 1.0), ("lower", -1.0)])
def test_a_tone_in_a_sideband_is_one_line_above_or_below(side, sense):
    """Single sideband of sin(w t) turns with exp(+j w t) above the carrier, exp(-j w t) below it."""
    signal = Signal(1.0, kind="ssb", audio=tone(500.0), sideband=side, start_s=0.0)
    times = np.arange(0.2, 0.3, 1.0 / 24_000.0)
    turned = signal.modulation(times) * np.exp(-2j * np.pi * sense * 500.0 * times)
    assert abs(turned) == pytest.approx(np.ones_like(times), abs=1e-2)
    assert turned == pytest.approx(np.full_like(turned, turned.mean()), abs=1e-2)


def test_the_tone_of_a_station_runs_on_where_a_stretch_begins(bench):
    """Sounds are made in stretches; 1 + m sin(2 pi f t) with t from the beginning of the sound. 0.1307 s are
    52.28 cycles of 400 Hz."""
    signal = Signal(1.0, kind="am", tone_hz=400.0, depth=0.3, start_s=0.0)
    run = ran(bench, part_deck(signal, start=0.1307, stop=0.1507), 0.02)
    due = 1.0 + 0.3 * np.sin(2.0 * np.pi * 400.0 * (run["time"] + 0.1307))
    assert run["tone0"] == pytest.approx(due, abs=1e-4)


def test_other_rates():
    """Faster audio keeps its own rate, slower is filled up to POINTS_HZ or more."""
    assert tone(100.0, rate=48_000.0).finer == 1
    assert tone(100.0, rate=11_025.0).finer == 3
    fast = Signal(1.0, kind="am", audio=tone(100.0, rate=48_000.0), start_s=0.0)
    assert np.diff(fast.times(0.1, 0.2)).max() < 1.01 / 48_000.0


def test_batch_ngspice_reads_the_same_tables(bench, tmp_path):
    """More than one piece (0.1 s of 24 000 points a second), in the stock program."""
    signal = Signal(1.0, kind="ssb", audio=tone(700.0), offset_hz=50.0, start_s=0.0)
    deck = part_deck(signal, start=0.1, stop=0.2)
    assert deck.text.count("pwl(time") == 2 * 3
    run = ran(bench, deck, 0.1)
    batch = batch_run(deck.export([f".tran {STEP!r} 0.1 0 {STEP!r}"]), tmp_path)
    assert batch["time"].size == run["time"].size
    for name in ("time", "mi0", "mq0", "ti", "tq"):
        own = batch[name if name == "time" else f"v({name})"]
        assert own == pytest.approx(run[name], rel=1e-9, abs=1e-12)
