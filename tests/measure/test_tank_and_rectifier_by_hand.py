"""The tank's tuning and a rectifier's figures, from answers set down beforehand; no engine is asked."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from receiver_sim.circuit.roles import Place, Role
from receiver_sim.errors import NoAnswer
from receiver_sim.measure import rectifier, tank
from receiver_sim.schema import Build
from receiver_sim.schema.supply import RectifierSupply, Vacuum

# ---------------------------------------------------------------------------- the tank

L, STRAY = 4.0e-6, 31e-12


class Dial:
    """A loaded receiver whose tank is L and STRAY with whatever the tuning capacitor has."""

    def __init__(self) -> None:
        self.tuning, self.values, self.tuned_to = 0.0, {}, []
        dialled = lambda hz: {"ctune": 1e-10, "rloss": hz / 1e3, "gload": hz / 1e9}  # noqa: E731
        self.circuit = SimpleNamespace(dialled=dialled, part=lambda role: {Role.TUNING: "ctune"}[role])

    def set(self, which: Any, value: float) -> None:
        self.values[which] = value

    def tune(self, farad: float) -> None:
        self.tuning = farad
        self.tuned_to.append(farad)


@pytest.fixture
def dial(monkeypatch: pytest.MonkeyPatch) -> Dial:
    def measured(on: Dial, *, dial_hz: float, q: float) -> Any:
        return SimpleNamespace(resonance_hz=1.0 / (2.0 * math.pi * math.sqrt(L * (on.tuning + STRAY))))

    monkeypatch.setattr(tank, "measure_mode", measured)
    monkeypatch.setattr(tank, "coil_figures", lambda _coil: SimpleNamespace(inductance=L))
    return Dial()


def test_the_dial_is_tuned_to_a_millionth(dial: Dial) -> None:
    """1/((2 pi f)^2 L) less the strays, 98.2 pF at 7 MHz; losses and loading follow the dial, the tuning
    capacitor itself is left to the search."""
    one = tank.Tank(dial, band=SimpleNamespace(coil=None))  # type: ignore[arg-type]
    farad, mode = one.tune(7e6, q=100.0)
    assert mode.resonance_hz == pytest.approx(7e6, rel=1e-6)
    assert farad == pytest.approx(1.0 / ((2.0 * math.pi * 7e6) ** 2 * L) - STRAY, rel=3e-6)
    assert dial.values == {"rloss": 7e3, "gload": 7e-3}
    # the first value is that of the circuit
    assert dial.tuned_to[0] == 1e-10


def test_the_place_of_a_capacitor_on_the_dial_is_found_from_a_guess(dial: Dial) -> None:
    """With 50 pF and 31 pF across 4 uH; a capacitor that is none is given as the least a deck takes."""
    one = tank.Tank(dial, band=SimpleNamespace(coil=None))  # type: ignore[arg-type]
    due = 1.0 / (2.0 * math.pi * math.sqrt(L * (50e-12 + STRAY)))
    assert one.resonance(50e-12, guess=6e6, q=80.0) == pytest.approx(due, rel=1e-9)
    # what follows the dial was set for the frequency found, not for the guess
    assert dial.values["rloss"] == pytest.approx(due / 1e3, rel=1e-9)
    one.resonance(-3e-12, guess=6e6, q=80.0)
    assert dial.tuned_to[-1] == 1e-14
    assert one.guess(50e-12, near=7e6, near_tuning=98.2e-12) == pytest.approx(
        1.0
        / (2.0 * math.pi * math.sqrt(L * (1.0 / ((2.0 * math.pi * 7e6) ** 2 * L) + (50.0 - 98.2) * 1e-12))),
        rel=1e-9,
    )


@pytest.mark.parametrize(("peak", "width"), [(6.1e6, 0.5e6), (8.9e6, 0.3e6)])
def test_a_tank_that_is_pulled_away_is_looked_for_by_its_strongest_resonance(
    monkeypatch: pytest.MonkeyPatch, peak: float, width: float
) -> None:
    """R/(1 + (2 d/B)^2) is half at d = B/2 to either side: its width is B, to two of the 801 steps; its mode
    is then asked for there with a Q of peak over width. A smaller resonance beside it doesn't count.
    """
    asked: list[tuple[float, float]] = []

    def measured(_on: Any, *, dial_hz: float, q: float) -> Any:
        asked.append((dial_hz, q))
        if len(asked) == 1:
            raise NoAnswer("no resonance there")
        return "found"

    def ac(low: float, high: float, points: int, vectors: list[str]) -> dict[str, Any]:
        assert vectors == ["frequency", "top"]
        at = np.linspace(low, high, points)
        other = 2.0 / (1.0 + (2.0 * (at - 7.3e6) / 1e5) ** 2)
        return {"frequency": at + 0j, "top": 9.0 / (1.0 + (2.0 * (at - peak) / width) ** 2) + other + 0j}

    @contextmanager
    def block(*_: Any) -> Iterator[None]:
        yield

    monkeypatch.setattr(tank, "measure_mode", measured)
    monkeypatch.setattr(tank, "silenced", block)
    monkeypatch.setattr(tank, "coil_figures", lambda _coil: SimpleNamespace(inductance=L))
    on: Any = SimpleNamespace(
        node=lambda place: {Place.HOT_END: "top"}[place], driven=block, session=SimpleNamespace(ac=ac)
    )
    one = tank.Tank(on, band=SimpleNamespace(coil=None))  # type: ignore[arg-type]
    assert one.mode(7e6, q=120.0) == "found"
    assert asked[0] == (7e6, 120.0)
    step = 7e6 * (1.4 - 0.7) / 800
    assert asked[1][0] == pytest.approx(peak, abs=step)
    assert peak / asked[1][1] == pytest.approx(width, abs=2.0 * step + 0.02 * width)


# ---------------------------------------------------------------------------- the rectifier

PERIODS, STEPS = rectifier.WINDOW, rectifier.STEPS


def supply(circuit: str = "full_wave", **changes: Any) -> RectifierSupply:
    data: dict[str, Any] = {
        "kind": "rectifier", "secondary": {"volts": "250 V", "resistance": "180 ohm"}, "circuit": circuit,
        "rectifier": {"kind": "solid_state"}, "bleeder": "100 kohm",
        "filter": [
            {"capacitor": "8 uF", "rating": "450 V"},
            {"choke": "10 H", "choke_resistance": "300 ohm", "capacitor": "16 uF",
             "series_resistance": "2 ohm"},
            {"resistor": "2.2 kohm", "capacitor": "24 uF"},
        ],
    }  # fmt: skip
    return RectifierSupply.model_validate({**data, **changes})


def grid() -> np.ndarray:
    return np.arange(PERIODS * STEPS) / (STEPS * 50.0)


def test_lines_of_a_course_are_those_it_is_made_of() -> None:
    """Each order's r.m.s. with its phase against a cosine; what lies between orders is in none of them."""
    turn = 2.0 * math.pi * 50.0 * grid()
    course = 200.0 + 3.0 * np.cos(turn + 0.4) + 5.0 * np.cos(2.0 * turn - 1.1) + 0.7 * np.cos(12.0 * turn)
    found = rectifier.spectrum(course + 9.0 * np.cos(0.3 * turn))
    assert found.size == 12
    due = np.zeros(12, dtype=complex)
    due[[0, 1, 11]] = [3.0 * np.exp(0.4j), 5.0 * np.exp(-1.1j), 0.7]
    assert found == pytest.approx(due / math.sqrt(2.0), abs=1e-9)


def test_the_last_periods_of_a_run_lie_on_an_even_grid() -> None:
    """Ten of a run's own crowded points, a point that stands twice taken once; its end is the grid's end but
    for one step."""
    time = np.sort(np.concatenate([np.linspace(0.0, 0.5, 6000), np.linspace(0.4, 0.41, 300), [0.25, 0.25]]))
    found = rectifier._on_grid({"time": time, "v": np.sin(2.0 * math.pi * 50.0 * time)}, frequency=50.0)
    assert found.time.size == 2000
    assert (found.time[0], found.time[-1]) == pytest.approx((0.3, 0.5 - 1e-4))
    assert found.courses["v"] == pytest.approx(np.sin(2.0 * math.pi * 50.0 * found.time), abs=1e-6)
    assert set(found.courses) == {"v"}
    assert found.rms("v") == pytest.approx(math.sqrt(0.5), rel=1e-5)
    # 200 points a period meet both crests
    assert found.swing("v") == pytest.approx(2.0, rel=1e-6)
    assert found.mean("v") == pytest.approx(0.0, abs=1e-6)


def course_of(one: RectifierSupply) -> rectifier.Steady:
    turn = 2.0 * math.pi * 50.0 * grid()
    pulses = np.where(np.sin(turn) > 0.9, 0.2, 0.0)
    courses = {"vd1#branch": pulses, "rect": 300.0 + 6.0 * np.cos(2.0 * turn)}
    for i in range(1, len(one.filter) + 1):
        courses[f"sec{i}"] = 300.0 - 10.0 * i + 6.0 / i * np.cos(2.0 * turn + 0.3)
        courses[f"esr{i}"] = 0.08 / i * np.cos(2.0 * turn)
    return rectifier.Steady(grid(), courses)


CREST = 5e-4
"""Part of an amplitude by which a hundred samples of its period may miss its crest: 1 - cos(pi/100)."""


@pytest.mark.parametrize(
    ("circuit", "share", "peaks"),
    [("full_wave", 1.0, 2.0), ("bridge", math.sqrt(2.0), 1.0), ("half_wave", 1.0, 2.0)],
)
def test_figures_of_a_rectifier_from_its_courses(circuit: str, share: float, peaks: float) -> None:
    """Volts and ripple at the last capacitor, each capacitor's own; the most volts from the run at the
    highest mains; load and bleeder by Ohm's law at the same volts."""
    one = supply(circuit)
    run = course_of(one)
    high = rectifier.Steady(run.time, {name: 1.1 * course for name, course in run.courses.items()})
    curve = np.array([[0.0, 340.0], [0.02, 290.0], [0.05, 250.0]])
    found = rectifier._reduce(one, run, high, curve=curve, load_s=1e-4, slope=1800.0, frequency=50.0)
    assert found.volts_v == pytest.approx(270.0)
    assert (found.load_a, found.bleeder_a) == pytest.approx((27e-3, 2.7e-3))
    assert (found.no_load_v, found.slope_ohm, found.ripple_v) == (
        340.0, 1800.0, pytest.approx(4.0, rel=CREST)
    )  # fmt: skip
    assert list(found.ripple_hz[:3]) == [50.0, 100.0, 150.0] and found.ripple_hz.size == 12
    assert found.ripple_rms_v[1] == pytest.approx(2.0 / math.sqrt(2.0))
    assert found.ripple_phase_rad[1] == pytest.approx(0.3)
    assert list(found.regulation_a) == [0.0, 0.02, 0.05] and list(found.regulation_v) == [340.0, 290.0, 250.0]
    on = float(np.mean(run.courses["vd1#branch"] > 0.0))
    assert found.winding_a == pytest.approx(share * 0.2 * math.sqrt(on))
    assert found.peak_a == 0.2
    assert found.inverse_v == pytest.approx(peaks * math.sqrt(2.0) * 250.0 * 1.1)
    series = (1e-3, 2.0, 1e-3)  # a capacitor without any is read across a milliohm
    for i, cap in enumerate(found.capacitors, start=1):
        assert (cap.section, cap.farad, cap.rating_v) == (
            i,
            one.filter[i - 1].capacitor,
            one.filter[i - 1].rating,
        )
        assert cap.highest_v == pytest.approx(1.1 * (300.0 - 10.0 * i + 6.0 / i), rel=CREST)
        assert cap.ripple_v == pytest.approx(12.0 / i, rel=CREST)
        assert cap.ripple_a == pytest.approx(0.08 / i / series[i - 1] / math.sqrt(2.0))
    bare = rectifier._reduce(
        supply(circuit, bleeder=None), run, high, curve=curve, load_s=1e-4, slope=1.0, frequency=50.0
    )
    assert bare.bleeder_a == 0.0


@pytest.mark.parametrize(("circuit", "hz"), [("half_wave", 50.0), ("full_wave", 100.0), ("bridge", 100.0)])
def test_a_settled_supply_gives_the_same_volts_behind_its_filter(circuit: str, hz: float) -> None:
    """270 V at 29.7 mA with the bleeder's; 2.5 kohm stand in the filter, so an e.m.f. of 270 V and 2.7 kohm
    of 29.7 mA, of which 0.2 kohm lie ahead of it. A slope below the filter's own resistance is none.
    """
    one = supply(circuit)
    run = course_of(one)
    curve = np.array([[0.0, 340.0], [0.02, 290.0], [0.05, 250.0]])
    result = rectifier._reduce(one, run, run, curve=curve, load_s=1e-4, slope=2700.0, frequency=50.0)
    found = rectifier.settled(one, result)
    assert found.volts == pytest.approx(270.0 + 2700.0 * 29.7e-3)
    assert (found.resistance, found.bleeder, found.peak_volts) == (pytest.approx(200.0), 100e3, 340.0)
    assert [(s.resistance, s.inductance, s.capacitor, s.series_resistance) for s in found.sections] == [
        (0.0, 0.0, 8e-6, 0.0), (300.0, 10.0, 16e-6, 2.0), (2200.0, 0.0, 24e-6, 0.0)
    ]  # fmt: skip
    assert (found.ripple, found.ripple_frequency) == (pytest.approx(4.0, rel=CREST), hz)
    assert found.harmonics[1] == pytest.approx((100.0, math.sqrt(2.0), 0.3))
    steep = rectifier._reduce(one, run, run, curve=curve, load_s=1e-4, slope=700.0, frequency=50.0)
    stiff = rectifier.settled(one, steep)
    assert stiff.resistance == 0.0 and stiff.volts == pytest.approx(270.0 + 2500.0 * 29.7e-3)


def test_a_rectifier_of_silicon_is_warm_at_once_and_a_cathode_warms_over_half_of_its_time() -> None:
    """12 s: nothing until 6 s, all from 12 s on."""
    tube = Vacuum.model_validate({"kind": "vacuum", "drop": "22 V", "current": "70 mA", "warm_up": "12 s"})
    warm = supply().model_copy(update={"rectifier": tube})
    set_to: list[Any] = []
    on: Any = SimpleNamespace(course=lambda *what: set_to.append(what))
    rectifier.let_warm(on, supply())
    assert set_to == [] and rectifier.warm_up_s(supply()) == 0.0
    rectifier.let_warm(on, warm)
    assert set_to == [(Role.RECTIFIER_WARMTH, "pwl", (0.0, 0.0, 6.0, 0.0, 12.0, 1.0))]


def test_from_cold_the_mains_are_high_and_nothing_is_charged(
    monkeypatch: pytest.MonkeyPatch, demo: Build
) -> None:
    """No tube draws yet, the mains a tenth up; of a cathode that takes 12 s, a fifth of that is added."""
    tube = Vacuum.model_validate({"kind": "vacuum", "drop": "22 V", "current": "70 mA", "warm_up": "12 s"})
    one = supply().model_copy(update={"rectifier": tube})
    build = demo.model_copy(update={"supply": one})
    asked: dict[str, Any] = {}

    def tran(step: float, span: float, *, max_step: float, uic: bool, vectors: list[str]) -> dict[str, Any]:
        asked.update(step=step, span=span, max_step=max_step, uic=uic, vectors=vectors)
        return {name: [0.0, 1.0] for name in vectors}

    @contextmanager
    def load(_bench: Any, circuit: Any) -> Iterator[Any]:
        asked["circuit"] = circuit
        yield SimpleNamespace(course=lambda *_: None, session=SimpleNamespace(tran=tran))

    def written(_supply: Any, **what: float) -> Any:
        return what

    monkeypatch.setattr(rectifier, "loaded", load)
    monkeypatch.setattr(rectifier, "rectifier_circuit", written)
    found = rectifier.from_cold(build, None, seconds=0.5)  # type: ignore[arg-type]
    hz = build.mains.frequency
    assert asked["circuit"] == {"frequency": hz, "load_s": 0.0, "start_v": 0.0, "mains": 1.1}
    assert asked["span"] == pytest.approx(1.2 * 12.0 + 0.5)
    assert asked["step"] == asked["max_step"] == pytest.approx(0.01 / hz)
    assert asked["uic"] is True
    assert list(found) == ["time", "rect", "vd1#branch", "sec1", "sec2", "sec3"]
