"""Netlists for stock ngspice in batch mode."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from receiver_sim.builds import band_named, opened
from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.circuit.writer import deck
from receiver_sim.engine import Bench, Deck
from receiver_sim.errors import WrongValue
from receiver_sim.receiver import cards_for, settle
from receiver_sim.results import cautions
from receiver_sim.schema import Build


def deck_text(
    build: Build,
    *,
    study: str,
    band: str | None = None,
    dial_hz: float | None = None,
    rotation: float = 0.5,
    tuning: float | None = None,
    bench: Bench | None = None,
) -> str:
    """Return a netlist with its analysis that stock ngspice runs in batch mode (`ngspice -b FILE`).

    study: 'loop' (control node of the detector for 1 V injected: T = (V - 1)/V), 'bias', 'audio' (outputs for
    1 V at the detector's grid) or 'hum' (outputs at the line frequency). dial_hz: middle of the band if None;
    tuning: capacitor (F) instead of the computed one. Raises BuildFaults, UnknownName for an unknown band,
    ValueError for an unknown study.
    """
    cards, one = cards_for(build), band_named(build, band)
    if build.supply.kind == "rectifier":
        with opened(bench) as open_bench:
            build = settle(build, open_bench)
    dial = one.middle_hz if dial_hz is None else dial_hz
    circuit = receiver_circuit(build, cards, band=one, dial_hz=dial, rotation=rotation)
    if tuning is not None:
        circuit = circuit.replace({circuit.part(Role.TUNING): tuning})
    node = circuit.node(Place.CONTROL_NODE)
    half = dial / (4.0 * one.coil.q)
    hum_volts = build.heater.volts if build.heater.supply == "ac" else 0.0
    mains = build.mains.frequency
    outputs = [f"vm({one})" for one in circuit.outputs]
    studies: dict[str, tuple[dict[Role, float], list[str], list[str]]] = {
        "loop": (
            {Role.LOOP_GAIN: 1.0},
            [f".ac lin 3 {dial - half:.9g} {dial + half:.9g}"],
            [f"vr({node})", f"vi({node})"],
        ),
        "bias": ({}, [".op"], _pins(circuit)),
        "audio": ({Role.LOOP_GAIN: 1.0}, [".ac dec 30 10 100k"], outputs),
        "hum": (
            {Role.HEATER: hum_volts},
            [f".ac lin 1 {mains:.9g} {mains:.9g}"],
            outputs,
        ),
    }
    if study not in studies:
        raise WrongValue(f"no study '{study}'; there are: {', '.join(studies)}")
    ac, lines, prints = studies[study]
    driven = circuit.driven({circuit.part(role): volts for role, volts in ac.items()})
    return export(deck(driven), lines, prints)


def _pins(circuit: Circuit) -> list[str]:
    """Return the nodes at the pins of the sockets, each once, and the plate supply."""
    pins = [node for socket in circuit.sockets.values() for node in socket.pins.values() if node != "0"]
    return list(dict.fromkeys([*pins, circuit.node(Place.SUPPLY)]))


def export(written: Deck, lines: Sequence[str], prints: Sequence[str]) -> str:
    """Return a deck with analyses and printed vectors as batch ngspice takes them, cautions on top as
    comments.
    """
    text = written.export(lines, prints)
    title, _, rest = text.partition("\n")
    folded = [line for caution in cautions.PLATE_SUPPLY for line in textwrap.wrap(f"! {caution}", 98)]
    notes = "\n".join(f"* {line}" for line in folded)
    return f"{title}\n{notes}\n{rest}"
