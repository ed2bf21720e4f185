"""A circuit that continues from where a run over time ended."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.element import Element, Model

State = Mapping[str, npt.NDArray[np.float64]]
"""Courses of a run over time, by node and branch."""


def split_diodes(circuit: Circuit) -> Circuit:
    """Return the circuit with the series resistance of each diode as an element of its own.

    ngspice keeps the node between junction and resistance to itself, where no initial volts reach it.
    """
    series = {m.name: m.parameters["RS"] for m in circuit.models if m.kind == "D" and "RS" in m.parameters}
    elements: list[Element] = []
    for element in circuit.elements:
        if element.kind == "d" and element.tail in series:
            inner = f"{element.name}x"
            elements.append(element._replace(nodes=(element.nodes[0], inner)))
            ohm = series[element.tail]
            elements.append(Element(f"r{inner}", (inner, element.nodes[1]), ohm, about=element.about))
        else:
            elements.append(element)
    models = tuple(
        Model(m.name, m.kind, {p: v for p, v in m.parameters.items() if p != "RS"}) if m.name in series else m
        for m in circuit.models
    )
    return replace(circuit, elements=tuple(elements), models=models)


def continued(circuit: Circuit, state: State) -> Circuit:
    """Return the circuit with the end of an earlier run as its initial state: volts of nodes, current of
    coils.
    """
    elements: list[Element] = []
    for element in circuit.elements:
        current = f"{element.name}#branch"
        if element.kind == "l" and current in state:
            elements.append(element._replace(tail=f"ic={float(state[current][-1]):.12g}"))
        elif element.kind == "d":
            junction = _volts(state, element.nodes[0]) - _volts(state, element.nodes[1])
            elements.append(element._replace(tail=f"{element.tail} ic={junction:.12g}"))
        else:
            elements.append(element)
    volts = {name: float(v[-1]) for name, v in state.items() if "#" not in name and name != "time"}
    return replace(circuit, elements=tuple(elements), start={}, initial=volts)


def _volts(state: State, node: str) -> float:
    return 0.0 if node == "0" else float(state[node][-1])
