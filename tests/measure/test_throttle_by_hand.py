"""Which setting of a throttle holds each amplitude, on surpluses in closed form: no circuit is run."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from receiver_sim.circuit.control import Control, Follower
from receiver_sim.circuit.roles import Place
from receiver_sim.circuit.views.envelope import LOWEST_V
from receiver_sim.engine import EngineFailed
from receiver_sim.errors import NoAnswer
from receiver_sim.measure import throttled_balance
from receiver_sim.measure.amplitude_balance import Balance
from receiver_sim.measure.imposed_amplitude import CurveEnd
from receiver_sim.measure.throttled_balance import Sheet, balance, looked_at, lowest_settings

SETTINGS = np.linspace(0.2, 1.0, 9)
THROTTLE = Control(
    quantity="throttle", unit="F", node=None, degrees=180.0, law="linear", mid=None, on_tank=True,
    followers=(Follower("cthr", "between", 10e-12, end=150e-12, least=1e-14),),
)  # fmt: skip
HALF_V = 0.8
"""The scale of the amplitudes below."""


def _sheet(surplus: Callable[[Any, Any], Any], *, highest: float) -> Sheet:
    """A sheet up to an amplitude, in steps of an eighth of an e-fold; its figures are closed forms, too."""
    amplitude = np.exp(np.arange(math.log(0.02), math.log(highest) + 1e-9, 1.0 / 8.0))
    r, a = SETTINGS[:, None], amplitude[None, :]
    components = np.stack([2.0 + r + 0.0 * a, r * np.log(a), r**2 + np.log(a)], axis=-1)
    return Sheet(
        SETTINGS, amplitude, surplus(r, a) + 0.0 * r * a, -1.0 - r * np.log(a), 3.0 + r + np.log(a),
        0.2 * r - 0.1 * np.log(a), components,
    )  # fmt: skip


def _falls(r: Any, a: Any) -> Any:
    """Zero at r = 0.25 + A/1.6; at the upper stop at A = 1.2."""
    return 2.0 * r - 0.5 - a / HALF_V


def _grows(r: Any, a: Any) -> Any:
    """Zero at r = 0.9 - A/1.6: what is larger takes less of the throttle, down to where it takes none."""
    return 2.0 * r - 1.8 + a / HALF_V


def _balance(monkeypatch: pytest.MonkeyPatch, known: Sheet) -> Balance:
    monkeypatch.setattr(throttled_balance, "_proved", lambda *_, drive, **__: drive)
    receiver: Any = None
    mode: Any = None
    return balance(receiver, mode, control=THROTTLE, known=known, rotations=lowest_settings(known))


def test_a_map_whose_amplitudes_all_have_a_setting_ends_at_its_reach(monkeypatch: pytest.MonkeyPatch) -> None:
    """Up to 1 V every amplitude is sustained below the stop, and the stop itself sustains more."""
    known = _sheet(_falls, highest=1.0)
    raw = _balance(monkeypatch, known)
    assert raw.end is CurveEnd.REACH
    assert raw.amplitude == pytest.approx(known.amplitude)
    assert raw.wiper == pytest.approx(0.25 + known.amplitude / 1.6, abs=1e-9)


def test_a_map_that_reaches_the_stop_ends_there_at_its_own_amplitude(monkeypatch: pytest.MonkeyPatch) -> None:
    known = _sheet(_falls, highest=3.0)
    raw = _balance(monkeypatch, known)
    assert raw.end is CurveEnd.TOP
    # a cubic through steps of 12 % in the amplitude
    assert raw.amplitude[-1] == pytest.approx(1.2, rel=1e-4)
    assert raw.wiper[-1] == 1.0
    assert raw.amplitude[:-1] == pytest.approx(known.amplitude[known.amplitude < 1.2])


def test_a_map_whose_amplitudes_end_before_those_looked_at_ends_in_a_fold(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Above 1.12 V every setting pays for more than the losses: none holds it still."""
    known = _sheet(_grows, highest=3.0)
    raw = _balance(monkeypatch, known)
    assert raw.end is CurveEnd.FOLD
    assert 0.98 < raw.amplitude[-1] <= 1.12
    assert raw.wiper == pytest.approx(0.9 - raw.amplitude / 1.6, abs=1e-9)


def test_every_figure_of_a_map_is_read_at_its_own_setting_and_amplitude(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Figures linear in setting and log of amplitude are met by the cubics to their rounding; the farads run
    from 10 to 150 pF over the travel.
    """
    raw = _balance(monkeypatch, _sheet(_falls, highest=3.0))
    r, a = raw.wiper, np.log(raw.amplitude)
    assert raw.grid == pytest.approx(-1.0 - r * a)
    assert raw.drive_ma == pytest.approx(3.0 + r + a)
    assert raw.cross_ma == pytest.approx(0.2 * r - 0.1 * a)
    assert raw.harmonics_ma is not None
    assert raw.harmonics_ma[:, 0] == pytest.approx(2.0 + r)
    assert raw.harmonics_ma[:, 1] == pytest.approx(r * a, abs=1e-9)
    assert raw.harmonics_ma[:, 2] == pytest.approx(r**2 + a)
    assert raw.figure == pytest.approx(10e-12 + 140e-12 * r)
    assert list(raw.rest_wiper) == [0.0, 1.0]
    assert raw.rest_figure == pytest.approx([10e-12, 150e-12])


@pytest.mark.parametrize(("sign", "lowest"), [(1.0, 0.3), (-1.0, 0.55)])
def test_the_lowest_setting_is_where_the_tube_comes_to_pay(sign: float, lowest: float) -> None:
    """Of zeros at 0.3, 0.55 and 0.8 those count at which the surplus rises with the setting."""
    known = _sheet(lambda r, _: sign * (r - 0.3) * (r - 0.55) * (r - 0.8), highest=0.1)
    assert lowest_settings(known) == pytest.approx(np.full(known.amplitude.size, lowest))
    never = _sheet(lambda r, _: -0.1 - r, highest=0.1)
    assert np.isnan(lowest_settings(never)).all()


def test_what_the_stops_sustain_is_read_off_the_ends_of_the_sheet(monkeypatch: pytest.MonkeyPatch) -> None:
    """A stop that pays from the smallest amplitude on begins with the map; a hard one where it comes to pay:
    at 0.3 V, up to 1.2.
    """
    known = _sheet(_falls, highest=3.0)
    raw = _balance(monkeypatch, known)
    found = looked_at(known, raw)
    assert found.pays.surplus == pytest.approx(1.5 - known.amplitude / HALF_V)
    assert found.floor.surplus == pytest.approx(-0.1 - known.amplitude / HALF_V)
    assert (found.begins_v, found.elsewhere) == (pytest.approx(raw.amplitude[0]), None)
    assert found.ends_v == pytest.approx(1.2, rel=1e-4)
    assert (found.rest[0] is raw.rest_wiper, found.rest[1] is raw.rest_figure) == (True, True)
    hard = _sheet(lambda r, a: r * (a - 0.3) * (1.2 - a), highest=3.0)
    # straight lines between points 12 % apart, on a parabola
    assert looked_at(hard, raw).begins_v == pytest.approx(0.3, rel=1e-2)
    assert looked_at(hard, raw).ends_v == pytest.approx(1.2, rel=1e-3)
    beyond = _sheet(_falls, highest=1.0)
    assert looked_at(beyond, raw).ends_v is None


def test_of_several_amplitudes_that_the_stop_just_sustains_the_largest_ends_a_map(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Its surplus falls through nothing at 0.3 and at 1.2 V, and rises through it at 0.6."""
    raw = _balance(monkeypatch, _sheet(_falls, highest=3.0))
    humps = _sheet(lambda r, a: r * (0.3 - a) * (a - 0.6) * (a - 1.2), highest=3.0)
    # a cubic through steps of 12 % in the amplitude
    assert looked_at(humps, raw).ends_v == pytest.approx(1.2, rel=1e-3)


def test_what_is_solved_anew_at_some_settings_corrects_all(monkeypatch: pytest.MonkeyPatch) -> None:
    """A drive that is 2 % more than its cubic says below, and 5 % more at the end, is so between."""
    asked: list[tuple[float, float]] = []

    def imposed(*_: object, amplitude: float, rotation: float) -> Any:
        asked.append((amplitude, rotation))
        return SimpleNamespace(node=lambda place: {Place.DRIVE: "drive"}[place])

    @contextmanager
    def made(*_: object) -> Iterator[Any]:
        amplitude, rotation = asked[-1]
        more = 1.02 + 0.03 * (amplitude - 1.0) / 2.0
        session = SimpleNamespace(op=lambda vectors: {"drive": np.array([(4.0 + rotation) * more + 0j])})
        yield SimpleNamespace(session=session)

    monkeypatch.setattr(throttled_balance, "imposed_circuit", imposed)
    monkeypatch.setattr(throttled_balance, "loaded", made)
    amplitude, places = np.linspace(1.0, 3.0, 41), np.linspace(0.3, 0.9, 41)
    receiver: Any = SimpleNamespace(build=None, cards=None, bench=None)
    mode: Any = None
    found = throttled_balance._proved(receiver, mode, amplitude=amplitude, places=places, drive=4.0 + places)
    assert found == pytest.approx((4.0 + places) * np.linspace(1.02, 1.05, 41))
    assert len(asked) == 12 and asked[0] == (1.0, 0.3) and asked[-1] == (3.0, pytest.approx(0.9))


def _modes(*feeds: bool) -> Any:
    """A mode along settings from 0 to 1, of which some feed the grid's swing."""

    class One:
        def __init__(self, feeds: bool) -> None:
            self.feeds, self.conductance = feeds, 2e-6

        @property
        def drive(self) -> complex:
            if not self.feeds:
                raise NoAnswer("what couples beside the resonance outweighs it")
            return 1.0 + 0j

    places = np.linspace(0.0, 1.0, len(feeds))
    return SimpleNamespace(along=tuple((float(p), One(f)) for p, f in zip(places, feeds, strict=True)))


def test_settings_towards_the_lower_stop_that_feed_nothing_are_left_out() -> None:
    """A spline needs five: of fewer the reason why not is given."""
    kept = throttled_balance._feeding(_modes(False, False, True, True, True, True, True))
    assert [place for place, _ in kept] == pytest.approx([2 / 6, 3 / 6, 4 / 6, 5 / 6, 1.0])
    with pytest.raises(NoAnswer, match=r"^what couples beside the resonance outweighs it$"):
        throttled_balance._feeding(_modes(False, False, False, True, True, True, True))


@pytest.mark.parametrize(("solved_v", "highest"), [(30.0, 22.0), (10.0, 7.0), (3.0, 2.0)])
def test_amplitudes_are_imposed_as_far_as_there_is_a_solution(
    monkeypatch: pytest.MonkeyPatch, solved_v: float, highest: float
) -> None:
    """22 V, 7 V, 2 V, in steps of a sixteenth of an e-fold from a millivolt; power over loss: drive over the
    tank's conductance times the amplitude, here 2 uA for a volt.
    """

    def row(*_: object, rotation: float, end: float, phases: int | None) -> tuple[np.ndarray, ...]:
        if LOWEST_V * math.exp(end) > solved_v:
            raise EngineFailed("no solution")
        amplitude = LOWEST_V * np.exp(np.arange(0.0, end + 1e-9, 1.0 / 16.0))
        return amplitude, -amplitude, 3e-3 * amplitude, amplitude + rotation, amplitude

    monkeypatch.setattr(throttled_balance, "_row", row)
    receiver: Any = None
    found = throttled_balance.sheet(receiver, _modes(*[True] * 6), phases=None)
    assert highest * math.exp(-1.0 / 16.0) < found.amplitude[-1] <= highest
    assert found.amplitude[0] == pytest.approx(LOWEST_V)
    # 3 uA against 2 uA for each volt
    assert found.surplus == pytest.approx(np.full((6, found.amplitude.size), 0.5))
    assert found.grid == pytest.approx(np.tile(-found.amplitude, (6, 1)))
    assert found.cross - found.amplitude == pytest.approx(
        np.tile(np.linspace(0.0, 1.0, 6)[:, None], found.amplitude.size), abs=1e-12
    )
    assert found.components is None


def test_a_sheet_without_any_solution_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    def row(*_: object, **__: object) -> None:
        raise EngineFailed("no solution")

    monkeypatch.setattr(throttled_balance, "_row", row)
    receiver: Any = None
    with pytest.raises(EngineFailed, match=r"^simulation failed: no solution"):
        throttled_balance.sheet(receiver, _modes(*[True] * 6))
