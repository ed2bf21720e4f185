"""The whole receiver as one deck: build and cards -> numbers -> text. RF and audio view share it.

Node names a study may read: `top` (hot end of the tank), `tap`, `grid`, `plate`, `scr`, `wiper`, `vreg`,
`bplus`, `dout` (after the RF filter), `phone0`... and `xdet.gk`, the control node of the detector's law;
those of the audio part are in `audio_stage`. Sources at rest: `vinj` (loop-gain probe), `vprobe`/`iprobe`
(double injection in the grid lead), `isig` (current into the tank), `vheater`, `vsupply`; `vfdet`, `vfreg`,
`vfctl` in series with the feeds of load, regulator and control, `vlpick` with the load's winding, `inreg`
across the regulator.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from receiver_sim.data import folder
from receiver_sim.engine import Deck
from receiver_sim.netlist.audio_stage import audio_parts, tube_parts
from receiver_sim.netlist.front_end import added_capacitance, front_end_parts, tank_loss
from receiver_sim.netlist.heater import heater_ends, heater_feeds
from receiver_sim.netlist.limits import CONTACT_OHM, OPEN_OHM, SOCKET_OHM
from receiver_sim.netlist.phones import phone_node
from receiver_sim.netlist.templates import render
from receiver_sim.netlist.tube import subcircuit
from receiver_sim.physics.potentiometer import wiper_fraction
from receiver_sim.physics.tank import resonant_capacitance
from receiver_sim.physics.tube_law import input_conductance
from receiver_sim.schema import Band, Build
from receiver_sim.schema.card import TubeCard
from receiver_sim.schema.coil_figures import coil_figures
from receiver_sim.schema.supply import SettledSupply, Supply

__all__ = [
    "CONTACT_OHM",
    "OPTIONS",
    "Cards",
    "audio_parts",
    "control_elements",
    "control_values",
    "detector_parts",
    "hum_pot_elements",
    "load_part",
    "phone_node",
    "receiver_deck",
    "regulator_values",
    "supply_parts",
    "tank_elements",
    "tube_parts",
]

_BLOCK_RATIO = 20.0
"""Input loading is an RF effect: a capacitor with 1/20 of its resistance keeps it off the grid leak's d.c.
and audio.
"""

OPTIONS = ".options keepopinfo reltol=1e-6 abstol=1e-14 vntol=1e-9 itl1=500"


@dataclass(frozen=True)
class Cards:
    """The cards of the tubes in the sockets of a build."""

    detector: TubeCard
    audio: TubeCard
    first: TubeCard | None = None


def control_elements(build: Build, rotation: float) -> dict[str, float]:
    """Return the values of the two parts of the regeneration pot at `rotation` (0..1)."""
    control = build.regeneration
    low = float(wiper_fraction(rotation, law=control.law, mid=control.mid))
    return {
        "rpota": max((1.0 - low) * control.pot, CONTACT_OHM),
        "rpotb": max(low * control.pot, CONTACT_OHM),
    }


def hum_pot_elements(build: Build, position: float) -> dict[str, float]:
    """Return the values of the two parts of the hum pot at `position` (0..1 from heater end a).

    A grounded centre tap is the pot at half way whatever the position; a grounded side leaves the other free.
    """
    pot = build.heater.hum_pot
    if build.heater.wiring == "one_side":
        return {"rhuma": SOCKET_OHM, "rhumb": CONTACT_OHM}
    if build.heater.wiring == "centre_tap":
        position = 0.5
    return {"rhuma": max(position * pot, CONTACT_OHM), "rhumb": max((1.0 - position) * pot, CONTACT_OHM)}


def tank_elements(build: Build, card: TubeCard, *, band: Band, dial_hz: float) -> dict[str, float]:
    """Return the values of the elements that follow the dial: tuning, tank loss, input loading.

    The tuning capacitor is what is left after the tube and the strays; a study trims it to the frequency.
    """
    coil = coil_figures(band.coil)
    ratio = coil.sections.tap_ratio
    tube = card.capacitances.cgk * (1.0 - ratio) ** 2 + card.capacitances.cgp
    fixed = tube + build.detector.strays.grid + build.detector.strays.cathode * ratio**2
    fixed += added_capacitance(build, band, dial_hz=dial_hz)
    total = float(resonant_capacitance(coil.inductance, frequency=dial_hz))
    loading = float(input_conductance(dial_hz, kc=card.input_loading.kc, kh=card.input_loading.kh))
    return {
        "ctune": max(total - fixed, 0.1e-12),
        "rtank": tank_loss(band, dial_hz=dial_hz),
        "rdin": 1.0 / loading if loading > 0.0 else OPEN_OHM,
        "cdin": _BLOCK_RATIO * loading / (2.0 * math.pi * dial_hz),
    }


def receiver_deck(
    build: Build,
    cards: Cards,
    *,
    band: Band,
    dial_hz: float,
    rotation: float,
    regulator_lit: bool = True,
    extra: str = "",
) -> Deck:
    """Return the deck of the whole receiver tuned to `dial_hz` with the control at `rotation` (0..1).

    regulator_lit: False for a gas regulator that has not struck. extra: further element lines of a study (its
    probes).
    """
    parts = [
        OPTIONS,
        subcircuit(cards.detector, "det"),
        *tube_parts(build, cards.audio, cards.first),
        *supply_parts(build, regulator_lit=regulator_lit),
        _control(build, rotation),
        *detector_parts(build, cards.detector, band=band, dial_hz=dial_hz),
        *audio_parts(build, cards.audio, cards.first),
    ]
    if extra:
        parts.append(extra)
    return Deck(title=f"receiver at {dial_hz / 1e6:.6g} MHz", text="\n".join(parts))


def _fill(name: str, values: Mapping[str, Any]) -> str:
    return render(folder("netlists"), name, values)


def supply_parts(build: Build, *, regulator_lit: bool = True) -> list[str]:
    """Return plate supply, heater and regulator as text."""
    supply, heater = build.supply, build.heater
    hum = hum_pot_elements(build, heater.hum_pot_position)
    parts = [
        _supply(supply),
        _fill(
            "heater.cir",
            {
                "dc_volts": heater.volts if heater.supply == "dc" else 0.0,
                "hum_a": hum["rhuma"],
                "hum_b": hum["rhumb"],
                "feeds": heater_feeds(build),
            },
        ),
    ]
    if build.regulator is not None:
        if regulator_lit:
            parts.append(_fill("regulator_shunt.cir", regulator_values(build)))
        else:
            parts.append(_fill("regulator_unlit.cir", {"dropper": build.regulator.dropper}))
    return parts


def _supply(supply: Supply) -> str:
    values: dict[str, Any] = {
        "volts": supply.volts,
        "resistance": max(supply.resistance, CONTACT_OHM),
        "bleeder": supply.bleeder,
    }
    if not isinstance(supply, SettledSupply):
        return _fill("supply_dc.cir", values)
    nodes = [*(f"psec{i}" for i in range(len(supply.sections))), "bplus"]
    sections = [
        {
            "index": i + 1,
            "left": nodes[i],
            "right": nodes[i + 1],
            "resistance": max(section.resistance, CONTACT_OHM),
            "inductance": section.inductance,
            "capacitor": section.capacitor,
            "series_resistance": section.series_resistance,
        }
        for i, section in enumerate(supply.sections)
    ]
    return _fill("supply_filtered.cir", {**values, "sections": sections})


def control_values(build: Build) -> dict[str, Any]:
    """Return the values of the control that its setting leaves alone; `feed`: the node it hangs on."""
    control = build.regeneration
    return {
        "feed": "bplus" if build.regulator is None else "vreg",
        "top": max(control.top, CONTACT_OHM),
        "bottom": max(control.bottom, CONTACT_OHM),
        "stopper": max(control.stopper, CONTACT_OHM),
        "bypass": control.bypass,
    }


def _control(build: Build, rotation: float) -> str:
    pot = control_elements(build, rotation)
    return _fill("control.cir", {**control_values(build), "pot_a": pot["rpota"], "pot_b": pot["rpotb"]})


def regulator_values(build: Build) -> dict[str, float]:
    """Return breakdown and series resistance so that volts and slope at the printed current are those
    printed.

    ngspice's junction in breakdown has the slope n k T/(q I) = 25.9 mV / I; the rest of the printed impedance
    is RS.
    """
    regulator = build.regulator
    assert regulator is not None
    thermal = 0.025865 / regulator.current  # kT/q at 300.15 K, ngspice's default temperature
    series = max(regulator.held_impedance - thermal, 1e-3)
    return {
        "dropper": regulator.dropper,
        "current": regulator.current,
        "slope": series,
        "breakdown": regulator.held_volts - regulator.current * series,
    }


def detector_parts(build: Build, card: TubeCard, *, band: Band, dial_hz: float) -> list[str]:
    """Return tank, detector, its RF filter and load, and the aerial as text."""
    det = build.detector
    tank = tank_elements(build, card, band=band, dial_hz=dial_hz)
    filt, heat = det.rf_filter, det.heater_coupling
    values = {
        "tuning": tank["ctune"],
        "grid_capacitor": det.grid_capacitor,
        "leak_to": {"tank": "top", "cathode": "tap", "ground": "0"}[det.grid_leak_to],
        "grid_leak": det.grid_leak,
        "cgk": card.capacitances.cgk,
        "cgp": card.capacitances.cgp,
        "cpk": card.capacitances.cpk,
        "input_loading": tank["rdin"],
        "input_block": tank["cdin"],
        "stray_grid": det.strays.grid,
        "stray_cathode": det.strays.cathode,
        "stray_plate": det.strays.plate,
        **heater_ends(build, "detector"),
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
    front = front_end_parts(build, band=band, dial_hz=dial_hz, loss=tank["rtank"])
    return [*front, _fill("detector.cir", values), load_part(build)]


def load_part(build: Build) -> str:
    """Return the audio load in the detector's plate lead as text."""
    load = build.detector.load
    if load.kind == "resistor":
        return _fill("load_resistor.cir", {"resistance": max(load.resistance, CONTACT_OHM)})
    if load.kind == "choke":
        return _fill(
            "load_choke.cir",
            {
                "inductance": load.inductance,
                "resistance": max(load.resistance, CONTACT_OHM),
                "capacitance": load.capacitance,
                "shunt": load.shunt,
            },
        )
    return _fill(
        "load_transformer.cir",
        {
            "primary_inductance": load.primary_inductance,
            "primary_resistance": max(load.primary_resistance, CONTACT_OHM),
            "capacitance": load.capacitance,
            "shunt": load.shunt,
            "secondary_inductance": load.primary_inductance * load.ratio**2,
            "secondary_resistance": max(load.secondary_resistance, CONTACT_OHM),
            "coupling": load.coupling,
        },
    )
