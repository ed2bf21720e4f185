"""Loop gain against the closed form, the double-injection probe and batch ngspice."""

import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.circuit.registry import Cards
from receiver_sim.engine import Bench
from receiver_sim.measure import onset
from receiver_sim.measure.loaded import loaded
from receiver_sim.measure.loop_gain import Probe
from receiver_sim.physics.return_ratio import double_injection, return_ratio, zero_phase
from receiver_sim.physics.tank import parallel_resistance
from receiver_sim.physics.tube_law import small_signal
from receiver_sim.schema import Build
from receiver_sim.studies import loop_gain
from tests.decks import receiver_deck, receiver_on
from tests.studies.ideal import bare, ideal


@pytest.mark.parametrize(("index", "tap"), [(0, 0.02), (2, 0.04), (4, 0.045)])
def test_ideal_tap_gives_gk_n_1_minus_n_rp(
    bench: Bench, demo: Build, demo_cards: Cards, index: int, tap: float
) -> None:
    """T = g_k n (1 - n) Rp (calc) with g_k from the law at the d.c. point of ngspice."""
    build, cards = ideal(demo, tap=tap), bare(demo_cards)
    band = build.bands[index]
    dial = band.to
    deck = receiver_deck(build, cards, band=band, dial_hz=dial, rotation=0.5)
    with bench.session(deck) as session:
        probe = Probe(receiver_on(session, build, cards, band=band, dial_hz=dial), band=band, dial_hz=dial)
        probe.trim()
        rows = [(probe.measure(wiper), session.op()) for wiper in (0.2, 0.45, 0.8)]
    rp = parallel_resistance(band.coil.inductance, frequency=dial, q=band.coil.q)
    for sample, point in rows:
        volts = {name: float(point[name][0]) for name in ("grid", "tap", "plate", "scr")}
        figures = small_signal(
            cards.detector.law(),
            grid_v=volts["grid"] - volts["tap"],
            plate_v=volts["plate"] - volts["tap"],
            screen_v=volts["scr"] - volts["tap"],
        )
        # What the form leaves out and the netlist holds: the screen's hold on the cathode current loads the
        # tap by T n/((1 - n) mu_screen), below 0.7 % here; the grid leak's 2.7 Mohm across the grid capacitor
        # is nothing.
        assert sample.gain == pytest.approx(figures.gk * tap * (1 - tap) * rp, rel=0.01)
        assert sample.frequency == pytest.approx(dial, rel=1e-4)


def _double_injection(session: object, low: float, high: float) -> tuple[np.ndarray, np.ndarray]:
    """Return frequency and minus Middlebrook's loop gain at the grid lead (so that regeneration counts
    positive).
    """
    vectors = ["frequency", "gx", "grid", "vprobe#branch"]
    session.alter("vinj", 0.0, "acmag")  # type: ignore[attr-defined]
    session.alter("vprobe", 1.0, "acmag")  # type: ignore[attr-defined]
    volts = session.ac(low, high, 3, vectors=vectors)  # type: ignore[attr-defined]
    tv = -volts["gx"] / volts["grid"]
    session.alter("vprobe", 0.0, "acmag")  # type: ignore[attr-defined]
    session.alter("iprobe", 1.0, "acmag")  # type: ignore[attr-defined]
    amperes = session.ac(low, high, 3, vectors=vectors)  # type: ignore[attr-defined]
    # the circuit delivers the current of vprobe (gx to grid), the tube takes that plus the injected ampere
    back = amperes["vprobe#branch"]
    ti = -back / (back + 1.0)
    session.alter("iprobe", 0.0, "acmag")  # type: ignore[attr-defined]
    return volts["frequency"].real, -double_injection(tv, ti=ti)


@pytest.mark.parametrize("index", [0, 3])
def test_double_injection_finds_the_same_onset(
    bench: Bench, demo: Build, demo_cards: Cards, index: int
) -> None:
    """Middlebrook 1975 (from memory, high): other values away from onset, the same onset within 0.1 % of
    volts.
    """
    band = demo.bands[index]
    dial = api.dial_frequencies(band)[1]
    found = onset.run(demo, demo_cards, bench, band=band, dial_hz=dial)
    assert found.onset is not None
    assert found.tuning_farad is not None
    rows = []
    with loaded(bench, onset.plan(demo, demo_cards, band=band, dial_hz=dial)) as on:
        session = on.session
        probe = Probe(on, band=band, dial_hz=dial)
        probe.tune(found.tuning_farad)
        for rotation in found.onset.rotation * np.array([0.5, 0.98, 1.02]):
            sample = probe.measure(float(rotation))  # the demo's control is linear: wiper = rotation
            half = dial / (4 * band.coil.q)
            f, ratio = _double_injection(session, sample.frequency - half, sample.frequency + half)
            session.alter("vinj", 1.0, "acmag")
            rows.append((sample.figure, zero_phase(f, ratio=ratio)[1], sample.gain))
    volts, double, single = (np.array(column) for column in zip(*rows, strict=True))
    assert abs(double[0] / single[0] - 1) > 1e-3, "away from onset the two probes must differ"
    at_one = _inverse_parabola(volts, double)
    assert at_one == pytest.approx(found.onset.screen_v, rel=1e-3)


def _inverse_parabola(volts: np.ndarray, gain: np.ndarray) -> float:
    """Return the volts at which the gain is one, from the parabola volts(gain) through three points."""
    return float(np.polynomial.polynomial.polyval(1.0, np.polynomial.polynomial.polyfit(gain, volts, 2)))


def test_batch_ngspice_gives_the_same_return_ratio(
    bench: Bench, demo: Build, demo_cards: Cards, tmp_path: Path
) -> None:
    """The exported deck in stock ngspice gives T of the loaded circuit within the solver's tolerance."""
    program = shutil.which("ngspice")
    assert program, "install the Debian package ngspice for this test"
    band = demo.bands[2]
    dial = api.dial_frequencies(band)[1]
    file = tmp_path / "loop.cir"
    file.write_text(api.deck_text(demo, study="loop", band=band.name, rotation=0.37), encoding="ascii")
    done = subprocess.run(
        [program, "-b", str(file)], capture_output=True, text=True, timeout=60, check=True, cwd=tmp_path
    )
    number = r"([-+]?\d\.\d+e[-+]\d+)"
    rows = re.findall(rf"^\d+\s+{number}\s+{number}\s+{number}\s*$", done.stdout, re.MULTILINE)
    assert len(rows) == 3, done.stdout
    batch = np.array([float(re_) + 1j * float(im) for _, re_, im in rows])
    with loaded(bench, loop_gain.plan(demo, demo_cards, band=band, dial_hz=dial)) as on:
        session = on.session
        probe = Probe(on, band=band, dial_hz=dial)
        probe.measure(0.37)
        half = dial / (4 * band.coil.q)
        run = session.ac(dial - half, dial + half, 3, vectors=["frequency", "xdet.gk"])
    # reltol is 1e-6; the operating point may be reached from another start
    assert return_ratio(run["xdet.gk"]) == pytest.approx(return_ratio(batch), rel=2e-5)
