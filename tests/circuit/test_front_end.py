"""The linear front end, from the aerial's e.m.f. to the grid, against a general-purpose network library.

scikit-rf joins the same elements as scattering matrices; nothing of the deck, of ngspice or of its netlist
is in that path. Only the tank's inductances come from the coil's figures, which have tests of their own.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import skrf
from skrf.circuit import Circuit as Network

from receiver_sim import api
from receiver_sim.circuit.blocks.aerial import (
    added_capacitance,
    aerial_impedance,
    aerial_radiation,
    wire_as_network,
)
from receiver_sim.circuit.blocks.coil import tank_loss
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.registry import Cards, Site, make
from receiver_sim.circuit.writer import text
from receiver_sim.engine import Bench, Deck
from receiver_sim.measure.mode import SILENCE_V
from receiver_sim.measure.tank import Tank
from receiver_sim.physics.aerial import dummy_antenna_impedance
from receiver_sim.physics.wire_aerial import wire_impedance
from receiver_sim.schema import Band, Build
from receiver_sim.schema.coil import Aerial
from receiver_sim.schema.coil_figures import coil_figures
from tests.decks import receiver_deck, receiver_on, tank_elements

FREQUENCY = np.geomspace(0.5e6, 30e6, 301)
DUMMY = Aerial.model_validate({"kind": "dummy"}, context={"si": True})
DUMMY_BY_CAPACITOR = Aerial.model_validate({"kind": "dummy", "coupling": 6e-12}, context={"si": True})


class Joined:
    """Elements between named nodes, joined by scikit-rf's Circuit; node '0' is ground."""

    def __init__(self, frequency: np.ndarray) -> None:
        self._band = skrf.Frequency.from_f(frequency, unit="hz")
        self._s = 2j * np.pi * frequency
        self._nodes: dict[str, list[tuple[skrf.Network, int]]] = {}
        self._count = 0

    def _add(self, network: skrf.Network, nodes: tuple[str, ...]) -> None:
        network.name = f"n{self._count}"
        self._count += 1
        for port, node in enumerate(nodes):
            self._nodes.setdefault(node, []).append((network, port))

    def impedance(self, a: str, b: str, ohms: np.ndarray) -> None:
        """Put an impedance between two nodes, as the ABCD matrix of a series element."""
        matrix = np.zeros((len(self._s), 2, 2), dtype=complex)
        matrix[:, 0, 0] = matrix[:, 1, 1] = 1.0
        matrix[:, 0, 1] = ohms
        self._add(skrf.Network(frequency=self._band, s=skrf.network.a2s(matrix), z0=50.0), (a, b))

    def resistor(self, a: str, b: str, ohm: float) -> None:
        self.impedance(a, b, np.full(len(self._s), ohm, dtype=complex))

    def capacitor(self, a: str, b: str, farad: float) -> None:
        self.impedance(a, b, 1.0 / (self._s * farad))

    def inductor(self, a: str, b: str, henry: float, ohm: float = 0.0) -> None:
        self.impedance(a, b, self._s * henry + ohm)

    def windings(self, nodes: tuple[str, ...], henries: np.ndarray, ohms: np.ndarray) -> None:
        """Put coupled windings, seen from nodes to ground, as their impedance matrix."""
        z = self._s[:, None, None] * henries[None] + ohms[None]
        self._add(skrf.Network(frequency=self._band, s=skrf.network.z2s(z), z0=50.0), nodes)

    def gain(self, source: str, to: str) -> np.ndarray:
        """Return volts at a node, not loaded, per volt of an ideal source at another: Z21/Z11."""
        for name, node in (("port1", source), ("port2", to)):
            self._nodes[node].insert(0, (Network.Port(self._band, name, z0=50.0), 0))
        self._nodes["0"].insert(0, (Network.Ground(self._band, "earth"), 0))
        z = Network([self._nodes[node] for node in self._nodes]).network.z
        return z[:, 1, 0] / z[:, 0, 0]


def _dummy(net: Joined, feed: str) -> None:
    """200 pF, then 20 uH across 400 ohm with 400 pF: IRE receiver standards (from memory, high)."""
    net.capacitor(feed, "ant1", 200e-12)
    net.inductor("ant1", "source", 20e-6)
    net.resistor("ant1", "ant2", 400.0)
    net.capacitor("ant2", "source", 400e-12)


def _coil(net: Joined, band: Band, *, linked: bool) -> None:
    figures = coil_figures(band.coil)
    upper, lower, mutual = figures.sections
    # currents into 'top' and 'tap': the upper section carries the first, the lower one both
    carries = np.array([[1.0, 0.0, 0.0], [1.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
    l_up, l_low, own, ohm = 0.0, 0.0, 1e-6, 1.0
    if linked:
        link = figures.link
        assert link is not None
        w = link.winding
        from receiver_sim.physics.coil_q import winding_resistance

        l_up, l_low, own = link.to_upper, link.to_lower, link.inductance
        ohm = float(
            winding_resistance(
                w.turns,
                radius=w.radius,
                pitch=w.pitch,
                wire_diameter=w.wire_diameter,
                frequency=api.dial_frequencies(band)[1],
            )
        )
    henries = np.array([[upper, mutual, l_up], [mutual, lower, l_low], [l_up, l_low, own]])
    seen = carries.T @ henries @ carries
    if linked:
        net.windings(("top", "tap", "link"), seen, np.diag([0.0, 0.0, ohm]))
        assert figures.link is not None
        net.capacitor("link", "top", figures.link.capacitance)
    else:
        net.windings(("top", "tap"), seen[:2, :2], np.zeros((2, 2)))
    if figures.self_capacitance:
        net.capacitor("top", "0", figures.self_capacitance)


def _detector(
    net: Joined, build: Build, cards: Cards, *, band: Band, dial: float, tuning: float, frequency: np.ndarray
) -> None:
    """Everything linear round the cold tube: grid, capacitances, input loading, plate filter, heater."""
    det, tube, heat = build.detector, cards.detector.capacitances, build.detector.heater_coupling
    filt = det.rf_filter
    elements = tank_elements(build, cards, band=band, dial_hz=dial)
    position = build.heater.hum_pot_position
    net.resistor("top", "0", tank_loss(band, dial_hz=dial))
    net.capacitor("top", "0", tuning)
    net.capacitor("top", "grid", det.grid_capacitor)
    net.resistor("grid", {"tank": "top", "cathode": "tap", "ground": "0"}[det.grid_leak_to], det.grid_leak)
    net.capacitor("grid", "0", det.strays.grid)
    net.capacitor("grid", "tap", tube.cgk)
    net.capacitor("grid", "plate", tube.cgp)
    # 45 % of a metal tube's output capacitance to the grounded shell, 25 % of a glass one's to its shield
    shell = 0.45 if "shell" in cards.detector.pins.values() else 0.25
    net.capacitor("plate", "tap", (1.0 - shell) * tube.cpk)
    net.capacitor("plate", "0", shell * tube.cpk)
    s = 2j * np.pi * frequency
    net.impedance("grid", "tap", elements["rdin"] + 1.0 / (s * elements["cdin"]))
    net.capacitor("tap", "0", det.strays.cathode)
    for end, to in (
        (heat.grid_a, "grid"),
        (heat.grid_b, "grid"),
        (heat.cathode_a, "tap"),
        (heat.cathode_b, "tap"),
    ):
        net.capacitor(to, "heater", end)
    # both ends of the heater are one for RF; the halves of the hum pot lie side by side and cost 0.1 % of Q
    net.resistor("heater", "0", build.heater.hum_pot * position * (1.0 - position))
    net.capacitor("plate", "0", det.strays.plate + filt.plate_capacitor)
    net.inductor("plate", "dout", filt.choke, filt.choke_resistance)
    net.capacitor("plate", "dout", filt.choke_capacitance)
    net.capacitor("dout", "0", filt.output_capacitor)
    # the plate load's capacitance leads RF on to the plate supply, whose resistance takes a share of it
    load, audio, regulator = det.load, build.audio, build.regulator
    assert load.kind == "choke" and load.shunt and audio.coupling and audio.decoupling and regulator
    net.capacitor("dout", "supply", load.capacitance)
    net.resistor("dout", "supply", load.shunt)
    net.resistor("supply", "0", build.supply.resistance)
    net.resistor("supply", "0", regulator.dropper + regulator.impedance)
    net.resistor("supply", "0", audio.decoupling.resistor)
    net.capacitor("dout", "volume", audio.coupling)
    net.resistor("volume", "0", audio.volume.pot)


CASES = ["link", "capacitor", "series"]


@pytest.fixture(params=CASES)
def case(request: pytest.FixtureRequest, demo: Build, wound: Build) -> Iterator[tuple[str, Build]]:
    if request.param == "link":
        coils = []
        for band in wound.bands:
            link = band.coil.link.model_copy(update={"cold_end": "chassis"})  # type: ignore[union-attr]
            coils.append(band.model_copy(update={"coil": band.coil.model_copy(update={"link": link})}))
        yield request.param, wound.model_copy(update={"aerial": DUMMY, "bands": tuple(coils)})
    elif request.param == "capacitor":
        yield request.param, demo.model_copy(update={"aerial": DUMMY_BY_CAPACITOR})
    else:
        yield request.param, demo


@pytest.mark.parametrize("number", [1, 3])
def test_aerial_to_grid_against_scikit_rf(bench: Bench, case: tuple[str, Build], number: int) -> None:
    """Within 0.1 % from 0.5 to 30 MHz, in size and phase, the tank's resonance among the frequencies.

    Of the audio side the paths of RF to ground are there, of the tube nothing but its capacitances.
    """
    kind, build = case
    cards, band = api.cards_for(build), build.bands[number]
    dial = api.dial_frequencies(band)[1]
    frequency = np.sort(np.append(FREQUENCY[:-1], dial))
    net = Joined(frequency)
    with bench.session(receiver_deck(build, cards, band=band, dial_hz=dial, rotation=0.3)) as session:
        on = receiver_on(session, build, cards, band=band, dial_hz=dial)
        tuning, _ = Tank(on, band=band).tune(dial, q=80.0)
        session.alter("ctune", tuning)
        session.alter("vprobe", SILENCE_V, "dc")
        session.alter("vaerial", 1.0, "acmag")
        got = []
        for f in frequency:
            run = session.ac(f, f * (1 + 1e-9), 2, vectors=["frequency", "grid"])
            got.append(run["grid"][0])
    feed = "link" if kind == "link" else "ant"
    if kind == "series":
        a = build.aerial
        assert a is not None and a.resistance and a.capacitance and a.coupling
        net.inductor("ant", "ant1", a.inductance, a.resistance)
        net.capacitor("ant1", "source", a.capacitance)
        net.capacitor("top", "ant", a.coupling)
    else:
        _dummy(net, feed)
        if kind == "capacitor":
            net.capacitor("top", "ant", 6e-12)
    _coil(net, band, linked=kind == "link")
    _detector(net, build, cards, band=band, dial=dial, tuning=tuning, frequency=frequency)
    assert np.array(got) == pytest.approx(net.gain("source", "grid"), rel=1e-3)


def test_the_dummy_in_the_deck_is_the_published_one(bench: Bench, demo: Build, demo_cards: Cards) -> None:
    """Seen from its feed through the deck: impedances of the standard, as `tests/published` has them by
    formula.
    """
    build = demo.model_copy(update={"aerial": DUMMY_BY_CAPACITOR})
    site = Site(build, demo_cards, build.bands[0], 1.9e6, 0.5)
    dummy = next(block for block in make("aerial", "capacitor", site) if block.name == "aerial")
    deck = Deck("dummy", f"{text(Circuit('dummy', dummy.elements))}\nIin 0 ant dc 0 ac 1\nRant ant 0 1e12")
    with bench.session(deck) as session:
        for f in (0.54e6, 1e6, 1.8e6, 3.5e6, 7e6, 14e6, 28e6):
            z = session.ac(f, f * 1.001, 2, vectors=["frequency", "ant"])["ant"][0]
            assert z == pytest.approx(complex(dummy_antenna_impedance(f)), rel=1e-6)


def test_reflected_capacitance_is_a_good_first_tuning(bench: Bench, wound: Build) -> None:
    """The first value lands within a bandwidth of the dial on every band; the study trims the rest."""
    cards = api.cards_for(wound)
    for band in wound.bands:
        dial = api.dial_frequencies(band)[1]
        first = tank_elements(wound, cards, band=band, dial_hz=dial)["ctune"]
        with bench.session(receiver_deck(wound, cards, band=band, dial_hz=dial, rotation=0.0)) as session:
            session.alter("ctune", first)
            on = receiver_on(session, wound, cards, band=band, dial_hz=dial)
            mode = Tank(on, band=band).mode(dial, q=80.0)
        assert abs(mode.resonance_hz / dial - 1.0) < 1.0 / mode.q, band.name
        assert added_capacitance(wound, band, dial_hz=dial) != 0.0


@pytest.mark.parametrize(
    "size",
    [
        {"height": 3.6, "diameter": 3e-3, "ground_resistance": 60.0},
        {"height": 6.0, "flat": 15.0, "diameter": 2e-3, "ground_resistance": 40.0},
        {"height": 8.0, "flat": 15.0, "diameter": 1.6e-3},
    ],
)
def test_a_wire_in_the_deck_is_its_line_at_any_frequency(
    bench: Bench, demo: Build, demo_cards: Cards, size: dict[str, float]
) -> None:
    """Seen from its feed, ngspice and all: one deck, from medium wave to 30 MHz, dial left at 1.9 MHz.

    Guards against the wire as R, L, C of the dial frequency, which is no aerial anywhere else, and against
    wires of more than 0.45 wavelength being refused. Within 8 %: the network's own error, stated there.
    """
    aerial = Aerial.model_validate({"kind": "wire", "coupling": 5e-12, "wire": size}, context={"si": True})
    wire = aerial.wire
    assert wire is not None
    build = demo.model_copy(update={"aerial": aerial})
    site = Site(build, demo_cards, build.bands[0], 1.9e6, 0.5)
    made = make("aerial", "capacitor", site)[-1]
    alone = Deck("wire", f"{text(Circuit('wire', made.elements))}\nIin 0 ant dc 0 ac 1\nRant ant 0 1e12")
    shape = {"height": wire.height, "flat": wire.flat, "radius": wire.diameter / 2}
    with bench.session(alone) as session:
        for f in (0.6e6, 1.1e6, 1.9e6, 3.65e6, 7.05e6, 10.1e6, 14.2e6, 18.1e6, 21.2e6, 24.9e6, 28.5e6):
            z = session.ac(f, f * 1.001, 2, vectors=["frequency", "ant"])["ant"][0]
            line = wire_impedance(f, ground_resistance=wire.ground_resistance, **shape)
            assert z == pytest.approx(line, rel=0.08), f
            assert aerial_impedance(aerial, dial_hz=f) == pytest.approx(z, rel=1e-5)


def test_a_dial_above_the_network_gets_a_wider_one(wound: Build) -> None:
    aerial = wound.aerial
    assert aerial is not None
    tops = [wire_as_network(aerial, dial_hz=f).top_hz for f in (1.9e6, 33e6, 34e6, 144e6)]
    assert tops == [40e6, 40e6, 80e6, 320e6]
    with pytest.raises(ValueError, match=r"^an aerial of kind 'dummy' is no wire$"):
        wire_as_network(DUMMY, dial_hz=1e6)


def test_effective_height_is_an_assumption_only_where_nothing_is_known(wound: Build, demo: Build) -> None:
    assert wound.aerial is not None and demo.aerial is not None
    height, resistance, assumed = aerial_radiation(wound.aerial, frequency=3.6e6)
    # a short vertical: half its 3.6 m, and 40 pi^2 (h/lambda)^2 (textbook); 0.043 wavelength costs 0.6 %, the
    # end effect as much
    assert height == pytest.approx(1.8, rel=0.015)
    assert resistance == pytest.approx(40 * np.pi**2 * (3.6 * 3.6e6 / 299792458.0) ** 2, rel=0.03)
    assert not assumed
    assert aerial_radiation(demo.aerial, frequency=3.6e6)[2]
    told = demo.aerial.model_copy(update={"effective_height": 3.0})
    assert aerial_radiation(told, frequency=3.6e6)[::2] == (3.0, False)


@pytest.mark.parametrize("band", ["160 m", "20 m"])
def test_batch_ngspice_reads_links_and_feeders_alike(
    bench: Bench, wound: Build, band: str, tmp_path: Path
) -> None:
    """The exported deck of a wound coil in stock ngspice gives the control node's volts of the loaded one."""
    program = shutil.which("ngspice")
    assert program, "install the Debian package ngspice for this test"
    file = tmp_path / "loop.cir"
    file.write_text(api.deck_text(wound, study="loop", band=band, rotation=0.4), encoding="ascii")
    done = subprocess.run(
        [program, "-b", str(file)], capture_output=True, text=True, timeout=60, check=True, cwd=tmp_path
    )
    number = r"([-+]?\d\.\d+e[-+]\d+)"
    rows = re.findall(rf"^\d+\s+{number}\s+{number}\s+{number}\s*$", done.stdout, re.MULTILINE)
    assert len(rows) == 3, done.stdout
    one = api.band_named(wound, band)
    dial = api.dial_frequencies(one)[1]
    half = dial / (4 * one.coil.q)
    deck = receiver_deck(wound, api.cards_for(wound), band=one, dial_hz=dial, rotation=0.4)
    with bench.session(deck) as session:
        session.alter("vinj", 1.0, "acmag")
        run = session.ac(dial - half, dial + half, 3, vectors=["frequency", "xdet.gk"])
    batch = np.array([float(re_) + 1j * float(im) for _, re_, im in rows])
    # six digits are printed; reltol is 1e-6
    assert run["xdet.gk"] == pytest.approx(batch, rel=2e-5)
