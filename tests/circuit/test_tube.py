"""The law as ngspice runs it: equal to the formula layer, smooth, passive."""

from __future__ import annotations

import numpy as np
import pytest

from receiver_sim.circuit.templates import TemplateFault
from receiver_sim.engine import Bench, Deck
from receiver_sim.physics.tube_law import currents
from receiver_sim.schema.card import TubeCard, card_for, card_types
from tests.decks import law_text as subcircuit

SEED = 20261125


def _deck(card: TubeCard, *, tied: bool = False) -> Deck:
    three = card.kind == "triode" or tied
    pins = "p g 0 inj" if three else "p s g 0 inj"
    lines = [
        ".options keepopinfo reltol=1e-7 abstol=1e-15 vntol=1e-10",
        subcircuit(card, "tube", triode_connected=tied and card.kind != "triode"),
        "Vp p 0 dc 100 ac 0",
        "Vg g 0 dc -3 ac 0",
        "Vi inj 0 dc 0 ac 0",
        f"Xt {pins} tube",
    ]
    if not three:
        lines.insert(3, "Vs s 0 dc 100 ac 0")
    return Deck(title=f"{card.type} alone", text="\n".join(lines))


def _volts(count: int) -> np.ndarray:
    """Return rows of plate, screen, grid volts: all of -100 to +400 V on the positive electrodes, -60 to +15
    V grid.
    """
    rng = np.random.default_rng(SEED)
    return np.column_stack([rng.uniform(-100, 400, (count, 2)), rng.uniform(-60, 15, count)])


@pytest.mark.parametrize("name", card_types())
def test_ngspice_and_the_formula_layer_agree(bench: Bench, name: str) -> None:
    card = card_for(name)
    triode = card.kind == "triode"
    with bench.session(_deck(card)) as session:
        for plate, screen, grid in _volts(40):
            session.alter("vp", plate, "dc")
            session.alter("vg", grid, "dc")
            if not triode:
                session.alter("vs", screen, "dc")
            point = session.op()
            expected = currents(card.law(), grid_v=grid, plate_v=plate, screen_v=screen)
            # twelve digits of a parameter reach the deck; 1 nA is the scale below which ngspice's gmin counts
            assert -point["vp#branch"][0] == pytest.approx(float(expected.plate), rel=1e-6, abs=1e-12)
            assert -point["vg#branch"][0] == pytest.approx(float(expected.grid), rel=1e-6, abs=1e-12)
            if not triode:
                assert -point["vs#branch"][0] == pytest.approx(float(expected.screen), rel=1e-6, abs=1e-12)


@pytest.mark.parametrize("name", ["6SJ7", "6SK7", "24A", "6V6GT", "1T4", "6J5"])
def test_conductances_are_those_of_finite_differences(bench: Bench, name: str) -> None:
    """ngspice's own derivatives of the B sources against differences of its operating points."""
    card = card_for(name)
    triode = card.kind == "triode"
    sources = ["vp", "vg"] if triode else ["vp", "vs", "vg"]
    branches = [f"{s}#branch" for s in sources]
    with bench.session(_deck(card)) as session:

        def at(volts: list[float]) -> np.ndarray:
            for source, value in zip(sources, volts, strict=True):
                session.alter(source, value, "dc")
            point = session.op()
            return np.array([float(point[b][0]) for b in branches])

        for plate, screen, grid in _volts(25):
            volts = [plate, grid] if triode else [plate, screen, grid]
            for index, source in enumerate(sources):
                step = 1e-3 if source == "vg" else 1e-2
                up, down = list(volts), list(volts)
                up[index] += step
                down[index] -= step
                slope = (at(up) - at(down)) / (2 * step)
                at(volts)
                session.alter(source, 1.0, "acmag")
                run = session.ac(1e3, 1e3, 1, vectors=["frequency", *branches])
                session.alter(source, 0.0, "acmag")
                exact = np.array([run[b][0].real for b in branches])
                # central differences: third derivative times step^2/6 is below 1e-4 but at the turn-on of an
                # electrode, where the second derivative jumps over 10 mV; op noise 1e-12 A over the step
                scale = np.abs(exact).max()
                assert slope == pytest.approx(exact, rel=2e-3, abs=2e-3 * scale + 2e-9)


@pytest.mark.parametrize("name", card_types())
def test_passive_over_all_electrode_volts(name: str) -> None:
    """No electrode gives a current out but the plate of a screen-grid tetrode below its screen (dynatron
    dip).
    """
    card = card_for(name)
    plate, screen, grid = _volts(4000).T
    out = currents(card.law(), grid_v=grid, plate_v=plate, screen_v=screen)
    assert np.all(np.asarray(out.grid) >= 0.0)
    if card.kind == "tetrode":
        away = (plate <= 0.0) | (plate > screen + 50.0)
        assert np.all(np.asarray(out.plate)[away] >= 0.0)
        assert np.all(np.asarray(out.plate) + np.asarray(out.screen) >= -1e-18)
    else:
        assert np.all(np.asarray(out.plate) >= 0.0)
        assert np.all(np.asarray(out.screen) >= 0.0)
    # an electrode at or below the cathode's potential receives nothing
    assert np.all(np.asarray(out.plate)[plate <= 0.0] == 0.0)
    if card.kind != "triode":
        assert np.all(np.asarray(out.screen)[(screen <= 0.0) & (plate <= 0.0)] == 0.0)


@pytest.mark.parametrize("name", card_types())
@pytest.mark.parametrize("axis", [0, 1, 2])
def test_first_derivatives_are_continuous(name: str, axis: int) -> None:
    """Halving the step of a fine sweep halves the jumps of the slope: a kink would leave them as they are."""
    law = card_for(name).law()
    rng = np.random.default_rng(SEED + axis)
    spans = [(-100.0, 400.0), (-100.0, 400.0), (-60.0, 15.0)]
    for _ in range(6):
        fixed = [rng.uniform(40, 300), rng.uniform(40, 250), rng.uniform(-8, 1)]
        jumps = []
        for count in (16001, 64001):
            x = np.linspace(*spans[axis], count)
            volts = [np.full(count, v) for v in fixed]
            volts[axis] = x
            out = currents(law, plate_v=volts[0], screen_v=volts[1], grid_v=volts[2])
            slope = np.diff(np.asarray(out.plate)) / np.diff(x)
            jumps.append(np.abs(np.diff(slope)).max() / (np.abs(slope).max() + 1e-15))
        # of second order in a smooth place: a quarter; a half leaves room for bends narrower than the coarse
        # step
        assert jumps[1] < 0.5 * jumps[0] or jumps[1] < 1e-6


def test_the_probe_drives_the_space_current_and_not_the_grid_current(bench: Bench) -> None:
    card = card_for("6SJ7")
    with bench.session(_deck(card)) as session:
        session.alter("vp", 140.0, "dc")
        session.alter("vs", 35.0, "dc")
        session.alter("vg", -0.55, "dc")
        session.alter("vi", 0.2, "dc")
        shifted = session.op()
        session.alter("vi", 0.0, "dc")
        plain = session.op()
        session.alter("vg", -0.35, "dc")
        moved = session.op()
    assert shifted["vp#branch"][0] == pytest.approx(moved["vp#branch"][0], rel=1e-9)
    assert shifted["vg#branch"][0] == pytest.approx(plain["vg#branch"][0], rel=1e-9)
    assert moved["vg#branch"][0] != pytest.approx(plain["vg#branch"][0], rel=0.5)


def test_triode_connection_ties_the_screen_to_the_plate(bench: Bench) -> None:
    card = card_for("6SJ7")
    with bench.session(_deck(card, tied=True)) as session:
        session.alter("vp", 180.0, "dc")
        session.alter("vg", -6.0, "dc")
        point = session.op()
    out = currents(card.law(), grid_v=-6.0, plate_v=180.0, screen_v=180.0)
    assert -point["vp#branch"][0] == pytest.approx(float(out.plate + out.screen), rel=1e-6)


def test_a_triode_cannot_be_triode_connected() -> None:
    with pytest.raises(TemplateFault, match="a triode has no screen to connect to its plate"):
        subcircuit(card_for("6J5"), "tube", triode_connected=True)


def test_a_bad_name_is_refused() -> None:
    with pytest.raises(TemplateFault, match="a subcircuit name is a plain lower-case word"):
        subcircuit(card_for("6J5"), "x y")
