"""Audio response against closed forms of the stages at 1 kHz, and the -3 dB points of known filters."""

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.circuit.registry import Cards
from receiver_sim.engine import Bench
from receiver_sim.physics.potentiometer import wiper_fraction
from receiver_sim.physics.tube_law import small_signal
from receiver_sim.receiver import Receiver
from receiver_sim.schema import Build
from receiver_sim.studies import audio_response
from receiver_sim.studies.audio_response import corners
from tests.decks import receiver_deck


def _parallel(*impedances: complex) -> complex:
    return 1.0 / sum(1.0 / z for z in impedances)


def _wound(s: complex, henry: float) -> complex:
    """An iron-cored winding beside the loss of its laminations: 12 rho/(mu t^2) ohm a henry."""
    iron = 12 * 5e-7 / (4e-7 * np.pi * 500 * 0.35e-3**2) * henry
    return _parallel(s * henry, iron)


def test_gain_at_1_khz_is_that_of_the_two_stages(bench: Bench, demo: Build, demo_cards: Cards) -> None:
    """gm times plate load, divider of the volume control, mu Z/(rp + Z): textbook, element by element."""
    band, rotation = demo.bands[1], 0.3
    dial = api.dial_frequencies(band)[1]
    result = audio_response.run(Receiver(demo, bench).at(band, dial), rotation=rotation)
    deck = receiver_deck(demo, demo_cards, band=band, dial_hz=dial, rotation=rotation)
    with bench.session(deck) as session:
        v = {name: float(values[0]) for name, values in session.op().items()}
    pentode = small_signal(demo_cards.detector.law(), grid_v=v["grid"], plate_v=v["plate"], screen_v=v["scr"])
    triode = small_signal(
        demo_cards.audio.law(), grid_v=v["agrid"] - v["acath"], plate_v=v["aplate"] - v["acath"]
    )
    s = 2j * np.pi * 1000.0
    det, aud, load = demo.detector, demo.audio, demo.detector.load
    pot = aud.volume.pot
    low = float(wiper_fraction(aud.volume.setting, law=aud.volume.law, mid=aud.volume.mid)) * pot
    # Miller capacitance of the triode at its grid: Cgk + Cgp (1 + A), with A the gain below
    phone = demo.phones[0]
    plate_load = _parallel(
        _wound(s, aud.output.inductance) + aud.output.resistance,
        1 / (s * aud.output.capacitance),
        phone.resistance + s * phone.inductance + 1 / (s * phone.capacitor),
        1 / (s * (demo_cards.audio.capacitances.cpk + demo_cards.audio.capacitances.cgp)),
    )
    stage = triode.mu * plate_load / (1 / triode.conductance + plate_load)
    miller = demo_cards.audio.capacitances.cgk + demo_cards.audio.capacitances.cgp * (1 + stage)
    grid = 1 / (s * miller) + aud.grid_stopper
    wiper = _parallel(low, grid)
    volume = pot - low + wiper
    first = _parallel(
        _wound(s, load.inductance) + load.resistance,
        1 / (s * load.capacitance),
        load.shunt,
        1 / (s * (det.rf_filter.plate_capacitor + det.rf_filter.output_capacitor + det.strays.plate)),
        1 / (s * demo_cards.detector.capacitances.cpk),
        1 / pentode.conductance,
        1 / (s * aud.coupling) + volume,
    )
    coupled = volume / (volume + 1 / (s * aud.coupling)) * wiper / volume
    across = phone.resistance + s * phone.inductance
    phones = across / (across + 1 / (s * phone.capacitor))
    expected = abs(pentode.gm * first * coupled * stage * phones)
    # left out: cathode impedance at 1 kHz (33 uF: 5 ohm of 500), decoupling, RF choke; together below 2 %
    assert result.outputs[0].gain_1khz == pytest.approx(expected, rel=0.02)


def test_source_impedance_is_rp_in_parallel_with_the_choke(
    bench: Bench, demo: Build, demo_cards: Cards
) -> None:
    band = demo.bands[0]
    dial = band.from_
    result = audio_response.run(Receiver(demo, bench).at(band, dial), rotation=0.2)
    deck = receiver_deck(demo, demo_cards, band=band, dial_hz=dial, rotation=0.2)
    with bench.session(deck) as session:
        v = {name: float(values[0]) for name, values in session.op().items()}
    law = demo_cards.audio.law()
    triode = small_signal(law, grid_v=v["agrid"] - v["acath"], plate_v=v["aplate"] - v["acath"])
    s = 2j * np.pi * 1000.0
    output = demo.audio.output
    inner = _parallel(
        1 / triode.conductance,
        _wound(s, output.inductance) + output.resistance,
        1 / (s * output.capacitance),
    )
    expected = abs(_parallel(inner + 1 / (s * demo.phones[0].capacitor), demo.phones[0].drain))
    # feedback through Cgp with the volume control as grid impedance, and the cathode's by-pass: below 3 %
    assert result.outputs[0].source_ohm == pytest.approx(expected, rel=0.03)


def test_transformer_energy_and_ratio(bench: Bench, cabin: Build) -> None:
    """Two loaded secondaries: volts in the ratio of turns less winding drops, R/(R + Rw) at 1 kHz."""
    band = cabin.bands[0]
    result = audio_response.run(Receiver(cabin, bench).at(band, band.from_), rotation=0.5)
    windings = {s.name: s for s in cabin.audio.output.secondaries}
    inner = []
    for output, phone in zip(result.outputs, cabin.phones, strict=True):
        winding = windings[phone.at]
        load = phone.resistance + 2j * np.pi * 1000.0 * phone.inductance
        inner.append(output.gain_1khz / abs(load / (load + winding.resistance)) / winding.ratio)
    # both secondaries see the same primary volts; interpolation between 30 points a decade is the only error
    assert inner[0] == pytest.approx(inner[1], rel=1e-4)


def test_corners_of_a_band_pass() -> None:
    """RC corners at 87 Hz and 14.3 kHz: |H| falls 3 dB below 1 kHz where the closed form says so."""

    def band_pass(f: np.ndarray) -> np.ndarray:
        return np.abs(1 / (1 + 87 / (1j * f)) / (1 + 1j * f / 14300))

    f = np.logspace(1, 5, 121)
    low, high = corners(f, band_pass(f))
    fine = np.logspace(1, 5, 400001)
    inside = fine[band_pass(fine) > band_pass(np.array([1000.0]))[0] / np.sqrt(2)]
    # linear interpolation in dB over a thirtieth of a decade: below 0.2 %
    assert low == pytest.approx(inside[0], rel=2e-3)
    assert high == pytest.approx(inside[-1], rel=2e-3)


def test_corners_say_none_where_the_response_does_not_fall() -> None:
    f = np.logspace(1, 5, 121)
    low, high = corners(f, np.abs(1 / (1 + 1j * f / 20000)))
    assert low is None
    # |H(1 kHz)|^2 = 1/(1 + 1/400): it halves at 20 kHz sqrt(1 + 2/400); interpolation 0.2 %
    assert high == pytest.approx(20000 * np.sqrt(1 + 2 / 400), rel=2e-3)
