"""What is made of the measurements of an r.f. stage, and how its tubes are ranked: on figures by hand."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.design import rf_stage, swap_rf
from receiver_sim.errors import NoAnswer
from receiver_sim.results.base import Status
from receiver_sim.results.onset import ControlSetting, Onset
from receiver_sim.results.rf_stage import FrontEnd
from receiver_sim.results.swap import Fitting, RfBand, RfCandidate, SignalNoise, WeakestSignal
from receiver_sim.schema import Build
from tests.helpers.filling import filled


def _front(
    monkeypatch: pytest.MonkeyPatch,
    build: Build,
    *,
    heard: SignalNoise | None = None,
    aerial: complex | None = 2e-4j,
) -> FrontEnd:
    """The way from aerial to tank where 3 V at the hot end drive 0.6 mA in the aerial."""
    state: dict[str, Any] = {"silent": False, "driven": None}

    @contextmanager
    def silenced(_: object) -> Iterator[None]:
        state["silent"] = True
        yield
        state["silent"] = False

    @contextmanager
    def driven(role: Role) -> Iterator[None]:
        state["driven"] = role
        yield

    def ac(low: float, high: float, points: int, vectors: list[str]) -> dict[str, Any]:
        # at the resonance of the tank, its tube cold, an ampere into the tank
        assert (low, high, points) == (7.06e6, 7.06e6, 1)
        assert state == {"silent": True, "driven": Role.TANK_CURRENT}
        assert vectors == ["frequency", "top", "aerial#branch"]
        return {"top": np.array([3.0 * np.exp(0.4j)]), "aerial#branch": np.array([0.6e-3 * np.exp(1.1j)])}

    mode = SimpleNamespace(resonance_hz=7.06e6, q=83.0, rp=21e3, aerial=aerial)
    tank = SimpleNamespace(mode=lambda dial, q: mode)
    monkeypatch.setattr(rf_stage, "Tank", lambda *_, **__: tank)
    monkeypatch.setattr(rf_stage, "silenced", silenced)
    on: Any = SimpleNamespace(
        node=lambda place: {Place.HOT_END: "top"}[place],
        circuit=SimpleNamespace(branch=lambda role: {Role.AERIAL: "aerial#branch"}[role]),
        driven=driven,
        session=SimpleNamespace(ac=ac),
    )
    found = filled(Onset, dial_hz=7.1e6, status=Status.OSCILLATES)
    return rf_stage._front_end(on, build, band=build.bands[2], found=found, heard=heard, along=[0.3, 0.4])


def test_current_in_the_aerial_is_effective_for_a_volt_of_peak_at_the_tank(
    monkeypatch: pytest.MonkeyPatch, demo: Build
) -> None:
    """0.6 mA over 3 V are 0.2 mA of peak for 1 V; I^2 R of the effective value is radiated.

    R of a short vertical wire over ground, (160 pi^2)(h/lambda)^2 with its effective height (textbook).
    """
    assert demo.aerial is not None
    short = demo.model_copy(update={"aerial": demo.aerial.model_copy(update={"effective_height": 1.7})})
    found = _front(monkeypatch, short)
    effective = 0.2e-3 / math.sqrt(2.0)
    assert found.aerial_a == pytest.approx(effective, rel=1e-9)
    resistance = 160.0 * math.pi**2 * (1.7 * 7.06e6 / 299_792_458.0) ** 2
    # the constant is 160 pi^2 only as nearly as free space has 120 pi ohm: 0.1 %
    assert found.power_w == pytest.approx(effective**2 * resistance, rel=1e-3)


def test_gain_from_the_aerial_is_its_share_of_the_tanks_current_in_the_tanks_resistance(
    monkeypatch: pytest.MonkeyPatch, demo: Build
) -> None:
    found = _front(monkeypatch, demo)
    assert (found.q, found.aerial_gain) == (83.0, pytest.approx(2e-4 * 21e3))
    assert (found.status, list(found.along_rotation)) == (Status.OSCILLATES, [0.3, 0.4])
    assert _front(monkeypatch, demo, aerial=None).aerial_gain == 0.0


def test_the_weakest_signal_is_that_for_speech(monkeypatch: pytest.MonkeyPatch, demo: Build) -> None:
    """3 kHz (common practice), at the aerial, not at the grid."""
    heard = filled(
        SignalNoise,
        weakest=tuple(WeakestSignal(hertz, 1e-6 * hertz, 3e-6 * hertz) for hertz in (500.0, 3000.0)),
    )
    assert _front(monkeypatch, demo, heard=heard).weakest_v == pytest.approx(9e-3)
    assert _front(monkeypatch, demo).weakest_v is None


def test_with_and_without_the_stage_the_aerial_takes_the_place_of_its_plate() -> None:
    build = api.shipped_build("rf_stage")
    assert build.rf_stage is not None and build.aerial is not None
    plain = rf_stage.without_stage(build)
    assert plain.rf_stage is None and plain.aerial is not None
    assert plain.aerial.coupling == build.rf_stage.coupling
    assert plain.aerial.model_copy(update={"coupling": build.aerial.coupling}) == build.aerial
    with pytest.raises(NoAnswer, match=r"^no r\.f\. stage$"):
        rf_stage.without_stage(plain)
    with pytest.raises(NoAnswer, match=r"^no aerial is connected$"):
        rf_stage.without_stage(build.model_copy(update={"aerial": None}))


def test_dial_settings_go_an_eighth_beyond_the_band_in_even_ratios(demo: Build) -> None:
    band = demo.bands[1]
    found = rf_stage.frequencies(band)
    assert len(found) == 11
    assert (found[0], found[-1]) == (pytest.approx(3.5e6 / 1.12), pytest.approx(3.8e6 * 1.12))
    assert np.diff(np.log(found)) == pytest.approx([math.log(1.12**2 * 3.8 / 3.5) / 10.0] * 10)


@pytest.mark.parametrize(
    ("status", "rotation", "place"),
    [(Status.OSCILLATES, 0.37, 0.37), (Status.DOES_NOT, None, 1.0), (Status.NOT_IN_RANGE, None, 0.0)],
)
def test_where_there_is_no_onset_the_curve_runs_along_the_stop(
    status: Status, rotation: float | None, place: float
) -> None:
    there = None if rotation is None else ControlSetting(rotation, 20.0)
    assert rf_stage._place(filled(Onset, status=status, onset=there)) == place


@pytest.mark.parametrize(
    ("warnings", "words"),
    [(("the first", "the second"), "^the first; the second$"), ((), "^the onset search failed$")],
)
def test_a_failed_search_says_why(warnings: tuple[str, ...], words: str) -> None:
    found = filled(Onset, status=Status.FAILED, onset=None, warnings=warnings, tuning_farad=None)
    with pytest.raises(NoAnswer, match=words):
        rf_stage._place(found)
    one: Any = SimpleNamespace(onset=replace(found, tuning_farad=None))
    with pytest.raises(NoAnswer, match=words):
        rf_stage.front_end(one)


def test_radiation_of_the_set_without_its_stage_is_told_over_that_with_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """1 mW without and 2 uW with it are 27 dB, of power; each build has its own figures."""
    build = api.shipped_build("rf_stage")
    seen: list[tuple[bool, int]] = []

    def front_end(one: Any, *, along: tuple[float, ...]) -> FrontEnd:
        staged = one.build.rf_stage is not None
        seen.append((staged, len(along)))
        return filled(FrontEnd, power_w=2e-6 if staged else 1e-3)

    def tuned(of: Build) -> Any:
        receiver = SimpleNamespace(changed=lambda other: SimpleNamespace(at=lambda band, dial: tuned(other)))
        return SimpleNamespace(build=of, band=build.bands[0], dial_hz=3.6e6, receiver=receiver)

    monkeypatch.setattr(rf_stage, "front_end", front_end)
    found = rf_stage.run(tuned(build))
    assert found.radiation_db == pytest.approx(10.0 * math.log10(500.0))
    assert (found.present.power_w, found.without.power_w) == (2e-6, 1e-3)
    assert sorted(seen) == [(False, 11), (True, 11)] and found.along_hz.size == 11
    assert (found.band, found.dial_hz, found.bandwidth_hz) == (build.bands[0].name, 3.6e6, 3000.0)
    assert found.ratio_db == 10.0  # a readable signal: common practice


# ---------------------------------------------------------------------------- rank


def _band(name: str, *, gain: float = 2.0, power: float = 1e-6, rotation: float | None = 0.4) -> RfBand:
    there = None if rotation is None else ControlSetting(rotation, 20.0)
    front = filled(FrontEnd, onset=there, aerial_gain=gain, power_w=power)
    return RfBand(name, 3.6e6, front)


def _tube(name: str, *bands: RfBand, in_place: bool = False, **more: Any) -> RfCandidate:
    fitting = more.pop("fitting", filled(Fitting, heater_fits=True, other_base=False, pins=()))
    return RfCandidate(tube=name, in_place=in_place, fitting=fitting, bands=bands, **more)


def _said(*bands: RfBand, place: tuple[RfBand, ...]) -> tuple[str, ...]:
    """The reasons of a tube beside that in place."""
    found = swap_rf.rank([_tube("PLACE", *place, in_place=True), _tube("OTHER", *bands)])
    return next(c.reasons for c in found if c.tube == "OTHER")


def test_signal_and_radiation_are_told_in_decibels_against_the_tube_in_place() -> None:
    """Three times the volts are 9.5 dB, half the power -3.0 dB; several bands have a span."""
    one = _said(_band("80 m", gain=6.0, power=0.5e-6), place=(_band("80 m"),))
    assert one == (
        "oscillates on all 1 bands",
        "+9.5 dB of signal at the tank",
        "-3.0 dB radiated",
        "onset stays where it is",
    )
    two = _said(
        _band("80 m", gain=6.0, power=0.5e-6),
        _band("40 m", gain=1.0, power=4e-6),
        place=(_band("80 m"), _band("40 m")),
    )
    assert two[:3] == (
        "oscillates on all 2 bands",
        "-6.0 to +9.5 dB of signal at the tank",
        "-3.0 to +6.0 dB radiated",
    )


@pytest.mark.parametrize(
    ("rotation", "words"),
    [
        (0.4198, "onset stays where it is"),
        (0.4202, "onset moves by +2 % of the knob on 80 m"),
        (0.3802, "onset stays where it is"),
        (0.3798, "onset moves by -2 % of the knob on 80 m"),
        (0.55, "onset moves by +15 % of the knob on 80 m"),
    ],
)
def test_an_onset_that_moves_by_a_fiftieth_of_the_knob_is_told(rotation: float, words: str) -> None:
    """The others of the bands stay where they are and are not named."""
    found = _said(_band("80 m", rotation=rotation), _band("40 m"), place=(_band("80 m"), _band("40 m")))
    assert found[-1] == words


def test_bands_without_an_onset_are_named_and_do_not_move() -> None:
    found = _said(_band("80 m", rotation=None), _band("40 m"), place=(_band("80 m"), _band("40 m")))
    assert found[0] == "no onset within the control on 80 m" and found[-1] == "onset stays where it is"
    both = _said(_band("80 m"), place=(_band("80 m", rotation=None),))
    assert "onset" not in both[-1]


def test_faults_go_before_signal_and_the_easier_to_fit_before_its_equals() -> None:
    """A signal within a tenth is none; the tube in place goes before its twins."""
    hard = filled(Fitting, heater_fits=True, other_base=True, pins=())
    made = [
        _tube("FAILED", _band("80 m", gain=9.0), failed="the reason"),
        _tube("MUTE", _band("80 m", gain=9.0, rotation=None)),
        _tube("WEAK", _band("80 m", gain=1.0)),
        # 1.1 to the 20th is 6.73: astride no step
        _tube("A TWIN", _band("80 m", gain=1.1**20)),
        _tube("HARD", _band("80 m", gain=1.1**20 * 1.03), fitting=hard),
        _tube("PLACE", _band("80 m", gain=1.1**20), in_place=True),
        _tube("BEST", _band("80 m", gain=1.1**22), fitting=hard),
    ]
    ranked = swap_rf.rank(made)
    assert [c.tube for c in ranked] == ["BEST", "PLACE", "A TWIN", "HARD", "WEAK", "MUTE", "FAILED"]
    assert [c.rank for c in ranked] == list(range(1, 8))
    assert ranked[-1].reasons == ("the simulation failed: the reason",)
    assert ranked[1].reasons == ("oscillates on all 1 bands",)


def test_signals_are_averaged_over_the_bands_in_decibels() -> None:
    """4 and 1 are as much as 2 and 2, 9 and 0.1 are less."""
    ranked = swap_rf.rank(
        [
            _tube("UNEVEN", _band("80 m", gain=9.0), _band("40 m", gain=0.1)),
            _tube("EVEN", _band("80 m", gain=2.0), _band("40 m", gain=2.0)),
        ]
    )
    assert [c.tube for c in ranked] == ["EVEN", "UNEVEN"]
