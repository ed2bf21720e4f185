"""Noise currents into the tank, by reciprocity and published densities; nothing is simulated."""

from __future__ import annotations

import math

import pytest

from receiver_sim import api
from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.mode import Mode
from receiver_sim.measure.set_noise import BandNoise, SetNoise, band_noise, tube_density
from receiver_sim.physics.noise import BOLTZMANN, ELECTRON_CHARGE, ROOM_K
from receiver_sim.physics.tube_law import currents
from receiver_sim.schema import Build, changed_build
from tests.helpers.filling import filled

VOLTS = {"grid": -0.3, "plate": 61.0, "screen": 27.0, "cathode": 0.0}


def mode_of(build: Build, *, aerial: complex | None = None, **shares: complex) -> Mode:
    band = build.bands[0]
    circuit = receiver_circuit(build, api.cards_for(build), band=band, dial_hz=band.from_, rotation=0.5)
    pins = circuit.sockets["detector"].pins
    rest = {node: VOLTS[name] for name, node in pins.items() if node != "0"}
    plain = {"grid": 0j, "cathode": 0j, "plate": 0j, "screen": 0j, **shares}
    # 1/(2C) of 100 pF, half a hundred thousand a second: 10 kS^-1 of it
    return Mode(7e6, 5e4, 0.0, 5e9, plain["grid"], plain["cathode"], plain["plate"], plain["screen"], aerial,
                0.0, rest=rest)  # fmt: skip


def test_a_tube_s_noise_comes_in_by_the_electrodes_that_swing(demo: Build) -> None:
    """A current from one node to another gives the tank as much as these two swing apart (reciprocity).

    Of the cathode's noise, sqrt(4 k T 2.5 gk), each electrode has its share; what changes sides within
    the tube, sqrt(2 e Ib Is/I), goes from plate to screen (North 1940, memory-high); grid current
    is shot noise (Schottky 1918).
    """
    cards = api.cards_for(demo)
    law = cards.detector.law()

    def cathode(grid_v: float) -> float:
        out = currents(law, grid_v=grid_v, plate_v=61.0, screen_v=27.0)
        return float(out.plate + out.screen)

    here = currents(law, grid_v=-0.3, plate_v=61.0, screen_v=27.0)
    plate, screen, grid = (float(v) for v in (here.plate, here.screen, here.grid))
    gk = (cathode(-0.299) - cathode(-0.301)) / 0.002
    assert screen > 0.05 * plate and grid > 0.0
    share = plate / (plate + screen)
    space = math.sqrt(4.0 * BOLTZMANN * ROOM_K * 2.5 * gk)
    chance = math.sqrt(2.0 * ELECTRON_CHARGE * plate * screen / (plate + screen))
    shot = math.sqrt(2.0 * ELECTRON_CHARGE * grid)
    for g, k, p, s in ((0.9, 0.05, 0.31, 0.0), (0.9, 0.05, 0.0, 0.22), (0.7, 0.0, -0.4, 0.1)):
        into = share * (k - p) + (1.0 - share) * (k - s)
        due = math.sqrt((space * into) ** 2 + (chance * (p - s)) ** 2 + (shot * (g - k)) ** 2)
        mode = mode_of(demo, grid=g, cathode=k, plate=p, screen=s)
        assert tube_density(demo, cards, mode, band=demo.bands[0]) == pytest.approx(due, rel=1e-5), (
            g,
            k,
            p,
            s,
        )


def test_noises_of_tank_tube_and_aerial_add_as_powers(demo: Build) -> None:
    """4 k T G of the tank's conductance, the band's e.m.f. by what a volt of it drives into the hot end."""
    noise = SetNoise(filled(BandNoise, emf=3e-9), tube=0.7e-12, audio=None)  # type: ignore[arg-type]
    mode = mode_of(demo, aerial=3e-4j)
    own = math.sqrt(4.0 * BOLTZMANN * ROOM_K * 5e4 / 5e9)
    assert noise.thermal(mode) == pytest.approx(own, rel=1e-9, abs=0.0)
    assert noise.aerial(mode) == pytest.approx(0.9e-12, rel=1e-9, abs=0.0)
    whole = math.sqrt(own**2 + 0.7e-12**2 + 0.9e-12**2)
    assert noise.total(mode) == pytest.approx(whole, rel=1e-9, abs=0.0)
    assert SetNoise(None, 0.0, None).total(mode_of(demo)) == pytest.approx(own, rel=1e-9, abs=0.0)  # type: ignore[arg-type]


@pytest.mark.parametrize(("place", "c", "d"), [("city", 76.8, 27.7), ("quiet-rural", 53.6, 28.6)])
def test_the_band_brings_what_man_made_atmosphere_and_galaxy_make_together(
    demo: Build, place: str, c: float, d: float
) -> None:
    """ITU-R P.372: Fa = c - d log10 f(MHz) by place; 60 - 30 log10 f at night, 52 - 23 log10 f from the
    galaxy above 10 MHz. Their powers add; e.m.f. sqrt(4 k 290 (f - 1) R) in the radiation resistance.
    """
    build = changed_build(demo, {"aerial.effective_height": "3 m"})
    for mhz in (3.6, 14.2):
        found = band_noise(build, frequency=mhz * 1e6, place=place)
        assert found is not None
        parts = [c - d * math.log10(mhz), 60.0 - 30.0 * math.log10(mhz)]
        parts += [52.0 - 23.0 * math.log10(mhz)] if mhz > 10.0 else []
        assert [found.man_made_db, found.atmospheric_db] == pytest.approx(parts[:2])
        assert (found.galactic_db is None) is (mhz < 10.0)
        factor = sum(10.0 ** (one / 10.0) for one in parts)
        assert found.total_db == pytest.approx(10.0 * math.log10(factor))
        # short aerial over ground: 160 pi^2 (h/lambda)^2 (textbook)
        ohm = 160.0 * math.pi**2 * (3.0 * mhz / 299.792458) ** 2
        assert found.radiation_ohm == pytest.approx(ohm, rel=1e-3)
        emf = math.sqrt(4.0 * BOLTZMANN * 290.0 * (factor - 1.0) * ohm)
        assert found.emf == pytest.approx(emf, rel=1e-3, abs=0.0)
        assert found.height_assumed is False
    assert band_noise(changed_build(demo, {"aerial": None}), frequency=7e6, place=place) is None
