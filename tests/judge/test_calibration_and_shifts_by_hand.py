"""Readings near nothing, sets that bend, parts that only fall: closed forms; how a loaded deck follows a
factor, on a map of a circuit made by hand.
"""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from receiver_sim.circuit.factors import PRINT, Factor
from receiver_sim.errors import NoAnswer
from receiver_sim.judge import calibration, reading_spread
from receiver_sim.judge.fault_finder import Seen
from receiver_sim.judge.fault_predictions import Volt
from receiver_sim.judge.reading_spread import Shift, made_with, middles, shifts_of

NOBODY: Any = None
ROOT3 = math.sqrt(3.0)


def factor(name: str, shape: Any = "bell", low: float = -0.1, high: float = 0.1, **more: Any) -> Factor:
    kind, key = more.pop("kind", "resistor"), more.pop("key", name)
    return Factor(name, key, name, kind, low, high, shape, "class", "seen", "x", **more)


# ---------------------------------------------------------------------------- one factor, one reading


def found_of(
    monkeypatch: pytest.MonkeyPatch, shown: Any, read: float, *, error: float, one: Factor | None = None
) -> calibration.Found:
    """The calibration of a set whose one reading follows one factor."""
    only = one or factor("r1")

    class Model:
        def __init__(self, *_: Any) -> None: ...

        def by(self, z: Any) -> Any:
            return float(z[0])

        def look(self, _: Any, z: Any, bands: Any) -> Any:
            return np.array([shown(float(z[0]))]), [None for _ in bands]

    monkeypatch.setattr(calibration, "SetModel", Model)
    monkeypatch.setattr(calibration, "drawn", lambda _b, _c, _f, by: (by, "cards"))
    plan = SimpleNamespace(factors=(only,), bands=[SimpleNamespace(name="40 m")], build=NOBODY, cards=NOBODY)
    bench = SimpleNamespace(map=lambda work, items: [work(None, one) for one in items])
    seen = Seen((Volt("p", "n", "10 Mohm", 1e7, 250.0, read),), error, {}, None)
    return calibration.calibrate(SimpleNamespace(plan=plan), seen, bench)  # type: ignore[arg-type]


def test_no_meter_is_read_closer_than_ten_millivolts(monkeypatch: pytest.MonkeyPatch) -> None:
    """40 mV read to 2 % are 0.8 mV by the scale, but 10 mV by the last digit of a meter (common practice, no
    source). Bayes for one normal deviate that moves the reading by 20 mV.
    """
    found = found_of(monkeypatch, lambda z: 0.02 * z, 0.04, error=0.02)
    variance = (0.02 * 0.04) ** 2 + 0.01**2
    due = 0.02 * 0.04 / (0.02**2 + variance)
    assert found.build == pytest.approx(due, rel=1e-9)
    assert found.left == pytest.approx([math.sqrt(variance / (0.02**2 + variance))], rel=1e-9)
    # what remains is that of the set that was found, not of the build
    assert found.misfit == pytest.approx((0.04 - 0.02 * due) / math.sqrt(variance), rel=1e-9)
    assert (found.shown_before, found.shown_after) == (
        pytest.approx([0.0], abs=1e-15), pytest.approx([0.02 * due]),
    )  # fmt: skip


def test_a_battery_is_pulled_from_the_middle_of_its_spread(monkeypatch: pytest.MonkeyPatch) -> None:
    """From fresh to a fifth down, any as likely: a mean of a tenth down, sqrt(3) deviations below as stated.
    A reading of 100 V less 5 V a deviation, read as 93 V to 1 %: where the build alone would say 1.4.
    """
    battery = factor("mains", "even", -0.2, 0.0)
    found = found_of(monkeypatch, lambda z: 100.0 + 5.0 * z, 93.0, error=0.01, one=battery)
    variance = 0.93**2 + 0.01**2
    due = -ROOT3 + 5.0 * (93.0 - (100.0 - 5.0 * ROOT3)) / (25.0 + variance)
    assert found.build == pytest.approx(due, rel=1e-9)
    assert found.by == pytest.approx([due * 0.2 / math.sqrt(12.0)], rel=1e-9)
    assert found.width == pytest.approx([0.2 / math.sqrt(12.0)])


def test_what_bends_is_run_until_it_stands_still(monkeypatch: pytest.MonkeyPatch) -> None:
    """The slope is that of half a deviation, 3.5 V; at rest the pull of the reading and of the spread are
    equal: z = slope (read - shown)/variance, solved by bisection. Four steps come within a hundredth
    of a deviation, where one is off by more than a twentieth.
    """

    def shown(z: float) -> float:
        return 70.0 + 3.0 * z + 1.0 * z * z

    found = found_of(monkeypatch, shown, 75.0, error=0.02)
    variance = 1.5**2 + 0.01**2
    due = brentq(lambda z: z - 3.5 * (75.0 - shown(z)) / variance, 0.0, 3.0)
    one_step = 3.5 * 5.0 / (3.5**2 + variance)
    assert abs(one_step - due) > 0.05
    assert found.build == pytest.approx(due, abs=0.01)
    assert found.shown_after == pytest.approx([shown(float(found.build))])  # type: ignore[arg-type]


# ---------------------------------------------------------------------------- a set by its deviations


def test_a_set_is_read_with_its_control_where_it_stood(monkeypatch: pytest.MonkeyPatch) -> None:
    """The meters of all readings hang on every band's circuit; the first band is looked at where none is
    asked for; a set that gives fewer readings than asked for gives none.
    """
    asked: list[Any] = []
    control = SimpleNamespace(share=lambda rotation: 0.5 * rotation)
    one: Any = SimpleNamespace(name="r1", shape="even", low=-0.1, high=0.1, kind="resistor", volts=False)
    other = SimpleNamespace(name="r2", shape="even", low=-0.2, high=0.2, kind="resistor", volts=False)

    class Map:
        circuit = SimpleNamespace(control=control)

    def replace(what: Any, **given: Any) -> Any:
        return SimpleNamespace(**{**vars(what), **given})

    turned: list[float] = []

    def look(bench: Any, plan: Any, by: Any, bands: Any, *, also: Any, approach: bool) -> Any:
        asked.append((dict(by), list(bands), [m.circuit.nodes for m in plan.maps], approach))
        if not lost:
            also(SimpleNamespace(turn_to_share=turned.append))
        return {n: SimpleNamespace(rotation=0.1 * (n + 1)) for n in bands}

    def metered(circuit: Any, nodes: Any) -> Any:
        return SimpleNamespace(control=control, nodes=nodes)

    monkeypatch.setattr(calibration, "replace", replace)
    monkeypatch.setattr(calibration, "with_meters", metered)
    monkeypatch.setattr(calibration, "look_at_bands", look)
    monkeypatch.setattr(calibration, "shown_on", lambda _, volt: volt.seen + 0.5)
    maps = tuple(SimpleNamespace(circuit=Map.circuit) for _ in range(2))
    plan = SimpleNamespace(factors=(one, other), maps=maps)
    shown = tuple(Volt("p", n, "10 Mohm", 1e7, 250.0, v) for n, v in (("a", 10.0), ("b", 20.0)))
    model = calibration.SetModel(SimpleNamespace(plan=plan, rotation=0.6), Seen(shown, 0.03, {}, None))  # type: ignore[arg-type]
    lost = False
    volts, places = model.look(NOBODY, [1.0, 0.0], [1, 0])
    assert list(volts) == [10.5, 20.5] and places == [pytest.approx(0.2), pytest.approx(0.1)]
    assert turned == [pytest.approx(0.3)]
    by, bands, nodes, approach = asked[0]
    assert by == {"r1": pytest.approx(0.2 / math.sqrt(12.0))} and bands == [1, 0]
    assert nodes == [["a", "b"]] * 2 and approach is False
    assert model.look(NOBODY, [0.0, 0.0], [])[1] == [] and asked[1][:2] == ({}, [0])
    lost = True
    with pytest.raises(NoAnswer, match=r"^a set so far from the build could not be simulated$"):
        model.look(NOBODY, [1.0, 0.0], [0])


# ---------------------------------------------------------------------------- how a deck follows a factor


class Map:
    """Elements that follow factors in straight lines; `track` is under the knob."""

    pot = "regeneration.pot"
    values = {"r1": 1e3, "c1": 1e-9, "v1": 100.0, "r0": 0.0, "track": 2e3}  # noqa: RUF012
    follows = {"r1": (SimpleNamespace(factor="r1"),), "dz:bv": (SimpleNamespace(factor="zener"),)}  # noqa: RUF012
    moves = {  # noqa: RUF012
        "r1": {"r1": 1.0, "r0": 1.0, "c1": 1.0}, "c1": {"c1": 1.0}, "mains": {"v1": 1.0},
        "both": {"v1": 1.0, "c1": 1.0},
    }  # fmt: skip

    class circuit(dict[str, Any]):  # noqa: N801
        control = SimpleNamespace(
            share=lambda rotation: 0.5 * rotation, at_share=lambda share: {"track": 2e3 * share, "end": 0.0}
        )

    def __init__(self) -> None:
        self.circuit = Map.circuit({n: SimpleNamespace(kind=n[0]) for n in self.values})

    def moved(self, by: dict[str, float]) -> dict[str, float]:
        out = dict(self.values)
        for name, deviation in by.items():
            for element, power in self.moves.get(name, {}).items():
                out[element] *= 1.0 + power * deviation
        return out

    def turned(self, share: float, by: dict[str, float]) -> dict[str, float]:
        return {n: v * (1.0 + by[self.pot]) for n, v in self.circuit.control.at_share(share).items()}


def shifts(*factors: Factor) -> tuple[Shift, ...]:
    return shifts_of(SimpleNamespace(factors=factors), Map(), 0.6)  # type: ignore[arg-type]


def even(name: str, **more: Any) -> Factor:
    return factor(name, "even", **more)


def test_only_what_direct_current_meets_is_followed() -> None:
    """A resistor of 10 % to either side, evenly: 0.2/sqrt(12) up. A capacitor changes no reading; a link of
    0 ohm has no ratio; what has no spread, and what moves nothing, is no shift, and keeps its number.
    """
    deviation = 0.2 / math.sqrt(12.0)
    found = shifts(even("c1"), even("r1"), factor("mains", "even", 0.0, 0.0), even("both"), even("spare"))
    assert [(s.number, s.sense) for s in found] == [(1, 1.0), (3, 1.0)]
    assert found[0].by == {"r1": pytest.approx(deviation)}
    assert found[0].ratios == {"r1": pytest.approx(1.0 + deviation)}
    assert found[1].ratios == {"v1": pytest.approx(1.0 + deviation)}


def test_the_track_is_followed_where_the_knob_stands() -> None:
    """All of the track grows by the same share; an end of no resistance has no ratio."""
    (found,) = shifts(even("regeneration.pot", low=-0.2, high=0.2))
    assert found.ratios == {"track": pytest.approx(1.0 + 0.4 / math.sqrt(12.0))}


@pytest.mark.parametrize(
    ("name", "more", "inside"),
    [
        ("detector.tube#emission", {"key": "detector.tube"}, True),
        ("detector.tube#capacitances", {"key": "detector.tube"}, False),
        ("detector.tube#input loading", {"key": "detector.tube"}, False),
        ("6SJ7#0", {"key": "", "kind": PRINT}, True),
        ("zener", {}, True),
        ("r1", {}, False),
        # a mark in the name of what is no tube says nothing
        ("c1#x", {"key": "audio.coupling"}, False),
    ],
)
def test_what_acts_within_a_law_or_a_model_has_a_deck_of_its_own(
    name: str, more: dict[str, Any], inside: bool
) -> None:
    """Capacitances and the loading of a grid carry no direct current; the rest of a tube does."""
    one = even(name, **more)
    assert reading_spread._inside(one, Map()) is inside  # type: ignore[arg-type]
    found = shifts(one)
    assert [s.ratios for s in found] == ([None] if inside else [s.ratios for s in found if s.ratios])
    assert bool(found) is (inside or name == "r1")


def test_a_factor_that_only_falls_is_taken_below(monkeypatch: pytest.MonkeyPatch) -> None:
    one, other = shifts(factor("r1", "even", -0.2, 0.0), factor("mains", "even", 0.0, 0.2))
    width = 0.2 / math.sqrt(12.0)
    assert (one.by, one.sense) == ({"r1": pytest.approx(-width)}, -1.0)
    assert (other.by, other.sense) == ({"mains": pytest.approx(width)}, 1.0)


def test_laws_and_models_of_a_set_are_those_that_the_circuit_has(monkeypatch: pytest.MonkeyPatch) -> None:
    """A law of a tube that is pulled does not come back; of a model only what the factor moves is changed."""
    laws = [SimpleNamespace(name=n) for n in ("new6SJ7", "new6C5")]
    plans: list[Any] = []
    monkeypatch.setattr(reading_spread, "laws_of", lambda plan, by: plans.append((plan.cards, by)) or laws)
    monkeypatch.setattr(
        reading_spread, "replace", lambda what, **given: SimpleNamespace(**{**vars(what), **given})
    )
    model = SimpleNamespace(name="dz", parameters={"bv": 105.0, "rs": 20.0})
    circuit: Any = SimpleNamespace(models=(model,), laws=(SimpleNamespace(name="new6C5"),), other="kept")
    one: Any = SimpleNamespace(moved=lambda by: {"dz:bv": 105.0 * (1.0 + by["zener"]), "r1": 3.0})
    plan: Any = SimpleNamespace(cards="old")
    found: Any = made_with(circuit, plan, one, "of the variant", Shift(0, {"zener": 0.1}, 1.0, None))  # type: ignore[arg-type]
    assert found.models[0].parameters == {"bv": pytest.approx(115.5), "rs": 20.0}
    assert [law.name for law in found.laws] == ["new6C5"] and found.other == "kept"
    assert plans == [("of the variant", {"zener": 0.1})]


def test_the_middle_of_an_even_spread_in_deviations() -> None:
    """-20 to +50 %: 15 % up of 70 %/sqrt(12). A bell has its middle where it is stated."""
    found = middles(
        [even("a", low=-0.2, high=0.5), factor("b", low=-0.2, high=0.5), even("c", low=0, high=0)]
    )
    assert found == pytest.approx([0.15 / (0.7 / math.sqrt(12.0)), 0.0, 0.0], abs=1e-12)
