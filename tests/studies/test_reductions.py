"""What studies make of their measurements, on measurements made up for the purpose: textbook by hand.

No two figures are alike (`filling`), so one that stands in another's place shows.
"""

from __future__ import annotations

import io
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from receiver_sim import api
from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.mode import Mode
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.design import dropper, hum_remedies, swap, winding
from receiver_sim.engine import Bench
from receiver_sim.measure.loaded import loaded
from receiver_sim.measure.loop_gain import Sample
from receiver_sim.physics.rectified import discharge_time, dropper_limits
from receiver_sim.physics.tube_law import small_signal
from receiver_sim.results.envelope import Sound
from receiver_sim.results.onset import ControlSetting, Onset
from receiver_sim.results.swap import AudioCandidate, DetectionFigure, DetectorCandidate, Fitting
from receiver_sim.schema import Build, changed_build
from receiver_sim.studies import (  # fmt: skip
    dial_sweep,
    line_drift,
    noise,
    operating_point,
    regulator,
    selectivity,
    signal_noise,
    start_up,
)
from receiver_sim.views.sound import clipped, write_sound
from tests.helpers.filling import filled

KT4 = 4.0 * 1.380649e-23 * 290.0
"""4 k T0, J: the exact constant of Boltzmann (SI, 2019) at the usual 290 K."""


# ---------------------------------------------------------------------------- supply


def test_formulas_of_a_capacitor_input_supply() -> None:
    """RC ln 5 from 300 V to 60."""
    time = discharge_time(300.0, to=60.0, resistance=100e3, capacitance=32e-6)
    assert time == pytest.approx(3.2 * math.log(5.0))


def test_limits_of_a_dropper_by_kirchhoff() -> None:
    """At the highest supply regulator and least load take the most; at the lowest the most load counts."""
    found = dropper_limits(
        105.0, lowest_supply=180.0, highest_supply=231.0, minimum_current=5e-3, maximum_current=30e-3,
        least_load=1e-3, greatest_load=4e-3,
    )  # fmt: skip
    assert found.lowest == pytest.approx((231.0 - 105.0) / 31e-3)
    assert found.highest == pytest.approx((180.0 - 105.0) / 9e-3)


def test_the_dropper_to_buy_stands_twice_its_heat_at_the_highest_mains(demo: Build) -> None:
    assert demo.regulator is not None
    found = dropper.reduce(demo, [172.0, 211.0, 171.0, 209.0], [1.1e-3, 1.3e-3, 1.2e-3, 1.4e-3], hottest=1.23)
    assert found.chosen_ohm is not None and found.chosen_w is not None
    held = demo.regulator.held_volts
    assert found.chosen_w == pytest.approx((211.0 - held) ** 2 / found.chosen_ohm)
    assert found.advised_w == pytest.approx(2.0 * found.chosen_w)
    assert (found.fitted_w, found.control_a) == (1.23, 1.4e-3)


def test_surge_and_discharge_are_read_off_the_courses() -> None:
    """The highest volts of the run; the moment of 60 V on an exponential between two points."""
    time = np.array([0.0, 0.1, 0.2, 0.3])
    on = (time, np.array([0.0, 310.0, 290.0, 280.0]))
    off_time = np.array([0.0, 2.0, 4.0, 6.0])
    off = (off_time, 300.0 * np.exp(-off_time / 2.5))
    found = start_up.reduce(on, off, surge_a=0.9, closed=4.0, bleeder=75e3)
    assert (found.surge_a, found.highest_v) == (0.9, 310.0)
    assert found.discharge_s == pytest.approx(2.5 * math.log(300.0 / 60.0), rel=1e-9)
    late = start_up.reduce(on, (off_time, np.full(4, 61.0)), surge_a=0.9, closed=4.0, bleeder=75e3)
    assert late.discharge_s is None and "still above the safe volts" in late.text


def _mains_point(build: Build, circuit: Circuit, amperes: float, unlit: float) -> tuple[bool | None, str]:
    """The regulator with so many amperes in it, its tube unlit at so many volts."""
    assert build.regulator is not None
    lit = dict.fromkeys(circuit.nodes, 0.0)
    far, near = circuit[circuit.part(Role.DROPPER)].nodes
    lit[far], lit[near] = 108.0 + amperes * build.regulator.dropper, 108.0
    for node in circuit[circuit.part(Role.CONTROL_TOP)].nodes:
        lit[node] = 108.0
    before = {circuit.node(Place.REGULATED): unlit}
    found = regulator.reduce(
        lit, before, filled(Onset), build=build, circuit=circuit, mains=1.1, figure=31.0
    )  # fmt: skip
    assert found.regulator_a == pytest.approx(amperes)
    assert (found.mains, found.screen_v) == (1.1, 31.0)
    assert found.supply_v == pytest.approx(1.1 * build.supply.volts)
    return found.holds, found.reason


def test_a_gas_tube_has_to_strike_and_to_keep_within_its_currents(demo: Build, demo_cards: Cards) -> None:
    """Striking volts lie above those it runs at: what lies between does not light it."""
    part = demo.regulator
    assert part is not None and part.kind == "gas_tube" and part.strike is not None
    least, most = part.minimum_current, part.maximum_current
    assert least is not None and most is not None
    band = demo.bands[0]
    circuit = receiver_circuit(demo, demo_cards, band=band, dial_hz=band.to, rotation=0.4)
    middle = 0.5 * (least + most)
    assert _mains_point(demo, circuit, middle, 1.01 * part.strike) == (True, "regulates")
    between = 0.5 * (part.held_volts + part.strike)
    holds, reason = _mains_point(demo, circuit, middle, between)
    assert holds is False and reason.startswith("does not strike")
    assert _mains_point(demo, circuit, 1.02 * most, 500.0) == (False, "current above the rating")
    assert _mains_point(demo, circuit, 0.98 * least, 500.0) == (False, "too little current to regulate")


def test_drift_is_for_a_volt_of_the_mains(demo: Build) -> None:
    """From 90 to 110 % of 230 V are 46 V."""
    low, high = Sample(0.4, 21.3, 7.1e6, 0.88), Sample(0.4, 22.7, 7.1e6 + 190.0, 0.93)
    onsets = tuple(replace(filled(Onset), onset=ControlSetting(place, 20.0)) for place in (0.43, 0.39))
    found = line_drift.reduce(demo, low, high, (onsets[0], onsets[1]))
    assert found.screen_v_per_v == pytest.approx(1.4 / 46.0)
    assert found.gain_per_v == pytest.approx(0.05 / 46.0)
    assert found.frequency_hz_per_v == pytest.approx(190.0 / 46.0)
    assert found.onset_per_v == pytest.approx(-0.04 / 46.0)


# ---------------------------------------------------------------------------- operating point and noise


def test_volts_and_watts_of_a_tube_count_from_its_cathode(
    bench: Bench, cabin: Build, cabin_cards: Cards
) -> None:
    """Each electrode's own current times its own volts; ratings and noise are those of these."""
    band = cabin.bands[0]
    circuit = receiver_circuit(cabin, cabin_cards, band=band, dial_hz=band.to, rotation=0.4)
    with loaded(bench, circuit) as on:
        volts = on.volts()
    found = operating_point.reduce(volts, circuit, cabin, cabin_cards, label="one", rotation=0.4)
    noisy = noise.tube_resistances(circuit, cabin_cards, volts)
    raised = 0
    for tube in found.tubes:
        socket, card = circuit.sockets[tube.socket], cabin_cards.of(tube.socket)
        at = {pin: 0.0 if node == "0" else volts[node] for pin, node in socket.pins.items()}
        raised += at["cathode"] > 1.0
        plate = at["plate"] - at["cathode"]
        due = {"plate volts": plate, "plate dissipation": plate * tube.plate_a}
        assert tube.plate_w == pytest.approx(plate * tube.plate_a, rel=1e-9)
        if "screen" in at:
            assert tube.screen_a is not None and tube.screen_a < 0.6 * tube.plate_a
            screen = at["screen"] - at["cathode"]
            due |= {"screen volts": screen, "screen dissipation": screen * tube.screen_a}
            assert tube.screen_w == pytest.approx(screen * tube.screen_a, rel=1e-9)
            law = small_signal(card.law(), grid_v=at["grid"] - at["cathode"], plate_v=plate, screen_v=screen)
            # Ib/(Ib + Ic2) (2.5/gm + 20 Ic2/gm^2): Thompson, North and Harris 1940 (memory-high)
            share = law.plate / (law.plate + law.screen)
            ohms = share * (2.5 / law.gm + 20.0 * law.screen / law.gm**2)
            assert noisy[tube.socket] == pytest.approx(ohms, rel=1e-6)
        rated = {line.quantity: line.value for line in found.ratings if line.part.startswith(tube.socket)}
        assert rated and rated == pytest.approx({name: due[name] for name in rated}, rel=1e-9)
    assert raised  # or nothing would tell the cathode from ground


def test_weakest_signal_and_shares_of_noise() -> None:
    """v^2 = 4 k T R B; 10 dB over it is the root of ten; shares are of power."""
    band = api.shipped_build("demo").bands[0]
    multiplied, thermal = 3.1 - 0.4j, 47e-9
    found = signal_noise.reduce(
        band=band, frequency=1.9e6, multiplied=multiplied, thermal=thermal, tank=31e-9, aerial=5.2 + 1.1j,
        tube_ohm=2700.0,
    )  # fmt: skip
    own = (thermal / abs(multiplied)) ** 2 / KT4
    # room temperature is taken as 290 to 300 K
    assert found.circuit_ohm == pytest.approx(own, rel=0.04)
    assert found.tank_share == pytest.approx((31.0 / 47.0) ** 2)
    assert found.aerial_gain == pytest.approx(abs(5.2 + 1.1j) / abs(multiplied))
    assert found.gain == pytest.approx((1.0 - 1.0 / multiplied).real)
    for weakest, hertz in zip(found.weakest, (500.0, 3000.0), strict=True):
        volts = math.sqrt(10.0 * KT4 * (2700.0 + own) * hertz)
        assert weakest.bandwidth_hz == hertz
        assert weakest.grid_v == pytest.approx(volts, rel=0.02)
        assert weakest.aerial_v == pytest.approx(weakest.grid_v / found.aerial_gain)


def test_bandwidth_without_regeneration() -> None:
    """Q' = Q/(1 - T): 30 kHz at T = 0.4 and 10 kHz at T = 0.8 are both 50 kHz at T = 0."""
    band = api.shipped_build("demo").bands[0]
    rows = [(0.4, 0.3, 30e3, 1e4), (0.8, 0.6, 10e3, 3e4), (0.9, 0.7, 5e3, 6e4)]
    found = selectivity.reduce(rows, band=band, dial_hz=1.9e6)
    assert found.unloaded_bandwidth_hz == pytest.approx(50e3)
    assert (list(found.gain), list(found.bandwidth_hz)) == ([0.4, 0.8, 0.9], [30e3, 10e3, 5e3])


@pytest.mark.parametrize(("to", "across"), [("tank", 0.31), ("cathode", 0.61), ("ground", 0.69)])
def test_what_loads_the_tank_and_what_makes_its_loop_gain(
    demo: Build, demo_cards: Cards, to: str, across: float
) -> None:
    """Losses are squares of the volts across each resistor over it; T = g Z, Z = n (g - n) Rp."""
    build = changed_build(demo, {"detector.grid_leak_to": to, "detector.grid_leak": "0.5 Mohm"})
    band = build.bands[0]
    dial = band.to
    circuit = receiver_circuit(build, demo_cards, band=band, dial_hz=dial, rotation=0.4)
    mode = Mode(
        reference_hz=dial, decay=1.1e5, offset_rad=0.0, residue=3.3e9, grid=0.69, cathode=0.08, plate=0.0,
        screen=0.0, aerial=None, misfit=0.0,
    )  # fmt: skip
    found = dial_sweep.reduce(
        build, circuit, band=band, found=filled(Onset, dial_hz=dial), gain=0.83, mode=mode
    )
    rp = 3.3e9 / 1.1e5
    assert found.rp_ohm == pytest.approx(rp)
    assert found.leak_loss == pytest.approx(across**2 / 0.5e6 * rp)
    input_ohm = circuit.dialled(dial)[circuit.part(Role.INPUT_LOSS)]
    assert found.input_loss == pytest.approx(0.61**2 / input_ohm * rp)
    assert found.coil_loss == pytest.approx(rp / found.coil_rp_ohm)
    whole = found.coil_loss + found.input_loss + found.leak_loss + found.other_loss
    assert whole == pytest.approx(1.0)
    assert found.transfer_ohm == pytest.approx(0.08 * 0.61 * rp)
    assert found.transconductance_siemens == pytest.approx(0.83 / (0.08 * 0.61 * rp))


# ---------------------------------------------------------------------------- choices and remedies


def test_a_wound_coil_has_its_band_on_the_dial_it_was_wound_for() -> None:
    """Resonance with the capacitor at nine tenths of its travel lies at the low end; Rp is Q times X."""
    wish = winding.Wish(
        from_hz=3.5e6, to_hz=3.9e6, former=32e-3, wire=0.5e-3, covering=0.05e-3, pitch=None, minimum=11e-12,
        maximum=160e-12, law="capacitance", stray=12e-12, tap=0.06, spread=False, reactance=250.0,
    )  # fmt: skip
    found = winding.design(wish)
    fixed = 12e-12 + found.input_farad + found.self_farad
    meshed = 11e-12 + 0.9 * 149e-12  # a straight-line capacitance
    wanted = 1.0 / ((2.0 * math.pi * 3.5e6) ** 2 * (meshed + fixed))
    assert found.wanted_henry == pytest.approx(wanted, rel=1e-3)
    # turns are rounded to a quarter, of some thirty
    assert found.inductance_henry == pytest.approx(wanted, rel=0.03)
    reactance = 2.0 * math.pi * math.sqrt(3.5e6 * 3.9e6) * found.inductance_henry
    assert found.reactance_ohm == pytest.approx(reactance)
    assert found.rp_ohm == pytest.approx(found.q * reactance)
    # a link of a sixth or so of the turns: common practice, no source
    assert 0.1 < found.link_turns / found.part.turns < 0.2


def test_a_remedy_changes_what_its_words_say() -> None:
    build = api.shipped_build("mains_set")
    tried = dict(hum_remedies.changes(build, 0.31))
    pickup = [(text, one) for text, one in tried.items() if "a tenth of its pick-up" in text]
    assert pickup
    for _, one in pickup:
        before, after = build.pickup, one.pickup
        moved = [n for n in ("detector_load", "output") if getattr(after, n) != getattr(before, n)]
        assert [getattr(after, n) / getattr(before, n) for n in moved] == [pytest.approx(0.1)]
    screen = tried["double the screen's by-pass capacitor"]
    assert screen.regeneration.bypass == pytest.approx(2.0 * build.regeneration.bypass)
    last = tried["double the last filter capacitor"].supply.filter[-1]  # type: ignore[union-attr]
    assert last.capacitor == pytest.approx(2.0 * build.supply.filter[-1].capacitor)  # type: ignore[union-attr]
    demo = changed_build(
        api.shipped_build("demo"), {"audio.decoupling": {"resistor": "2 kohm", "capacitor": "8 uF"}}
    )
    tried = dict(hum_remedies.changes(demo, None))
    doubled = tried["double the decoupling capacitor of the audio stage"].audio.decoupling
    assert doubled is not None and doubled.capacitor == pytest.approx(16e-6)
    detector = next(one for text, one in tried.items() if text.startswith("halve") and "detector" in text)
    now, then = demo.detector.heater_coupling, detector.detector.heater_coupling
    assert (then.grid_a, then.grid_b) == pytest.approx((now.grid_a / 2.0, now.grid_b / 2.0))


def test_a_remedy_gains_what_the_loudest_output_loses(demo: Build) -> None:
    """Of two outputs the second is the louder; the highest of both counts after a change."""

    def measure(what: str, changed: Build) -> list[float | None]:
        if what.startswith("hum to hold"):
            return [11.0, 27.0]
        return [13.0, 9.0] if "smooth d.c." in what else [10.0, 26.0]

    found = hum_remedies.run(demo, measure=measure, nulls=[0.4, 0.3])
    best = found[0]
    assert (best.change, best.before_db, best.after_db, best.gain_db) == (
        "heat with smooth d.c.", 27.0, 13.0, 14.0,
    )  # fmt: skip
    assert {one.gain_db for one in found[1:]} == {1.0}
    assert any(one.change == "set the hum pot to 30 %" for one in found)  # the null of the louder output


def _fitting() -> Fitting:
    return filled(Fitting, heater_fits=True, other_base=False, pins=())


def test_ranks_and_ratios_of_tubes() -> None:
    """The larger figure leads, and is told as a multiple of the tube in place."""

    def detector(tube: str, figure: float, in_place: bool) -> DetectorCandidate:
        detection = filled(DetectionFigure, total_per_v=figure)
        return DetectorCandidate(tube=tube, in_place=in_place, fitting=_fitting(), detection=detection)

    ranked = swap.rank_detectors(
        [detector("A", 20.0, True), detector("B", 50.0, False), detector("C", 8.0, False)]
    )
    assert [(c.tube, c.rank) for c in ranked] == [("B", 1), ("A", 2), ("C", 3)]
    assert [c.reasons[-1] for c in ranked if not c.in_place] == [
        "detects 2.50 times the tube in place", "detects 0.40 times the tube in place",
    ]  # fmt: skip

    def audio(tube: str, gain: float, in_place: bool) -> AudioCandidate:
        return AudioCandidate(tube=tube, in_place=in_place, fitting=_fitting(), tied=False, gain=gain)

    heard = swap.rank_audio([audio("A", 12.0, True), audio("B", 9.0, False), audio("C", 30.0, False)])
    assert [(c.tube, c.rank) for c in heard] == [("C", 1), ("A", 2), ("B", 3)]
    assert heard[0].reasons[-1] == "gain 2.50 times the tube in place"


# ---------------------------------------------------------------------------- sound


def test_a_sound_file_has_its_peak_at_nine_tenths_and_counts_what_is_clipped(tmp_path: Path) -> None:
    volts = np.array([0.0, 0.2, -0.4, 0.3, -0.1, 0.05, 0.0, 0.31])
    sound = filled(Sound, rate=8000.0, volts=volts, peak_v=0.4)
    path = write_sound(sound, tmp_path / "heard.wav")
    samples, rate = soundfile.read(io.BytesIO(path.read_bytes()))
    assert rate == 8000
    # 16 bit: half a step of 1/32768, and full scale a step short of it
    assert samples == pytest.approx(volts * 0.9 / 0.4, abs=5e-5)
    fixed, _ = soundfile.read(write_sound(sound, tmp_path / "fixed.wav", full_scale_v=0.8))
    assert fixed == pytest.approx(volts / 0.8, abs=5e-5)
    assert clipped(sound, full_scale_v=0.25) == pytest.approx(3 / 8)  # both sides
