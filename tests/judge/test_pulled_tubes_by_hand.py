"""Readings with a tube in and out, and factors that need a deck of their own: by dividers solved by hand."""

from __future__ import annotations

from contextlib import nullcontext
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from receiver_sim.circuit.factors import Factor
from receiver_sim.engine import NoSolution
from receiver_sim.judge import calibration, fault_onset, fault_predictions
from receiver_sim.judge.fault_finder import Seen
from receiver_sim.judge.fault_predictions import Volt
from receiver_sim.judge.reading_spread import Shift
from receiver_sim.schema.tolerances import Tolerance, _row

NOBODY: Any = None


class Divider(dict[str, Any]):
    """100 V over a resistor to node 'mid', 20 kohm to ground, and a tube that takes as much as 20 kohm."""

    sockets = {"audio": SimpleNamespace(tube="xaud")}  # noqa: RUF012
    control = SimpleNamespace(at=lambda _: {})

    def __init__(self, upper: float, *, tube: bool = True) -> None:
        super().__init__(r1=SimpleNamespace(value=upper), **({"xaud": None} if tube else {}))
        self.tube = tube

    def without(self, tubes: list[str]) -> Divider:
        assert tubes == ["xaud"]
        return Divider(self["r1"].value, tube=False)


class On:
    """A divider in a worker."""

    troubled = False

    def __init__(self, circuit: Divider) -> None:
        self.circuit, self.session = circuit, self
        self.upper = circuit["r1"].value

    def set(self, _: str, value: float) -> None:
        self.upper = value

    def turn(self, rotation: float) -> None:
        assert rotation == 0.8

    def op(self, vectors: Any = None) -> dict[str, np.ndarray]:
        lower = 10e3 if self.circuit.tube else 20e3
        return {"mid": np.array([100.0 * lower / (lower + self.upper) + 0j])}

    def volts(self) -> dict[str, float]:
        return {"mid": float(self.op()["mid"].real[0])}


def at(node: str, pulled: str) -> Volt:
    return Volt("p", node, "10 Mohm", 1e7, 250.0, 0.0, pulled)


def test_a_reading_with_its_tube_out_is_one_of_the_set_without_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """30 kohm above: 10/(10 + 30) of 100 V with the tube, 20/(20 + 30) without; a fault makes it 40 kohm.
    What is heard, and the volts of all nodes, are those with the tube. A factor inside its law makes it
    33 kohm: by as much the readings move. A socket that is not there reads nothing.
    """
    heard: list[bool] = []
    monkeypatch.setattr(fault_predictions, "loaded", lambda _, circuit: nullcontext(On(circuit)))
    monkeypatch.setattr(fault_predictions, "with_meters", lambda circuit, _: circuit)
    monkeypatch.setattr(fault_predictions, "shown_on", lambda on, _: on.volts()["mid"])
    monkeypatch.setattr(
        fault_predictions, "_heard", lambda on, _: heard.append(on.circuit.tube) or (30.0, -40.0)
    )
    monkeypatch.setattr(fault_predictions, "variant_cards", lambda name, cards: (name, cards))

    def made(state: Divider, plan: Any, one: Any, cards: Any, shift: Shift) -> Divider:
        assert cards == ("some variant", "cards") and shift.number == 1
        return Divider(33e3, tube=state.tube)

    monkeypatch.setattr(fault_predictions, "made_with", made)
    stand: Any = SimpleNamespace(
        rotation=0.8, plan=SimpleNamespace(factors=(0, 0)), cards="cards", map=NOBODY
    )
    volts = (at("mid", ""), at("mid", "audio"), at("mid", "rf"))
    shifts = (Shift(1, {"x": 0.1}, -1.0, None),)
    direct = fault_predictions._Direct(NOBODY, stand, Divider(30e3), "some variant", volts, shifts)  # type: ignore[arg-type]
    found = direct.read([((-1, 0), {}), ((0, 0), {"r1": 40e3})], heard=True)
    sound, faulty = found[-1, 0], found[0, 0]
    assert sound.volts == pytest.approx([25.0, 40.0, 0.0], abs=1e-12)
    assert faulty.volts == pytest.approx([20.0, 100.0 / 3.0, 0.0], abs=1e-12)
    assert (sound.nodes["mid"], faulty.nodes["mid"]) == (pytest.approx(25.0), pytest.approx(20.0))
    assert heard == [True, True] and (faulty.gain_db, faulty.hum_db) == (30.0, -40.0)
    # taken a deviation down, counted up
    due = [25.0 - 100.0 * 10.0 / 43.0, 40.0 - 100.0 * 20.0 / 53.0, 0.0]
    assert sound.spread[:, 1] == pytest.approx(due, abs=1e-12)
    assert not sound.spread[:, 0].any()
    # the fault stays in that deck: its 40 kohm stand in place of the 33, so that nothing moves
    assert faulty.spread[:, 1] == pytest.approx([0.0, 0.0, 0.0], abs=1e-9)


def test_a_circuit_that_cannot_be_loaded_is_given_up_fault_by_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    tried: list[int] = []

    def load(*_: Any) -> Any:
        tried.append(1)
        raise NoSolution.__new__(NoSolution)

    monkeypatch.setattr(fault_onset, "loaded", load)
    circuits: Any = {"": Divider(30e3)}
    run = fault_onset.onset_job(circuits, circuits, NOBODY, 7e6)
    assert run(NOBODY, ("", [((0, 0), {}), ((1, 0), {})])) == {} and len(tried) == 2


def test_what_has_no_spread_is_not_pulled(monkeypatch: pytest.MonkeyPatch) -> None:
    """A part of no tolerance stays as it is, and all of the reading goes to the other: 3 V a deviation."""
    factors = tuple(
        Factor(n, n, n, "resistor", -by, by, "even", "class", "seen", "x")
        for n, by in (("r1", 0.0), ("r2", 0.1))
    )

    class Model:
        def __init__(self, *_: Any) -> None: ...

        def by(self, z: Any) -> Any:
            return list(z)

        def look(self, _: Any, z: Any, bands: Any) -> Any:
            return np.array([70.0 + 5.0 * z[0] + 3.0 * z[1]]), [None for _ in bands]

    monkeypatch.setattr(calibration, "SetModel", Model)
    monkeypatch.setattr(calibration, "drawn", lambda _b, _c, _f, by: (by, "cards"))
    plan = SimpleNamespace(factors=factors, bands=[SimpleNamespace(name="40 m")], build=NOBODY, cards=NOBODY)
    bench: Any = SimpleNamespace(map=lambda work, items: [work(None, one) for one in items])
    seen = Seen((Volt("p", "n", "10 Mohm", 1e7, 250.0, 73.0),), 0.01, {}, None)
    found: Any = calibration.calibrate(SimpleNamespace(plan=plan), seen, bench)  # type: ignore[arg-type]
    variance = 0.73**2 + 0.01**2
    assert found.build == [pytest.approx(0.0, abs=1e-12), pytest.approx(3.0 * 3.0 / (9.0 + variance))]
    assert found.by[0] == 0.0 and found.width[0] == 0.0 and found.left[0] == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("low", "high", "due"),
    [("-20 %", "50 %", (-0.2, 0.5, False)), ("-0.2 V", "0.3 V", (-0.2, 0.3, True)),
     ("0 %", "1 %", (0.0, 0.01, False))],
)  # fmt: skip
def test_a_row_of_tolerances_is_read_in_its_unit(low: str, high: str, due: tuple[float, float, bool]) -> None:
    """Per cent become shares; volts stay volts; where it is from goes with it."""
    row = {"class": "a", "low": low, "high": high, "shape": "bell", "flag": "memory-low", "source": "a book"}
    found = _row(row)
    assert found == Tolerance(
        pytest.approx(due[0]), pytest.approx(due[1]), "bell", "memory-low", "a book", due[2]
    )


def test_a_unit_that_no_tolerance_has_is_refused() -> None:
    row = {"class": "a", "low": "-1 ohm", "high": "1 ohm", "shape": "bell", "flag": "", "source": ""}
    with pytest.raises(KeyError, match="ohm"):
        _row(row)
