"""Sound from runs made by hand: stretches and their seams, ends, noise, level, what is refused."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from receiver_sim.circuit.control import Control
from receiver_sim.circuit.mode import Mode
from receiver_sim.circuit.signals import DialPath, Signal
from receiver_sim.errors import WrongValue
from receiver_sim.measure.set_noise import BandNoise
from receiver_sim.results.envelope import Sound
from receiver_sim.results.onset import SCREEN
from receiver_sim.schema import Build
from receiver_sim.studies import listening
from tests.helpers.filling import filled

MODE = Mode(
    reference_hz=7.1e6, decay=2e5, offset_rad=0.0, residue=4e9 + 0j, grid=1.0, cathode=0.05, plate=0.0,
    screen=0.0, aerial=3.1e-6 * np.exp(0.7j), misfit=0.0,
)  # fmt: skip
ALONG = replace(MODE, along=tuple((place, MODE) for place in (0.0, 0.5, 1.0)))
BAND: Any = SimpleNamespace(name="40 m")
STILL = [(0.0, 0.4)]
MOVING = [(0.0, 0.4), (0.02, 0.6)]


def wave(time: np.ndarray) -> np.ndarray:
    """A tone of 1 kHz on volts of the plate."""
    return 90.0 + 0.3 * np.sin(2.0 * np.pi * 1000.0 * time)


class State(dict[str, np.ndarray]):
    """What a run leaves."""

    engine_seconds = 0.25


class Bench:
    """A bench whose runs give what is due at any moment: `wave`, and an amplitude of 1 V a second."""

    def __init__(self, points: float = 1.0) -> None:
        self.points, self.plans, self.asked, self.session = points, [], [], self

    def plan(self, *_: Any, **how: Any) -> Any:
        self.plans.append(how)
        return SimpleNamespace(outputs=["phone0", "phone1"], node=lambda _: "amp", how=how)

    @contextmanager
    def loaded(self, _: Any, circuit: Any) -> Iterator[Bench]:
        self._start = circuit.how["start"]
        yield self

    def tran(self, *asked: float, uic: bool) -> State:
        self.asked.append((*asked, uic))
        length = asked[1]
        # no step of ngspice lies on the samples, and the last is there twice
        time = np.linspace(0.0, length, max(round(24e3 * self.points * length), 8) + 7)
        time = np.append(time, time[-1])
        volts = wave(self._start + time)
        return State(time=time, phone0=2.0 * volts, phone1=volts, amp=self._start + time)


def heard(
    monkeypatch: pytest.MonkeyPatch, demo: Build, seconds: float, *, bench: Bench | None = None,
    path: Any = STILL, mode: Mode = MODE, **how: Any
) -> tuple[Sound, Bench]:  # fmt: skip
    bench = bench or Bench()
    monkeypatch.setattr(listening, "plan", bench.plan)
    monkeypatch.setattr(listening, "loaded", bench.loaded)
    receiver: Any = SimpleNamespace(build=demo, cards=None, bench=None)
    two = demo.model_copy(update={"phones": (*demo.phones, *demo.phones)})
    receiver.build = two
    plain: dict[str, Any] = {"band": BAND, "reference_hz": 7.1e6, "path": path, "signals": (), "output": 1}
    return listening.run(receiver, mode, seconds=seconds, **{**plain, **how}), bench


# ---------------------------------------------------------------------------- stretches


@pytest.mark.parametrize(
    ("seconds", "path", "mode", "how", "due"),
    [
        (0.1, STILL, MODE, {}, [0.1]),
        # a rest of a tenth of a stretch is added to the last
        (0.54, STILL, MODE, {}, [0.54]),
        (0.56, STILL, MODE, {}, [0.5, 0.56]),
        (0.07, STILL, MODE, {"stretch_s": 0.02}, [0.02, 0.04, 0.06, 0.07]),
        # a control on the tank moves from one stretch of 10 ms to the next, one that stands still does not
        (0.03, MOVING, ALONG, {}, [0.01, 0.02, 0.03]),
        (0.03, MOVING, MODE, {}, [0.03]),
        (0.03, STILL, ALONG, {}, [0.03]),
        (0.03, [(0.0, 0.4), (1.0, 0.4)], ALONG, {}, [0.03]),
    ],
)
def test_a_sound_is_made_of_stretches_that_go_on_from_each_other(
    monkeypatch: pytest.MonkeyPatch,
    demo: Build,
    seconds: float,
    path: Any,
    mode: Mode,
    how: Any,
    due: list[float],
) -> None:
    """Each sample is the wave at its own moment, on both sides of a seam: a cubic leaves (w h)^4/384 of a
    tone of 1 kHz at 24 000 steps a second, 1.3e-5; straight lines (w h)^2/8, nearly a per cent.
    """
    told: list[tuple[int, int]] = []
    found, bench = heard(
        monkeypatch, demo, seconds, path=path, mode=mode, progress=lambda *at: told.append(at), **how
    )
    starts = [0.0, *due[:-1]]
    assert [(one["start"], one["stop"]) for one in bench.plans] == [
        (pytest.approx(a, abs=1e-12), pytest.approx(b)) for a, b in zip(starts, due, strict=True)
    ]
    assert told == [(n, len(due)) for n in range(1, len(due) + 1)]
    step = 1.0 / 24e3
    assert [one[:4] for one in bench.asked] == [
        pytest.approx((step, b - a, 0.0, step)) for a, b in zip(starts, due, strict=True)
    ]
    # the first begins at rest, each of the others where the one before ended
    assert [one[4] for one in bench.asked] == [n > 0 for n in range(len(due))]
    assert [one["state"] is not None for one in bench.plans] == [n > 0 for n in range(len(due))]
    time = np.arange(round(seconds * 24e3)) / 24e3
    assert (found.rate, found.volts.size) == (24e3, time.size)
    tone = wave(time)
    # one end of a spline has no neighbour: some 1e-4 of a tone there
    assert found.volts == pytest.approx(tone - tone.mean(), abs=1e-4)
    assert found.amplitude_v == pytest.approx(found.path_s, abs=1e-9)
    assert found.engine_seconds == pytest.approx(0.25 * len(due))
    assert found.highest_v == pytest.approx(seconds)
    assert (found.asked_s, found.steps, found.noise) == (None, None, None)
    assert (found.band, found.dial_hz) == ("40 m", 7.1e6)


@pytest.mark.parametrize(
    ("points", "most", "ended"),
    [
        (12.0, 1000, True),
        (12.0, None, False),
        (9.0, 1000, False),
        (12.0, 26_000, True),
        (12.0, 30_000, False),
    ],
)
def test_a_run_that_is_dense_with_steps_is_ended(
    monkeypatch: pytest.MonkeyPatch, demo: Build, points: float, most: int | None, ended: bool
) -> None:
    """More than ten steps a sample, and more of them than is allowed: 12 make 14 400 in 50 ms of sound."""
    found, bench = heard(monkeypatch, demo, 0.15, bench=Bench(points), stretch_s=0.05, most_steps=most)
    # the allowance of 26 000 is gone after two stretches, that of 30 000 within the third, the last
    stretches = {1000: 1, 26_000: 2}[most] if ended and most else 3
    assert len(bench.asked) == stretches
    assert found.volts.size == round(0.05 * stretches * 24e3)
    assert found.asked_s == (0.15 if ended else None)
    each = round(24e3 * points * 0.05) + 7  # the step that is there twice counts once
    assert found.steps == (stretches * each if ended else None)


def test_of_a_noisy_amplitude_the_softening_is_taken_off(
    monkeypatch: pytest.MonkeyPatch, demo: Build
) -> None:
    """A circle of 3 mV is what an envelope with noise never goes below: sqrt(a^2 - (3 mV)^2)."""
    noise: Any = SimpleNamespace(audio=SimpleNamespace(frequency=np.ones(2), density=np.ones(2)))
    seeds: list[int] = []
    monkeypatch.setattr(listening, "noise_courses", lambda seed, **_: seeds.append(seed) or "courses")
    monkeypatch.setattr(listening, "heard", lambda *_, **how: how)
    found, bench = heard(monkeypatch, demo, 0.02, noise=noise, seed=7, place="rural")
    due = np.sqrt(np.maximum(found.path_s**2 - 9e-6, 0.0))
    # straight between steps where the root begins: some per cent of a sample's 40 uV
    assert found.amplitude_v == pytest.approx(due, abs=1e-6)
    assert bench.plans[0]["noise"] == (noise, "courses") and seeds == [7]
    assert found.noise == {"seed": 7, "place": "rural"}  # type: ignore[comparison-overlap]


@pytest.mark.parametrize(
    ("seconds", "how", "words"),
    [
        (1.0, {"path": []}, "a path of the control needs settings at rising times"),
        (1.0, {"path": [(0.0, 0.4), (0.0, 0.5)]}, "a path of the control needs settings at rising times"),
        (1.0, {"signals": [Signal(1e-5)], "mode": replace(MODE, aerial=None)},
         "this build has no aerial; add the key 'aerial' for signals to come in"),
        (0.0, {}, "a length of sound must be above 0 s, got 0.0"),
        (math.nan, {}, "a length of sound must be above 0 s, got nan"),
        (0.3, {"signals": [Signal(1e-5, start_s=0.1), Signal(1e-5, start_s=0.298)]},
         "0.3 s of sound end before a signal that begins at 0.298 s is there: ask for 0.303 s or more, or "
         "let it begin sooner (start_s)"),
    ],
)  # fmt: skip
def test_what_cannot_be_heard_is_refused(
    monkeypatch: pytest.MonkeyPatch, demo: Build, seconds: float, how: dict[str, Any], words: str
) -> None:
    with pytest.raises(WrongValue) as caught:
        heard(monkeypatch, demo, seconds, **how)
    assert str(caught.value) == words


def test_a_signal_that_is_just_there_is_heard(monkeypatch: pytest.MonkeyPatch, demo: Build) -> None:
    found, _ = heard(monkeypatch, demo, 0.303, signals=[Signal(1e-5, start_s=0.298)])
    assert found.volts.size == 7272
    # without any signal no aerial is needed
    found, _ = heard(monkeypatch, demo, 0.01, mode=replace(MODE, aerial=None))
    assert found.volts.size == 240


# ---------------------------------------------------------------------------- level


def test_level_and_peak_of_a_sound(demo: Build) -> None:
    """Watts of a tone of 1 kHz in 2.2 kohm and 1.7 H: V^2 R/(R^2 + X^2); decibels over a milliwatt on top of
    the phones' own. What stands still, 90 V of the plate, is no sound.
    """
    time = np.arange(2400) / 24e3
    volts = wave(time) + 0.9 * (np.arange(2400) == 1234)
    dial = DialPath(((0.0, 0.0), (0.05, 400.0)))
    phones = demo.phones[0]
    found = listening.reduce(
        demo, band=BAND, dial_hz=7.1e6, output=0, time=time, volts=volts, amplitude=2.0 * time,
        path=[(0.02, 0.3), (0.06, 0.7)], seconds=1.5, dial=dial,
    )  # fmt: skip
    rms = math.sqrt(0.09 / 2.0 + 0.81 / 2400 + 2 * 0.9 * 0.3 * math.sin(2.0 * math.pi * 1234 / 24) / 2400
                    - (0.9 / 2400) ** 2)  # fmt: skip
    assert found.rms_v == pytest.approx(rms)
    assert found.peak_v == pytest.approx(float(np.abs(volts - volts.mean()).max()))
    assert abs(found.volts.mean()) < 1e-12
    reactance = 2.0 * math.pi * 1000.0 * 1.7
    watts = rms**2 * 2200.0 / (2200.0**2 + reactance**2)
    assert found.level_db == pytest.approx(phones.sensitivity + 10.0 * math.log10(watts / 1e-3), abs=1e-9)
    assert (found.output, found.engine_seconds) == (phones.name, 1.5)
    # of a course a few hundred moments are kept, first and last among them
    assert found.path_s.size == 500 and (found.path_s[0], found.path_s[-1]) == (0.0, time[-1])
    assert found.amplitude_v == pytest.approx(2.0 * found.path_s)
    assert found.rotation == pytest.approx(0.3 + 0.4 * np.clip((found.path_s - 0.02) / 0.04, 0.0, 1.0))
    assert found.dial_offset_hz == pytest.approx(8e3 * np.minimum(found.path_s, 0.05))
    short = listening.reduce(
        demo, band=BAND, dial_hz=7.1e6, output=0, time=time[:40], volts=volts[:40], amplitude=time[:40],
        path=STILL, seconds=0.0,
    )  # fmt: skip
    assert short.path_s == pytest.approx(time[:40]) and short.dial_offset_hz is None


# ---------------------------------------------------------------------------- noise


class Noise:
    """What a set's noise comes to: densities (A/sqrt(Hz)) at the hot end."""

    def __init__(self, band: BandNoise | None) -> None:
        self.band, self.tube = band, 4e-12
        self.audio = SimpleNamespace(frequency=np.array([500.0, 1500.0]), density=np.array([2e-12, 6e-12]))

    def thermal(self, _: Any) -> float:
        return 3e-12

    def aerial(self, mode: Mode) -> float:
        return 0.0 if self.band is None else 12e-12

    def total(self, mode: Mode) -> float:
        return math.sqrt(3e-12**2 + 4e-12**2 + self.aerial(mode) ** 2)


ROOT = math.sqrt(3000.0)


def test_figures_of_the_noise_are_those_of_three_kilohertz_each_in_its_place() -> None:
    """3, 4 and 12 pA are 13 together and 5 of the set's own; over 3.1 uA/V they are e.m.f.s in the aerial."""
    band = filled(BandNoise, galactic_db=None, height_assumed=False)
    noise: Any = Noise(band)
    stations = [Signal(25e-6, 700.0), Signal(2e-6, -300.0)]
    found = listening.heard(noise, MODE, stations, seed=9, place="rural")
    assert (found.place, found.seed, found.bandwidth_hz) == ("rural", 9, 3000.0)
    assert (found.man_made_db, found.atmospheric_db, found.galactic_db, found.total_db) == (
        band.man_made_db, band.atmospheric_db, None, band.total_db,
    )  # fmt: skip
    assert (found.radiation_ohm, found.height_assumed) == (band.radiation_ohm, False)
    assert found.band_emf_v == pytest.approx(band.emf * ROOT)
    assert found.own_emf_v == pytest.approx(5e-12 / 3.1e-6 * ROOT)
    assert (found.thermal_a, found.tube_a, found.band_a) == pytest.approx(
        (3e-12 * ROOT, 4e-12 * ROOT, 12e-12 * ROOT)
    )
    # half way between 500 and 1500 Hz
    assert found.audio_a == pytest.approx(4e-12 * ROOT)
    emf = 13e-12 / 3.1e-6 * ROOT
    assert [(s.offset_hz, s.level_v) for s in found.stations] == [(700.0, 25e-6), (-300.0, 2e-6)]
    assert [s.over_noise_db for s in found.stations] == pytest.approx(
        [20.0 * math.log10(25e-6 / emf), 20.0 * math.log10(2e-6 / emf)]
    )
    assumed: Any = Noise(replace(band, height_assumed=True))
    assert listening.heard(assumed, MODE, (), seed=9, place="rural").height_assumed


def test_without_an_aerial_there_is_the_sets_own_noise_alone() -> None:
    noise: Any = Noise(None)
    found = listening.heard(noise, replace(MODE, aerial=None), (), seed=3, place="rural")
    assert (found.place, found.band_emf_v, found.own_emf_v, found.radiation_ohm, found.total_db) == (
        None,
    ) * 5
    assert (found.man_made_db, found.atmospheric_db, found.galactic_db) == (None,) * 3
    assert (found.height_assumed, found.stations, found.band_a) == (False, (), 0.0)
    assert found.thermal_a == pytest.approx(3e-12 * ROOT)


# ---------------------------------------------------------------------------- the circuit of a stretch


def test_points_of_a_moving_control_follow_its_law() -> None:
    """A logarithmic track of 15 % at half way, (a^x - 1)/(a - 1) with a = (1/0.15 - 1)^2: at each eighth of
    the stretch, and at the path's own corner within it. Times count from the stretch.
    """
    control = Control(SCREEN, "V", "scr", 270.0, (), "log", None)
    times, shares = listening.knob_points(control, [(0.0, 0.2), (1.03, 0.4), (3.0, 0.8)], start=1.0, stop=1.4)
    assert times == pytest.approx(sorted([*np.linspace(0.0, 0.4, 9), 0.03]), abs=1e-12)
    moments = 1.0 + np.array(times)
    turned = np.where(moments < 1.03, 0.2 + 0.2 * moments / 1.03, 0.4 + 0.4 * (moments - 1.03) / 1.97)
    base = (1.0 / 0.15 - 1.0) ** 2
    assert shares == pytest.approx((base**turned - 1.0) / (base - 1.0))


@pytest.mark.parametrize(("corner", "stop"), [(0.92, 0.98), (0.515, 0.56)])
def test_a_corner_of_the_path_on_a_step_of_the_stretch_is_one_point(corner: float, stop: float) -> None:
    """Fault guarded: 0.5 s + 7/8 of 0.48 s and a corner at 0.92 s are 1e-16 s apart, and stood as two points
    of one time in the deck, whose numbers have twelve digits.
    """
    control = Control(SCREEN, "V", "scr", 270.0, (), "linear", None)
    path = [(0.0, 0.4), (corner, 0.5), (2.0, 0.6)]
    times, shares = listening.knob_points(control, path, start=0.5, stop=stop)
    assert np.diff(times).min() > 1e-6 and times[-1] == pytest.approx(stop - 0.5)
    assert shares == pytest.approx(np.interp(0.5 + np.array(times), [0.0, corner, 2.0], [0.4, 0.5, 0.6]))
    printed = [f"{t:.12g}" for t in times]
    assert len(set(printed)) == len(printed)


@dataclass(frozen=True)
class Made:
    """A circuit that knows how it was asked for."""

    how: Any
    options: str = "reltol=1e-4 method=trap"
    elements: tuple[str, ...] = ()
    split: bool = False
    state: Any = None

    def plus(self, *elements: str) -> Made:
        return replace(self, elements=(*self.elements, *elements))

    def node(self, place: Any) -> str:
        return str(place.name)


def planned(
    monkeypatch: pytest.MonkeyPatch, demo: Build, path: Any, *, on_tank: bool = False, **given: Any
) -> tuple[Made, list[Any]]:
    asked: list[Any] = []

    def noise_block(courses: Any, **how: Any) -> Any:
        asked.append(("noise", courses, how))
        return SimpleNamespace(elements=("noise",))

    def signal_block(signal: Any, index: int, **how: Any) -> Any:
        asked.append((signal, index, how))
        return SimpleNamespace(elements=(f"signal {index}",))

    control = Control(SCREEN, "V", "scr", 270.0, (), "linear", None, on_tank=on_tank)
    monkeypatch.setattr(listening, "regeneration_control", lambda *_: control)
    monkeypatch.setattr(listening, "envelope_circuit", lambda *_, **how: Made(how))
    monkeypatch.setattr(listening, "knob_path", lambda *points: points)
    monkeypatch.setattr(listening, "split_diodes", lambda one: replace(one, split=True))
    monkeypatch.setattr(listening, "continued", lambda one, state: replace(one, state=state))
    monkeypatch.setattr(listening, "signal_block", signal_block)
    monkeypatch.setattr(listening, "noise_block", noise_block)
    plain = {"path": path, "signals": (), "reference_hz": 7.1e6, "start": 0.01, "stop": 0.03}
    found: Any = listening.plan(demo, None, MODE, **{**plain, **given})  # type: ignore[arg-type]
    return found, asked


def test_a_control_that_moves_is_led_by_its_path(monkeypatch: pytest.MonkeyPatch, demo: Build) -> None:
    """From 40 to 60 % in 20 ms: half of that in the middle of 10 to 30 ms, where it has stopped at 20 ms."""
    found, _ = planned(monkeypatch, demo, MOVING, start=0.0, stop=0.02)
    assert not found.how["held"] and found.how["rotation"] == pytest.approx(0.5)
    times, shares = found.how["knob"]
    assert (times[0], times[-1]) == (0.0, pytest.approx(0.02))
    assert (shares[0], shares[-1]) == pytest.approx((0.4, 0.6))
    assert (found.how["phases"], found.how["knots"], found.how["split"], found.split) == (6, 2, True, True)
    assert (found.how["reference_hz"], found.how["softening"]) == (7.1e6, 1e-6)
    # Newton's own tolerance, and the step ruled by its longest
    assert found.options == "reltol=1e-3 method=trap trtol=5"
    assert found.state is None


@pytest.mark.parametrize(
    ("path", "on_tank"), [(STILL, False), ([(0.0, 0.4), (1.0, 0.4)], False), (MOVING, True)]
)
def test_a_control_that_stands_still_is_held_by_plain_parts(
    monkeypatch: pytest.MonkeyPatch, demo: Build, path: Any, on_tank: bool
) -> None:
    state = object()
    found, _ = planned(monkeypatch, demo, path, on_tank=on_tank, state=state)
    assert found.how["held"] and found.how["knob"] is None and found.state is state
    # one on the tank stands where the path is in the middle of the stretch, 20 ms
    assert found.how["rotation"] == pytest.approx(0.6 if on_tank else 0.4)


def test_stations_and_noise_come_in_over_the_stretch(monkeypatch: pytest.MonkeyPatch, demo: Build) -> None:
    one, other, dial = Signal(1e-5), Signal(2e-5), DialPath(((0.0, 0.0),))
    levels: Any = SimpleNamespace(total=lambda _: 7e-12)
    found, asked = planned(
        monkeypatch, demo, STILL, signals=[one, other], dial=dial, noise=(levels, "courses")
    )
    assert found.elements == ("signal 0", "signal 1", "noise")
    how = {"amperes_per_volt": pytest.approx(3.1e-6), "start": 0.01, "stop": 0.03, "dial": dial}
    assert asked[:2] == [(one, 0, how), (other, 1, how)]
    assert asked[2] == ("noise", "courses", {"amperes": 7e-12, "plate": "PLATE", "start": 0.01, "stop": 0.03})
    assert found.how["softening"] == pytest.approx(3e-3)
