"""What may hurt or burn, each figure worked by hand from the build: volts, currents, watts, and which setting
counts.

Common practice of power supplies and Kirchhoff's laws, no other source; every rule in both directions.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.circuit.rectifier import rectifier_circuit
from receiver_sim.circuit.writer import deck
from receiver_sim.engine import Bench
from receiver_sim.judge import verdicts
from receiver_sim.measure import rectifier
from receiver_sim.results.bands import Grade, Verdict
from receiver_sim.results.bias import OperatingPoint, RatingLine
from receiver_sim.results.onset import ControlSetting
from receiver_sim.results.supply import Rectified
from receiver_sim.schema import Build, changed_build
from receiver_sim.schema.supply import RectifierSupply
from tests.decks import receiver_deck

AT_PLATE = {"name": "socket", "at": "plate", "capacitor": "0.5 uF", "kind": "high_impedance"}


def by_rule(found: Any, rule: str) -> list[Verdict]:
    return [v for v in found if v.rule == rule]


# ---------------------------------------------------------------------------- the open lead


def test_the_drain_grounds_the_lead_and_takes_nothing_from_the_plate(bench: Bench, demo: Build) -> None:
    """Guards against a drain ahead of the blocking capacitor: it would load the plate and leave the lead
    live.

    Kirchhoff: with no d.c. path beside it the output choke carries the plate current alone. The free lead
    lies at 0 V.
    """
    build = changed_build(demo, {"phones": [{**AT_PLATE, "state": "open", "drain": "100 kohm"}]})
    (point,) = api.operating_points(build, rotations=[0.4], bench=bench)
    audio = next(tube for tube in point.tubes if tube.socket == "audio")
    drop = point.volts["audio supply"] - point.volts["audio plate"]
    assert build.audio.output.kind == "choke"
    assert drop / build.audio.output.resistance == pytest.approx(audio.plate_a, rel=1e-4)
    whole = receiver_deck(build, api.cards_for(build), band=build.bands[0], dial_hz=1.9e6, rotation=0.4)
    with bench.session(whole) as session:
        run = session.op()
    assert float(run["aplate"][0]) > 100.0
    # 100 kohm against the insulation of the capacitor, of which the deck has none
    assert abs(float(run["phone0"][0])) < 1e-3


@pytest.mark.parametrize(("state", "drain", "bad"), [
    ("open", None, True), ("open", "100 kohm", False), ("loaded", None, True),
        ("loaded", "100 kohm", False),
])  # fmt: skip
def test_an_open_lead_without_drain_is_at_plate_potential(
    bench: Bench, demo: Build, state: str, drain: str | None, bad: bool
) -> None:
    phone = {**AT_PLATE, "state": state, **({} if drain is None else {"drain": drain})}
    found = by_rule(
        api.supply(changed_build(demo, {"phones": [phone]}), bench=bench).verdicts, "plate_potential"
    )
    assert [v.grade for v in found] == ([Grade.BAD] if bad else [])
    if bad:
        # 190 V and a tenth of the mains more
        assert (found[0].value, found[0].limit, found[0].unit) == (pytest.approx(209.0), 0.0, "V")


@pytest.mark.parametrize(("rating", "bad"), [("208.9 V", True), ("209.1 V", False)])
def test_a_blocking_capacitor_stands_the_highest_mains(
    bench: Bench, demo: Build, rating: str, bad: bool
) -> None:
    """190 V of supply are 209 V with the mains 10 % high: what is rated 200 V is below it."""
    build = changed_build(demo, {"phones": [{**AT_PLATE, "capacitor_rating": rating, "drain": "1 Mohm"}]})
    found = by_rule(api.supply(build, bench=bench).verdicts, "capacitor_rating")
    assert [(v.grade, v.value) for v in found] == ([(Grade.BAD, pytest.approx(209.0))] if bad else [])


def test_with_a_rectifier_the_cold_volts_count(demo: Build) -> None:
    """A settled supply remembers its volts with the tubes cold: 1.1 times 281 V, not 1.1 times 240 V at
    load.
    """
    settled = rectifier.SettledSupply.model_construct(
        kind="dc", volts=240.0, resistance=900.0, ripple=0.0, ripple_frequency=100.0, bleeder=8e4,
        sections=(), harmonics=(), peak_volts=281.0,
    )  # fmt: skip
    phone = {**AT_PLATE, "capacitor_rating": "300 V", "drain": "1 Mohm"}
    build = changed_build(demo, {"phones": [phone]}).model_copy(update={"supply": settled})
    (found,) = by_rule(verdicts.judge_safety(build), "capacitor_rating")
    assert (found.value, found.limit) == (pytest.approx(309.1), 300.0)


# ---------------------------------------------------------------------------- the worst setting counts


def point(rotation: float, watts: float, volts: float) -> OperatingPoint:
    lines = (
        RatingLine("audio X", "plate dissipation", watts, 2.5, "W"),
        RatingLine("audio X", "plate volts", volts, 300.0, "V"),
    )
    return OperatingPoint(str(rotation), ControlSetting(rotation, 20.0), (), {}, None, lines)


@pytest.mark.parametrize("order", [(0, 1, 2), (2, 1, 0), (1, 0, 2)])
def test_a_rating_is_judged_at_its_worst_setting(order: tuple[int, ...]) -> None:
    """Whichever setting comes first: 2.7 W half way is above 2.5 W, and 280 V at the top the most of all."""
    points = [point(0.0, 1.1, 200.0), point(0.5, 2.7, 240.0), point(1.0, 0.3, 280.0)]
    watts, volts = verdicts.judge_bias([points[i] for i in order])
    assert (watts.grade, watts.value, watts.limit) == (Grade.BAD, 2.7, 2.5)
    assert watts.text == "plate dissipation above the rating with the control at 50 %"
    assert (volts.grade, volts.value, volts.limit, volts.unit) == (Grade.GOOD, 280.0, 300.0, "V")


# ---------------------------------------------------------------------------- regulator and dropper


@pytest.fixture(scope="module")
def stiff(demo: Build) -> Build:
    """The demo on a supply without resistance (0.1 ohm in the deck): its volts are those stated, at any
    load.
    """
    return changed_build(demo, {"supply.resistance": "0 ohm"})


def test_the_regulators_current_is_the_droppers_less_the_controls(bench: Bench, stiff: Build) -> None:
    """Kirchhoff at the regulator. The control takes what its lower part and the screen take: read at the
    wiper.
    """
    regulator, control = stiff.regulator, stiff.regeneration
    assert regulator is not None
    rotation = 0.7
    (here,) = api.operating_points(stiff, rotations=[rotation], bench=bench)
    detector = here.tubes[0]
    assert detector.screen_a is not None
    # a linear pot: 70 % of 47 kohm below the wiper, then the end resistor
    lower = here.volts["wiper of the control"] / (rotation * control.pot + control.bottom)
    taken = lower + detector.screen_a
    given = (190.0 - here.volts["regulator"]) / regulator.dropper
    assert taken > 1e-3  # a tenth of what the dropper gives: left out, it would show
    assert here.regulator_a == pytest.approx(given - taken, rel=1e-4)
    drift = api.supply(stiff, bench=bench).regulator
    assert drift is not None
    for one, supply in zip(drift.points, (171.0, 190.0, 209.0), strict=True):
        assert one.supply_v == pytest.approx(supply)
        given = (supply - one.regulated_v) / regulator.dropper
        assert one.regulator_a is not None
        # with the knob left alone the control takes the same in proportion to the regulated volts, to a few
        # per cent
        chain = one.regulated_v / (control.top + control.pot + control.bottom)
        assert given - one.regulator_a == pytest.approx(chain, rel=0.15)


def test_watts_of_dropper_and_regulator_at_the_highest_mains(bench: Bench, stiff: Build) -> None:
    """Guards against watts that are the drop over the resistance: (209 V - held)^2/4.7 kohm, and volts
    times amperes.
    """
    drift = api.supply(stiff, bench=bench).regulator
    assert drift is not None and drift.regulator_w is not None and stiff.regulator is not None
    highest = drift.points[-1]
    assert highest.mains == 1.1 and highest.regulator_a is not None
    drop = 209.0 - highest.regulated_v
    # the rest of a tenth of an ohm with 25 mA: 3 mV
    assert drift.dropper_w == pytest.approx(drop**2 / 4.7e3, rel=2e-4)
    assert drift.regulator_w == pytest.approx(highest.regulated_v * highest.regulator_a, rel=1e-6)
    # about 101 V of drop: two watts, not twenty milliamperes
    assert drift.dropper_w == pytest.approx(2.2, abs=0.2)


def test_choice_of_the_dropper(bench: Bench, stiff: Build) -> None:
    """108 V of a tube that wants 5 to 30 mA, from 171 to 209 V; the control takes some 1.4 to 1.8 mA.

    Kirchhoff: lowest (209 - 108)/(30 mA + least control), highest (171 - 108)/(5 mA + greatest control).
    """
    choice = api.supply_in_depth(stiff, bench=bench).dropper
    assert choice is not None and choice.chosen_ohm is not None
    ends = api.operating_points(stiff, rotations=[0.0, 1.0], bench=bench)
    control = stiff.regeneration
    taken = []
    for at, share in zip(ends, (0.0, 1.0), strict=True):
        screen = at.tubes[0].screen_a
        assert screen is not None
        taken.append(at.volts["wiper of the control"] / (share * control.pot + control.bottom) + screen)
    # the mains move the regulator's volts, and the control's current with them, by 1 %
    assert choice.control_a == pytest.approx(max(taken), rel=0.02)
    assert choice.lowest_ohm == pytest.approx(101.0 / (30e-3 + min(taken)), rel=2e-3)
    assert choice.highest_ohm == pytest.approx(63.0 / (5e-3 + max(taken)), rel=5e-3)
    assert choice.fitted_ohm == 4.7e3
    assert choice.fitted_w == pytest.approx(101.0**2 / 4.7e3, rel=0.02)
    assert choice.chosen_w == pytest.approx(101.0**2 / choice.chosen_ohm, rel=2e-4)
    # bought with twice the watts (common practice)
    assert choice.advised_w == pytest.approx(2.0 * choice.chosen_w)
    assert "OVERLOADED" not in choice.text


@pytest.mark.parametrize(("power", "over"), [("2 W", True), ("2.5 W", False)])
def test_an_overloaded_dropper_is_said(bench: Bench, stiff: Build, power: str, over: bool) -> None:
    """2.2 W at the highest mains, see above."""
    study = api.supply_in_depth(changed_build(stiff, {"regulator.dropper_power": power}), bench=bench)
    found = [v for v in study.verdicts if v.subject == "dropper"]
    assert [(v.grade, v.unit) for v in found] == ([(Grade.BAD, "W")] if over else [])
    assert any(text.startswith("DANGER, dropper") for text in study.cautions) is over


# ---------------------------------------------------------------------------- rectifiers

VOLTS, OHM = 200.0, 40.0


def supply_of(circuit: str, rating: str = "350 V") -> RectifierSupply:
    data: dict[str, object] = {
        "kind": "rectifier", "secondary": {"volts": f"{VOLTS} V", "resistance": f"{OHM} ohm"},
        "circuit": circuit, "rectifier": {"kind": "solid_state"}, "bleeder": "100 kohm",
        "filter": [{"capacitor": "22 uF", "rating": rating}],
    }  # fmt: skip
    return RectifierSupply.model_validate(data)


@pytest.fixture(scope="module")
def rectified(bench: Bench, demo: Build) -> dict[str, Rectified]:
    builds = {
        c: demo.model_copy(update={"supply": supply_of(c)}) for c in ("bridge", "full_wave", "half_wave")
    }
    return {c: rectifier.at(build, bench, load_a=15e-3) for c, build in builds.items()}


def cycles(bench: Bench, circuit: str, *, mains: float, load_s: float) -> dict[str, np.ndarray]:
    """Run the rectifier by itself and return the last two line periods on an even grid."""
    alone = rectifier_circuit(
        supply_of(circuit), frequency=50.0, load_s=load_s, start_v=1.35 * VOLTS * mains, mains=mains
    )
    with bench.session(deck(alone)) as session:
        run = session.tran(1e-4, 0.6, max_step=5e-5, uic=True)
    grid = np.linspace(0.56, 0.6, 4001)
    return {
        name: np.interp(grid, run["time"], run[name])
        for name in ("wa", "wx", "d1a", "rect", "wb")
        if name in run
    }


@pytest.mark.parametrize(("circuit", "peaks"), [("bridge", 1), ("full_wave", 2), ("half_wave", 2)])
def test_inverse_volts_at_the_highest_mains(
    bench: Bench, rectified: dict[str, Rectified], circuit: str, peaks: int
) -> None:
    """At no load a half-wave or centre-tap rectifier stands two peaks, 2 sqrt(2) 1.1 V, one of a bridge one.

    Against the volts across the first rectifier in a run over time, which knows no rule.
    """
    found = rectified[circuit].inverse_v
    assert found == pytest.approx(peaks * math.sqrt(2.0) * 1.1 * VOLTS, rel=1e-9)
    seen = cycles(bench, circuit, mains=1.1, load_s=0.0)
    # a drop or two of the diodes, and the bleeder's ripple
    assert float((seen["rect"] - seen["d1a"]).max()) == pytest.approx(found, rel=0.015)


@pytest.mark.parametrize("circuit", ["bridge", "full_wave", "half_wave"])
def test_current_of_the_winding(bench: Bench, rectified: dict[str, Rectified], circuit: str) -> None:
    """R.m.s. by the drop in the winding's own resistance: a bridge's carries both halves of the cycle."""
    one = rectified[circuit]
    seen = cycles(bench, circuit, mains=1.0, load_s=one.load_a / one.volts_v)
    current = (seen["wa"] - seen["wx"]) / OHM
    # two ways of sampling pulses of a tenth of the period: 2 %
    assert one.winding_a == pytest.approx(float(np.sqrt(np.mean(current**2))), rel=0.02)
    assert one.peak_a == pytest.approx(float(current.max()), rel=0.02)


@pytest.mark.parametrize("circuit", ["bridge", "full_wave", "half_wave"])
def test_volts_and_currents_of_a_rectifier_supply(rectified: dict[str, Rectified], circuit: str) -> None:
    """Peak of the winding less the diodes' drop with the tubes cold, a tenth more at the highest mains;
    Ohm's law.
    """
    one = rectified[circuit]
    drops = 2 if circuit == "bridge" else 1
    cold = math.sqrt(2.0) * VOLTS - 0.6 * drops
    # 2.8 mA of bleeder: some ripple, some drop in the winding
    assert one.no_load_v == pytest.approx(cold, rel=0.02)
    assert one.bleeder_a == pytest.approx(one.volts_v / 100e3, rel=1e-9)
    assert one.load_a == pytest.approx(15e-3, rel=2e-3)
    (capacitor,) = one.capacitors
    assert capacitor.highest_v == pytest.approx(1.1 * math.sqrt(2.0) * VOLTS - 0.6 * drops, rel=0.01)
    assert (capacitor.section, capacitor.farad, capacitor.rating_v) == (1, pytest.approx(22e-6), 350.0)
    # the capacitor alone is the output: same ripple; its r.m.s. current by charge: that of a sawtooth at
    # least
    assert capacitor.ripple_v == pytest.approx(one.ripple_v, rel=1e-6)
    pulses = 1 if circuit == "half_wave" else 2
    assert one.ripple_hz[0] == 50.0 and int(np.argmax(one.ripple_rms_v)) == pulses - 1
    # energy: the winding's charge is the load's and the capacitor's charging current flows in short pulses
    total = one.load_a + one.bleeder_a
    assert capacitor.ripple_a > total
    assert one.peak_a > 4.0 * total / pulses


@pytest.mark.parametrize("circuit", ["bridge", "half_wave"])
def test_ripple_current_of_the_reservoir_by_its_charge(
    bench: Bench, rectified: dict[str, Rectified], circuit: str
) -> None:
    """C dv/dt of the volts across the reservoir in a run of its own, r.m.s. over whole cycles."""
    one = rectified[circuit]
    seen = cycles(bench, circuit, mains=1.0, load_s=one.load_a / one.volts_v)
    charging = 22e-6 * np.gradient(seen["rect"], 1e-5)
    # volts at 10 us steps through a sharp pulse, and the winding's steps of 50 us: 4 %
    assert one.capacitors[0].ripple_a == pytest.approx(float(np.std(charging)), rel=0.04)


def test_a_capacitor_below_the_cold_volts_at_the_highest_mains(demo: Build) -> None:
    """1.1 times 283 V are 311 V: a rating of 310 is exceeded, one of 312 kept."""
    settled = rectifier.SettledSupply.model_construct(kind="dc", volts=250.0, peak_volts=283.0)
    for rating, grade in (("310 V", Grade.BAD), ("312 V", Grade.GOOD)):
        supply = supply_of("bridge", rating)
        given = demo.model_copy(update={"supply": supply})
        (found,) = verdicts.judge_filter(given, demo.model_copy(update={"supply": settled}))
        assert (found.grade, found.value) == (grade, pytest.approx(311.3))


def test_dangers_come_first_and_only_what_is_bad() -> None:
    given = [
        Verdict("supply", "bleeder", Grade.BAD, None, None, "", "no bleeder"),
        Verdict("40 m", "onset", Grade.BAD, None, None, "", "does not oscillate"),
        Verdict("audio X", "rating", Grade.GOOD, 1.0, 2.0, "W", "within"),
        Verdict("filter capacitor 1", "rating", Grade.BAD, 3.0, 2.0, "V", "above"),
    ]
    assert verdicts.dangers(given) == (
        "DANGER, supply: no bleeder.", "DANGER, filter capacitor 1: above.",
    )  # fmt: skip
