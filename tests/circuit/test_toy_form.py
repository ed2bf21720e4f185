"""A form of a block that the package does not know: template, description and maker here, and every verb
takes it.

The toy is a regeneration control of one variable resistor in series with the screen, with a fixed resistor
from the
screen to ground: no potentiometer, another template, other elements that follow the knob.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Literal

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.circuit import registry
from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Block
from receiver_sim.circuit.control import control_of
from receiver_sim.circuit.description import described
from receiver_sim.circuit.registry import Site, filled
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.circuit.writer import deck
from receiver_sim.engine import Bench
from receiver_sim.measure import onset
from receiver_sim.receiver import Receiver
from receiver_sim.results.base import Status
from receiver_sim.schema import Build
from receiver_sim.schema.build import Regeneration
from tests.batch import batch_run

TEMPLATE = """* --- regeneration control: one variable resistor to the screen, a fixed one to ground
Vfctl {{ feed }} ctlfeed dc 0 ac 0
Rmost ctlfeed rheo {{ least }}
Rvary rheo scr {{ vary }}
Rfix scr 0 {{ fixed }}
Cscreen scr 0 {{ bypass }}
"""

DESCRIPTION = """block: control
elements:
  vfctl: {is: feed of the control, nature: bench}
  rmost: {is: resistor ahead of the control, nature: part, key: regeneration.top, tolerance: resistor}
  rvary: {is: regeneration control, nature: part, key: regeneration.pot, tolerance: pot}
  rfix: {is: resistor below the control, nature: part, key: regeneration.bottom, tolerance: resistor}
  cscreen: {is: screen bypass, nature: part, key: regeneration.bypass, tolerance: capacitor}
ports: {scr: detector screen}
places: {screen: scr}
roles: {feed of the screen: vfctl, "control's upper resistor": rmost}
meter: {scr: detector screen}
control:
  quantity: screen voltage
  unit: V
  node: scr
  follows:
    rvary: {share: above, of: track}
"""


class Rheostat(Regeneration):
    """The keys of the potentiometer, used otherwise."""

    kind: Literal["toy_rheostat"] = "toy_rheostat"


@pytest.fixture
def toy(demo: Build, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Build]:
    """The demo with the toy for its control; the form is gone afterwards."""
    (tmp_path / "toy.cir").write_text(TEMPLATE)
    (tmp_path / "toy.yaml").write_text(DESCRIPTION)
    monkeypatch.setattr(registry, "_FORMS", dict(registry._FORMS))

    @registry.form("control", "toy_rheostat")
    def rheostat(site: Site) -> Sequence[Block]:
        said = site.build.regeneration
        declared = described(tmp_path, "toy").control
        assert declared is not None
        control = control_of(
            declared, whole={"track": said.pot}, degrees=said.rotation, law=said.law, mid=said.mid
        )
        values = {
            "feed": "vreg",
            "least": said.top,
            "vary": control.at(site.rotation)["rvary"],
            "fixed": said.bottom,
            "bypass": said.bypass,
        }
        return [filled("toy.cir", values, folder=tmp_path, control=control)]

    said = demo.regeneration.model_dump() | {"top": 22e3, "bottom": 27e3, "pot": 220e3, "law": "linear"}
    build = demo.model_copy(update={"regeneration": Rheostat.model_construct(**said, kind="toy_rheostat")})
    yield build.model_copy(update={"bands": demo.bands[2:4]})


def test_onset_lies_where_the_closed_divider_has_the_same_screen_volts(
    bench: Bench, demo: Build, toy: Build
) -> None:
    """The tube begins at the screen volts it began at with the potentiometer; by Ohm's law they are at the
    knob's place.

    The two feeds differ in their stiffness only, of which onset knows nothing at small amplitudes.
    """
    cards = api.cards_for(toy)
    for band in toy.bands:
        dial = api.dial_frequencies(band)[1]
        known = onset.run(Receiver(demo, bench).at(band, dial))
        found = onset.run(Receiver(toy, bench).at(band, dial))
        assert found.status is Status.OSCILLATES and found.onset is not None and known.onset is not None
        # both searches stop within 3e-4 of T = 1; plate volts differ by what the supply sags
        assert found.onset.screen_v == pytest.approx(known.onset.screen_v, rel=1e-3)
        circuit = receiver_circuit(toy, cards, band=band, dial_hz=dial, rotation=found.onset.rotation)
        with bench.session(deck(circuit)) as session:
            point = {name: float(v.real[0]) for name, v in session.op().items()}
        # Kirchhoff at the screen: what comes through the rheostat goes to ground and into the tube
        screen = point[circuit.node(Place.SCREEN)]
        vary = circuit["rvary"].value
        assert vary == pytest.approx((1.0 - found.onset.rotation) * 220e3)
        through = circuit.current("rvary", point)
        assert through == pytest.approx((point["vreg"] - screen) / (22e3 + vary), rel=1e-6)
        assert circuit.into(circuit.sockets["detector"], "screen", point) == pytest.approx(
            through - screen / 27e3, rel=1e-6
        )


def test_check_takes_it(bench: Bench, toy: Build) -> None:
    report = api.check(toy, bench=bench)
    assert report.failed == ()
    assert all(band.middle.status is Status.OSCILLATES for band in report.bands)
    assert all(one.oscillation.amplitudes is not None for one in report.oscillation)
    working = next(p for p in report.operating_points if p.label == "working")
    assert working.setting.screen_v == pytest.approx(working.volts["detector screen"])
    assert {v.subject for v in report.verdicts} >= {band.name for band in toy.bands}


def test_the_envelope_agrees_with_the_loop_gain_on_it(bench: Bench, toy: Build) -> None:
    found = api.onset(toy, bands=[toy.bands[0].name], bench=bench).bands[0]
    band = toy.bands[0]
    search = onset.run(Receiver(toy, bench).at(band, math.sqrt(band.from_ * band.to)))
    assert found.oscillation.onset is not None and search.onset is not None
    # as for the shipped builds in tests/studies/test_amplitude.py
    assert found.oscillation.onset.screen_v == pytest.approx(search.onset.screen_v, rel=5e-5)
    assert found.stability and not found.stability[0].unstable


def test_the_exported_deck_is_that_of_the_toy(bench: Bench, toy: Build, tmp_path: Path) -> None:
    text = api.deck_text(toy, study="bias", rotation=0.4)
    assert "Rvary rheo scr 132000" in text and "Rpota" not in text
    cards, band = api.cards_for(toy), toy.bands[0]
    dial = api.dial_frequencies(band)[1]
    circuit = receiver_circuit(toy, cards, band=band, dial_hz=dial, rotation=0.4)
    batch = batch_run(deck(circuit).export([".op"]), tmp_path)
    with bench.session(deck(circuit)) as session:
        own = session.op()
    # the decks' reltol is 1e-6
    assert np.real(batch["v(scr)"][0]) == pytest.approx(float(own["scr"].real[0]), rel=1e-5)


def test_an_unknown_form_names_those_there_are(demo: Build) -> None:
    wrong = demo.regeneration.model_copy()
    object.__setattr__(wrong, "__dict__", {**wrong.__dict__, "kind": "lever"})
    build = demo.model_copy(update={"regeneration": wrong})
    with pytest.raises(KeyError, match="no form 'lever' of the control; there are: screen_potentiometer"):
        receiver_circuit(build, api.cards_for(demo), band=demo.bands[0], dial_hz=1.9e6, rotation=0.5).part(
            Role.TUNING
        )
