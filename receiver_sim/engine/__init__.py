"""ngspice through PySpice: decks in, plain arrays out. Knows no receiver.

Importing this loads neither PySpice nor ngspice; a Bench starts them in its workers.
"""

from receiver_sim.engine.bench import Bench
from receiver_sim.engine.deck import Deck
from receiver_sim.engine.errors import (
    DeckRefused,
    EngineError,
    EngineFailed,
    EngineLost,
    EngineMissing,
    EngineTimeout,
    NoSolution,
)
from receiver_sim.engine.rungs import Rung
from receiver_sim.engine.session import Session
from receiver_sim.engine.vectors import Vectors

__all__ = [
    "Bench",
    "Deck",
    "DeckRefused",
    "EngineError",
    "EngineFailed",
    "EngineLost",
    "EngineMissing",
    "EngineTimeout",
    "NoSolution",
    "Rung",
    "Session",
    "Vectors",
]
