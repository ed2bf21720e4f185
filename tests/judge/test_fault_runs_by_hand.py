"""How predictions of faults are made, on circuits that are solved by hand: values put in and taken out, what
is heard, which factors are followed, what could not be run, the table of all of it.
"""

from __future__ import annotations

import math
from contextlib import contextmanager, nullcontext
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from receiver_sim.circuit.element import GROUND
from receiver_sim.circuit.possible_faults import PossibleFault, Severity
from receiver_sim.circuit.roles import Role
from receiver_sim.engine import EngineError, NoSolution
from receiver_sim.errors import NoAnswer
from receiver_sim.judge import fault_finder, fault_onset, fault_predictions, onset_likelihood
from receiver_sim.judge.fault_finder import Scatter
from receiver_sim.judge.fault_onset import SOUND
from receiver_sim.judge.fault_predictions import Prediction, Volt
from receiver_sim.judge.fault_table import RULES, table
from receiver_sim.judge.reading_spread import Shift

NOBODY: Any = None

# ---------------------------------------------------------------------------- a divider, solved by hand


class _Divider(dict[str, Any]):
    """100 V over r1 to node 'mid', r2 to ground; r2 is the track below the wiper."""

    control = SimpleNamespace(
        at=lambda rotation: {"r2": 20e3 * rotation},
        at_share=lambda share: {"r2": 20e3 * share},
        share=lambda rotation: rotation,
    )
    outputs = ("out",)
    sockets: dict[str, Any] = {}  # noqa: RUF012

    def __init__(self) -> None:
        super().__init__(r1=SimpleNamespace(value=30e3), r2=SimpleNamespace(value=10e3))


class _On:
    """The divider in a worker; values that were set are kept, as ngspice does."""

    def __init__(self, trouble: int = 10**9) -> None:
        self.circuit = _Divider()
        self.session = self
        self.ohm = {"r1": 30e3, "r2": 10e3}
        self.troubled = False
        self.sets: list[tuple[str, float]] = []
        self._left = trouble

    def set(self, name: str, value: float) -> None:
        self.sets.append((name, value))
        self.ohm[name] = value

    def turn(self, rotation: float) -> None:
        self.ohm["r2"] = 20e3 * rotation

    def op(self, vectors: Any = None) -> dict[str, np.ndarray]:
        volts = 100.0 * self.ohm["r2"] / (self.ohm["r1"] + self.ohm["r2"])
        return {"mid": np.array([volts + 0j])}

    def volts(self) -> dict[str, float]:
        return {"mid": float(self.op()["mid"].real[0])}


def test_a_fault_is_put_in_and_taken_out_again() -> None:
    """What the control sets goes back to where the knob stands, the rest to the value of the part."""
    on: Any = _On()
    on.turn(0.8)
    with fault_onset.changed(on, {"r1": 90e3, "r2": 1.0, "not there": 5.0}, 0.8):
        assert on.ohm == {"r1": 90e3, "r2": 1.0}
    assert on.ohm == {"r1": 30e3, "r2": 16e3}


def test_nothing_is_asked_of_a_session_that_failed() -> None:
    on: Any = _On()
    with pytest.raises(NoSolution), fault_onset.changed(on, {"r1": 90e3}, 0.5):
        raise _no_solution()
    assert on.sets == [("r1", 90e3)]


def _no_solution() -> NoSolution:
    return NoSolution.__new__(NoSolution)


def direct(on: _On, shifts: tuple[Shift, ...], **volt: Any) -> fault_predictions._Direct:
    stand = SimpleNamespace(
        rotation=0.8, plan=SimpleNamespace(factors=(0, 0, 0)), cards=NOBODY, map=NOBODY,
        build=SimpleNamespace(mains=SimpleNamespace(frequency=60.0)),
    )  # fmt: skip
    where = Volt(**{"where": "p", "node": "mid", "meter": "10 Mohm", "ohm": 1e7, "full_scale": 250.0,
                    "seen": 0.0, **volt})  # fmt: skip
    return fault_predictions._Direct(NOBODY, stand, on.circuit, "", (where,), shifts)  # type: ignore[arg-type]


def test_a_factor_moves_a_faulty_part_from_its_faulty_value(monkeypatch: pytest.MonkeyPatch) -> None:
    """r1 open to 64 kohm, the knob at 0.8: 16 kohm below. r1 10 % up: 100*16/(70.4 + 16) V; r2 5 % up, as the
    track follows the knob: 100*16.8/(64 + 16.8) V; both once more as they were. A factor of what is not in
    the circuit moves nothing.
    """
    on: Any = _On()
    on.turn(0.8)
    on.ohm["r1"] = 64e3
    monkeypatch.setattr(fault_predictions, "shown_on", lambda o, _: 0.9 * o.volts()["mid"])
    shifts = (Shift(0, {}, 1.0, {"r1": 1.1}), Shift(1, {}, 1.0, {"r2": 1.05}), Shift(2, {}, 1.0, {"rx": 2.0}))
    found: dict[Any, Prediction] = {}
    direct(on, shifts)._one(on, [0], (3, 1), {"r1": 64e3}, on.volts(), found, heard=False)
    true = 100.0 * 16.0 / 80.0
    one = found[3, 1]
    assert one.volts == pytest.approx([0.9 * true]) and one.nodes == {"mid": pytest.approx(true)}
    due = [100.0 * 16.0 / 86.4 - true, 100.0 * 16.8 / 80.8 - true]
    assert one.spread[0, :2] == pytest.approx([0.9 * off for off in due])
    assert one.spread[0, 2] == 0.0
    assert on.ohm == {"r1": 64e3, "r2": 16e3}
    assert (one.gain_db, one.hum_db) == (None, None)


def test_a_reading_of_nothing_moves_as_the_node_does() -> None:
    """Below a millivolt the share that the meter takes is no figure; on the chassis nothing moves."""
    volts = (Volt("a", "n0", "10 Mohm", 1e7, 50.0, 0.0), Volt("k", GROUND, "10 Mohm", 1e7, 50.0, 0.0))
    one = Prediction(np.array([0.2e-3, 0.0]), np.zeros((2, 1)), {})
    whole = fault_predictions._Direct(NOBODY, NOBODY, NOBODY, "", volts, ())
    for true, share in ((0.9e-3, 1.0), (1.1e-3, 0.2 / 1.1), (-1.1e-3, -0.2 / 1.1)):
        whole._column(one, [0, 1], Shift(0, {}, 1.0, None), {"n0": true + 0.5}, {"n0": true})
        assert one.spread[:, 0] == pytest.approx([0.5 * share, 0.0])


def test_a_tone_and_the_ripple_are_what_is_heard() -> None:
    """1 kHz into the grid and, of a rectifier on 60 Hz, 120 Hz into the supply; 20 dB is tenfold, and nothing
    at all is -180 dB.
    """
    driven: list[Any] = []

    class On:
        circuit = SimpleNamespace(outputs=("phones", "other"))
        session: Any

        def __init__(self) -> None:
            self.session = self

        @contextmanager
        def driven(self, source: Role) -> Any:
            driven.append(source)
            yield
            driven.pop()

        def ac(self, low: float, high: float, count: int, *, vectors: list[str]) -> dict[str, np.ndarray]:
            assert low == high and count == 1 and vectors == ["phones"]
            known = {(Role.GRID_LEAD, 1000.0): 30j, (Role.SUPPLY, 120.0): -0.003, (Role.SUPPLY, 100.0): 0.0}
            return {"phones": np.array([known[driven[-1], low]])}

    for mains, hum in ((60.0, 20.0 * math.log10(0.003)), (50.0, -180.0)):
        stand = SimpleNamespace(build=SimpleNamespace(mains=SimpleNamespace(frequency=mains)))
        found = fault_predictions._heard(On(), stand)  # type: ignore[arg-type]
        assert found == (pytest.approx(20.0 * math.log10(30.0)), pytest.approx(hum))
    assert driven == []


@pytest.mark.parametrize(("small", "counts"), [(0.99, False), (1.02, True)])
def test_a_factor_counts_from_a_hundredth_of_the_variance_of_any_reading(small: float, counts: bool) -> None:
    """0.1 beside 1.0: a hundredth of 1.01 is 0.1005 squared."""
    spread = np.array([[1.0, 0.0], [1.0, small * 0.1005]])
    assert fault_predictions._counts(spread, 0)
    assert fault_predictions._counts(spread, 1) is counts
    assert not fault_predictions._counts(np.zeros((2, 2)), 0)


# ---------------------------------------------------------------------------- what is run, and what fails


def volt(node: str = "mid", pulled: str = "") -> Volt:
    return Volt("p", node, "10 Mohm", 1e7, 250.0, 0.0, pulled)


def test_what_fails_is_left_out_and_the_rest_goes_on(monkeypatch: pytest.MonkeyPatch) -> None:
    """The second of three faults has no solution: a fresh worker takes the third."""
    loads: list[_On] = []

    class Failing(_On):
        def volts(self) -> dict[str, float]:
            if self.ohm["r1"] == 13.0:
                raise _no_solution()
            return super().volts()

    def load(*_: Any) -> Any:
        loads.append(Failing())
        return nullcontext(loads[-1])

    monkeypatch.setattr(fault_predictions, "loaded", load)
    monkeypatch.setattr(fault_predictions, "with_meters", lambda circuit, _: circuit)
    monkeypatch.setattr(fault_predictions, "shown_on", lambda o, _: o.op()["mid"].real[0])
    todo: Any = [((0, 0), {"r1": 64e3}), ((1, 0), {"r1": 13.0}), ((2, 0), {"r1": 4e3})]
    found = direct(_On(), ()).read(todo, heard=False)
    assert set(found) == {(0, 0), (2, 0)} and len(loads) == 2
    assert [found[key].volts[0] for key in found] == pytest.approx([100.0 * 16.0 / 80.0, 80.0])


def faults(*parts: str, plugged: bool = False) -> tuple[PossibleFault, ...]:
    sizes = (Severity("a little", {"r1": 40e3}), Severity("a lot", {"r1": 90e3}, "other deck"))
    return tuple(PossibleFault(p, "part", "high", 1.0, sizes, "", plugged) for p in parts)


def test_every_size_is_run_on_the_circuit_of_its_variant(monkeypatch: pytest.MonkeyPatch) -> None:
    """And the onset of a coil that is plugged in for another band is that of the sound set there."""
    ran: list[tuple[str, list[Any]]] = []
    onsets: list[tuple[str, list[Any]]] = []

    class Direct:
        def __init__(self, bench: Any, stand: Any, circuit: Any, name: str, *_: Any) -> None:
            self.name = name
            assert circuit == (name, "40 m", 7.05e6)

        def read(self, todo: Any, heard: bool) -> dict[Any, Prediction]:
            assert heard
            ran.append((self.name, [key for key, _ in todo]))
            return {key: Prediction(np.zeros(0), np.zeros((0, 0)), {}) for key, _ in todo if key != (1, 1)}

    def job(circuits: Any, started: Any, band: Any, dial_hz: float) -> Any:
        assert set(circuits) == {"", "other deck"} and dial_hz == band.middle_hz
        assert started == dict.fromkeys(circuits, 1.0)  # begun with the control fully up

        def run(_: Any, piece: Any) -> dict[Any, Any]:
            onsets.append((band.name, [key for key, _ in piece[1]]))
            return {key: (0.1 * (3 + key[0] + key[1]), ((0.5, 1.0),)) for key, _ in piece[1]}

        return run

    monkeypatch.setattr(fault_predictions, "_Direct", Direct)
    monkeypatch.setattr(
        fault_predictions, "begun", lambda _b, of_band, rotation: dict.fromkeys(of_band, rotation)
    )
    monkeypatch.setattr(fault_predictions, "onset_job", job)
    bands = [SimpleNamespace(name=n, middle_hz=hz) for n, hz in (("40 m", 7.05e6), ("20 m", 14.1e6))]
    stand: Any = SimpleNamespace(band=bands[0], dial_hz=7.05e6, bands=bands, rotation=0.3)
    bench: Any = SimpleNamespace(map=lambda work, items, _: [work(NOBODY, one) for one in items])
    given = (*faults("R1", "R2"), *faults("L1", plugged=True))
    found, missing = fault_predictions.predict(
        stand,
        given,
        (),
        bench,
        heard=True,
        circuit_of=lambda name, band, hz: (name, band.name, hz),  # type: ignore[arg-type, return-value]
    )
    assert sorted(ran) == [
        ("", [SOUND, (0, 0), (1, 0), (2, 0)]), ("other deck", [(0, 1), (1, 1), (2, 1)]),
    ]  # fmt: skip
    assert missing == ["R2 (part): high"]
    assert sorted(onsets, key=str) == sorted([
        ("40 m", [SOUND, (0, 0), (1, 0), (2, 0)]), ("40 m", [(0, 1), (1, 1), (2, 1)]),
        ("20 m", [SOUND, (0, 0), (1, 0)]), ("20 m", [(0, 1), (1, 1)]),
    ], key=str)  # fmt: skip
    assert found[0, 1].onset == {"40 m": pytest.approx(0.4), "20 m": pytest.approx(0.4)}
    # on the band of the volts the coil is the one that is plugged in
    assert found[2, 1].onset == {"40 m": pytest.approx(0.6), "20 m": pytest.approx(0.2)}
    assert found[2, 1].curves["20 m"] == ((0.5, 1.0),) and (1, 1) not in found


def test_no_more_than_two_dozen_sizes_go_to_a_worker_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """None is lost or taken twice, and a drawn set may leave the sound set out."""
    seen: list[list[Any]] = []

    class Direct:
        def __init__(self, *_: Any) -> None: ...

        def read(self, todo: Any, _: bool) -> dict[Any, Any]:
            seen.append([key for key, _ in todo])
            return {}

    monkeypatch.setattr(fault_predictions, "_Direct", Direct)
    one = PossibleFault("R1", "part", "high", 1.0, tuple(Severity(str(n), {}) for n in range(50)))
    stand: Any = SimpleNamespace(band=NOBODY, dial_hz=7e6, bands=(), rotation=0.3)
    bench: Any = SimpleNamespace(map=lambda work, items, _: [work(NOBODY, one) for one in items])
    for sound in (True, False):
        seen.clear()
        fault_predictions.predict(
            stand, (one,), (), bench, heard=False, circuit_of=lambda *_: NOBODY, sound=sound
        )
        assert [len(keys) for keys in seen] == [24, 24, 3 if sound else 2]
        assert sorted(key for keys in seen for key in keys) == [
            *([SOUND] if sound else []),
            *((0, n) for n in range(50)),
        ]


# ---------------------------------------------------------------------------- onset


def test_a_circuit_that_is_solved_at_once_is_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Starting volts are for those that need them: of the first, with the control where it was asked for."""
    first, other = (
        SimpleNamespace(control=SimpleNamespace(share=lambda r: 0.5 * r), begun_with=lambda v, n=n: (n, v))
        for n in "ab"
    )
    circuits: Any = {"": first, "other": other}

    def volts(_: Any, circuit: Any, *, share: float) -> Any:
        assert circuit is first and share == 0.35
        if isinstance(found, Exception):
            raise found
        return found

    monkeypatch.setattr(fault_onset, "hard_volts", volts)
    found: Any = None
    assert fault_onset.begun(NOBODY, circuits, 0.7) == circuits
    found = EngineError.__new__(EngineError)
    assert fault_onset.begun(NOBODY, circuits, 0.7) == circuits
    found = {"mid": 3.0}
    assert fault_onset.begun(NOBODY, circuits, 0.7) == {"": ("a", found), "other": ("b", found)}


def test_what_starting_volts_lead_astray_is_searched_without_them(monkeypatch: pytest.MonkeyPatch) -> None:
    """And what answers nothing has no onset; where starting volts are none, all is searched at once."""
    asked: list[tuple[Any, bool]] = []

    def onset(on: Any, *_: Any, go_on: bool) -> Any:
        asked.append((on.ohm["r1"], go_on))
        if on.ohm["r1"] == 40e3 and not go_on:
            raise fault_onset._Astray
        if on.ohm["r1"] == 90e3:
            raise NoAnswer("none")
        return 0.4, ((0.4, 1.0),)

    monkeypatch.setattr(fault_onset, "_onset", onset)
    monkeypatch.setattr(fault_onset, "loaded", lambda *_: nullcontext(_On()))
    piece: Any = ("", [((n, 0), {"r1": ohm}) for n, ohm in enumerate((20e3, 40e3, 90e3))])
    circuits: Any = {"": _Divider()}
    due = {(0, 0): (0.4, ((0.4, 1.0),)), (1, 0): (0.4, ((0.4, 1.0),)), (2, 0): (None, ())}
    run = fault_onset.onset_job(circuits, {"": _Divider()}, NOBODY, 7e6)
    assert run(NOBODY, piece) == due
    assert asked == [(20e3, False), (40e3, False), (90e3, False), (40e3, True)]
    asked.clear()
    assert fault_onset.onset_job(circuits, circuits, NOBODY, 7e6)(NOBODY, piece) == due
    assert asked == [(20e3, True), (40e3, True), (90e3, True)]


def test_without_the_tube_on_the_control_there_is_no_onset() -> None:
    """A pulled audio tube changes nothing of it."""
    sockets = {n: SimpleNamespace(tube=f"x{n}", control_node=at) for n, at in (("det", "g"), ("aud", None))}

    class Circuit(dict[str, Any]):
        control = SimpleNamespace(at_share=lambda _: {})

        def node(self, _: Any) -> str:
            return "g"

    there = Circuit(xaud=None)
    there.sockets = sockets  # type: ignore[attr-defined]
    on = SimpleNamespace(circuit=there, session=SimpleNamespace(troubled=False))
    assert fault_onset._onset(on, NOBODY, 7e6, {}) == (None, ())  # type: ignore[arg-type]


# ---------------------------------------------------------------------------- the table


def test_each_rule_of_the_table_is_the_figure_of_its_own_name() -> None:
    """The page ranks by these: one in another's place would rank otherwise than `faults` does."""
    for name, value in RULES.items():
        (home,) = [m for m in (fault_finder, onset_likelihood) if hasattr(m, name.upper())]
        assert value == getattr(home, name.upper()), name
    assert len(set(RULES)) == 22


SPREAD = np.array([[0.3, 0.1], [-0.2, 0.4]])
SCATTER = Scatter(np.array([0.5, -2.0]), {"40 m": np.array([0.15, -0.05])})


def made() -> Any:
    two = tuple(Severity(words, {}) for words in ("large", "small"))
    leaky = PossibleFault("C1", "part", "leaky", 3.0, two, "hot")
    rest = (PossibleFault(n, "part", "open", w, two[:1]) for n, w in (("R1", 1.0), ("R2", 4.0)))
    given = (leaky, *rest)
    curve = ((0.0, 0.2), (0.4, 1.0))

    def says(number: float) -> Prediction:
        return Prediction(np.array([number, 2.0 * number]), SPREAD, {"a": 1.5 * number}, {"40 m": 0.4},
                          {"40 m": curve}, 30.0 + number, -40.0 - number)  # fmt: skip

    found = {key: says(float(n)) for n, key in enumerate((SOUND, (0, 0), (0, 1), (1, 0)), start=1)}
    volts = (
        Volt("V1 plate", "a", "20 kohm/V", 5e6, 250.0, 7.0),
        Volt("V1 screen", "b", "20 kohm/V", 5e6, 250.0, 8.0),
    )
    return table(given, found, volts, ("40 m", "20 m"), SCATTER, title="a set", rotation=0.31,
                 setting="31 %", ranges=(2.0, 20.0))  # fmt: skip


def test_priors_of_the_table_are_half_a_sound_set_and_the_rest_by_weight() -> None:
    """Of weights 3, 1 and 4, the last of which could not be run, C1 has 3/8 of the half in two sizes."""
    causes = made().causes
    assert [(c.name, c.hazard, len(c.sizes)) for c in causes] == [
        ("sound set", "", 1), ("C1 (part): leaky", "hot", 2), ("R1 (part): open", "", 1),
    ]  # fmt: skip
    assert [math.exp(c.log_prior) for c in causes] == pytest.approx([0.5, 0.5 * 3 / 16, 0.5 / 8])
    assert [s.words for c in causes for s in c.sizes] == ["", "large", "small", "large"]


def test_cells_of_the_table() -> None:
    """The lower triangle row by row: two readings, then two bands; a band whose scatter is not known has
    none. Middles lie off by the spread times half a deviation of one factor and two down of the other.
    """
    found = made()
    one = found.causes[1].sizes[1]
    rows = np.vstack([SPREAD, [0.15, -0.05], [0.0, 0.0]])
    whole = rows @ rows.T
    assert one.covariance == pytest.approx([whole[i, j] for i in range(4) for j in range(i + 1)])
    assert one.middles == pytest.approx(rows @ np.array([0.5, -2.0]))
    assert one.middles[0] == pytest.approx(0.3 * 0.5 - 0.1 * 2.0)
    assert list(one.volts_v) == [3.0, 6.0] and list(one.true_v) == [4.5, 0.0]
    assert one.curves == (((0.0, 0.2), (0.4, 1.0)), None) and one.onset == (0.4, None)
    assert (one.gain_db, one.hum_db) == (33.0, -43.0)
    assert [(p.name, p.should_v) for p in found.points] == [("V1 plate", 1.0), ("V1 screen", 2.0)]
    assert (found.title, found.meter, found.rotation, found.setting) == ("a set", "20 kohm/V", 0.31, "31 %")
    assert (found.ranges_v, found.bands) == ((2.0, 20.0), ("40 m", "20 m"))
    assert found.words == ("nothing", "weak", "normal", "loud hum")
    bare = table((), {SOUND: Prediction(np.zeros(0), np.zeros((0, 2)), {})}, (), (), SCATTER, title="",
                 rotation=0.0, setting="", ranges=())  # fmt: skip
    assert bare.meter == "10 Mohm"
