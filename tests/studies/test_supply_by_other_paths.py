"""Regulators, drift and slope of the supply: by Ohm's law, by differences of whole runs, by a.c. of the
deck.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.circuit.rectifier import output_node
from receiver_sim.circuit.registry import Cards
from receiver_sim.engine import Bench
from receiver_sim.measure import onset, rectifier
from receiver_sim.receiver import Receiver
from receiver_sim.results.supply import SupplyStudy
from receiver_sim.schema import Build, changed_build
from receiver_sim.schema.supply import RectifierSupply
from receiver_sim.studies import operating_point, screen_quiet
from tests.decks import receiver_deck


def test_slope_of_a_rectifier_supply_is_that_of_two_loads(bench: Bench, demo: Build) -> None:
    """Volts at 12 and at 18 mA, each run for itself, against the slope stated at 15 mA: they fall with the
    load.
    """
    data = {
        "kind": "rectifier", "secondary": {"volts": "190 V", "resistance": "180 ohm"}, "circuit": "full_wave",
        "rectifier": {"kind": "solid_state"}, "bleeder": "120 kohm",
        "filter": [{"capacitor": "16 uF"}, {"resistor": "1.2 kohm", "capacitor": "16 uF"}],
    }  # fmt: skip
    supply = RectifierSupply.model_validate(data)
    found = rectifier.at(demo.model_copy(update={"supply": supply}), bench, load_a=15e-3)
    out = output_node(supply)
    volts = []
    for current in (12e-3, 18e-3):
        load_s = current / found.volts_v
        run = rectifier.steady(supply, bench, frequency=50.0, load_s=load_s)
        volts.append((run.mean(out) * load_s, run.mean(out)))
    (low_a, high_v), (high_a, low_v) = volts
    # a curve through six loads against a chord; it bends by some per cent between them
    assert found.slope_ohm == pytest.approx((high_v - low_v) / (high_a - low_a), rel=0.05)
    # the resistor in the filter and the winding's at a conduction angle: well above the resistor alone
    assert 1.2e3 < found.slope_ohm < 3e3
    assert np.all(np.diff(found.regulation_a) > 0.0) and np.all(np.diff(found.regulation_v) < 0.0)
    # the output's capacitor sees less ripple than the reservoir: by the RC at 100 Hz, 1/(w R C) = 1/12
    first, second = found.capacitors
    assert second.ripple_v / first.ripple_v == pytest.approx(1 / (200 * math.pi * 1.2e3 * 16e-6), rel=0.3)
    assert second.ripple_v == pytest.approx(found.ripple_v, rel=1e-6)


def test_two_regulators_in_series_hold_twice_the_volts(bench: Bench, demo: Build) -> None:
    """Two of 75 V with 60 ohm each behind 190 V: 150 V, and the slope of both against the dropper."""
    one = {"kind": "zener", "volts": "75 V", "current": "5 mA", "impedance": "60 ohm", "dropper": "4.7 kohm"}
    held = []
    for count, volts in ((1, "75 V"), (2, "75 V"), (1, "150 V")):
        impedance = "120 ohm" if volts == "150 V" else "60 ohm"
        part = {**one, "volts": volts, "impedance": impedance, "count": count}
        (point,) = api.operating_points(
            changed_build(demo, {"regulator": part}), rotations=[0.4], bench=bench
        )
        assert point.regulator_a is not None
        held.append((point.volts["regulator"], point.regulator_a))
    # ngspice's knee beyond the printed current: n kT/q of the logarithm, some 40 mV
    for (volts_, amperes), count in zip(held, (1, 2, 1), strict=True):
        slope = 60.0 if count == 1 else 120.0
        if count == 2 or volts_ < 100.0:
            assert volts_ == pytest.approx(75.0 * count + slope * (amperes - 5e-3), abs=0.1)
    # one of twice the figures is the same thing
    assert held[1] == pytest.approx(held[2], rel=1e-6)


@pytest.fixture(scope="module")
def study(bench: Bench, demo: Build) -> SupplyStudy:
    return api.supply_in_depth(demo, band="40 m", bench=bench)


def test_drift_for_a_volt_of_the_mains(bench: Bench, demo: Build, study: SupplyStudy) -> None:
    """Screen volts at 0.9 and 1.1 of the mains by the d.c. study, over the 20 % of 230 V between them: 46 V.

    The onset on the knob likewise by two searches. The demo states no mains volts: 230 V (README).
    """
    held, bare = study.drifts
    assert (held.regulated, bare.regulated) == (True, False)
    assert demo.mains.volts == 230.0
    band = demo.bands[2]
    dial = math.sqrt(band.from_ * band.to)
    for found, build in ((held, demo), (bare, changed_build(demo, {"regulator": None}))):
        ends = [onset.run(Receiver(build, bench).at(band, dial), mains=mains) for mains in (0.9, 1.0, 1.1)]
        assert ends[1].at_nine_tenths is not None and ends[0].onset is not None and ends[2].onset is not None
        rotation = ends[1].at_nine_tenths.rotation
        screens = []
        for mains in (0.9, 1.1):
            scaled = build.model_copy(
                update={"supply": build.supply.model_copy(update={"volts": mains * build.supply.volts})}
            )
            (point,) = operating_point.run(
                Receiver(scaled, bench).at(band, dial), settings=[("here", rotation)]
            )
            screens.append(point.setting.screen_v)
        # both from the same deck: the solver's tolerance on a difference of millivolts
        assert found.screen_v_per_v == pytest.approx((screens[1] - screens[0]) / 46.0, rel=1e-3)
        moved = (ends[2].onset.rotation - ends[0].onset.rotation) / 46.0
        assert found.onset_per_v == pytest.approx(moved, rel=1e-6)
    # without the regulator the screen's drift outweighs the plate's: more gain by the slope of T
    assert ends[1].slope_per_v is not None
    assert bare.gain_per_v == pytest.approx(bare.screen_v_per_v * ends[1].slope_per_v, rel=0.35)
    assert held.gain_per_v < 0.2 * bare.gain_per_v
    # onset comes earlier with more volts
    assert bare.onset_per_v is not None and bare.onset_per_v < 0.0 < bare.gain_per_v


def test_noise_and_drift_of_the_regulator_at_the_screen(bench: Bench, demo: Build, demo_cards: Cards) -> None:
    """White noise of 100 uV from 100 Hz to 10 kHz behind 40 ohm of slope, through dropper, control and by-
    pass.

    One resistor of the path at a time by Thevenin: share of the chain at the wiper, and a corner with the by-
    pass.
    """
    build = changed_build(
        demo, {"regulator.noise": "100 uV", "regulator.drift": "12 mV", "regulator.drift_sense": "falls"}
    )
    band, rotation = build.bands[2], 0.4
    found = screen_quiet.run(Receiver(build, bench).at(band, 7.1e6), rotation=rotation)
    assert found.drift_v == pytest.approx(-12e-3 * found.rise_k)
    assert found.rise_k == 20.0
    control = build.regeneration
    low, high = rotation * control.pot + control.bottom, (1 - rotation) * control.pot + control.top
    with bench.session(
        receiver_deck(build, demo_cards, band=band, dial_hz=7.1e6, rotation=rotation)
    ) as session:
        # the screen's own conductance, from the deck: its current for a volt more
        session.alter("vfctl", 1.0, "acmag")
        run = session.ac(1.0, 1.0, 1, vectors=["frequency", "wiper", "scr"])
        screen_s = float(abs((run["wiper"][0] - run["scr"][0]) / control.stopper / run["scr"][0]))
    # 40 ohm against 4.7 kohm and the chain: 99 % of the noise stands at the regulator
    share = 1 / (1 + 40.0 / 4.7e3 + 40.0 / (low + high))
    source = low * high / (low + high) + control.stopper
    f = np.linspace(100.0, 10e3, 99001)
    admittance = screen_s + 2j * np.pi * f * control.bypass
    gain = share * low / (low + high) / np.abs(1 + source * admittance)
    density = 100e-6 / math.sqrt(9900.0)
    wanted = density * math.sqrt(float(np.trapezoid(gain**2, f)))
    # a sweep of 30 points a decade by trapezoids; the slope at the tube's own current: 3 %
    assert found.regulator_noise_v == pytest.approx(wanted, rel=0.03)
