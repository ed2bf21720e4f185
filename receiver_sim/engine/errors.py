"""The engine's errors. Each says what happened, where the evidence lies and what to do about it."""

from collections.abc import Sequence
from pathlib import Path

from receiver_sim.errors import ReceiverSimError


class EngineError(ReceiverSimError):
    """Base of everything the engine raises on purpose."""


class EngineMissing(EngineError):  # noqa: N818 - says what happened
    """No usable ngspice shared library on this system; the message names the package to install."""


class DeckRefused(EngineError):  # noqa: N818 - says what happened
    """A deck holds something that may not reach ngspice.

    `line_number` counts from 1 within the deck's text; 0 means the title or the deck as a whole.
    """

    def __init__(self, reason: str, line_number: int = 0, line: str = "") -> None:
        self.reason = reason
        self.line_number = line_number
        self.line = line
        shown = line if len(line) <= 120 else line[:117] + "..."
        where = f"line {line_number} ({shown!a})" if line_number else "title" if line else "deck"
        if not line_number and line:
            where = f"title ({shown!a})"
        super().__init__(f"deck refused: {where}: {reason}")


class NoSolution(EngineError):  # noqa: N818 - says what happened
    """A circuit, or a set of circuits, that found no solution: a caller may go another way, or pass it over.

    A lost worker, a library that is missing and a deck that was refused are none: they say nothing about
    the circuit.
    """


class EngineFailed(NoSolution):
    """ngspice could not do what was asked.

    `messages` holds its lines, `deck_path` the deck that was kept, `not_kept` why it could not be.
    """

    def __init__(
        self,
        reason: str,
        deck_path: Path | None = None,
        messages: Sequence[str] = (),
        not_kept: str | None = None,
    ) -> None:
        self.reason = reason
        self.deck_path = deck_path
        self.messages = tuple(messages)
        super().__init__(f"simulation failed: {reason}{_evidence(deck_path, not_kept)}")


class EngineLost(EngineError):  # noqa: N818 - says what happened
    """An ngspice process ended by itself or was ended from outside: it says nothing about the circuit.

    No EngineFailed: a caller that goes another way where a circuit has no solution must not do so here.
    `deck_path` and `not_kept` as there.
    """

    def __init__(self, reason: str, deck_path: Path | None = None, not_kept: str | None = None) -> None:
        self.deck_path = deck_path
        super().__init__(f"simulation failed: {reason}{_evidence(deck_path, not_kept)}")


class EngineTimeout(NoSolution):
    """An analysis went past the wall-clock limit (seconds) and its worker was ended."""

    def __init__(
        self, limit_s: float, what: str, deck_path: Path | None = None, not_kept: str | None = None
    ) -> None:
        self.limit_s = limit_s
        self.deck_path = deck_path
        evidence = _evidence(deck_path, not_kept)
        super().__init__(f"'{what}' took longer than the limit of {limit_s:g} s and was stopped{evidence}")


def _evidence(deck_path: Path | None, not_kept: str | None) -> str:
    if deck_path is not None:
        return f"; the deck is kept in {deck_path}"
    return "" if not_kept is None else f"; its deck could not be kept: {not_kept}"
