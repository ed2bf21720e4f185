"""Mains transformer, rectifier and filter as a circuit of their own, for runs over time; read at its
`taps`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from receiver_sim.circuit.circuit import Circuit, joined
from receiver_sim.circuit.limits import OPEN_OHM
from receiver_sim.circuit.registry import filled
from receiver_sim.schema.supply import RectifierSupply

OPTIONS = "reltol=1e-4 abstol=1e-9 vntol=1e-5 method=gear"
"""Gear: no numerical ringing when a rectifier lets go of a choke; the phenomena are slow against the step."""

_THERMAL_V = 0.025865
_IDEALITY = 1.8
"""Of silicon rectifiers of the 1 A kind; common practice, no source. `drop` sets the rest."""


def output_node(supply: RectifierSupply) -> str:
    """Return the node of the last capacitor."""
    return f"sec{len(supply.filter)}"


@dataclass(frozen=True)
class Taps:
    """Where a run of the supply is read: nodes and branches.

    rectified: behind the rectifiers; winding: the winding's end; ammeter: current of the first rectifier;
    sections: each capacitor's hot end; inside: between it and its series resistance; windings: the sources
    of the e.m.f.s.
    """

    rectified: str
    winding: str
    ammeter: str
    sections: tuple[str, ...]
    inside: tuple[str, ...]
    windings: tuple[str, ...]


def taps(supply: RectifierSupply) -> Taps:
    """Return where a run of the supply is read."""
    count = range(1, len(supply.filter) + 1)
    both = ("vwind", "vwindb") if supply.circuit == "full_wave" else ("vwind",)
    return Taps(
        rectified="rect",
        winding="wx",
        ammeter="vd1#branch",
        sections=tuple(f"sec{i}" for i in count),
        inside=tuple(f"esr{i}" for i in count),
        windings=both,
    )


def phases(supply: RectifierSupply) -> int:
    """Return how often a line period charges the filter: 1 or 2."""
    return 1 if supply.circuit == "half_wave" else 2


def rectifier_circuit(
    supply: RectifierSupply, *, frequency: float, load_s: float, start_v: float, mains: float = 1.0
) -> Circuit:
    """Return the circuit with a load of `load_s` siemens, the capacitors charged to `start_v` at the start.

    mains: line volts as a fraction of nominal.
    """
    diodes = {
        "full_wave": [("d1a", "rect"), ("d2a", "rect")],
        "half_wave": [("d1a", "rect")],
        "bridge": [("d1a", "rect"), ("d2a", "rect"), ("d3a", "wx"), ("d4a", "wb")],
    }[supply.circuit]
    vacuum = supply.rectifier.kind == "vacuum"
    drop, current = supply.rectifier.drop, supply.rectifier.current
    # half of the printed drop beyond the junction's 0.6 V counts as resistance
    bulk = max(0.5 * (drop - 0.6), 0.02) / current
    nodes = ["rect", *(f"sec{i + 1}" for i in range(len(supply.filter)))]
    sections = []
    for i, part in enumerate(supply.filter):
        resistance = part.choke_resistance if part.choke is not None else part.resistor or 0.0
        sections.append(
            {
                "index": i + 1,
                "left": nodes[i],
                "right": nodes[i + 1],
                "inductance": part.choke or 0.0,
                "resistance": max(resistance, 1e-3) if part.choke is not None else resistance,
                "capacitor": part.capacitor,
                "series_resistance": max(part.series_resistance, 1e-3),
                "start": float(start_v),
            }
        )
    values: dict[str, Any] = {
        "circuit": supply.circuit,
        "peak": math.sqrt(2.0) * supply.secondary.volts * mains,
        "frequency": frequency,
        "resistance": max(supply.secondary.resistance, 1e-2),
        "diodes": [{"index": i + 1, "anode": a, "cathode": k} for i, (a, k) in enumerate(diodes)],
        "vacuum": vacuum,
        "perveance": current / drop**1.5,
        "saturation": current / math.expm1((drop - bulk * current) / (_IDEALITY * _THERMAL_V)),
        "ideality": _IDEALITY,
        "diode_ohm": bulk,
        "sections": sections,
        "amps": load_s * start_v,
        "out": output_node(supply),
        "bleeder": supply.bleeder if supply.bleeder is not None else OPEN_OHM,
        "load_ms": 1e3 * load_s,
    }
    return joined("rectifier supply", [filled("supply_rectifier.cir", values)], options=OPTIONS)
