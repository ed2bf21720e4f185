"""A map of amplitudes from a balance made by hand: arrays, how it comes in, jumps, shifts, growth."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from receiver_sim.circuit.control import Control
from receiver_sim.circuit.mode import Mode
from receiver_sim.engine import EngineError, EngineFailed
from receiver_sim.measure.amplitude_balance import Balance
from receiver_sim.measure.imposed_amplitude import CurveEnd, Looked, Surplus
from receiver_sim.results.base import Figure, Status
from receiver_sim.results.envelope import AmplitudeMap, MapEnd, OnsetKind, Oscillation
from receiver_sim.results.onset import REVERSED, SCREEN, ControlSetting, Onset
from receiver_sim.schema import Band, Build
from receiver_sim.studies import amplitude
from tests.helpers.filling import filled

TANK = Mode(
    reference_hz=7e6, decay=2e5, offset_rad=2.0 * math.pi * 1300.0, residue=4e9 + 0j, grid=0.95 - 0.02j,
    cathode=0.06 + 0.004j, plate=0.0, screen=0.0, aerial=None, misfit=0.0,
    harmonics=(0.4 - 31.0j, 0.2 - 17.0j, 0.1 + 23.0j, 5.0j),
)  # fmt: skip
FARAD = 0.5 / 4e9
"""An ideal tank's residue is 1/(2 C)."""


def knob(unit: str = "V", **given: Any) -> Control:
    """A linear control of 270 degrees, of the screen's volts or of farads."""
    plain: dict[str, Any] = {
        "quantity": SCREEN if unit == "V" else "series capacitance", "unit": unit, "node": "scr",
        "degrees": 270.0, "followers": (), "law": "linear", "mid": None,
    }  # fmt: skip
    return Control(**{**plain, **given})


def balance(
    volts: np.ndarray, wiper: np.ndarray, *, whole: float = 60.0, end: CurveEnd = CurveEnd.REACH, **given: Any
) -> Balance:
    """What the control sets rises to `whole` at the top without oscillation, to 97 % of it with."""
    rest = np.linspace(0.0, 1.0, 21)
    plain: dict[str, Any] = {
        "amplitude": volts, "wiper": wiper, "figure": 0.97 * whole * wiper, "grid": -0.2 - 0.3 * volts,
        "drive_ma": 2e3 * 2e5 * FARAD * volts, "cross_ma": 0.0 * volts, "rest_wiper": rest,
        "rest_figure": whole * rest, "end": end,
    }  # fmt: skip
    return Balance(**{**plain, **given})


def searched(status: Status = Status.OSCILLATES, **given: Any) -> Onset:
    plain: dict[str, Any] = {"status": status, "dial_hz": 7.1e6, "warnings": (), "tuning_farad": 77e-12}
    return filled(Onset, **{**plain, **given})


BAND: Any = SimpleNamespace(name="40 m")

VOLTS = np.array([1e-3, 0.1, 0.5, 1.0, 2.0, 3.0])
WIPER = np.array([0.40, 0.45, 0.55, 0.7, 1.0, 1.04])


def reduced(raw: Balance, control: Control | None = None, **given: Any) -> Oscillation:
    return amplitude.reduce(raw, control or knob(), TANK, band=BAND, onset=searched(**given))


def known(found: Oscillation) -> AmplitudeMap:
    assert found.amplitudes is not None
    return found.amplitudes


# ---------------------------------------------------------------------------- arrays


def test_what_the_control_does_not_reach_is_left_out_and_the_rest_stands_in_its_place() -> None:
    """The last of six settings lies beyond the top. Power into the tank is a I/2, its loss decay C a^2: the
    energy C a^2/2 decays at twice the amplitude's rate.
    """
    excess = np.array([1e-3, -2e-3, 3e-3, -4e-3, 5e-3, 6e-3])
    loss = 2.0 * 2e5 * FARAD * VOLTS
    found = reduced(balance(VOLTS, WIPER, drive_ma=1e3 * loss * (1.0 + excess)))
    there = known(found)
    assert list(there.amplitude_v) == [1e-3, 0.1, 0.5, 1.0, 2.0]
    assert there.rotation == pytest.approx(WIPER[:5])
    assert there.rest_screen_v == pytest.approx(60.0 * WIPER[:5])
    assert there.screen_v == pytest.approx(58.2 * WIPER[:5])
    assert there.grid_v == pytest.approx(-0.2 - 0.3 * VOLTS[:5])
    assert there.energy_error == pytest.approx(excess[:5], rel=1e-9)
    assert (there.rest_value, there.value, there.unit, there.quantity) == (None, None, "V", SCREEN)
    assert there.ends is MapEnd.CONTROL and there.space_charge_hz is None
    assert (found.band, found.dial_hz, found.status) == ("40 m", 7.1e6, Status.OSCILLATES)
    assert (found.kind, found.jump, found.build_up) == (OnsetKind.SOFT, None, None)
    assert found.onset == ControlSetting(pytest.approx(0.4), pytest.approx(24.0))
    # w/(2 decay), and that over w C
    w = 2.0 * math.pi * 7.0013e6
    assert (found.tank_hz, found.tank_q) == (pytest.approx(7.0013e6), pytest.approx(w / (2.0 * 2e5)))
    assert found.tank_ohm == pytest.approx(w / (2.0 * 2e5) / (w * FARAD))
    assert (found.extra_screen_ohm, found.seconds, found.warnings) == (0.0, 0.0, ())


def test_a_control_of_farads_has_its_own_columns() -> None:
    found = reduced(balance(VOLTS, WIPER, whole=400e-12), knob("F"))
    there = known(found)
    assert there.rest_value == pytest.approx(400e-12 * WIPER[:5])
    assert there.value == pytest.approx(388e-12 * WIPER[:5])
    assert (there.rest_screen_v, there.screen_v) == (None, None)
    assert (there.unit, there.quantity) == ("F", "series capacitance")
    assert found.onset == ControlSetting(
        pytest.approx(0.4), None, pytest.approx(160e-12), "F", "series capacitance"
    )
    assert found.hz_per_v is None and isinstance(found.shift_in, Figure) and found.shift_in.unit == "Hz/F"


def test_harmonics_turn_the_tank_until_the_reactive_powers_cancel() -> None:
    """Groszkowski 1933: the sum of n Im(Z_n) |I_n|^2 is nothing, Z_1 = R decay/(decay + j w) w off resonance.

    The root of that sum, here without an approximation; the study's is of first order in w/decay, some 1e-3.
    The currents out of phase turn it by themselves: a phi' = I/(2 C).
    """
    shape = np.array([0.3, 1.0, 0.31, 0.17, 0.11, 0.05])
    currents = np.outer(VOLTS, shape) * 1.7
    crossed = np.array([1e-5, 2e-3, -3e-3, 1e-2, 2e-2, 5e-3])
    raw = balance(VOLTS, WIPER, harmonics_ma=currents, cross_ma=crossed)
    there = known(reduced(raw))
    share = (TANK.cathode * (TANK.grid - TANK.cathode)).real
    ohm = share * 4e9 / 2e5

    def power(w: float) -> float:
        first = ohm / (1.0 + 1j * w / 2e5)
        every = (first, *TANK.harmonics)
        return sum(n * z.imag * shape[n] ** 2 for n, z in enumerate(every, 1))

    turned = brentq(power, -3e4, 3e4) / (2.0 * math.pi)
    assert abs(turned) > 100.0
    by_currents = 1e-3 * crossed / (2.0 * FARAD * VOLTS) / (2.0 * math.pi)
    assert there.frame_hz - 7.0013e6 == pytest.approx(by_currents[:5], rel=1e-6)
    assert there.frequency_hz - there.frame_hz == pytest.approx(turned, rel=2e-3)
    # without harmonics in the balance, both are the same
    plain = known(reduced(balance(VOLTS, WIPER, cross_ma=crossed)))
    assert list(plain.frequency_hz) == list(plain.frame_hz)


def test_a_control_on_the_tank_has_a_mode_of_its_own_at_each_setting() -> None:
    """Decay, and with it the loss, and resonance of the mode at that rotation; half way the middle of two."""
    modes = tuple(
        (place, replace(TANK, decay=2e5 * (1.0 + place), offset_rad=1e4 * place))
        for place in (0.0, 0.25, 0.5, 0.75, 1.0)
    )
    mode = replace(TANK, along=modes)
    wiper = np.minimum(WIPER, [0.4, 0.45, 0.55, 0.7, 0.9, 1.0])
    raw = balance(VOLTS, wiper, harmonics_ma=np.outer(VOLTS, [0.3, 1.0, 0.31, 0.17, 0.11, 0.05]))
    found = amplitude.reduce(raw, knob(), mode, band=BAND, onset=searched())
    there = known(found)
    # the drive pays for a decay of 2e5: less than the loss by 1/(1 + place)
    assert there.energy_error == pytest.approx(1.0 / (1.0 + wiper) - 1.0, rel=1e-6)
    assert there.frame_hz == pytest.approx(7e6 + 1e4 * wiper / (2.0 * math.pi), rel=1e-12)
    # what harmonics turn goes with the square of the decay (the same currents, the same ohms)
    turned = there.frequency_hz - there.frame_hz
    assert turned / turned[0] == pytest.approx(((1.0 + wiper) / 1.4) ** 2, rel=1e-4)


def test_space_charge_is_shown_and_counts_for_the_shift(monkeypatch: pytest.MonkeyPatch) -> None:
    """Over the first half volt at rest above onset, here to 60 x 0.45 = 27 V: three volts, 60 Hz of pull."""
    pull = np.array([0.0, -60.0, -90.0, -100.0, -110.0, -120.0])
    monkeypatch.setattr(amplitude, "pulled_by_charge", lambda *_, **__: pull)
    card: Any = object()
    found = amplitude.reduce(balance(VOLTS, WIPER), knob(), TANK, band=BAND, onset=searched(), card=card)
    assert list(known(found).space_charge_hz) == list(pull[:5])  # type: ignore[arg-type]
    assert found.hz_per_v == pytest.approx(-20.0) and found.shift_in is None
    assert list(known(found).frequency_hz) == pytest.approx([7.0013e6] * 5, rel=1e-12)
    monkeypatch.setattr(amplitude, "pulled_by_charge", lambda *_, **__: None)
    found = amplitude.reduce(balance(VOLTS, WIPER), knob(), TANK, band=BAND, onset=searched(), card=card)
    assert known(found).space_charge_hz is None and found.hz_per_v == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(
    ("rest", "unit", "due"),
    [
        ([24.0, 24.3, 24.6, 27.0], "V", -30.0 / 0.6),
        ([24.0, 24.1, 24.2, 24.4], "V", None),
        ([24.0, 24.5, 25.0, 27.0], "V", -10.0 / 0.5),
        ([160e-12, 160.7e-12, 161.3e-12, 170e-12], "F", -30.0 / 1.3e-12),
    ],
)
def test_a_shift_is_that_of_the_first_half_volt_or_picofarad(
    rest: list[float], unit: str, due: float | None
) -> None:
    found = amplitude._shift(np.array(rest), 7e6 + np.array([0.0, -10.0, -30.0, -500.0]), unit)
    assert found == (None if due is None else pytest.approx(due, rel=1e-6))


@pytest.mark.parametrize(
    ("status", "starts"),
    [(Status.OSCILLATES, True), (Status.NOT_IN_RANGE, False), (Status.DOES_NOT, False)],
)
def test_only_a_band_that_starts_has_an_onset(status: Status, starts: bool) -> None:
    found = reduced(balance(VOLTS, WIPER), status=status)
    assert (found.onset is not None, found.kind is not None, found.hz_per_v is not None) == (starts,) * 3
    assert found.status is status and found.amplitudes is not None


def test_a_map_of_three_amplitudes_or_none_on_the_control_is_none() -> None:
    found = reduced(balance(VOLTS[:3], WIPER[:3]))
    assert (found.amplitudes, found.onset, found.tank_hz) == (None, None, pytest.approx(7.0013e6))
    assert known(reduced(balance(VOLTS[:4], WIPER[:4]))).amplitude_v.size == 4
    beyond = reduced(balance(VOLTS, WIPER + 1.0))
    assert (beyond.amplitudes, beyond.onset, beyond.kind) == (None, None, None)


@pytest.mark.parametrize(
    ("wiper", "volts", "end", "due"),
    [
        (0.9985, 9.0, CurveEnd.FOLD, MapEnd.FOLD),
        (0.9995, 9.0, CurveEnd.FOLD, MapEnd.CONTROL),
        (0.7, 21.9, CurveEnd.REACH, MapEnd.REACH),
        (0.7, 21.7, CurveEnd.REACH, MapEnd.LOST),
        (0.7, 21.9, CurveEnd.FOLD, MapEnd.FOLD),
    ],
)
def test_what_ends_a_map(wiper: float, volts: float, end: CurveEnd, due: MapEnd) -> None:
    """At the top within a thousandth; at the 22 V looked at within a hundredth; else by the curve."""
    raw = balance(np.geomspace(1e-3, volts, 6), np.linspace(0.3, wiper, 6), end=end)
    assert known(reduced(raw)).ends is due


# ---------------------------------------------------------------------------- jumps

STEPS = np.arange(0.0, 9.0, 0.23)
"""In ln(amplitude/1 mV); no vertex of the curves below stands on one of them."""
RISING = 1e-3 * np.exp(STEPS)


def falls_at_once() -> np.ndarray:
    """From 50 % down to 20 % of the track at e^3 mV, and up again: through 50 % at e^6 mV."""
    return 0.2 + 0.3 * ((STEPS - 3.0) / 3.0) ** 2


def falls_later() -> np.ndarray:
    """Two parabolas in one: up to 50 % at e^2 mV, down to 32 % at e^5, through 50 % at e^(5 + sqrt 4.5)."""
    return np.where(STEPS <= 3.5, 0.5 - 0.04 * (STEPS - 2.0) ** 2, 0.32 + 0.04 * (STEPS - 5.0) ** 2)


@pytest.mark.parametrize(
    ("wiper", "kind", "up", "down", "logs"),
    [
        (falls_at_once(), OnsetKind.HARD, 0.5, 0.2, (0.0, 6.0, 3.0)),
        (falls_later(), OnsetKind.JUMPS, 0.5, 0.32, (2.0, 5.0 + math.sqrt(4.5), 5.0)),
    ],
)
def test_a_fold_is_a_jump_from_its_top_to_the_branch_beyond(
    wiper: np.ndarray, kind: OnsetKind, up: float, down: float, logs: tuple[float, float, float]
) -> None:
    """Vertices of parabolas are exact; between two steps of 0.23 a straight line leaves (0.23/2)^2/2 of the
    curvature over the slope, below 0.3 %.
    """
    found = reduced(balance(RISING, wiper))
    jump = found.jump
    assert jump is not None and found.kind is kind
    assert (jump.up.rotation, jump.down.rotation) == (pytest.approx(up), pytest.approx(down))
    assert (jump.up.screen_v, jump.down.screen_v) == (pytest.approx(60.0 * up), pytest.approx(60.0 * down))
    assert jump.backlash_v == pytest.approx(60.0 * (up - down))
    assert jump.backlash_deg == pytest.approx(270.0 * (up - down))
    assert jump.from_v == pytest.approx(1e-3 * math.exp(logs[0]))
    assert jump.to_v == pytest.approx(1e-3 * math.exp(logs[1]), rel=4e-3)
    assert jump.falls_from_v == pytest.approx(1e-3 * math.exp(logs[2]))


def test_a_jump_from_less_than_three_times_the_least_amplitude_is_hard() -> None:
    for least, kind in ((2.9, OnsetKind.HARD), (3.1, OnsetKind.JUMPS)):
        steps = np.arange(0.0, 9.0, 0.1)
        top = math.log(least)
        low = 0.32 + 0.04 * (steps - top - 3.0) ** 2
        wiper = np.where(steps <= top + 1.5, 0.5 - 0.04 * (steps - top) ** 2, low)
        assert reduced(balance(1e-3 * np.exp(steps), wiper)).kind is kind


def test_a_control_that_ends_below_the_branch_beyond_jumps_to_no_known_amplitude() -> None:
    short = STEPS < 5.5
    found = reduced(balance(RISING[short], falls_at_once()[short]))
    assert found.jump is not None and found.jump.to_v is None
    assert found.jump.down.rotation == pytest.approx(0.2)


@pytest.mark.parametrize(
    ("unit", "whole", "dip", "jumps"),
    [("V", 60.0, 0.8e-3, False), ("V", 60.0, 1.2e-3, True),
     ("F", 400e-12, 0.015e-12, False), ("F", 400e-12, 0.03e-12, True)],
)  # fmt: skip
def test_no_hand_feels_a_millivolt_or_a_fiftieth_of_a_picofarad(
    unit: str, whole: float, dip: float, jumps: bool
) -> None:
    """A fold of the depth `dip`, of a control that sets `whole` at its top."""
    depth = dip / whole
    wiper = 0.5 + depth * (((STEPS - 3.0) / 3.0) ** 2 - 1.0)
    found = reduced(balance(RISING, wiper, whole=whole), knob(unit))
    assert (found.jump is not None) is jumps
    if jumps and found.jump is not None:
        in_volts = unit == "V"
        assert found.jump.backlash_v == (pytest.approx(dip, rel=1e-6) if in_volts else None)
        assert found.jump.backlash_deg == pytest.approx(270.0 * depth, rel=1e-6)
        # of what it sets at rest, in its own unit; rounding of whole minus whole
        assert found.jump.backlash == pytest.approx(dip, rel=1e-6)


def test_what_never_starts_does_not_jump_in() -> None:
    raw = balance(RISING, falls_at_once())
    assert reduced(raw, status=Status.DOES_NOT).jump is None
    assert reduced(raw, status=Status.NOT_IN_RANGE).jump is not None


# ---------------------------------------------------------------------------- once started


def looked(**given: Any) -> Looked:
    x = np.linspace(0.0, 3.0, 31)
    none = Surplus(x, np.full(31, -0.1))
    plain: dict[str, Any] = {
        "pays": none, "begins_v": 0.37, "ends_v": 2.6, "elsewhere": None, "floor": none,
        "rest": (np.zeros(2), np.zeros(2)),
    }  # fmt: skip
    return Looked(**{**plain, **given})


def test_a_shock_holds_down_to_the_fold_or_to_the_bottom() -> None:
    """The curve's lowest setting, 20 % at e^3 mV; where the bottom pays, the largest it pays for there."""
    raw, x = balance(RISING, falls_at_once()), np.linspace(0.0, 3.0, 31)
    turn = amplitude.Knob(knob(), raw)
    lets_go = amplitude.once_started(raw, looked(), turn=turn)
    assert lets_go.lets_go and (lets_go.shock_v, lets_go.top_v) == (0.37, 2.6)
    assert lets_go.holds_from == ControlSetting(pytest.approx(0.2), pytest.approx(12.0))
    assert lets_go.amplitude_v == pytest.approx(1e-3 * math.exp(3.0))
    # pays between 0.5 and 1.7 V: 0.36 - (a - 1.1)^2
    stays = looked(floor=Surplus(x, 0.36 - (x - 1.1) ** 2), ends_v=None)
    held = amplitude.once_started(raw, stays, turn=turn)
    assert not held.lets_go and held.top_v is None
    assert held.holds_from == ControlSetting(0.0, pytest.approx(0.0, abs=1e-12))
    # straight over a tenth of a volt of a parabola: 1e-3 or less
    assert held.amplitude_v == pytest.approx(1.7, abs=3e-3)
    # as far as was looked it pays: the largest looked at
    beyond = amplitude.once_started(raw, looked(floor=Surplus(x, x - 1.0)), turn=turn)
    assert (beyond.lets_go, beyond.amplitude_v) == (False, 3.0)
    assert amplitude.once_started(raw, looked(floor=Surplus(x, -0.0 * x)), turn=turn).lets_go is False


# ---------------------------------------------------------------------------- words

PAYS = Surplus(np.array([0.0, 7.0]), np.array([-0.1, -0.1]))


@pytest.mark.parametrize(
    ("status", "given", "words"),
    [
        (Status.NOT_IN_RANGE, {"begins_v": 0.3}, "it oscillates all over the control"),
        (Status.NOT_IN_RANGE, {"begins_v": None},
         "it oscillates all over the control, with more than 7 V even at its bottom"),
        (Status.DOES_NOT, {"begins_v": 0.3},
         "it does not start by itself, but continues once something has started it"),
        (Status.DOES_NOT, {"begins_v": None, "elsewhere": 0.7},
         "no setting starts oscillation from nothing; a shock starts it with the wiper at 70 % of the track, "
         "though not at the top: not looked into further"),
        (Status.DOES_NOT, {"begins_v": None},
         "no setting starts oscillation, and a shock starts none that continues: at every amplitude up to "
         "7 V the tube gives less than the tank loses"),
    ],
)  # fmt: skip
def test_what_is_said_of_a_band_without_an_onset(status: Status, given: dict[str, Any], words: str) -> None:
    assert amplitude.said(looked(pays=PAYS, **given), status=status) == words


def test_what_is_said_where_amplitudes_hardly_move() -> None:
    x = np.linspace(0.0, 5.0, 51)
    alike = looked(ends_v=3.456, floor=Surplus(x, 3.35 - x))
    assert amplitude.unmapped(alike, status=Status.NOT_IN_RANGE) == (
        "the control hardly changes its strength: 3.35 V at the lower stop, 3.46 V at the top"
    )
    plain = "the control hardly changes the amplitudes that it sustains: no setting can be told from them"
    assert amplitude.unmapped(alike, status=Status.DOES_NOT) == plain
    assert (
        amplitude.unmapped(looked(ends_v=None, floor=Surplus(x, 3.35 - x)), status=Status.NOT_IN_RANGE)
        == plain
    )
    assert amplitude.unmapped(looked(ends_v=3.4), status=Status.NOT_IN_RANGE) == plain


# ---------------------------------------------------------------------------- growth


def logistic(time: np.ndarray, *, seed: float, final: float, rate: float) -> np.ndarray:
    """Growth that the amplitude itself limits, in closed form."""
    return final / (1.0 + (final / seed - 1.0) * np.exp(-rate * time))


SETTING = ControlSetting(0.4, 24.0)


def test_growth_has_its_rate_at_the_start_and_is_over_at_nine_tenths() -> None:
    """Up to a fiftieth of the end the logistic curve's ln rises within 2 % of its rate; it stands at nine
    tenths after ln(9 (final/seed - 1))/rate.
    """
    time = np.linspace(0.0, 0.02, 2001)
    found = amplitude._growth(
        time, logistic(time, seed=6e-6, final=0.4, rate=1500.0), seed=6e-6, setting=SETTING
    )
    assert found.rate == pytest.approx(1500.0, rel=0.02)
    assert found.seconds == pytest.approx(math.log(9.0 * (0.4 / 6e-6 - 1.0)) / 1500.0, abs=1e-5)
    assert (found.final_v, found.setting) == (pytest.approx(0.4, rel=1e-6), SETTING)


@pytest.mark.parametrize(("span", "settled"), [(8.7e-3, False), (10.5e-3, False), (11.5e-3, True)])
def test_growth_that_has_not_settled_has_no_time(span: float, settled: bool) -> None:
    """What rises by more than 2 % over the last tenth of the run has not ended: the logistic curve by 25 %
    up to 8.7 ms, by 3.5 % up to 10.5 and by 1 % up to 11.5 ms.
    """
    time = np.linspace(0.0, span, 2001)
    found = amplitude._growth(
        time, logistic(time, seed=6e-6, final=0.4, rate=1500.0), seed=6e-6, setting=SETTING
    )
    assert (found.seconds is not None) is settled
    assert found.rate == pytest.approx(1500.0, rel=0.02)


def test_what_dies_away_has_no_rate_of_growth() -> None:
    time = np.linspace(0.0, 0.02, 2001)
    found = amplitude._growth(time, 6e-6 * np.exp(-300.0 * time) + 1e-9, seed=6e-6, setting=SETTING)
    assert (found.seconds, found.rate) == (None, 0.0)


class _Run:
    """A loaded envelope that notes its run and answers with a curve of growth."""

    def __init__(self) -> None:
        self.session, self.asked, self.kicked = self, (), ()

    def course(self, *which: Any) -> None:
        self.kicked = which

    def tran(self, *asked: float, vectors: Any) -> dict[str, np.ndarray]:
        self.asked = asked
        time = np.linspace(0.0, 0.02, 2001)
        return {"time": time, "amp": logistic(time, seed=6e-6, final=0.4, rate=1500.0)}


@pytest.mark.parametrize("advance", [0.01, 0.03])
def test_build_up_begins_with_the_noise_of_the_tank_a_hundredth_above_onset(
    monkeypatch: pytest.MonkeyPatch, advance: float
) -> None:
    """sqrt(kT/C) of 125 pF at 300 K is 5.76 uV (Nyquist 1928). The control stands at 24.24 V, not at the
    onset; the run lasts 40 e-folds of a rate that is the tank's own by that hundredth.
    """
    on, made, seen = _Run(), {}, {}

    @contextmanager
    def given(*_: Any) -> Iterator[_Run]:
        yield on

    def envelope(*_: Any, **how: Any) -> Any:
        made.update(how)
        return SimpleNamespace(node=lambda _: "amp")

    def grown(*_: Any, seed: float, setting: ControlSetting) -> str:
        seen.update(seed=seed, setting=setting)
        return "grown"

    monkeypatch.setattr(amplitude, "loaded", given)
    monkeypatch.setattr(amplitude, "envelope_circuit", envelope)
    monkeypatch.setattr(amplitude, "_growth", grown)
    rotation = np.linspace(0.4, 0.9, 51)
    there = filled(AmplitudeMap, rotation=rotation, rest_screen_v=60.0 * rotation, rest_value=None,
                   frame_hz=7.1e6 + 100.0 * rotation, unit="V", quantity=SCREEN)  # fmt: skip
    found = filled(Oscillation, onset=ControlSetting(0.4, 24.0), amplitudes=there)
    receiver: Any = SimpleNamespace(build=None, cards=None, bench=None)
    got: Any = amplitude.build_up(receiver, TANK, found=found, advance=advance)
    assert got == "grown"
    assert seen["seed"] == pytest.approx(math.sqrt(1.380649e-23 * 300.0 / 125e-12))
    assert made["rotation"] == pytest.approx(0.4 * (1.0 + advance))
    assert seen["setting"] == ControlSetting(pytest.approx(0.4 * (1.0 + advance)), 24.0 * (1.0 + advance))
    assert (made["reference_hz"], made["with_audio"]) == (pytest.approx(7.1e6 + 40.0, rel=1e-12), False)
    assert on.asked[1] == pytest.approx(40.0 / (2e5 * advance))
    # a charge into 2 C, by a pulse of 1.1 us between the middles of its flanks
    assert max(on.kicked[2][1::2]) * 1.1e-6 == pytest.approx(seen["seed"] * 2.0 * 125e-12)
    for lacking in ({"onset": None}, {"amplitudes": None}, {"onset": ControlSetting(0.9, 53.9)}):
        none = replace(found, **lacking)
        assert amplitude.build_up(receiver, TANK, found=none, advance=advance) is None


# ---------------------------------------------------------------------------- in short


def in_short(
    monkeypatch: pytest.MonkeyPatch, demo: Build, raw: Balance, *, on_tank: bool = False, strays: bool = False
) -> amplitude.InShort | None:
    def coarse(*_: Any, **__: Any) -> Balance:
        if strays:
            raise EngineFailed("it strayed")
        return raw

    monkeypatch.setattr(amplitude, "regeneration_control", lambda *_: knob(on_tank=on_tank))
    monkeypatch.setattr(amplitude, "tuned_mode", lambda *_, **__: TANK)
    monkeypatch.setattr(amplitude, "plan", lambda *_, **__: None)
    monkeypatch.setattr(amplitude, "coarse_sweep", coarse)
    monkeypatch.setattr(amplitude, "sweep", lambda *_, **__: raw)
    tuned: Any = SimpleNamespace(build=demo, cards=None, bench=None)
    return amplitude.in_short(tuned, tuning=77e-12, rotation=0.4, reach_v=3.0)


@pytest.mark.parametrize("strays", [False, True])
def test_the_top_lies_on_the_line_between_the_last_within_and_the_first_beyond(
    monkeypatch: pytest.MonkeyPatch, demo: Build, strays: bool
) -> None:
    """In the logarithm of the amplitude: from 2 V at 96 % to 3 V at 104 % half way is sqrt 6."""
    raw = balance(np.array([1e-3, 0.1, 2.0, 3.0]), np.array([0.4, 0.5, 0.96, 1.04]))
    found = in_short(monkeypatch, demo, raw, strays=strays)
    assert found == (pytest.approx(math.sqrt(6.0)), 0.0)


def test_backlash_in_short_is_that_of_the_fold(monkeypatch: pytest.MonkeyPatch, demo: Build) -> None:
    found = in_short(monkeypatch, demo, balance(RISING, falls_at_once()))
    assert found is not None and found.backlash_deg == pytest.approx(0.3 * 270.0)
    # it ends at 79 % of the track: the last there is
    within = STEPS < 7.0
    found = in_short(monkeypatch, demo, balance(RISING[within], falls_at_once()[within]))
    assert found is not None and found.top_v == pytest.approx(RISING[within][-1])
    # all of it beyond the top: the least
    found = in_short(monkeypatch, demo, balance(VOLTS, WIPER + 1.0))
    assert found is not None and found.top_v == pytest.approx(1e-3)
    assert in_short(monkeypatch, demo, balance(VOLTS, WIPER), on_tank=True) is None


# ---------------------------------------------------------------------------- the whole question


class _Tuned:
    """A receiver whose mode and search are given."""

    def __init__(self, demo: Build, onset: Onset, mode: Mode = TANK) -> None:
        self.build, self.cards, self.bench = demo, SimpleNamespace(detector=None), None
        self.band: Band = demo.bands[1]
        self.onset, self._mode, self.receiver, self.asked = onset, mode, self, []

    def mode(self, rotation: float) -> Mode:
        self.asked.append(rotation)
        return self._mode


def answered(
    monkeypatch: pytest.MonkeyPatch, tuned: _Tuned, *, on_tank: bool = False, told: str | None = None,
    differ: str | None = None, own: tuple[str, ...] = (), fails: Exception | None = None, **how: Any
) -> tuple[Oscillation, list[str]]:  # fmt: skip
    """Return what `run` says and which way it went."""
    way: list[str] = []

    def noted(name: str, answer: Any) -> Any:
        def called(*_: Any, **__: Any) -> Any:
            way.append(name)
            if fails is not None and name == "balance":
                raise fails
            return answer

        return called

    made = reduced(balance(VOLTS, WIPER))
    made = replace(made, warnings=own, status=tuned.onset.status)
    monkeypatch.setattr(amplitude, "regeneration_control", lambda *_: knob(on_tank=on_tank))
    monkeypatch.setattr(amplitude, "_sampling", lambda *_: None)
    for name, answer in {
        "plan": None, "imposed_circuit": None, "balance": (None, told), "reduce": made, "build_up": "grown",
        "_throttled": made, "_without_onset": made,
    }.items():  # fmt: skip
        monkeypatch.setattr(amplitude, name, noted(name, answer))
    monkeypatch.setattr(amplitude.views_compared, "onsets", lambda *_: differ)
    return amplitude.run(tuned, **how), way  # type: ignore[arg-type]


AT = ControlSetting(0.41, 24.6)


def test_a_band_that_oscillates_is_balanced_at_its_onset_and_grown(
    monkeypatch: pytest.MonkeyPatch, demo: Build
) -> None:
    tuned = _Tuned(demo, searched(onset=AT, warnings=("of the search", "of the map")))
    found, way = answered(monkeypatch, tuned, told="one by one", differ="they differ", own=("of the map",))
    assert way == ["plan", "imposed_circuit", "balance", "reduce", "build_up"] and tuned.asked == [0.41]
    assert found.build_up == "grown"  # type: ignore[comparison-overlap]
    # each is told once
    assert found.warnings == ("of the map", "one by one", "they differ", "of the search")
    assert found.extra_screen_ohm == 0.0 and found.seconds is not None
    short, way = answered(monkeypatch, tuned, time_runs=False, extra_screen_ohm=47e3)
    assert "build_up" not in way and (short.build_up, short.extra_screen_ohm) == (None, 47e3)


def test_a_tank_that_resonates_twice_is_told(monkeypatch: pytest.MonkeyPatch, demo: Build) -> None:
    twice = replace(TANK, beside_hz=7.2345e6)
    found, _ = answered(monkeypatch, _Tuned(demo, searched(onset=AT), twice))
    assert found.warnings == (
        "the tank resonates twice, at 7.001 and at 7.234 MHz, as where an aerial has a resonance of its own: "
        "amplitudes and sound take the first alone, the loop gain both; couple the aerial more loosely",
    )


@pytest.mark.parametrize(("status", "end"), [(Status.DOES_NOT, 1.0), (Status.NOT_IN_RANGE, 0.0)])
def test_without_an_onset_the_nearest_stop_is_looked_at(
    monkeypatch: pytest.MonkeyPatch, demo: Build, status: Status, end: float
) -> None:
    tuned = _Tuned(demo, searched(status, onset=None, warnings=("of the search",)))
    found, way = answered(monkeypatch, tuned, own=("its own",))
    assert way == ["_without_onset"] and tuned.asked == [end]
    # what the search said of a band that does not start is said there already
    assert (found.warnings, found.build_up) == (("its own",), None)


def test_a_reversed_tickler_ends_it(monkeypatch: pytest.MonkeyPatch, demo: Build) -> None:
    """Of a control that leaves the tank alone by the mode; of a throttle by what the search said."""
    wrong = replace(TANK, cathode=-0.06 + 0j)
    found, way = answered(monkeypatch, _Tuned(demo, searched(onset=AT), wrong))
    assert (found.status, found.warnings, way) == (Status.DOES_NOT, (REVERSED,), [])
    found, way = answered(monkeypatch, _Tuned(demo, searched(onset=AT), wrong), on_tank=True)
    assert way == ["_throttled", "build_up"] and found.status is Status.OSCILLATES
    said = _Tuned(demo, searched(onset=AT, warnings=(REVERSED,)))
    found, way = answered(monkeypatch, said, on_tank=True)
    assert (found.status, found.warnings, way) == (Status.DOES_NOT, (REVERSED,), [])
    found, way = answered(monkeypatch, said)
    assert found.status is Status.OSCILLATES
    found, way = answered(monkeypatch, _Tuned(demo, searched(onset=AT)), on_tank=True, time_runs=False)
    assert way == ["_throttled"] and found.build_up is None


def test_a_failure_is_a_result_with_its_words(monkeypatch: pytest.MonkeyPatch, demo: Build) -> None:
    found, _ = answered(monkeypatch, _Tuned(demo, searched(onset=AT)), fails=EngineError("no solution"))
    assert (found.status, found.warnings, found.amplitudes) == (Status.FAILED, ("no solution",), None)
    for lost in ({"tuning_farad": None}, {"status": Status.FAILED}):
        found, way = answered(monkeypatch, _Tuned(demo, searched(onset=AT, warnings=("kept",), **lost)))
        assert (found.status, found.warnings, way) == (Status.FAILED, ("kept",), [])


# ---------------------------------------------------------------------------- a throttle; beyond the stops


def throttled(
    monkeypatch: pytest.MonkeyPatch, demo: Build, status: Status, settings: list[float]
) -> Oscillation:
    sheet = SimpleNamespace(amplitude=np.array([0.1, 6.7]))
    monkeypatch.setattr(amplitude, "_sampling", lambda *_: None)
    monkeypatch.setattr(amplitude.throttled, "sheet", lambda *_, **__: sheet)
    monkeypatch.setattr(amplitude.throttled, "lowest_settings", lambda _: np.array(settings))
    monkeypatch.setattr(amplitude.throttled, "balance", lambda *_, **__: balance(VOLTS, WIPER))
    monkeypatch.setattr(amplitude.throttled, "looked_at", lambda *_: looked())
    monkeypatch.setattr(amplitude, "pulled_by_charge", lambda *_, **__: None)
    tuned: Any = _Tuned(demo, searched(status, onset=AT if status is Status.OSCILLATES else None))
    return amplitude._throttled(tuned, TANK, control=knob(on_tank=True))


SHOCKED = "it does not start by itself, but continues once something has started it"
NAN = math.nan


@pytest.mark.parametrize(
    ("status", "settings", "words", "mapped", "shock"),
    [
        (Status.OSCILLATES, [0.1, 0.2, 0.3, 0.4], (), True, False),
        (Status.OSCILLATES, [NAN, 0.2, 0.3, 0.4], (), False, False),
        (Status.NOT_IN_RANGE, [0.1, 0.2, 0.3, 0.4], ("it oscillates all over the control",), True, False),
        (Status.DOES_NOT, [0.1, 0.2, 0.3, 0.4], (SHOCKED,), True, True),
        (Status.DOES_NOT, [NAN, NAN, 0.3, 0.4], (SHOCKED,), False, False),
        (Status.DOES_NOT, [NAN, NAN, NAN, NAN],
         ("no setting starts oscillation, and a shock starts none that continues: at every amplitude up to "
          "7 V the tube gives less than the tank loses",), False, False),
    ],
)  # fmt: skip
def test_a_throttle_is_mapped_where_four_amplitudes_have_a_setting(
    monkeypatch: pytest.MonkeyPatch, demo: Build, status: Status, settings: list[float],
    words: tuple[str, ...], mapped: bool, shock: bool,
) -> None:  # fmt: skip
    found = throttled(monkeypatch, demo, status, settings)
    assert (found.status, found.warnings) == (status, words)
    assert (found.amplitudes is not None, found.once_started is not None) == (mapped, shock)


def test_a_throttle_that_feeds_nothing_is_silent_or_has_failed(
    monkeypatch: pytest.MonkeyPatch, demo: Build
) -> None:
    throttled(monkeypatch, demo, Status.OSCILLATES, [0.1, 0.2, 0.3, 0.4])

    def none(*_: Any, **__: Any) -> None:
        raise amplitude.NoAnswer("outweighed")

    monkeypatch.setattr(amplitude.throttled, "sheet", none)
    silent: Any = _Tuned(demo, searched(Status.DOES_NOT, onset=None))
    found = amplitude._throttled(silent, TANK, control=knob(on_tank=True))
    assert (found.status, found.warnings) == (
        Status.DOES_NOT,
        ("at no setting of the control does enough of the plate's current go through the tickler",),
    )
    loud: Any = _Tuned(demo, searched(onset=AT))
    with pytest.raises(amplitude.NoAnswer, match=r"^outweighed$"):
        amplitude._throttled(loud, TANK, control=knob(on_tank=True))


def beyond(
    monkeypatch: pytest.MonkeyPatch, demo: Build, status: Status, *, volts: np.ndarray = VOLTS,
    differ: str | None = None, **given: Any
) -> Oscillation:  # fmt: skip
    monkeypatch.setattr(amplitude, "regeneration_control", lambda *_: knob())
    monkeypatch.setattr(amplitude, "_sampling", lambda *_: None)
    monkeypatch.setattr(amplitude, "imposed_circuit", lambda *_, **__: None)
    monkeypatch.setattr(amplitude.imposed, "look", lambda *_, **__: looked(pays=PAYS, **given))
    monkeypatch.setattr(amplitude.imposed, "onset_beyond", lambda *_, **__: 61.5)
    monkeypatch.setattr(amplitude.views_compared, "stops", lambda *_: differ)
    raw = balance(volts, WIPER[: volts.size])
    monkeypatch.setattr(amplitude, "within_control", lambda *_, **__: raw)
    monkeypatch.setattr(amplitude, "pulled_by_charge", lambda *_, **__: None)
    tuned: Any = _Tuned(demo, searched(status, onset=None))
    return amplitude._without_onset(tuned, TANK)


def test_beyond_a_stop_a_map_is_made_of_what_it_sustains(
    monkeypatch: pytest.MonkeyPatch, demo: Build
) -> None:
    found = beyond(monkeypatch, demo, Status.DOES_NOT)
    assert (found.warnings, found.onset_beyond_v, found.quantity) == ((SHOCKED,), 61.5, SCREEN)
    assert found.amplitudes is not None and found.once_started is not None
    assert found.once_started.shock_v == 0.37 and found.seconds is not None
    all_over = beyond(monkeypatch, demo, Status.NOT_IN_RANGE)
    assert all_over.warnings == ("it oscillates all over the control",)
    assert all_over.amplitudes is not None and all_over.once_started is None


def test_beyond_a_stop_without_a_map_it_is_said_why(monkeypatch: pytest.MonkeyPatch, demo: Build) -> None:
    nothing = beyond(monkeypatch, demo, Status.DOES_NOT, begins_v=None)
    assert (nothing.amplitudes, nothing.onset_beyond_v, nothing.once_started) == (None, 61.5, None)
    assert nothing.warnings[0].startswith("no setting starts oscillation, and a shock starts none")
    few = beyond(monkeypatch, demo, Status.DOES_NOT, volts=VOLTS[:3])
    assert (few.amplitudes, few.onset_beyond_v) == (None, 61.5)
    assert few.warnings == (
        SHOCKED,
        "the control hardly changes the amplitudes that it sustains: no setting can be told from them",
    )
    differ = beyond(monkeypatch, demo, Status.DOES_NOT, differ="the views differ")
    assert (differ.warnings, differ.onset_beyond_v, differ.amplitudes) == (("the views differ",), None, None)
