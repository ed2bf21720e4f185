"""Where a supply and its receiver meet, where the tank's mode is taken, what follows from a kind or a type;
worked out by hand, the engine's answers set down beforehand.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from receiver_sim import oscillating
from receiver_sim.api import _audio
from receiver_sim.builds import shipped_build
from receiver_sim.circuit.blocks.phones import fit_of
from receiver_sim.engine.errors import EngineFailed
from receiver_sim.errors import UserError
from receiver_sim.measure import rectifier
from receiver_sim.physics.core_loss import usual_core_resistance
from receiver_sim.results.answer import Answer, rows
from receiver_sim.results.base import Status
from receiver_sim.results.envelope import AmplitudeMap, Oscillation
from receiver_sim.results.onset import ControlSetting, Onset
from receiver_sim.schema import Build, changed_build
from receiver_sim.schema.supply import RectifierSupply
from tests.helpers.filling import filled

# ---------------------------------------------------------------------------- a rectifier supply

SUPPLY = RectifierSupply.model_validate(
    {
        "kind": "rectifier", "secondary": {"volts": "250 V", "resistance": "180 ohm"},
        "circuit": "bridge", "rectifier": {"kind": "solid_state"}, "filter": [{"capacitor": "8 uF"}],
    }
)  # fmt: skip

EMF, OHM = 340.0, 2000.0
"""A supply whose volts fall in a straight line."""


class Lined:
    """A bench that runs one after the other."""

    def map(self, work: Callable[..., Any], items: Sequence[Any], progress: Any = None) -> list[Any]:
        return [work(self, item) for item in items]


@pytest.fixture
def straight(monkeypatch: pytest.MonkeyPatch) -> list[dict[str, float]]:
    """Runs of the supply are answered by Ohm's law; what each was asked for is kept."""
    asked: list[dict[str, float]] = []

    def steady(_supply: Any, _bench: Any, **what: float) -> Any:
        asked.append(what)
        volts = EMF * what.get("mains", 1.0) / (1.0 + OHM * what["load_s"])
        return SimpleNamespace(mean=lambda _name: volts)

    monkeypatch.setattr(rectifier, "steady", steady)
    return asked


def test_the_regulation_of_a_supply_goes_from_no_load_to_beyond_its_greatest(
    straight: list[dict[str, float]],
) -> None:
    """Each run's current is that of its load at the volts it has: all lie on the supply's straight line."""
    found = rectifier.regulation(SUPPLY, Lined(), frequency=60.0, greatest_a=45e-3)  # type: ignore[arg-type]
    assert found[:, 1] == pytest.approx(EMF - OHM * found[:, 0])
    assert found[0, 0] == 0.0 and list(found[:, 0]) == sorted(found[:, 0]) and len(found) == 6
    assert {one["frequency"] for one in straight} == {60.0}
    # loads are of 45 mA at a fifth above the winding's volts, the greatest 1.3 of that
    assert straight[-1]["load_s"] == pytest.approx(1.3 * 45e-3 / 300.0)


def test_supply_and_receiver_meet_where_both_have_the_same_current(
    monkeypatch: pytest.MonkeyPatch, straight: list[dict[str, float]], demo: Build
) -> None:
    """A receiver of 8 kohm on 340 V behind 2 kohm: 34 mA."""
    taken: dict[str, Any] = {}

    def at(_supply: Any, _bench: Any, **what: Any) -> str:
        taken.update(what)
        return "found"

    monkeypatch.setattr(rectifier, "_at", at)
    monkeypatch.setattr(rectifier, "settled", lambda _supply, result: f"settled of {result}")
    build = demo.model_copy(update={"supply": SUPPLY})
    bench: Any = Lined()
    assert rectifier.run(build, bench, current_at=lambda volts: volts / 8e3) == ("found", "settled of found")
    # the search ends within a millionth
    assert taken["load_a"] == pytest.approx(34e-3, rel=3e-6)
    assert taken["frequency"] == demo.mains.frequency
    # the curve goes to a fifth more than at volts above any it will have, and 1.3 of that beyond
    load = 1.3 * (1.2 * 300.0 / 8e3) / 300.0
    assert taken["curve"][-1, 0] == pytest.approx(load * EMF / (1.0 + OHM * load))
    with pytest.raises(EngineFailed, match="supply and receiver have no working point in common"):
        rectifier.run(build, bench, current_at=lambda volts: 0.2 if volts < 320.0 else 0.02)


def test_a_rectifier_is_looked_at_at_its_load_and_cold_at_the_highest_mains(
    monkeypatch: pytest.MonkeyPatch, straight: list[dict[str, float]]
) -> None:
    """34 mA at 272 V are 125 uS, the slope there 2 kohm; without load the mains are a tenth up."""
    taken: dict[str, Any] = {}
    monkeypatch.setattr(rectifier, "_reduce", lambda _supply, low, high, **what: taken.update(
        what, low=low.mean(""), high=high.mean("")))  # fmt: skip
    curve = np.array([[amperes, EMF - OHM * amperes] for amperes in (0.0, 0.02, 0.04, 0.06)])
    rectifier._at(SUPPLY, None, frequency=50.0, load_a=34e-3, curve=curve)  # type: ignore[arg-type]
    assert (taken["load_s"], taken["slope"]) == (pytest.approx(125e-6), pytest.approx(OHM))
    assert (taken["low"], taken["high"]) == (pytest.approx(272.0), pytest.approx(1.1 * EMF))
    assert straight[1] == {"frequency": 50.0, "load_s": 0.0, "mains": 1.1}


@contextmanager
def climbing(levels: Sequence[float], asked: list[tuple[float, float]]) -> Iterator[None]:
    """Runs over time that end at one level after the other, and come from the one before."""
    with pytest.MonkeyPatch.context() as patch:

        def circuit(_supply: Any, *, start_v: float, **_also: float) -> float:
            return start_v

        def tran(step: float, span: float, *, vectors: list[str], **_also: Any) -> dict[str, Any]:
            number = len(asked) - 1
            asked[number] = (asked[number][0], span)
            time = np.linspace(0.0, span, 801)
            before = levels[number - 1] if number else 0.0
            course = np.where(time < span - 0.25, before, levels[number])
            return {"time": time, **{name: course for name in vectors if name != "time"}}

        @contextmanager
        def load(_bench: Any, start: float) -> Iterator[Any]:
            asked.append((start, 0.0))
            yield SimpleNamespace(session=SimpleNamespace(tran=tran))

        patch.setattr(rectifier, "rectifier_circuit", circuit)
        patch.setattr(rectifier, "loaded", load)
        yield


def test_a_run_is_gone_on_with_until_the_output_no_longer_moves() -> None:
    """40 line periods first, twice as many each time, from where the last one ended; at 50 Hz ten periods
    are 0.2 s. From 299.9 V to 299.92 V is less than 1e-4 of it, from 299.8 V more.
    """
    asked: list[tuple[float, float]] = []
    with climbing([200.0, 299.8, 299.9, 299.92], asked):
        found = rectifier.steady(SUPPLY, None, frequency=50.0, load_s=1e-4, mains=0.9)  # type: ignore[arg-type]
    assert found.mean("sec1") == pytest.approx(299.92, rel=1e-6)
    starts, spans = zip(*asked, strict=True)
    assert starts == pytest.approx((1.25 * 250.0 * 0.9, 200.0, 299.8, 299.9), rel=1e-6)
    assert spans == pytest.approx((0.8, 1.6, 3.2, 6.4))
    asked.clear()
    moving = [100.0 + 10.0 * n for n in range(20)]
    with climbing(moving, asked), pytest.raises(EngineFailed, match="the rectifier supply does not settle"):
        rectifier.steady(SUPPLY, None, frequency=50.0, load_s=1e-4)  # type: ignore[arg-type]
    assert len(asked) == 12 and max(span for _, span in asked) == pytest.approx(16.0)


# ---------------------------------------------------------------------------- where the mode is taken


@pytest.mark.parametrize(
    ("onset", "amplitudes", "status", "place"),
    [(0.41, True, Status.OSCILLATES, 0.41), (None, True, Status.NOT_IN_RANGE, 0.07),
     (None, False, Status.NOT_IN_RANGE, 0.0), (None, False, Status.DOES_NOT, 1.0)],
)  # fmt: skip
def test_the_tanks_mode_is_taken_at_onset_or_as_near_as_there_is(
    onset: float | None, amplitudes: bool, status: Status, place: float
) -> None:
    """At onset; without one at the first of the amplitudes; else at the stop nearest to it."""
    at = None if onset is None else ControlSetting(onset, 22.0)
    known = filled(AmplitudeMap, rotation=np.array([0.07, 0.5])) if amplitudes else None
    tuned: Any = SimpleNamespace(
        onset=filled(Onset, onset=at, status=status), mode=lambda rotation: f"mode at {rotation}"
    )
    assert oscillating.mode_at(tuned, filled(Oscillation, amplitudes=known)) == f"mode at {place}"


def test_loudness_is_asked_with_the_volume_fully_up(demo: Build) -> None:
    """Nothing else moves; a set without a control stays as it is."""
    up = oscillating._fully_up(demo)
    assert demo.audio is not None and demo.audio.volume is not None and up.audio is not None
    assert demo.audio.volume.setting < 1.0 and up.audio.volume is not None
    assert up.audio.volume == demo.audio.volume.model_copy(update={"setting": 1.0})
    for name in ("one_tube", "throttle"):
        bare = shipped_build(name)
        assert oscillating._fully_up(bare) is bare


# ---------------------------------------------------------------------------- what follows from a kind


def test_a_bench_supply_ripples_at_twice_the_mains_too(demo: Build) -> None:
    bench = {"kind": "bench", "volts": "200 V", "ripple": "2 mV"}
    assert changed_build(demo, {"supply": bench, "mains.frequency": "60 Hz"}).supply.ripple_frequency == 120.0


def test_phones_of_a_kind_have_what_is_not_stated_and_a_network_its_own() -> None:
    """Of a measured impedance no resistance follows, for the network stands for it; level and the rest do."""
    stage = shipped_build("demo")
    plain = {"name": "headset", "at": "plate", "capacitor": "0.5 uF"}
    points = [{"frequency": "100 Hz", "magnitude": "2 kohm"}, {"frequency": "1 kHz", "magnitude": "9 kohm"}]
    given = [
        {**plain, "name": "a", "kind": "600_ohm", "resistance": "540 ohm"},
        {**plain, "name": "b", "kind": "high_impedance", "sensitivity": "97 dB"},
        {**plain, "name": "c", "resistance": "2 kohm"},
        {**plain, "name": "d", "kind": "600_ohm", "impedance": points},
    ]
    a, b, c, d = changed_build(stage, {"phones": given}).phones
    # the kinds' own figures: the table of schema/phones.py
    assert (a.resistance, a.inductance, a.capacitance, a.sensitivity) == (540.0, 0.030, 200e-12, 100.0)
    assert (b.resistance, b.inductance, b.sensitivity) == (2e3, 1.9, 97.0)
    assert (c.resistance, c.inductance, c.capacitance, c.sensitivity) == (2e3, 0.0, 0.0, 100.0)
    assert d.resistance is None and d.sensitivity == 100.0
    fit = fit_of(d)
    assert fit is not None
    notes = _audio._audio_notes(stage.model_copy(update={"phones": (c, d)}))
    assert notes[2:] == (f"d: network fitted to its measured impedance, largest error {fit.error:.1%}.",)


def test_tubes_are_shown_under_the_names_of_their_cards() -> None:
    """In every socket: a 6SK7GT is the 6SK7, a 6C5GT the 6C5. Regression: the r.f. stage's kept its name as
    written, and so a list of candidates had it twice.
    """
    written = {"rf_stage.tube": "6SK7GT", "detector.tube": "6J7GT", "audio.tube": "6C5GT"}
    other = changed_build(shipped_build("rf_stage"), written)
    assert other.rf_stage is not None and other.audio is not None
    assert (other.rf_stage.tube, other.detector.tube, other.audio.tube) == ("6SK7", "6J7", "6C5")


def test_a_transformer_behind_the_detector_loses_by_its_primary(demo: Build) -> None:
    """The usual loss of laminations at the inductance of the winding that carries the plate."""
    iron = {
        "kind": "transformer", "primary_inductance": "190 H", "primary_resistance": "4 kohm",
        "secondary_resistance": "9 kohm", "ratio": 3,
    }  # fmt: skip
    load = changed_build(demo, {"detector.load": iron, "audio.coupling": None}).detector.load
    assert load.core_loss == pytest.approx(usual_core_resistance(190.0))


def test_a_tickler_that_works_against_the_swing_is_told_with_both_remedies() -> None:
    build = shipped_build("throttle")
    turned = changed_build(build, {"bands[1].coil.tickler.plate_end": "near"})
    said = [one for one in turned.warnings if "reversed" in one]
    assert said == [
        f"band '{build.bands[1].name}': the tickler is reversed and works against the swing: swap its two "
        "ends ('plate_end') or wind it the other way ('direction')"
    ]
    assert not [one for one in build.warnings if "reversed" in one]


# ---------------------------------------------------------------------------- answers


@dataclass(frozen=True)
class Lonely(Answer):
    volts: float


def test_an_answer_without_a_table_says_so() -> None:
    """Neither a result of single figures, nor a class, nor what is no result."""
    for what, words in ((Lonely(1.0), "Lonely is no table"), (Lonely, f"{Lonely!r} is no table"),
                        (3.0, "3.0 is no table")):  # fmt: skip
        with pytest.raises(UserError) as caught:
            list(rows(what))
        assert str(caught.value) == words
