"""The whole receiver as one deck: build and cards -> numbers -> text. RF and audio view share it.

Node names a study may read: `top` (hot end of the tank), `tap`, `grid`, `plate`, `scr`, `wiper`, `vreg`,
`bplus`, `dout` (after the RF filter), `agrid`, `acath`, `aplate`, `phone0`... and `xdet.gk`, the control node
of the detector's law. Sources at rest: `vinj` (loop-gain probe), `vprobe`/`iprobe` (double injection in the
grid lead), `isig` (current into the tank), `vheater`, `vsupply`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from receiver_sim.data import folder
from receiver_sim.engine import Deck
from receiver_sim.netlist.templates import render
from receiver_sim.netlist.tube import subcircuit
from receiver_sim.physics.potentiometer import wiper_fraction
from receiver_sim.physics.tank import parallel_resistance, resonant_capacitance, tap_ratio, tapped_sections
from receiver_sim.physics.tube_law import input_conductance
from receiver_sim.schema import Band, Build
from receiver_sim.schema.card import TubeCard

CONTACT_OHM = 0.1
"""Resistance of a wiper or of a link at the end of its travel; keeps a deck free of zero-ohm resistors."""

STATIC_DRAIN_OHM = 100e6
"""Drain of an aerial that no resistor grounds: ngspice needs a d.c. path, and so does a real aerial in a
thunderstorm.
"""

_BLOCK_RATIO = 20.0
"""Input loading is an RF effect: a capacitor with 1/20 of its resistance keeps it off the grid leak's d.c.
and audio.
"""

_OPEN_OHM = 1e12
_SHORT_HENRY = 1e-9
"""Stands for an inductance of zero; at 100 kHz it is below a milliohm."""

OPTIONS = ".options keepopinfo reltol=1e-6 abstol=1e-14 vntol=1e-9 itl1=500"


@dataclass(frozen=True)
class Cards:
    """The cards of the tubes in the sockets of a build."""

    detector: TubeCard
    audio: TubeCard


def control_elements(build: Build, rotation: float) -> dict[str, float]:
    """Return the values of the two parts of the regeneration pot at `rotation` (0..1)."""
    control = build.regeneration
    low = float(wiper_fraction(rotation, law=control.law, mid=control.mid))
    return {
        "rpota": max((1.0 - low) * control.pot, CONTACT_OHM),
        "rpotb": max(low * control.pot, CONTACT_OHM),
    }


def hum_pot_elements(build: Build, position: float) -> dict[str, float]:
    """Return the values of the two parts of the hum pot at `position` (0..1 from heater end a)."""
    pot = build.heater.hum_pot
    return {"rhuma": max(position * pot, CONTACT_OHM), "rhumb": max((1.0 - position) * pot, CONTACT_OHM)}


def tank_elements(build: Build, card: TubeCard, *, band: Band, dial_hz: float) -> dict[str, float]:
    """Return the values of the elements that follow the dial: tuning, tank loss, input loading.

    The tuning capacitor is what is left after the tube and the strays; a study trims it to the frequency.
    """
    coil = band.coil
    ratio = float(tap_ratio(coil.inductance, turns_fraction=coil.tap, coupling=coil.coupling))
    tube = card.capacitances.cgk * (1.0 - ratio) ** 2 + card.capacitances.cgp
    fixed = tube + build.detector.strays.grid + build.detector.strays.cathode * ratio**2
    if build.aerial is not None:
        fixed += build.aerial.coupling
    total = float(resonant_capacitance(coil.inductance, frequency=dial_hz))
    loading = float(input_conductance(dial_hz, kc=card.input_loading.kc, kh=card.input_loading.kh))
    return {
        "ctune": max(total - fixed, 0.1e-12),
        "rtank": float(parallel_resistance(coil.inductance, frequency=dial_hz, q=coil.q)),
        "rdin": 1.0 / loading if loading > 0.0 else _OPEN_OHM,
        "cdin": _BLOCK_RATIO * loading / (2.0 * math.pi * dial_hz),
    }


def phone_node(build: Build, index: int) -> str:
    """Return the node at which phones number `index` are fed; the volts across them are its volts."""
    phone = build.phones[index]
    if phone.capacitor is not None:
        return f"phone{index}"
    return _output_node(build, phone.at)


def _output_node(build: Build, at: str) -> str:
    if at == "plate":
        return "aplate"
    output = build.audio.output
    names = [s.name for s in output.secondaries] if output.kind == "transformer" else []
    return f"sec{names.index(at)}"


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
        subcircuit(cards.audio, "aud"),
        *supply_parts(build, regulator_lit=regulator_lit),
        _control(build, rotation),
        *detector_parts(build, cards.detector, band=band, dial_hz=dial_hz),
        *audio_parts(build, cards.audio),
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
        _fill(
            "supply_dc.cir",
            {
                "volts": supply.volts,
                "resistance": max(supply.resistance, CONTACT_OHM),
                "bleeder": supply.bleeder,
            },
        ),
        _fill(
            "heater.cir",
            {
                "dc_volts": heater.volts if heater.supply == "dc" else 0.0,
                "hum_a": hum["rhuma"],
                "hum_b": hum["rhumb"],
            },
        ),
    ]
    if build.regulator is not None:
        if regulator_lit:
            parts.append(_fill("regulator_shunt.cir", regulator_values(build)))
        else:
            parts.append(_fill("regulator_unlit.cir", {"dropper": build.regulator.dropper}))
    return parts


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
    series = max(regulator.impedance - thermal, 1e-3)
    return {
        "dropper": regulator.dropper,
        "current": regulator.current,
        "slope": series,
        "breakdown": regulator.volts - regulator.current * series,
    }


def detector_parts(build: Build, card: TubeCard, *, band: Band, dial_hz: float) -> list[str]:
    """Return tank, detector, its RF filter and load, and the aerial as text."""
    coil, det = band.coil, build.detector
    upper, lower, _ = tapped_sections(coil.inductance, turns_fraction=coil.tap, coupling=coil.coupling)
    tank = tank_elements(build, card, band=band, dial_hz=dial_hz)
    filt, heat = det.rf_filter, det.heater_coupling
    values = {
        "upper": float(upper),
        "lower": float(lower),
        "coupling": coil.coupling,
        "tank_loss": tank["rtank"],
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
    parts = [_fill("detector.cir", values), load_part(build)]
    if build.aerial is not None:
        aerial = build.aerial
        parts.append(
            _fill(
                "aerial_capacitor.cir",
                {
                    "coupling": aerial.coupling,
                    "static_drain": STATIC_DRAIN_OHM,
                    "resistance": aerial.resistance,
                    "inductance": max(aerial.inductance, _SHORT_HENRY),
                    "capacitance": aerial.capacitance,
                },
            )
        )
    return parts


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


def audio_parts(build: Build, card: TubeCard) -> list[str]:
    """Return the audio stage, its output and what hangs on it as text."""
    audio = build.audio
    source = "dsec" if build.detector.load.kind == "transformer" else "dout"
    low = float(wiper_fraction(audio.volume.setting, law=audio.volume.law, mid=audio.volume.mid))
    heat, decoupling = audio.heater_coupling, audio.decoupling
    values: dict[str, Any] = {
        "coupling": audio.coupling,
        "source": source,
        "volume_top": "vtop" if audio.coupling is not None else source,
        "volume_a": max((1.0 - low) * audio.volume.pot, CONTACT_OHM),
        "volume_b": max(low * audio.volume.pot, CONTACT_OHM),
        "grid_stopper": max(audio.grid_stopper, CONTACT_OHM),
        "cgk": card.capacitances.cgk,
        "cgp": card.capacitances.cgp,
        "cpk": card.capacitances.cpk,
        "cathode_resistor": audio.cathode_resistor,
        "cathode_bypass": audio.cathode_bypass,
        "decoupling_resistor": None if decoupling is None else decoupling.resistor,
        "decoupling_capacitor": None if decoupling is None else decoupling.capacitor,
        "heater_grid_a": heat.grid_a,
        "heater_grid_b": heat.grid_b,
        "heater_cathode_a": heat.cathode_a,
        "heater_cathode_b": heat.cathode_b,
        "heater_leakage": heat.leakage,
    }
    feed = "bplus" if decoupling is None else "baud"
    return [_fill("audio_triode.cir", values), _output(build, feed), _phones(build)]


def _output(build: Build, feed: str) -> str:
    output = build.audio.output
    if output.kind == "choke":
        return _fill(
            "output_choke.cir",
            {
                "feed": feed,
                "inductance": output.inductance,
                "resistance": max(output.resistance, CONTACT_OHM),
                "capacitance": output.capacitance,
            },
        )
    return _fill(
        "output_transformer.cir",
        {
            "feed": feed,
            "primary_resistance": max(output.primary_resistance, CONTACT_OHM),
            "leakage": max(output.leakage, _SHORT_HENRY),
            "primary_inductance": output.primary_inductance,
            "primary_capacitance": output.primary_capacitance,
            "secondaries": [
                {"ratio": s.ratio, "resistance": max(s.resistance, CONTACT_OHM)} for s in output.secondaries
            ],
        },
    )


def _phones(build: Build) -> str:
    phones = [
        {
            "index": index,
            "at": _output_node(build, phone.at),
            "node": phone_node(build, index),
            "capacitor": phone.capacitor,
            "resistance": phone.resistance,
            "inductance": max(phone.inductance, _SHORT_HENRY),
        }
        for index, phone in enumerate(build.phones)
    ]
    return _fill("phones.cir", {"phones": phones})
