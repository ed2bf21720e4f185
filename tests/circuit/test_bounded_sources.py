"""Every behavioural source evaluates at whatever volts Newton's method tries, and so do its derivatives.

Guards against runs that ended in 'out of range for ^', 'for *', or in a singular matrix with numbers beyond
any double: quotients by the volts of an inner node, powers and products of volts without bound.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Iterator

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.laws import law_subcircuit, subcircuit
from receiver_sim.circuit.mode import Mode
from receiver_sim.circuit.phases import Swings, phase_subcircuit
from receiver_sim.circuit.rectifier import rectifier_circuit
from receiver_sim.circuit.signals import Signal, signal_block
from receiver_sim.circuit.views import envelope
from receiver_sim.circuit.writer import text
from receiver_sim.engine import Bench, Deck
from receiver_sim.physics.tube_law import TubeLaw
from receiver_sim.schema.card import card_for, card_types
from receiver_sim.schema.supply import RectifierSupply
from tests.circuit.expressions import (
    Interval,
    Unbounded,
    behavioural,
    bounds,
    derivative,
    held,
    parse,
    variables,
)
from tests.polynomial import Polynomial, polynomial_balance, polynomial_envelope

WILD_V = 1e60
"""Volts taken for possible at any node. Bounded sources in a network of resistors ask for far less."""

GROWTH = 1e12
"""What a source may give, of that: it passes volts on in ohms and widths of a tenth of a volt."""

SWINGS = Swings(grid=0.93, plate=0.06, screen=0.07)
MODE = Mode(
    reference_hz=7e6, decay=1e5, offset_rad=2e3, residue=4e9 + 1e7j, grid=0.94 + 0j, cathode=0.06 + 0j,
    plate=0.01 + 0j, screen=0j, aerial=1e-5 + 0j, misfit=0.0, rest={"scr": 30.0, "plate": 90.0},
)  # fmt: skip
FOCUSED = TubeLaw(
    kind="pentode", perveance=1e-3, exponent=1.5, degree=1.5, contact=0.5, spread=0.2, foot=0.13,
    mu_plate=3000.0, mu_screen=18.0, division=4.0, knee=0.3, focus=0.3,
    grid_perveance=4e-4, grid_offset=-0.7,
)  # fmt: skip
VACUUM = {
    "kind": "rectifier",
    "secondary": {"volts": "210 V", "resistance": "240 ohm"},
    "circuit": "full_wave",
    "rectifier": {"kind": "vacuum", "drop": "22 V", "current": "70 mA"},
    "filter": [
        {"capacitor": "16 uF"},
        {"choke": "10 H", "choke_resistance": "320 ohm", "capacitor": "32 uF"},
    ],
    "bleeder": "56 kohm",
}


def _laws() -> Iterator[tuple[str, Callable[[], str]]]:
    for name in card_types():
        card = card_for(name)
        yield f"law of {name}", lambda c=card: subcircuit(c, "tube").text  # type: ignore[misc]
        if card.kind != "triode":
            yield f"triode law of {name}", lambda c=card: subcircuit(c, "tube", triode_connected=True).text  # type: ignore[misc]
            yield f"phases of {name}", lambda c=card: phase_subcircuit(c.law(), "tube", SWINGS).text  # type: ignore[misc]
    yield "law with focus", lambda: law_subcircuit(FOCUSED, "tube").text
    yield "phases with focus", lambda: phase_subcircuit(FOCUSED, "tube", SWINGS).text


def _decks() -> Iterator[tuple[str, Callable[[], str]]]:
    for name in api.shipped_builds():
        yield f"receiver {name}", lambda n=name: _receiver(n)  # type: ignore[misc]
        for kind in ("balance", "imposed", "time run"):
            yield f"{kind} {name}", lambda n=name, k=kind: _envelope(n, k)  # type: ignore[misc]
    supply = RectifierSupply.model_validate(VACUUM)
    yield (
        "rectifier",
        lambda: text(rectifier_circuit(supply, frequency=50.0, load_s=1e-4, start_v=200.0, mains=1.0)),
    )
    element = Polynomial(linear=1e-3, cubic=2e-4, quintic=-1e-5)
    yield "polynomial balance", lambda: text(polynomial_balance(element, MODE, guess=0.4))
    yield (
        "polynomial time run",
        lambda: text(polynomial_envelope(element, MODE, times=[0.0, 1e-3], controls=[0.1, 0.9])),
    )


def _settled(name: str):  # type: ignore[no-untyped-def]
    build = api.shipped_build(name)
    demo = api.shipped_build("demo")
    if build.supply.kind == "rectifier":  # its volts don't matter here, so it isn't run
        build = build.model_copy(update={"supply": demo.supply})
    # phones by measured impedance take seconds to fit, and have no behavioural source
    build = build.model_copy(update={"phones": demo.phones})
    return build, api.cards_for(build)


def _receiver(name: str) -> str:
    build, cards = _settled(name)
    band = build.bands[0]
    return text(receiver_circuit(build, cards, band=band, dial_hz=band.from_, rotation=0.4))


def _envelope(name: str, kind: str) -> str:
    build, cards = _settled(name)
    if kind == "balance":
        return text(envelope.balance_circuit(build, cards, MODE, guess=0.4))
    if kind == "imposed":
        return text(envelope.imposed_circuit(build, cards, MODE, amplitude=0.3, rotation=0.4))
    signal = signal_block(Signal(1e-4, 700.0, text="E"), 0, amperes_per_volt=1e-5, start=0.0, stop=0.1)
    circuit = envelope.envelope_circuit(build, cards, MODE, rotation=0.4, reference_hz=7e6)
    return text(circuit.plus(*signal.elements))


EVERY = dict(itertools.chain(_laws(), _decks()))
TRIED = [
    which
    for which in EVERY
    if not re.match("(triode law|law|phases) of", which) or which.split()[-1] in ("6SJ7", "6K7", "24A", "6J5")
]
"""In ngspice itself: one card of each form of the law, all else."""


def _box(deck: str) -> Callable[[str], Interval]:
    """Return the volts that are possible: any, but at nodes held by a source or fed by a table over time."""
    firm = held(deck) | {
        line.split()[2].lower()
        for line in deck.splitlines()
        if line[:1].lower() == "b" and "pwl(time" in line
    }
    return lambda name: (-1e4, 1e4) if name in firm else (-WILD_V, WILD_V)


@pytest.mark.parametrize("which", EVERY)
def test_no_source_overflows_whatever_the_iterate(which: str) -> None:
    """By interval arithmetic over all volts at once, value and derivatives; no sample could show that."""
    deck = EVERY[which]()
    sources = behavioural(deck)
    assert sources
    box = _box(deck)
    for source in sources:
        tree = source.tree
        low, high = bounds(tree, box)
        assert max(-low, high) <= GROWTH * WILD_V, f"{source.name} gives {low:.3g} to {high:.3g}"
        for name in sorted(variables(tree)):
            bounds(derivative(tree, name), box)


@pytest.mark.parametrize("which", TRIED)
def test_ngspice_takes_wild_volts_at_every_source(bench: Bench, which: str) -> None:
    """The same in ngspice: each source alone, the volts it reads forced from 1 mV to 1e30 V, op and a.c."""
    deck = EVERY[which]()
    sources, box = behavioural(deck), _box(deck)
    lines = [".options keepopinfo reltol=1e-3 itl1=20"]
    nodes: dict[str, str] = {}
    most: dict[str, float] = {}
    checks = []
    for k, source in enumerate(sources):
        text = source.expression
        for name in sorted(variables(source.tree)):
            node = nodes.setdefault(f"{k} {name}", f"n{len(nodes)}")
            text = _renamed(text, name, node)
            most[node] = min(box(name)[1], 1e30)
        # atan keeps what comes out below what the engine takes for absurd, and passes a NaN on
        lines += [
            f"B{k}x 0 o{k} I={text}",
            f"R{k}x o{k} 0 1",
            f"B{k}y 0 c{k} I=atan(V(o{k}))",
            f"R{k}y c{k} 0 1",
        ]
        checks.append(f"c{k}")
    lines += [f"V{node} {node} 0 dc 0 ac 1e-12" for node in nodes.values()]
    rng = np.random.default_rng(20261126)
    with bench.session(Deck(f"wild volts: {which}", "\n".join(lines))) as session:
        for spread in (3.0, 9.0, 15.0, 30.0) * 3:
            for node in nodes.values():
                volts = min(10 ** rng.uniform(-3, spread), most[node])
                session.alter(f"v{node}", float(rng.choice([-1, 0, 1]) * volts), "dc")
            point = session.op(vectors=checks)
            assert all(np.isfinite(point[name][0]) for name in checks)
            answer = session.ac(1e3, 1e3, 1, vectors=checks)
            assert all(np.isfinite(answer[name][0]) for name in checks)
        for node in nodes.values():
            session.alter(f"v{node}", most[node], "dc")
        session.op(vectors=checks)


def _renamed(expression: str, name: str, node: str) -> str:
    """Return an expression that reads the volts `name` (a node or a pair) at another node."""
    return re.sub(rf"V\(\s*{re.escape(name)}\s*\)", f"V({node})", expression, flags=re.IGNORECASE)


@pytest.mark.parametrize(
    "old", ["1/V(y)", "pwr(uramp(V(m)),1.5)", "V(p)/(V(p)+3*V(q)+0.1)", "V(d)*V(t)/V(a)"]
)
def test_the_check_sees_what_ended_runs(old: str) -> None:
    """Forms that the sources once had."""
    tree = parse(old)
    with pytest.raises((Unbounded, AssertionError)):
        low, high = bounds(tree, lambda _name: (-WILD_V, WILD_V))
        assert max(-low, high) <= GROWTH * WILD_V
