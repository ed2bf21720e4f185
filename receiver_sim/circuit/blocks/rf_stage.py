"""The r.f. stage between aerial and tank: what is in its grid, its tube, what feeds its plate."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from receiver_sim.circuit.blocks.aerial import STATIC_DRAIN_OHM, aerial_blocks, aerial_impedance
from receiver_sim.circuit.blocks.coil_link import LEAST_FARAD, link_values
from receiver_sim.circuit.blocks.heater import heater_ends
from receiver_sim.circuit.blocks.output_capacitance import output_capacitances
from receiver_sim.circuit.circuit import Block
from receiver_sim.circuit.laws import subcircuit
from receiver_sim.circuit.limits import CONTACT_OHM, OPEN_OHM
from receiver_sim.circuit.registry import Site, filled, form
from receiver_sim.physics.tank import parallel_resistance, resonant_capacitance
from receiver_sim.physics.tube_law import input_conductance
from receiver_sim.schema.card import TubeCard
from receiver_sim.schema.rf_stage import RfStage

_BLOCK_RATIO = 20.0
"""As of the detector: a capacitor keeps the input loading, an r.f. effect, off d.c. and audio."""


def _stage(site: Site) -> tuple[RfStage, TubeCard]:
    stage = site.build.rf_stage
    assert stage is not None
    return stage, site.cards.of("r.f.")


def _feed(stage: RfStage) -> str:
    return "bplus" if stage.decoupling is None else "hfeed"


def _loading(card: TubeCard, dial_hz: float) -> dict[str, float]:
    loading = float(input_conductance(dial_hz, kc=card.input_loading.kc, kh=card.input_loading.kh))
    return {
        "rhgin": 1.0 / loading if loading > 0.0 else OPEN_OHM,
        "chgin": _BLOCK_RATIO * loading / (2.0 * math.pi * dial_hz),
    }


def _peaked(site: Site, dial_hz: float) -> dict[str, float]:
    """Return capacitor and loss of a tuned input for a dial frequency (Hz), peaked there by hand.

    What tube, strays and the aerial by its reactance add is left out of the capacitor; with a pentode the
    plate's reaction on the grid is nothing beside them.
    """
    stage, card = _stage(site)
    coil = site.band.rf_coil
    assert coil is not None  # a check of the schema
    w = 2.0 * math.pi * dial_hz
    fixed = card.capacitances.cgk + card.capacitances.cgp + stage.strays.grid + stage.strays.grid_plate
    heat = stage.heater_coupling
    fixed += heat.grid_a + heat.grid_b
    aerial = site.build.aerial
    if aerial is not None:
        impedance = aerial_impedance(aerial, dial_hz=dial_hz)
        if aerial.coupling is not None:
            impedance += 1.0 / (1j * w * aerial.coupling)
        fixed += float((1.0 / impedance).imag / w)
    total = float(resonant_capacitance(coil.inductance, frequency=dial_hz))
    loss = float(parallel_resistance(coil.inductance, frequency=dial_hz, q=coil.q))
    return {"chtune": max(total - fixed, 0.1e-12), "rhtank": loss}


@form("r.f. stage", "amplifier")
def amplifier(site: Site) -> Sequence[Block]:
    """Return the stage from its grid to the tank."""
    return [_input(site), _tube(site), _plate(site)]


def _input(site: Site) -> Block:
    stage, _ = _stage(site)
    kind = stage.input
    if kind.kind == "choke":
        values = {
            "inductance": kind.inductance,
            "resistance": max(kind.resistance, CONTACT_OHM),
            "capacitance": max(kind.capacitance, LEAST_FARAD),
        }
        return filled("rf_input_choke.cir", values)
    if kind.kind == "resistor":
        return filled("rf_input_resistor.cir", {"resistance": kind.resistance})
    coil, at_dial = site.band.rf_coil, _peaked(site, site.dial_hz)
    assert coil is not None
    return filled(
        "rf_input_tuned.cir",
        {"inductance": coil.inductance, "tank_loss": at_dial["rhtank"], "tuning": at_dial["chtune"]},
        says={"band": site.band_index},
        dial=lambda dial: _peaked(site, dial),
    )


def _tube(site: Site) -> Block:
    stage, card = _stage(site)
    plate = "link" if stage.plate.kind == "link" else "hplate"
    caps, parts, heat = card.capacitances, output_capacitances(card), stage.heater_coupling
    loading, decoupling = _loading(card, site.dial_hz), stage.decoupling
    values: dict[str, Any] = {
        "plate": plate,
        "feed": _feed(stage),
        "cgk": caps.cgk,
        "cgp": caps.cgp,
        "plate_cathode": parts.cathode,
        "plate_suppressor": parts.suppressor,
        "plate_screen": parts.screen,
        "plate_shell": parts.shell,
        "input_loading": loading["rhgin"],
        "input_block": loading["chgin"],
        "stray_grid": stage.strays.grid,
        "stray_plate": stage.strays.plate,
        "stray_grid_plate": stage.strays.grid_plate,
        "cathode_resistor": stage.cathode_resistor,
        "cathode_bypass": stage.cathode_bypass,
        "screen_resistor": max(stage.screen.resistor, CONTACT_OHM),
        "screen_bypass": stage.screen.bypass,
        "decoupling_resistor": None if decoupling is None else decoupling.resistor,
        "decoupling_capacitor": None if decoupling is None else decoupling.capacitor,
        **_gain(stage),
        **heater_ends(site.build, "rf"),
        "heater_grid_a": heat.grid_a,
        "heater_grid_b": heat.grid_b,
        "heater_cathode_a": heat.cathode_a,
        "heater_cathode_b": heat.cathode_b,
        "heater_leakage": heat.leakage,
    }
    return filled(
        "rf_stage.cir",
        values,
        says={"plate": plate},
        laws=(subcircuit(card, "rfs"),),
        dial=lambda dial: _loading(card, dial),
    )


def _gain(stage: RfStage) -> dict[str, Any]:
    """Return what the gain control puts into cathode or screen.

    In the cathode the wiper is at the cathode resistor, one end of the track at ground, the other free.
    """
    gain = stage.gain
    out = {"cathode_foot": "0", "gain_cathode": 0.0, "gain_rest": 0.0}
    out |= {"screen_feed": _feed(stage), "gain_upper": 0.0, "gain_lower": 0.0}
    if gain is None:
        return out
    most = max(gain.setting * gain.pot, CONTACT_OHM)
    rest = max((1.0 - gain.setting) * gain.pot, CONTACT_OHM)
    if gain.place == "cathode":
        return {**out, "cathode_foot": "hcathx", "gain_cathode": rest, "gain_rest": most}
    return {**out, "screen_feed": "hwip", "gain_upper": rest, "gain_lower": most}


def _plate(site: Site) -> Block:
    stage, _ = _stage(site)
    feed = {"feed": _feed(stage)}
    if stage.plate.kind == "link":
        return filled(
            "rf_plate_link.cir",
            {**feed, **link_values(site.band, dial_hz=site.dial_hz)},
            says={"band": site.band_index},
        )
    assert stage.coupling is not None  # a check of the schema
    if stage.plate.kind == "resistor":
        values = {**feed, "resistance": stage.plate.resistance, "coupling": stage.coupling}
        return filled("rf_plate_resistor.cir", values)
    values = {
        **feed,
        "inductance": stage.plate.inductance,
        "resistance": max(stage.plate.resistance, CONTACT_OHM),
        "capacitance": max(stage.plate.capacitance, LEAST_FARAD),
        "coupling": stage.coupling,
    }
    return filled("rf_plate_choke.cir", values)


def coupled_capacitance(site: Site, *, dial_hz: float) -> float:
    """Return the farads that the stage adds across the tank at the dial frequency (Hz), of first order."""
    stage, card = _stage(site)
    plate = card.capacitances.cpk + card.capacitances.cgp + stage.strays.plate
    if stage.plate.kind == "link":
        return float(link_values(site.band, dial_hz=dial_hz)["capacitance"])
    assert stage.coupling is not None
    w = 2.0 * np.pi * dial_hz
    if stage.plate.kind == "resistor":
        shunt = 1.0 / stage.plate.resistance + 1j * w * plate
    else:
        shunt = 1.0 / (1j * w * stage.plate.inductance) + 1j * w * (plate + stage.plate.capacitance)
    series = 1.0 / (1j * w * stage.coupling) + 1.0 / shunt
    return float((1.0 / series).imag / w)


@form("aerial", "r.f. stage")
def aerial_on_the_stage(site: Site) -> Sequence[Block]:
    """Return the aerial on the grid of the r.f. stage, straight or by its small capacitor."""
    aerial = site.build.aerial
    assert aerial is not None
    if aerial.coupling is None:
        return aerial_blocks(site, feed="hgrid", cold="0")
    coupler = {"coupling": aerial.coupling, "static_drain": STATIC_DRAIN_OHM}
    return [filled("aerial_to_stage.cir", coupler), *aerial_blocks(site, feed="ant", cold="0")]
