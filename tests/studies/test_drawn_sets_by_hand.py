"""What a drawn set comes to where it fails, where a search finds it, and what is heard of it: by hand."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from receiver_sim.builds import cards_for
from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.roles import Role
from receiver_sim.circuit.sets import Start
from receiver_sim.engine import EngineError, NoSolution
from receiver_sim.errors import NoAnswer
from receiver_sim.measure.loop_gain import Sample
from receiver_sim.results.base import Status
from receiver_sim.results.spread import SetOnset
from receiver_sim.schema import Build, changed_build
from receiver_sim.studies import drawn_sets, set_figures

NOBODY: Any = None

# ---------------------------------------------------------------------------- sets that fail


class _Session:
    """A loaded set whose bands have the onsets that are given, or fail."""

    def __init__(self, gives: dict[int, SetOnset] | Exception) -> None:
        self._gives = gives

    def onsets(self, _approach: bool) -> dict[int, SetOnset]:
        if isinstance(self._gives, Exception):
            raise self._gives
        return self._gives

    def on(self, index: int) -> str:
        return f"band {index} in"


def looked_at(
    monkeypatch: pytest.MonkeyPatch, *, together: Any, alone: dict[int, Any], **more: Any
) -> tuple[dict[int, SetOnset], list[str]]:
    """Look at three bands of one group: what all of them give in one session, and each by itself."""
    seen: list[str] = []

    @contextmanager
    def session(_b: Any, _p: Any, group: Any, *_: Any, singly: bool = False) -> Iterator[_Session]:
        gives = alone[group[0]] if singly else together
        yield _Session(gives if isinstance(gives, (dict, Exception)) else {group[0]: gives})

    monkeypatch.setattr(drawn_sets, "_set", session)
    monkeypatch.setattr(drawn_sets, "laws_of", lambda *_: ())
    plan: Any = SimpleNamespace(groups=[(0, 1, 2)], bands=range(3))
    return drawn_sets.look_at_bands(NOBODY, plan, {}, range(3), also=seen.append, **more), seen  # type: ignore[arg-type]


GOOD = SetOnset(Status.OSCILLATES, 0.4, 22.0)
NEVER = SetOnset(Status.DOES_NOT)


@pytest.mark.parametrize("error", [NoSolution("none"), NoAnswer("no resonance")])
def test_a_set_that_could_not_be_simulated_has_failed(
    error: Exception, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It says nothing of the set: neither that it oscillates nor that it does not. The other bands stand."""
    found, seen = looked_at(monkeypatch, together=error, alone={0: GOOD, 1: error, 2: NEVER})
    assert found == {0: GOOD, 1: SetOnset(Status.FAILED), 2: NEVER}
    assert [one.status for one in found.values()] == [Status.OSCILLATES, Status.FAILED, Status.DOES_NOT]
    # nothing is read off a set whose simulation failed
    assert seen == []


def test_an_engine_that_breaks_down_is_not_a_failed_set(monkeypatch: pytest.MonkeyPatch) -> None:
    """A worker that died says nothing of any set: the run as a whole ends."""
    with pytest.raises(EngineError):
        looked_at(
            monkeypatch, together=EngineError("gone"), alone=dict.fromkeys(range(3), EngineError("gone"))
        )


def test_a_set_that_runs_is_shown_once_with_its_last_band_in(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = {0: GOOD, 1: NEVER, 2: GOOD}
    found, seen = looked_at(monkeypatch, together=whole, alone={})
    assert (found, seen) == (whole, ["band 2 in"])


# ---------------------------------------------------------------------------- an onset of a search


def samples(gain: Any) -> list[Sample]:
    return [Sample(x, 60.0 * x, 7e6 + 1e3 * x, gain(x)) for x in np.linspace(0.0, 1.0, 21)]


def control(build: Build) -> Any:
    band = build.bands[0]
    return receiver_circuit(build, cards_for(build), band=band, dial_hz=band.to, rotation=0.5).control


def test_onset_and_approach_of_a_search_from_nothing(demo: Build) -> None:
    """T = 2 x: onset at half of a linear track of 310 degrees, 0.9 of it at 0.45; 60 V at its top."""
    build = changed_build(demo, {"regeneration.law": "linear", "regeneration.rotation": "310 deg"})
    found = drawn_sets._searched(samples(lambda x: 2.0 * x), 0.5, control(build))
    assert found.status is Status.OSCILLATES
    assert (found.rotation, found.figure) == (pytest.approx(0.5), pytest.approx(30.0))
    assert found.oscillation_hz == pytest.approx(7e6 + 500.0)
    assert found.approach == pytest.approx(0.05 * 60.0, rel=1e-6)
    assert found.approach_deg == pytest.approx(0.05 * 310.0, rel=1e-6)


def test_a_gain_that_is_never_low_leaves_no_approach(demo: Build) -> None:
    found = drawn_sets._searched(samples(lambda x: 0.95 + 0.1 * x), 0.5, control(demo))
    assert found.status is Status.OSCILLATES and found.rotation == pytest.approx(0.5)
    assert (found.approach, found.approach_deg) == (None, None)


def test_a_coil_of_its_own_is_tuned_to_the_same_place(demo: Build) -> None:
    """C = 1/(w^2 L): a coil of 4 % more inductance wants 1/1.04 of the whole capacitance, strays
    included.
    """
    band = demo.bands[1]
    own = 1.04 * band.coil.inductance
    whole = 1.0 / ((2.0 * np.pi * band.middle_hz) ** 2 * band.coil.inductance)
    start = Start(0.4, 2.5, 60e-12)
    assert drawn_sets.tuning_of(start, band, own) == pytest.approx(60e-12 - whole * (1.0 - 1.0 / 1.04))
    assert drawn_sets.tuning_of(start, band, band.coil.inductance) == pytest.approx(60e-12)
    assert drawn_sets.tuning_of(Start(0.4, 2.5, None), band, own) is None
    # a capacitor has no less than nothing
    least = drawn_sets.tuning_of(Start(0.4, 2.5, 1e-12), band, own)
    assert least is not None and 0.0 < least < 0.1e-12


# ---------------------------------------------------------------------------- figures of a set


class _On:
    """A loaded set whose phones get volts that run linearly with the hum pot, per volt of the heaters."""

    START, SLOPE = 3e-4 - 1e-4j, -7e-4 + 5e-4j

    def __init__(self, circuit: Any) -> None:
        self.circuit, self.session = circuit, self
        self.names = circuit.part(Role.HUM_POT_A), circuit.part(Role.HUM_POT_B)
        self._ohm = {name: circuit[name].value for name in self.names}
        self._driven: dict[str, float] = {}
        self.asked_hz: list[float] = []

    def turn_to_share(self, share: float) -> None:
        self.share = share

    def drive(self, which: Any, strength: float = 1.0) -> None:
        self._driven[self.circuit.part(which)] = strength

    @contextmanager
    def driven(self, which: Any, strength: float = 1.0) -> Iterator[None]:
        self.drive(which, strength)
        yield
        self.drive(which, 0.0)

    def set(self, name: str, value: float) -> None:
        self._ohm[name] = value

    def at(self, place: float) -> complex:
        return self.START + place * self.SLOPE

    def ac(self, start: float, *_: Any, vectors: Any) -> dict[str, np.ndarray]:
        self.asked_hz.append(start)
        a, b = (self._ohm[name] for name in self.names)
        heater = self._driven.get(self.circuit.part(Role.HEATER), 0.0)
        volts = (
            heater * self.at(a / (a + b)) + self._driven.get(self.circuit.part(Role.LOOP_GAIN), 0.0) * -8.5j
        )
        return {name: np.array([volts]) for name in vectors}

    def volts(self) -> dict[str, float]:
        return {"plate": 71.0}


def figures_of(build: Build, by: dict[str, float]) -> tuple[set_figures.SetFigures, _On]:
    band = build.bands[0]
    circuit = receiver_circuit(build, cards_for(build), band=band, dial_hz=band.to, rotation=0.5)
    on, plan = _On(circuit), SimpleNamespace(build=build, maps=[SimpleNamespace(turned=lambda *_: {})])
    return set_figures.figures_of_set(on, plan, by, share=0.31), on  # type: ignore[arg-type]


@pytest.mark.parametrize("place", [0.2, 0.5, 0.83])
@pytest.mark.parametrize("mains", [0.0, 0.07])
def test_hum_of_a_drawn_set_at_its_own_pot_and_at_its_null(demo: Build, place: float, mains: float) -> None:
    """A straight line in the complex plane, START + p SLOPE, for each volt of the heaters, which follow the
    mains: at the pot's own place p, and at the foot of the perpendicular from zero.
    """
    build = changed_build(demo, {"heater.hum_pot_position": f"{100 * place:.0f} %"})
    found, on = figures_of(build, {"mains": mains})
    # the share of the track from heater end a, as the build states it
    level = 6.3 * (1.0 + mains)
    # a contact's milliohm beside the track
    assert found.hum_here_v[0] == pytest.approx(level * abs(on.at(place)), rel=1e-3)
    slope, start = on.SLOPE, on.START
    null = -(start.real * slope.real + start.imag * slope.imag) / abs(slope) ** 2
    assert 0.0 < null < 1.0
    assert found.hum_position[0] == pytest.approx(null, rel=1e-4)
    across = abs(start.real * slope.imag - start.imag * slope.real) / abs(slope)
    assert found.hum_best_v[0] == pytest.approx(level * across, rel=1e-4)
    assert on.asked_hz == [1000.0, 50.0, 50.0]


def test_gain_and_volts_of_a_drawn_set_are_taken_at_its_setting(demo: Build) -> None:
    found, on = figures_of(demo, {})
    assert found.gain[0] == pytest.approx(8.5)
    assert found.volts == {"plate": 71.0} and on.share == 0.31


def test_heaters_on_direct_current_have_no_hum_to_draw(demo: Build) -> None:
    found, on = figures_of(changed_build(demo, {"heater.supply": "dc"}), {})
    assert (found.hum_here_v, found.hum_best_v, found.hum_position) == ((), (), ())
    assert on.asked_hz == [1000.0]
