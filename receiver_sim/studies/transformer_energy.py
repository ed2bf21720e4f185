"""Does the energy at the output transformer add up? (audio view, 1 kHz)"""

from __future__ import annotations

from receiver_sim.engine import Bench, Deck, Vectors
from receiver_sim.netlist.audio_stage import feed_node
from receiver_sim.netlist.audio_view import audio_deck
from receiver_sim.netlist.phones import load_impedance, output_node, phone_node
from receiver_sim.netlist.receiver import Cards
from receiver_sim.results.audio import TransformerBalance
from receiver_sim.schema import Build

TONE_HZ, INPUT_V = 1000.0, 1e-3


def plan(build: Build, cards: Cards, *, rotation: float) -> Deck:
    """Return the deck: the audio view at that setting of the control."""
    return audio_deck(build, cards, rotation=rotation)


def reduce(build: Build, answer: Vectors) -> TransformerBalance:
    """Turn the phasors (r.m.s.) of one frequency into powers."""
    output = build.audio.output
    assert output.kind == "transformer"
    feed = feed_node(build.audio, "a")

    def at(node: str) -> complex:
        return complex(answer[node][0])

    current = at("vopick#branch")
    into = ((at(feed) - at("aplate")) * current.conjugate()).real
    # winding resistances: the primary's, and those of all secondaries
    windings = abs(current) ** 2 * output.primary_resistance
    for i, secondary in enumerate(output.secondaries):
        drop = at(f"sec{i}x") - at(f"sec{i}")
        windings += abs(drop) ** 2 / secondary.resistance if secondary.resistance > 0.0 else 0.0
    loads = 0.0
    for i, phone in enumerate(build.phones):
        if not output_node(build, phone.at).startswith("sec"):
            continue
        volts = abs(at(phone_node(build, i))) ** 2
        loads += volts * (1.0 / complex(load_impedance(build, i, TONE_HZ))).real
        loads += volts / phone.drain if phone.drain is not None else 0.0
    return TransformerBalance(into, loads, windings, abs(into - loads - windings) / abs(into))


def run(build: Build, cards: Cards, bench: Bench, *, rotation: float) -> TransformerBalance | None:
    """Return the balance; None without an output transformer. Raises EngineError."""
    if build.audio.output.kind != "transformer":
        return None
    with bench.session(plan(build, cards, rotation=rotation)) as session:
        session.alter("vinj", INPUT_V, "acmag")
        return reduce(build, session.ac(TONE_HZ, TONE_HZ, 1))
