"""Figures that could be wrong by a factor, a unit or a sign and still look sane: each by a closed form or
another path.
"""

from __future__ import annotations

import dataclasses
import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.integrate import simpson

from receiver_sim import api
from receiver_sim.circuit.registry import Cards
from receiver_sim.engine import Bench, Deck
from receiver_sim.failing_stages import Stages
from receiver_sim.measure import onset, rectifier
from receiver_sim.measure.loop_gain import Probe, Sample
from receiver_sim.measure.mode import tuned_mode
from receiver_sim.measure.ripple import ripple_of
from receiver_sim.oscillating import comes_in
from receiver_sim.physics.potentiometer import rotation_fraction
from receiver_sim.receiver import Receiver
from receiver_sim.schema import Build, changed_build
from receiver_sim.schema.supply import RectifierSupply
from receiver_sim.studies import (
    amplitude,
    detection,
    distortion,
    hum,
    hum_paths,
    noise,
    screen_quiet,
    tuning_range,
)
from tests.decks import audio_deck, receiver_deck, receiver_on
from tests.studies.ideal import bare, ideal

# ---------------------------------------------------------------------------- onset from a known curve


def known_onset(build: Build, gain: Any) -> onset.Onset:
    """Search a known curve of loop gain against the wiper; the screen has 100 V with the wiper at the top."""
    law = build.regeneration

    def measure(wiper: float) -> Sample:
        return Sample(wiper, 100.0 * wiper, 7e6 - 1e3 * wiper, gain(wiper))

    probe = SimpleNamespace(
        dial_hz=7e6, tuning=33e-12, evaluations=9, sets={"quantity": "screen voltage", "unit": "V"},
        rotation=lambda wiper: float(rotation_fraction(wiper, law=law.law, mid=law.mid)),
    )  # fmt: skip
    found = onset.search(measure, most=30)
    return onset.reduce(found, degrees=law.rotation, band=build.bands[0], probe=probe)  # type: ignore[arg-type]


def test_onset_slope_approach_and_where_it_stops(demo: Build) -> None:
    """T = 1.3 - 3 (x - 0.6)^2 is 1 at 0.6 -+ sqrt(0.1) and 0.9 at 0.6 - sqrt(0.4/3); dT/dx = -6 (x - 0.6).

    The demo's control is linear and turns 270 degrees; its screen is 100 V a turn of the whole here.
    """
    found = known_onset(demo, lambda x: 1.3 - 3.0 * (x - 0.6) ** 2)
    starts, stops, near = 0.6 - math.sqrt(0.1), 0.6 + math.sqrt(0.1), 0.6 - math.sqrt(0.4 / 3.0)
    # the search stops within 3e-4 of T = 1, which is 1.6e-4 of the control here; interpolation as much again
    assert found.onset is not None and found.at_nine_tenths is not None and found.stops_at is not None
    assert found.onset.rotation == pytest.approx(starts, abs=5e-4)
    assert found.onset.screen_v == pytest.approx(100.0 * starts, abs=0.05)
    assert found.at_nine_tenths.rotation == pytest.approx(near, abs=5e-3)
    assert found.approach_v == pytest.approx(100.0 * (starts - near), abs=0.5)
    assert found.approach_deg == pytest.approx(270.0 * (starts - near), abs=1.4)
    # per volt: a hundredth of per turn
    assert found.slope_per_v == pytest.approx(0.06 * math.sqrt(0.1), rel=0.03)
    assert found.oscillation_hz == pytest.approx(7e6 - 1e3 * starts, abs=1.0)
    # a straight line from the sample at 0.7 (T = 1.27) to the one at the top (0.82): 0.036 early on this
    # curve
    assert found.stops_at.rotation == pytest.approx(stops, abs=0.05)
    assert found.stops_at.screen_v == pytest.approx(100.0 * found.stops_at.rotation, rel=1e-9)
    assert found.gain_lowest == pytest.approx(1.3 - 3.0 * 0.36)
    assert found.gain_highest == pytest.approx(1.3 - 3.0 * 0.16)
    assert found.tuning_farad == 33e-12


def test_degrees_are_those_of_the_knob(cabin: Build) -> None:
    """The cabin's control is logarithmic, 20 % at half way, and turns 300 degrees: a = (1/0.2 - 1)^2 = 16.

    Wiper x lies at rotation ln(1 + 15 x)/ln 16. T = 2 x^2 is 0.9 and 1 at the roots of 0.45 and 0.5.
    """
    found = known_onset(cabin, lambda x: 2.0 * x * x)
    near, at = (math.log(1.0 + 15.0 * math.sqrt(x)) / math.log(16.0) for x in (0.45, 0.5))
    assert found.onset is not None and found.stops_at is None
    assert found.onset.rotation == pytest.approx(at, abs=3e-4)
    assert found.approach_deg == pytest.approx(300.0 * (at - near), rel=0.03)


def test_backlash_in_degrees_is_that_of_the_knob(bench: Bench, demo: Build) -> None:
    """Guards against per cent called degrees; a weak bias makes the onset hard. Volts are those at rest."""
    build = changed_build(demo, {"detector.grid_leak": "200 kohm", "regeneration.rotation": "310 deg"})
    (report,) = api.loop(build, bands=["160 m"], bench=bench)
    found = comes_in(Receiver(build, bench).at(build.bands[0], search=report.middle), Stages()).oscillation
    jump = found.jump
    assert jump is not None and found.onset is not None
    turned = jump.up.rotation - jump.down.rotation
    assert 0.0 < turned < 1.0
    assert jump.backlash_deg == pytest.approx(310.0 * turned, rel=1e-9)
    assert jump.backlash_v == pytest.approx(jump.up.screen_v - jump.down.screen_v, rel=1e-9)
    # it begins from next to nothing at onset and holds on below it with more than it began with
    assert jump.up.rotation == pytest.approx(found.onset.rotation, abs=1e-3)
    assert jump.from_v < 0.01 < jump.falls_from_v
    assert jump.to_v is not None and jump.to_v > jump.falls_from_v


# ---------------------------------------------------------------------------- tank and input loading


@pytest.fixture(scope="module")
def plain(demo: Build, demo_cards: Cards) -> tuple[Build, Cards]:
    """An ideal tap at 10 %, no strays, no aerial; of the tube its input loading alone."""
    loaded, cards = bare(demo_cards), demo_cards.detector.input_loading
    return ideal(demo), dataclasses.replace(
        loaded, detector=loaded.detector.model_copy(update={"input_loading": cards})
    )


@pytest.mark.parametrize("index", [0, 4])
def test_resistance_and_q_of_the_loaded_tank(bench: Bench, plain: tuple[Build, Cards], index: int) -> None:
    """Conductances add: 1/(Q w L) of the coil, (1 - n)^2 G of the tube's input, (leak across the grid
    capacitor).

    G = kc f + kh f^2 (RCA's form) with the card's figures per megahertz; loaded Q = Rp/(w L). Guards against
    half the
    loading, twice the Q.
    """
    build, cards = plain
    band = build.bands[index]
    found = tuning_range.run(Receiver(build, bench, cards=cards), band=band)
    loading = cards.detector.input_loading
    mega = found.middle_hz / 1e6
    tube = loading.kc_per_mhz * mega + loading.kh_per_mhz2 * mega**2
    reactance = 2.0 * math.pi * found.middle_hz * band.coil.inductance
    coil = 1.0 / (band.coil.q * reactance)
    whole = coil + 0.9**2 * tube
    assert 0.9**2 * tube > 0.01 * coil  # or nothing is held
    # the blocking capacitor in series with the loading is twenty times its conductance: 0.25 %; the fit 0.1 %
    assert found.rp_ohm == pytest.approx(1.0 / whole, rel=4e-3)
    assert found.loaded_q == pytest.approx(1.0 / (whole * reactance), rel=4e-3)
    assert found.reactance_ohm == pytest.approx(reactance, rel=1e-6)
    assert found.coil_q == band.coil.q
    assert found.total_farad == pytest.approx(1.0 / (2.0 * math.pi * found.middle_hz * reactance), rel=2e-3)
    assert found.middle_hz == pytest.approx(math.sqrt(band.from_ * band.to))


# ---------------------------------------------------------------------------- detection


def test_bandwidth_is_that_of_the_tank_with_its_regeneration(
    bench: Bench, demo: Build, demo_cards: Cards
) -> None:
    """f/Q times (1 - T), the textbook's law, with T of the loop-gain probe at the same setting. Both sides
    count.
    """
    band = demo.bands[2]
    search = onset.run(Receiver(demo, bench).at(band, 7.1e6))
    assert search.onset is not None and search.tuning_farad is not None
    found = amplitude.run(Receiver(demo, bench).at(band, search=search), time_runs=False)
    mode = tuned_mode(
        Receiver(demo, bench).at(band, 7.1e6), tuning=search.tuning_farad, rotation=search.onset.rotation
    )
    ear = detection.Listener(Receiver(demo, bench), mode, found=found, output=0)
    with bench.session(receiver_deck(demo, demo_cards, band=band, dial_hz=7.1e6, rotation=0.5)) as session:
        on = receiver_on(session, demo, demo_cards, band=band, dial_hz=7.1e6)
        probe = Probe(on, band=band, dial_hz=7.1e6)
        probe.tune(search.tuning_farad)
        for share in (0.3, 0.85):
            rotation = share * search.onset.rotation
            gain = probe.measure(rotation).gain  # a linear control
            width = detection.selectivity(ear, rotation)[2]
            assert width is not None
            # wider by what the grid's current conducts, which the mode of the silenced tube leaves out: an
            # e-fold of
            # 0.15 V and 0.2 uA make 1.4 uS beside the tank's 27
            assert 1.0 < width / (mode.resonance_hz / mode.q * (1.0 - gain)) < 1.06, share


# ---------------------------------------------------------------------------- noise


def test_noise_floor_against_resistors_that_ngspice_knows(
    bench: Bench, demo: Build, demo_cards: Cards
) -> None:
    """Each tube's equivalent resistance put into the deck as a real resistor in series with its control node.

    ngspice then makes all the noise; its density is integrated by Simpson's rule here. Guards against a power
    that is
    twice or half as large.
    """
    rotation = 0.4
    ((floor, shares),) = noise.run(Receiver(demo, bench), rotation=rotation)
    deck = audio_deck(demo, demo_cards, rotation=rotation)
    with bench.session(deck) as session:
        volts = {name: float(value.real[0]) for name, value in session.op().items()}
    text = deck.text
    circuit = noise.plan(demo, demo_cards, rotation=rotation)
    for socket, ohm in noise.tube_resistances(circuit, demo_cards, volts).items():
        node = {"detector": "inj", "audio": "ainj"}[socket]
        old = f"V{node} {node} 0 dc 0 ac 0"
        assert text.count(old) == 1
        text = text.replace(old, f"V{node} {node}n 0 dc 0 ac 0\nR{node}n {node}n {node} {ohm:.9g}")
    with bench.session(Deck(title="tubes as resistors", text=text)) as session:
        found = session.noise("phone0", "vinj", 100.0, 6000.0, 60)
    # the band ends at 5 kHz, between two points of ngspice's own
    frequency = np.geomspace(100.0, 5000.0, 2001)
    density = np.interp(frequency, found["frequency"].real, found["onoise_spectrum"].real)
    power = simpson(density**2, x=frequency)
    # trapezoids at 30 points a decade against Simpson's rule at 60
    assert floor == pytest.approx(math.sqrt(power), rel=5e-3)
    assert sum(shares.values()) == pytest.approx(1.0)
    # the detector's share by its own resistor alone: it stands first in the chain
    assert shares["detector"] > shares["audio"]


# ---------------------------------------------------------------------------- ripple


def test_a_stated_ripple_is_peak_to_peak(bench: Bench, demo: Build, demo_cards: Cards) -> None:
    """A sine of 2 mV peak to peak is 2/(2 sqrt 2) mV r.m.s.; at each output by the gain from the supply's
    e.m.f.
    """
    band, rotation = demo.bands[0], 0.4
    where: dict[str, Any] = {"band": band, "dial_hz": band.from_, "rotation": rotation}
    with bench.session(receiver_deck(demo, demo_cards, **where)) as session:
        session.alter("vsupply", 1.0, "acmag")
        run = session.ac(100.0, 100.0, 1)
    level = 2e-3 / (2.0 * math.sqrt(2.0))
    at_phones, at_screen = (level * abs(run[node][0]) for node in ("phone0", "scr"))
    tuned = Receiver(demo, bench).at(band, band.from_)
    found = hum.run(tuned, rotation=rotation)
    assert found.outputs[0].ripple_v == pytest.approx(at_phones, rel=1e-6)
    # at the build's pot both together: root of squares
    paths = hum_paths.run(tuned, rotation=rotation)
    tone = next(t for t in paths.outputs[0].tones if t.frequency_hz == 100.0)
    assert tone.volts_v == pytest.approx(at_phones, rel=1e-6)
    quiet = screen_quiet.run(tuned, rotation=rotation)
    assert quiet.ripple_v == pytest.approx(at_screen, rel=1e-6)
    assert quiet.supply_db == pytest.approx(20.0 * math.log10(abs(run["scr"][0] / run["bplus"][0])), abs=1e-6)


def test_the_ripple_of_a_rectifier_peaks_with_the_heaters(bench: Bench, demo: Build) -> None:
    """Guards against a ripple a quarter period off the heaters, which come from the same transformer.

    A reservoir capacitor is fullest just after the winding's peak, where its e.m.f. falls faster than the
    load takes
    charge; the heaters' volts peak with the winding's, and as phasor they are cosines.
    """
    data = {
        "kind": "rectifier", "secondary": {"volts": "200 V", "resistance": "10 ohm"}, "circuit": "half_wave",
        "rectifier": {"kind": "solid_state"}, "filter": [{"capacitor": "22 uF"}], "bleeder": "100 kohm",
    }  # fmt: skip
    supply = RectifierSupply.model_validate(data)
    build = demo.model_copy(update={"supply": supply})
    result = rectifier.at(build, bench, load_a=20e-3)
    settled = build.model_copy(update={"supply": rectifier.settled(supply, result)})
    ripple = ripple_of(settled)
    assert ripple.at_receiver
    lines = ripple.phasors(settled.mains.frequency, count=12)
    angle = np.radians(np.arange(-180.0, 180.0, 0.5))
    orders = np.arange(1, 13)
    course = math.sqrt(2.0) * np.real(np.exp(1j * np.outer(angle, orders)) @ lines)
    # fullest 0 to 30 degrees after the heaters' own peak; the run down lasts most of the period
    assert 0.0 < math.degrees(angle[int(np.argmax(course))]) < 30.0
    assert -100.0 < math.degrees(angle[int(np.argmin(course))]) < -20.0
    # twelve lines leave little of the ripple out
    assert np.ptp(course) == pytest.approx(result.ripple_v, rel=0.06)
    # the e.m.f. behind the settled source gives the volts found, by Ohm's law at the load found
    whole = result.load_a + result.bleeder_a
    source = settled.supply
    drop = source.resistance + sum(s.resistance for s in source.sections)  # type: ignore[union-attr]
    assert source.volts - drop * whole == pytest.approx(result.volts_v, rel=1e-9)


# ---------------------------------------------------------------------------- class A


def course(build: Build, *, plate: Any, grid_v: Any) -> dict[str, Any]:
    """Return vectors of a run over time: plate current and grid volts of the audio tube as functions of the
    phase.
    """
    time = np.linspace(0.0, (distortion.PERIODS + 1) / distortion.TONE_HZ, 4001)
    phase = 2.0 * np.pi * distortion.TONE_HZ * time
    return {
        "time": time, "phone0": 0.5 * np.sin(phase), "vapm#branch": plate(phase), "agrid": grid_v(phase),
        "acath": np.full(time.size, 6.0),
    }  # fmt: skip


CLASSES = [
    # name, least plate current over quiescent, highest grid volts from the cathode, keeps
    ("both kept", lambda p: 4e-3 * (1.0 + 0.9 * np.sin(p)), lambda p: -4.0 + 1.0 * np.sin(p), True),
    (
        "cut off",
        lambda p: 4e-3 * np.maximum(1.0 + 1.2 * np.sin(p), 0.01),
        lambda p: -4.0 + 1.0 * np.sin(p),
        False,
    ),
    ("grid current", lambda p: 4e-3 * (1.0 + 0.9 * np.sin(p)), lambda p: -2.0 + 3.0 * np.sin(p), False),
    (
        "both",
        lambda p: 4e-3 * np.maximum(1.0 + 1.2 * np.sin(p), 0.01),
        lambda p: -2.0 + 3.0 * np.sin(p),
        False,
    ),
]


@pytest.mark.parametrize(("name", "plate", "grid_v", "keeps"), CLASSES, ids=[c[0] for c in CLASSES])
def test_class_a_is_left_by_either(
    demo: Build, demo_cards: Cards, name: str, plate: Any, grid_v: Any, keeps: bool
) -> None:
    """Guards against class A by 'or': it asks for plate current above 2 % of the quiescent and no grid
    current.
    """
    run = course(demo, plate=plate, grid_v=lambda p: 6.0 + grid_v(p))
    drives, classes = distortion.reduce(
        demo,
        distortion.plan(demo, demo_cards, rotation=0.4),
        demo_cards,
        run,
        input_v=0.01,
        quiet={"audio": 4e-3},
    )  # type: ignore[arg-type]
    (one,) = classes
    phase = np.linspace(0.0, 2.0 * np.pi, 2001)
    assert one.keeps is keeps
    assert one.least_share == pytest.approx(float(plate(phase).min()) / 4e-3, abs=1e-3)
    assert one.grid_v == pytest.approx(float(grid_v(phase).max()), abs=1e-3)
    (drive,) = drives
    # a sine of 0.5 V peak in 2.2 kohm and 1.7 H: V^2 R/(R^2 + X^2); no harmonics
    reactance = 2.0 * math.pi * 1000.0 * 1.7
    assert drive.output_v == pytest.approx(0.5 / math.sqrt(2.0), rel=1e-4)
    assert drive.power_w == pytest.approx(0.125 * 2200.0 / (2200.0**2 + reactance**2), rel=1e-3)
    assert drive.thd < 1e-4
    # 100 dB SPL for a milliwatt, as of phones of which nothing is stated (README)
    sensitivity = demo.phones[0].sensitivity
    assert drive.level_db == pytest.approx(sensitivity + 10.0 * math.log10(drive.power_w / 1e-3), abs=1e-9)
