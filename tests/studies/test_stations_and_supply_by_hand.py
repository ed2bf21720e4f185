"""Studies that ask a loaded circuit, on answers by hand: stations, noise, ripple, surge, tones, drift."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from receiver_sim.builds import cards_for, shipped_build
from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.control import Control
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.engine import EngineError
from receiver_sim.errors import NoAnswer
from receiver_sim.measure.loop_gain import Sample
from receiver_sim.measure.ripple import Ripple
from receiver_sim.measure.tube_jig import JigReading
from receiver_sim.results.base import Status
from receiver_sim.results.coils import DialPoint
from receiver_sim.results.onset import GainAgainstScreen, Onset
from receiver_sim.results.supply import Rectified
from receiver_sim.schema import Build, changed_build
from receiver_sim.schema.coil_figures import LinkFigures
from receiver_sim.schema.supply import RectifierSupply
from receiver_sim.studies import (  # fmt: skip
    aerial,
    breakthrough,
    dial_sweep,
    distortion,
    line_drift,
    operating_point,
    screen_quiet,
    selectivity,
    signal_noise,
    start_up,
)
from tests.helpers.filling import filled

NOBODY: Any = None


class On:
    """A loaded circuit that notes what it is told; `answer` gives the vectors of an a.c. run by drives."""

    def __init__(self, answer: Any = None, *, screen: str | None = "scr") -> None:
        self.answer, self.session, self.circuit, self.screen = answer, self, self, screen
        self.drives: dict[Any, float] = {}
        self.said: list[Any] = []
        self.control = SimpleNamespace(node="feed", share=lambda r: r)

    def node(self, place: Place) -> str:
        return place.name

    def find_node(self, place: Place) -> str | None:
        return self.screen if place is Place.SCREEN else place.name

    def find(self, role: Role) -> Any:
        return self.answer.get(role) if isinstance(self.answer, dict) else role

    def part(self, role: Role) -> Any:
        return role.name

    def branch(self, role: Role) -> str:
        return f"{role.name}#branch"

    def set(self, which: Any, value: float) -> None:
        self.said.append((which, value))

    def tune(self, farad: float) -> None:
        self.said.append(("tune", farad))

    def turn(self, rotation: float) -> None:
        self.said.append(("turn", rotation))

    def drive(self, which: Any, strength: float = 1.0) -> None:
        self.drives[which] = strength

    @contextmanager
    def driven(self, which: Any, strength: float = 1.0) -> Iterator[None]:
        self.drive(which, strength)
        yield
        self.drive(which, 0.0)

    def ac(self, start: float, stop: float, points: int, **how: Any) -> dict[str, np.ndarray]:
        self.said.append(("ac", start, stop, points, how.get("scale", "lin")))
        live = {which: strength for which, strength in self.drives.items() if strength}
        return self.answer(start, stop, points, live)  # type: ignore[no-any-return]


def lend(monkeypatch: pytest.MonkeyPatch, study: Any, *given: Any) -> None:
    """Let a study load these, one after the other, and the last again and again."""
    waiting = list(given)

    @contextmanager
    def loaded(*_: Any, **__: Any) -> Iterator[Any]:
        yield waiting.pop(0) if len(waiting) > 1 else waiting[0]

    monkeypatch.setattr(study, "loaded", loaded)


def tuned(build: Any, band: Any, **given: Any) -> Any:
    onset = filled(Onset, dial_hz=7.1e6, tuning_farad=77e-12, **given)
    return SimpleNamespace(build=build, cards=NOBODY, bench=NOBODY, band=band, dial_hz=7.1e6, onset=onset)


# ---------------------------------------------------------------------------- a strong station


def through(
    monkeypatch: pytest.MonkeyPatch, demo: Build, *, link: LinkFigures | None, floating: bool = False,
    feeder: float | None = 0.8
) -> tuple[Any, list[Any], On]:  # fmt: skip
    """A station of 100 mV; what arrives per volt is a twentieth of the link's picofarads at the station and a
    tenth of them at the dial.
    """
    on, calls = On(), []

    def transfer(
        _: Any, start: float, stop: float, points: int, scale: str, *, common: float = 0.0
    ) -> tuple[np.ndarray, np.ndarray]:
        calls.append((start, stop, points, scale, common))
        farad = next((v for role, v in reversed(on.said) if role is Role.LINK_CAPACITANCE), 0.4e-12)
        frequency = np.geomspace(start, stop, points) if scale == "dec" else np.linspace(start, stop, points)
        return frequency, np.full(points, 1e12 * farad * (0.1 if start > 5e6 else 0.05))

    station = SimpleNamespace(frequency=1e6, emf=0.1, feeder_emf=feeder)
    build = SimpleNamespace(aerial=SimpleNamespace(station=station))
    lend(monkeypatch, breakthrough, on)
    monkeypatch.setattr(breakthrough, "plan", lambda *_, **__: NOBODY)
    monkeypatch.setattr(breakthrough, "by_link", lambda _: link is not None)
    monkeypatch.setattr(breakthrough, "floats", lambda *_: floating)
    monkeypatch.setattr(breakthrough, "coil_figures", lambda _: SimpleNamespace(link=link))
    monkeypatch.setattr(breakthrough, "coil_q", lambda *_: 142.0)
    monkeypatch.setattr(breakthrough, "transfer", transfer)
    return breakthrough.run(tuned(build, demo.bands[2])), calls, on


def made_link(left: float, unshielded: float) -> LinkFigures:
    return filled(LinkFigures, winding=None, capacitance=left, unshielded=unshielded)


def test_a_coupling_capacitor_has_no_shield(monkeypatch: pytest.MonkeyPatch, demo: Build) -> None:
    """0.4 times 1/20 of 100 mV; to be as loud a wanted station needs that over 0.4 times 1/10."""
    found, calls, on = through(monkeypatch, demo, link=None)
    assert (found.station_hz, found.emf_v, found.shield) == (1e6, 0.1, "none")
    assert (found.station_v, found.wanted) == (pytest.approx(0.1 * 0.02), pytest.approx(0.04))
    assert found.equal_v == pytest.approx(0.002 / 0.04)
    assert (found.shielded, found.station_shielded_v) == (None, None)
    assert on.said == [("tune", 77e-12)]
    # the whole span by decades, the peak by itself within four of its widths, each with its own points
    assert calls[0] == (0.5e6, 30e6, 120, "dec", 0.0)
    half = 4.0 * 7.1e6 / 142.0
    assert calls[1] == (pytest.approx(7.1e6 - half), pytest.approx(7.1e6 + half), 41, "lin", 0.0)
    assert [one[:2] for one in calls[2:]] == [
        (1e6, pytest.approx(1.001e6)), (7.1e6, pytest.approx(7.1e6, rel=2e-6)),
    ]  # fmt: skip
    assert found.frequency_hz.size == 161 and np.all(np.diff(found.frequency_hz) >= 0.0)
    near = np.abs(found.frequency_hz - 7.1e6) < half
    # the ends of the span are a rounding away from it
    assert np.count_nonzero(near) >= 39


@pytest.mark.parametrize(
    ("left", "shield", "kept", "built"), [(0.2e-12, "as built", 0.2e-12, 1), (4e-12, "assumed", 0.2e-12, 0)]
)
def test_a_shield_is_held_beside_none(
    monkeypatch: pytest.MonkeyPatch, demo: Build, left: float, shield: str, kept: float, built: int
) -> None:
    """4 pF bare, 0.2 pF left: what counts as wanted, and what it is held against, are those of the build."""
    found, _, on = through(monkeypatch, demo, link=made_link(left, 4e-12))
    assert [value for role, value in on.said if role is Role.LINK_CAPACITANCE] == pytest.approx([4e-12, kept])
    assert (found.shield, found.station_v) == (shield, pytest.approx(0.1 * 4.0 / 20))
    assert found.station_shielded_v == pytest.approx(0.1 * 0.2 / 20)
    farad = (4.0, 0.2)[built]
    assert found.wanted == pytest.approx(farad / 10) and found.equal_v == pytest.approx(0.1 * 10 / 20)
    # below the dial's own neighbourhood
    low = found.frequency_hz < 5e6
    assert set(np.round(found.unshielded[low], 9)) == {0.2} and set(np.round(found.shielded[low], 9)) == {
        0.01
    }


@pytest.mark.parametrize(
    ("floating", "feeder", "common"), [(True, 0.8, 8.0), (True, None, 1.0), (False, 0.8, 0.0)]
)
def test_a_floating_link_is_driven_through_its_feeder_too(
    monkeypatch: pytest.MonkeyPatch, demo: Build, floating: bool, feeder: float | None, common: float
) -> None:
    """800 mV on the feeder as one wire beside 100 mV of the aerial's own; not by the wanted station."""
    _, calls, _ = through(monkeypatch, demo, link=made_link(0.2e-12, 4e-12), floating=floating, feeder=feeder)
    assert [one[4] for one in calls[:4]] == [pytest.approx(common, abs=0.0)] * 3 + [0.0]


def test_no_aerial_and_a_failed_search_are_told_apart(demo: Build) -> None:
    bare = tuned(demo.model_copy(update={"aerial": None}), demo.bands[0])
    lost = tuned(demo, demo.bands[0])
    lost.onset = filled(Onset, tuning_farad=None)
    for study in (breakthrough, aerial):
        with pytest.raises(NoAnswer, match=r"^no aerial is connected$"):
            study.run(bare)
        with pytest.raises(NoAnswer, match=r"^the onset search failed$"):
            study.run(lost)


@pytest.mark.parametrize("common", [0.0, 8.0])
def test_what_reaches_the_grid_counts_from_the_cathode(common: float) -> None:
    """A volt in the aerial and `common` on the feeder; afterwards both rest, and the tube lives again."""

    def answer(start: float, stop: float, points: int, live: dict[Any, float]) -> dict[str, np.ndarray]:
        level = live.get(Role.AERIAL, 0.0) + 0.25 * live.get(Role.FEEDER, 0.0)
        one = np.ones(points)
        return {
            "frequency": np.linspace(start, stop, points) + 0j, Place.GRID.name: (0.5 - 0.1j) * level * one,
            Place.CATHODE.name: (0.2 + 0.3j) * level * one,
        }  # fmt: skip

    on: Any = On(answer)
    frequency, size = breakthrough.transfer(on, 1e6, 2e6, 3, "lin", common=common)
    assert frequency == pytest.approx([1e6, 1.5e6, 2e6])
    assert size == pytest.approx(0.5 * (1.0 + 0.25 * common) * np.ones(3))
    assert not any(on.drives.values()) and (Role.FEEDER in on.drives) is (common > 0.0)
    assert [one[0] for one in on.said] == [Role.GRID_LEAD, "ac", Role.GRID_LEAD]
    assert on.said[0][1] > 100.0 and on.said[-1][1] == 0.0


# ---------------------------------------------------------------------------- the aerial


@pytest.mark.parametrize(("volts", "assumed"), [(None, True), (2.5, False)])
def test_a_tank_of_unknown_volts_is_taken_to_swing_by_one(volts: float | None, assumed: bool) -> None:
    """I = V/(sqrt 2 |Z|) of what the branch takes at the hot end, whatever drives it; 3 m of height."""

    def answer(start: float, stop: float, points: int, live: dict[Any, float]) -> dict[str, np.ndarray]:
        assert live == {Role.TANK_CURRENT: 1.0} and start == 7.0013e6
        return {Place.HOT_END.name: np.array([3e3 + 4e3j]), "AERIAL#branch": np.array([0.6j])}

    on: Any = On(answer)
    build: Any = SimpleNamespace(aerial=object())
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(aerial, "aerial_radiation", lambda *_, frequency: (3.0, 0.8, True))
        found = aerial._radiation(on, build, dial=7.0013e6, tank_volts=volts)
    there = 1.0 if volts is None else volts
    assert (found.tank_v, found.tank_assumed) == (there, assumed)
    assert found.aerial_a == pytest.approx(there / math.sqrt(2.0) * 0.6 / 5e3)
    assert (found.height_m, found.radiation_ohm, found.height_assumed) == (3.0, 0.8, True)
    assert found.power_w == pytest.approx(found.aerial_a**2 * 0.8)
    # 120 pi I h/(lambda d) at 100 m (textbook)
    wave = 299_792_458.0 / 7.0013e6
    assert found.field_v_per_m == pytest.approx(120.0 * math.pi * found.aerial_a * 3.0 / (wave * 100.0))


class _Tank:
    """A tank that the aerial pulls by a hundredth of its share of capacitance."""

    def __init__(self, on: Any, **_: Any) -> None:
        self._on = on

    def mode(self, dial: float, *, q: float) -> Any:
        share = next((v for which, v in reversed(self._on.said) if which == "aerial"), 1.0)
        return SimpleNamespace(resonance_hz=dial * (1.0 - 0.01 * (share - 1.0)), q=q * share)


@pytest.mark.parametrize(
    ("stage", "link", "coupling"),
    [(True, False, "stage"), (False, True, "link"), (False, False, "capacitor")],
)
def test_an_aerial_swings_by_its_share_either_way(
    monkeypatch: pytest.MonkeyPatch, demo: Build, stage: bool, link: bool, coupling: str
) -> None:
    """12 % less and more capacitance; the calm one is that of the search, for the others it is made anew."""
    on = On()
    wire = SimpleNamespace(swing=0.12)
    build = SimpleNamespace(aerial=wire, rf_stage=object() if stage else None)
    probes: list[Any] = []

    class Probing:
        sets: dict[str, str] = {"quantity": "screen voltage", "unit": "V"}  # noqa: RUF012

        def __init__(self, *_: Any, **how: Any) -> None:
            probes.append(how["dial_hz"])

        def measure(self, _: float) -> None: ...

        def rotation(self, share: float) -> float:
            return share + 0.01

    samples = [Sample(0.2, 12.0, 7.1e6, 0.7), Sample(0.6, 44.0, 7.1e6, 1.2)]
    lend(monkeypatch, aerial, on)
    for name, answer in {
        "plan": NOBODY, "coil_q": 150.0, "aerial_capacitance": 200e-12, "_radiation": "sent", "by_link": link,
        "swung_aerial": {}, "aerial_impedance": 50.0 - 90.0j, "_without": "bare",
    }.items():  # fmt: skip
        monkeypatch.setattr(aerial, name, lambda *_, answer=answer, **__: answer)
    monkeypatch.setattr(aerial, "swung_aerial", lambda _, factor, **__: {"aerial": factor})
    monkeypatch.setattr(aerial, "Tank", _Tank)
    monkeypatch.setattr(aerial, "Probe", Probing)
    monkeypatch.setattr(aerial.onset, "search", lambda _: (Status.OSCILLATES, samples, 0.3))
    at = tuned(build, demo.bands[2], status=Status.OSCILLATES)
    found: Any = aerial.run(at)
    assert [value for which, value in on.said if which == "aerial"] == pytest.approx([1.0, 0.88, 1.12])
    # each is measured with the control at its lowest, the tuning left alone
    assert [one for one in on.said if one[0] == "turn"] == [("turn", 0.0)] * 3
    assert [one for one in on.said if one[0] == "tune"] == [("tune", 77e-12)]
    calm, less, more, bare = found.states
    assert (bare, found.radiation, found.coupling) == ("bare", "sent", coupling)
    assert (found.resistance_ohm, found.reactance_ohm) == (50.0, -90.0)
    assert [one.state for one in (calm, less, more)] == ["calm", "less", "more"]
    assert [one.capacitance_farad for one in (calm, less, more)] == pytest.approx([200e-12, 176e-12, 224e-12])
    assert [one.shift_hz for one in (calm, less, more)] == pytest.approx([0.0, 8520.0, -8520.0], abs=1e-6)
    assert (calm.status, calm.onset) == (at.onset.status, at.onset.onset)
    assert probes == [7.1e6, 7.1e6] and on.drives == {Role.LOOP_GAIN: 0.0}
    # between 0.2 and 0.6 of the track a quarter of the way from 12 to 44 V
    assert (less.onset.rotation, less.onset.screen_v) == (pytest.approx(0.31), pytest.approx(20.0))
    monkeypatch.setattr(aerial.onset, "search", lambda _: (Status.DOES_NOT, samples, None))
    silent: Any = aerial.run(at)
    assert (silent.states[1].status, silent.states[1].onset) == (Status.DOES_NOT, None)


# ---------------------------------------------------------------------------- bandwidth against gain


class Narrow(On):
    """A tank whose width does not show in what is swept before some sweeps have been doubled."""

    def __init__(self, width: float) -> None:
        super().__init__()
        self.width, self.spans = width, []

    def ac(self, start: float, stop: float, points: int, **_: Any) -> dict[str, np.ndarray]:
        self.spans.append(0.5 * (stop - start))
        frequency = np.linspace(start, stop, points)
        answer = 1e4 / (1.0 + 2j * (frequency - 7.1e6) / self.width)
        return {"frequency": frequency + 0j, Place.HOT_END.name: answer}


@pytest.mark.parametrize(("width", "sweeps", "found"), [(3e3, 1, True), (20e3, 3, True), (200e3, 4, False)])
def test_a_wider_tank_is_looked_at_twice_as_wide(
    monkeypatch: pytest.MonkeyPatch, demo: Build, width: float, sweeps: int, found: bool
) -> None:
    """Q of 7.1 MHz over 12 kHz: at T = 0.9 four widths of 1.2 kHz, then twice as much up to three times."""
    monkeypatch.setattr(selectivity, "settings", lambda _: ((0.9, 0.37, 7.1e6),))
    band = demo.bands[1].model_copy(
        update={"coil": demo.bands[1].coil.model_copy(update={"q": 7.1e6 / 12e3})}
    )
    on: Any = Narrow(width)
    curve = filled(GainAgainstScreen)
    answer = selectivity.measured(on, band=band, dial_hz=7.1e6, tuning=77e-12, curve=curve)
    assert on.spans == pytest.approx([4.8e3, 9.6e3, 19.2e3, 38.4e3][:sweeps])
    assert (answer is not None) is found
    assert on.said[:2] == [("tune", 77e-12), ("turn", 0.37)] and on.drives == {Role.TANK_CURRENT: 0.0}
    if answer is not None:
        # straight lines over a hundredth of the span
        assert answer.bandwidth_hz == pytest.approx([width], rel=5e-3)
        assert answer.peak_ohm == pytest.approx([1e4], rel=1e-3) and answer.rotation == pytest.approx([0.37])
        assert answer.curves_ohm == ()


# ---------------------------------------------------------------------------- the weakest signal

READING = JigReading(
    plate_a=2e-3, screen_a=-1e-9, grid_a=1e-7, gm=1.1e-3, gk=1.3e-3, gm_slope=0.4e-3, grid_conductance=2e-6,
    grid_curvature=13e-6,
)  # fmt: skip


@pytest.mark.parametrize("with_aerial", [True, False])
def test_signal_and_noise_are_taken_at_the_peak_of_the_tank(
    monkeypatch: pytest.MonkeyPatch, demo: Build, with_aerial: bool
) -> None:
    """The tank stands 3.2 kHz above the dial. Without an aerial a current into it finds the peak."""
    width = 7.1e6 / demo.bands[2].coil.q
    source = Role.AERIAL if with_aerial else Role.TANK_CURRENT.name
    asked: list[Any] = []

    class Noisy(On):
        def find(self, role: Role) -> Any:
            return role if with_aerial else None

        def noise(self, *what: Any, **how: Any) -> dict[str, np.ndarray]:
            asked.append((*what, how))
            return {"onoise_spectrum": np.array([47e-9 + 0j]), "onoise_TANK_LOSS": np.array([31e-9 + 0j])}

    def answer(start: float, stop: float, points: int, live: dict[Any, float]) -> dict[str, np.ndarray]:
        frequency = np.linspace(start, stop, points)
        (what,) = live
        if what == source:
            ends.append((start, stop))
            volts = (5.2 + 1.1j) / (1.0 + 2j * (frequency - 7.1e6 - width * 3 / 40) / (0.3 * width))
        else:
            assert what is Role.LOOP_GAIN
            volts = np.array([3.1 - 0.4j])
        return {"frequency": frequency + 0j, Place.CONTROL_NODE.name: volts}

    ends: list[Any] = []
    on = Noisy(answer)
    lend(monkeypatch, signal_noise, on)
    monkeypatch.setattr(signal_noise, "plan", lambda *_, **__: on)
    monkeypatch.setattr(signal_noise, "tubes_ahead", lambda *_: {})
    monkeypatch.setattr(signal_noise, "noise_at", lambda *_, **__: 0.0)
    build = demo if with_aerial else demo.model_copy(update={"aerial": None})
    found = signal_noise.run(tuned(build, demo.bands[2]), rotation=0.37, tube=READING)
    assert ends == [(pytest.approx(7.1e6 - width), pytest.approx(7.1e6 + width))]
    # 81 points over two widths: every fortieth of a width
    peak = 7.1e6 + width * 3 / 40
    assert found.frequency_hz == pytest.approx(peak, rel=1e-9)
    assert asked == [("v(CONTROL_NODE)", source, pytest.approx(peak), pytest.approx(peak), 1,
                      {"scale": "lin", "contributions": True})]  # fmt: skip
    assert on.said[:2] == [("tune", 77e-12), ("turn", 0.37)] and not any(on.drives.values())
    assert found.aerial_gain == (pytest.approx(abs(5.2 + 1.1j) / abs(3.1 - 0.4j)) if with_aerial else None)
    assert found.tank_share == pytest.approx((31.0 / 47.0) ** 2)
    # a screen current below nothing, of rounding, is none: 2.5/gm (Thompson, North and Harris 1940)
    assert found.tube_ohm == pytest.approx(2.5 / 1.1e-3)


# ---------------------------------------------------------------------------- ripple and noise of a supply

LINES = ((100.0, 2e-3, None), (200.0, 5e-3, None), (300.0, 1e-3, None))
SHARES = {100.0: 0.05, 200.0: 0.02, 300.0: 0.01}
"""Of what is behind the supply's own resistance, 0.8 of its e.m.f., at the screen."""


def quiet(
    monkeypatch: pytest.MonkeyPatch, regulator: Any, *, at_receiver: bool = False, screen: str | None = "scr",
    control: str | None = "feed",
) -> tuple[Any, On]:  # fmt: skip
    def answer(start: float, stop: float, points: int, live: dict[Any, float]) -> dict[str, np.ndarray]:
        if Role.SUPPLY in live:
            node = screen or control or Place.PLATE.name
            return {Place.SUPPLY.name: np.array([0.8j]), node: np.array([0.8 * SHARES[start]])}
        assert live == {Role.REGULATOR_CURRENT: 1.0} and (start, stop, points) == (100.0, 10e3, 30)
        frequency = np.geomspace(100.0, 10e3, 61)
        return {"frequency": frequency + 0j, "scr": np.full(61, 12.0 - 16.0j)}

    on = On(answer, screen=screen)
    on.control.node = control
    lend(monkeypatch, screen_quiet, on)
    monkeypatch.setattr(screen_quiet, "plan", lambda *_, **__: on)
    monkeypatch.setattr(screen_quiet, "ripple_of", lambda _: Ripple(LINES, at_receiver, 100.0))
    build = SimpleNamespace(regulator=regulator)
    found = screen_quiet.run(tuned(build, SimpleNamespace()), rotation=0.4)
    assert on.drives[Role.SUPPLY] == 0.0
    return found, on


@pytest.mark.parametrize(("at_receiver", "share"), [(False, 0.8), (True, 1.0)])
def test_all_lines_of_a_ripple_add_and_the_strongest_says_how_far_it_is_weakened(
    monkeypatch: pytest.MonkeyPatch, at_receiver: bool, share: float
) -> None:
    """100, 100 and 10 uV at the screen of lines known behind the supply; 0.8 of that where they are its
    e.m.f.s. The strongest is that of 200 Hz: a fiftieth, 34 dB.
    """
    found, _ = quiet(monkeypatch, None, at_receiver=at_receiver)
    assert found.ripple_v == pytest.approx(share * 1e-6 * math.sqrt(100.0**2 + 100.0**2 + 10.0**2))
    assert found.supply_db == pytest.approx(20.0 * math.log10(0.02))
    assert (found.regulator_noise_v, found.drift_v, found.at_screen, found.rise_k) == (0.0, None, True, 20.0)


@pytest.mark.parametrize("control", ["feed", None])
def test_without_a_screen_the_feed_is_looked_at(monkeypatch: pytest.MonkeyPatch, control: str | None) -> None:
    found, _ = quiet(monkeypatch, None, screen=None, control=control)
    assert not found.at_screen and found.supply_db == pytest.approx(20.0 * math.log10(0.02))


@pytest.mark.parametrize(("sense", "sign"), [("rises", 1.0), ("falls", -1.0)])
def test_noise_and_drift_of_regulators(monkeypatch: pytest.MonkeyPatch, sense: str, sign: float) -> None:
    """An ampere across it makes 20 V at the screen; 100 uV behind 40 ohm are 2.5 uA: half of them, 50 uV. Two
    in series drift twice as far, for 20 K of warming.
    """
    part = SimpleNamespace(held_impedance=40.0, noise=100e-6, drift=12e-3, count=2, drift_sense=sense)
    found, _ = quiet(monkeypatch, part)
    assert found.regulator_noise_v == pytest.approx(50e-6)
    assert found.drift_v == pytest.approx(sign * 12e-3 * 2 * 20.0)


def test_drift_stands_under_what_the_control_sets(demo: Build) -> None:
    low, high = Sample(0.4, 21.3, 7.1e6, 0.88), Sample(0.4, 22.7, 7.1e6 + 190.0, 0.93)
    none = filled(Onset, onset=None)

    def drift(quantity: str, unit: str) -> Any:
        control = Control(quantity, unit, "n", 270.0, (), "linear", None)
        return line_drift.reduce(demo, low, high, (none, none), control=control)

    screen, feed, farad = drift("screen voltage", "V"), drift("plate voltage", "V"), drift("capacitance", "F")
    due = pytest.approx(1.4 / 46.0)
    assert (screen.screen_v_per_v, screen.feed_v_per_v) == (due, None)
    assert (feed.screen_v_per_v, feed.feed_v_per_v) == (None, due)
    assert (farad.screen_v_per_v, farad.feed_v_per_v) == (None, None)
    assert (screen.onset_per_v, screen.regulated) == (None, True)
    bare = changed_build(demo, {"regulator": None})
    assert not line_drift.reduce(bare, low, high, (none, none)).regulated
    one = filled(Onset)
    for pair in ((none, one), (one, none)):
        assert line_drift.reduce(demo, low, high, pair).onset_per_v is None


# ---------------------------------------------------------------------------- switching on and off

SUPPLY = {
    "kind": "rectifier", "secondary": {"volts": "190 V", "resistance": "180 ohm"}, "circuit": "full_wave",
    "rectifier": {"kind": "solid_state"}, "bleeder": "120 kohm",
    "filter": [{"capacitor": "10 uF"}, {"resistor": "1.2 kohm", "capacitor": "16 uF"}],
}  # fmt: skip


class Switched(On):
    """A supply whose run over time is noted; off, its first capacitor stays behind the second."""

    def course(self, which: Any, kind: str, numbers: Any) -> None:
        self.said.append((which, kind, numbers))

    def tran(self, step: float, span: float, **how: Any) -> dict[str, np.ndarray]:
        self.said.append(("tran", step, span, how["max_step"], how["uic"]))
        time = np.linspace(0.0, span, 101)
        falls = {"sec1": 280.0 * np.exp(-time), "sec2": 280.0 * np.exp(-2.0 * time)}
        return {"time": time, **{name: falls.get(name, 250.0 + 0.0 * time) for name in how["vectors"][1:]}}


def switched(
    monkeypatch: pytest.MonkeyPatch, demo: Build, pulse: float, **changes: Any
) -> tuple[Any, On, On, list[Any]]:
    supply = RectifierSupply.model_validate({**SUPPLY, **changes})
    build = demo.model_copy(update={"supply": supply})
    on, off, made = Switched(), Switched(), []
    lend(monkeypatch, start_up, on, off)
    monkeypatch.setattr(start_up, "rectifier_circuit", lambda *_, **how: made.append(how))
    monkeypatch.setattr(start_up, "output_node", lambda _: "out")
    monkeypatch.setattr(
        start_up, "from_cold", lambda *_, seconds: {"vd1#branch": np.array([0.1, pulse, 0.2 * seconds])}
    )
    rectified = filled(Rectified, load_a=12e-3, volts_v=240.0, no_load_v=280.0, peak_a=0.3)
    return start_up.run(build, NOBODY, rectified=rectified), on, off, made


def test_a_supply_is_switched_on_cold_and_off_at_its_no_load_volts(
    monkeypatch: pytest.MonkeyPatch, demo: Build
) -> None:
    """The tubes draw 12 mA at 240 V, 0.05 mS, from 6 to 12 s. Off, the bleeder alone empties 26 uF: RC
    ln(V/60), looked at for half as long again and a second. The capacitor that stays longest counts.
    """
    found, on, off, made = switched(monkeypatch, demo, 0.5)
    assert on.said == [
        (Role.RECTIFIER_LOAD, "pwl", (0.0, 0.0, 6.0, 0.0, 12.0, pytest.approx(0.05))),
        ("tran", pytest.approx(1.0 / 5000), pytest.approx(14.0), pytest.approx(1.0 / 5000), True),
    ]
    closed = 120e3 * 26e-6 * math.log(280.0 / 60.0)
    span = 1.5 * closed + 1.0
    assert [one[1:] for one in off.said[:-1]] == [("sin", (0.0, 0.0, 50.0))] * 2
    assert off.said[-1] == (
        "tran",
        pytest.approx(span / 2000),
        pytest.approx(span),
        pytest.approx(span / 2000),
        True,
    )
    assert [one["start_v"] for one in made] == [0.0, 280.0]
    assert {(one["frequency"], one["load_s"]) for one in made} == {(50.0, 0.0)}
    assert found.closed_s == pytest.approx(closed)
    assert found.discharge_s == pytest.approx(math.log(280.0 / 60.0), rel=1e-6)
    assert (found.highest_v, found.surge_a) == (250.0, 0.5)


def test_the_surge_is_the_larger_of_first_pulse_and_peak_at_high_mains(
    monkeypatch: pytest.MonkeyPatch, demo: Build
) -> None:
    """0.3 A of peak are 0.33 with the mains 10 % high."""
    assert switched(monkeypatch, demo, 0.32)[0].surge_a == pytest.approx(0.33)
    assert switched(monkeypatch, demo, 0.34)[0].surge_a == pytest.approx(0.34)


def test_without_a_bleeder_ten_minutes_are_looked_at(monkeypatch: pytest.MonkeyPatch, demo: Build) -> None:
    found, _, off, _ = switched(monkeypatch, demo, 0.5, bleeder=None)
    assert off.said[-1][2] == 600.0 and found.closed_s is None


@pytest.mark.parametrize(("warm", "span"), [(20.0, 26.0), (5.0, 14.0)])
def test_a_slow_rectifier_is_waited_for(
    monkeypatch: pytest.MonkeyPatch, demo: Build, warm: float, span: float
) -> None:
    """A fifth longer than it takes to warm up, and two seconds more."""
    monkeypatch.setattr(start_up, "warm_up_s", lambda _: warm)
    monkeypatch.setattr(start_up, "let_warm", lambda on, _: on.said.append("warm"))
    _, on, _, _ = switched(monkeypatch, demo, 0.5)
    assert on.said[1] == "warm" and on.said[2][2] == pytest.approx(span)


# ---------------------------------------------------------------------------- tones at an output


def test_an_open_socket_has_volts_but_neither_power_nor_sound(demo: Build) -> None:
    build = changed_build(demo, {"phones[0].state": "open"})
    circuit = distortion.plan(build, cards_for(build), rotation=0.4)
    time = np.linspace(0.0, 9e-3, 4001)
    w = 2.0 * np.pi * 1000.0
    run: dict[str, Any] = {
        "time": time, "phone0": 0.5 * np.sin(w * time) + 0.1 * np.sin(2 * w * time), "agrid": 0.0 * time,
        "vapm#branch": 4e-3 + 0.0 * time, "acath": 6.0 + 0.0 * time,
    }  # fmt: skip
    (drive,), (kept,) = distortion.reduce(
        build, circuit, cards_for(build), run, input_v=0.02, quiet={"audio": 4e-3}
    )  # type: ignore[arg-type]
    assert (drive.power_w, drive.level_db, drive.input_v) == (0.0, None, 0.02)
    assert drive.output_v == pytest.approx(0.5 / math.sqrt(2.0), rel=1e-4)
    assert drive.thd == pytest.approx(0.2, rel=1e-3)
    # a ratio for each of the second to the tenth
    assert drive.harmonics == pytest.approx([0.2, *[0.0] * 8], abs=1e-4)
    assert (kept.socket, kept.input_v, kept.keeps) == ("audio", 0.02, True)
    dead = {**run, "phone0": 0.0 * time}
    (silent,), (cut,) = distortion.reduce(
        build, circuit, cards_for(build), dead, input_v=0.02, quiet={"audio": 0.0}
    )  # type: ignore[arg-type]
    assert (silent.thd, list(silent.harmonics)) == (0.0, [0.0] * 9)
    # a tube that carries nothing at rest is not in class A
    assert (cut.least_share, cut.keeps) == (0.0, False)


def test_a_tone_is_run_until_the_bias_has_settled(monkeypatch: pytest.MonkeyPatch, demo: Build) -> None:
    """120 ms and eight periods of 1 kHz at 160 steps each; kept are the last nine. Volts r.m.s. at the grid,
    the source's course has the peak.
    """
    said: list[Any] = []

    class Toned(On):
        def op(self, vectors: Any) -> dict[str, np.ndarray]:
            return {"vapm#branch": np.array([4.2e-3 + 0j])}

        def course(self, *what: Any) -> None:
            said.append(what)

        def tran(self, *asked: Any, vectors: Any) -> Any:
            said.append((asked, vectors))
            return "run"

    circuit = distortion.plan(demo, cards_for(demo), rotation=0.4)
    lend(monkeypatch, distortion, Toned())
    monkeypatch.setattr(distortion, "reduce", lambda *_, input_v, quiet: (input_v, quiet))
    receiver: Any = SimpleNamespace(
        build=demo,
        cards=cards_for(demo),
        bench=SimpleNamespace(map=lambda one, given: [one(None, v) for v in given]),
    )
    found: Any = distortion.run(receiver, rotation=0.4, inputs=[0.01, 0.03])
    assert found == [(0.01, {"audio": pytest.approx(4.2e-3)}), (0.03, {"audio": pytest.approx(4.2e-3)})]
    assert said[0] == (Role.LOOP_GAIN, "sin", (0.0, pytest.approx(0.01 * math.sqrt(2.0)), 1000.0))
    asked, vectors = said[1]
    assert asked == pytest.approx((1.0 / 160e3, 0.128, 0.119, 1.0 / 160e3))
    assert set(vectors) == {"time", "vapm#branch", *circuit.outputs, *(
        circuit.sockets["audio"].pins[pin] for pin in ("grid", "cathode")
    )}  # fmt: skip


# ---------------------------------------------------------------------------- a dial, point by point


def test_a_frequency_that_fails_is_named_and_the_others_stay(
    monkeypatch: pytest.MonkeyPatch, demo: Build
) -> None:
    """3.1 MHz: the search failed; 3.2: the circuit; 3.3: no resonance; 3.4 has its point."""
    point = filled(DialPoint)

    def asked(at: Any, *, rotation: float) -> DialPoint:
        assert rotation == 0.37
        if at.onset.dial_hz == 3.2e6:
            raise EngineError("no solution")
        if at.onset.dial_hz == 3.3e6:
            raise NoAnswer("no resonance")
        return point

    def at(_: Any, dial: float) -> Any:
        failed = dial == 3.1e6
        status = Status.FAILED if failed else Status.DOES_NOT
        return SimpleNamespace(onset=filled(Onset, dial_hz=dial, status=status, warnings=("one", "two")))

    monkeypatch.setattr(dial_sweep, "point", asked)
    receiver: Any = SimpleNamespace(at=at)
    band = demo.bands[1]
    found = dial_sweep.run(receiver, band=band, frequencies=[3.1e6, 3.2e6, 3.3e6, 3.4e6], rotation=0.37)
    assert found.warnings == ("3.1 MHz: one; two", "3.2 MHz: no solution", "3.3 MHz: no resonance")
    assert found.points == (point,)
    assert (found.band, found.from_hz, found.to_hz, found.rotation) == (band.name, band.from_, band.to, 0.37)


@pytest.mark.parametrize(("said", "words"), [((), "the onset search failed"), (("a", "b"), "a; b")])
def test_a_point_needs_a_tuned_tank(demo: Build, said: tuple[str, ...], words: str) -> None:
    lost: Any = SimpleNamespace(onset=filled(Onset, tuning_farad=None, warnings=said))
    with pytest.raises(NoAnswer) as caught:
        dial_sweep.point(lost, rotation=0.4)
    assert str(caught.value) == words


# ---------------------------------------------------------------------------- the operating point


class Numbers(dict[str, float]):
    """A figure for every node and branch, no two alike."""

    def __missing__(self, name: str) -> float:
        self[name] = 10.0 + 3.7 * len(self)
        return self[name]


@pytest.mark.parametrize("build", ["demo", "triode"])
def test_an_operating_point_reads_each_node_for_its_own_pin(build: str) -> None:
    shipped = shipped_build(build)
    cards, band = cards_for(shipped), shipped.bands[0]
    circuit = receiver_circuit(shipped, cards, band=band, dial_hz=band.to, rotation=0.4)
    volts = Numbers()
    found = operating_point.reduce(volts, circuit, shipped, cards, label="here", rotation=0.4)
    assert (found.label, found.setting.rotation) == ("here", 0.4)
    assert found.setting.figure == volts[circuit.control.node or ""]
    assert found.setting.quantity == circuit.control.quantity
    assert found.volts == {name: volts[node] for node, name in circuit.meter.items()}
    for tube in found.tubes:
        pins = circuit.sockets[tube.socket].pins
        for pin in ("plate", "grid", "cathode"):
            assert getattr(tube, f"{pin}_v") == (0.0 if pins[pin] == "0" else volts[pins[pin]])
        assert tube.screen_v == (volts[pins["screen"]] if "screen" in pins else None)
        assert (tube.screen_a is None, tube.screen_w is None) == ("screen" not in pins,) * 2
        assert tube.tube == cards.of(tube.socket).type


def test_a_regulator_is_held_against_its_greatest_current(demo: Build) -> None:
    """Its own current is what the dropper brings less what the control takes: 42 mA less 2 of 40 at most."""
    band, cards = demo.bands[0], cards_for(demo)
    circuit = receiver_circuit(demo, cards, band=band, dial_hz=band.to, rotation=0.4)
    volts = Numbers()
    assert demo.regulator is not None
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(operating_point, "regulator_current", lambda *_: 0.0397)
        found = operating_point.reduce(volts, circuit, demo, cards, label="here", rotation=0.4)
        assert found.regulator_a == 0.0397
        line = found.ratings[-1]
        assert (line.part, line.quantity, line.value, line.unit) == ("regulator", "current", 0.0397, "A")
        assert line.limit == demo.regulator.maximum_current
        patch.setattr(operating_point, "regulator_current", lambda *_: None)
        none = operating_point.reduce(volts, circuit, demo, cards, label="here", rotation=0.4)
    assert none.regulator_a is None and all(line.part != "regulator" for line in none.ratings)
