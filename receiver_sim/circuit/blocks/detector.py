"""The oscillating detector: its tube between tank and load, grid leak, RF filter in the plate lead."""

from __future__ import annotations

import math
from collections.abc import Sequence

from receiver_sim.circuit.blocks.aerial import added_capacitance
from receiver_sim.circuit.blocks.heater import heater_ends
from receiver_sim.circuit.blocks.output_capacitance import output_capacitances, suppressor_has_a_pin
from receiver_sim.circuit.blocks.rf_stage import coupled_capacitance
from receiver_sim.circuit.circuit import Block
from receiver_sim.circuit.element import GROUND
from receiver_sim.circuit.laws import subcircuit
from receiver_sim.circuit.limits import CONTACT_OHM, OPEN_OHM
from receiver_sim.circuit.registry import Site, filled, form
from receiver_sim.physics.tank import resonant_capacitance
from receiver_sim.physics.tube_law import input_conductance
from receiver_sim.schema.card import TubeCard
from receiver_sim.schema.coil_figures import coil_figures

_BLOCK_RATIO = 20.0
"""Input loading is an RF effect: a capacitor with 1/20 of its resistance keeps it off the grid leak's d.c.
and audio.
"""


def _dial(site: Site, dial_hz: float) -> dict[str, float]:
    """Return tuning and input loading for a dial frequency (Hz), by name of the element.

    The tuning capacitor is what is left after the tube and the strays; a study trims it to the frequency.
    """
    build, card, band = site.build, site.cards.detector, site.band
    coil = coil_figures(band.coil)
    ratio = coil.sections.tap_ratio
    tube = card.capacitances.cgk * (1.0 - ratio) ** 2 + card.capacitances.cgp
    fixed = tube + build.detector.strays.grid + build.detector.strays.cathode * ratio**2
    fixed += added_capacitance(build, band, dial_hz=dial_hz)
    if build.rf_stage is not None:
        fixed += coupled_capacitance(site, dial_hz=dial_hz)
    total = float(resonant_capacitance(coil.inductance, frequency=dial_hz))
    loading = float(input_conductance(dial_hz, kc=card.input_loading.kc, kh=card.input_loading.kh))
    return {
        "ctune": max(total - fixed, 0.1e-12),
        "rdin": 1.0 / loading if loading > 0.0 else OPEN_OHM,
        "cdin": _BLOCK_RATIO * loading / (2.0 * math.pi * dial_hz),
    }


def _plate_capacitances(card: TubeCard) -> dict[str, float]:
    """Return the output capacitance by what it hangs on."""
    parts = output_capacitances(card)
    return {
        "plate_cathode": parts.cathode,
        "plate_suppressor": parts.suppressor,
        "plate_screen": parts.screen,
        "plate_shell": parts.shell,
    }


def _wired(site: Site, cathode: str) -> dict[str, str]:
    """Return the nodes that suppressor and shell are wired to; one joined inside the tube stays there."""
    det = site.build.detector
    outside = suppressor_has_a_pin(site.cards.detector) and det.suppressor == "ground"
    return {
        "suppressor": GROUND if outside else cathode,
        "shell": GROUND if det.shell == "ground" else cathode,
    }


@form("detector", "tapped_cathode")
def tapped_cathode(site: Site) -> Sequence[Block]:
    """Return a tube whose cathode is on a tap of the tank's coil."""
    return _detector(site, cathode="tap", cathode_is="tap of the coil", plate_lead="plate")


@form("detector", "tickler")
def tickler(site: Site) -> Sequence[Block]:
    """Return a tube with its cathode on ground and a tickler between its plate and the RF filter."""
    return _detector(site, cathode="cath", cathode_is="cathode", plate_lead="tick")


def _detector(site: Site, *, cathode: str, cathode_is: str, plate_lead: str) -> list[Block]:
    """Return the detector with its cathode on that node and its RF filter on the node `plate_lead`."""
    det, card = site.build.detector, site.cards.detector
    at_dial = _dial(site, site.dial_hz)
    filt, heat, wired = det.rf_filter, det.heater_coupling, _wired(site, cathode)
    values = {
        "cathode": cathode,
        "plate_lead": plate_lead,
        "own_screen": int(card.kind != "triode"),
        "tuning": at_dial["ctune"],
        "grid_capacitor": det.grid_capacitor,
        "leak_to": {"tank": "top", "cathode": cathode, "ground": "0"}[det.grid_leak_to],
        "grid_leak": det.grid_leak,
        "cgk": card.capacitances.cgk,
        "cgp": card.capacitances.cgp,
        **_plate_capacitances(card),
        **wired,
        "input_loading": at_dial["rdin"],
        "input_block": at_dial["cdin"],
        "stray_grid": det.strays.grid,
        "stray_cathode": det.strays.cathode,
        "stray_plate": det.strays.plate,
        **heater_ends(site.build, "detector"),
        "heater_grid_a": heat.grid_a,
        "heater_grid_b": heat.grid_b,
        "heater_cathode_a": heat.cathode_a,
        "heater_cathode_b": heat.cathode_b,
        "heater_leakage": heat.leakage,
        "plate_capacitor": filt.plate_capacitor,
        "choke": filt.choke,
        "choke_resistance": max(filt.choke_resistance, CONTACT_OHM),
        "choke_capacitance": filt.choke_capacitance,
        "output_capacitor": filt.output_capacitor,
    }
    return [
        filled(
            "detector.cir",
            values,
            says={"cathode": cathode, "cathode_is": cathode_is, **wired},
            laws=(subcircuit(card, "det"),),
            dial=lambda dial: _dial(site, dial),
        )
    ]
