"""The square-law detection figure against a time run of every cycle, and its parts."""

from __future__ import annotations

import numpy as np
import pytest

from receiver_sim.circuit.registry import Cards
from receiver_sim.engine import Bench, Deck
from receiver_sim.measure import onset
from receiver_sim.measure.tube_jig import read_jig
from receiver_sim.physics.tube_law import grid_current, small_signal
from receiver_sim.receiver import Receiver
from receiver_sim.schema import Build
from receiver_sim.schema.card import card_for
from receiver_sim.studies import detection_figure
from tests.decks import jig_deck
from tests.decks import law_text as subcircuit

LEAK, CARRIER_HZ, AMPLITUDE = 2.2e6, 2e6, 0.03
PLATE, SCREEN = 100.0, 25.0


def test_jig_reads_what_the_law_says(bench: Bench) -> None:
    card = card_for("6SK7")
    law = card.law()
    with bench.session(jig_deck(card, "pentode")) as session:
        read = read_jig(session, plate_v=90.0, grid_v=-0.7, screen_v=21.0)
    want = small_signal(law, grid_v=-0.7, plate_v=90.0, screen_v=21.0)
    found = (read.plate_a, read.screen_a, read.gm, read.gk)
    # central differences of the law err by less than 1e-6, ngspice's tolerance is 1e-7
    assert found == pytest.approx((want.plate, want.screen, want.gm, want.gk), rel=1e-4)
    h = 1e-3
    grid = [float(grid_current(law, grid_v=-0.7 + d)) for d in (-h, 0.0, h)]
    assert read.grid_a == pytest.approx(grid[1], rel=1e-4)
    # 1e-3: the jig's own half step of 5 mV
    assert read.grid_conductance == pytest.approx((grid[2] - grid[0]) / (2 * h), rel=1e-3)
    assert read.grid_curvature == pytest.approx((grid[2] - 2 * grid[1] + grid[0]) / h**2, rel=5e-3)


@pytest.mark.parametrize("name", ["6SJ7", "6AU6"])
def test_rectified_plate_current_against_every_cycle(bench: Bench, name: str) -> None:
    """A steady carrier at a grid with leak and capacitor moves the mean plate current as the figure says.

    The two types differ in how much the bend of the plate current takes away again.
    """
    card = card_for(name)
    text = "\n".join(
        [
            ".options keepopinfo reltol=1e-5 abstol=1e-14 vntol=1e-8 method=trap",
            subcircuit(card, "tube"),
            f"Vp p 0 dc {PLATE}",
            f"Vs s 0 dc {SCREEN}",
            f"Vc c 0 dc 0 sin(0 {AMPLITUDE} {CARRIER_HZ:g} 2u)",
            "Cg c g 20p",
            f"Rleak g 0 {LEAK:g}",
            "Vinj inj 0 dc 0",
            "Xt p s g 0 inj tube",
        ]
    )
    with bench.session(Deck(title="grid-leak detector, every cycle", text=text)) as session:
        rest = session.op()
        grid_v = float(rest["g"][0])
        run = session.tran(
            1.0 / CARRIER_HZ / 40, 150e-6, 0.0, 1.0 / CARRIER_HZ / 40, vectors=["time", "vp#branch"]
        )
    cycles = 40
    fine = np.linspace(150e-6 - cycles / CARRIER_HZ, 150e-6, cycles * 64, endpoint=False)
    mean = float(np.mean(np.interp(fine, run["time"], -run["vp#branch"])))
    moved = mean + float(rest["vp#branch"][0])
    with bench.session(jig_deck(card, "pentode")) as session:
        tube = read_jig(session, plate_v=PLATE, grid_v=grid_v, screen_v=SCREEN)
    impedance = 1.0 / (tube.grid_conductance + 1.0 / LEAK)
    # into 1 ohm of plate load: volts at the plate are minus the plate current
    figure = detection_figure.reduce(
        tube, by_current=complex(-tube.gm * impedance), by_grid=complex(-tube.gm), grid_v=grid_v
    )
    assert moved < 0.0, "grid detection lowers the plate current"
    # steady carrier: A^2/4, half of the figure's 2 A^2/4. 2 %: the next term of the series is (A/e-fold)^2/8
    # of the first, half a per cent, and so is the trapezoidal rule's at 40 steps a cycle; the mean is a small
    # difference of large currents
    assert -moved == pytest.approx(figure.total_per_v * AMPLITUDE**2 / 2.0, rel=0.02)
    assert figure.total_per_v == pytest.approx(figure.grid_per_v - figure.plate_per_v, rel=1e-9)


def test_figure_in_the_receiver_lies_below_that_without_the_grid_capacitor(
    bench: Bench, demo: Build, demo_cards: Cards
) -> None:
    """The grid capacitor passes 1 kHz too: the leak's corner takes its part of the audio (calc)."""
    band = demo.bands[2]
    found = onset.run(Receiver(demo, bench).at(band, 7.1e6))
    assert found.at_nine_tenths is not None
    figure, tube = detection_figure.run(
        Receiver(demo, bench).at(band, 7.1e6), rotation=found.at_nine_tenths.rotation
    )
    conductance = tube.grid_conductance + 1.0 / demo.detector.grid_leak
    capacitance = demo.detector.grid_capacitor + demo_cards.detector.capacitances.cgk
    at_1k = abs(1.0 / (conductance + 2j * np.pi * 1000.0 * capacitance))
    wanted = 0.5 * tube.grid_curvature * at_1k * figure.audio_gain
    # strays, Miller capacitance and heater coupling add 3 % to the grid's capacitance at most
    assert figure.grid_per_v == pytest.approx(wanted, rel=0.03)
    assert figure.gm_siemens == pytest.approx(tube.gm, rel=1e-9)
    assert figure.total_per_v < figure.grid_per_v
