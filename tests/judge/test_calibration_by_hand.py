"""What readings say of a set whose readings follow its parts in straight lines: Bayes by hand; and the meter
that is taken off again.
"""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from receiver_sim.circuit.element import GROUND
from receiver_sim.circuit.factors import PRINT, Factor
from receiver_sim.errors import NoAnswer
from receiver_sim.judge import calibration
from receiver_sim.judge.fault_finder import Seen
from receiver_sim.judge.fault_predictions import Volt, shown_on
from receiver_sim.studies.pin_chart import NO_METER_OHM, meter_element

NOBODY: Any = None

# ---------------------------------------------------------------------------- a set of straight lines

VOLTS = np.array([70.0, 30.0])
ONSETS = {"a": 0.40, "b": None, "c": 0.55}
BY_VOLTS = np.array([[3.0, 0.0, 0.4], [0.0, 0.8, 0.2]])
BY_ONSET = {"a": np.array([0.02, -0.01, 0.0]), "c": np.array([0.03, 0.0, 0.005])}
"""By one deviation of each of three factors."""


def factor(name: str, shape: Any = "bell", low: float = -0.1, high: float = 0.1, **more: Any) -> Factor:
    return Factor(
        name, name, name, more.pop("kind", "resistor"), low, high, shape, "class", "seen", "x", **more
    )


FACTORS = (factor("r1"), factor("r2"), factor("c1"))


class _Model:
    """A set whose figures go in straight lines with its deviations."""

    def __init__(self, *_: Any) -> None: ...

    def by(self, z: Any) -> dict[str, float]:
        return {one.name: float(v) for one, v in zip(FACTORS, z, strict=True)}

    def look(self, _: Any, z: Any, bands: Any) -> tuple[np.ndarray, list[float | None]]:
        names = list(ONSETS)
        at = np.asarray(z)
        found: list[float | None] = []
        for n in bands:
            stated = ONSETS[names[n]]
            found.append(None if stated is None else float(stated + BY_ONSET[names[n]] @ at))
        return VOLTS + BY_VOLTS @ at, found


def volt(seen: float) -> Volt:
    return Volt("p", "n", "10 Mohm", 1e7, 250.0, seen)


def calibrated(
    monkeypatch: pytest.MonkeyPatch,
    seen: tuple[float, float],
    onset: dict[str, float | None],
    error: float = 0.02,
) -> calibration.Found:
    monkeypatch.setattr(calibration, "SetModel", _Model)
    monkeypatch.setattr(calibration, "drawn", lambda _b, _c, _f, by: (by, "cards"))
    plan = SimpleNamespace(
        factors=FACTORS, bands=[SimpleNamespace(name=name) for name in ONSETS], build=NOBODY, cards=NOBODY
    )
    bench = SimpleNamespace(map=lambda work, items: [work(None, one) for one in items])
    shown = Seen(tuple(volt(one) for one in seen), error, onset, None)
    return calibration.calibrate(SimpleNamespace(plan=plan), shown, bench)  # type: ignore[arg-type]


def by_bayes(seen: tuple[float, float], onset: dict[str, float]) -> tuple[np.ndarray, np.ndarray, float]:
    """Normal deviates of variance one, readings with 2 % and 10 mV, or 0.8 % of the travel: the mean and the
    covariance of what is left (any textbook: the conditional of a joint normal distribution), and what
    remains.
    """
    rows = np.vstack([BY_VOLTS, *(BY_ONSET[name][None, :] for name in onset)])
    noise = np.array([*(math.hypot(0.02 * v, 0.01) for v in seen), *([0.008] * len(onset))])
    off = np.array([*(np.array(seen) - VOLTS), *(place - ONSETS[n] for n, place in onset.items())])  # type: ignore[operator]
    whole = rows @ rows.T + np.diag(noise**2)
    mean = rows.T @ np.linalg.solve(whole, off)
    left = np.eye(3) - rows.T @ np.linalg.solve(whole, rows)
    return mean, left, math.sqrt(float(np.mean(((off - rows @ mean) / noise) ** 2)))


def test_what_the_readings_leave_of_a_part_is_its_deviation(monkeypatch: pytest.MonkeyPatch) -> None:
    """One standard deviation after over one before, not their squares."""
    seen, onset = (73.4, 29.1), {"a": 0.43}
    _, left, _ = by_bayes(seen, onset)
    found = calibrated(monkeypatch, seen, dict(onset))
    due = np.sqrt(np.diag(left))
    assert found.left == pytest.approx(due, rel=1e-6)
    # or nothing would tell a deviation from its square
    assert due.min() < 0.7 and all(abs(due - due**2) > 0.02)


def test_parts_are_pulled_as_far_as_the_readings_say(monkeypatch: pytest.MonkeyPatch) -> None:
    seen, onset = (73.4, 29.1), {"a": 0.43}
    mean, _, misfit = by_bayes(seen, onset)
    found = calibrated(monkeypatch, seen, dict(onset))
    assert found.build == pytest.approx(dict(zip(("r1", "r2", "c1"), mean, strict=True)), rel=1e-6)
    assert found.by == pytest.approx(
        [calibration.deviation_of(one, z) for one, z in zip(FACTORS, mean, strict=True)], rel=1e-6
    )
    assert found.misfit == pytest.approx(misfit, rel=1e-6)
    assert found.shown_before == pytest.approx(VOLTS)
    assert found.shown_after == pytest.approx(VOLTS + BY_VOLTS @ mean, rel=1e-9)


def test_onsets_before_and_after_stand_with_their_own_spread(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of a band that was not read, too; of one without an onset nothing is said. s^T C s is the variance."""
    seen, onset = (73.4, 29.1), {"a": 0.43}
    mean, left, _ = by_bayes(seen, onset)
    found = calibrated(monkeypatch, seen, dict(onset))
    assert found.onset_before == (pytest.approx(0.40), None, pytest.approx(0.55))
    assert found.onset_after == (
        pytest.approx(0.40 + BY_ONSET["a"] @ mean), None, pytest.approx(0.55 + BY_ONSET["c"] @ mean)
    )  # fmt: skip
    for spread, covariance in ((found.spread_before, np.eye(3)), (found.spread_after, left)):
        due = [math.sqrt(BY_ONSET[n] @ covariance @ BY_ONSET[n]) for n in ("a", "c")]
        assert spread == (pytest.approx(due[0], rel=1e-6), None, pytest.approx(due[1], rel=1e-6))


def test_an_onset_that_the_build_does_not_have_points_to_a_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    words = r"^the build has no onset on b, where one was read: look for a fault first$"
    with pytest.raises(NoAnswer, match=words):
        calibrated(monkeypatch, (73.4, 29.1), {"a": 0.43, "b": 0.5})
    # one that was looked for in vain is no figure
    found = calibrated(monkeypatch, (73.4, 29.1), {"a": 0.43, "b": None})
    assert found.onset_before[1] is None


def test_a_part_is_known_by_one_standard_deviation(monkeypatch: pytest.MonkeyPatch) -> None:
    """An even spread of 10 % to either side has 0.2/sqrt(12)."""
    even = tuple(factor(one.name, "even") for one in FACTORS)
    monkeypatch.setitem(globals(), "FACTORS", even)
    found = calibrated(monkeypatch, (73.4, 29.1), {"a": 0.43})
    assert found.width == pytest.approx([0.2 / math.sqrt(12.0)] * 3)
    assert calibration.deviation_of(even[0], 1.5) == pytest.approx(0.3 / math.sqrt(12.0))


def test_no_part_is_taken_below_a_tenth_of_its_value() -> None:
    """A share of the value ends there; volts have no such end."""
    wide = factor("r", "even", -0.8, 0.8)
    one = 1.6 / math.sqrt(12.0)
    assert calibration.deviation_of(wide, 1.9) == pytest.approx(1.9 * one)
    assert calibration.deviation_of(wide, -1.9) == pytest.approx(-1.9 * one)
    assert calibration.deviation_of(wide, -2.1) == calibration.deviation_of(wide, -9.0) == -0.9
    in_volts = factor("v", "even", -0.8, 0.8, volts=True)
    assert calibration.deviation_of(in_volts, -4.0) == pytest.approx(-4.0 * one)


def test_what_print_leaves_open_has_no_lower_end() -> None:
    """A tube three deviations below its published curves is three below, not nine tenths of one."""
    assert calibration.deviation_of(factor("t", kind=PRINT), -3.0) == pytest.approx(-3.0)


# ---------------------------------------------------------------------------- the meter


class _Pins:
    """Two pins behind a source resistance each, joined by a third: a meter on one loads the other, too."""

    def __init__(self) -> None:
        self.ohm = {meter_element("a"): NO_METER_OHM, meter_element("b"): NO_METER_OHM}
        self.session = self
        self.asked: list[str] = []

    def set(self, name: str, value: float) -> None:
        self.ohm[name] = value

    def op(self, vectors: list[str]) -> dict[str, np.ndarray]:
        self.asked += vectors
        a, b = (1.0 / self.ohm[meter_element(n)] for n in "ab")
        # 100 V by 1 Mohm to a, 60 V by 2 Mohm to b, 1 Mohm between them: Kirchhoff
        matrix = np.array([[2e-6 + a, -1e-6], [-1e-6, 1.5e-6 + b]])
        volts = np.linalg.solve(matrix, [100e-6, 30e-6])
        return {"a": volts[:1] + 0j, "b": volts[1:] + 0j}


def test_a_meter_loads_its_own_pin_and_is_taken_off_again() -> None:
    """On a, a meter of 0.5 Mohm: (4e-6, -1e-6; -1e-6, 1.5e-6) v = (100e-6, 30e-6) leaves 36 V. The next one,
    on b with 10 Mohm, meets the first pin without a meter: (2e-6, -1e-6; -1e-6, 1.6e-6) v gives 72.73 V.
    """
    on: Any = _Pins()
    first = shown_on(on, Volt("a", "a", "5 kohm/V", 0.5e6, 100.0, 0.0))
    assert first == pytest.approx((100.0 * 1.5 + 30.0) / (4.0 * 1.5 - 1.0))
    assert on.ohm == {meter_element("a"): NO_METER_OHM, meter_element("b"): NO_METER_OHM}
    second = shown_on(on, Volt("b", "b", "10 Mohm", 10e6, 100.0, 0.0))
    assert second == pytest.approx((2.0 * 30.0 + 100.0) / (2.0 * 1.6 - 1.0))
    assert set(on.ohm.values()) == {NO_METER_OHM} and on.asked == ["a", "b"]


def test_a_meter_on_the_chassis_shows_nothing() -> None:
    assert shown_on(NOBODY, Volt("k", GROUND, "10 Mohm", 1e7, 10.0, 0.0)) == 0.0
