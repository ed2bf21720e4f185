"""Headphones and other loads: where they hang, and the network that stands for each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from receiver_sim.circuit.circuit import Block
from receiver_sim.circuit.limits import OPEN_OHM, SHORT_HENRY, SOCKET_OHM
from receiver_sim.circuit.registry import Site, filled, form
from receiver_sim.physics.load_network import Fit, LoadNetwork, fit_network, impedance
from receiver_sim.schema import Build
from receiver_sim.schema.phones import ImpedancePoint, Phones


def phone_node(build: Build, index: int) -> str:
    """Return the node at which phones number `index` are fed; the volts across them are its volts."""
    phone = build.phones[index]
    if phone.capacitor is not None:
        return f"phone{index}"
    return output_node(build, phone.at)


def output_node(build: Build, at: str) -> str:
    """Return the node of 'plate', 'volume', 'load' or a secondary; without an audio stage, 'plate' is the
    detector's load.
    """
    if at == "load":
        return "dphone"
    if build.audio is None:
        return "dout"
    if at in ("plate", "volume"):
        return {"plate": "aplate", "volume": "vwiper"}[at]
    output = build.audio.output
    names = [s.name for s in output.secondaries] if output.kind == "transformer" else []
    return f"sec{names.index(at)}"


@lru_cache(maxsize=64)
def _fitted(points: tuple[ImpedancePoint, ...]) -> Fit:
    return fit_network(
        [p.frequency for p in points],
        magnitude=[p.magnitude for p in points],
        phase_deg=[p.phase for p in points],
    )


def fit_of(phone: Phones) -> Fit | None:
    """Return the network fitted to a measured impedance with its largest error, None without measurement."""
    return _fitted(phone.impedance) if phone.impedance else None


def network_of(phone: Phones) -> LoadNetwork:
    """Return the network that stands for a load; an open socket is its insulation."""
    if phone.state == "open":
        return LoadNetwork(SOCKET_OHM)
    fit = fit_of(phone)
    if fit is None:
        return LoadNetwork(phone.resistance, phone.inductance, phone.capacitance)
    inner = fit.network
    return LoadNetwork(inner.resistance, inner.inductance, phone.capacitance, inner.tanks)


def load_impedance(build: Build, index: int, frequency: npt.ArrayLike) -> npt.NDArray[np.complex128]:
    """Return the impedance (ohm, complex) of phones number `index`, without capacitor and drain."""
    return impedance(network_of(build.phones[index]), frequency=frequency)


@form("phones", "loads")
def loads(site: Site) -> Sequence[Block]:
    """Return all phones and other loads."""
    build = site.build
    at_detector = [i for i, phone in enumerate(build.phones) if build.audio is None or phone.at == "load"]
    others = [i for i in range(len(build.phones)) if i not in at_detector]
    groups = ((at_detector, "receiver"), (others, "audio"))
    return [_hung(build, group, part_of) for group, part_of in groups if group]


def _hung(build: Build, group: Sequence[int], part_of: str) -> Block:
    """Return the phones of some numbers; those of the detector stay where only the detector is looked at."""
    values = {"phones": [_phone(build, index) for index in group]}
    outputs = {index: phone_node(build, index) for index in group}
    return replace(filled("phones.cir", values, outputs=outputs), part_of=part_of)


def _phone(build: Build, index: int) -> dict[str, Any]:
    phone = build.phones[index]
    network = network_of(phone)
    nodes = [f"phone{index}t{i}" for i in range(len(network.tanks))] + ["0"]
    return {
        "index": index,
        "at": output_node(build, phone.at),
        "node": phone_node(build, index),
        "capacitor": phone.capacitor,
        "drain": phone.drain,
        "resistance": network.resistance,
        "inductance": max(network.inductance, SHORT_HENRY),
        "capacitance": network.capacitance,
        "end": nodes[0],
        "tanks": [
            {
                "index": i,
                "left": nodes[i],
                "right": nodes[i + 1],
                "resistance": min(tank.resistance, OPEN_OHM),
                "inductance": max(tank.inductance, SHORT_HENRY),
                "capacitance": tank.capacitance,
            }
            for i, tank in enumerate(network.tanks)
        ],
    }
