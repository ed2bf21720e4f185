"""Decks of circuits, as tests load them: by the names of elements and nodes that the templates have."""

from __future__ import annotations

from typing import Any

from receiver_sim.circuit.assemble import Cards, receiver_circuit, regeneration_control
from receiver_sim.circuit.laws import law_subcircuit, subcircuit
from receiver_sim.circuit.mode import Mode
from receiver_sim.circuit.views import envelope
from receiver_sim.circuit.views.audio import audio_circuit
from receiver_sim.circuit.writer import deck
from receiver_sim.engine import Deck, Session
from receiver_sim.measure.loaded import Loaded
from receiver_sim.measure.tube_jig import jig_circuit
from receiver_sim.physics.tube_law import TubeLaw
from receiver_sim.schema import Band, Build
from receiver_sim.schema.card import TubeCard


def receiver_deck(
    build: Build, cards: Cards, *, band: Band, dial_hz: float, rotation: float, extra: str = ""
) -> Deck:
    """The receiver, with further element lines of a test."""
    made = deck(receiver_circuit(build, cards, band=band, dial_hz=dial_hz, rotation=rotation))
    return Deck(made.title, f"{made.text}\n{extra}") if extra else made


def receiver_on(session: Session, build: Build, cards: Cards, *, band: Band, dial_hz: float) -> Loaded:
    """A session that holds a receiver's deck, to be asked by roles."""
    return Loaded(session, receiver_circuit(build, cards, band=band, dial_hz=dial_hz, rotation=0.5))


def control_elements(build: Build, cards: Cards, rotation: float) -> dict[str, float]:
    """The values of the parts of the regeneration control."""
    return regeneration_control(build, cards).at(rotation)


def tank_elements(build: Build, cards: Cards, *, band: Band, dial_hz: float) -> dict[str, float]:
    """The values of all that follows the dial."""
    circuit = receiver_circuit(build, cards, band=band, dial_hz=dial_hz, rotation=0.5)
    return circuit.dialled(dial_hz)


def audio_deck(build: Build, cards: Cards, *, rotation: float) -> Deck:
    """The audio view."""
    return deck(audio_circuit(build, cards, rotation=rotation))


def imposed_deck(build: Build, cards: Cards, mode: Mode, *, amplitude: float, rotation: float) -> Deck:
    """The envelope view with its amplitude imposed."""
    return deck(envelope.imposed_circuit(build, cards, mode, amplitude=amplitude, rotation=rotation))


def envelope_deck(build: Build, cards: Cards, mode: Mode, **options: Any) -> Deck:
    """The envelope view for runs over time."""
    return deck(envelope.envelope_circuit(build, cards, mode, **options))


def jig_deck(card: TubeCard, connection: str) -> Deck:
    """One tube on stiff supplies."""
    return deck(jig_circuit(card, connection))


def law_text(card: TubeCard, name: str, *, triode_connected: bool = False) -> str:
    """The subcircuit of a card's law."""
    return subcircuit(card, name, triode_connected=triode_connected).text


def text_of(law: TubeLaw, name: str) -> str:
    """The subcircuit of a law."""
    return law_subcircuit(law, name).text
