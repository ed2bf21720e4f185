"""The tank as one mode: against closed forms of an ideal tank, and reciprocity in the whole receiver."""

from __future__ import annotations

import math

import numpy as np
import pytest

from receiver_sim.circuit.circuit import Block, Circuit
from receiver_sim.circuit.element import Element
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.engine import Deck
from receiver_sim.measure.loaded import Loaded
from receiver_sim.measure.mode import measure_mode
from receiver_sim.physics.mode import residues, resonance
from tests.decks import receiver_deck, receiver_on

IDEAL = """.options keepopinfo reltol=1e-6
Lup top tap 5.6644u
Llow tap 0 25.5u
Kcoil Lup Llow 0.99999999
Rtank top 0 40k
Ctune top 0 100p
Isig 0 top dc 0 ac 0
Vprobe gx grid dc 0
Rgx top gx 1
Rg grid 0 1e9
Cplate plate 0 100p
Rplate plate 0 1e6
Cscr scr 0 1u
Rscr scr 0 1e6
"""


def test_a_rational_response_is_found_again():
    frequency = np.linspace(6.9e6, 7.1e6, 9)
    pole, residue, background = 2.0e5 + 3.0e4j, 4e9 - 1e7j, 2.0 - 60.0j
    response = residue / (2j * np.pi * (frequency - 7e6) + pole) + background
    found = resonance(frequency, response=response, reference_hz=7e6)
    # exact data: only rounding, amplified by the few bandwidths of span
    assert found.pole == pytest.approx(pole, rel=1e-9)
    assert found.residue == pytest.approx(residue, rel=1e-9)
    assert found.background == pytest.approx(background, rel=1e-6)
    assert residues(frequency, response=response, reference_hz=7e6, pole=pole)[0] == pytest.approx(residue)


def test_the_misfit_is_what_is_left_at_the_worst_point():
    """One of nine points moved by a known amount: two unknowns take up a part of it, at least a third is left
    there, and it counts against the largest of the response."""
    frequency = np.linspace(6.9e6, 7.1e6, 9)
    pole = 2.0e5 + 3.0e4j
    response = 4e9 / (2j * np.pi * (frequency - 7e6) + pole) + 2.0
    exact = residues(frequency, response=response, reference_hz=7e6, pole=pole)[2]
    assert exact < 1e-12
    moved = 1e-3 * float(np.abs(response).max())
    response[6] += moved * np.exp(0.7j)
    misfit = residues(frequency, response=response, reference_hz=7e6, pole=pole)[2]
    assert 1e-3 / 3.0 < misfit < 1e-3


def test_noise_and_growth_are_refused():
    frequency = np.linspace(6.9e6, 7.1e6, 9)
    growing = 1e9 / (2j * np.pi * (frequency - 7e6) - 2e5)
    with pytest.raises(ValueError, match="no decaying resonance"):
        resonance(frequency, response=growing, reference_hz=7e6)
    with pytest.raises(ValueError, match="five points"):
        resonance(frequency[:4], response=growing[:4], reference_hz=7e6)


def test_ideal_tank(bench):
    total = (math.sqrt(5.6644e-6) + math.sqrt(25.5e-6)) ** 2
    resonant = 1.0 / (2.0 * math.pi * math.sqrt(total * 100e-12))
    places = {
        Place.HOT_END: "top", Place.GRID: "grid", Place.CATHODE: "tap", Place.PLATE: "plate",
        Place.SCREEN: "scr",
    }  # fmt: skip
    roles = {Role.GRID_LEAD: "vprobe", Role.TANK_CURRENT: "isig"}
    sources = (Element("vprobe", ("gx", "grid"), 0.0), Element("isig", ("0", "top"), 0.0))
    ideal = Circuit("ideal tank", sources, blocks=(Block("ideal", sources, places=places, roles=roles),))
    with bench.session(Deck("ideal tank", IDEAL)) as session:
        mode = measure_mode(Loaded(session, ideal), dial_hz=resonant, q=70.0)
    # the mirror pole at negative frequency is 1/(2Q) of the response, within 1e-4 a constant over the span:
    # what is left is
    # some 1/(4 Q^2)
    assert mode.resonance_hz == pytest.approx(resonant, rel=1e-4)
    assert mode.rp == pytest.approx(40e3, rel=1e-3)
    assert mode.capacitance == pytest.approx(100e-12, rel=1e-3)
    assert mode.cathode.real == pytest.approx(math.sqrt(25.5e-6 / total), rel=1e-4)
    # some of that quarter is left, or nobody looked
    assert 0.02 / mode.q**2 < mode.misfit < 0.25 / mode.q**2


@pytest.mark.parametrize("which", ["demo", "cabin"])
def test_reciprocity_in_the_receiver(bench, request, which):
    """A current into the tap acts on the hot end as one into the hot end acts on the tap: what the envelope
    rests on."""
    build, cards = request.getfixturevalue(which), request.getfixturevalue(f"{which}_cards")
    band = build.bands[0]
    dial = math.sqrt(band.from_ * band.to)
    deck = receiver_deck(
        build,
        cards,
        band=band,
        dial_hz=dial,
        rotation=0.5,
        extra="Icath 0 tap dc 0 ac 0\nIplt 0 plate dc 0 ac 0",
    )
    with bench.session(deck) as session:
        on = receiver_on(session, build, cards, band=band, dial_hz=dial)
        mode = measure_mode(on, dial_hz=dial, q=band.coil.q)
        session.alter("vprobe", 200.0, "dc")
        shares = {}
        for source in ("isig", "icath", "iplt"):
            session.alter(source, 1.0, "acmag")
            at = mode.resonance_hz
            shares[source] = session.ac(at, at, 1, vectors=["frequency", "top", "tap", "plate"])
            session.alter(source, 0.0, "acmag")
    # a linear passive network is reciprocal; 1e-6 is the solver's relative tolerance
    assert shares["icath"]["top"][0] == pytest.approx(shares["isig"]["tap"][0], rel=1e-6)
    assert shares["iplt"]["top"][0] == pytest.approx(shares["isig"]["plate"][0], rel=1e-6)
    # one pole and a constant describe the network within 1e-4 over two bandwidths each way, and not exactly:
    # the tail of the mirror pole, 1/(2Q) of the peak, changes by 2/Q of itself, of which a few per cent
    # are no part of a constant and a pole moved a little
    assert 0.01 / mode.q**2 < mode.misfit < 1e-4
    assert abs(shares["isig"]["top"][0]) == pytest.approx(
        mode.rp, rel=0.01
    )  # the constant is 1/(2Q) across it
    assert mode.aerial is not None and abs(mode.aerial) > 0.0
