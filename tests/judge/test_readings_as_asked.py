"""From a file of readings to what is judged, and from that to the page: meters, ranges, tubes, dangers.

What would be simulated is given by hand.
"""

from __future__ import annotations

from contextlib import nullcontext
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.api import _calibrate, _faults
from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.element import GROUND
from receiver_sim.engine import Bench
from receiver_sim.errors import NoAnswer
from receiver_sim.judge import calibration, fault_finder, fault_onset
from receiver_sim.judge.fault_finder import Scatter
from receiver_sim.judge.fault_onset import SOUND
from receiver_sim.judge.fault_predictions import Prediction, Stand, Volt, _Direct
from receiver_sim.judge.reading_spread import Shift
from receiver_sim.measure.loaded import loaded
from receiver_sim.results import cautions
from receiver_sim.results.base import Status
from receiver_sim.results.onset import Onset
from receiver_sim.schema import Build, changed_build
from receiver_sim.schema.readings import Readings
from receiver_sim.working import Setting
from tests.helpers.filling import filled

NOBODY: Any = None


def setting(build: Build, rotation: float = 0.31) -> Setting:
    band = build.bands[0]
    return Setting(
        band, filled(Onset, band=band.name, dial_hz=band.middle_hz, status=Status.OSCILLATES), rotation
    )


def plan_of(build: Build, **more: Any) -> Any:
    return SimpleNamespace(build=build, cards=api.cards_for(build), bands=build.bands, factors=(), **more)


def read(build: Build, **given: Any) -> tuple[Stand, fault_finder.Seen, dict[str, str]]:
    readings = Readings.model_validate({"receiver_sim_readings": 1, **given})
    return _faults.read_in(plan_of(build), setting(build), readings)


# ---------------------------------------------------------------------------- meters


@pytest.mark.parametrize(
    ("volts", "more", "scale", "ohm"),
    [
        ("71 V", {"meter": "20 kohm/V"}, 250.0, 5e6),
        ("71 V", {"meter": "20 kohm/V", "range": "1000 V"}, 1000.0, 20e6),
        ("-41 V", {"meter": "1 kohm/V"}, 50.0, 50e3),
        ("-41 V", {"meter": "1 kohm/V", "range": "250 V"}, 250.0, 250e3),
        ("71 V", {}, None, 10e6),
    ],
)
def test_a_meter_loads_by_the_range_it_is_on(
    demo: Build, volts: str, more: dict[str, str], scale: float | None, ohm: float
) -> None:
    """Ohms a volt times the full scale: of the range as stated, else of the lowest that takes the volts."""
    _, seen, _ = read(demo, volts=[{"pin": "V1 plate", "volts": volts, **more}])
    (one,) = seen.volts
    assert one.ohm == pytest.approx(ohm)
    assert scale is None or one.full_scale == scale
    assert one.seen == float(volts.split(maxsplit=1)[0])


def test_a_reading_has_its_own_meter_and_the_rest_that_of_the_file(demo: Build) -> None:
    given = [{"pin": "V1 plate", "volts": "71 V"}, {"pin": "V2 cathode", "volts": "6 V", "meter": "10 Mohm"}]
    _, seen, _ = read(demo, meter="1 kohm/V", volts=given, error="2 %", heard="weak")
    assert [one.meter for one in seen.volts] == ["1 kohm/V", "10 Mohm"]
    assert (seen.error, seen.heard) == (0.02, "weak")


def test_a_tube_that_was_out_is_out_of_its_own_socket(demo: Build) -> None:
    given = [
        {"pin": "V1 plate", "volts": "71 V"}, {"pin": "V2 plate", "volts": "171 V", "tube": "out"},
        {"pin": "detector screen", "volts": "71 V", "tube": "out"}, {"pin": "plate supply", "volts": "180 V"},
    ]  # fmt: skip
    stand, seen, words = read(demo, volts=given, onset=[{"band": "40 m", "at": "41 %"}, {"band": "20 m"}])
    assert [one.pulled for one in seen.volts] == ["", "audio", "detector", ""]
    circuit = stand.sound
    pins = circuit.sockets["detector"].pins
    assert [one.node for one in seen.volts[:3]] == [
        pins["plate"], circuit.sockets["audio"].pins["plate"], pins["screen"]
    ]  # fmt: skip
    assert dict(seen.onset) == {"40 m": 0.41, "20 m": None}
    assert [band.name for band in stand.bands] == ["40 m", "20 m"]
    assert (stand.rotation, stand.band.name) == (0.31, demo.bands[0].name)
    assert words[pins["plate"]] == "detector plate" and GROUND not in words


def test_the_next_reading_may_be_where_a_meter_was_while_the_tube_was_out() -> None:
    """With the tube in its socket that pin reads something else."""
    faults = (fault_finder.PossibleFault("C1", "part", "leaky", 1.0, ()),)
    nodes = {SOUND: {"n0": 10.0}, (0, 0): {"n0": 90.0}}
    found = {key: Prediction(np.array([50.0]), np.zeros((1, 1)), of) for key, of in nodes.items()}
    for pulled, again in (("audio", "where it was"), ("", None)):
        shown = (Volt("p", "n0", "10 Mohm", 1e7, 250.0, 50.0, pulled),)
        taken = fault_finder._next(
            faults, [SOUND, (0, 0)], found, fault_finder.Seen(shown, 0.03, {}, None), {"n0": "where it was"}
        )
        assert (None if taken is None else taken.where) == again


# ---------------------------------------------------------------------------- how sets differ


def test_what_moves_the_onset_up_has_taken_gain(demo: Build, monkeypatch: pytest.MonkeyPatch) -> None:
    """T rises with the travel by 2.5 for all of it, onset at 0.4 of a linear control: a part that moves onset
    up by 0.03 has brought T down by 0.075; one that leaves none has taken all that the rest of the travel
    would have added, 2.5 times 0.6.
    """
    linear = changed_build(demo, {"regeneration.law": "linear"})
    band = linear.bands[1]
    starts = [SimpleNamespace(share=None)] * len(linear.bands)
    starts[1] = SimpleNamespace(share=0.4, slope=2.5)
    plan = plan_of(linear, starts=starts)
    moves = [[0.0, 0.03, 0.0], [0.0, -0.02, 0.0], [0.0, None, 0.0]]
    monkeypatch.setattr(_faults, "effects", lambda *_, **__: moves)
    found = _faults.scatter_of(Stand(plan, band, band.middle_hz, 0.3, (band,)), NOBODY)
    assert found.gain[band.name] == pytest.approx([-0.075, 0.05, 1.5])


def test_a_reading_moves_with_a_factor_as_its_meter_shows_it(demo: Build) -> None:
    """30 V that a meter shows as 24 V: what moves the true volts by 2 V moves the reading by 1.6 V. A factor
    that only goes down (a battery) was taken a deviation down, and counts upwards like the others.
    """
    volts = (Volt("a", "n0", "1 kohm/V", 5e4, 50.0, 0.0), Volt("b", "n1", "10 Mohm", 1e7, 50.0, 0.0))
    direct = _Direct(NOBODY, NOBODY, NOBODY, "", volts, ())
    nodes, moved = {"n0": 30.0, "n1": 5.0}, {"n0": 28.0, "n1": 5.5}
    for sense in (1.0, -1.0):
        one = Prediction(np.array([24.0, 5.0]), np.zeros((2, 3)), nodes)
        direct._column(one, [0, 1], Shift(1, {}, sense, None), moved, nodes)
        assert one.spread == pytest.approx(np.array([[0, -1.6 * sense, 0], [0, 0.5 * sense, 0]]))


@pytest.mark.parametrize(
    ("status", "share", "due"),
    [(Status.NOT_IN_RANGE, None, 0.0), (Status.DOES_NOT, None, None), (Status.OSCILLATES, 0.37, 0.37)],
)
def test_always_on_is_the_lowest_place_and_never_is_none(
    status: Status, share: float | None, due: float | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Probe:
        def __init__(self, *_: Any, **__: Any) -> None: ...

        def trim(self) -> None: ...

        def measure(self, _: float) -> Any: ...

        def rotation(self, wiper: float) -> float:
            return wiper

    class Circuit(dict[str, Any]):
        sockets = {"detector": SimpleNamespace(tube="x1", control_node="g")}  # noqa: RUF012
        control = SimpleNamespace(at_share=lambda _: {})

        def node(self, _: Any) -> str:
            return "g"

    on = SimpleNamespace(circuit=Circuit(x1=None), session=SimpleNamespace(troubled=False))
    monkeypatch.setattr(fault_onset, "Probe", Probe)
    samples = [SimpleNamespace(wiper=0.9, gain=1.4), SimpleNamespace(wiper=0.1, gain=0.6)]
    monkeypatch.setattr(fault_onset.onset_study, "search", lambda _: (status, samples, share))
    found, curve = fault_onset._onset(on, NOBODY, 7e6, {})  # type: ignore[arg-type]
    assert found == due
    assert curve == ((0.1, 0.6), (0.9, 1.4))


# ---------------------------------------------------------------------------- calibration


def test_slopes_are_the_same_by_either_side(monkeypatch: pytest.MonkeyPatch) -> None:
    """A set that loses its onset to one side is looked at on the other; what is straight reads the same."""
    monkeypatch.setattr(calibration, "one_deviation", lambda _: (0.1, -0.1))
    plan = SimpleNamespace(factors=[SimpleNamespace(word=f"part {n}") for n in range(2)])
    bench = SimpleNamespace(map=lambda work, items: [work(None, one) for one in items])
    matrix, here = np.array([[3.0, -1.5], [0.2, 0.7]]), np.array([10.0, 0.4])
    for lost in (0.0, 1.0, -1.0):

        def figures(_: Any, z: np.ndarray, lost: float = lost) -> np.ndarray:
            if lost * z[0] > 0.0:
                raise NoAnswer("no onset to this side")
            return here + matrix @ z

        found = calibration._slopes(bench, plan, figures, here)  # type: ignore[arg-type]
        assert found == pytest.approx(matrix), lost


@pytest.mark.parametrize("misfit", [2.4, 2.6])
def test_readings_that_no_spread_explains_point_to_a_fault(misfit: float) -> None:
    """Two and a half deviations r.m.s. of several readings: one set in hundreds (chi-square)."""
    (note,) = _calibrate._notes(SimpleNamespace(misfit=misfit)) or ("",)  # type: ignore[arg-type]
    assert ("Look for a fault first: receiver-sim faults." in note) is (misfit > 2.5)
    assert (f"lie {misfit:.1f} deviations off" in note) is (misfit > 2.5)


def test_what_is_measured_of_a_wound_coil_stands_beside_its_winding() -> None:
    """Its geometry stays; a coil that is known by its figures has them there."""
    wound, plain = api.shipped_build("plugin_coils"), api.shipped_build("demo")
    for build, due in ((wound, "bands[1].coil.measured.inductance"), (plain, "bands[1].coil.inductance")):
        factor = SimpleNamespace(name="bands[1].coil.inductance", key="bands[1].coil.inductance", kind="coil")
        assert _calibrate.value_key(build, factor) == due  # type: ignore[arg-type]
    tube = SimpleNamespace(name="detector.tube#emission", key="detector.tube", kind="new tube")
    assert _calibrate.value_key(plain, tube) == ""  # type: ignore[arg-type]


# ---------------------------------------------------------------------------- dangers of this very set


@pytest.fixture
def deadly(demo: Build) -> Build:
    return changed_build(demo, {"supply.bleeder": None})


DANGER = "DANGER, supply: no bleeder: the supply's capacitors stay charged after switching off; fit one."


def test_faults_says_the_dangers_of_the_set_before_the_standing_cautions(
    deadly: Build, monkeypatch: pytest.MonkeyPatch
) -> None:
    plan = plan_of(deadly)
    monkeypatch.setattr(_faults, "opened", lambda _: nullcontext(NOBODY))
    monkeypatch.setattr(_faults, "plan_for", lambda *_: plan)
    monkeypatch.setattr(_faults, "Receiver", lambda *_, **__: NOBODY)
    monkeypatch.setattr(_faults, "prepare", lambda *_, **__: setting(deadly))
    monkeypatch.setattr(_faults, "scatter_of", lambda *_: Scatter(np.zeros(1), {}))
    sound = Prediction(np.array([70.0]), np.zeros((1, 1)), {})
    monkeypatch.setattr(_faults, "predict", lambda *_, **__: ({SOUND: sound}, ["R1 (x): open"]))
    readings = Readings.model_validate(
        {"receiver_sim_readings": 1, "volts": [{"pin": "V1 plate", "volts": "71 V", "tube": "out"}]}
    )
    found = _faults.faults(deadly, readings)
    assert found.cautions == (DANGER, *cautions.ALL)
    assert [one.stage for one in found.failed] == ["R1 (x): open"]
    (line,) = found.readings
    assert (line.where.split(" (")[0], line.seen, line.should, line.suspect) == (
        "V1 plate, tube out", 71.0, 70.0, None
    )  # fmt: skip


def test_calibrate_says_the_dangers_of_the_set_before_the_standing_cautions(
    deadly: Build, monkeypatch: pytest.MonkeyPatch
) -> None:
    """And what tap and hum are before and after, each in its place."""
    count = len(deadly.bands)
    told = {name: tuple(0.01 * (n + k) for n in range(count)) for k, name in enumerate(
        ("onset_before", "onset_after", "spread_before", "spread_after"), start=10)}  # fmt: skip
    found = filled(
        calibration.Found, factors=(), by=np.zeros(0), width=np.zeros(0), left=np.zeros(0),
        shown_before=np.array([70.0]), shown_after=np.array([70.9]), misfit=1.0, build=deadly,
        cards=api.cards_for(deadly), **told,
    )  # fmt: skip
    monkeypatch.setattr(_calibrate, "opened", lambda _: nullcontext(NOBODY))
    monkeypatch.setattr(_calibrate, "plan_for", lambda *_: plan_of(deadly))
    receivers = {"": SimpleNamespace(changed=lambda *_: "calibrated")}
    monkeypatch.setattr(_calibrate, "Receiver", lambda *_, **__: receivers[""])
    monkeypatch.setattr(_calibrate, "prepare", lambda *_, **__: setting(deadly))
    monkeypatch.setattr(_calibrate, "pulled_by", lambda *_: found)
    monkeypatch.setattr(_calibrate, "_tap", lambda one, _: 0.071 if one == "calibrated" else 0.063)
    monkeypatch.setattr(
        _calibrate, "_hum", lambda one, _: (2e-3, 0.47) if one == "calibrated" else (1e-3, 0.52)
    )
    readings = Readings.model_validate(
        {"receiver_sim_readings": 1, "volts": [{"pin": "V1 plate", "volts": "71 V"}],
         "onset": [{"band": deadly.bands[1].name, "at": "41 %"}]}
    )  # fmt: skip
    seen = _calibrate.calibrate(deadly, readings)
    assert seen.cautions == (DANGER, *cautions.ALL)
    assert (seen.tap_before, seen.tap_after) == (0.063, 0.071)
    assert (seen.hum_before_v, seen.hum_after_v) == (1e-3, 2e-3)
    assert (seen.hum_pot_before, seen.hum_pot_after) == (0.52, 0.47)
    (line,) = seen.readings
    assert (line.seen_v, line.before_v, line.after_v) == (71.0, 70.0, 70.9)
    one = seen.onsets[1]
    assert (one.before, one.before_spread, one.after, one.after_spread, one.seen) == (
        *(told[name][1] for name in ("onset_before", "spread_before", "onset_after", "spread_after")), 0.41,
    )  # fmt: skip


def test_a_broken_track_stays_broken_as_the_knob_turns(demo: Build, bench: Bench) -> None:
    """The part above the wiper is open at every setting; the part below follows the knob."""
    circuit = receiver_circuit(
        demo, api.cards_for(demo), band=demo.bands[0], dial_hz=demo.bands[0].middle_hz, rotation=0.5
    )
    low, high = circuit.control.at_share(0.2), circuit.control.at_share(0.8)
    (upper,) = (name for name, ohm in low.items() if ohm > high[name])
    wiper = next(
        n for n in circuit[upper].nodes if n in {m for e in low if e != upper for m in circuit[e].nodes}
    )
    with loaded(bench, circuit) as on:
        on.turn_to_share(0.8)
        whole = on.volts()[wiper]
        broken = fault_onset._Broken(on.session, on.circuit, {upper: 1e9})
        broken.turn_to_share(0.8)
        assert whole > 5.0 and abs(on.volts()[wiper]) < 0.05
