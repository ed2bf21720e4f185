"""Where an oscillation holds still, on modes made by hand: settings, names, limits, looks, cures."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from receiver_sim.circuit.mode import Mode
from receiver_sim.errors import NoAnswer
from receiver_sim.measure.linear_envelope import Carrier
from receiver_sim.measure.over_time import Moving
from receiver_sim.physics.natural_modes import NaturalModes
from receiver_sim.results.envelope import AmplitudeMap, EnvelopeModes, Oscillation, Stability, Steadiness
from receiver_sim.results.onset import ControlSetting
from receiver_sim.schema import Build, changed_build
from receiver_sim.studies import stability
from tests.helpers.filling import filled

MODE: Any = None
GRID, PLATE, TANK = Carrier("grid capacitor", True), Carrier("plate load"), Carrier("tank", True)
STRAY = Carrier("stray", way_back=True)


def row(
    rotation: float, *rates: float, amplitude: float = 0.3, hertz: tuple[float, ...] | None = None,
    parts: tuple[str, ...] | None = None,
) -> EnvelopeModes:  # fmt: skip
    """A setting with modes of those rates, at 900 Hz and carried by the plate load unless said."""
    return EnvelopeModes(
        ControlSetting(rotation, 60.0 * rotation), amplitude, np.array(rates),
        np.array(hertz or [900.0] * len(rates)),
        tuple((one,) for one in parts or ["plate load"] * len(rates)),
        sum(rate > 0.0 for rate in rates), None, None,
    )  # fmt: skip


# ---------------------------------------------------------------------------- settings


def known(rotation: np.ndarray, volts: np.ndarray) -> AmplitudeMap:
    return filled(
        AmplitudeMap, rotation=rotation, amplitude_v=volts, rest_screen_v=60.0 * rotation, rest_value=None,
        frame_hz=7.1e6 + 100.0 * np.arange(rotation.size), unit="V", quantity="screen voltage",
    )  # fmt: skip


def test_only_rising_parts_of_a_map_are_looked_at() -> None:
    """It falls from 50 to 30 % and rises to 90 %: what falls lets go by itself. The first points, within a
    part in 500 of where it begins, are left out.
    """
    rotation = np.concatenate([np.linspace(0.5, 0.3, 21), 0.3003 + np.arange(41) * 0.015])
    volts = 1e-3 * np.exp(0.1 * np.arange(62))
    found = stability.settings(known(rotation, volts), points=100)
    assert min(found) in (22, 23) and max(found) == 61
    assert all(rotation[i] > 0.3006 for i in found)
    # twelve of them are spread evenly over all, the first and the last among them
    twelve = stability.settings(known(rotation, volts))
    assert len(twelve) == 12 and (twelve[0], twelve[-1]) == (found[0], found[-1])
    steps = np.diff(twelve)
    assert steps.max() - steps.min() <= 1
    assert stability.settings(known(rotation, volts), points=5)[2] == found[round((len(found) - 1) / 2)]


def test_near_the_lower_stop_a_twentieth_of_a_per_cent_is_left_out() -> None:
    rotation = np.array([0.0, 0.0004, 0.0006, 0.1, 0.2, 0.3])
    assert stability.settings(known(rotation, np.geomspace(1e-3, 1.0, 6))) == [2, 3, 4, 5]


def test_a_map_that_stands_still_has_no_setting() -> None:
    """Less than a ten-thousandth of the travel for an e-fold is rounding."""
    volts = np.exp(np.arange(5.0))
    assert stability.settings(known(0.4 + 0.9e-4 * np.arange(5), volts)) == []
    assert stability.settings(known(0.4 + 1.1e-3 * np.arange(5), volts)) == [1, 2, 3, 4]


def test_between_two_points_of_a_map_the_amplitude_is_even_in_its_logarithm() -> None:
    there = known(np.array([0.4, 0.5, 0.7]), np.array([0.1, 0.4, 1.6]))
    assert stability._between(there, 0.5) == (pytest.approx(0.45), pytest.approx(0.2))
    assert stability._between(there, 1.5) == (pytest.approx(0.6), pytest.approx(0.8))
    assert stability._between(there, 2.0) == (pytest.approx(0.7), pytest.approx(1.6))


# ---------------------------------------------------------------------------- names


@pytest.mark.parametrize(
    ("shares", "carriers", "due"),
    [
        ([0.45, 0.40, 0.15], (PLATE, GRID, TANK), False),
        ([0.40, 0.45, 0.15], (PLATE, GRID, TANK), True),
        ([0.40, 0.15, 0.45], (PLATE, GRID, TANK), True),
        # of one kind two stores count together
        ([0.30, 0.30, 0.40], (PLATE, PLATE, TANK), False),
        # what comes back from the audio stage is a howl, whatever the grid capacitor holds
        ([0.11, 0.80, 0.09], (STRAY, GRID, PLATE), False),
        ([0.09, 0.80, 0.11], (STRAY, GRID, PLATE), True),
    ],
)
def test_squegging_is_led_by_tank_or_grid_capacitor(
    shares: list[float], carriers: tuple[Carrier, ...], due: bool
) -> None:
    assert stability.bias_leads(np.array(shares), carriers) is due


def test_carriers_are_named_until_seven_tenths_are_told_but_none_below_a_tenth() -> None:
    names = ("a", "b", "c", "b")
    assert stability.carried_by(np.array([0.2, 0.3, 0.1, 0.4]), names) == ("b", "a")
    assert stability.carried_by(np.array([0.71, 0.2, 0.09, 0.0]), names) == ("a",)
    assert stability.carried_by(np.array([0.69, 0.2, 0.11, 0.0]), names) == ("a", "b")
    assert stability.carried_by(np.array([0.05, 0.65, 0.095, 0.0]), names) == ("b",)


def seen(rotation: float, rate: float, *, biased: bool = False, amplitude: float = 0.3) -> stability.Seen:
    return stability.Seen(row(rotation, rate, amplitude=amplitude), biased)


@pytest.mark.parametrize(
    ("settings", "due"),
    [
        ([seen(0.4, 5.0), seen(0.5, 50.0, biased=True)], Steadiness.MOTORBOATING),
        ([seen(0.4, -5.0), seen(0.5, -50.0, biased=True)], Steadiness.HOLDS_STILL),
        # from 40 % on, a tenth above is 44 %
        ([seen(0.4, -5.0), seen(0.439, 50.0), seen(0.6, -1.0)], Steadiness.THRESHOLD_HOWL),
        ([seen(0.4, -5.0), seen(0.441, 50.0), seen(0.6, -1.0)], Steadiness.HOWL),
        # it goes on to the top: no matter of the threshold
        ([seen(0.4, -5.0), seen(0.41, 50.0), seen(0.6, 1.0)], Steadiness.HOWL),
        # what grows fastest gives the name
        ([seen(0.4, -5.0), seen(0.41, 50.0), seen(0.6, 90.0, biased=True)], Steadiness.SQUEGGING),
        ([seen(0.4, -5.0), seen(0.41, 99.0), seen(0.6, 90.0, biased=True)], Steadiness.HOWL),
        # what decays is led by what it likes
        ([seen(0.4, -5.0, biased=True), seen(0.43, 9.0), seen(0.6, -1.0, biased=True)],
         Steadiness.THRESHOLD_HOWL),
    ],
)  # fmt: skip
def test_what_grows_is_named_by_where_and_how(settings: list[stability.Seen], due: Steadiness) -> None:
    assert stability.kind_of(settings) is due


def test_slow_modes_and_all_that_grow_stand_in_a_row() -> None:
    """Of a pair that rings the one of positive pitch; those of 20 kHz and more belong to the tank, unless
    they grow. The first of them says what leads.
    """
    w = 2.0 * math.pi
    s = np.array([300.0 + w * 30e3 * 1j, 300.0 - w * 30e3 * 1j, 5.0, -40.0 + w * 500j, -40.0 - w * 500j,
                  -9.0 + w * 20.1e3 * 1j, -w * 19e3, -w * 21e3])  # fmt: skip
    share = np.array([[0.1, 0.9]] + [[0.8, 0.2]] * 7)
    setting = ControlSetting(0.5, 30.0)
    found = stability._row(NaturalModes(s, share), (PLATE, GRID), setting=setting, amplitude=0.7)
    there = found.modes
    assert there.rate == pytest.approx([300.0, 5.0, -40.0, -w * 19e3])
    assert there.frequency_hz == pytest.approx([30e3, 0.0, 500.0, 0.0], abs=1e-9)
    assert there.carried_by == (("grid capacitor",), *[("plate load",)] * 3)
    # both of the pair grow
    assert (there.growing, there.amplitude_v, there.setting) == (3, 0.7, setting)
    assert (there.motion_hz, there.motion_v, there.motion_mean_v) == (None, None, None)
    assert found.biased
    assert not stability._row(
        NaturalModes(s[1:], share[1:]), (PLATE, GRID), setting=setting, amplitude=0.7
    ).biased
    none = stability._row(NaturalModes(s[:0], share[:0]), (PLATE, GRID), setting=setting, amplitude=0.7)
    assert (none.modes.rate.size, none.biased) == (0, False)


# ---------------------------------------------------------------------------- what is watched


@pytest.mark.parametrize(
    ("rates", "due"),
    [
        ((-5.0, -3.0, 2.0, 9.0, 4.0, -1.0), 3),  # amid those that grow
        ((7.0, -3.0, -2.0), 0),  # at rest, if only that grows
        ((7.0, -3.0, 2.0), 2),
        ((-1.0, -30.0, -20.0, -40.0), 2),  # the least damped where it oscillates
        ((-1.0,), 0),
    ],
)
def test_the_setting_to_watch(rates: tuple[float, ...], due: int) -> None:
    assert stability._to_watch([row(0.4 + 0.01 * i, rate) for i, rate in enumerate(rates)]) == due


def test_a_setting_without_modes_is_watched_last() -> None:
    rows = [row(0.4, -1.0), row(0.5), row(0.6, -9e9)]
    assert stability._to_watch(rows) == 2


@pytest.mark.parametrize(
    ("rates", "hertz", "seconds", "due"),
    [
        ((-40.0,), 900.0, 0.3, [0.3]),
        # 20 e-folds take 50 ms, 60 periods 60: 0.11, 0.22, then what was asked for
        ((400.0,), 1000.0, 0.5, [0.11, 0.22, 0.5]),
        # ten seconds of growth are cut at one
        ((2.0,), 1000.0, 0.3, [1.0]),
        # its growth alone takes 0.5 s, beyond the 0.3
        ((40.0,), 120.0, 0.3, [0.5]),
    ],
)
def test_how_long_a_setting_is_watched(
    rates: tuple[float, ...], hertz: float, seconds: float, due: list[float]
) -> None:
    found = stability._lengths(row(0.5, *rates, hertz=(hertz,) * len(rates)), seconds)
    assert found == pytest.approx(due)


class Look:
    """Answers of a run over time by its length, and the lengths asked for."""

    def __init__(self, answers: dict[float, Any]) -> None:
        self.answers, self.asked = answers, []

    def __call__(self, _: Any, __: Any, *, rotation: float, frequency: float, seconds: float) -> Any:
        assert (rotation, frequency) == (0.5, 7.1e6)
        self.asked.append(seconds)
        return self.answers[seconds]


def watched(
    monkeypatch: pytest.MonkeyPatch, one: EnvelopeModes, look: Look, *, at_rest: bool = False,
    relaxes: Moving | None = None, lengths: tuple[float, ...] = (0.1, 0.2, 0.4),
) -> EnvelopeModes:  # fmt: skip
    def other(*_: Any, **__: Any) -> None:
        raise AssertionError("the other look was not asked for")

    monkeypatch.setattr(stability, "watch_at_rest", look if at_rest else other)
    monkeypatch.setattr(stability, "watch", other if at_rest else look)
    monkeypatch.setattr(stability, "relaxation", lambda *_, **__: relaxes)
    return stability._watched(one, MODE, MODE, at_rest=at_rest, frequency=7.1e6, lengths=lengths)


STILL = (None, None, None)


@pytest.mark.parametrize(
    ("answers", "at_rest", "looks", "due"),
    [
        ({0.1: (900.0, 0.2, 0.5)}, False, 1, (900.0, 0.2, 0.5)),
        # its mean still drifts: a longer look
        ({0.1: (900.0, 0.2, None), 0.2: (800.0, 0.3, 0.6)}, False, 2, (800.0, 0.3, 0.6)),
        # unless a hundred periods have gone by
        ({0.1: (1001.0, 0.2, None)}, False, 1, (1001.0, 0.2, None)),
        # at rest there is no mean to wait for
        ({0.1: (9.0, 0.2, None)}, True, 1, (9.0, 0.2, None)),
        ({0.1: STILL, 0.2: STILL, 0.4: STILL}, False, 3, STILL),
        ({0.1: STILL, 0.2: STILL, 0.4: (3.0, 0.1, None)}, False, 3, (3.0, 0.1, None)),
    ],
)
def test_a_motion_is_looked_at_until_it_has_settled(
    monkeypatch: pytest.MonkeyPatch, answers: dict[float, Any], at_rest: bool, looks: int, due: Any
) -> None:
    look = Look(answers)
    found = watched(monkeypatch, row(0.5, 40.0), look, at_rest=at_rest)
    assert look.asked == [0.1, 0.2, 0.4][:looks]
    assert (found.motion_hz, found.motion_v, found.motion_mean_v) == due


@pytest.mark.parametrize(
    ("pitches", "looks"),
    [
        # within a twentieth of each other: their mean drifts, as their supply does
        ((3285.0, 3227.0, 3270.0), 3),
        ((None, 3285.0, 3227.0, 3270.0), 4),
        ((3600.0, 3285.0, 3227.0, 3270.0), 4),
        # one that saw nothing, and one that saw another pitch, say that it has not settled
        ((3285.0, None, 3227.0, 3270.0, 3250.0), 5),
        ((3285.0, 3227.0, 3400.0, 3270.0, 3250.0, 3260.0), 5),
    ],
)
def test_a_drifting_motion_is_known_once_three_looks_show_its_pitch(
    monkeypatch: pytest.MonkeyPatch, pitches: tuple[float | None, ...], looks: int
) -> None:
    """From a quarter of a millisecond up each look is twice as long; no hundred periods go by in any."""
    lengths = tuple(0.25e-3 * 2.0**k for k in range(7))
    answers = {length: (hertz, 0.2, None) for length, hertz in zip(lengths, pitches, strict=False)}
    look = Look(answers)
    found = watched(monkeypatch, row(0.5, 40.0), look, lengths=lengths)
    assert look.asked == list(lengths[:looks])
    assert (found.motion_hz, found.motion_v, found.motion_mean_v) == (pitches[looks - 1], 0.2, None)


def test_where_nothing_grows_a_start_from_rest_is_looked_at_first(monkeypatch: pytest.MonkeyPatch) -> None:
    moving, look = Moving(46e3, 0.7, 0.2), Look({0.1: STILL, 0.2: STILL, 0.4: STILL})
    found = watched(monkeypatch, row(0.5, -40.0), look, relaxes=moving)
    assert (found.motion_hz, found.motion_v, found.motion_mean_v) == (46e3, 0.7, 0.2) and not look.asked
    # where something grows, or at rest, that is what is looked at
    for one, at_rest in ((row(0.5, 40.0), False), (row(0.5, -40.0), True)):
        look = Look({0.1: STILL, 0.2: STILL, 0.4: STILL})
        found = watched(monkeypatch, one, look, at_rest=at_rest, relaxes=moving)
        assert found.motion_hz is None and look.asked == [0.1, 0.2, 0.4]


# ---------------------------------------------------------------------------- limits


def limits(rates: tuple[float, ...], grows_from: float = 0.0, grows_to: float = 1.0) -> Any:
    """Between settings a tenth of the knob apart; something grows between two rotations."""
    rotation = 0.4 + 0.1 * np.arange(len(rates))
    there = known(rotation, np.geomspace(0.1, 1.0, len(rates)))
    rows = [row(float(r), rate) for r, rate in zip(rotation, rates, strict=True)]

    def grows(place: float) -> bool:
        return grows_from < 0.4 + 0.1 * place < grows_to

    return stability._limits(rows, range(len(rates)), there, grows)


def test_limits_of_a_howl_are_found_by_halving_towards_what_holds_still() -> None:
    """To a 500th of a tenth of the knob, and the middle of that: 1e-4."""
    begins, ends = limits((-9.0, -9.0, 5.0, 5.0, -9.0), 0.537, 0.762)
    assert (begins, ends) == (pytest.approx(0.537, abs=1.1e-4), pytest.approx(0.762, abs=1.1e-4))
    assert limits((-9.0, -9.0, -9.0)) == (None, None)
    # what grows at rest alone does not grow while it oscillates
    assert limits((5.0, -9.0, -9.0)) == (None, None)


def test_without_a_setting_that_holds_still_the_limit_is_the_setting_itself() -> None:
    begins, ends = limits((-9.0, 5.0, 5.0), 0.437, 2.0)
    assert (begins, ends) == (pytest.approx(0.437, abs=1.1e-4), pytest.approx(0.6))
    # where it grows at rest, too, there is no holding still below
    begins, ends = limits((5.0, 5.0, -9.0), 0.437, 0.55)
    assert (begins, ends) == (pytest.approx(0.5), pytest.approx(0.55, abs=1.1e-4))


# ---------------------------------------------------------------------------- what became of a mode


def stable(*rows: EnvelopeModes, unstable: bool = False) -> Stability:
    kind = Steadiness.HOWL if unstable else Steadiness.HOLDS_STILL
    return Stability("40 m", 7.1e6, "as built", rows, unstable, kind)


HOWLED = stable(row(0.4, -9.0, amplitude=0.0), row(0.5, 70.0, -3.0, hertz=(300.0, 9.0)), unstable=True)


@pytest.mark.parametrize(
    ("cured", "due"),
    [
        # the same part, whatever the other is nearer in pitch
        ([row(0.5, -20.0, -30.0, hertz=(310.0, 200.0), parts=("screen", "plate load"))], (1, 1)),
        # without that part the nearest in pitch
        ([row(0.5, -20.0, -30.0, hertz=(310.0, 200.0), parts=("screen", "tank"))], (1, 0)),
        # of neighbouring settings that which rings longest, though its pitch is farther by less than e^0.2
        ([row(0.5, -50.0, hertz=(300.0,)), row(0.6, -20.0, hertz=(350.0,))], (2, 0)),
        ([row(0.5, -50.0, hertz=(300.0,)), row(0.6, -20.0, hertz=(370.0,))], (1, 0)),
        # above or below alike
        ([row(0.5, -50.0, hertz=(300.0,)), row(0.6, -20.0, hertz=(250.0,))], (2, 0)),
        ([row(0.5, -50.0, hertz=(300.0,)), row(0.6, -20.0, hertz=(243.0,))], (1, 0)),
        # what creeps has no pitch
        ([row(0.5, -20.0, -30.0, hertz=(0.5, 200.0))], (1, 1)),
        ([row(0.5, -20.0, hertz=(0.5,))], None),
    ],
)
def test_the_mode_that_grew_is_found_again_in_the_cured_set(
    cured: list[EnvelopeModes], due: tuple[int, int] | None
) -> None:
    """It grew at 300 Hz, carried by the plate load."""
    first = row(0.4, -1.0, amplitude=0.0, hertz=(300.0,))  # at rest: not where it oscillates
    assert stability.became(HOWLED, stable(first, *cured)).became == due


def test_only_of_a_cure_is_it_told_what_became_of_the_mode() -> None:
    cured = stable(row(0.5, -20.0, hertz=(310.0,)))
    assert stability.became(stable(row(0.5, -1.0)), cured) is cured
    still = stable(row(0.5, 20.0, hertz=(310.0,)), unstable=True)
    assert stability.became(HOWLED, still) is still
    creeps = stable(row(0.4, -9.0, amplitude=0.0), row(0.5, 70.0, hertz=(0.0,)), unstable=True)
    assert stability.became(creeps, cured).became is None


# ---------------------------------------------------------------------------- remedies


def test_remedies_of_a_howl_come_first_and_the_milder_before_the_stronger(demo: Build) -> None:
    """A choke of the demo has a shunt; without it 220, then 100 kohm; then an own feed of the audio stage;
    the leak by three tenths and a tenth, at last with the capacitor by a tenth.
    """
    bare = changed_build(demo, {"detector.load.shunt": None, "detector.grid_leak": "2.7 Mohm",
                                "detector.grid_capacitor": "1 nF", "audio.decoupling": None})  # fmt: skip
    against_howl = ["load shunt of 220 kohm", "load shunt of 100 kohm", "audio fed by 4.7 kohm, 16 uF"]
    against_squegging = ["grid leak of 0.81 Mohm", "grid leak of 0.27 Mohm", "leak 0.27 Mohm, 100 pF"]
    found = stability.remedies(bare, Steadiness.THRESHOLD_HOWL)
    assert [what for what, _ in found] == against_howl + against_squegging
    assert [
        what for what, _ in stability.remedies(bare, Steadiness.SQUEGGING)
    ] == against_squegging + against_howl
    builds: dict[str, Any] = dict(found)
    assert [builds[what].detector.load.shunt for what in against_howl] == [220e3, 100e3, None]
    fed = builds[against_howl[2]].audio.decoupling
    assert (fed.resistor, fed.capacitor) == (4.7e3, 16e-6)
    values = [(builds[w].detector.grid_leak, builds[w].detector.grid_capacitor) for w in against_squegging]
    assert values == [
        pytest.approx((0.81e6, 1e-9)),
        pytest.approx((0.27e6, 1e-9)),
        pytest.approx((0.27e6, 1e-10)),
    ]


@pytest.mark.parametrize(("shunt", "due"), [("220 kohm", [100]), ("221 kohm", [220, 100]), ("100 kohm", [])])
def test_a_shunt_is_tried_where_it_is_less_than_what_is_there(
    demo: Build, shunt: str, due: list[int]
) -> None:
    found = stability.remedies(changed_build(demo, {"detector.load.shunt": shunt}), Steadiness.HOWL)
    assert [what for what, _ in found if "shunt" in what] == [f"load shunt of {ohm} kohm" for ohm in due]


def test_what_is_there_already_is_no_remedy(demo: Build) -> None:
    fed = changed_build(demo, {"audio.decoupling": {"resistor": "2 kohm", "capacitor": "8 uF"}})
    assert not any("audio fed" in what for what, _ in stability.remedies(fed, Steadiness.HOWL))
    small = changed_build(demo, {"detector.grid_capacitor": "100 pF"})
    # a grid capacitor below 50 pF holds no bias
    assert stability.remedies(small, Steadiness.HOWL)[-1][1].detector.grid_capacitor == pytest.approx(50e-12)


# ---------------------------------------------------------------------------- the whole question


class Linear:
    """The envelope about a setting: one mode, which grows amid some of the knob."""

    def __init__(self, rotation: float, amplitude: float, oscillates: bool, howls: Any) -> None:
        self.rotation, self.amplitude, self.oscillates, self._howls = rotation, amplitude, oscillates, howls
        self.carriers = (PLATE, GRID)

    def modes(self) -> NaturalModes:
        rate = 50.0 if 0.52 < self.rotation < 0.68 and self.oscillates else -50.0
        pair = np.array([rate + 2j * math.pi * 300.0, rate - 2j * math.pi * 300.0])
        return NaturalModes(pair, np.array([[0.8, 0.2], [0.8, 0.2]]))

    def howls_at(self) -> Any:
        return self._howls(self.rotation)


def looked(monkeypatch: pytest.MonkeyPatch, build: Any, *, howls: Any, knob: np.ndarray, **how: Any) -> Any:
    made: list[Linear] = []
    watching: list[Any] = []

    def linearised(_: Any, __: Any, *, amplitude: float, rotation: float, oscillates: bool = True) -> Linear:
        made.append(Linear(rotation, amplitude, oscillates, howls))
        return made[-1]

    def watch(one: EnvelopeModes, *_: Any, at_rest: bool, frequency: float, lengths: Any) -> EnvelopeModes:
        watching.append((one.setting.rotation, at_rest, frequency, lengths))
        return replace(one, motion_hz=290.0)

    monkeypatch.setattr(stability, "linearised", linearised)
    monkeypatch.setattr(stability, "_watched", watch)
    found = filled(Oscillation, dial_hz=7.1e6, amplitudes=known(knob, np.geomspace(1e-4, 1.0, knob.size)))
    receiver: Any = SimpleNamespace(build=build)
    band: Any = SimpleNamespace(name="40 m")
    mode: Any = Mode
    answer = stability.run(receiver, mode, band=band, found=found, **how)
    return answer, made, watching


def test_rest_and_settings_are_looked_at_and_one_is_watched(
    monkeypatch: pytest.MonkeyPatch, demo: Build
) -> None:
    """The first is the circuit at rest at onset, its amplitude held at the least; then six settings of the
    map. Something grows from 52 to 68 %: the second of 55 and 65 % is watched, at its own frequency.
    """
    knob = np.array([0.4, 0.45, 0.5, 0.55, 0.65, 0.75, 0.85])
    found, made, watching = looked(monkeypatch, demo, howls=lambda _: (1e-12, 2e3), knob=knob, what="tried")
    assert [(one.amplitude, one.oscillates) for one in made[:2]] == [(1e-3, False), (1e-3, True)]
    assert [one.rotation for one in made[:7]] == pytest.approx([0.4, 0.45, 0.5, 0.55, 0.65, 0.75, 0.85])
    assert made[6].amplitude == pytest.approx(1.0)
    assert (found.band, found.dial_hz, found.what) == ("40 m", 7.1e6, "tried")
    assert (found.unstable, found.kind) == (True, Steadiness.HOWL)
    assert [p.amplitude_v for p in found.points] == pytest.approx(
        [0.0, *np.geomspace(1e-4, 1.0, 7)[1:]], abs=0.0
    )
    assert [p.setting.screen_v for p in found.points] == pytest.approx(60.0 * knob)
    assert [p.growing for p in found.points] == [0, 0, 0, 2, 2, 0, 0]
    (watched_one,) = watching
    assert watched_one[:3] == (pytest.approx(0.65), False, pytest.approx(7.1e6 + 400.0, rel=1e-12))
    assert [p.motion_hz for p in found.points] == [None] * 4 + [290.0] + [None] * 2
    # a 500th of 5 and of 10 % of the knob
    assert found.begins_rotation == pytest.approx(0.52, abs=6e-5)
    assert found.ends_rotation == pytest.approx(0.68, abs=1.2e-4)
    # what is unstable as it is has no margin
    assert (found.stray_margin_farad, found.stray_howl_hz, found.stray_rotation) == (None, None, None)


def test_the_least_stray_that_would_howl_counts_with_the_one_that_is_there(
    monkeypatch: pytest.MonkeyPatch, demo: Build
) -> None:
    strays = changed_build(demo, {"detector.strays.audio_plate": "0.02 pF"})
    knob = np.array([0.4, 0.42, 0.44, 0.46, 0.48])

    def howls(rotation: float) -> tuple[float, float] | None:
        return None if rotation > 0.47 else (0.1e-12 + abs(rotation - 0.44) * 1e-12, 1e3 + 1e4 * rotation)

    found, _, watching = looked(monkeypatch, strays, howls=howls, knob=knob, seconds=0.0)
    assert (found.unstable, found.kind, watching) == (False, Steadiness.HOLDS_STILL, [])
    assert found.stray_margin_farad == pytest.approx(0.12e-12)
    assert (found.stray_howl_hz, found.stray_rotation) == (pytest.approx(5.4e3), pytest.approx(0.44))
    assert (found.begins_rotation, found.ends_rotation) == (None, None)
    none, _, _ = looked(monkeypatch, strays, howls=lambda _: None, knob=knob, seconds=0.0)
    assert none.stray_margin_farad is None


def test_without_a_map_nothing_can_be_unstable() -> None:
    silent = filled(Oscillation, amplitudes=None)
    band: Any = SimpleNamespace(name="40 m")
    with pytest.raises(NoAnswer, match=r"^without oscillation there is nothing to be unstable$"):
        stability.run(MODE, MODE, band=band, found=silent)
