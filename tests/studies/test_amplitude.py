"""Amplitude against control: closed forms, energy balance, the loop gain's onset, phases and steps."""

from __future__ import annotations

import dataclasses
import math
import re
import subprocess

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

from receiver_sim.netlist.envelope import balance_deck, with_screen_resistance
from receiver_sim.netlist.mode import Mode, tuned_mode
from receiver_sim.netlist.phases import Swings
from receiver_sim.netlist.polynomial import (
    Polynomial,
    polynomial_balance_deck,
    polynomial_envelope_deck,
)
from receiver_sim.physics.potentiometer import wiper_fraction
from receiver_sim.results.base import Status
from receiver_sim.results.envelope import OnsetKind
from receiver_sim.results.onset import ControlSetting
from receiver_sim.studies import amplitude, onset
from tests.netlist.test_phases import separate

TANK = Mode(
    reference_hz=7e6, decay=2e5, offset_rad=0.0, residue=4e9, grid=1.0, cathode=0.05, plate=0.0, screen=0.0,
    aerial=None, misfit=0.0,
)  # fmt: skip
LOSS = TANK.decay / abs(TANK.residue)  # conductance, 50 uS


class Plain:
    """A control whose wiper, rotation and screen volts are all the same number."""

    degrees = 1.0

    def setting(self, wiper: float) -> ControlSetting:
        return ControlSetting(wiper, wiper)


def weak_bias(build):
    """The demo with a grid leak so low that grid current loads the tank until oscillation itself biases the
    grid off."""
    return build.model_copy(update={"detector": build.detector.model_copy(update={"grid_leak": 200e3})})


def found(build, cards, bench, index, **kwargs):
    band = build.bands[index]
    search = onset.run(build, cards, bench, band=band, dial_hz=math.sqrt(band.from_ * band.to))
    return search, amplitude.run(build, cards, bench, band=band, onset=search, **kwargs)


# ------------------------------------------------------------------ closed forms


def test_van_der_pol_amplitude(bench):
    """i = -G v (1 - v^2/3) about a balanced tank: amplitude 2 (Van der Pol 1920)."""
    element = Polynomial(linear=LOSS, cubic=-LOSS / 3.0)
    raw = amplitude.sweep(bench, polynomial_balance_deck(element, TANK, guess=1.0), guess=1.0)
    # balance x G + 3/4 (-G/3) a^2 = G, so x = 1 + a^2/4, and a = 2 at x = 2
    inside = raw.amplitude < 0.3  # the control's x goes beyond 1, so the sweep ends soon
    assert raw.wiper[inside] == pytest.approx(1.0 + raw.amplitude[inside] ** 2 / 4.0, rel=1e-6)
    deck = polynomial_envelope_deck(element, TANK, times=[0.0, 1.0], controls=[2.0, 2.0])
    with bench.session(deck) as session:
        session.alter("isigi", amplitude.kick(1e-3, TANK), "pwl")
        run = session.tran(1e-6, 2e-4, 0.0, 1e-6, vectors=["amp"])
    assert run["amp"][-1] == pytest.approx(2.0, rel=0.01)


def test_van_der_pol_growth(bench):
    """a(t) = 2/sqrt(1 + (4/a0^2 - 1) exp(-2 s t)), s = decay (x - 1): the averaged equation in closed
    form."""
    element = Polynomial(linear=LOSS, cubic=-LOSS / 3.0)
    deck = polynomial_envelope_deck(element, TANK, times=[0.0, 1.0], controls=[2.0, 2.0])
    with bench.session(deck) as session:
        session.alter("isigi", amplitude.kick(1e-2, TANK), "pwl")
        run = session.tran(2e-7, 1e-4, 0.0, 2e-7, vectors=["amp"])
    start = int(np.argmax(run["amp"] > 0.02))
    a0, t = run["amp"][start], run["time"][start:] - run["time"][start]
    exact = 2.0 / np.sqrt(1.0 + (4.0 / a0**2 - 1.0) * np.exp(-2.0 * TANK.decay * t))
    assert run["amp"][start:] == pytest.approx(exact, rel=0.01)


def test_fold_and_jump_of_the_fifth_order(bench):
    """x g1 = G - 3/4 g3 a^2 + 5/8 g5 a^4: fold at a^2 = 0.6 g3/g5, jump from onset to a^2 = 1.2 g3/g5."""
    g3, g5 = 0.4 * LOSS, 0.2 * LOSS
    element = Polynomial(linear=1.25 * LOSS, cubic=g3, quintic=-g5)
    raw = amplitude.sweep(bench, polynomial_balance_deck(element, TANK, guess=0.8), guess=0.8)
    jump = amplitude.find_jump(raw.amplitude, wiper=raw.wiper, turn=Plain())
    assert jump is not None
    assert jump.up.rotation == pytest.approx(0.8, rel=0.01)
    assert jump.down.rotation == pytest.approx((LOSS - 0.225 * g3**2 / g5) / (1.25 * LOSS), rel=0.01)
    assert jump.falls_from_v == pytest.approx(math.sqrt(0.6 * g3 / g5), rel=0.01)
    assert jump.to_v == pytest.approx(math.sqrt(1.2 * g3 / g5), rel=0.01)


def test_hysteresis_of_the_fifth_order_in_time(bench):
    """Slowly up and down, the amplitude jumps in at onset and out at the fold."""
    g3, g5 = 0.4 * LOSS, 0.2 * LOSS
    element = Polynomial(linear=1.25 * LOSS, cubic=g3, quintic=-g5)
    low, high, span = 0.55, 0.85, 0.2
    deck = polynomial_envelope_deck(element, TANK, times=[0.0, span / 2.0, span], controls=[low, high, low])
    with bench.session(deck) as session:
        session.alter("isigi", 1e-10)  # a signal so weak that it only keeps the amplitude from zero
        run = session.tran(2e-5, span, 0.0, 2e-5, vectors=["amp", "knob"])
    way_up = run["time"] < span / 2.0
    in_at = run["knob"][way_up][np.argmax(run["amp"][way_up] > 0.5)]
    out_at = run["knob"][~way_up][np.argmax(run["amp"][~way_up] < 0.5)]
    # a ramp of 3/s passes onset late: the growth 1.25 decay dx has to gather 6 e-folds, at dx = 0.013; the
    # fold, by less
    assert in_at == pytest.approx(0.8, abs=0.02)
    assert out_at == pytest.approx(0.656, abs=0.02)


# ------------------------------------------------------------------ the receivers


@pytest.mark.parametrize("which", ["demo", "cabin"])
def test_vanishing_amplitude_is_the_onset_of_the_loop_gain(bench, request, which):
    build, cards = request.getfixturevalue(which), request.getfixturevalue(f"{which}_cards")
    for index in range(len(build.bands)):
        search, result = found(build, cards, bench, index, time_runs=False)
        assert result.status is Status.OSCILLATES and search.onset is not None and result.onset is not None
        # the search stops within 3e-4 of T = 1, at some 0.02 per volt: 15 mV; here 0.1 %
        assert result.onset.screen_v == pytest.approx(search.onset.screen_v, rel=1e-3)
        assert result.amplitudes is not None
        # left out are the strays of plate and grid currents, a part of those of the cathode: 7 ppm seen
        assert result.amplitudes.frequency_hz[0] == pytest.approx(search.oscillation_hz, rel=1e-5)


def test_power_from_separate_tubes_pays_for_the_tank(bench, demo, demo_cards):
    """RF power of 32 separate tubes at the map's own d.c. volts against a^2/(2 Rp): an energy balance of
    its own."""
    band = demo.bands[2]
    search = onset.run(demo, demo_cards, bench, band=band, dial_hz=math.sqrt(band.from_ * band.to))
    assert search.onset is not None and search.tuning_farad is not None
    mode = tuned_mode(
        demo, demo_cards, bench, band=band, dial_hz=search.dial_hz, tuning=search.tuning_farad,
        rotation=search.onset.rotation,
    )  # fmt: skip
    swings = Swings.of(mode)
    law = demo.regeneration
    guess = float(wiper_fraction(search.onset.rotation, law=law.law, mid=law.mid))
    with bench.session(balance_deck(demo, demo_cards, mode, guess=guess)) as session:
        run = session.dc("vsweep", -1.0, 7.5, 0.5, vectors=["amp", "plate", "scr", "grid", "knob"])
    checked = 0
    for i in range(2, len(run["amp"])):
        if run["knob"][i] > 1.0:
            break
        a = float(run["amp"][i])
        volts = {"plate": run["plate"][i], "screen": run["scr"][i], "grid": run["grid"][i], "amplitude": a}
        _, (plate, screen, grid) = separate(bench, demo_cards.detector.law(), swings=swings, **volts)
        fed = 0.5 * a * (swings.plate * plate + swings.screen * screen - swings.grid * grid)
        lost = 0.5 * a * a * mode.decay / abs(mode.residue)
        # the issue asks for 0.1 %; the angle of the residue (0.3 degrees) leaves 1e-5
        assert fed == pytest.approx(lost, rel=1e-3)
        checked += 1
    assert checked >= 12


def test_the_deck_gives_the_same_in_batch_ngspice(bench, demo, demo_cards, tmp_path):
    band = demo.bands[2]
    search = onset.run(demo, demo_cards, bench, band=band, dial_hz=math.sqrt(band.from_ * band.to))
    assert search.onset is not None and search.tuning_farad is not None
    mode = tuned_mode(
        demo, demo_cards, bench, band=band, dial_hz=search.dial_hz, tuning=search.tuning_farad,
        rotation=search.onset.rotation,
    )  # fmt: skip
    deck = balance_deck(demo, demo_cards, mode, guess=search.onset.rotation)
    with bench.session(deck) as session:
        run = session.dc("vsweep", -1.0, 6.0, 0.5, vectors=["knob"])
    file = tmp_path / "balance.cir"
    file.write_text(deck.export([".dc vsweep -1 6 0.5"], ["knob"]))
    said = subprocess.run(
        ["ngspice", "-b", str(file)], capture_output=True, text=True, timeout=60, check=True
    )
    rows = [line.split() for line in said.stdout.splitlines() if re.match(r"\d+\s", line)]
    # printed to ten digits; reltol of the decks is 1e-7
    assert [float(r[2]) for r in rows] == pytest.approx(list(run["knob"]), rel=1e-6)


def test_phases_and_steps_do_not_move_the_map(bench, demo, demo_cards):
    band = demo.bands[0]
    search = onset.run(demo, demo_cards, bench, band=band, dial_hz=math.sqrt(band.from_ * band.to))
    assert search.onset is not None and search.tuning_farad is not None
    mode = tuned_mode(
        demo, demo_cards, bench, band=band, dial_hz=search.dial_hz, tuning=search.tuning_farad,
        rotation=search.onset.rotation,
    )  # fmt: skip
    guess = search.onset.rotation
    coarse, fine = (
        amplitude.sweep(
            bench, amplitude.plan(demo, demo_cards, mode, guess=guess, phases=m), guess=guess, step=step
        )
        for m, step in ((8, amplitude.STEP), (32, amplitude.STEP / 2.0))
    )
    inside = fine.wiper < 0.97  # the curve has a corner where the control ends
    wiper = PchipInterpolator(np.log(coarse.amplitude), coarse.wiper)(np.log(fine.amplitude))
    # 2e-4 of the track: a twentieth of a degree of knob, far below the 2 % claimed for onset
    assert wiper[inside] == pytest.approx(fine.wiper[inside], abs=2e-4)
    assert coarse.wiper[0] == pytest.approx(fine.wiper[0], abs=1e-7)


def test_shipped_builds_come_in_softly(bench, demo, demo_cards):
    _, result = found(demo, demo_cards, bench, 2)
    assert result.kind is OnsetKind.SOFT and result.jump is None
    assert result.amplitudes is not None and np.all(np.diff(result.amplitudes.rest_screen_v) > 0.0)
    assert np.abs(result.amplitudes.energy_error).max() < 1e-3
    assert result.build_up is not None and result.build_up.seconds is not None
    # the rise from 6 uV to 0.1 V is 10 e-folds at the rate of its start, and somewhat more to settle
    assert 9.0 < result.build_up.seconds * result.build_up.rate < 16.0


def test_weak_bias_makes_a_hard_onset(bench, demo, demo_cards):
    _, result = found(weak_bias(demo), demo_cards, bench, 0, time_runs=False)
    assert result.kind is OnsetKind.HARD and result.jump is not None and result.onset is not None
    assert result.jump.backlash_v > 0.5 and result.jump.backlash_deg > 2.0
    assert result.jump.to_v is not None and result.jump.to_v > result.jump.falls_from_v > 0.1
    assert result.jump.up == result.onset


def test_more_resistance_in_the_screen_moves_the_onset_along_the_knob(bench, demo, demo_cards):
    weak = with_screen_resistance(demo, 47e3)
    _, strong = found(demo, demo_cards, bench, 0, time_runs=False)
    _, result = found(weak, demo_cards, bench, 0, time_runs=False, extra_screen_ohm=47e3)
    assert result.extra_screen_ohm == 47e3
    assert result.onset is not None and strong.onset is not None
    assert result.onset.rotation > strong.onset.rotation + 0.05
    assert result.onset.screen_v == pytest.approx(strong.onset.screen_v, rel=2e-3)  # the tube is the same


def test_no_onset_no_map(bench, demo, demo_cards):
    deaf = demo.model_copy(update={"detector": demo.detector.model_copy(update={"grid_leak": 10e3})})
    search, result = found(deaf, demo_cards, bench, 0)
    assert search.status is Status.DOES_NOT and result.status is Status.DOES_NOT
    assert result.amplitudes is None and result.kind is None and result.warnings


def test_failures_are_told(bench, demo):
    band = demo.bands[0]
    lost = onset.failed(band, 1.9e6, "the deck is kept")
    result = amplitude.run(demo, None, bench, band=band, onset=lost)
    assert result.status is Status.FAILED and result.warnings == ("the deck is kept",)
    assert dataclasses.asdict(result)["amplitudes"] is None


def test_a_tube_whose_small_strides_find_no_solution_is_mapped_in_larger_ones(bench, demo):
    """6BA6 in the demo, 40 m, begins at 10 V of screen; Newton's search fails in sweeps of less than 25 % a
    step.
    """
    from receiver_sim import api, api_envelope

    changed = api.changed_build(demo, {"detector.tube": "6BA6"})
    band = changed.bands[2]
    found = api_envelope.onset(changed, bands=[band.name], modes=False, bench=bench).bands[0].oscillation
    cards = api.cards_for(changed)
    search = onset.run(changed, cards, bench, band=band, dial_hz=api.dial_frequencies(band)[1])
    assert found.onset is not None and search.onset is not None
    # strides of 25 % in amplitude move the onset by 3e-4 of its volts on the demo's own tube
    assert found.onset.screen_v == pytest.approx(search.onset.screen_v, rel=2e-3)
